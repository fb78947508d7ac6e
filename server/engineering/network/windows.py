"""From stretches of a falling rail's voltage to spans of time after switch-off.

    windows_over_decay(thresholds(network, "rail", 0, 12, condition), ResistorFall(12.0, 100.0, 470e-6))

The rail is taken to fall as told, whatever the network does, and the network to follow at once: capacitors in it and
the change of its own load are left out. Each draw of the network goes with one draw of the fall. Times in s.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from server.engineering.decays import Decay
from server.engineering.network.bands import Band
from server.engineering.network.elements import Value
from server.engineering.network.errors import BadSweep
from server.engineering.network.falls import Fall, fall_of
from server.engineering.network.junctions import Array
from server.engineering.network.points import DRAWS
from server.engineering.network.thresholds import Interval
from server.engineering.propagation import box, draw
from server.engineering.toleranced import Toleranced


@dataclass(frozen=True)
class Window:
    """A span of time after switch-off, in s; `end` and `length` are infinite where the rail never falls that far.

    `share` of the draws have it; the bands are over those. `at_least`: it may last longer, for the condition still
    held where the looking ended, below or at the top. Where only draws of it do, their lengths are infinite.
    """

    start: Band
    end: Band
    length: Band
    share: float
    at_least: bool


class Windows(list[Window]):
    """The windows in the order in which they come, and in sentences what has to be known with them."""

    def __init__(self, windows: Sequence[Window] = (), notes: tuple[str, ...] = ()) -> None:
        super().__init__(windows)
        self.notes = notes


def windows_over_decay(
    intervals: Sequence[Interval], decay: Fall | Decay, *, draws: int = DRAWS, seed: UUID | int = 0
) -> Windows:
    """When a falling rail is within each of the intervals: from its upper end to its lower.

    `draws` is used where only the fall has a tolerance. Raises BadElementValue, and BadSweep for intervals that are
    not of one rail's voltage.
    """
    fall = fall_of(decay)
    fall.check()
    if any(interval.low.unit != "V" for interval in intervals):
        raise BadSweep("Only a voltage falls after switch-off: the intervals are of a current")
    counts = {len(interval.draws) for interval in intervals}
    if len(counts) > 1:
        raise BadSweep("The intervals do not belong together: they have different numbers of draws")
    timed = [_Timed(interval, fall, draws, seed) for interval in intervals]
    found = [one.window() for one in timed if one.comes]
    notes = [note for one in timed for note in one.notes()]
    return Windows(sorted(found, key=lambda window: window.start.nominal), tuple(notes))


class _Timed:
    """One interval with its times, nominal first."""

    def __init__(self, interval: Interval, fall: Fall, draws: int, seed: UUID | int) -> None:
        self.interval = interval
        count = len(interval.draws) or (draws if fall.varies else 0)

        def drawn(name: str, value: Value) -> Array:
            held = np.full(1 + count, box(value).nominal if isinstance(value, Toleranced) else float(value))
            if isinstance(value, Toleranced) and box(value).varies:
                held[1:] = draw(name, box(value), count, seed)
            return held

        ends = np.tile((interval.low.nominal, interval.high.nominal), (1 + count, 1))
        if len(interval.draws):
            ends[1:] = interval.draws
        self.volts_at_first = drawn("the start of the fall", fall.start)
        self.begin, self.end = (fall.seconds_to(ends[:, side], drawn) for side in (1, 0))
        self.begin = np.where(self.volts_at_first > ends[:, 0], self.begin, np.nan)
        self.begin[np.isinf(self.begin)] = np.nan
        self.cut_below, self.cut_above = self._cut(ends)
        self.at_least = bool(self.cut_below[0] or self.cut_above[0])
        if not self.at_least:
            self.end = np.where((self.cut_below | self.cut_above) & ~np.isnan(self.begin), np.inf, self.end)

    def _cut(self, ends: Array) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """In which rows the condition still held where the looking ended: at the bottom, and below where it starts."""
        unended = np.tile((self.interval.open_low, self.interval.open_high), (len(ends), 1))
        if len(self.interval.draws_open):
            unended[1:] = self.interval.draws_open
        return unended[:, 0], unended[:, 1] & (self.volts_at_first > ends[:, 1])

    @property
    def comes(self) -> bool:
        return bool(np.isfinite(self.begin[0]))

    def window(self) -> Window:
        has = np.isfinite(self.begin[1:]) if len(self.begin) > 1 else np.ones(1)
        length = self.end - self.begin
        return Window(_band(self.begin), _band(self.end), _band(length), float(has.mean()), self.at_least)

    def notes(self) -> list[str]:
        low, high = self.interval.low.nominal, self.interval.high.nominal
        span = f"{low:.4g} to {high:.4g} V"
        if not self.comes and self.volts_at_first[0] <= low:
            return [f"The rail starts at {self.volts_at_first[0]:.4g} V, below the stretch from {span}."]
        if not self.comes:
            return [f"The rail never falls into the stretch from {span}."]
        if np.isinf(self.end[0]):
            return [f"The rail comes to rest within the stretch from {span}: it is never left."]
        return list(self._notes_of_cuts(low, high))

    def _notes_of_cuts(self, low: float, high: float) -> Iterator[str]:
        if self.cut_below[0]:
            yield f"The condition still holds at {low:.4g} V, the lowest that was looked at: it may last longer."
        if self.cut_above[0]:
            start = self.volts_at_first[0]
            yield (
                f"The rail starts at {start:.4g} V and the condition holds at {high:.4g} V, the highest that was "
                "looked at: it may begin earlier."
            )
        share = float((self.cut_below | self.cut_above)[1:].mean()) if len(self.begin) > 1 else 0.0
        if share and not self.at_least:
            yield f"In {100 * share:.3g} % of the draws it goes on beyond what was looked at: those have no end here."


def _band(times: Array) -> Band:
    """Over the draws that have the window; infinities count as the longest."""
    nominal, drawn = float(times[0]), np.sort(times[1:][~np.isnan(times[1:])])
    if not drawn.size:
        return Band(nominal, nominal, nominal, nominal, nominal, "s")
    low, high = (float(drawn[round(part * (drawn.size - 1))]) for part in (0.025, 0.975))
    return Band(nominal, low, high, min(float(drawn[0]), nominal), max(float(drawn[-1]), nominal), "s")
