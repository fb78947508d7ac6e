"""The stretches of a source over which a condition holds, each end with its tolerance.

    found = thresholds(network, "rail", 0.0, 12.0, conducting_while_released("Q2", "Q1"))
    found[0].low.nominal, found[0].high.low, found[0].high.high     # V

Ends are found to 0.1 mV for every draw (`crossings.py`). By default the source falls from `high` to `low`, as a rail
does after switch-off; a network that answers otherwise while it rises is told of in the notes. What stretch might have
been missed, if narrower than the grid's step, is told too. Raises the `NetworkError`s of `errors.py`.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import reduce
from typing import NamedTuple
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from server.engineering.network.assembly import assemble
from server.engineering.network.bands import Band
from server.engineering.network.conditions import AnyCondition, Condition, parts_of
from server.engineering.network.crossings import Cells, Edge, Looking, between, crossings, fine_of, joined
from server.engineering.network.drawn_values import DrawnValues
from server.engineering.network.errors import BadSweep, NetworkTooLarge
from server.engineering.network.following import follow
from server.engineering.network.junctions import Array, Rows
from server.engineering.network.networks import Network
from server.engineering.network.points import CHOICE, DRAWS, MOST_STATES, swept_values
from server.engineering.network.ports import Ports
from server.engineering.network.states import States
from server.engineering.network.stretches import Stretch, both, matched, stretches

STEP = 0.05
_FEWEST_CELLS, _MOST_CELLS = 64, 480
_AGREE = 20.0


@dataclass(frozen=True)
class Interval:
    """A stretch over which the condition holds, its ends in the source's unit.

    `open_low`, `open_high`: the condition still holds where the looking ended. `share` of the draws have the stretch;
    the ends' bands are over those. `draws` are the ends of each, shape (draws, 2), NaN where a draw has it not, and
    `draws_open`, if given, says which of them are only where the looking ended.
    """

    low: Band
    high: Band
    open_low: bool
    open_high: bool
    share: float
    draws: Array = field(repr=False, compare=False)
    draws_open: NDArray[np.bool_] = field(default_factory=lambda: np.zeros((0, 2), np.bool_), repr=False, compare=False)


class Thresholds(list[Interval]):
    """The intervals, from low to high, and in sentences what has to be known with them.

    `share_with_more` of the draws have more stretches than the nominal values have, `share_with_fewer` lack one.
    `parts` are, where several conditions are to hold together, the intervals of each by itself.
    """

    def __init__(
        self,
        intervals: Sequence[Interval] = (),
        notes: tuple[str, ...] = (),
        draws: int = 0,
        share_with_more: float = 0.0,
        share_with_fewer: float = 0.0,
        parts: "tuple[Thresholds, ...]" = (),
    ) -> None:
        super().__init__(intervals)
        self.notes = notes
        self.draws = draws
        self.share_with_more = share_with_more
        self.share_with_fewer = share_with_fewer
        self.parts = parts


def thresholds(
    network: Network,
    source: str,
    low: float,
    high: float,
    condition: AnyCondition,
    *,
    draws: int = DRAWS,
    seed: UUID | int = 0,
    falling: bool = True,
) -> Thresholds:
    """Where the condition holds as a source (V or A) goes from `high` to `low`, or up again if not `falling`.

    Raises BadSweep, NetworkTooLarge, UnknownNode, UnknownElement, BadElementValue and NotSettled.
    """
    parts = parts_of(condition)
    for part in parts:
        part.check(network)
    if not parts:
        raise BadSweep("There is no condition to look for")
    element = network.source(source)
    grid = _grid(low, high, falling)
    search = _Search(network, source, parts, draws, seed)
    along = search.along(grid)
    back = _Search(network, source, parts, 0, seed).along(grid[::-1]).together[0]
    unit = "A" if element.kind == "current source" else "V"
    found = _intervals(along.together, unit)
    step = abs(float(grid[1] - grid[0]))
    notes = (
        *network.notes,
        *((CHOICE,) if along.pushed else ()),
        *found.notes,
        *_told_of_return(along.together[0], back, falling, unit, _AGREE * fine_of(low, high)),
        *_told_of_grazing(along.grazing, unit),
        f"Looked at every {step:.3g} {unit}: a stretch narrower than that may be missed, unless the slopes at both "
        "sides of it lead to it.",
    )
    each = tuple(_intervals(rows, unit) for rows in along.each) if len(parts) > 1 else ()
    return Thresholds(found, notes, search.drawn.draws, found.share_with_more, found.share_with_fewer, each)


class _Along(NamedTuple):
    """What was found along a grid: every row's stretches of all conditions together and of each by itself, where a
    condition grazes its limit at the nominal values, and whether one of several resting states was chosen."""

    together: list[list[Stretch]]
    each: list[list[list[Stretch]]]
    grazing: list[float]
    pushed: bool


class _Search:
    """A network and the conditions to look for in it."""

    def __init__(
        self, network: Network, source: str, parts: tuple[Condition, ...], draws: int, seed: UUID | int
    ) -> None:
        self.network, self.parts = network, parts
        self.drawn = DrawnValues(network, draws, seed, tuple(part.limit for part in parts))
        self.ports = Ports(assemble(network, self.drawn), source)
        self.limits = [part.drawn_limit(self.drawn, place) for place, part in enumerate(parts)]

    def along(self, grid: Array) -> _Along:
        """The stretches of every row along a grid. Raises NetworkTooLarge."""
        if self.drawn.rows * len(grid) > MOST_STATES:
            raise NetworkTooLarge(f"{len(grid)} points of {self.drawn.rows} draws are too many: give fewer draws")
        low, high = float(grid.min()), float(grid.max())
        lookings = [self._looking(place, fine_of(low, high)) for place in range(len(self.parts))]
        each: list[list[list[Stretch]]] = []
        grazes: list[float] = []
        some, pushed = self._cells(grid, lookings)
        for looking, (cells, held) in zip(lookings, some, strict=True):
            rows, values, grazing = crossings(looking, cells)
            each.append(
                [stretches(values[rows == row].tolist(), bool(held[row]), low, high) for row in range(self.drawn.rows)]
            )
            grazes += grazing.start[grazing.rows == 0].tolist()
        together = [reduce(both, of_a_row) for of_a_row in zip(*each, strict=True)]
        return _Along(together, each, grazes, pushed)

    def _looking(self, place: int, fine: float) -> Looking:
        part, limit = self.parts[place], self.limits[place]

        def margin(states: States) -> Array:
            return part.margin(states, limit)

        return Looking(self.ports, self._see, margin, fine)

    def _see(self, rows: Rows, values: Array, unknowns: Array) -> States:
        return States(self.network, self.drawn, self.ports, rows, values, unknowns)

    def _cells(self, grid: Array, lookings: list[Looking]) -> tuple[list[tuple[Cells, NDArray[np.bool_]]], bool]:
        """For each condition the cells of the grid that may have an end in them, and which rows hold at the low end.

        Also whether one of several resting states was chosen on the way.
        """
        cells: list[list[Cells]] = [[] for _ in lookings]
        held: list[NDArray[np.bool_]] = []
        before: list[Edge] = []
        pushed = False
        for value, volts, unknowns, chosen in follow(self.ports, grid):
            pushed = pushed or chosen
            at = np.full(self.drawn.rows, value)
            views = lookings[0].views(slice(None), at, volts, unknowns)
            now = [Edge(at, volts, *looking.of(*views)) for looking in lookings]
            for place, edge in enumerate(before):
                cells[place].append(between(edge, now[place]))
            before = now
            if value == grid.min():
                held = [edge.margin > 0 for edge in now]
        return [(joined(some), rows) for some, rows in zip(cells, held, strict=True)], pushed


def _grid(low: float, high: float, falling: bool) -> Array:
    low, high = (float(end) for end in swept_values([low, high]))
    if not low < high:
        raise BadSweep("The range to look over must go from a lower value to a higher one")
    if high - low < _FEWEST_CELLS * fine_of(low, high):
        raise BadSweep("The range to look over is too narrow: its ends can hardly be told apart")
    cells = min(max(int(np.ceil((high - low) / STEP)), _FEWEST_CELLS), _MOST_CELLS)
    grid = np.linspace(low, high, cells + 1)
    return grid[::-1] if falling else grid


def _intervals(rows: list[list[Stretch]], unit: str) -> Thresholds:
    """The nominal stretches with the ends that the draws give them, and what is told of draws that have others."""
    nominal, others = rows[0], rows[1:]
    ends, unended, more, fewer = matched(nominal, others)
    intervals = [
        Interval(
            _band(stretch.low, end[:, 0], unit),
            _band(stretch.high, end[:, 1], unit),
            stretch.open_low,
            stretch.open_high,
            float(np.isfinite(end[:, 0]).mean()) if others else 1.0,
            end,
            unended_there,
        )
        for stretch, end, unended_there in zip(nominal, ends, unended, strict=True)
    ]
    count = len(others) or 1
    notes = (
        *_told_of_draws(rows, more / count, fewer / count, unit),
        *(note for interval in intervals for note in _told_of_open_draws(interval)),
    )
    return Thresholds(intervals, notes, len(others), more / count, fewer / count)


def _told_of_draws(rows: list[list[Stretch]], more: float, fewer: float, unit: str) -> Iterator[str]:
    if fewer:
        yield f"In {_percent(fewer)} of the draws a stretch is missing that the nominal values have."
    if more:
        spans = [stretch for found in rows[1:] if len(found) > len(rows[0]) for stretch in found]
        yield (
            f"In {_percent(more)} of the draws the condition holds over a stretch more than at the "
            f"nominal values, all between {min(spans).low:.4g} and {max(span.high for span in spans):.4g} {unit}."
        )


def _told_of_open_draws(interval: Interval) -> Iterator[str]:
    """Where the nominal stretch ends within the range, and some draws' does not."""
    for side, closed in enumerate((not interval.open_low, not interval.open_high)):
        share = float(interval.draws_open[:, side].mean()) if len(interval.draws_open) else 0.0
        if closed and share:
            end = (interval.low.least, interval.high.most)[side]
            yield (
                f"In {_percent(share)} of the draws the condition still holds at {end:.4g} {interval.low.unit}, "
                "where the looking ended: there it goes on beyond."
            )


