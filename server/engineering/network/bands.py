"""A result over draws: what it is at the nominal values, the middle 95 % of the draws, and the furthest of them.

Arrays end in an axis of rows: the nominal, then the draws. Intervals leave out equal parts on both sides (JCGM 101:2008
7.7.2). Without draws, all five are the nominal.
"""

from dataclasses import dataclass

import numpy as np

from server.engineering.network.junctions import Array
from server.engineering.toleranced import Toleranced


@dataclass(frozen=True)
class Band:
    """One figure in `unit`: nominal, `low` to `high` for 95 % of the draws, `least` to `most` for all of them."""

    nominal: float
    low: float
    high: float
    least: float
    most: float
    unit: str

    @property
    def toleranced(self) -> Toleranced:
        """The nominal between the least and the most."""
        return Toleranced(self.nominal, self.least, self.most, self.unit)


@dataclass(frozen=True)
class Trace:
    """A band at every point of a sweep: five arrays of shape (points,), in `unit`."""

    nominal: Array
    low: Array
    high: Array
    least: Array
    most: Array
    unit: str

    def at(self, point: int) -> Band:
        nominal, low, high = float(self.nominal[point]), float(self.low[point]), float(self.high[point])
        return Band(nominal, low, high, float(self.least[point]), float(self.most[point]), self.unit)


def trace(values: Array, unit: str) -> Trace:
    """From values of shape (points, rows)."""
    nominal = values[:, 0]
    if values.shape[1] == 1:
        return Trace(nominal, nominal, nominal, nominal, nominal, unit)
    low, high = np.quantile(values[:, 1:], (0.025, 0.975), axis=1)
    return Trace(nominal, low, high, values.min(axis=1), values.max(axis=1), unit)


def band(values: Array, unit: str) -> Band:
    """From values of shape (rows,)."""
    return trace(values[None, :], unit).at(0)
