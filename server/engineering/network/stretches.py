"""Stretches of a source's range: made from where a condition changes, met with one another, matched over draws.

Plain arithmetic on numbers in V (or A); it knows nothing of networks.
"""

from collections.abc import Iterable
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from server.engineering.network.junctions import Array


class Stretch(NamedTuple):
    """From `low` to `high`; open where the range that was looked at ends and the condition still holds."""

    low: float
    high: float
    open_low: bool = False
    open_high: bool = False


def stretches(changes: Iterable[float], holds_at_low: bool, low: float, high: float) -> list[Stretch]:
    """Where a condition holds that changes at these values, in any order."""
    edges = [low, *sorted(changes), high]
    spans = pairwise(edges)
    last = len(edges) - 2
    held = [
        Stretch(start, end, place == 0, place == last)
        for place, (start, end) in enumerate(spans)
        if (place % 2 == 0) == holds_at_low
    ]
    return [stretch for stretch in held if stretch.high > stretch.low]


def both(first: list[Stretch], second: list[Stretch]) -> list[Stretch]:
    """Where two conditions hold at once."""
    met = []
    for a in first:
        for b in second:
            low, high = max(a.low, b.low), min(a.high, b.high)
            if low < high:
                met.append(Stretch(low, high, a.open_low and b.open_low, a.open_high and b.open_high))
    return sorted(met)


class Matched(NamedTuple):
    """For each nominal stretch the ends of each other row's, shape (others, 2), NaN where it has none, and which of
    these are open; how many rows have a stretch more, and how many lack one."""

    ends: list[Array]
    open: list[NDArray[np.bool_]]
    more: int
    fewer: int


def matched(nominal: list[Stretch], others: list[list[Stretch]]) -> Matched:
    """With as many as the nominal they are matched in order, else by how much they have in common."""
    ends = [np.full((len(others), 2), np.nan) for _ in nominal]
    unended = [np.zeros((len(others), 2), dtype=np.bool_) for _ in nominal]
    more = fewer = 0
    for row, found in enumerate(others):
        more, fewer = more + (len(found) > len(nominal)), fewer + (len(found) < len(nominal))
        pairs = zip(nominal, found, strict=True) if len(found) == len(nominal) else _nearest(nominal, found)
        for place, (_, stretch) in enumerate(pairs):
            if stretch is not None:
                ends[place][row] = stretch.low, stretch.high
                unended[place][row] = stretch.open_low, stretch.open_high
    return Matched(ends, unended, more, fewer)


def _nearest(nominal: list[Stretch], found: list[Stretch]) -> Iterable[tuple[Stretch, Stretch | None]]:
    """Each nominal stretch with the one that has the most in common with it, used once."""
    left = list(found)
    for stretch in nominal:
        shared = [min(stretch.high, other.high) - max(stretch.low, other.low) for other in left]
        best = int(np.argmax(shared)) if shared else -1
        yield stretch, left.pop(best) if best >= 0 and shared[best] > 0 else None
