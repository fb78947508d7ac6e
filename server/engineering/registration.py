"""Two pictures of one board: the map that carries a spot in the first to the same spot in the second.

    found = fit([(40, 30), (610, 22), (620, 455)], [(66, 46), (681, 168), (593, 636)])
    found.apply([(330, 240)]), found.error_at([(330, 240)]), found.inverse().apply([(330, 339)])

Points are numbered alike in both pictures: x to the right, y down, in pixels, arrays of shape (n, 2). The kinds are
those of `registration_kinds`, and what is refused is listed in `registration_points`. A picture of a flat board is
taken for flat: lens distortion and tall parts are not modelled, and show as residuals.

**How a kind is chosen.** The leave-one-out error of a point is its distance, in the second picture, from where the fit
to all the others puts it. A similarity is taken unless an affine fit's root mean square of these is below 0.7 times
the similarity's; that choice is kept unless a projective fit's is below 0.7 times its own. Two kinds are compared over
the points that have an error in both. Errors below a millionth of the points' spread count as equal, so that of kinds
that fit exactly the simplest is taken. A kind that leaves too few points to judge it is not chosen: an affine fit needs
4 points to be, a projective one 5, and at least half of them with an error.

How sure a mapped spot is, `registration_errors` says.
"""

from dataclasses import dataclass, replace
from typing import get_args

import numpy as np
from numpy.typing import ArrayLike

from server.engineering.registration_errors import Spread, left_out_errors, spread_of, without_each
from server.engineering.registration_kinds import (
    Estimate,
    derivative,
    distances,
    estimate,
    frame_of,
    mapped,
    scaled,
    undone,
)
from server.engineering.registration_points import (
    NEEDED,
    CoincidentPoints,
    CollinearPoints,
    HorizonBetween,
    Kind,
    NoMapping,
    Reals,
    RegistrationError,
    TooFewPoints,
    UnpairedPoints,
    UnreadablePoints,
    checked_pairs,
    checked_points,
    named,
    on_one_line,
)

__all__ = [
    "NEEDED",
    "CoincidentPoints",
    "CollinearPoints",
    "Fit",
    "HorizonBetween",
    "Kind",
    "NoMapping",
    "RegistrationError",
    "TooFewPoints",
    "UnpairedPoints",
    "UnreadablePoints",
    "fit",
]

