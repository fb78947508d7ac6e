"""Finding a record by the address that people use: a machine's tag, a board's slug, a designator, a number."""

import re
import unicodedata
from collections.abc import Container
from typing import NoReturn, TypeVar
from uuid import UUID

from sqlalchemy import bindparam
from sqlmodel import Session, col, func, select
from sqlmodel.sql.expression import SelectOfScalar

from server.records.errors import BoardLeft, KnownByName, NotFound
from server.records.tables import (
    AttachedFile,
    Board,
    BoardPicture,
    BoardStay,
    Calculation,
    Design,
    Evidence,
    Expectation,
    Machine,
    Mod,
    Net,
    Part,
    Photograph,
    Position,
    PossibleCause,
    Procedure,
    ShareLink,
    SignedSheet,
    Step,
    Symptom,
    Trial,
    Waveform,
)
from server.records.texts import sought

SLUG_MOST = 60
KEY_MOST = 2**31 - 1  # what an INTEGER column of either database holds
Row = TypeVar("Row")


def tag_key(tag: str) -> str:
    """A tag with its case folded: `tm-03` finds `TM-03`."""
    return sought(tag.strip()).casefold()


def designator_key(designator: str) -> str:
    """Case folded and numbers padded, so that `R2` sorts before `R10` and `r02` is `R2`."""
    folded = sought("".join(designator.split())).casefold()
    return re.sub(r"\d+", lambda digits: digits.group().lstrip("0").rjust(6, "0"), folded)


