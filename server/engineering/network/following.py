"""A network solved along a row of source values, each state begun from the one before, all draws abreast.

So a network with two resting states (a latch, a Schmitt trigger) stays in the one it was in until that one ends: the
order of the values is the order of events. The first value is solved from nothing for the nominal values, and for the
draws from the nominal state.
"""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from server.engineering.network.junctions import Array
from server.engineering.network.ports import Ports

_MOST_AHEAD = 0.05


class Point(NamedTuple):
    """One value with every row's junction voltages (rows, p) and unknowns (rows, n + m); whether states were chosen."""

    value: float
    volts: Array
    unknowns: Array
    pushed: bool


def follow(ports: Ports, values: Array) -> Iterator[Point]:
    """Solve for each of the values, of shape (points,), in turn. Raises NotSettled."""
    rows = slice(None)
    guess, pushed = _begin(ports, float(values[0]))
    before = last = guess
    for place, value in enumerate(values):
        if place > 1:
            guess = _ahead(before, last, values[place - 2 : place + 1])
        volts, unknowns, chosen = ports.solve(rows, np.full(ports.rows, value), guess)
        yield Point(float(value), volts, unknowns, chosen or pushed)
        before, last, guess, pushed = last, volts, volts, False


def _begin(ports: Ports, value: float) -> tuple[Array, bool]:
    """Every row's junctions at the nominal state."""
    volts, pushed = ports.begin(value)
    return np.repeat(volts, ports.rows, axis=0), pushed


def _ahead(before: Array, last: Array, values: Array) -> Array:
    """Where the junctions are heading, going on as they went; never far into conduction."""
    gone, onward = values[1] - values[0], values[2] - values[1]
    ratio = min(max(onward / gone, 0.0), 2.0) if gone else 0.0
    return np.asarray(last + np.clip((last - before) * ratio, None, _MOST_AHEAD))
