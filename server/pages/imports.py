"""A parts list onto a board: pasted or uploaded, looked at row by row, and only then stored.

Between looking and storing the list travels in the page itself; the server keeps nothing of it.
"""

from dataclasses import dataclass

from fastapi import APIRouter, Request
from starlette.responses import Response

from server.pages.boards import Options, board_address, board_choices
from server.pages.forms import Form
from server.pages.house import AtHome, House
from server.pages.jobs import Job, job_address, jobs_of
from server.pages.list_taking import (
    PostedList,
    asks_for_columns,
    carried,
    columns_page,
    said_before,
    sheet_options,
    table_of,
)
from server.pages.machines import address, sections
from server.records.commands.parts import ImportParts, ListedPart
from server.records.errors import Invalid, NotFound
from server.records.list_file import chosen_columns
from server.records.list_kinds import PARTS
from server.records.list_words import HEADINGS
from server.records.parts_list import ListRow, Table, check_rows, read_rows
from server.records.questions.addresses import find_board, find_machine
from server.records.questions.boards import all_boards
from server.records.tables import Board, Machine

router = APIRouter()
CARRIED = ("board", "sheet", "read_as")
GOOD_SHOWN = 20
BAD_SHOWN = 200
COLUMNS_SHOWN = 20
CELL_SHOWN = 60


@dataclass(frozen=True, slots=True)
class ImportPage:
    """The form that takes a list; `headings` says what its columns can be called, `carried` was said of them before."""

    machine: Machine
    tabs: Options
    base: str
    boards: Options
    headings: Options
    most_mb: int
    form: Form
    action: str
    cancel: str
    carried: Options


@dataclass(frozen=True, slots=True)
class BadRow:
    """A row that will not be stored, and why."""

    line: int
    designator: str
    reason: str


@dataclass(frozen=True, slots=True)
class LookPage:
    """The list as it was understood, before anything is stored; `carried` and the `sheets` go along unseen."""

    machine: Machine
    tabs: Options
    board: Board
    action: str
    form: Form
    table: Table
    read_as: str
    sheets: Options
    carried: Options
    good: int
    parts: int
    bad: int
    first_good: list[ListedPart]
    first_bad: list[BadRow]
    as_type: int
    first_as_type: list[str]
    left_out: list[str]
    changed: bool


@dataclass(frozen=True, slots=True)
class Read:
    """A list that could be read, held against its board."""

    table: Table
    rows: list[ListRow]

    @property
    def good(self) -> list[ListedPart]:
        return [row.part for row in self.rows if row.part]


@router.get("/machines/{tag}/parts/import")
def import_page(house: AtHome, tag: str, request: Request) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
    return _form(house, machine, Form.blank(board=request.query_params.get("board", "")))


@router.post("/machines/{tag}/parts/import")
def take_list(house: AtHome, tag: str, form: PostedList) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
    if form.text("do") == "back":
        return _form(house, machine, form)
    try:
        table = table_of(house, PARTS, form)
        board = _board(house, machine, form)
        if asks_for_columns(form, table):
            return columns_page(house, form, table, _about(machine, board), CARRIED)
        read = _read(house, board, table)
    except Invalid as problem:
        form.refuse(problem)
        return _form(house, machine, form, 422)
    if form.text("do") != "store":
        return _look(house, machine, board, form, read, 200 if read.good else 422)
    if form.text("good") != str(len(read.good)) or not read.good:
        return _look(house, machine, board, form, read, 409, changed=True)
    return _store(house, machine, board, read)


def _about(machine: Machine, board: Board) -> tuple[Machine, Options, Options, str]:
    """What the page that asks for the columns says around it."""
    base = address(machine)
    way = [("/", "Shelf"), (base, machine.tag), (f"{base}/parts", "Parts")]
    crumbs = [*way, (f"{base}/parts/import?board={board.slug}", "Enter a parts list"), ("", "Its columns")]
    return machine, sections(machine), crumbs, f"{base}/parts/import"


def _board(house: House, machine: Machine, form: Form) -> Board:
    try:
        with house.reading() as session:
            return find_board(session, machine, form.text("board").replace("\0", ""))
    except NotFound:
        raise Invalid({"board": f"Choose one of the boards of {machine.tag}."}) from None


def _read(house: House, board: Board, table: Table) -> Read:
    rows = read_rows(table)
    with house.reading() as session:
        return Read(table, check_rows(session, board, rows))


def _store(house: House, machine: Machine, board: Board, read: Read) -> Response:
    matching = chosen_columns(read.table)
    command = ImportParts(machine=machine.tag, board=board.slug, rows=read.good, matching=matching)
    job = Job(
        title=f"Entering a parts list onto {board.name}",
        onward=(board_address(machine, board), f"Look at {board.name}"),
        back=(f"{address(machine)}/parts/import?board={board.slug}", "Back to the parts list"),
    )
    store, who = house.store, house.who
    jobs_of(house.request.app).start(job, lambda heard: store.carry_out(command, who, heard).words)
    return house.go(job_address(job))


def _form(house: House, machine: Machine, form: Form, status: int = 200) -> Response:
    with house.reading() as session:
        boards = board_choices(all_boards(session, machine))
    base = address(machine)
    context = ImportPage(
        machine=machine,
        tabs=sections(machine),
        base=base,
        boards=boards,
        headings=[(name.replace("_", " "), ", ".join(others[:4])) for name, others in HEADINGS.items()],
        most_mb=house.settings.parts_list_most_mb,
        form=form,
        action=f"{base}/parts/import",
        cancel=f"{base}/parts",
        carried=said_before(form),
    )
    return house.page("parts/import.html", context, status)


def _look(
    house: House, machine: Machine, board: Board, form: Form, read: Read, status: int, changed: bool = False
) -> Response:
    bad = [row for row in read.rows if row.part is None]
    as_type = [row for row in read.rows if row.part and row.as_type]
    good = read.good
    context = LookPage(
        machine=machine,
        tabs=sections(machine),
        board=board,
        action=f"{address(machine)}/parts/import",
        form=form,
        table=read.table,
        read_as=form.text("read_as"),
        sheets=sheet_options(form),
        carried=carried(form, read.table, CARRIED),
        good=len(good),
        parts=sum(part.has_part for part in good),
        bad=len(bad),
        first_good=good[:GOOD_SHOWN],
        first_bad=[BadRow(row.line, row.designator[:CELL_SHOWN], row.reason) for row in bad[:BAD_SHOWN]],
        as_type=len(as_type),
        first_as_type=[f"“{row.as_type[:CELL_SHOWN]}” in line {row.line:,}" for row in as_type[:3]],
        left_out=[name[:CELL_SHOWN] for name in read.table.left_out[:COLUMNS_SHOWN]],
        changed=changed,
    )
    return house.page("parts/look.html", context, status)