def slug(text: str) -> str:
    """Letters, digits and hyphens for an address."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:SLUG_MOST].strip("-")


def next_number(session: Session, column: int, *conditions: bool) -> int:
    """The number after the highest that stands in a column, of the rows that the conditions choose; 1 for the first."""
    return (session.exec(select(func.max(column)).where(*conditions)).one() or 0) + 1


def free_slug(wanted: str, taken: Container[str]) -> str:
    """The slug itself, or with the first number that makes it free: `supply-2`."""
    number, candidate = 1, wanted
    while candidate in taken:
        number += 1
        candidate = f"{wanted[: SLUG_MOST - len(str(number)) - 1]}-{number}"
    return candidate


# Every page of a machine begins by finding it, so this statement is built once.
MACHINE = select(Machine).where(Machine.tag_key == bindparam("tag_key"))


def find_machine(session: Session, tag: str) -> Machine:
    machine = session.exec(MACHINE, params={"tag_key": tag_key(tag)}).first()
    if machine is None:
        raise NotFound("machine", tag)
    if machine.elsewhere:
        raise KnownByName(machine.tag)
    return machine


def find_board(session: Session, machine: Machine, name: str) -> Board:
    query = select(Board).where(Board.machine_id == machine.id, Board.slug == sought(name))
    found = session.exec(query).first()
    return found or _board_left(session, machine, name)


def _board_left(session: Session, machine: Machine, name: str) -> NoReturn:
    """Say where a board of that name went, if one was here; where the name was taken, it has a number since."""
    query = (
        select(Board.slug, Machine.tag)
        .join(BoardStay, col(BoardStay.board_id) == col(Board.id))
        .join(Machine, col(Machine.id) == col(Board.machine_id))
        .where(BoardStay.machine_id == machine.id, Board.machine_id != machine.id)
        .order_by(col(Board.slug), col(Board.id))
    )
    for slug, tag in session.exec(query):
        if re.fullmatch(re.escape(sought(name)) + r"(-\d+)?", slug):
            raise BoardLeft(name, machine.tag, tag, slug)
    raise NotFound("board", name)


def find_position(session: Session, board: Board, designator: str) -> Position:
    query = select(Position).where(Position.board_id == board.id, Position.designator_key == designator_key(designator))
    return _only(session, query, "position", designator)


def find_net(session: Session, board: Board, number: int) -> Net:
    return _only(session, select(Net).where(Net.board_id == board.id, Net.number == storable(number)), "net", number)


def find_board_picture(session: Session, board: Board, number: int) -> BoardPicture:
    query = select(BoardPicture).where(BoardPicture.board_id == board.id, BoardPicture.number == storable(number))
    return _only(session, query, "picture", number)


def find_part(session: Session, number: int) -> Part:
    return _only(session, select(Part).where(Part.id == storable(number)), "part", number)


def find_mod(session: Session, machine: Machine, number: int) -> Mod:
    query = select(Mod).where(Mod.machine_id == machine.id, Mod.number == storable(number))
    return _only(session, query, "modification", number)


def find_step(session: Session, mod: Mod, number: int) -> Step:
    query = select(Step).where(Step.mod_id == mod.id, Step.number == storable(number))
    return _only(session, query, "step", number)


def find_expectation(session: Session, mod: Mod, number: int) -> Expectation:
    query = select(Expectation).where(Expectation.mod_id == mod.id, Expectation.number == storable(number))
    return _only(session, query, "expectation", number)


def find_calculation(session: Session, mod: Mod, number: int) -> Calculation:
    query = select(Calculation).where(Calculation.mod_id == mod.id, Calculation.number == storable(number))
    return _only(session, query, "calculation", number)


def find_procedure(session: Session, name: str) -> Procedure:
    return _only(session, select(Procedure).where(Procedure.slug == sought(name)), "procedure", name)


def find_trial(session: Session, machine: Machine, number: int) -> Trial:
    query = select(Trial).where(Trial.machine_id == machine.id, Trial.number == storable(number))
    return _only(session, query, "trial", number)


def find_waveform(session: Session, machine: Machine, number: int) -> Waveform:
    query = select(Waveform).where(Waveform.machine_id == machine.id, Waveform.number == storable(number))
    return _only(session, query, "waveform", number)


def find_photograph(session: Session, machine: Machine, number: int) -> Photograph:
    query = select(Photograph).where(Photograph.machine_id == machine.id, Photograph.number == storable(number))
    return _only(session, query, "photograph", number)


def find_file(session: Session, machine: Machine, number: int) -> AttachedFile:
    query = select(AttachedFile).where(AttachedFile.machine_id == machine.id, AttachedFile.number == storable(number))
    return _only(session, query, "file", number)


def find_sheet(session: Session, machine: Machine, number: int) -> SignedSheet:
    query = select(SignedSheet).where(SignedSheet.machine_id == machine.id, SignedSheet.number == storable(number))
    return _only(session, query, "signed mod sheet", number)


def find_share_link(session: Session, machine: Machine, number: int) -> ShareLink:
    query = select(ShareLink).where(ShareLink.machine_id == machine.id, ShareLink.number == storable(number))
    return _only(session, query, "share link", number)


def find_design(session: Session, name: str) -> Design:
    return _only(session, select(Design).where(Design.slug == sought(name)), "design", name)


def find_symptom(session: Session, machine: Machine, number: int) -> Symptom:
    query = select(Symptom).where(Symptom.machine_id == machine.id, Symptom.number == storable(number))
    return _only(session, query, "symptom", number)


def find_cause(session: Session, symptom: Symptom, number: int) -> PossibleCause:
    query = select(PossibleCause).where(
        PossibleCause.symptom_id == symptom.id, PossibleCause.number == storable(number)
    )
    return _only(session, query, "possible cause", number)


def find_evidence(session: Session, cause: PossibleCause, uuid: UUID) -> Evidence:
    """By its UUID: evidence that was taken away leaves no number to another."""
    query = select(Evidence).where(Evidence.possible_cause_id == cause.id, Evidence.uuid == uuid)
    return _only(session, query, "evidence", uuid)


def storable(number: int) -> int:
    """A number that no key can have finds nothing, rather than upsetting the database."""
    return number if abs(number) <= KEY_MOST else 0


def _only(session: Session, query: SelectOfScalar[Row], kind: str, name: object) -> Row:
    row = session.exec(query).first()
    if row is None:
        raise NotFound(kind, name)
    return row
