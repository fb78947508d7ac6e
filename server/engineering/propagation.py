"""Tolerances carried through a model: draws, the interval they cover, the worst case, and who brings the spread.

A model is any function from named values to one array, all in SI base units. It knows nothing of lines, units or limits.

    draws       Monte Carlo of JCGM 101:2008 section 7: `limits` uniform (6.4.2), `standard` normal (6.4.7), inputs independent
    interval    probabilistically symmetric, or the shortest, of coverage 0.95 (7.7)
    shares      first-order index Var(E[y | x_i]) / Var(y): the part of the variance that knowing x_i exactly would take away, on average.
                Estimated from the same draws: the variance of y's means over 64 bands of x_i, less what chance alone would give.
                In an additive model they add up to 1; what is missing comes from inputs acting together.
    worst case  over the box of the inputs' limits (nominal -/+ 2u for `standard`): every corner up to 12 inputs that vary, then a
                search that climbs from the best corner or draw along each input, joined with the extremes of all draws.

Sources: JCGM 101:2008; A. Saltelli et al., Global Sensitivity Analysis: The Primer (2008) 1.2.6 and 4.5 (from memory).
"""

import zlib
from collections.abc import Callable, Mapping
from typing import Literal, NamedTuple
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from server.engineering.toleranced import Toleranced
from server.engineering.units import scale

Array = NDArray[np.float64]
Point = Mapping[str, float | Array]
Model = Callable[[Point], float | Array]

MOST_CORNERED = 12
_BANDS = 64
_STEPS = np.concatenate([s * 2.0 ** -np.arange(13.0) for s in (1.0, -1.0)])


class Box(NamedTuple):
    """An input's nominal, low and high in SI base units, and whether it is sampled as normal."""

    nominal: float
    low: float
    high: float
    is_normal: bool

    @property
    def varies(self) -> bool:
        return self.high > self.low


class Extremes(NamedTuple):
    """The worst case and how it was found."""

    low: float
    high: float
    inside_beats_corners: bool
    all_corners: bool
    beyond_limits: bool


def box(value: Toleranced) -> Box:
    """A value in SI base units."""
    factor, offset, _, _ = scale(value.unit)
    low, nominal, high = (number * factor + offset for number in (value.low, value.nominal, value.high))
    return Box(nominal, low, high, value.spread == "standard")


def draw(name: str, limits: Box, count: int, seed: UUID | int) -> Array:
    """`count` draws of one input, shape (count,), in SI base units.

    The stream hangs on the seed and the name alone: the same input gets the same luck beside others, in another order, or with
    another value, so that two cases of one calculation differ by their values and not by chance.
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
    return drawn


def interval(
    draws: Array, coverage: float = 0.95, kind: Literal["symmetric", "shortest"] = "symmetric"
) -> tuple[float, float]:
    """The coverage interval of draws, shape (n,): equal parts left out on both sides, or the shortest (JCGM 101 7.7.2)."""
    count = len(draws)
    covered = min(max(round(coverage * count), 1), count - 1)
    if kind == "shortest":
        ordered = np.sort(draws)
        start = int(np.argmin(ordered[covered:] - ordered[: count - covered]))
        return float(ordered[start]), float(ordered[start + covered])
    low = (count - covered) // 2
    ordered = np.partition(draws, (low, low + covered))
    return float(ordered[low]), float(ordered[low + covered])


class Bands:
    """The draws of one input sorted into bands, to be used for every line."""

    def __init__(self, draws: Array, limits: Box) -> None:
        low, high = limits.low, limits.high
        if limits.is_normal:  # four standard uncertainties either way
            low, high = limits.nominal - (high - low), limits.nominal + (high - low)
        index = ((draws - low) * (_BANDS / (high - low))).astype(np.intp)
        np.clip(index, 0, _BANDS - 1, out=index)
        self.index = index
        self.counts = np.bincount(index, minlength=_BANDS)

    def share(self, deviations: Array, variance: float) -> float:
        """The first-order index of this input, from deviations of y from its mean and their variance."""
        sums = np.bincount(self.index, weights=deviations, minlength=_BANDS)
        filled = self.counts > 0
        between = float(np.sum(sums[filled] ** 2 / self.counts[filled])) / len(deviations) / variance
        chance = (int(filled.sum()) - 1) / len(deviations)
        return min(max((between - chance) / (1 - chance), 0.0), 1.0)


def shares(draws: Array, bands: Mapping[str, Bands]) -> dict[str, float]:
    """Each input's share of the variance of draws, shape (n,). All 0 where nothing varies; 1 for an only input."""
    mean = float(np.mean(draws))
    deviations = draws - mean
    variance = float(np.mean(np.square(deviations)))  # np.dot would wake BLAS threads for nothing
    if variance <= (1e-12 * mean) ** 2:
        return dict.fromkeys(bands, 0.0)
    if len(bands) == 1:
        return dict.fromkeys(bands, 1.0)
    found = {name: band.share(deviations, variance) for name, band in bands.items()}
    total = max(sum(found.values()), 1.0)
    return {name: share / total for name, share in found.items()}


