"""Entering and revising parts, one at a time or a whole list, and keeping them aside."""

from collections.abc import Sequence
from typing import Annotated, Any, Literal

from pydantic import AfterValidator
from sqlmodel import Session, col, func, select

from server.records.commands.bag_places import BagNumber, bag_place
from server.records.commands.base import (
    Command,
    Day,
    Line,
    NeededLine,
    OptionalDay,
    OptionalInt,
    Prose,
    change,
    expect_version,
    words,
)
from server.records.commands.lists import ColumnChoice, remember
from server.records.commands.machines import designator_fault
from server.records.errors import Invalid, NotFound, Refused
from server.records.list_kinds import PARTS
from server.records.many import add_many
from server.records.placing import (
    describe,
    expect_at_hand,
    expect_loan_seen,
    let_go,
    open_bag,
    open_placement,
    place,
    put_in_bag,
    where_is,
)
from server.records.questions.addresses import designator_key, find_board, find_machine, find_part, find_position
from server.records.tables import Board, Machine, Part, Placement, Position, Storage
from server.records.values import check_value
from server.records.words import Gone, Mounting, Origin, PartKind
from server.records.work import Entry, Work, handles

BATCH = 500
ROWS_MOST = 20_000
Becomes = Literal["bag", "discarded", "lost", "handed over"]


class PartFields(Command):
    """What is written down about one physical part."""

    kind: PartKind
    type: Line = ""
    marking: Line = ""
    value: Line = ""
    rating: Line = ""
    maker_mark: Line = ""
    date_code: Line = ""
    origin: Origin
    condition: Line = ""
    pedigree: Line = ""
    note: Prose = ""


class EnterPart(PartFields):
    """A part that sits at a position; the position is made with it when the board does not have it yet."""

    machine: str
    board: str
    designator: NeededLine
    mounting: Mounting = Mounting.SOLDERED
    fitted_on: OptionalDay = None


class BagPart(PartFields):
    """A part that lies in a bag: a spare, or a donor's."""

    day: Day
    bag: BagNumber = None
    place: Line = ""


class RevisePart(PartFields):
    part: int
    opened_version: int


class Stowing(Command):
    """Where a part goes that was taken out: a numbered bag, or away for good."""

    becomes: Becomes = "bag"
    day: Day
    bag: BagNumber = None
    place: Line = ""
    condition: Line = ""


class KeepAside(Stowing):
    """Move a part that lies in one bag to another bag or place, or say that it is gone.

    Without a new number it stays in its bag; another place then moves the bag with all that is in it. `from_bag` is
    the bag that the keeper saw it in, `loan` the key of the loan that was open then, 0 for none. What is noted of the
    act itself stands in the journal.
    """

    part: int
    from_bag: BagNumber = None
    loan: OptionalInt = None
    note: Line = ""


class ListedPart(PartFields):
    """One row of a parts list; a row without a part still makes the position."""

    kind: PartKind = PartKind.OTHER
    origin: Origin = Origin.UNKNOWN
    designator: NeededLine
    mounting: Mounting = Mounting.SOLDERED
    expected_type: Line = ""
    expected_value: Line = ""

    @property
    def has_part(self) -> bool:
        said = (self.type, self.marking, self.value, self.rating, self.maker_mark, self.date_code)
        return any((*said, self.condition, self.pedigree)) or self.origin is not Origin.UNKNOWN

    def of_position(self) -> dict[str, str]:
        """What the row says of the position itself; a note without a part is a note on the position."""
        said = {"expected_type": self.expected_type, "expected_value": self.expected_value}
        return said if self.has_part else said | {"note": self.note}


def _some(rows: list[ListedPart]) -> list[ListedPart]:
    if not rows:
        raise ValueError("The list holds no rows that can be stored.")
    if len(rows) > ROWS_MOST:
        raise ValueError(f"The list has {len(rows):,} rows; at most {ROWS_MOST:,} can be stored at once.")
    return rows


class ImportParts(Command):
    """A whole parts list onto one board: all of it, or nothing.

    `matching` says which of its columns is which, where a person said so: that is remembered.
    """

    machine: str
    board: str
    rows: Annotated[list[ListedPart], AfterValidator(_some)]
    matching: list[ColumnChoice] = []


@handles(EnterPart)
def enter_part(work: Work, command: EnterPart) -> Entry:
    machine = find_machine(work.session, command.machine)
    board = find_board(work.session, machine, command.board)
    check_part(command)
    position = _position_for(work, board, command)
    part = work.add(Part(**command.columns(PartFields)))
    try:
        place(work, part, position, command.fitted_on)
    except Refused as refusal:
        raise Invalid(_in_fields_of_entry(refusal)) from None
    words = f"Entered {describe(part)} at {position.designator} on {board.name} of {machine.tag}."
    return Entry("enter part", part, words, machine)


