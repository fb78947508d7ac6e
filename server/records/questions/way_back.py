"""The way back: which steps have to be undone to be rid of some mods or of all, in which order, and what each needs.

Nothing here is typed (rule 4): it is worked out from the steps that stand, and from which of them lie on which
(`stacking`). So a mod that was fitted on top of another comes off first, though nobody asked for it. Where steps wait
for each other in a circle there is no order, and it says so. Reads the record, writes nothing.
"""

import heapq
from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from graphlib import CycleError, TopologicalSorter
from itertools import pairwise

from sqlmodel import Session, col, func, select

from server.records.placing import describe
from server.records.questions.mods import StepLine, lines_where, trace_of, why_of
from server.records.questions.stacking import Row, moment_of, rows_of
from server.records.questions.stays import mods_ever, step_here, tags_of
from server.records.tables import Loan, Machine, Mod, Part, Placement, Step, Storage
from server.records.traces import WHY
from server.records.words import Mounting, StepKind, Trace

SOLDERED_OFTEN = 3  # so many parts at one soldered position, and its pads are worth a word
Graph = dict[int, set[int]]


@dataclass(frozen=True, slots=True)
class BackLine:
    """One step of the way back: which step it reverses, what to do, what it needs, and what stands against it.

    `because` says why a step of a mod that nobody asked for has to come off, `trap` what time has done to it. `of` is
    the tag of the machine that the mod is numbered in, where that is another: then it came with a board.
    """

    mod: Mod
    line: StepLine
    act: str
    needs: str
    obstacle: str
    because: str = ""
    trap: str = ""
    of: str = ""

    @property
    def called(self) -> str:
        """The mod and its step by number."""
        return _called(self.mod, self.of, self.line.step)


@dataclass(frozen=True, slots=True)
class WayBack:
    """The whole of it. `back` are the steps in order, `for_good` those that cannot be undone and stay.

    `already` is how many of the mods' steps have been put back, `last_day` when the latest was. `circle` are steps that
    wait for each other, if there are any: then `back` is in the order of days alone.
    """

    back: list[BackLine]
    for_good: list[BackLine]
    already: int
    last_day: date | None
    trace: Trace
    why: str
    tools: list[str]
    circle: list[StepLine]


def way_back(session: Session, machine: Machine, mods: Collection[Mod] = ()) -> WayBack:
    """The steps that undo these mods, or return the machine to stock where none is named: last done, first undone.

    They are those that lie in the machine now: on a board that came to it too, and on none that left.
    """
    every = lines_where(session, step_here(machine), col(Step.done_on).is_not(None))
    known = _Mods(session, machine)
    asked = {mod.key for mod in mods} or known.mods.keys()
    of_asked = [line for line in every if line.step.mod_id in asked]
    standing = {line.step.key: line for line in every if line.can_be_put_back}
    waits = _waits(standing.values())
    asked_keys = {line.step.key for line in of_asked if line.can_be_put_back}
    wanted = _with_all_on_top(asked_keys, waits)
    holders = _holders(standing.values())
    order, circle = _in_order(wanted, _with_own_parts(wanted, waits, standing, holders), standing)
    if circle:
        order, circle = _in_order(wanted, waits, standing)
    around = _Around(session, known, [standing[key] for key in order], holders)
    lies_on = _lies_on(order, waits, standing)
    back = [around.told(standing[key], key in circle, key not in asked_keys, lies_on.get(key)) for key in order]
    undone = [line.step.undone_on for line in of_asked if line.step.undone_on]
    for_good = [line for line in of_asked if line.stands and not line.can_be_put_back]
    traces = [*(standing[key] for key in wanted), *for_good, *(line for line in of_asked if line.step.undone_on)]
    return WayBack(
        back=back,
        for_good=[_for_good(known, line) for line in sorted(for_good, key=moment_of, reverse=True)],
        already=len(undone),
        last_day=max(undone, default=None),
        trace=trace_of(traces),
        why=why_of(traces),
        tools=list(dict.fromkeys(tool for one in back for tool in _tools(one.line))),
        circle=[standing[key] for key in circle],
    )


class _Mods:
    """The mods whose steps can lie in a machine, and how those of another machine are called."""

    def __init__(self, session: Session, machine: Machine) -> None:
        self.here = machine.key
        self.mods = {mod.key: mod for mod in session.exec(select(Mod).where(mods_ever(machine)))}
        self.tags = tags_of(session, self.mods.values())

    def of(self, mod: Mod) -> str:
        return "" if mod.machine_id == self.here else self.tags[mod.machine_id]

    def called(self, step: Step) -> str:
        mod = self.mods[step.mod_id]
        return _called(mod, self.of(mod), step)


