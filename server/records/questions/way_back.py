"""The way back: which steps have to be undone to be rid of some mods or of all, in which order, and what each needs.

Nothing here is typed (rule 4): it is worked out from the steps that stand, and from which of them lie on which
(`stacking`). So a mod that was fitted on top of another comes off first, though nobody asked for it. Where steps wait
for each other in a circle there is no order, and it says so. Reads the record, writes nothing.
"""

import heapq
from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from graphlib import CycleError, TopologicalSorter
from itertools import pairwise
from typing import NamedTuple

from sqlalchemy import select as columns
from sqlmodel import Session, col, func, select

from server.records.questions.stacking import BY_MOMENT, DoneStep, Row, done_where, rows_of
from server.records.questions.stays import step_here
from server.records.tables import Board, Loan, Machine, Mod, Part, Placement, Position, Storage
from server.records.traces import BY_MOUNTING, WHY, rank_of, why_it_leaves
from server.records.words import Mounting, StepKind, Trace

SOLDERED_OFTEN = 3  # so many parts at one soldered position, and its pads are worth a word
Graph = dict[int, set[int]]
Steps = dict[int, DoneStep]


class BackLine(NamedTuple):
    """One step of the way back: which step it reverses, what to do, what it needs, and what stands against it.

    `because` says why a step of a mod that nobody asked for has to come off, `trap` what time has done to it. `of` is
    the tag of the machine that the mod is numbered in, where that is another: then it came with a board.
    """

    step: DoneStep
    act: str
    needs: str
    obstacle: str
    because: str = ""
    trap: str = ""
    of: str = ""

    @property
    def called(self) -> str:
        """The mod and its step by number."""
        return _called(self.step, self.of)


@dataclass(frozen=True, slots=True)
class WayBack:
    """The whole of it. `back` are the steps in order, `for_good` those that cannot be undone and stay.

    `already` is how many of the mods' steps have been put back, `last_day` when the latest was: of the mods asked for,
    or of those of which some step still stands. `circle` are steps that
    wait for each other, if there are any: then `back` is in the order of days alone.
    """

    back: list[BackLine]
    for_good: list[BackLine]
    already: int
    last_day: date | None
    trace: Trace
    why: str
    tools: list[str]
    circle: list[DoneStep]


def way_back(session: Session, machine: Machine, mods: Collection[Mod] = ()) -> WayBack:
    """The steps that undo these mods, or return the machine to stock where none is named: last done, first undone.

    They are those that lie in the machine now: on a board that came to it too, and on none that left.
    """
    stack = _Stack(session, machine)
    asked = {mod.key for mod in mods}
    of_asked = [step for step in stack.every if not asked or step.mod_id in asked]
    asked_keys = {step.key for step in of_asked if step.can_be_put_back}
    wanted = _with_all_on_top(asked_keys, stack.waits)
    order, circle = stack.order(wanted)
    standing = stack.standing
    around = _Around(session, machine, [standing[key] for key in order], stack)
    lies_on = _lies_on(order, stack.waits, standing)
    for_good = [step for step in of_asked if not step.undone_on and not step.can_be_put_back]
    begun = {step.mod_id for step in of_asked if not step.undone_on}
    undone = [step for step in of_asked if step.undone_on and (asked or not begun or step.mod_id in begun)]
    worst = max((*(standing[key] for key in wanted), *for_good, *undone), key=_badness, default=None)
    return WayBack(
        back=[around.told(standing[key], key in circle, key not in asked_keys, lies_on.get(key)) for key in order],
        for_good=[around.for_good(step) for step in sorted(for_good, key=BY_MOMENT, reverse=True)],
        already=len(undone),
        last_day=max((step.undone_on for step in undone if step.undone_on), default=None),
        trace=worst.trace if worst else Trace.NONE,
        why=why_it_leaves(worst.kind, worst.trace_stated, worst.trace_reason) if worst else "",
        tools=list(dict.fromkeys(tool for key in order for tool in _tools(standing[key]))),
        circle=[standing[key] for key in circle],
    )