def _band(nominal: float, draws: Array, unit: str) -> Band:
    known = draws[np.isfinite(draws)]
    if not known.size:
        return Band(nominal, nominal, nominal, nominal, nominal, unit)
    low, high = (float(end) for end in np.quantile(known, (0.025, 0.975)))
    return Band(nominal, low, high, min(float(known.min()), nominal), max(float(known.max()), nominal), unit)


def _percent(share: float) -> str:
    return f"{100 * share:.3g} %"


def _told_of_return(there: list[Stretch], back: list[Stretch], falling: bool, unit: str, room: float) -> list[str]:
    """Whether the network answers the other way round as well."""
    ends = np.array([stretch[:2] for stretch in there]), np.array([stretch[:2] for stretch in back])
    if len(there) == len(back) and (not there or np.abs(ends[0] - ends[1]).max() <= room):
        return []
    spans = " and ".join(f"from {stretch.low:.4g} to {stretch.high:.4g} {unit}" for stretch in back) or "nowhere"
    way, other = ("falls", "rises") if falling else ("rises", "falls")
    return [
        f"These are the ends as the source {way}; as it {other} the condition holds {spans}. The network has two "
        "resting states, and which one it is in hangs on what came before."
    ]


def _told_of_grazing(places: list[float], unit: str) -> list[str]:
    return [
        f"Near {place:.4g} {unit} the condition comes up to its limit; it may change there for less than 1 mV."
        for place in places
    ]
