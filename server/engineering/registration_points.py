"""Points marked in two pictures of one board: what is accepted, and what is refused with the points' numbers.

    RegistrationError (EngineeringError)   `field`: from_points, to_points, points (both) or kind; `places`: the points
    ├── UnreadablePoints    not rows of two finite numbers, at most 1e9 in size, or more than 200 of them
    ├── UnpairedPoints      a point in one picture without its partner in the other
    ├── TooFewPoints        fewer than the kind `needs`
    ├── CoincidentPoints    two points in one place, in either picture
    ├── CollinearPoints     points on one line where the kind cannot do with them
    ├── HorizonBetween      a projective fit that puts `places` beyond its horizon
    └── NoMapping           points that do not go together: the fit would crush the picture

Points are arrays of shape (n, 2), x to the right and y down, in pixels; nothing depends on the unit. They are numbered
from 1, as their rows on a page are. Two points coincide when they lie within a millionth of the points' extent.
Points are on a line when none is off it by more than 1 % of their extent along it: less than that and the marks' own
error decides what the fit does across the line. A projective fit needs four points of which no three are on a line,
and has them unless all points but one are.
"""

from collections.abc import Sequence
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from server.engineering.errors import EngineeringError

Kind = Literal["similarity", "affine", "projective"]
Reals = NDArray[np.float64]

NEEDED: dict[Kind, int] = {"similarity": 2, "affine": 3, "projective": 4}
MOST_POINTS = 200
LARGEST = 1e9
_SAME = 1e-6
_FLAT = 0.01


class RegistrationError(EngineeringError):
    """Points that no honest fit can be made of; `places` are the numbers, from 1, of those at fault."""

    def __init__(self, sentence: str, *, field: str = "points", places: Sequence[int] = ()) -> None:
        super().__init__(sentence, field=field)
        self.places = tuple(places)


class UnreadablePoints(RegistrationError):
    """Not rows of two finite numbers."""


class UnpairedPoints(RegistrationError):
    """More points in one picture than in the other."""


class TooFewPoints(RegistrationError):
    """Fewer points than the kind needs."""

    def __init__(self, sentence: str, *, field: str = "points", places: Sequence[int] = (), needs: int = 0) -> None:
        super().__init__(sentence, field=field, places=places)
        self.needs = needs


class CoincidentPoints(RegistrationError):
    """Two points in one place."""


class CollinearPoints(RegistrationError):
    """Points on one line."""


class HorizonBetween(RegistrationError):
    """Points on both sides of the line that a projective fit sends to infinity."""


class NoMapping(RegistrationError):
    """Points that do not go together."""


def checked_pairs(from_points: ArrayLike, to_points: ArrayLike, fewest: int = 2) -> tuple[Reals, Reals]:
    """Both pictures' points as arrays of shape (n, 2), fewest <= n <= 200, all distinct, or the refusal."""
    first, second = checked_points(from_points, "from_points"), checked_points(to_points, "to_points")
    if len(first) != len(second):
        _refuse_unpaired(len(first), len(second))
    if len(first) < fewest:
        raise TooFewPoints(f"{_count(len(first))}, and the fit needs at least {fewest}.", needs=fewest)
    if len(first) > MOST_POINTS:
        raise UnreadablePoints(f"{_count(len(first))}; {MOST_POINTS} are the most.")
    for field, points in (("from_points", first), ("to_points", second)):
        _refuse_coincident(points, field)
    return first, second


def checked_points(points: ArrayLike, field: str = "points") -> Reals:
    """Points as an array of shape (n, 2); `UnreadablePoints` naming those that are not two finite numbers."""
    try:
        values = np.array(points, dtype=np.float64)
    except (TypeError, ValueError):
        raise UnreadablePoints(f"The points {_in(field)} are not pairs of numbers.", field=field) from None
    if values.size == 0:
        return values.reshape(0, 2)
    if values.ndim != 2 or values.shape[1] != 2:
        raise UnreadablePoints(f"The points {_in(field)} are not pairs of numbers.", field=field)
    with np.errstate(invalid="ignore"):
        bad = ~np.all(np.abs(values) <= LARGEST, axis=1)
    if bad.any():
        places = _places(bad)
        raise UnreadablePoints(
            f"{named(places)} {_in(field)} must be two numbers of at most {LARGEST:g} in size.",
            field=field,
            places=places,
        )
    return values