def worst_case(model: Model, boxes: Mapping[str, Box], drawn: Mapping[str, Array], results: Array) -> Extremes:
    """The extremes of a model over its inputs' limits and draws.

    `boxes` are the inputs that vary and `drawn` their draws; `results` is the model at the draws, shape (n,).
    """
    names = list(boxes)
    lows, highs = (np.array([getattr(boxes[name], side) for name in names]) for side in ("low", "high"))
    cornered = len(names) <= MOST_CORNERED

    def at(points: Array) -> Array:
        values = np.asarray(model({name: points[i] for i, name in enumerate(names)}), dtype=np.float64)
        return np.broadcast_to(values, points.shape[1:])

    corners = _corners(lows, highs) if cornered else np.stack([lows, highs], axis=1)
    at_corners = at(corners)
    low, high = (
        _climb(at, _best_start(corners, at_corners, boxes, drawn, results, sign), lows, highs, sign)
        for sign in (-1.0, 1.0)
    )
    room = 1e-6 * (high - low)
    return Extremes(
        low=min(low, float(results.min())),
        high=max(high, float(results.max())),
        inside_beats_corners=cornered and bool(low < at_corners.min() - room or high > at_corners.max() + room),
        all_corners=cornered,
        beyond_limits=bool(results.min() < low - room or results.max() > high + room),
    )


def _corners(lows: Array, highs: Array) -> Array:
    """Every corner of the box, shape (inputs, 2**inputs)."""
    count = len(lows)
    bits = (np.arange(2**count)[np.newaxis, :] >> np.arange(count)[:, np.newaxis]) & 1
    return np.where(bits == 1, highs[:, np.newaxis], lows[:, np.newaxis])


def _best_start(
    corners: Array,
    at_corners: Array,
    boxes: Mapping[str, Box],
    drawn: Mapping[str, Array],
    results: Array,
    sign: float,
) -> Array:
    """The best corner, or the best draw that lies within the limits if that is better; shape (inputs,)."""
    corner = int(np.argmax(sign * at_corners))
    outside = np.zeros(len(results), dtype=bool)
    for name, limits in boxes.items():
        if limits.is_normal:
            outside |= (drawn[name] < limits.low) | (drawn[name] > limits.high)
    inside = np.where(outside, -np.inf, sign * results)
    best = int(np.argmax(inside))
    if inside[best] > sign * at_corners[corner]:
        return np.array([drawn[name][best] for name in boxes])
    return corners[:, corner]


def _climb(at: Callable[[Array], Array], start: Array, lows: Array, highs: Array, sign: float) -> float:
    """The largest sign * model that moves along one input at a time lead to, without leaving the box."""
    count = len(start)
    moves = np.kron(np.eye(count), _STEPS) * (highs - lows)[:, np.newaxis]
    point, best = start, float(at(start[:, np.newaxis])[0]) * sign
    for _ in range(20 + 4 * count):
        trials = np.clip(point[:, np.newaxis] + moves, lows[:, np.newaxis], highs[:, np.newaxis])
        values = sign * at(trials)
        chosen = int(np.argmax(values))
        if values[chosen] <= best + 1e-12 * abs(best):
            break
        point, best = trials[:, chosen], float(values[chosen])
    return sign * best
