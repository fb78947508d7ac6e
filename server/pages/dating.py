"""What a board's date codes allow, and what the keeper holds of one part's code."""

from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import Response

from server.documents.drawing import Picture
from server.engineering.datecodes import Reading
from server.pages.boards import Options, board_address
from server.pages.dating_picture import Dated, dates_view
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House, PageNumber
from server.pages.machines import sections
from server.pages.parts import PartNumber
from server.records.cautions import cautions
from server.records.commands.dating import ChooseReading, Overrule, OverruleDating
from server.records.date_codes import Code, days_of
from server.records.placing import describe
from server.records.questions.addresses import find_board, find_machine, find_part
from server.records.questions.dating import (
    BoardDating,
    CodeLine,
    board_of,
    code_of,
    dating_of,
    undated,
)
from server.records.questions.paging import Paged, paged_list
from server.records.tables import Board, Machine, Part

router = APIRouter()
LINES_A_PAGE = 100
ALL_READINGS = ("", "none in particular: all of them are kept in mind")
STANCES = [
    (Overrule.AS_THE_CODES_SAY.value, "As the codes say: it counts if the part is held to be original and belongs"),
    (Overrule.COUNTS.value, "It counts, whatever the codes say"),
    (Overrule.DOES_NOT_COUNT.value, "It does not count"),
]


@dataclass(frozen=True, slots=True)
class BoardDatingPage:
    """One board: what its codes allow, drawn and told, every part's code, and the parts that have none."""

    machine: Machine
    tabs: Options
    board: Board
    board_base: str
    base: str
    cautions: list[str]
    dating: BoardDating
    picture: Picture | None
    lines: Paged[CodeLine]
    undated: Paged[str]


@dataclass(frozen=True, slots=True)
class PartDatingPage:
    """One part's code: what it can mean, what is made of it on its board, and the two things a keeper can hold."""

    part: Part
    name: str
    machine: Machine | None
    tabs: Options
    cautions: list[str]
    board: Board | None
    board_base: str
    line: CodeLine | None
    allows: str
    code: Code
    reading_form: Form
    readings: Options
    stance_form: Form
    stances: Options


def dating_address(machine: Machine, board: Board) -> str:
    """Where a board's codes are told."""
    return f"{board_address(machine, board)}/dating"


def picture_of(dating: BoardDating) -> Picture | None:
    """The codes of a board that can be read, drawn; nothing where there are none."""
    drawn = [_drawn(line) for line in dating.lines if line.reckoned]
    if not drawn:
        return None
    return dates_view(f"dates-{dating.board.key}", dating.board.name, drawn, dating.window.not_before, dating.made)


def _drawn(line: CodeLine) -> Dated:
    label = line.designator[:8] if line.here else f"{line.designator[:5]}, out"
    # What counts for nothing is drawn at its likeliest: all it can mean would press the others together.
    readings = line.reckoned[:1] if line.place == "left out" else line.reckoned
    earliest = min(reading.earliest for reading in readings)
    return Dated(label, earliest, max(reading.latest for reading in readings), line.place)


@router.get("/machines/{tag}/boards/{slug}/dating")
def board_dating_page(house: AtHome, tag: str, slug: str, number: PageNumber) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        board = find_board(session, machine, slug)
        dating = dating_of(session, board)
        without = undated(session, board, 1)
    context = BoardDatingPage(
        machine=machine,
        tabs=sections(machine),
        board=board,
        board_base=board_address(machine, board),
        base=dating_address(machine, board),
        cautions=cautions(machine.hazards, board.hazards),
        dating=dating,
        picture=picture_of(dating),
        lines=paged_list(dating.lines, number, LINES_A_PAGE),
        undated=without,
    )
    return house.page("originality/dating.html", context)


# ---- One part ----


@router.get("/parts/{number}/dating")
def part_dating_page(house: AtHome, number: PartNumber) -> Response:
    return _part_page(house, number)


@router.post("/parts/{number}/reading")
def choose_reading(house: AtHome, number: PartNumber, form: PostedForm) -> Response:
    part = _part(house, number)
    return house.write(
        form,
        ChooseReading,
        to=lambda done: f"/parts/{done.key}/dating",
        again=lambda form, status: _part_page(house, number, status, reading_form=form),
        part=part.key,
    )


@router.post("/parts/{number}/dating")
def overrule_dating(house: AtHome, number: PartNumber, form: PostedForm) -> Response:
    part = _part(house, number)
    return house.write(
        form,
        OverruleDating,
        to=lambda done: f"/parts/{done.key}/dating",
        again=lambda form, status: _part_page(house, number, status, stance_form=form),
        part=part.key,
    )


def _part(house: House, number: int) -> Part:
    with house.reading() as session:
        return find_part(session, number)


def _part_page(
    house: House, number: int, status: int = 200, reading_form: Form | None = None, stance_form: Form | None = None
) -> Response:
    with house.reading() as session:
        part = find_part(session, number)
        board = board_of(session, part)
        machine = session.get_one(Machine, board.machine_id) if board else None
        dating = dating_of(session, board) if board else None
        code = code_of(session, part)
    lines = dating.lines if dating else ()
    context = PartDatingPage(
        part=part,
        name=describe(part),
        machine=machine,
        tabs=sections(machine) if machine else [],
        cautions=cautions(machine.hazards, board.hazards) if machine and board else [],
        board=board,
        board_base=board_address(machine, board) if machine and board else "",
        line=next((line for line in lines if line.part.key == part.key), None),
        allows=f"{dating.allows} {dating.contradiction}".strip() if dating else "",
        code=code,
        reading_form=_told_apart(reading_form or _reading_form(part, code), "r"),
        readings=[*((days_of(reading), _in_words(reading)) for reading in code.offered), ALL_READINGS],
        stance_form=_told_apart(stance_form or _stance_form(part), "s"),
        stances=STANCES,
    )
    return house.page("originality/part_dating.html", context, status)


def _reading_form(part: Part, code: Code) -> Form:
    return Form.blank(reading=part.date_reading if code.chosen else "", opened_version=part.version)


def _stance_form(part: Part) -> Form:
    stance = part.dating or Overrule.AS_THE_CODES_SAY.value
    return Form.blank(dating=stance, note=part.dating_note, opened_version=part.version)


def _told_apart(form: Form, prefix: str) -> Form:
    """Two forms share the page: their ids must not meet."""
    form.prefix = prefix
    return form


def _in_words(reading: Reading) -> str:
    return f"{reading.earliest} to {reading.latest}: {reading.why}"
