"""The parts of a machine, and one part: what it is, what its value is understood as, where it is and was.

Entering parts has modules of its own: `part_entry` for one at the bench, `imports` for a list.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Request
from starlette.responses import Response

from server.pages.boards import PART_KINDS, Options
from server.pages.files import Attached, attached_to
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House, PageNumber
from server.pages.machines import address, sections
from server.pages.understood import Understood, understood
from server.records import clock
from server.records.cautions import cautions
from server.records.commands.parts import PartFields, RevisePart
from server.records.date_codes import Code
from server.records.errors import NotFound
from server.records.placing import describe
from server.records.questions.addresses import find_machine, find_part
from server.records.questions.boards import all_boards
from server.records.questions.dating import code_of
from server.records.questions.journal import Told
from server.records.questions.paging import Paged
from server.records.questions.parts import (
    ChangedMachine,
    Seat,
    Seated,
    Sought,
    Stay,
    bag_of,
    loans_of,
    machines_changed,
    parts_in,
    seat_of,
    stays_of,
    told_of,
)
from server.records.tables import Board, Loan, Machine, Part, Storage
from server.records.words import Origin, PartKind

router = APIRouter()
ORIGINS = [(origin.value, origin.value) for origin in Origin]


@dataclass(frozen=True, slots=True)
class PartsPage:
    """The parts that sit in a machine; `form` holds what the list is narrowed by, `rest` repeats it in links."""

    machine: Machine
    tabs: Options
    base: str
    cautions: list[str]
    boards: Sequence[Board]
    parts: Paged[Seated]
    form: Form
    kinds: Options
    origins: Options
    rest: str


@dataclass(frozen=True, slots=True)
class PartPage:
    """One part: facts, what its value is understood as, where it is and was, what was written of it."""

    part: Part
    name: str
    understood: Understood
    seat: Seat | None
    bag: Storage | None
    tabs: Options
    cautions: list[str]
    stays: list[Stay]
    changed: list[ChangedMachine]
    loans: Sequence[Loan]
    told: Paged[Told]
    today: date
    code: Code
    attached: Attached | None


@dataclass(frozen=True, slots=True)
class PartFormPage:
    """The form that revises a part."""

    part: Part
    name: str
    form: Form
    kinds: Options
    origins: Options


def part_number(number: str) -> int:
    """A part's number from its address; what is no number names no part."""
    if not (number.isascii() and number.isdigit() and len(number) < 12):
        raise NotFound("part", number)
    return int(number)


PartNumber = Annotated[int, Depends(part_number)]


def part_address(part: Part | int) -> str:
    return f"/parts/{part if isinstance(part, int) else part.key}"


# --- the parts of a machine ---------------------------------------------------------------------------------------


@router.get("/machines/{tag}/parts")
def parts_page(house: AtHome, tag: str, request: Request, number: PageNumber) -> Response:
    sought = _sought(request)
    with house.reading() as session:
        machine = find_machine(session, tag)
        boards = all_boards(session, machine)
        parts = parts_in(session, machine, sought, number)
    asked = {"q": sought.words, "kind": sought.kind, "origin": sought.origin}
    context = PartsPage(
        machine=machine,
        tabs=sections(machine),
        base=address(machine),
        cautions=cautions(machine.hazards, *(board.hazards for board in boards)),
        boards=boards,
        parts=parts,
        form=Form.blank(**asked),
        kinds=[("", "any"), *PART_KINDS],
        origins=[("", "any"), *ORIGINS],
        rest=urlencode({name: text for name, text in asked.items() if text}),
    )
    return house.page("parts/parts.html", context)


def _sought(request: Request) -> Sought:
    """What the list is narrowed by; a word that is not offered narrows nothing."""
    asked = request.query_params
    kind, origin = asked.get("kind", ""), asked.get("origin", "")
    return Sought(
        words=asked.get("q", "").strip()[:200],
        kind=kind if kind in list(PartKind) else "",
        origin=origin if origin in list(Origin) else "",
    )


# --- one part -----------------------------------------------------------------------------------------------------


@router.get("/parts/{number}")
def part_page(house: AtHome, number: PartNumber, page: PageNumber) -> Response:
    with house.reading() as session:
        part = find_part(session, number)
        stays, loans = stays_of(session, part), loans_of(session, part)
        told = told_of(session, part, page)
        code = code_of(session, part)
        attached = attached_to(session, "part", part)
    seat, bag = seat_of(stays), bag_of(stays)
    context = PartPage(
        part=part,
        name=describe(part),
        understood=understood(part.value, part.kind),
        seat=seat,
        bag=bag,
        tabs=sections(seat.machine) if seat else [],
        cautions=cautions(seat.machine.hazards, seat.board.hazards) if seat else [],
        stays=stays,
        changed=machines_changed(stays),
        loans=loans,
        told=told,
        today=clock.today(),
        code=code,
        attached=attached,
    )
    return house.page("parts/part.html", context)


@router.get("/parts/{number}/edit")
def edit_part(house: AtHome, number: PartNumber) -> Response:
    with house.reading() as session:
        part = find_part(session, number)
    return _part_form(house, part, Form.of_row(PartFields, part))


@router.post("/parts/{number}/edit")
def revise_part(house: AtHome, number: PartNumber, form: PostedForm) -> Response:
    with house.reading() as session:
        part = find_part(session, number)
    return house.write(
        form,
        RevisePart,
        to=lambda done: part_address(done.key),
        again=lambda form, status: _part_form(house, part, form, status),
        part=part.key,
    )


def _part_form(house: House, part: Part, form: Form, status: int = 200) -> Response:
    return house.page("parts/form.html", PartFormPage(part, describe(part), form, PART_KINDS, ORIGINS), status)
