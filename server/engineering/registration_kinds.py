"""The three kinds of map between two pictures, each fitted by least squares on distances in the second.

With (x, y) in the first picture and (X, Y) in the second, a 3 x 3 matrix H maps

    w (X, Y, 1) = H (x, y, 1),    w = the third row's product, 1 for the first two kinds

    similarity  4 unknowns: turned, scaled, shifted, and mirrored or not       from 2 points
    affine      6 unknowns: stretched and sheared besides                      from 3 points, not on a line
    projective  8 unknowns: seen from another place                            from 4 points, no three on a line

All is worked out in frames that have their origin at the points' centroid and a root mean square distance of sqrt(2)
from it (R. Hartley, IEEE PAMI 19 (1997) 580-593, from memory). The first two kinds are linear in the unknowns. A
projective fit starts from the direct linear transform (algebraic distances, by singular values) and goes on by
Levenberg and Marquardt's method on distances. There H[2, 2] = 1 in the frames, which loses nothing: the centroid lies
among the points and no horizon may.

Beyond its horizon, where w <= 0, a projective map shows what was behind the camera; `mapped` gives NaN there.
"""

from dataclasses import dataclass

import numpy as np

from server.engineering.registration_points import HorizonBetween, Kind, NoMapping, Reals, named, refuse_degenerate

# The least that w may be at a point beside the greatest, and the least shrinking beside that of the points.
_NEAR_HORIZON, _CRUSHED = 1e-3, 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """Where the centroid of some points lies and how far they spread from it, in pixels."""

    centre: Reals
    scale: float

    @property
    def matrix(self) -> Reals:
        """From the frame to pixels, of shape (3, 3)."""
        return np.array([[self.scale, 0, self.centre[0]], [0, self.scale, self.centre[1]], [0, 0, 1.0]])

    def inside(self, points: Reals) -> Reals:
        """Points in pixels as points of the frame."""
        return np.asarray((points - self.centre) / self.scale)


@dataclass(frozen=True, slots=True, eq=False)
class Estimate:
    """A fitted map: its `matrix` in pixels with w > 0 at the points, and the same `unknowns` in the frames.

    Only a similarity heeds `mirrored`, which says with which handedness it was made.
    """

    kind: Kind
    mirrored: bool
    unknowns: Reals
    matrix: Reals
    first: Frame
    second: Frame

    def slopes(self, points: Reals) -> Reals:
        """How (X, Y), in pixels, moves with each of the k unknowns, at points of shape (m, 2): shape (m, 2, k)."""
        inside = self.first.inside(points)
        if self.kind == "projective":
            return self.second.scale * _projective_slopes(self.unknowns, inside)
        return self.second.scale * _design(self.kind, self.mirrored, inside)


def estimate(kind: Kind, first: Reals, second: Reals, mirrored: bool = False) -> Estimate:
    """The least squares fit to distinct points of shape (n, 2), in pixels.

    Raises `TooFewPoints`, `CollinearPoints`, `HorizonBetween`, and `NoMapping` for a fit that shrinks the picture, in
    some direction, to less than a thousandth of what its points come to.
    """
    refuse_degenerate(kind, first, second)
    frames = frame_of(first), frame_of(second)
    inside = frames[0].inside(first), frames[1].inside(second)
    unknowns = _projective(*inside) if kind == "projective" else _linear(kind, mirrored, *inside)
    framed = _framed_matrix(kind, mirrored, unknowns)
    if kind == "projective":
        _refuse_horizon(undone(framed), inside[1], "to_points")
    _refuse_crushed(framed)
    matrix = frames[1].matrix @ framed @ undone(frames[0].matrix)
    return Estimate(kind, mirrored, unknowns, scaled(matrix, frames[0].centre), *frames)


def frame_of(points: Reals) -> Frame:
    """The frame of distinct points."""
    centre = points.mean(axis=0)
    return Frame(centre, float(np.sqrt(np.mean((points - centre) ** 2))))


def scaled(matrix: Reals, centre: Reals) -> Reals:
    """The same map with w > 0 at `centre` and H[2, 2] = 1; where the origin is not before the horizon, w = 1 there."""
    before = matrix / (matrix[2] @ np.append(centre, 1.0))
    return np.asarray(before / before[2, 2] if before[2, 2] > 1e-9 else before)


def mapped(matrix: Reals, points: Reals) -> Reals:
    """Points of shape (m, 2) through a matrix; NaN for those on its horizon or beyond."""
    through = points @ matrix[:, :2].T + matrix[:, 2]
    w = np.where(through[:, 2] > 0, through[:, 2], np.nan)
    return np.asarray(through[:, :2] / w[:, None])


def undone(matrix: Reals) -> Reals:
    """The matrix of the way back, w > 0 still at the points; of NaN for one of NaN."""
    return np.asarray(np.linalg.inv(matrix), dtype=np.float64)


def distances(some: Reals, others: Reals) -> Reals:
    """Between points of shape (m, 2), one by one: shape (m,)."""
    return np.asarray(np.hypot(*(some - others).T))


def derivative(matrix: Reals, points: Reals) -> Reals:
    """How the mapped points move with the points of shape (m, 2): shape (m, 2, 2), NaN beyond the horizon."""
    w = points @ matrix[2, :2] + matrix[2, 2]
    turned = mapped(matrix, points)[:, :, None] * matrix[2, :2]
    return np.asarray((matrix[:2, :2] - turned) / np.where(w > 0, w, np.nan)[:, None, None])


