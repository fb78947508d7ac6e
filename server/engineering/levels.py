"""The two state levels of a trace: where it stays when low and when high.

Histogram method: the range from the lowest to the highest sample is counted into bins and parted in the middle; the
low state level is the mode of the lower half, the high one that of the upper half (IEEE Std 181-2011, 5.2.1, from
memory). Here each code of a digitised trace gets a bin of its own, up to 256; counts are smoothed by the noise before
the mode is sought, and the level is the mean of the samples around it, within 1.5 bins or twice the noise. Where no
level stands out of its half (a triangle, the far end of a decay), the extreme sample is taken instead.

    noise     sigma = q25(|v[i-1] - 2 v[i] + v[i+1]|) / (0.31864 sqrt 6)

the quarter point of second differences, which edges and slopes barely touch; exact for white Gaussian noise, too small
for noise that is smooth from sample to sample. The standard uncertainty of a level is

    u² = s²/m + b²/12 + r² (1 - f)²/3

with s the spread of its m samples, b the width of a bin (none if the trace has only two values: those are the levels),
r the reach around the mode and f the share of its half that lies within it, for a level that is passed rather than
kept, as by a sine, is not the sharper for a sharp mode. It leaves out how true the instrument's scale is.

A sample that stands alone far from both its neighbours (a glitch) does not stretch the range that is parted: where the
uppermost or the lowest tenth of it has no two samples in a row, the trace is looked at without what lies beyond the
medians of three samples in a row, provided that it then has two levels.

Any finite array of shape (n,), n >= 8, in any unit; the results are in that unit. Nothing is raised.
"""

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from server.engineering.captures import Reals

MOST_BINS = 256
_FEWEST_BINS = 16
_SAMPLES_A_BIN = 8
_SMOOTHED_FROM = 64
_STANDS_OUT = 2.5
_ROUNDS = 3
# Of |x| for a standard normal x, a quarter lies below this.
_QUARTER_POINT = 0.31864
# Levels must lie this many noises apart to be two; extremes of noise alone lie up to ten apart in a million samples.
_APART, _APART_AS_EXTREMES = 5.0, 12.0
# Noise below a step makes a trace hop between neighbouring codes.
_APART_IN_STEPS = 2.5
# What holds two levels though noise or codes leave it open: this share of samples near them, but few beyond.
_NEAR, _NEAR_OF_FEW_CODES, _BEYOND = 0.85, 0.6, 0.15
_FEW_CODES = 4
_NEARNESS, _SPREAD = 0.25, 1 / 12
_FEWEST_HELD, _FEWEST_BETWEEN, _FEWEST_ALIKE = 2, 4, 3
_ALIKE = 0.1
_STRETCHED = 0.1
# Codes count as even if the trace's values lie this near to whole steps.
_OFF_STEP = 0.1
_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class Level:
    """One state level with its standard uncertainty; `samples` and `spread` of those it rests on.

    `stays` is false where the trace does not stay there, and the extreme sample was taken.
    """

    value: float
    uncertainty: float
    spread: float
    samples: int
    stays: bool


@dataclass(frozen=True, slots=True)
class States:
    """Both levels, the noise, and the step between codes, all in the trace's unit.

    `values` counts the codes; `held` tells that the trace keeps to its two levels and hardly strays from them, `bare`
    that each is one value, so that how finely the trace was read is not known.
    """

    low: Level
    high: Level
    noise: float
    step: float
    values: int
    held: bool = False
    bare: bool = False

    @property
    def amplitude(self) -> float:
        return self.high.value - self.low.value

    @property
    def are_two(self) -> bool:
        """Whether they lie further apart than noise alone would put them, or the trace keeps to them."""
        if self.held or self.values <= 2:
            return self.held
        apart = _APART if self.low.stays and self.high.stays else _APART_AS_EXTREMES
        return self.amplitude > max(apart * self.noise, _APART_IN_STEPS * self.step)


class _Histogram(NamedTuple):
    counts: Reals
    centres: Reals
    width: float