def waits_for_its_part(session: Session, machine: Machine) -> DoneStep | None:
    """A step whose own part cannot return in any order: it comes off before the step that holds the part now."""
    stack = _Stack(session, machine)
    return next(iter(stack.order_with_parts(set(stack.standing))[1]), None)


def _badness(step: DoneStep) -> int:
    return rank_of(step.trace)


def _called(step: DoneStep, of: str) -> str:
    return f"mod {step.mod}{f' of {of}' if of else ''}, step {step.number}"


# ---- What waits for what ----


class _Stack:
    """The steps that were done on a machine, those of them that stand, and what has to come off before each of these.

    `seats` are the places where parts sit now that standing steps have taken out.
    """

    def __init__(self, session: Session, machine: Machine) -> None:
        self.every = done_where(session, step_here(machine))
        self.standing = {step.key: step for step in self.every if step.can_be_put_back}
        self.waits = _waits(self.standing.values())
        self.seats = _seats(session, [step.part_id for step in self.standing.values() if step.took_out])

    def order(self, wanted: set[int]) -> tuple[list[int], list[int]]:
        """The order in which steps come off, and a circle of steps that wait for each other, if there is one.

        A part that was fitted elsewhere is free before it returns, where that can be: a like part could return too.
        """
        order, _ = self.order_with_parts(wanted)
        return (order, []) if order or not wanted else _in_order(wanted, self.waits, self.standing)

    def order_with_parts(self, wanted: set[int]) -> tuple[list[int], list[DoneStep]]:
        """The order, and the steps whose own parts cannot be free in time; no order where there is none even so."""
        wishes = {key: held for key in wanted if (held := self._holder_of(self.standing[key])) in wanted}
        without: list[DoneStep] = []
        while True:
            wished = {key: self.waits.get(key, set()) | {held} for key, held in wishes.items()}
            waits = self.waits | wished if wished else self.waits
            order, circle = _in_order(wanted, waits, self.standing)
            knotted = [key for key in circle if key in wishes]
            if not knotted:
                return ([] if circle else order), without
            for key in knotted:
                without.append(self.standing[key])
                del wishes[key]

    def _holder_of(self, step: DoneStep) -> int | None:
        """The step that holds the part which a step took out."""
        seat = self.seats.get(step.part_id) if step.part_id and step.took_out else None
        return seat.step if seat else None

    def holder(self, part: int) -> DoneStep | None:
        seat = self.seats.get(part)
        return self.standing.get(seat.step) if seat and seat.step else None


class _Seat(NamedTuple):
    """Where a part sits now, in words, and the step that put it there."""

    step: int | None
    words: str


def _seats(session: Session, parts: Sequence[int | None]) -> dict[int, _Seat]:
    query = (
        columns(  # type: ignore[call-overload]  # five at once are not typed
            Placement.part_id, col(Placement.fitted_by_step_id), Position.designator, Board.name, Machine.tag
        )
        .join(Position, col(Position.id) == col(Placement.position_id))
        .join(Board, col(Board.id) == col(Position.board_id))
        .join(Machine, col(Machine.id) == col(Board.machine_id))
        .where(col(Placement.part_id).in_(parts), col(Placement.removed_on).is_(None))
    )
    found = session.execute(query)
    return {part: _Seat(step, f"{where} on {board} of {tag}") for part, step, where, board, tag in found}


def _waits(standing: Collection[DoneStep]) -> Graph:
    """Which steps have to come off before each: the next later one of its mod, and the next on its part or pin.

    They come in the order of their mods.
    """
    waits: Graph = defaultdict(set)
    for earlier, later in pairwise(standing):
        if earlier.mod_id == later.mod_id:
            waits[earlier.key].add(later.key)
    top: dict[Row, int] = {}
    for step in sorted(standing, key=BY_MOMENT):
        for row in rows_of(step):
            if row in top:
                waits[top[row]].add(step.key)
            top[row] = step.key
    return waits