@handles(BagPart)
def bag_part(work: Work, command: BagPart) -> Entry:
    check_part(command)
    if not (command.type or command.marking or command.value):
        raise Invalid({"type": "Say what it is: its type, its marking or its value."})
    part = work.add(Part(**command.columns(PartFields)))
    where = bag_place(work, command.bag, command.place)
    bag = put_in_bag(work, part, command.day, command.bag, where, command.condition, None)
    return Entry("bag part", part, f"Put {describe(part)} into bag {bag.bag}.")


@handles(RevisePart)
def revise_part(work: Work, command: RevisePart) -> Entry:
    part = find_part(work.session, command.part)
    values = command.columns(PartFields)
    expect_version("part", part, command.opened_version, values)
    check_part(command)
    machine = machine_of(work.session, part)
    said = change(part, values)
    if placement := open_placement(work.session, part):
        work.touched_positions.add(placement.position_id)
    words = f"Part {describe(part)}, {where_is(work.session, part)}: {said}."
    return Entry("revise part", part, words, machine)


@handles(KeepAside)
def keep_aside(work: Work, command: KeepAside) -> Entry:
    part = find_part(work.session, command.part)
    bag = open_bag(work.session, part)
    if bag is None:
        raise Refused("Only a part that lies in a bag can be moved here. Take it out by a step of a mod first.")
    if command.from_bag not in (None, bag.bag):
        raise Refused(f"Someone else moved it to bag {bag.bag} meanwhile. Look again before you move it.", "bag")
    expect_loan_seen(work.session, part, command.loan)
    if command.day < bag.since:
        raise Invalid({"day": f"It went into bag {bag.bag} on {bag.since}; that is later."})
    command = command.model_copy(update={"bag": command.bag if command.bag is not None else bag.bag})
    origin = origin_of(work.session, bag)
    if command.becomes == "bag":
        expect_at_hand(work.session, part, command.day)
        where = bag_place(work, command.bag, command.place, part)
        command = command.model_copy(update={"place": where})
        bag.until = command.day
        work.session.flush()
    said = sentence(f"{describe(part)}: {stow(work, part, command, origin)}", command.note)
    return Entry("keep aside", part, said, machine_at(work.session, origin))


@handles(ImportParts)
def import_parts(work: Work, command: ImportParts) -> Entry:
    machine = find_machine(work.session, command.machine)
    board = find_board(work.session, machine, command.board)
    faults = list_faults(work.session, board, command.rows)
    if faults:
        first, sentence = next(iter(faults.items()))
        raise Invalid({"rows": f"Row {first + 1} ({command.rows[first].designator}): {sentence}"})
    there = {position.designator_key: position for position in _positions(work.session, board)}
    for start in range(0, len(command.rows), BATCH):
        work.progress(start, len(command.rows))
        _store_batch(work, board, command.rows[start : start + BATCH], there)
    work.progress(len(command.rows), len(command.rows))
    words = f"Entered a parts list of {len(command.rows):,} rows onto {board.name} of {machine.tag}."
    words += remember(work, PARTS, command.matching)
    return Entry("import parts", board, words, machine)


def check_part(command: PartFields) -> None:
    """Refuse a value that cannot be read."""
    if problem := check_value(command.value, command.kind):
        raise Invalid({"value": problem})


def stow(work: Work, part: Part, where: Stowing, origin: Position | None) -> str:
    """Put a part that was taken out where it goes, and say so in words."""
    if where.becomes == "bag":
        kept = bag_place(work, where.bag, where.place)
        bag = put_in_bag(work, part, where.day, where.bag, kept, where.condition, origin)
        return f"kept aside in bag {bag.bag}"
    let_go(work, part, where.day, Gone(where.becomes))
    return where.becomes


def machine_of(session: Session, part: Part) -> Machine | None:
    """The machine in which a part sits now."""
    placement = open_placement(session, part)
    if placement is None:
        return None
    return machine_at(session, session.get_one(Position, placement.position_id))


def origin_of(session: Session, bag: Storage) -> Position | None:
    """The position that a part came from when it went into its bag."""
    return session.get(Position, bag.from_position_id) if bag.from_position_id else None


def last_position(session: Session, part: Part) -> Position | None:
    """The position where a part sat last."""
    query = select(Position).join(Placement, col(Placement.position_id) == col(Position.id))
    return session.exec(query.where(Placement.part_id == part.id).order_by(col(Placement.id).desc()).limit(1)).first()


def machine_at(session: Session, position: Position | None) -> Machine | None:
    """The machine that a position belongs to."""
    if position is None:
        return None
    return session.get_one(Machine, session.get_one(Board, position.board_id).machine_id)


def sentence(said: str, note: str) -> str:
    """What was done, and what the keeper noted of it, as the journal has them."""
    done = f"{said[0].upper()}{said[1:]}."
    return f"{done} {note}" if note else done


