"""Which steps lie on which: of two on one part, or on one pin, the later has to come off before the earlier.

So have two of one mod. Days come first and then the order in which acts were written down, as for the way back. A step
is read here in the few columns that this takes, since a machine can have thousands.
"""

import re
from collections.abc import Iterator
from datetime import date
from functools import lru_cache
from operator import attrgetter
from typing import NamedTuple

from sqlalchemy import ColumnElement
from sqlalchemy import select as columns
from sqlmodel import Session, col

from server.records.placing import described
from server.records.questions.mods import stood_on
from server.records.questions.stays import step_here
from server.records.tables import Board, Machine, Mod, Part, Position, Step
from server.records.traces import CANNOT_BE_PUT_BACK, trace_of_step, words_of
from server.records.words import StepKind, Trace

OF_THE_PART = frozenset({StepKind.TAKE_OUT, StepKind.FIT, StepKind.LIFT_PIN, StepKind.CHANGE_FIRMWARE, StepKind.ADJUST})
OF_ONE_PIN = frozenset({StepKind.LIFT_PIN, StepKind.CUT_TRACE, StepKind.ADD_LINK})
PINS_MOST = 200
Row = tuple[str, int, str]


class DoneStep(NamedTuple):
    """A step that was done, at a position or at none (then `designator` and `mounting` are None), with its part.

    `mod` is its mod's number in the machine `machine_id`, which is tagged `tag`.
    """

    mod: int
    machine_id: int
    tag: str
    key: int
    mod_id: int
    number: int
    kind: str
    pin: str
    planned_type: str
    planned_value: str
    before_state: str
    trace_stated: str
    trace_reason: str
    done_on: date
    done_order: int
    undone_on: date | None
    position_id: int | None
    designator: str | None
    mounting: str | None
    board: str | None
    part_id: int | None
    part_kind: str | None
    part_type: str | None
    part_value: str | None

    @property
    def moment(self) -> tuple[date, int, int]:
        """When it was done. Another part in the first one's place changes nothing: what lies on the step, stays so."""
        return self.done_on, self.done_order, self.number

    @property
    def took_out(self) -> bool:
        return self.kind == StepKind.TAKE_OUT and self.part_id is not None

    @property
    def can_be_put_back(self) -> bool:
        return self.undone_on is None and self.kind not in CANNOT_BE_PUT_BACK

    @property
    def trace(self) -> Trace:
        return trace_of_step(self.kind, self.trace_stated, self.mounting)

    @property
    def where(self) -> str:
        return f"{self.designator} on {self.board}" if self.designator else ""

    @property
    def what(self) -> str:
        """What it was done to: its words without the act."""
        return words_of("", self.planned_type, self.planned_value, self.pin, self.where)

    @property
    def words(self) -> str:
        return words_of(self.kind, self.planned_type, self.planned_value, self.pin, self.where)

    @property
    def part(self) -> str:
        """The part that it took out or fitted, in few words."""
        return described(self.part_kind or "part", self.part_type or "", self.part_value or "")


BY_MOMENT = attrgetter("moment")
_COLUMNS = [
    col(column)
    for column in (
        Mod.number, Mod.machine_id, Machine.tag, Step.id, Step.mod_id, Step.number, Step.kind, Step.pin,
        Step.planned_type, Step.planned_value,
        Step.before_state, Step.trace_stated, Step.trace_reason, Step.done_on, Step.done_order, Step.undone_on,
        Step.position_id, Position.designator, Position.mounting, Board.name,
        Step.part_id, Part.kind, Part.type, Part.value,
    )
]  # fmt: skip


def done_where(session: Session, *conditions: ColumnElement[bool]) -> list[DoneStep]:
    """The steps that were done and answer to some conditions, in the order of their mods."""
    query = (
        columns(*_COLUMNS)
        .join(Mod, col(Mod.id) == col(Step.mod_id))
        .join(Machine, col(Machine.id) == col(Mod.machine_id))
        .outerjoin(Position, col(Position.id) == col(Step.position_id))
        .outerjoin(Board, col(Board.id) == col(Position.board_id))
        .outerjoin(Part, col(Part.id) == col(Step.part_id))
        .where(col(Step.done_on).is_not(None), *conditions)
        .order_by(col(Mod.number), col(Mod.id), col(Step.number))
    )
    return [DoneStep._make(row) for row in session.execute(query)]


def standing_on(session: Session, machine: Machine, day: date) -> list[DoneStep]:
    """The steps that were done and not put back at the end of a day, in the order of their mods."""
    return done_where(session, step_here(machine, day), stood_on(day))


def rows_of(step: DoneStep | Step) -> Iterator[Row]:
    """The rows of steps, each later one lying on the one before, that a step at a position stands in."""
    if step.position_id is None:
        return
    if step.kind in OF_THE_PART:
        yield ("part", step.position_id, "")
    if step.kind in OF_ONE_PIN:
        yield from (("pin", step.position_id, pin) for pin in pins_in(step.pin))


@lru_cache(maxsize=4096)
def pins_in(text: str) -> tuple[str, ...]:
    """The pins that are meant, so that “Pin 3” and “3” are one and “3-5” are three; none at all are one nameless."""
    found: dict[str, None] = {}
    for word in re.split(r"[\s,;/+&]+", text.casefold()):
        span = re.fullmatch(r"(\d{1,4})[-–…](\d{1,4})", word)
        first, last = map(int, span.groups()) if span else (0, -1)
        if 0 <= last - first < PINS_MOST:
            found.update(dict.fromkeys(map(str, range(first, last + 1))))
        elif word not in ("", "pin", "pins", "and", "to"):
            found[word.removeprefix("pin") or word] = None
    return tuple(found) or ("",)


def on_top_of(session: Session, step: Step) -> DoneStep | None:
    """The latest step of another mod that stands and lies on this one."""
    at_position = done_where(session, col(Step.position_id) == step.position_id, col(Step.undone_on).is_(None))
    own = next((other for other in at_position if other.key == step.id), None)
    if own is None:
        return None
    rows = set(rows_of(own))
    others = [other for other in at_position if other.mod_id != own.mod_id and rows & set(rows_of(other))]
    return max((other for other in others if other.moment > own.moment), key=BY_MOMENT, default=None)