def _with_all_on_top(asked: set[int], waits: Graph) -> set[int]:
    found, waiting = set[int](), set(asked)
    while waiting:
        found |= waiting
        waiting = set[int]().union(*(waits[key] for key in waiting if key in waits)) - found
    return found


def _in_order(wanted: set[int], waits: Graph, standing: Steps) -> tuple[list[int], list[int]]:
    """The steps so that each follows all that lie on it, the latest possible first; and a circle, if there is one."""
    by_moment = sorted(wanted, key=lambda key: standing[key].moment, reverse=True)
    rank = {key: rank for rank, key in enumerate(by_moment)}
    frees = defaultdict[int, list[int]](list)
    waiting = dict.fromkeys(wanted, 0)
    for key in wanted:
        for later in waits.get(key, set()) & wanted:
            frees[later].append(key)
            waiting[key] += 1
    ready = [rank[key] for key in by_moment if not waiting[key]]
    order: list[int] = []
    while ready:
        order.append(key := by_moment[heapq.heappop(ready)])
        for freed in frees[key]:
            waiting[freed] -= 1
            if not waiting[freed]:
                heapq.heappush(ready, rank[freed])
    return (order, []) if len(order) == len(wanted) else (by_moment, _circle_in(wanted.difference(order), waits))


def _circle_in(keys: set[int], waits: Graph) -> list[int]:
    """One circle among steps of which none can come first."""
    try:
        TopologicalSorter({key: waits.get(key, set()) & keys for key in keys}).prepare()
    except CycleError as fault:
        return list(dict.fromkeys(fault.args[1]))
    return []


def _lies_on(order: Sequence[int], waits: Graph, standing: Steps) -> Steps:
    """For each step a step of another mod that it lies on, where there is one."""
    found: Steps = {}
    for key in order:
        for later in waits.get(key, ()):
            if standing[later].mod_id != standing[key].mod_id:
                found[later] = standing[key]
    return found


# ---- What each takes ----


def reverse_of(step: DoneStep) -> str:
    """What undoes a step, in words."""
    if step.kind == StepKind.TAKE_OUT and step.part_id:
        return f"put {step.part} back at {step.where}"
    if step.kind == StepKind.FIT and step.part_id:
        return f"take {step.part} out of {step.where}"
    known = _REVERSE.get(step.kind)
    return ": ".join(filter(None, [known, step.what])) if known else f"reverse: {step.words}"