def _position_for(work: Work, board: Board, command: EnterPart) -> Position:
    try:
        position = find_position(work.session, board, command.designator)
    except NotFound:
        if problem := designator_fault(command.designator):
            raise Invalid({"designator": problem}) from None
        return work.add(Position(**_position_columns(board, command)))
    if "mounting" in command.model_fields_set and command.mounting != position.mounting:
        said = f"{position.designator} is on the board as {position.mounting}. If that is wrong, revise it there."
        raise Invalid({"mounting": said})
    return position


def _position_columns(board: Board, described: EnterPart | ListedPart) -> dict[str, Any]:
    return {
        "board_id": board.key,
        "designator": described.designator,
        "designator_key": designator_key(described.designator),
        "kind": described.kind.value,
        "mounting": described.mounting.value,
    }


def list_faults(
    session: Session, board: Board, rows: Sequence[ListedPart], called: Sequence[str] | None = None
) -> dict[int, str]:
    """Why rows of a list cannot be stored on this board, by the row's place in the list.

    `called` is what each row is called where the keeper sees it, such as “line 7”.
    """
    there = {position.designator_key: position for position in _positions(session, board)}
    held = _held(session, board)
    seen: dict[str, int] = {}
    faults: dict[int, str] = {}
    for number, row in enumerate(rows):
        key = designator_key(row.designator)
        if key in seen:
            first = called[seen[key]] if called else f"row {seen[key] + 1}"
            faults[number] = f"The designator {row.designator} stands in {first} already."
        elif problem := _row_fault(row, there.get(key), held.get(key)):
            faults[number] = problem
        seen.setdefault(key, number)
    return faults


def _positions(session: Session, board: Board) -> Sequence[Position]:
    return session.exec(select(Position).where(Position.board_id == board.id)).all()


def _held(session: Session, board: Board) -> dict[str, bool]:
    """The positions that have ever held a part, and whether they hold one now."""
    query = (
        select(Position.designator_key, func.count(col(Placement.id)) > func.count(col(Placement.removed_on)))
        .join(Placement, col(Placement.position_id) == col(Position.id))
        .where(Position.board_id == board.id)
        .group_by(col(Position.designator_key))
    )
    return {key: bool(now) for key, now in session.exec(query)}


def _row_fault(row: ListedPart, position: Position | None, holds_now: bool | None) -> str:
    return (
        designator_fault(row.designator)
        or (_held_fault(row, holds_now) if row.has_part else "")
        or (_position_fault(row, position) if position else "")
        or check_value(row.value, row.kind)
        or check_value(row.expected_value, row.kind)
    )


def _held_fault(row: ListedPart, holds_now: bool | None) -> str:
    if holds_now is None:
        return ""
    if holds_now:
        return f"{row.designator} holds a part already."
    return f"{row.designator} has held another part before. Enter this one by itself, with the day it was fitted."


def _position_fault(row: ListedPart, position: Position) -> str:
    """A list adds to what is written of a position; it never changes it."""
    said = {name: text for name, text in row.of_position().items() if text}
    if "mounting" in row.model_fields_set:
        said["mounting"] = row.mounting.value
    for name, text in said.items():
        stored = getattr(position, name)
        if stored and stored != text:
            return (
                f"{position.designator} has the {words(name)} “{stored}” on the board. If it is wrong, revise it there."
            )
    if not row.has_part and all(getattr(position, name) for name in said):
        return f"{position.designator} is on the board already, and the row adds nothing to it."
    return ""


def _in_fields_of_entry(refusal: Refused) -> dict[str, str]:
    """The same refusal beside the fields that an entry has."""
    return {"fitted_on" if name == "day" else name: sentence for name, sentence in refusal.messages.items()}


def _store_batch(work: Work, board: Board, rows: Sequence[ListedPart], there: dict[str, Position]) -> None:
    keys = [designator_key(row.designator) for row in rows]
    for row, key in zip(rows, keys, strict=True):
        if key in there:
            change(there[key], {name: text for name, text in row.of_position().items() if text})
    new = [row for row, key in zip(rows, keys, strict=True) if key not in there]
    made = add_many(work, Position, [_position_columns(board, row) | row.of_position() for row in new])
    made_by_key = {designator_key(row.designator): position for row, position in zip(new, made, strict=True)}
    positions = [there[key].key if key in there else made_by_key[key] for key in keys]
    parts = add_many(work, Part, [row.columns(PartFields) for row in rows if row.has_part])
    seats = [position for position, row in zip(positions, rows, strict=True) if row.has_part]
    pairs = zip(parts, seats, strict=True)
    add_many(work, Placement, [{"part_id": part, "position_id": seat} for part, seat in pairs])
    work.touched_positions.update(positions)
