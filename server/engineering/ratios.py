"""Two means with their uncertainties: do they differ, and between which bounds does their ratio lie?

Each mean m carries two variances: `scatter` s²/n with n-1 degrees of freedom (Type A), and `rounding` q²/12 (Type B).
For a trial ratio r the difference m1 - r m2 has

    A = s1²/n1 + r² s2²/n2,    nu = A² / ((s1²/n1)²/nu1 + (r² s2²/n2)²/nu2),    B = q1²/12 + r² q2²/12

and r is **not** excluded at 95 % while |m1 - r m2| is no more than the half-width that `student.py` gives for A, nu, B.
With B = 0 this is Fieller's interval with Welch-Satterthwaite degrees of freedom taken at the limit.

The ratios not excluded are an interval, or, when m2 is not clearly different from zero, all numbers but a gap, or all
numbers. E. C. Fieller, J. R. Stat. Soc. B 16 (1954) 175-185, from memory.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from server.engineering.student import Reals, half_width_squared

# Half-degree steps round the circle of directions (r = tan θ) before each end is refined.
DIRECTIONS = 720


@dataclass(frozen=True, slots=True)
class Mean:
    """A mean in some unit, with its Type A and Type B variances in that unit squared; `freedom` is n - 1."""

    value: float
    scatter: float
    freedom: float
    rounding: float

    @property
    def variance(self) -> float:
        """Square of the standard uncertainty of the mean."""
        return self.scatter + self.rounding

    def over(self, scale: float) -> "Mean":
        """The same mean in units of `scale`."""
        return Mean(self.value / scale, self.scatter / scale**2, self.freedom, self.rounding / scale**2)


@dataclass(frozen=True, slots=True)
class RatioSet:
    """Ratios not excluded at 95 %: from `low` to `high`, where None is no bound; or everything but inside `gap`."""

    low: float | None = None
    high: float | None = None
    gap: tuple[float, float] | None = None

    def times(self, scale: float) -> "RatioSet":
        """The same ratios in units of `scale`, which is above 0."""
        return RatioSet(
            None if self.low is None else self.low * scale,
            None if self.high is None else self.high * scale,
            None if self.gap is None else (self.gap[0] * scale, self.gap[1] * scale),
        )

    def not_negative(self) -> "RatioSet":
        """The part of it that a ratio of quantities which are never negative can have."""
        if self.gap is None:
            return replace(self, low=max(self.low or 0.0, 0.0))
        return self if self.gap[0] > 0 else RatioSet(low=max(self.gap[1], 0.0))


@dataclass(frozen=True, slots=True)
class Pair:
    """Two means, numerator and denominator of the ratio.

    `borrowed_freedom`: set when one side lends its scatter to a lone reading on the other. Both scatters are then one
    estimate with these degrees of freedom.
    """

    first: Mean
    second: Mean
    borrowed_freedom: float | None = None

    def differ(self) -> bool:
        """Whether the means differ at 95 %: whether the ratio 1 is excluded."""
        difference = self.first.value - self.second.value
        return bool(difference**2 > self._allowance(np.ones(1), np.ones(1))[0])

    def freedom(self) -> float:
        """Welch-Satterthwaite degrees of freedom of the difference, from the scatters alone; infinite without any."""
        return float(self._scatter_freedom(np.ones(1), np.ones(1))[0])

    def ratios(self) -> RatioSet:
        """The ratios first/second that are not excluded; both means must be above 0."""
        scaled = Pair(self.first.over(self.first.value), self.second.over(self.second.value), self.borrowed_freedom)
        return scaled._ratios_round_one().times(self.first.value / self.second.value)

    def _ratios_round_one(self) -> RatioSet:
        return _accepted(self._excess)

    def _excess(self, turn: Reals) -> Reals:
        """Above zero where a ratio is excluded; `turn` is the angle from the direction of the ratio of the means."""
        sine, cosine = np.sin(math.pi / 4 + turn), np.cos(math.pi / 4 + turn)
        return np.asarray(2 * np.sin(turn) ** 2 - self._allowance(cosine**2, sine**2))

    def _allowance(self, first: Reals, second: Reals) -> Reals:
        """Square of the half-width of a difference in which the means' variances have these weights."""
        scatter = first * self.first.scatter + second * self.second.scatter
        rounding = first * self.first.rounding + second * self.second.rounding
        return half_width_squared(scatter, self._scatter_freedom(first, second), rounding)

    def _scatter_freedom(self, first: Reals, second: Reals) -> Reals:
        a, b = first * self.first.scatter, second * self.second.scatter
        if self.borrowed_freedom is not None:
            return np.full_like(a, self.borrowed_freedom)
        with np.errstate(divide="ignore", invalid="ignore"):
            share = a / (a + b)
            freedom = 1 / (share**2 / self.first.freedom + (1 - share) ** 2 / self.second.freedom)
        return np.where(a + b > 0, freedom, np.inf)


def _accepted(excess: Callable[[Reals], Reals]) -> RatioSet:
    """The ratios round 1 where `excess` is not above zero, found by turning both ways from the ratio 1."""
    right, left = _turn_to_exclusion(excess, 1), _turn_to_exclusion(excess, -1)
    if right is None or left is None:
        return RatioSet()
    low, high = _ratio_at(left), _ratio_at(right)
    if right < math.pi / 4 and left > -3 * math.pi / 4:
        return RatioSet(low, high)
    return RatioSet(gap=(high, low))


def _ratio_at(turn: float) -> float:
    """tan(π/4 + turn), exactly 1 for no turn at all."""
    return (math.cos(turn) + math.sin(turn)) / (math.cos(turn) - math.sin(turn))


def _turn_to_exclusion(excess: Callable[[Reals], Reals], sense: Literal[1, -1]) -> float | None:
    """The first turn in this sense past which ratios are excluded; None when none is in a whole half circle."""
    from scipy.optimize import brentq

    turns = sense * np.linspace(0, math.pi, DIRECTIONS // 2 + 1)
    excluded = np.flatnonzero(excess(turns) > 0)
    if not excluded.size:
        return None
    inside, outside = turns[excluded[0] - 1], turns[excluded[0]]
    return float(
        brentq(lambda turn: excess(np.array([turn]))[0], inside, outside, xtol=1e-300, rtol=1e-14, maxiter=2000)
    )
