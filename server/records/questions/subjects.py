"""What photographs and files can be attached to: a machine, a board, a position, a part, a mod, a step, and so on.

`KINDS` is the one place that says which kinds of record these are, how each is found and what it is called. A board or
a part can go to another machine: what is attached to it goes along, and stays numbered where it was added.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote
from uuid import UUID

from sqlmodel import Session, col, select

from server.records.errors import NotFound
from server.records.questions.addresses import (
    find_board,
    find_machine,
    find_mod,
    find_part,
    find_position,
    find_step,
    find_symptom,
    find_trial,
)
from server.records.tables import Board, Machine, Mod, Part, Placement, Position, Step, Symptom, Trial
from server.records.tables.base import Kept

NUMBER_DIGITS = 9
STEP = "step"


@dataclass(frozen=True, slots=True)
class Subject:
    """The record that something is attached to, and the machine that it is in now.

    `on` is what people call it within that machine, `words` what a sentence calls it; `place` is where it stands below
    its machine's own address, and `section` the place on that page where what is attached to it is.
    """

    kind: str
    on: str
    row: Kept
    machine: Machine
    words: str
    place: str
    section: str = ""

    def __str__(self) -> str:
        return self.words

    @property
    def of(self) -> str:
        """What it is called where its machine has not been named."""
        return self.machine.tag if self.row.uuid == self.machine.uuid else f"{self.words} of {self.machine.tag}"

    @property
    def title(self) -> str:
        return self.words[:1].upper() + self.words[1:]


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of record that things can be attached to: its table, how one is found, and how it is told of.

    `tell` answers none for a part that has never been in any machine.
    """

    table: type[Kept]
    find: Callable[[Session, Machine, str], Kept]
    tell: Callable[[Session, Any], Subject | None]


# ---- How each is found ----


def _number(kind: str, typed: str) -> int:
    if not (typed.isascii() and typed.isdigit() and len(typed) <= NUMBER_DIGITS):
        raise NotFound(kind, typed)
    return int(typed)


def _numbered(kind: str, find: Callable[[Session, Machine, int], Kept]) -> Callable[[Session, Machine, str], Kept]:
    """What has a number within its machine, found by that number as it is typed."""

    def found(session: Session, machine: Machine, on: str) -> Kept:
        return find(session, machine, _number(kind, on))

    return found


def _the_machine(_: Session, machine: Machine, on: str) -> Machine:
    if on:
        raise NotFound("machine", on)
    return machine


def _a_position(session: Session, machine: Machine, on: str) -> Position:
    board, _, designator = on.partition("/")
    return find_position(session, find_board(session, machine, board), designator)


def _a_part(session: Session, _: Machine, on: str) -> Part:
    return find_part(session, _number("part", on))


def _a_step(session: Session, machine: Machine, on: str) -> Step:
    mod, _, step = on.partition("/")
    return find_step(session, find_mod(session, machine, _number("modification", mod)), _number(STEP, step))


# ---- What each is called, and where it stands ----


def _tell_machine(_: Session, machine: Machine) -> Subject:
    return Subject("machine", "", machine, machine, "the machine", "")


def _tell_board(session: Session, board: Board) -> Subject:
    machine = session.get_one(Machine, board.machine_id)
    return Subject("board", board.slug, board, machine, board.name, _board_place(board))


def _tell_position(session: Session, position: Position) -> Subject:
    board = session.get_one(Board, position.board_id)
    machine = session.get_one(Machine, board.machine_id)
    on, words = f"{board.slug}/{position.designator}", f"{position.designator} on {board.name}"
    place = f"{_board_place(board)}/positions/{quote(position.designator, safe='')}"
    return Subject("position", on, position, machine, words, place)


def _board_place(board: Board) -> str:
    return f"boards/{quote(board.slug, safe='')}"


def machine_of_part(session: Session, part: Part) -> Machine | None:
    """Where a part was seated last is where it belongs, though it lies in a bag since."""
    query = (
        select(Machine)
        .join(Board, col(Board.machine_id) == col(Machine.id))
        .join(Position, col(Position.board_id) == col(Board.id))
        .join(Placement, col(Placement.position_id) == col(Position.id))
        .where(Placement.part_id == part.id)
        .order_by(col(Placement.id).desc())
        .limit(1)
    )
    return session.exec(query).first()


def _tell_part(session: Session, part: Part) -> Subject | None:
    machine = machine_of_part(session, part)
    if machine is None:
        return None
    return Subject("part", str(part.key), part, machine, f"part {part.key}", f"/parts/{part.key}")


def _tell_mod(session: Session, mod: Mod) -> Subject:
    machine = session.get_one(Machine, mod.machine_id)
    return Subject("mod", str(mod.number), mod, machine, f"mod {mod.number}", f"mods/{mod.number}")


def _tell_step(session: Session, step: Step) -> Subject:
    mod = session.get_one(Mod, step.mod_id)
    machine = session.get_one(Machine, mod.machine_id)
    words, place = f"step {step.number} of mod {mod.number}", f"mods/{mod.number}"
    return Subject(STEP, f"{mod.number}/{step.number}", step, machine, words, place, f"step-{step.number}")


def _tell_numbered(kind: str) -> Callable[[Session, Any], Subject]:
    def told(session: Session, row: Any) -> Subject:
        machine = session.get_one(Machine, row.machine_id)
        return Subject(kind, str(row.number), row, machine, f"{kind} {row.number}", f"{kind}s/{row.number}")

    return told


KINDS: dict[str, Kind] = {
    "machine": Kind(Machine, _the_machine, _tell_machine),
    "board": Kind(Board, find_board, _tell_board),
    "position": Kind(Position, _a_position, _tell_position),
    "part": Kind(Part, _a_part, _tell_part),
    "mod": Kind(Mod, _numbered("modification", find_mod), _tell_mod),
    STEP: Kind(Step, _a_step, _tell_step),
    "symptom": Kind(Symptom, _numbered("symptom", find_symptom), _tell_numbered("symptom")),
    "trial": Kind(Trial, _numbered("trial", find_trial), _tell_numbered("trial")),
}


def find_subject(session: Session, machine: Machine, kind: str, on: str) -> Subject:
    """The record of this machine that is a `kind` and is called `on`; of a part, the machine may be another by now."""
    if kind not in KINDS:
        raise NotFound("kind of record that anything is attached to,", kind)
    found = subject(session, kind, KINDS[kind].find(session, machine, on))
    if found is None:
        raise NotFound(f"{kind} in any machine that is called", on)
    return found


def subject_in(session: Session, tag: str, kind: str, on: str) -> Subject:
    """The same for a command, which means what is in that machine now."""
    machine = find_machine(session, tag)
    found = find_subject(session, machine, kind, on)
    if found.machine.id != machine.id:
        raise NotFound(kind, on)
    return found


def subject(session: Session, kind: str, row: Kept) -> Subject | None:
    """A record that things may be attached to; none for a part that has never been in any machine."""
    return KINDS[kind].tell(session, row)


def subject_of(session: Session, kind: str, uuid: UUID) -> Subject:
    """What something is attached to, by what its row says of it."""
    table = KINDS[kind].table
    found = subject(session, kind, session.exec(select(table).where(table.uuid == uuid)).one())
    if found is None:
        raise NotFound(kind, uuid)
    return found
