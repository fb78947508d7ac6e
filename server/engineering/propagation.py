"""Tolerances carried through a model by drawing from them: draws, what they cover, and who brings the spread.

A model's values are float arrays of shape (draws,) in SI base units. It knows nothing of lines, units to show or
limits; the worst case is `worst_cases.py`'s.

- Draws: Monte Carlo, JCGM 101:2008 section 7. `limits` are uniform between low and high (6.4.2), whatever the nominal;
  `standard` is normal about the nominal (6.4.7). Inputs are independent.
- Interval: of coverage 0.95, with equal parts left out on both sides, or the shortest (7.7.2).
- Shares: the first-order index Var(E[y | x_i]) / Var(y), the part of the variance that knowing x_i exactly would take
  away on average. It is estimated from the first 32,768 draws, good to about a percent: the variance of y's means over
  64 bands of x_i, less what chance alone would give. In an additive model the shares add up to 1; what is missing comes
  from inputs acting together.
  To first order it is the GUM's (c_i u_i)² / u_c² (5.1.2), and unlike that it holds where a slope vanishes.

Sources: JCGM 101:2008; JCGM 100:2008; A. Saltelli et al., Global Sensitivity Analysis: The Primer (2008) 1.2.6 and 4.5
(from memory).
"""

import zlib
from collections.abc import Mapping
from typing import Literal, NamedTuple
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from server.engineering.toleranced import Toleranced
from server.engineering.units import scale

Array = NDArray[np.float64]

_BANDS = 64
_BINS = 40
_SHARED = 32_768
_NOTHING = 1e-12
_TINY = float(np.finfo(np.float64).tiny)  # below it, to divide by a width overflows


class Box(NamedTuple):
    """An input's nominal, low and high in SI base units, and whether it is sampled as normal."""

    nominal: float
    low: float
    high: float
    is_normal: bool

    @property
    def varies(self) -> bool:
        return self.high > self.low


class Summary(NamedTuple):
    """What draws come to: mean, standard deviation, 95 % interval, and counts between edges (one bin if all alike)."""

    mean: float
    uncertainty: float
    low: float
    high: float
    edges: tuple[float, ...]
    counts: tuple[int, ...]


def box(value: Toleranced) -> Box:
    """A value in SI base units."""
    factor, offset, _, _ = scale(value.unit)
    low, nominal, high = (number * factor + offset for number in (value.low, value.nominal, value.high))
    return Box(nominal, low, high, value.spread == "standard")


def draw(name: str, limits: Box, count: int, seed: UUID | int) -> Array:
    """`count` draws of one input, shape (count,), in SI base units.

    The stream hangs on the seed and the name alone: the same input gets the same luck beside others, in another order,
    or with another value, so that two cases of one calculation differ by their values and not by chance.
    """
    number = seed.int if isinstance(seed, UUID) else abs(seed)
    stream = np.random.default_rng(np.random.SeedSequence(number, spawn_key=(zlib.crc32(name.encode()),)))
    if limits.is_normal:
        drawn = stream.standard_normal(count)
        drawn *= (limits.high - limits.low) / 4
        drawn += limits.nominal
        return drawn
    drawn = stream.random(count)
    drawn *= limits.high - limits.low
    drawn += limits.low
    return np.minimum(drawn, limits.high, out=drawn)


def summarise(draws: Array) -> Summary:
    """Mean, uncertainty (JCGM 101 7.6), interval (7.7) and histogram of draws, shape (n,), n at least 2."""
    lowest, highest = float(draws.min()), float(draws.max())
    work = draws - lowest
    shift = float(work.mean())
    work -= shift  # in place: a fresh array of this size costs as much as the arithmetic
    variance = float(np.einsum("i,i->", work, work)) / len(draws)  # unlike np.dot, wakes no BLAS threads
    work += shift
    edges, counts = _histogram(work, lowest, highest)
    return Summary(lowest + shift, variance**0.5, *interval(draws), edges, counts)


def interval(
    draws: Array, coverage: float = 0.95, kind: Literal["symmetric", "shortest"] = "symmetric"
) -> tuple[float, float]:
    """The coverage interval of draws, shape (n,), n at least 2 (JCGM 101 7.7.2)."""
    count = len(draws)
    covered = min(max(round(coverage * count), 1), count - 1)
    if kind == "shortest":
        ordered = np.sort(draws)
        first = int(np.argmin(ordered[covered:] - ordered[: count - covered]))
        return float(ordered[first]), float(ordered[first + covered])
    first = (count - covered) // 2
    parted = np.partition(draws, first)
    low, above = float(parted[first]), parted[first:]
    above.partition(covered)  # in place: far quicker than to part by two places at once
    return low, float(above[covered])


def _histogram(above: Array, lowest: float, highest: float) -> tuple[tuple[float, ...], tuple[int, ...]]:
    """Counts of draws by what they are `above` the lowest; that array is used up."""
    edges = np.linspace(lowest, highest, _BINS + 1)
    if highest - lowest < _BINS * _TINY or not np.all(np.diff(edges) > 0):
        return (lowest, highest), (len(above),)
    above *= _BINS / (highest - lowest)
    np.clip(above, 0, _BINS - 1, out=above)
    counts = np.bincount(above.astype(np.intp), minlength=_BINS)
    return tuple(edges.tolist()), tuple(counts.tolist())


class Bands:
    """The draws of one input sorted into bands, to be used for every line."""

    def __init__(self, draws: Array, limits: Box) -> None:
        low, high = limits.low, limits.high
        if limits.is_normal:  # four standard uncertainties either way; what lies beyond joins the last band
            low, high = limits.nominal - (high - low), limits.nominal + (high - low)
        place = (draws[:_SHARED] - low) * (_BANDS / (high - low))
        self.index = np.clip(place, 0, _BANDS - 1).astype(np.intp)
        self.counts = np.bincount(self.index, minlength=_BANDS)

    def share(self, deviations: Array, variance: float) -> float:
        """The first-order index of this input, from the deviations of y from its mean and their variance."""
        sums = np.bincount(self.index, weights=deviations, minlength=_BANDS)
        filled = self.counts > 0
        between = float(np.sum(sums[filled] ** 2 / self.counts[filled])) / len(deviations) / variance
        chance = (int(filled.sum()) - 1) / len(deviations)
        return min(max((between - chance) / (1 - chance), 0.0), 1.0)


def shares(draws: Array, bands: Mapping[str, Bands]) -> dict[str, float]:
    """Each input's share of the variance of draws, shape (n,): all 0 where nothing varies, 1 for an only input."""
    taken = draws[:_SHARED]
    mean = float(taken.mean())
    deviations = taken - mean
    variance = float(np.square(deviations).mean())
    if variance <= (_NOTHING * mean) ** 2:
        return dict.fromkeys(bands, 0.0)
    if len(bands) == 1:
        return dict.fromkeys(bands, 1.0)
    found = {name: band.share(deviations, variance) for name, band in bands.items()}
    total = max(sum(found.values()), 1.0)
    return {name: share / total for name, share in found.items()}
