"""The edges of a trace between two state levels: when each happens and how long it takes.

Reference levels are 10 %, 50 % and 90 % of the amplitude above the low level (IEEE Std 181-2011, 4.3 and 5.3, from
memory). An edge is a passage from one side of the band between 10 % and 90 % to the other; a trace that turns back
inside the band has made none, so noise and small glitches do not count.

    instant     half-way between the first and the last crossing of 50 % during the passage
    duration    from the last crossing of one end of the band to the first crossing of the other after it

each crossing by a straight line between its two samples. All arrays hold one element an edge, in order of time; times
are in the trace's unit of time. Time strictly increases; the high level lies above the low one. Nothing is raised.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.engineering.captures import Reals

LOWER, MIDDLE, UPPER = 0.1, 0.5, 0.9

Places = NDArray[np.intp]


@dataclass(frozen=True, slots=True, eq=False)
class Edges:
    """Edges in order of time; `rises` tells which go up. They go up and down in turn.

    `before` and `after` are the places of the last sample outside the band on one side and the first on the other,
    `spans` the time between those: no edge can have taken longer.
    """

    instants: Reals
    durations: Reals
    spans: Reals
    rises: NDArray[np.bool_]
    before: Places
    after: Places

    @property
    def steps(self) -> Places:
        """From how many samples on each edge to the next it is read; 1: no sample lies on the edge itself."""
        return self.after - self.before


def find_edges(time: Reals, volts: Reals, low: float, high: float) -> Edges:
    """The edges between two levels; none where the trace never leaves one side of the band."""
    share = (volts - low) / (high - low)
    sides = np.where(share >= UPPER, 1, np.where(share <= LOWER, -1, 0))
    outside = np.flatnonzero(sides)
    turns = np.flatnonzero(np.diff(sides[outside]))
    before, after = outside[turns], outside[turns + 1]
    rises = sides[after] > 0
    starts = _crossing(time, share, before, np.where(rises, LOWER, UPPER))
    stops = _crossing(time, share, after - 1, np.where(rises, UPPER, LOWER))
    instants = _instants(time, share, before, after)
    return Edges(instants, stops - starts, time[after] - time[before], rises, before, after)


def _instants(time: Reals, share: Reals, before: Places, after: Places) -> Reals:
    crossings = np.flatnonzero(np.diff(share >= MIDDLE))
    first = crossings[np.searchsorted(crossings, before)]
    last = crossings[np.searchsorted(crossings, after) - 1]
    middle = np.full(before.size, MIDDLE)
    return (_crossing(time, share, first, middle) + _crossing(time, share, last, middle)) / 2


def _crossing(time: Reals, share: Reals, place: Places, level: Reals) -> Reals:
    """When the line from the sample at `place` to the next one passes `level`."""
    part = (level - share[place]) / (share[place + 1] - share[place])
    return time[place] + part * (time[place + 1] - time[place])


def plateaus(volts: Reals, edges: Edges) -> tuple[Reals, Reals]:
    """The lowest and the highest sample between each edge and the next, or the end of the trace after the last."""
    bounds = np.stack([edges.after, np.append(edges.before[1:] + 1, volts.size)], axis=1).ravel()[:-1]
    return np.minimum.reduceat(volts, bounds)[::2], np.maximum.reduceat(volts, bounds)[::2]
