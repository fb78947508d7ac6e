"""A parts list onto a board: pasted or uploaded, looked at row by row, and only then stored.

Between looking and storing the list travels in the page itself; the server keeps nothing of it.
"""

from collections.abc import AsyncIterator
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from server.pages.boards import Options, board_address, board_choices
from server.pages.forms import FIELDS_MOST, Form, of_data
from server.pages.house import AtHome, House
from server.pages.jobs import Job, job_address, jobs_of
from server.pages.machines import address, sections
from server.records.commands.parts import ImportParts, ListedPart
from server.records.errors import Invalid, NotFound
from server.records.list_words import HEADINGS
from server.records.parts_list import ListRow, Table, check_rows, read_rows, read_table, text_of
from server.records.questions.addresses import find_board, find_machine
from server.records.questions.boards import all_boards
from server.records.tables import Board, Machine
from server.settings import Settings

router = APIRouter()
MEGABYTE = 1_000_000
# The text comes back with two bytes a line end, and letters outside ASCII take up to four.
TEXT_GROWS = 4
TEXT_TOO_LARGE = "exceeded maximum size"  # the form parser's words; what else it refuses is no fault of the list
GOOD_SHOWN = 20
BAD_SHOWN = 200
COLUMNS_SHOWN = 20
CELL_SHOWN = 60


@dataclass(frozen=True, slots=True)
class ImportPage:
    """The form that takes a list; `headings` says what its columns can be called."""

    machine: Machine
    tabs: Options
    base: str
    boards: Options
    headings: Options
    most_mb: int
    form: Form
    action: str
    cancel: str


@dataclass(frozen=True, slots=True)
class BadRow:
    """A row that will not be stored, and why."""

    line: int
    designator: str
    reason: str


@dataclass(frozen=True, slots=True)
class LookPage:
    """The list as it was understood, before anything is stored."""

    machine: Machine
    tabs: Options
    board: Board
    action: str
    form: Form
    table: Table
    encoding: str
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


async def posted_list(request: Request) -> AsyncIterator[Form]:
    """The form with its list; text far too long is answered beside its field, like everything else."""
    settings: Settings = request.app.state.settings
    most = settings.parts_list_most_mb * MEGABYTE
    try:
        data = await request.form(max_files=5, max_fields=FIELDS_MOST, max_part_size=TEXT_GROWS * most)
    except HTTPException as refusal:
        if TEXT_TOO_LARGE not in refusal.detail:
            raise
        yield _refused("text", _too_large("The pasted text", settings))
        return
    form = of_data(data)
    form.set("text", form.text("text").replace("\r\n", "\n"))
    if len(form.text("text")) > most:
        form.errors["text"] = _too_large("The pasted text", settings)
    try:
        yield form
    finally:
        await data.close()


def _refused(name: str, sentence: str) -> Form:
    form = Form.blank()
    form.errors[name] = sentence
    return form


PostedList = Annotated[Form, Depends(posted_list)]


def _too_large(what: str, settings: Settings) -> str:
    return f"{what} is larger than {settings.parts_list_most_mb} MB, the most a parts list may have. Send it in parts."


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
        encoding = _take_file(house, form)
        if form.errors:
            return _form(house, machine, form, 422)
        board = _board(house, machine, form)
        read = _read(house, board, form.text("text"))
    except Invalid as problem:
        form.refuse(problem)
        return _form(house, machine, form, 422)
    if form.text("do") != "store":
        return _look(house, machine, board, form, read, 200 if read.good else 422, encoding)
    if form.text("good") != str(len(read.good)) or not read.good:
        return _look(house, machine, board, form, read, 409, encoding, changed=True)
    return _store(house, machine, board, read)


def _take_file(house: House, form: Form) -> str:
    """Put an uploaded file's text where pasted text stands; what is said of how it was read."""
    upload = form.files.get("file")
    if upload is None:
        return ""
    if (upload.size or 0) > house.settings.parts_list_most_mb * MEGABYTE:
        raise Invalid({"file": _too_large("The file", house.settings)})
    text, words = text_of(upload.file.read())
    form.set("text", text.replace("\r\n", "\n"))
    form.errors.pop("text", None)
    return words


def _board(house: House, machine: Machine, form: Form) -> Board:
    try:
        with house.reading() as session:
            return find_board(session, machine, form.text("board").replace("\0", ""))
    except NotFound:
        raise Invalid({"board": f"Choose one of the boards of {machine.tag}."}) from None


def _read(house: House, board: Board, text: str) -> Read:
    table = read_table(text)
    rows = read_rows(table)
    with house.reading() as session:
        return Read(table, check_rows(session, board, rows))


def _store(house: House, machine: Machine, board: Board, read: Read) -> Response:
    command = ImportParts(machine=machine.tag, board=board.slug, rows=read.good)
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
    )
    return house.page("parts/import.html", context, status)


def _look(
    house: House,
    machine: Machine,
    board: Board,
    form: Form,
    read: Read,
    status: int,
    encoding: str,
    changed: bool = False,
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
        encoding=encoding,
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
