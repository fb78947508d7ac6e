"""Where a condition begins and ends to hold along a swept source, for all draws abreast.

A condition's margin (positive where it holds) is taken along a grid that is followed in one direction. In each cell of
the grid, by its ends:

- one end holds and the other does not: there is an end in it, found by halving to 0.1 mV, or 1e-5 of
  the range where that is less, but never closer than numbers of that size can be told apart;
- both are alike, and the slopes at both ends head for the limit from either side: the margin turns in it. The cell is
  halved, the half kept in which it turns, until it crosses or is narrower than five times that. Those last are
  `grazing`: the condition may change for less than that;
- anything else is taken to have no end in it. A stretch that begins and ends within one cell and is not foretold by
  the slopes is missed: that is what the grid's step has to be told for.

Each state within a cell is begun from the end that was passed first, so a network with two resting states changes
where it does in that direction. Slopes by a difference along the states' own tangent. Arrays of shape (cells,).
"""

from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from server.engineering.network.junctions import Array, Places, Rows
from server.engineering.network.ports import Ports
from server.engineering.network.states import States

_FINE, _FINE_SHARE = 1e-4, 1e-5
_GRAZING, _NUDGE = 5.0, 1e-2
# The slope is taken over a hundredth of what ends are found to, which must itself be many numbers wide.
_TOLD_APART = 1e5

See = Callable[[Rows, Array, Array], States]
Margin = Callable[[States], Array]


@dataclass(frozen=True)
class Cells:
    """Stretches of the source from `start`, passed first, to `end`, each of one draw."""

    rows: Places
    start: Array
    end: Array
    volts: Array
    margin_at_start: Array
    margin_at_end: Array
    slope_at_start: Array
    slope_at_end: Array

    def take(self, places: "Places | NDArray[np.bool_]") -> "Cells":
        return Cells(*(getattr(self, item.name)[places] for item in fields(self)))

    @property
    def width(self) -> float:
        return float(np.abs(self.end - self.start).max(initial=0.0))

    @property
    def differ(self) -> NDArray[np.bool_]:
        return np.asarray((self.margin_at_start > 0) != (self.margin_at_end > 0))

    @property
    def turn(self) -> NDArray[np.bool_]:
        """Where both ends are alike and head for the limit."""
        away = np.where(self.margin_at_start > 0, 1.0, -1.0) * np.sign(self.end - self.start)
        return np.asarray(~self.differ & (away * self.slope_at_start < 0) & (away * self.slope_at_end > 0))


class Edge(NamedTuple):
    """Solved states of every row at one value of the source, `at` of shape (rows,), with a condition's margin."""

    at: Array
    volts: Array
    margin: Array
    slope: Array


def between(first: Edge, last: Edge) -> Cells:
    """The cells between two neighbouring values that may have an end in them, `first` passed first."""
    rows = np.arange(len(first.at))
    cells = Cells(rows, first.at, last.at, first.volts, first.margin, last.margin, first.slope, last.slope)
    return cells.take(cells.differ | cells.turn)


def fine_of(low: float, high: float) -> float:
    """How closely ends are found in a range."""
    return max(min(_FINE, _FINE_SHARE * (high - low)), _TOLD_APART * float(np.spacing(max(abs(low), abs(high)))))


@dataclass(frozen=True)
class Looking:
    """How to solve a network at some values, to read its unknowns, and to reckon a margin from that."""

    ports: Ports
    see: See
    margin: Margin
    fine: float

    def at(self, rows: Places, values: Array, start: Array) -> tuple[Array, Array, Array]:
        """Junction voltages, margins and slopes of new states."""
        volts, unknowns, _ = self.ports.solve(rows, values, start)
        here, beside = self.views(rows, values, volts, unknowns)
        return volts, *self.of(here, beside)

    def views(self, rows: Rows, values: Array, volts: Array, unknowns: Array) -> tuple[States, States]:
        """Solved states, and what they come to a little further along the source."""
        moved = unknowns + _NUDGE * self.fine * self.ports.slopes(rows, values, volts)
        return self.see(rows, values, unknowns), self.see(rows, values + _NUDGE * self.fine, moved)

    def of(self, here: States, beside: States) -> tuple[Array, Array]:
        """Margins and their slopes by the source."""
        margin = self.margin(here)
        return margin, (self.margin(beside) - margin) / (_NUDGE * self.fine)

    def middles(self, cells: Cells) -> tuple[Cells, Cells]:
        """Both halves of each cell."""
        middle = (cells.start + cells.end) / 2
        volts, margin, slope = self.at(cells.rows, middle, cells.volts)
        first = (
            cells.rows,
            cells.start,
            middle,
            cells.volts,
            cells.margin_at_start,
            margin,
            cells.slope_at_start,
            slope,
        )
        second = (cells.rows, middle, cells.end, volts, margin, cells.margin_at_end, slope, cells.slope_at_end)
        return Cells(*first), Cells(*second)


def crossings(looking: Looking, cells: Cells) -> tuple[Places, Array, Cells]:
    """The rows and source values at which the condition changes, and the cells that only graze it."""
    found, grazing = _in_turning(looking, cells.take(cells.turn))
    whole = joined([cells.take(cells.differ), *found])
    while whole.width > looking.fine:
        first, second = looking.middles(whole)
        whole = chosen(first.differ, first, second)
    return whole.rows, (whole.start + whole.end) / 2, grazing


def joined(parts: list[Cells]) -> Cells:
    return Cells(*(np.concatenate([getattr(part, item.name) for part in parts]) for item in fields(Cells)))


def chosen(where: NDArray[np.bool_], first: Cells, second: Cells) -> Cells:
    """The first's cells where told so, else the second's."""
    return joined([first.take(where), second.take(~where)])


def _in_turning(looking: Looking, cells: Cells) -> tuple[list[Cells], Cells]:
    """Cells with an end each, out of cells in which the margin turns; and those that were narrowed down for nothing."""
    found: list[Cells] = []
    while cells.rows.size and cells.width > _GRAZING * looking.fine:
        first, second = looking.middles(cells)
        crossing = first.differ
        found += [first.take(crossing), second.take(crossing)]
        first, second = first.take(~crossing), second.take(~crossing)
        left = joined([first.take(first.turn), second.take(second.turn)])
        cells = left
    return found, cells
