"""Whether readings drift over the order in which they were taken: the Mann-Kendall test.

    S = sum over i < j of sign(x[j] - x[i])
    var S = (n(n-1)(2n+5) - sum over ties of t(t-1)(2t+5)) / 18
    z = (S - sign S) / sqrt(var S)

S comes from Kendall's tau of the readings against their order, in O(n log n). Without ties and up to 33 readings p is
exact (every order equally likely); otherwise it is the normal one of z, two-sided. Needs at least three readings that
are not all alike.

H. B. Mann, Econometrica 13 (1945) 245-259; M. G. Kendall, Rank Correlation Methods, 4th ed. (1975), ch. 4; both from
memory.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from server.engineering.readings import Readings

EXACT_UP_TO = 33
FEWEST = 3


@dataclass(frozen=True, slots=True)
class Drift:
    """The Mann-Kendall test of one run of readings: S, its variance, z, the two-sided p, and which way they went."""

    direction: Literal["rising", "falling", "neither"]
    s: int
    variance: float
    z: float
    p: float


def mann_kendall(values: Readings) -> Drift | None:
    """The test for checked readings of shape (n,) in the order taken; None when there is nothing to test."""
    if values.size < FEWEST or values.min() == values.max():
        return None
    from scipy import special, stats

    tied = np.unique(values, return_counts=True)[1].astype(np.float64)
    exact = tied.size == values.size <= EXACT_UP_TO
    tau = stats.kendalltau(np.arange(values.size), values, method="exact" if exact else "asymptotic")
    s = _score(float(tau.statistic), values.size, tied)
    variance = _variance(values.size, tied)
    z = float((s - np.sign(s)) / np.sqrt(variance))
    p = float(tau.pvalue) if exact else float(2 * special.ndtr(-abs(z)))
    return Drift("rising" if s > 0 else "falling" if s < 0 else "neither", s, variance, z, min(p, 1.0))


def _score(tau: float, count: int, tied: Readings) -> int:
    """S out of tau-b, which is S over the geometric mean of the pairs untied in each ranking."""
    pairs = count * (count - 1) / 2
    tied_pairs = float(np.sum(tied * (tied - 1) / 2))
    return round(tau * math.sqrt(pairs) * math.sqrt(pairs - tied_pairs))


def _variance(count: int, tied: Readings) -> float:
    ties = float(np.sum(tied * (tied - 1) * (2 * tied + 5)))
    return (float(count) * (count - 1) * (2 * count + 5) - ties) / 18
