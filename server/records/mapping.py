"""Where the pins of a board map are on each of its pictures, and how sure that is.

A picture other than the reference is matched to it by points marked in both; from one picture to another goes by way of
the reference. It knows plain places in pixels, and neither the database nor pages.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Protocol, cast

import numpy as np
from numpy.typing import NDArray

from server.engineering.registration import Fit, Kind, RegistrationError, fit
from server.engineering.registration_kinds import derivative

Reals = NDArray[np.float64]
MatchPoints = tuple[tuple[float, float, float, float], ...]
A_HAIR = 1e-6  # pixels: what rounding may put beside the edge of a picture is on its edge


@dataclass(frozen=True, slots=True)
class PicturePlane:
    """A picture as places in it are reckoned: its size in pixels, and what it is matched to the reference picture by.

    Each of `points` is (reference_x, reference_y, x, y). `match_kind` is empty for the simplest kind that they bear.
    """

    number: int
    width: int
    height: int
    is_reference: bool
    match_kind: str = ""
    points: MatchPoints = ()


@dataclass(frozen=True, slots=True, eq=False)
class Match:
    """How well a picture fits to the reference, in pixels of the picture, each tuple in the order of its points.

    `left_out` are the leave-one-out errors, None where too few points are left to tell. `mirrored` says whether it was
    taken from the other side, None where the points cannot tell.
    """

    kind: Kind
    residuals: tuple[float, ...]
    residual_rms: float
    left_out: tuple[float | None, ...]
    left_out_rms: float | None
    mirrored: bool | None
    notes: tuple[str, ...]


class Pinned(Protocol):
    """A pin at a place on the picture on which it was placed."""

    @property
    def plane(self) -> PicturePlane: ...
    @property
    def x(self) -> float: ...
    @property
    def y(self) -> float: ...


@dataclass(frozen=True, slots=True)
class Carried:
    """A pin as it is on one picture, in that picture's pixels.

    The spot lies within `radius` with a probability of at least 95 %, as `engineering.registration_errors` has it: 0 on
    the picture on which the pin was placed, None where too few matching points are left to tell.
    """

    x: float
    y: float
    radius: float | None


def match_of(picture: PicturePlane) -> Match | None:
    """How a picture is matched to the reference; None where it is not, as the reference itself."""
    fits = _fits_of(picture)
    if fits is None:
        return None
    found = fits[0]
    errors = np.full(len(picture.points), np.nan) if found.leave_one_out is None else found.leave_one_out
    return Match(
        kind=found.kind,
        residuals=tuple(found.residuals.tolist()),
        residual_rms=found.residual_rms,
        left_out=tuple(error if np.isfinite(error) else None for error in errors.tolist()),
        left_out_rms=found.leave_one_out_rms,
        mirrored=found.mirrored,
        notes=tuple(note.replace("he second picture", "his picture") for note in found.notes),
    )


def carried(pins: Sequence[Pinned], picture: PicturePlane) -> list[Carried | None]:
    """Each pin on one picture of its board, in the order given.

    None where one of the two pictures is not matched, and where the place lies beyond the horizon or outside.
    """
    places, radii = np.full((len(pins), 2), np.nan), np.full(len(pins), np.nan)
    for plane, numbers in _by_plane(pins):
        spots = np.array([(pins[number].x, pins[number].y) for number in numbers], dtype=np.float64)
        places[numbers], radii[numbers] = _from_to(plane, picture, spots)
    inside = np.all((places >= -A_HAIR) & (places <= (picture.width + A_HAIR, picture.height + A_HAIR)), axis=1)
    places = np.clip(places, 0, (picture.width, picture.height))
    known = np.isfinite(radii)
    found = zip(places.tolist(), radii.tolist(), inside.tolist(), known.tolist(), strict=True)
    return [Carried(x, y, radius if told else None) if here else None for (x, y), radius, here, told in found]


def _by_plane(pins: Sequence[Pinned]) -> list[tuple[PicturePlane, list[int]]]:
    """The pins' places in the list by the picture on which each was placed."""
    numbers: dict[int, list[int]] = defaultdict(list)
    for number, pin in enumerate(pins):
        numbers[pin.plane.number].append(number)
    return [(pins[of[0]].plane, of) for of in numbers.values()]


def _from_to(one: PicturePlane, other: PicturePlane, spots: Reals) -> tuple[Reals, Reals]:
    """Places of one picture in another, with the radius around each; NaN where there is no way.

    Both fits' errors are independent, so their squares add, the first stretched as the second fit stretches there.
    """
    if one.number == other.number:
        return spots, np.zeros(len(spots))
    if one.is_reference:
        return _through(_fits_of(other), 0, spots)
    middle, error = _through(_fits_of(one), 1, spots)
    if other.is_reference:
        return middle, error
    fits = _fits_of(other)
    places, last = _through(fits, 0, middle)
    if fits is None:
        return places, last
    known = np.isfinite(places).all(axis=1)
    stretch = np.full(len(spots), np.nan)
    stretch[known] = np.linalg.svd(derivative(fits[0].matrix, middle[known]), compute_uv=False)[:, 0]
    return places, np.hypot(last, stretch * error)


def _through(fits: tuple[Fit, Fit] | None, way: int, spots: Reals) -> tuple[Reals, Reals]:
    """Places by a fit (0) or back by it (1), with the radius around each; NaN stays NaN."""
    places, radii = np.full_like(spots, np.nan), np.full(len(spots), np.nan)
    known = np.isfinite(spots).all(axis=1)
    if fits is not None and known.any():
        places[known], radii[known] = fits[way].apply(spots[known]), fits[way].error_at(spots[known])
    return places, radii


def _fits_of(picture: PicturePlane) -> tuple[Fit, Fit] | None:
    """From the reference picture to this one and back; None where there is none."""
    if picture.is_reference or not picture.points:
        return None
    try:
        return _fits(picture.match_kind, picture.points)
    except RegistrationError:  # they were accepted once, by an engine that knew less
        return None


@lru_cache(maxsize=256)
def _fits(match_kind: str, points: MatchPoints) -> tuple[Fit, Fit]:
    pairs = np.array(points)
    found = fit(pairs[:, :2], pairs[:, 2:], cast(Kind, match_kind) if match_kind else None)
    return found, found.inverse()