def find_states(volts: Reals) -> States:
    """The low and high state levels of a trace of at least 8 samples; alike if it never moves."""
    if _is_stretched(volts):
        calm = despiked(volts)
        states = _states(volts[(volts >= calm.min()) & (volts <= calm.max())])
        if states.are_two:
            return states
    return _states(volts)


def _is_stretched(volts: Reals) -> bool:
    """Whether no two samples in a row lie in the uppermost tenth of the range, or none in the lowest."""
    lowest, highest = float(volts.min()), float(volts.max())
    tenth = _STRETCHED * (highest - lowest)
    return not all(np.any(end[1:] & end[:-1]) for end in (volts >= highest - tenth, volts <= lowest + tenth))


def despiked(volts: Reals) -> Reals:
    """The median of each sample and its neighbours: what a single sample does is gone, steps stay where they are."""
    before, after = volts[:-2], volts[2:]
    inner = np.maximum(np.minimum(before, after), np.minimum(np.maximum(before, after), volts[1:-1]))
    return np.concatenate([volts[1:2], inner, volts[-2:-1]])


def _states(volts: Reals) -> States:
    lowest, highest = float(volts.min()), float(volts.max())
    codes = np.unique(volts)
    step = _step_of(codes)
    values = round((highest - lowest) / step) + 1 if step else 1
    if values <= 2:
        up = volts > (lowest + highest) / 2
        low = Level(lowest, 0.0, 0.0, int((~up).sum()), stays=True)
        high = Level(highest, 0.0, 0.0, int(up.sum()), stays=True)
        return States(low, high, 0.0, step, values, held=_lasts(up), bare=values == 2)
    noise = noise_of(volts)
    table = _histogram(volts, codes, step)
    half = table.counts.size // 2
    # The upper half is looked at from its outer end too, so that a trace turned upside down has its levels turned.
    bottom, top = _mode(table.counts[:half], table.width, noise), _mode(table.counts[::-1][:half], table.width, noise)
    middle = (lowest + highest) / 2
    below, above = volts[volts <= middle], volts[volts >= middle]
    states = States(
        _level(below, None if bottom is None else table.centres[bottom], lowest, table, noise),
        _level(above, None if top is None else table.centres[-1 - top], highest, table, noise),
        noise,
        step,
        values,
    )
    return _if_held(volts, states)


def _if_held(volts: Reals, states: States) -> States:
    """The same, and `held` where the samples lie near the levels and stay there; `bare` where each has one value.

    Edges are no noise: the noise of a trace that is held is no more than the spread at its levels.
    """
    low, high = states.low, states.high
    reach = _NEARNESS * states.amplitude
    down, up = np.abs(volts - low.value) <= reach, np.abs(volts - high.value) <= reach
    at_low, at_high = volts[down], volts[up]
    near = at_low.size + at_high.size
    beyond = np.count_nonzero(volts < low.value - reach) + np.count_nonzero(volts > high.value + reach)
    enough = _NEAR if states.values > _FEW_CODES else _NEAR_OF_FEW_CODES
    if reach <= 0 or near < enough * volts.size or beyond > _BEYOND * volts.size or not _lasts(up[up | down]):
        return states
    spread = math.sqrt(float(at_low.var() * at_low.size + at_high.var() * at_high.size) / near)
    if spread > _SPREAD * states.amplitude:
        return states
    held = replace(states, noise=min(states.noise, spread), held=True)
    if spread <= _ROUNDING * states.amplitude and near >= _NEAR * volts.size:
        return replace(held, low=replace(low, uncertainty=0.0), high=replace(high, uncertainty=0.0), bare=True)
    return held