def _design(kind: Kind, mirrored: bool, points: Reals) -> Reals:
    """What the unknowns of a linear kind are multiplied by: shape (m, 2, k), a row each for X and Y.

    similarity: (p, q, c, f) with X = p x - q y + c, Y = q x + p y + f, and y turned about for a mirrored one;
    affine: (a, b, c, d, e, f) with X = a x + b y + c, Y = d x + e y + f.
    """
    (x, y), one, none = points.T, np.ones(len(points)), np.zeros(len(points))
    if kind == "similarity":
        y = -y if mirrored else y
        rows = [[x, -y, one, none], [y, x, none, one]]
    else:
        rows = [[x, y, one, none, none, none], [none, none, none, x, y, one]]
    return np.array(rows).transpose(2, 0, 1)


def _linear(kind: Kind, mirrored: bool, first: Reals, second: Reals) -> Reals:
    design = _design(kind, mirrored, first)
    return np.asarray(np.linalg.lstsq(design.reshape(-1, design.shape[2]), second.ravel())[0], dtype=np.float64)


def _framed_matrix(kind: Kind, mirrored: bool, unknowns: Reals) -> Reals:
    if kind == "similarity":
        p, q, c, f = unknowns
        side = -1 if mirrored else 1
        return np.array([[p, -q * side, c], [q, p * side, f], [0, 0, 1.0]])
    return np.append(unknowns, [0, 0, 1.0] if kind == "affine" else [1.0]).reshape(3, 3)


def _projective(first: Reals, second: Reals) -> Reals:
    """The eight unknowns, row by row without the last, from points in their frames."""
    start = _direct_linear(first, second)
    if len(first) == 4:
        return start
    from scipy.optimize import least_squares

    def left(unknowns: Reals) -> Reals:
        return (_projected(unknowns, first) - second).ravel()

    def slopes(unknowns: Reals) -> Reals:
        return _projective_slopes(unknowns, first).reshape(-1, 8)

    found = least_squares(left, start, jac=slopes, method="lm", ftol=1e-14, xtol=1e-14, gtol=1e-14).x
    _refuse_horizon(np.append(found, 1.0).reshape(3, 3), first)
    return np.asarray(found)


def _direct_linear(first: Reals, second: Reals) -> Reals:
    """From X w = H[0] . (x, y, 1) and Y w = H[1] . (x, y, 1): the null vector of 2 n rows of nine."""
    whole = np.column_stack([first, np.ones(len(first))])
    none = np.zeros_like(whole)
    rows = np.vstack(
        [np.hstack([whole, none, -second[:, :1] * whole]), np.hstack([none, whole, -second[:, 1:] * whole])]
    )
    matrix: Reals = np.linalg.svd(rows, full_matrices=len(first) == 4)[2][-1].reshape(3, 3)
    return _refuse_horizon(matrix, first).ravel()[:8]


def _refuse_horizon(matrix: Reals, points: Reals, field: str = "from_points") -> Reals:
    """The matrix, scaled to 1 at the centroid, which is the frame's origin, if w keeps one sign over the points."""
    w = points @ matrix[2, :2] + matrix[2, 2]
    w = -w if np.count_nonzero(w > 0) * 2 < len(w) else w
    beyond = np.flatnonzero(w < _NEAR_HORIZON * np.abs(w).max())
    if beyond.size:
        places = [int(place) + 1 for place in beyond]
        raise HorizonBetween(
            f"{named(places)} would lie beyond the horizon of the fit, behind the camera: points do not go together "
            "as two pictures of one flat board. Check that each is at the same spot in both.",
            field=field,
            places=places,
        )
    return np.asarray(matrix / matrix[2, 2])


def _projected(unknowns: Reals, points: Reals) -> Reals:
    """Without regard to the horizon, so that a step across it does not end the search."""
    matrix = np.append(unknowns, 1.0).reshape(3, 3)
    through = points @ matrix[:, :2].T + matrix[:, 2]
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(through[:, :2] / through[:, 2:])


def _projective_slopes(unknowns: Reals, points: Reals) -> Reals:
    """d(X, Y) by the eight unknowns: (x, y, 1)/w for a row's own three, -X (x, y)/w or -Y (x, y)/w for the last two."""
    w = points @ unknowns[6:] + 1.0
    with np.errstate(divide="ignore"):
        whole = np.column_stack([points, np.ones(len(points))]) / w[:, None]
    slopes = np.zeros((len(points), 2, 8))
    slopes[:, 0, :3] = slopes[:, 1, 3:6] = whole
    slopes[:, :, 6:] = -_projected(unknowns, points)[:, :, None] * whole[:, None, :2]
    return slopes


def _refuse_crushed(framed: Reals) -> None:
    at_centroid = framed[:2, :2] - np.outer(framed[:2, 2], framed[2, :2])
    if np.linalg.svd(at_centroid, compute_uv=False)[-1] < _CRUSHED:
        raise NoMapping(
            "The points of the two pictures do not go together: the fit would crush the board to a line or a spot. "
            "Check that the points are in the same order in both."
        )