class _Around:
    """What is known of the parts and positions that some steps concern, read once for all of them."""

    def __init__(self, session: Session, machine: Machine, steps: Sequence[DoneStep], stack: _Stack) -> None:
        self.machine = machine.key
        self.stack = stack
        self.turn = {step.key: turn for turn, step in enumerate(steps)}
        parts = [step.part_id for step in steps if step.kind == StepKind.TAKE_OUT]
        positions = {step.position_id for step in steps if step.kind in BY_MOUNTING}
        bagged = select(Storage).where(col(Storage.part_id).in_(parts), col(Storage.until).is_(None))
        lent = select(Loan).where(col(Loan.part_id).in_(parts), col(Loan.until).is_(None))
        gone = select(Part.id, Part.gone).where(col(Part.id).in_(parts), col(Part.gone) != "")
        counted = (
            select(Placement.position_id, func.count(col(Placement.id)))
            .where(col(Placement.position_id).in_(positions))
            .group_by(col(Placement.position_id))
        )
        self.bags = {storage.part_id: storage for storage in session.exec(bagged)}
        self.loans = {loan.part_id: loan for loan in session.exec(lent)}
        self.gone = dict(session.exec(gone).all())
        self.sat = dict(session.exec(counted).all())

    def told(self, step: DoneStep, in_circle: bool, unasked: bool, under: DoneStep | None) -> BackLine:
        act, needs, obstacle = self._act(step)
        if in_circle:
            obstacle = "; ".join(filter(None, ["it waits for steps that wait for it", obstacle]))
        because = self._because(under) if unasked else ""
        return BackLine(step, act, needs, obstacle, because, self._trap(step), self._of(step))

    def for_good(self, step: DoneStep) -> BackLine:
        why = WHY[StepKind(step.kind)]
        return BackLine(step, f"cannot be undone: {step.words}", "", why, of=self._of(step))

    def _of(self, step: DoneStep) -> str:
        """The tag of the machine that a step's mod is numbered in, where that is another."""
        return "" if step.machine_id == self.machine else step.tag

    def _called(self, step: DoneStep) -> str:
        return _called(step, self._of(step))

    def _because(self, under: DoneStep | None) -> str:
        """Why a step comes off that nobody asked for."""
        if under is None:
            return "a step of its mod that has to come off was done before it"
        where = f" at {under.designator}" if under.designator else ""
        return f"it lies on {self._called(under)}{where}"

    def _act(self, step: DoneStep) -> tuple[str, str, str]:
        """What to do, what it needs, and what stands in the way."""
        if step.kind == StepKind.TAKE_OUT and step.part_id:
            return (reverse_of(step), *self._part_wanted(step, step.part_id))
        return reverse_of(step), "a bag for it" if step.kind == StepKind.FIT else step.before_state, ""

    def _part_wanted(self, step: DoneStep, part: int) -> tuple[str, str]:
        if loan := self.loans.get(part):
            return step.part, f"the part is lent since {loan.since}; it has to be taken back first"
        if bag := self.bags.get(part):
            return f"{step.part} from bag {bag.bag}", ""
        if holder := self.stack.holder(part):
            return self._part_held(step, holder)
        if seat := self.stack.seats.get(part):
            return "", f"the part sits at {seat.words}; free it first, or find a like one"
        return "", f"the part is {self.gone.get(part, 'in no place that is recorded')}; a like one has to be found"

    def _part_held(self, step: DoneStep, holder: DoneStep) -> tuple[str, str]:
        """A part that another step has fitted: free by then, or not."""
        by = self._called(holder)
        if self.turn.get(holder.key, len(self.turn)) < self.turn[step.key]:
            return f"{step.part}, which came out of {holder.designator} with {by}", ""
        return "", f"the part sits at {holder.designator}, where {by} fitted it; free it first, or find a like one"

    def _trap(self, step: DoneStep) -> str:
        if step.kind == StepKind.LIFT_PIN:
            return "A lifted pin does not bend twice: bend it down once, slowly, and solder it."
        if step.position_id and step.mounting == Mounting.SOLDERED and step.kind in BY_MOUNTING:
            sat = self.sat.get(step.position_id, 0)
            if sat >= SOLDERED_OFTEN:
                return f"{sat} parts have been soldered here by now; the pads hold a little less well each time."
        return ""


def _tools(step: DoneStep) -> tuple[str, ...]:
    if step.kind in BY_MOUNTING:
        return _BY_MOUNTING[step.mounting or Mounting.SOLDERED]
    return _BY_KIND.get(step.kind, ())


_BY_MOUNTING: Mapping[str, tuple[str, ...]] = {
    Mounting.SOCKETED: ("a chip extractor",),
    Mounting.SOLDERED: ("a soldering iron", "desoldering braid or a pump"),
    Mounting.WIRED: ("a soldering iron",),
}
_BY_KIND: Mapping[str, tuple[str, ...]] = {
    StepKind.LIFT_PIN: ("a soldering iron", "fine tweezers"),
    StepKind.CUT_TRACE: ("a soldering iron", "fine wire"),
    StepKind.ADD_LINK: ("a soldering iron",),
    StepKind.CHANGE_FIRMWARE: ("a programmer", "the old contents"),
    StepKind.ADJUST: ("a trimming tool",),
}
_REVERSE: Mapping[str, str] = {
    StepKind.LIFT_PIN: "bend the pin down once and solder it",
    StepKind.CUT_TRACE: "bridge the cut",
    StepKind.ADD_LINK: "take the link off",
    StepKind.CHANGE_FIRMWARE: "write the old contents back",
    StepKind.ADJUST: "turn it back to the setting written down",
}
