"""Taking a list in, of whichever kind: its text or its file, one sheet of several, and which column is which.

Between the steps the list travels in the page itself, with its other sheets and what was said of its columns; the
server keeps nothing of it. What the rows mean, and what becomes of them, is the page's own for each kind.
"""

from collections.abc import AsyncIterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Annotated

from fastapi import Depends, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from server.pages.forms import FIELDS_MOST, Form, number_of, of_data
from server.pages.house import House
from server.records.errors import Invalid
from server.records.list_columns import COLUMNS_MOST, OUT
from server.records.list_file import take, words_of_sheet
from server.records.list_kinds import ListKind
from server.records.list_table import Table, read_table
from server.records.list_workbook import Sheet
from server.records.questions.column_matchings import remembered
from server.records.tables import Machine
from server.settings import Settings

MEGABYTE = 1_000_000
# The text comes back with two bytes a line end, and letters outside ASCII take up to four.
TEXT_GROWS = 4
TEXT_TOO_LARGE = "exceeded maximum size"  # the form parser's words; what else it refuses is no fault of the list
VALUE_SHOWN = 40
LINE_SHOWN = 60
SHEETS = "other"

Options = list[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class ColumnLine:
    """One column of a list as it is asked about: its field's name in the form, its heading and its first values."""

    name: str
    heading: str
    values: str


@dataclass(frozen=True, slots=True)
class ColumnsPage:
    """Which column is which: a choice for each, with what stands in it.

    `day` is when lists with these headings were matched last; `asks` whether not all of them are understood; `lines`
    those that could be the heading; `carried` goes along unseen from step to step, as do the other `sheets`.
    """

    machine: Machine
    tabs: Options
    crumbs: Options
    form: Form
    action: str
    columns: list[ColumnLine]
    fields: Options
    labels: dict[str, str]
    needed: str
    more: int
    day: date | None
    asks: bool
    read_as: str
    lines: Options
    sheets: Options
    carried: Options


async def posted_list(request: Request) -> AsyncIterator[Form]:
    """The form with its list; text far too long is answered beside its field, like everything else."""
    settings: Settings = request.app.state.settings
    most = settings.parts_list_most_mb * MEGABYTE
    try:
        data = await request.form(max_files=5, max_fields=FIELDS_MOST, max_part_size=TEXT_GROWS * most)
    except HTTPException as refusal:
        if TEXT_TOO_LARGE not in refusal.detail:
            raise
        form = Form.blank()
        form.errors["text"] = _too_large("The pasted text", settings)
        yield form
        return
    form = of_data(data)
    form.set("text", form.text("text").replace("\r\n", "\n"))
    if len(form.text("text")) > most:
        form.errors["text"] = _too_large("The pasted text", settings)
    try:
        yield form
    finally:
        await data.close()


PostedList = Annotated[Form, Depends(posted_list)]


def _too_large(what: str, settings: Settings) -> str:
    return f"{what} is larger than {settings.parts_list_most_mb} MB, the most a list may have. Send it in parts."


# ---- From the form to a table ----


def table_of(house: House, kind: ListKind, form: Form) -> Table:
    """The list that a form brings, its columns as the form says, or as is known; raises Invalid where there is none."""
    with house.reading() as session:
        known = remembered(session, kind)
    if form.text("do") == "sheet":
        _change_sheets(form)
    _take_file(house, kind, form)
    if form.errors:
        raise Invalid({})
    line = number_of(form.text("heading_line"))
    table = read_table(form.text("text"), kind, known, line)
    said = form.text("columns_of")
    if line is not None and said != table.signature and form.text("do") != "columns":  # it was said of another list
        table = read_table(form.text("text"), kind, known)
    return _as_said(table, form) if said == table.signature else table


def _as_said(table: Table, form: Form) -> Table:
    fields = [form.text(f"column.{place}") for place in range(len(table.fields))]
    return table if fields == table.fields and not table.asks else table.matched_by_hand(fields)


def _take_file(house: House, kind: ListKind, form: Form) -> None:
    """Put an uploaded file's text where pasted text stands, with what is said of how it was read."""
    upload = form.files.get("file")
    if upload is None:
        return
    most = house.settings.parts_list_most_mb * MEGABYTE
    if (upload.size or 0) > most:
        raise Invalid({"file": _too_large("The file", house.settings)})
    with house.reading() as session:
        taken = take(upload.file.read(), kind, remembered(session, kind))
    form.errors.pop("text", None)
    form.set("text", taken.text.replace("\r\n", "\n"))
    form.set("read_as", taken.words)
    form.set("sheet", taken.sheet)
    _keep_sheets(form, _that_fit(taken.others, most - len(taken.text)))


def _that_fit(sheets: Sequence[Sheet], room: int) -> list[Sheet]:
    """Those that can go along in the page; the first come first."""
    kept = []
    for sheet in sheets:
        room -= len(sheet.text)
        if room >= 0:
            kept.append(sheet)
    return kept


def _change_sheets(form: Form) -> None:
    """Take the sheet that is asked for; the one that was read stays at hand in its place."""
    sheets = sheets_carried(form)
    number = number_of(form.text("sheet_wanted"))
    if number is None or number >= len(sheets):
        return
    wanted = sheets.pop(number)
    sheets.insert(number, Sheet(form.text("sheet"), form.text("text")))
    form.set("text", wanted.text.replace("\r\n", "\n"))
    form.set("sheet", wanted.name)
    form.set("read_as", words_of_sheet(wanted, sheets))
    form.set("heading_line", "")
    _keep_sheets(form, sheets)


def sheets_carried(form: Form) -> list[Sheet]:
    """The other sheets of the workbook that came along in the page."""
    numbers = range(sum(name.endswith(".text") and name.startswith(f"{SHEETS}.") for name in form.values))
    return [Sheet(form.text(f"{SHEETS}.{one}.name"), form.text(f"{SHEETS}.{one}.text")) for one in numbers]


def _keep_sheets(form: Form, sheets: Sequence[Sheet]) -> None:
    for name in [name for name in form.values if name.startswith(f"{SHEETS}.")]:
        del form.values[name]
    for number, sheet in enumerate(sheets):
        form.set(f"{SHEETS}.{number}.name", sheet.name)
        form.set(f"{SHEETS}.{number}.text", sheet.text)


# ---- From step to step ----


def asks_for_columns(form: Form, table: Table) -> bool:
    """Whether the next page is the one that says which column is which."""
    if table.asks or form.text("do") == "columns":
        return True
    return table.matched == "by hand" and bool(table.faults())


def carried(form: Form, table: Table, names: Sequence[str]) -> Options:
    """What goes along unseen with a list that is looked at, so that what was looked at is what is stored."""
    line = str(table.heading_line) if form.text("heading_line") else ""
    said = [(f"column.{place}", name) for place, name in enumerate(table.fields)]
    return [*_kept(form, names), ("heading_line", line), ("columns_of", table.signature), *said]


def said_before(form: Form) -> Options:
    """What was said of a list's columns, for a form that the list is shown in again."""
    names = [name for name in form.values if name.startswith("column.")][:COLUMNS_MOST]
    return _kept(form, ["columns_of", "heading_line", *names]) if form.text("columns_of") else []


def _kept(form: Form, names: Sequence[str]) -> Options:
    return [(name, form.text(name)) for name in names]


def sheet_options(form: Form) -> Options:
    return [(str(number), sheet.name) for number, sheet in enumerate(sheets_carried(form))]


def columns_page(
    house: House, form: Form, table: Table, about: tuple[Machine, Options, Options, str], names: Sequence[str]
) -> Response:
    """Ask which column is which; `about` is the machine, its tabs, the way here and the form's address."""
    said = form.text("do") in ("match", "store")
    if said:
        _refuse(form, table)
    for place, name in enumerate(table.fields):
        form.set(f"column.{place}", name)
    form.set("heading_line", str(table.heading_line))
    machine, tabs, crumbs, action = about
    columns = [_column(table, place) for place in range(len(table.fields)) if _is_shown(table, place)]
    context = ColumnsPage(
        machine=machine,
        tabs=tabs,
        crumbs=crumbs,
        form=form,
        action=action,
        columns=columns,
        fields=[(OUT, "leave out"), *((name, table.kind.words(name)) for name in table.kind.headings)],
        labels={"columns": "Columns", **{column.name: column.heading for column in columns}},
        needed=table.kind.words(table.kind.needed),
        more=len(table.headings) - len(table.fields),
        day=table.day,
        asks=table.asks,
        read_as=form.text("read_as"),
        lines=[(str(number), words[:LINE_SHOWN]) for number, words in table.could_be_headings],
        sheets=sheet_options(form),
        carried=[*_kept(form, names), ("columns_of", table.signature), *_unseen(table, columns)],
    )
    return house.page("lists/columns.html", context, 422 if said and form.errors else 200)


def _refuse(form: Form, table: Table) -> None:
    for place, sentence in table.faults().items():
        form.errors["columns" if place is None else f"column.{place}"] = sentence


def _is_shown(table: Table, place: int) -> bool:
    """A column without a heading and without values is none that a person sees."""
    return bool(table.headings[place] or table.fields[place] or table.values(place, 1))


def _unseen(table: Table, columns: Sequence[ColumnLine]) -> Options:
    shown = {column.name for column in columns}
    every = ((f"column.{place}", name) for place, name in enumerate(table.fields))
    return [(name, said) for name, said in every if name not in shown]


def _column(table: Table, place: int) -> ColumnLine:
    values = [value if len(value) <= VALUE_SHOWN else f"{value[:VALUE_SHOWN]}…" for value in table.values(place)]
    return ColumnLine(
        f"column.{place}", table.heading(place)[:LINE_SHOWN], " · ".join(values) or "nothing stands in it"
    )
