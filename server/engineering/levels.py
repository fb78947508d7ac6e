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

Any finite array of shape (n,), n >= 8, in any unit; the results are in that unit. Nothing is raised.
"""

import math
from dataclasses import dataclass
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

    `values` counts the codes; `blinks` tells of two codes one of which usually lasts for a single sample.
    """

    low: Level
    high: Level
    noise: float
    step: float
    values: int
    blinks: bool = False

    @property
    def amplitude(self) -> float:
        return self.high.value - self.low.value

    @property
    def are_two(self) -> bool:
        """Whether they lie further apart than noise alone would put them."""
        if self.values <= 2:
            return self.values == 2 and not self.blinks
        apart = _APART if self.low.stays and self.high.stays else _APART_AS_EXTREMES
        return self.amplitude > max(apart * self.noise, _APART_IN_STEPS * self.step)


class _Histogram(NamedTuple):
    counts: Reals
    centres: Reals
    width: float


def find_states(volts: Reals) -> States:
    """The low and high state levels of a trace of at least 8 samples; alike if it never moves."""
    lowest, highest = float(volts.min()), float(volts.max())
    step = code_step(volts)
    values = round((highest - lowest) / step) + 1 if step else 1
    if values <= 2:
        up = volts > (lowest + highest) / 2
        low = Level(lowest, 0.0, 0.0, int((~up).sum()), stays=True)
        high = Level(highest, 0.0, 0.0, int(up.sum()), stays=True)
        return States(low, high, 0.0, step, values, _blinks(up))
    noise = noise_of(volts)
    table = _histogram(volts, step)
    half = table.counts.size // 2
    # The upper half is looked at from its outer end too, so that a trace turned upside down has its levels turned.
    bottom, top = _mode(table.counts[:half], table.width, noise), _mode(table.counts[::-1][:half], table.width, noise)
    middle = (lowest + highest) / 2
    below, above = volts[volts <= middle], volts[volts >= middle]
    return States(
        _level(below, None if bottom is None else table.centres[bottom], lowest, table, noise),
        _level(above, None if top is None else table.centres[-1 - top], highest, table, noise),
        noise,
        step,
        values,
    )


def _blinks(up: NDArray[np.bool_]) -> bool:
    """Whether either value of a trace of two is usually left after one sample, as by noise across a code's edge."""
    turns = np.flatnonzero(np.diff(up))
    runs = np.diff(turns, prepend=-1, append=up.size - 1)
    return turns.size > 0 and bool(min(np.median(runs[::2]), np.median(runs[1::2])) < 2)


def noise_of(volts: Reals) -> float:
    """Standard deviation of the noise, from second differences."""
    bends = np.abs(np.diff(volts, n=2))
    return float(np.quantile(bends, 0.25)) / (_QUARTER_POINT * math.sqrt(6.0))


def code_step(volts: Reals) -> float:
    """The smallest step between two different values, leaving out what the last bits of a double make; 0 if alike."""
    values = np.unique(volts)
    gaps = np.diff(values)
    return float(gaps[gaps > 1e-9 * (values[-1] - values[0])].min(initial=values[-1] - values[0]))


def _histogram(volts: Reals, step: float) -> _Histogram:
    lowest, highest = float(volts.min()), float(volts.max())
    codes = round((highest - lowest) / step) + 1
    most = min(MOST_BINS, max(_FEWEST_BINS, volts.size // _SAMPLES_A_BIN))
    bins = min(codes, most)
    # With a bin for each code, codes lie in the middle of theirs.
    margin = (highest - lowest) / (bins - 1) / 2 if bins == codes else 0.0
    counts, edges = np.histogram(volts, bins, (lowest - margin, highest + margin))
    return _Histogram(counts.astype(np.float64), (edges[1:] + edges[:-1]) / 2, float(edges[1] - edges[0]))


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
    spread = float(near.std())
    passed = reach * (1 - near.size / half.size)
    uncertainty = math.sqrt(spread**2 / near.size + width**2 / 12 + passed**2 / 3)
    return Level(float(near.mean()), uncertainty, spread, near.size, stays=True)