def _lasts(up: NDArray[np.bool_]) -> bool:
    """Whether a trace that is up or not stays so, unlike noise across a code's edge: mostly for two samples or more.

    Single samples will do where what lies between them is longer, and always as long.
    """
    turns = np.flatnonzero(np.diff(up))
    runs = np.diff(turns, prepend=-1, append=up.size - 1)
    if turns.size == 0:
        return False
    sides = [_inner(runs, 0), _inner(runs, 1)]
    short, long = sorted(sides, key=lambda side: float(np.median(side)))
    if np.median(short) >= _FEWEST_HELD:
        return True
    regular = np.ptp(long) <= max(1.0, _ALIKE * float(long.mean()))
    return bool(long.size >= _FEWEST_ALIKE and np.median(long) >= _FEWEST_BETWEEN and regular)


def _inner(runs: NDArray[np.intp], side: int) -> NDArray[np.intp]:
    """Every second run, without those that the capture cuts short if there are others."""
    inner = runs[1:-1][(side + 1) % 2 :: 2]
    return inner if inner.size else runs[side::2]


def noise_of(volts: Reals) -> float:
    """Standard deviation of the noise, from second differences."""
    bends = np.abs(np.diff(volts, n=2))
    return float(np.quantile(bends, 0.25)) / (_QUARTER_POINT * math.sqrt(6.0))


def code_step(volts: Reals) -> float:
    """The smallest step between two different values, leaving out what the last bits of a double make; 0 if alike."""
    return _step_of(np.unique(volts))


def _step_of(values: Reals) -> float:
    gaps = np.diff(values)
    return float(gaps[gaps > _ROUNDING * (values[-1] - values[0])].min(initial=values[-1] - values[0]))


def _histogram(volts: Reals, values: Reals, step: float) -> _Histogram:
    lowest, highest = float(values[0]), float(values[-1])
    codes = round((highest - lowest) / step) + 1
    most = min(MOST_BINS, max(_FEWEST_BINS, volts.size // _SAMPLES_A_BIN))
    bins = codes if codes <= most and _are_even(values, step) else most
    # With a bin for each code, codes lie in the middle of theirs.
    margin = (highest - lowest) / (bins - 1) / 2 if bins == codes else 0.0
    counts, edges = np.histogram(volts, bins, (lowest - margin, highest + margin))
    return _Histogram(counts.astype(np.float64), (edges[1:] + edges[:-1]) / 2, float(edges[1] - edges[0]))


def _are_even(values: Reals, step: float) -> bool:
    """Whether all values lie whole steps apart, as a converter's codes do, and one that a glitch brought may not."""
    steps = (values - values[0]) / step
    return bool((np.abs(steps - np.round(steps)) <= _OFF_STEP).all())


def _mode(half: Reals, width: float, noise: float) -> int | None:
    """The fullest bin of a half given from its outer end; None if it does not stand out."""
    if half.size >= _SMOOTHED_FROM // 2:
        reach = int(np.clip(round(noise / width), 1, half.size // 8))
        half = np.convolve(half, np.ones(2 * reach + 1), "same")
    stands_out = half.size < 3 or half.max() >= _STANDS_OUT * half.mean()
    return int(np.argmax(half)) if stands_out else None


def _level(half: Reals, centre: float | None, extreme: float, table: _Histogram, noise: float) -> Level:
    width = table.width
    if centre is None:
        return Level(extreme, math.hypot(noise, width / math.sqrt(12)), noise, 1, stays=False)
    # Half a bin is the least that surely holds the mode's own samples; a twentieth more keeps those on its edge.
    reach = max(min(max(1.5 * width, 2 * noise), width * table.counts.size / 8), 0.55 * width)
    near = half[np.abs(half - centre) <= reach]
    for _ in range(_ROUNDS):
        near = half[np.abs(half - near.mean()) <= reach]
    if near.size < _FEWEST_HELD:
        return Level(extreme, math.hypot(noise, width / math.sqrt(12)), noise, 1, stays=False)
    spread = float(near.std())
    passed = reach * (1 - near.size / half.size)
    uncertainty = math.sqrt(spread**2 / near.size + width**2 / 12 + passed**2 / 3)
    return Level(float(near.mean()), uncertainty, spread, near.size, stays=True)
