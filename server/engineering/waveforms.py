"""A scope's capture in figures: the one door to reading one, measuring a repeating trace, fitting a decay, drawing.

`measure` gives the terms of IEEE Std 181-2011 (from memory): state levels by histogram (`levels`), edges at 10 %, 50 %
and 90 % of the amplitude (`edges`), and from them

    period      from one edge to the next of the same polarity, at 50 %: (last - first)/N over N cycles
    frequency   1/period
    duty        time above 50 % over the period, mean over the cycles
    rise, fall  transition durations from 10 % to 90 %, mean over the edges
    overshoot   how far the trace goes above the high level after it rose, in % of the amplitude, mean over the rises
    undershoot  how far below the low level after it fell

in s, Hz, V and %, whatever units the capture has. Each comes with a standard uncertainty u (JCGM 100:2008, 4.2, 4.3);
for a time between two crossings, seen N times with spread s,

    u² = s²/N + (d/sqrt 6)²

as each crossing lies within one sample step d of where it is put, which repeating does not help with; over N cycles
end to end the second part falls to (d/(N sqrt 6))². To duty, rise and fall is added what a level moved by its own
uncertainty makes of them (JCGM 100:2008, 5.1.3, note 2), to rise and fall sqrt 2 times the noise over the slope, to
overshoot twice the noise. Edges with no sample on them get limits instead: a duration
between 0 and the steps it was missed by. What the instrument's time base and gain add is not in any of these.

Where a few single samples jump to the other level and back, and cycles are otherwise alike, edges are those of the
medians of three samples in a row, and a note says so.

A trace that does not go between two levels gives `steady`, its mean, if it is steady (`stillness`), and nothing else.

A figure that the capture does not give is None, and `reasons` says why under its name. `fit_decay` is in `decays`,
`read_capture` in `capture_text`, `envelope` in `captures`.
"""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from server.engineering.capture_text import read_capture
from server.engineering.captures import MOST_SAMPLES, Capture, CaptureError, Envelope, Reals, envelope
from server.engineering.decay_shapes import DecayError, inflation
from server.engineering.decays import Decay, fit_decay
from server.engineering.edges import LOWER, UPPER, Edges, find_edges, plateaus
from server.engineering.levels import Level, States, despiked, find_states
from server.engineering.stillness import is_steady
from server.engineering.toleranced import Toleranced

__all__ = [
    "Capture",
    "CaptureError",
    "Decay",
    "DecayError",
    "Envelope",
    "Waveform",
    "envelope",
    "fit_decay",
    "measure",
    "read_capture",
]

_BETWEEN_LEVELS = ("low", "high", "amplitude", "period", "frequency", "duty", "rise", "fall", "overshoot", "undershoot")
# An edge with at most one sample on it is faster than the capture can tell.
_FEWEST_STEPS = 2.5
_UNSTEADY = 0.1
# Cycles are alike if the longest is no longer than so many times the shortest; strays interrupt what is much longer.
_ALIKE, _MUCH_LONGER, _FEW_STRAYS = 1.5, 8, 0.01
_DIGITS = 9
# What goes beyond a level counts from this many noises and code steps on, and above what arithmetic rounds by.
_OVER_NOISE, _OVER_STEPS, _ROUNDING = 8.0, 1.5, 1e-6


@dataclass(frozen=True, slots=True)
class Waveform:
    """The figures of one trace: volts in V, times in s, frequency in Hz, duty, overshoot and undershoot in %.

    `steady` is the mean of a trace without two levels. `rises` and `falls` count edges, `cycles` the whole cycles
    between edges of one polarity. `reasons` has a sentence under the name of each figure that is None.
    """

    low: Toleranced | None = None
    high: Toleranced | None = None
    steady: Toleranced | None = None
    amplitude: Toleranced | None = None
    period: Toleranced | None = None
    frequency: Toleranced | None = None
    duty: Toleranced | None = None
    rise: Toleranced | None = None
    fall: Toleranced | None = None
    overshoot: Toleranced | None = None
    undershoot: Toleranced | None = None
    rises: int = 0
    falls: int = 0
    cycles: int = 0
    reasons: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Cycles:
    """Whole cycles between edges of one polarity: their lengths, and the share of each spent high."""

    lengths: Reals
    high: Reals