def _called(mod: Mod, of: str, step: Step) -> str:
    return f"mod {mod.number}{f' of {of}' if of else ''}, step {step.number}"


# ---- What waits for what ----


def _waits(standing: Iterable[StepLine]) -> Graph:
    """Which steps have to come off before each: the next later one of its mod, and the next on its part or pin."""
    rows = defaultdict[Row, list[StepLine]](list)
    for line in standing:
        for row in (("mod", line.step.mod_id, ""), *rows_of(line.step)):
            rows[row].append(line)
    waits: Graph = defaultdict(set)
    for (what, *_), lines in rows.items():
        in_turn = sorted(lines, key=_number if what == "mod" else moment_of)
        for earlier, later in pairwise(in_turn):
            waits[earlier.step.key].add(later.step.key)
    return waits


def _number(line: StepLine) -> tuple[date, int, int]:
    return date.min, 0, line.step.number


def _with_all_on_top(asked: set[int], waits: Graph) -> set[int]:
    found, waiting = set[int](), set(asked)
    while waiting:
        found |= waiting
        waiting = set[int]().union(*(waits[key] for key in waiting if key in waits)) - found
    return found


def _holders(standing: Iterable[StepLine]) -> dict[int, StepLine]:
    """By part, the step that fitted it where it sits now."""
    fits = (line for line in standing if line.step.kind == StepKind.FIT)
    return {line.step.part_id: line for line in fits if line.step.part_id}


def _with_own_parts(
    wanted: set[int], waits: Graph, standing: dict[int, StepLine], holders: dict[int, StepLine]
) -> Graph:
    """What waits for what, so that a part that was fitted elsewhere is free before it returns to its old place.

    That is a wish only: a like part can return, so no step comes off for it that need not, and no circle is one by it.
    """
    wishes = {key: set(waits.get(key, ())) for key in wanted}
    for key in wanted:
        step = standing[key].step
        if step.kind == StepKind.TAKE_OUT and step.part_id in holders:
            wishes[key] |= {holders[step.part_id].step.key} & wanted
    return wishes


def _in_order(wanted: set[int], waits: Graph, standing: dict[int, StepLine]) -> tuple[list[int], list[int]]:
    """The steps so that each follows all that lie on it, the latest possible first; and a circle, if there is one."""
    by_moment = sorted(wanted, key=lambda key: moment_of(standing[key]), reverse=True)
    rank = {key: rank for rank, key in enumerate(by_moment)}
    sorter = TopologicalSorter({key: waits.get(key, set()) & wanted for key in wanted})
    try:
        sorter.prepare()
    except CycleError as fault:
        return by_moment, list(dict.fromkeys(fault.args[1]))
    ready: list[tuple[int, int]] = []
    order: list[int] = []
    while sorter.is_active():
        for key in sorter.get_ready():
            heapq.heappush(ready, (rank[key], key))
        order.append(heapq.heappop(ready)[1])
        sorter.done(order[-1])
    return order, []


def _lies_on(order: Sequence[int], waits: Graph, standing: dict[int, StepLine]) -> dict[int, StepLine]:
    """For each step a step of another mod that it lies on, where there is one."""
    found: dict[int, StepLine] = {}
    for key in order:
        for later in waits.get(key, ()):
            if standing[later].step.mod_id != standing[key].step.mod_id:
                found[later] = standing[key]
    return found


# ---- What each takes ----