def refuse_degenerate(kind: Kind, first: Reals, second: Reals) -> None:
    """`TooFewPoints` or `CollinearPoints` where the points cannot carry a fit of this kind."""
    if len(first) < NEEDED[kind]:
        raise TooFewPoints(
            f"{_count(len(first))}, and a fit of the kind {kind} needs at least {NEEDED[kind]}.", needs=NEEDED[kind]
        )
    for field, points in (("from_points", first), ("to_points", second)):
        flat = _too_flat(kind, points)
        if flat:
            what = "three points that are not" if kind == "affine" else "four points of which no three are"
            raise CollinearPoints(
                f"{named(flat)} lie on one line {_in(field)}, or so nearly that nothing tells what happens "
                f"across it; a fit of the kind {kind} needs {what}.",
                field=field,
                places=flat,
            )


def on_one_line(points: Reals) -> bool:
    """Whether no point is off the points' best line by more than 1 % of their extent along it."""
    return len(points) < 3 or bool(_flat(points, np.ones((1, len(points)), dtype=np.bool_))[0])


def named(places: Sequence[int]) -> str:
    """Points by their numbers, as a sentence begins: “Point 4”, “Points 1, 2 and 5”."""
    if len(places) == 1:
        return f"Point {places[0]}"
    return f"Points {', '.join(map(str, places[:-1]))} and {places[-1]}"


def _too_flat(kind: Kind, points: Reals) -> tuple[int, ...]:
    """The numbers of the points on a line that make the kind impossible; none where it is possible."""
    everyone = tuple(range(1, len(points) + 1))
    if kind == "similarity":
        return ()
    if on_one_line(points):
        return everyone
    if kind == "projective":
        alone = np.flatnonzero(_flat(points, ~np.eye(len(points), dtype=np.bool_)))
        if alone.size:
            return tuple(place for place in everyone if place != alone[0] + 1)
    return ()


def _flat(points: Reals, kept: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Of s choices of three or more points, `kept` of shape (s, n), which are on one line: shape (s,).

    Each choice's line goes along its larger principal axis, at half the angle of (sxx - syy, 2 sxy).
    """
    weights = kept / kept.sum(axis=1, keepdims=True)
    x, y = (points.T[:, None, :] - (weights @ points).T[:, :, None]) * kept
    angle = np.arctan2(2 * (x * y).sum(axis=1), (x * x - y * y).sum(axis=1))[:, None] / 2
    along, across = x * np.cos(angle) + y * np.sin(angle), y * np.cos(angle) - x * np.sin(angle)
    # A point left out stands at the centroid, inside the extent of the others.
    return np.asarray(np.ptp(across, axis=1) / 2 <= _FLAT * np.ptp(along, axis=1))


def _refuse_unpaired(first: int, second: int) -> None:
    fewer = "to_points" if second < first else "from_points"
    places = tuple(range(min(first, second) + 1, max(first, second) + 1))
    verb = "has" if len(places) == 1 else "have"
    raise UnpairedPoints(f"{named(places)} {verb} no partner {_in(fewer)}.", field=fewer, places=places)


def _refuse_coincident(points: Reals, field: str) -> None:
    extent = float(np.ptp(points, axis=0).max())
    apart = np.hypot(*(points[:, None, :] - points[None, :, :]).transpose(2, 0, 1))
    # Floats near 1e9 are themselves a millionth apart.
    same = apart <= max(_SAME * extent, 4 * float(np.spacing(np.abs(points).max())))
    np.fill_diagonal(same, val=False)
    if same.any():
        first = int(np.flatnonzero(same.any(axis=1))[0])
        same[first, first] = True
        places = _places(same[first])
        raise CoincidentPoints(f"{named(places)} are in the same place {_in(field)}.", field=field, places=places)


def _places(marked: NDArray[np.bool_]) -> tuple[int, ...]:
    return tuple(int(place) + 1 for place in np.flatnonzero(marked))


def _in(field: str) -> str:
    return {"from_points": "in the first picture", "to_points": "in the second picture"}.get(field, "to map")


def _count(points: int) -> str:
    return "There is 1 point" if points == 1 else f"There are {points or 'no'} points"