def measure(capture: Capture) -> Waveform:
    """The figures of a trace between two levels, and of its cycles if it repeats; never raises for a `Capture`.

    Takes the samples to be evenly spaced but for rounding, and the trace to have no more than two levels.
    """
    states = find_states(capture.volts)
    if not states.are_two:
        reasons = dict.fromkeys(_BETWEEN_LEVELS, _why_no_levels(states))
        if not is_steady(capture.volts, states):
            return Waveform(reasons=reasons | {"steady": _NOT_STEADY}, notes=_LIMITS)
        return Waveform(steady=_steady(capture, states), reasons=reasons, notes=_LIMITS)
    (edges, *moved), calmed = _likeliest_edges(capture, states)
    noise = states.noise / states.amplitude
    found = {**_levels(capture, states), **_timing(capture, edges, moved, noise), **_shots(capture, states, edges)}
    known = {name: value for name, value in found.items() if isinstance(value, Toleranced)}
    cycles = _cycles(edges)
    return Waveform(
        low=known.get("low"),
        high=known.get("high"),
        amplitude=known.get("amplitude"),
        period=known.get("period"),
        frequency=known.get("frequency"),
        duty=known.get("duty"),
        rise=known.get("rise"),
        fall=known.get("fall"),
        overshoot=known.get("overshoot"),
        undershoot=known.get("undershoot"),
        rises=int(edges.rises.sum()),
        falls=int((~edges.rises).sum()),
        cycles=cycles.lengths.size,
        reasons={name: value for name, value in found.items() if isinstance(value, str)},
        notes=(*_CALMED[: int(calmed)], *_notes(states, edges, cycles)),
    )


def _steady(capture: Capture, states: States) -> Toleranced:
    mean = float(capture.volts.mean())
    left = capture.volts - mean
    u = math.hypot(_scatter(left) * math.sqrt(inflation(left)), states.step / math.sqrt(12))
    return _measured(mean * capture.in_volts, u * capture.in_volts, "V")


def _levels(capture: Capture, states: States) -> dict[str, Toleranced | str]:
    low, high, scale = states.low, states.high, capture.in_volts
    u = math.hypot(low.uncertainty, high.uncertainty)
    return {
        "low": _measured(low.value * scale, low.uncertainty * scale, "V"),
        "high": _measured(high.value * scale, high.uncertainty * scale, "V"),
        "amplitude": _measured(states.amplitude * scale, u * scale, "V"),
        "steady": "The trace goes between two levels.",
    }


def _likeliest_edges(capture: Capture, states: States) -> tuple[list[Edges], bool]:
    """The edges, without those of single samples where these are strays among alike cycles; and whether so."""
    found = list(_edges(capture, capture.volts, states))
    if _shortest_stay(found[0]) == 1:
        calm = list(_edges(capture, despiked(capture.volts), states))
        if _are_alike(calm[0]) and (not _are_alike(found[0]) or _are_strays(found[0], calm[0], capture.time.size)):
            return calm, True
    return found, False


def _shortest_stay(edges: Edges) -> int:
    """The fewest samples from one edge to the next."""
    return int((edges.before[1:] - edges.after[:-1] + 1).min(initial=MOST_SAMPLES))


def _are_strays(found: Edges, calm: Edges, samples: int) -> bool:
    """Whether few samples are gone, two edges each, and what lies between the other edges is much longer than one."""
    strays = (found.rises.size - calm.rises.size) / 2
    return strays <= _FEW_STRAYS * samples and _shortest_stay(calm) >= _MUCH_LONGER


def _are_alike(edges: Edges) -> bool:
    lengths = _cycles(edges).lengths
    return bool(lengths.size and lengths.max() <= _ALIKE * lengths.min())


def _edges(capture: Capture, volts: Reals, states: States) -> Iterator[Edges]:
    """The edges, and what they would be were the low or the high level off by its uncertainty."""
    low, high = states.low, states.high
    for off_low, off_high in ((0.0, 0.0), (low.uncertainty, 0.0), (0.0, high.uncertainty)):
        yield find_edges(capture.time, volts, low.value + off_low, high.value + off_high)


def _timing(capture: Capture, edges: Edges, moved: Sequence[Edges], noise: float) -> dict[str, Toleranced | str]:
    """Period, frequency, duty, rise and fall, or why not; `moved` are the edges with a level off."""
    step = capture.step * capture.seconds
    found: dict[str, Toleranced | str] = {
        "rise": _duration(edges, moved, step, capture.seconds, noise, up=True),
        "fall": _duration(edges, moved, step, capture.seconds, noise, up=False),
    }
    cycles = _cycles(edges)
    count = cycles.lengths.size
    if not count:
        seen = f"{edges.rises.size} edges are" if edges.rises.size != 1 else "1 edge is"
        return found | dict.fromkeys(
            ("period", "frequency", "duty"), f"No whole cycle is in the capture: {seen} seen, and three are needed."
        )
    lengths = cycles.lengths * capture.seconds
    period = float(lengths.mean())
    u = math.hypot(_scatter(lengths), step / (count * math.sqrt(6)))
    off = _influence(lambda seen: float(_cycles(seen).high.mean()), edges, moved)
    u_duty = math.hypot(_scatter(cycles.high), step / (period * math.sqrt(6)), off)
    return found | {
        "period": _measured(period, u, "s"),
        "frequency": _measured(1 / period, u / period**2, "Hz"),
        "duty": _measured(100 * float(cycles.high.mean()), 100 * u_duty, "%"),
    }