_CLEARLY_BETTER = 0.7
_EXACT = 1e-6
# Below this ratio of root mean squares the points tell one handedness from the other.
_CLEAR_HAND = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A map from the first picture to the second, fitted to points of shape (n, 2).

    `matrix`, of shape (3, 3), takes (x, y, 1) to w (X, Y, 1) with w > 0 on the board's side of the horizon; its last
    entry is 1 unless the first picture's origin lies beyond it. `residuals`, of shape (n,), are the distances in pixels
    of the second picture that the fit leaves. `leave_one_out` are those of each point from the fit to all others: None
    where too few points are left, NaN for a point without which the others are on a line or do not go together.
    `mirrored` says whether the second picture shows the board mirrored, as from the solder side: None where the points
    of a similarity cannot tell (two, or on a line), which is then made unmirrored. `notes` are sentences.

    `spread` and `left_out`, the matrices fitted without each point, are what the errors are worked out from, and
    `reversed` is whether this is an inverse: then the first picture is the one that was second in the fit.
    """

    kind: Kind
    matrix: Reals
    mirrored: bool | None
    from_points: Reals
    to_points: Reals
    residuals: Reals
    leave_one_out: Reals | None
    notes: tuple[str, ...]
    spread: Spread
    left_out: Reals
    reversed: bool = False

    @property
    def residual_rms(self) -> float:
        """Root mean square of the residuals, in pixels of the second picture."""
        return float(np.sqrt(np.mean(self.residuals**2)))

    @property
    def leave_one_out_rms(self) -> float | None:
        """Root mean square of the leave-one-out errors, in pixels; None where less than half of the points have one."""
        return None if self.leave_one_out is None else _rms(self.leave_one_out)

    def apply(self, points: ArrayLike) -> Reals:
        """Where points of shape (m, 2) lie in the second picture: shape (m, 2), NaN on the horizon and beyond it.

        Raises `UnreadablePoints` naming those that are not two finite numbers.
        """
        return mapped(self.matrix, checked_points(points))

    def error_at(self, points: ArrayLike) -> Reals:
        """The radius, in pixels of the second picture, of the circle around each of `apply(points)`: shape (m,).

        A further mark of the spot lies within it with a probability of at least 95 %, under what the module assumes.
        Infinite where the fit used up all its points and nothing is left to judge it by, NaN beyond the horizon.
        """
        places = checked_points(points)
        if not self.reversed:
            return self.spread.radius(places)
        return self.spread.radius(mapped(self.matrix, places), derivative(self.matrix, places))

    def inverse(self) -> "Fit":
        """The same map from the second picture to the first, with its errors in pixels of the first.

        It undoes `apply`. It is not the least squares fit of the first picture's points to the second's, which would
        take the distances in the first picture.
        """
        back = undone(self.matrix)
        left_out = np.array([undone(matrix) for matrix in self.left_out])
        return replace(
            self,
            matrix=scaled(back, self.to_points.mean(axis=0)),
            from_points=self.to_points,
            to_points=self.from_points,
            residuals=distances(mapped(back, self.to_points), self.from_points),
            leave_one_out=left_out_errors(left_out, self.to_points, self.from_points),
            left_out=left_out,
            reversed=not self.reversed,
        )


def fit(from_points: ArrayLike, to_points: ArrayLike, kind: Kind | None = None, *, mirrored: bool | None = None) -> Fit:
    """The map of this kind, or of the simplest that the leave-one-out error supports, fitted to 2 to 200 points.

    Least squares on distances in the second picture. A similarity takes the handedness that fits better, or the one
    that `mirrored` gives; the other kinds follow the points. Raises the errors of `registration_points`.
    """
    if kind is not None and kind not in get_args(Kind):
        raise RegistrationError(f"A fit is a similarity, affine or projective, not {kind!r}.", field="kind")
    first, second = checked_pairs(from_points, to_points, NEEDED[kind or "similarity"])
    return _chosen(first, second, mirrored) if kind is None else _fit(kind, first, second, mirrored)


def _chosen(first: Reals, second: Reals, mirrored: bool | None) -> Fit:
    tried: list[Fit] = []
    refusals: list[RegistrationError] = []
    for kind in get_args(Kind):
        try:
            tried.append(_fit(kind, first, second, mirrored))
        except RegistrationError as refusal:
            refusals.append(refusal)
    if not tried:
        raise refusals[0]
    floor = _EXACT * frame_of(second).scale
    best = tried[0]
    for richer in tried[1:]:
        best = richer if _clearly_better(richer, best, floor) else best
    return replace(best, notes=(*best.notes, *_reasons(best, tried)))


def _reasons(best: Fit, tried: list[Fit]) -> list[str]:
    """Why this kind was chosen of those tried, and which richer one only needs a further point to be judged."""
    judged = [f"{one.kind} {_short(one.leave_one_out_rms)}" for one in tried if one.leave_one_out_rms is not None]
    why = f"by the leave-one-out error, in pixels: {', '.join(judged)}" if judged else "as too few points tell more"
    notes = [f"The kind, {best.kind}, was chosen {why}."]
    unjudged = [one.kind for one in tried if one.leave_one_out_rms is None and one.kind != best.kind]
    if unjudged:
        notes.append(
            f"Of the kind {' or '.join(unjudged)} these points cannot tell how well it fits; a further one, "
            "not in line with any two of them, would."
        )
    return notes


def _clearly_better(richer: Fit, simpler: Fit, floor: float) -> bool:
    """By the leave-one-out errors of the points that have one in both; what cannot be judged is not better."""
    if richer.leave_one_out is None or simpler.leave_one_out is None:
        return False
    new = _rms(np.where(np.isfinite(simpler.leave_one_out), richer.leave_one_out, np.nan))
    old = _rms(np.where(np.isfinite(richer.leave_one_out), simpler.leave_one_out, np.nan))
    return new is not None and old is not None and max(new, floor) < _CLEARLY_BETTER * max(old, floor)


def _rms(errors: Reals) -> float | None:
    known = errors[np.isfinite(errors)]
    return float(np.sqrt(np.mean(known**2))) if 2 * known.size >= errors.size else None


def _unchecked(errors: Reals | None) -> tuple[str, ...]:
    """A note that names the points which the others do not check."""
    if errors is None or np.isfinite(errors).all():
        return ()
    places = [int(place) + 1 for place in np.flatnonzero(~np.isfinite(errors))]
    it = "it" if len(places) == 1 else "any of them"
    return (f"{named(places)} cannot be checked: without {it} the others do not carry the fit.",)


def _fit(kind: Kind, first: Reals, second: Reals, mirrored: bool | None) -> Fit:
    if kind == "similarity":
        made, hand, notes = _handed(first, second, mirrored)
    else:
        made = estimate(kind, first, second)
        hand = bool(np.linalg.det(made.matrix) < 0)
        notes = _hand_notes(hand, mirrored)
    left_out = without_each(made, first, second)
    errors = left_out_errors(left_out, first, second)
    notes += _unchecked(errors)
    residuals = distances(mapped(made.matrix, first), second)
    spread = spread_of(made, first, residuals, errors)
    return Fit(kind, made.matrix, hand, first, second, residuals, errors, notes, spread, left_out)


def _handed(first: Reals, second: Reals, asked: bool | None) -> tuple[Estimate, bool | None, tuple[str, ...]]:
    """The similarity of the asked or the better handedness, which one it is if that can be known, and notes."""
    if on_one_line(first) or on_one_line(second):
        made = estimate("similarity", first, second, bool(asked))
        if asked is not None:
            return made, asked, ()
        few = "Two points" if len(first) == 2 else "Points on one line"
        return made, None, (f"{few} cannot tell whether the second picture is mirrored; it is taken not to be.",)
    left = {hand: _rms_of_hand(first, second, hand) for hand in (False, True)}
    better = left[True] < left[False]
    hand = better if asked is None else asked
    notes = list(_hand_notes(better, asked))
    if asked is None and left[better] > _CLEAR_HAND * left[not better]:
        notes.append("The points hardly tell whether the second picture is mirrored.")
    return estimate("similarity", first, second, hand), hand, tuple(notes)


def _hand_notes(found: bool, asked: bool | None) -> tuple[str, ...]:
    if asked is not None and found != asked:
        return (f"The points fit better if the second picture is {'' if found else 'not '}mirrored.",)
    return ("The second picture shows the board mirrored, as from its other side.",) if found else ()


def _rms_of_hand(first: Reals, second: Reals, hand: bool) -> float:
    """What a similarity of this handedness leaves, in the second picture's spread; infinite if there is none."""
    try:
        made = estimate("similarity", first, second, hand)
    except NoMapping:
        return np.inf
    left = distances(mapped(made.matrix, first), second)
    return float(np.sqrt(np.mean(left**2)))


def _short(pixels: float) -> str:
    """Two digits, and never with an exponent: `110`, `3.2`."""
    return f"{float(f'{pixels:.2g}'):.10g}"
