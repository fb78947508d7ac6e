"""How sure a spot carried from one picture of a board to the other is: leave-one-out errors, and a radius anywhere.

The marks in the second picture are taken to be off by independent normal errors, of one standard deviation s along x
and y for every point, around a map of the fitted kind (errors of marking in the first picture count as if made in the
second). With J (2 x k) the slopes of the map by its k unknowns at the spot, and J_i at point i, the map linearised
around the fit puts a further mark of that spot at a distance of covariance

    s² (1 + J inv(sum J_i' J_i) J')

which grows away from the points, and most of all outside their hull. s² is the larger of the residuals'
sum r_i² / nu, nu = 2 n - k, and of the leave-one-out errors' sum d_i² / sum tr inv(1 - J_i inv(...) J_i'), which has
the same expectation and is the more upset by a map of the wrong kind. The circle holds the further mark, and all the
more the spot itself, with a probability of at least 95 %:

    radius² = L nu (0.05^(-2/nu) - 1),    L the largest eigenvalue of that covariance

2 L times the 95 % point of F(2, nu), exact for the linear kinds with the first s². It does not hold for a kind that is
too simple for the pictures, nor for a point misplaced by blunder. Where a kind was chosen it takes the choice as given:
on drawn boards marked to 1 px it held 94 to 98 % of the marks with the kind known, and 91 to 98 % with the kind chosen,
the lowest with 4 points. Where the pictures differ from the chosen kind by little more than the marks' error (a shear
of 0.5 to 2 %) it held 95 % among the points, but only 82 to 90 % a third of the picture outside them.

The covariance is that of ordinary least squares; both from memory of N. R. Draper and H. Smith, Applied Regression
Analysis, 3rd edition, chapters 5 and 24.
"""

from dataclasses import dataclass

import numpy as np

from server.engineering.registration_kinds import Estimate, distances, estimate, mapped
from server.engineering.registration_points import Reals, RegistrationError

_MISSED = 0.05


@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """The fit as estimated, inv(sum J'J), s² in squared pixels of the second picture, and nu."""

    made: Estimate
    inverse_normal: Reals
    variance: float
    freedom: int

    def radius(self, points: Reals, back: Reals | None = None) -> Reals:
        """The 95 % radius in the second picture, in pixels, around points of shape (m, 2) of the first: shape (m,).

        With the slopes `back` of the way to the first picture, of shape (m, 2, 2), the radius there. Infinite where nu
        is 0, NaN beyond the horizon.
        """
        known = np.isfinite(mapped(self.made.matrix, points)).all(axis=1)
        radius = np.full(len(points), np.nan)
        if self.freedom == 0:
            radius[known] = np.inf
            return radius
        slopes = self.made.slopes(points[known])
        covariance = np.eye(2) + slopes @ self.inverse_normal @ slopes.transpose(0, 2, 1)
        if back is not None:
            covariance = back[known] @ covariance @ back[known].transpose(0, 2, 1)
        largest = self.variance * np.linalg.eigvalsh(covariance)[:, -1]
        radius[known] = np.sqrt(largest * self.freedom * (_MISSED ** (-2 / self.freedom) - 1))
        return radius


def spread_of(made: Estimate, first: Reals, residuals: Reals, errors: Reals | None) -> Spread:
    """From the fit's points in the first picture, its residuals and its leave-one-out errors, both in pixels."""
    slopes = made.slopes(first)
    inverse_normal = np.asarray(np.linalg.inv(np.einsum("nik,nil->kl", slopes, slopes)), dtype=np.float64)
    freedom = 2 * len(first) - slopes.shape[2]
    if freedom == 0:
        return Spread(made, inverse_normal, np.inf, 0)
    variance = float(np.sum(residuals**2)) / freedom
    if errors is not None:
        known = np.isfinite(errors)
        kept = np.eye(2) - slopes[known] @ inverse_normal @ slopes[known].transpose(0, 2, 1)
        expected = np.trace(np.linalg.inv(kept), axis1=1, axis2=2)
        variance = max(variance, float(np.sum(errors[known] ** 2) / expected.sum()))
    return Spread(made, inverse_normal, variance, freedom)


def without_each(made: Estimate, first: Reals, second: Reals) -> Reals:
    """The matrix fitted without each point, in the whole fit's handedness: shape (n, 3, 3), NaN where there is none."""
    matrices = np.full((len(first), 3, 3), np.nan)
    for place in range(len(first)):
        rest = np.delete(first, place, axis=0), np.delete(second, place, axis=0)
        try:
            matrices[place] = estimate(made.kind, *rest, made.mirrored).matrix
        except RegistrationError:
            continue
    return matrices


def left_out_errors(matrices: Reals, first: Reals, second: Reals) -> Reals | None:
    """How far each point lies from where the fit without it puts it, in pixels: shape (n,); None if none is known."""
    through = np.array([mapped(matrix, point[None])[0] for matrix, point in zip(matrices, first, strict=True)])
    errors = distances(through, second)
    return None if np.isnan(errors).all() else errors