def _cycles(edges: Edges) -> _Cycles:
    """Cycles from rise to rise, or from fall to fall where that gives one more."""
    if not edges.rises.size:
        return _Cycles(np.empty(0), np.empty(0))
    first = 0 if edges.rises.size % 2 or edges.rises[0] else 1
    starts = edges.instants[first::2]
    turns = edges.instants[first + 1 :: 2][: max(starts.size - 1, 0)]
    lengths = np.diff(starts)
    spent = (turns - starts[:-1]) / lengths
    return _Cycles(lengths, spent if edges.rises[first] else 1 - spent)


def _influence(figure: Callable[[Edges], float], edges: Edges, moved: Sequence[Edges]) -> float:
    """Standard uncertainty that the levels bring to a figure of the edges; those that find other edges cannot tell."""
    alike = [other for other in moved if other.rises.size == edges.rises.size]
    return math.hypot(*(figure(other) - figure(edges) for other in alike))


def _duration(
    edges: Edges, moved: Sequence[Edges], step: float, seconds: float, noise: float, *, up: bool
) -> Toleranced | str:
    """Mean duration of the edges that go `up` or not; `noise` in shares of the amplitude."""
    which = edges.rises == up
    durations = edges.durations[which] * seconds
    if not durations.size:
        return f"The trace never {'rises' if up else 'falls'} from one level to the other."
    if edges.steps[which].mean() < _FEWEST_STEPS:
        most = float(edges.spans[which].mean()) * seconds
        most = float(f"{most:.{_DIGITS}g}")  # the last bits of a difference of times are no part of a limit
        return Toleranced(most / 2, 0.0, most, "s")
    off = _influence(lambda seen: float(seen.durations[seen.rises == up].mean()) * seconds, edges, moved)
    mean = float(durations.mean())
    # Noise brings both ends of an edge nearer to each other, by about what it is worth on the edge's slope.
    hurried = math.sqrt(2) * noise * mean / (UPPER - LOWER)
    return _measured(mean, math.hypot(_scatter(durations), step / math.sqrt(6), off, hurried), "s")


def _shots(capture: Capture, states: States, edges: Edges) -> dict[str, Toleranced | str]:
    if not edges.rises.size:
        return dict.fromkeys(("overshoot", "undershoot"), "The trace does not go from one level to the other.")
    lowest, highest = plateaus(capture.volts, edges)
    return {
        "overshoot": _shot(highest[edges.rises] - states.high.value, states.high, states, "high"),
        "undershoot": _shot(states.low.value - lowest[~edges.rises], states.low, states, "low"),
    }


def _shot(beyond: Reals, level: Level, states: States, name: str) -> Toleranced | str:
    if not level.stays:
        return f"The trace has no flat {name} level to go beyond."
    if not beyond.size:
        return f"No edge leads to the {name} level."
    noise = max(states.noise, level.spread)
    mean = float(beyond.mean())
    if states.bare or mean <= max(_OVER_NOISE * noise, _OVER_STEPS * states.step, _ROUNDING * states.amplitude):
        return f"Nothing beyond the {name} level stands out of the noise."
    share = 100 / states.amplitude
    # The highest of several samples lies some two noises above what it would be without.
    return _measured(mean * share, math.hypot(_scatter(beyond), 2 * noise, level.uncertainty) * share, "%")


def _scatter(values: Reals) -> float:
    """Standard uncertainty of a mean from the spread of what was averaged; 0 for one value."""
    return float(values.std(ddof=1)) / math.sqrt(values.size) if values.size > 1 else 0.0


def _measured(nominal: float, u: float, unit: str) -> Toleranced:
    return Toleranced(nominal, nominal - 2 * u, nominal + 2 * u, unit, "standard")


_NOT_STEADY = "The trace moves further than its noise explains, so no one voltage tells where it stays."
_CALMED = (
    "Single samples jump to the other level and back; they were left out of the edges, as all other cycles are alike.",
)
_LIMITS = ("What the instrument's own time base and gain are off by is not in these uncertainties.",)


def _why_no_levels(states: States) -> str:
    if states.step == 0:
        return "The trace does not move."
    return (
        "The trace does not go between two levels that stand out of its noise. If the eye sees two, the capture has "
        "too few samples a cycle, or too few steps of voltage."
    )


def _notes(states: States, edges: Edges, cycles: _Cycles) -> Iterator[str]:
    for level, name, end in ((states.low, "low", "lowest"), (states.high, "high", "highest")):
        if not level.stays:
            yield f"The trace has no flat {name} level; its {end} sample was taken for it."
    if states.bare:
        yield "Each level is one single value, which was taken as it stands; how finely it was read is not known."
    if edges.rises.size and edges.steps.mean() < _FEWEST_STEPS:
        yield "The edges are faster than the samples follow, so rise or fall is only limited; capture at a faster rate."
    lengths = cycles.lengths
    if lengths.size > 1 and lengths.std(ddof=1) > _UNSTEADY * lengths.mean():
        yield (
            f"The cycles are not alike: the longest is {lengths.max() / lengths.min():.3g} times the shortest, "
            "so period and frequency are only means."
        )
    yield from _LIMITS