class _Around:
    """What is known of the parts and positions that some steps concern, read once for all of them."""

    def __init__(self, session: Session, mods: _Mods, lines: Sequence[StepLine], holders: dict[int, StepLine]) -> None:
        self.known = mods
        self.holders = holders
        self.turn = {line.step.key: turn for turn, line in enumerate(lines)}
        parts = [line.part.key for line in lines if line.part]
        positions = [line.position.key for line in lines if line.position]
        bagged = select(Storage).where(col(Storage.part_id).in_(parts), col(Storage.until).is_(None))
        lent = select(Loan).where(col(Loan.part_id).in_(parts), col(Loan.until).is_(None))
        counted = (
            select(Placement.position_id, func.count(col(Placement.id)))
            .where(col(Placement.position_id).in_(positions))
            .group_by(col(Placement.position_id))
        )
        self.bags = {storage.part_id: storage for storage in session.exec(bagged)}
        self.loans = {loan.part_id: loan for loan in session.exec(lent)}
        self.sat = dict(session.exec(counted).all())

    def told(self, line: StepLine, in_circle: bool, unasked: bool, under: StepLine | None) -> BackLine:
        step = line.step
        act, needs, obstacle = self._act(line)
        if in_circle:
            obstacle = "; ".join(filter(None, ["it waits for steps that wait for it", obstacle]))
        because = self._because(under) if unasked else ""
        mod = self.known.mods[step.mod_id]
        return BackLine(mod, line, act, needs, obstacle, because, self._trap(line), self.known.of(mod))

    def _because(self, under: StepLine | None) -> str:
        """Why a step comes off that nobody asked for."""
        if under is None:
            return "a step of its mod that has to come off was done before it"
        where = f" at {under.position.designator}" if under.position else ""
        return f"it lies on {self.known.called(under.step)}{where}"

    def _act(self, line: StepLine) -> tuple[str, str, str]:
        """What to do, what it needs, and what stands in the way."""
        step, part = line.step, line.part
        where = f"{line.position.designator} on {line.board.name}" if line.position and line.board else ""
        if step.kind == StepKind.TAKE_OUT and part:
            return (f"put {describe(part)} back at {where}", *self._part_wanted(part, step))
        if step.kind == StepKind.FIT and part:
            return f"take {describe(part)} out of {where}", "a bag for it", ""
        return f"{_REVERSE.get(StepKind(step.kind), 'reverse')}: {line.words}", step.before_state, ""

    def _part_wanted(self, part: Part, step: Step) -> tuple[str, str]:
        bag, loan = self.bags.get(part.key), self.loans.get(part.key)
        if loan:
            return describe(part), f"the part is lent since {loan.since}; it has to be taken back first"
        if bag:
            return f"{describe(part)} from bag {bag.bag}", ""
        if holder := self.holders.get(part.key):
            return self._part_held(part, step, holder)
        return "", f"the part is {part.gone or 'fitted elsewhere'}; a like one has to be found"

    def _part_held(self, part: Part, step: Step, holder: StepLine) -> tuple[str, str]:
        """A part that another step has fitted: free by then, or not."""
        by = self.known.called(holder.step)
        at = holder.position.designator if holder.position else "another place"
        if self.turn.get(holder.step.key, len(self.turn)) < self.turn[step.key]:
            return f"{describe(part)}, which came out of {at} with {by}", ""
        return "", f"the part sits at {at}, where {by} fitted it; free it first, or find a like one"

    def _trap(self, line: StepLine) -> str:
        if line.step.kind == StepKind.LIFT_PIN:
            return "A lifted pin does not bend twice: bend it down once, slowly, and solder it."
        soldered = line.position is not None and line.position.mounting == Mounting.SOLDERED
        if line.position and soldered and line.step.kind in (StepKind.TAKE_OUT, StepKind.FIT):
            sat = self.sat.get(line.position.key, 0)
            if sat >= SOLDERED_OFTEN:
                return f"{sat} parts have been soldered here by now; the pads hold a little less well each time."
        return ""


def _for_good(known: _Mods, line: StepLine) -> BackLine:
    mod = known.mods[line.step.mod_id]
    why = WHY[StepKind(line.step.kind)]
    return BackLine(mod, line, f"cannot be undone: {line.words}", "", why, of=known.of(mod))


def _tools(line: StepLine) -> tuple[str, ...]:
    kind = StepKind(line.step.kind)
    if kind in (StepKind.TAKE_OUT, StepKind.FIT):
        mounting = line.position.mounting if line.position else Mounting.SOLDERED
        return _BY_MOUNTING[Mounting(mounting)]
    return _BY_KIND.get(kind, ())


_BY_MOUNTING = {
    Mounting.SOCKETED: ("a chip extractor",),
    Mounting.SOLDERED: ("a soldering iron", "desoldering braid or a pump"),
    Mounting.WIRED: ("a soldering iron",),
}
_BY_KIND = {
    StepKind.LIFT_PIN: ("a soldering iron", "fine tweezers"),
    StepKind.CUT_TRACE: ("a soldering iron", "fine wire"),
    StepKind.ADD_LINK: ("a soldering iron",),
    StepKind.CHANGE_FIRMWARE: ("a programmer", "the old contents"),
    StepKind.ADJUST: ("a trimming tool",),
}
_REVERSE = {
    StepKind.LIFT_PIN: "bend the pin down once and solder it",
    StepKind.CUT_TRACE: "bridge the cut",
    StepKind.ADD_LINK: "take the link off",
    StepKind.CHANGE_FIRMWARE: "write the old contents back",
    StepKind.ADJUST: "turn it back to the setting written down",
}
