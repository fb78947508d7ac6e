"""A workbook (Office Open XML, ECMA-376) as text: each of its sheets that has any cells, tabs between.

Formulas count for what they last came to, numbers and days as a person would type them, a merged cell for each row that
it spans. What a workbook unpacks to is bounded before it is read, and its XML is read by a parser that expands no
entities. It knows nothing of what the cells must hold.
"""

import csv
import io
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any

import openpyxl
from openpyxl.utils.exceptions import InvalidFileException

from server.records.commands.parts import ROWS_MOST
from server.records.errors import Invalid
from server.records.list_workbook_marks import Marks, fill_merged, marks_in
from server.records.texts import printable

PACKED = b"PK\x03\x04"
SHEETS_IN = "xl/workbook.xml"
UNPACKED_MOST = 60_000_000  # bytes; a list of some thousand rows has one or two million
MEMBERS_MOST = 2_000
SHEETS_MOST = 50
COLUMNS_MOST = 200
ROWS_READ = ROWS_MOST + 100
NAME_SHOWN = 60
NO_WORKBOOK = "This is a packed file, but no workbook. Save the sheet as XLSX or CSV, then choose that file."
DAMAGED = "The workbook is damaged and cannot be read. Save it again, or save the sheet as CSV."
TOO_LARGE = (
    f"The workbook unpacks to more than {UNPACKED_MOST // 1_000_000} MB, far more than a list has. "
    "Save the sheet as CSV."
)
# What can be met in someone else's file. An XML parser's complaint is a SyntaxError, a forbidden entity a ValueError.
FAULTS = (
    InvalidFileException, zipfile.BadZipFile, zlib.error, KeyError, IndexError, ValueError, TypeError, AttributeError,
    SyntaxError, OSError, NotImplementedError, EOFError,
)  # fmt: skip
EMPTY = "The workbook has no sheet with anything in it."


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet as text. `hidden` is one that its maker has put out of sight; `words` tell how it was read."""

    name: str
    text: str
    hidden: bool = False
    words: str = ""


def sheets_of(data: bytes) -> list[Sheet]:
    """Every sheet that has any cells, in their order; raises Invalid where the file has none."""
    _check_size(data)
    try:
        with (
            zipfile.ZipFile(io.BytesIO(data)) as packed,
            closing(openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True, keep_links=False)) as book,
        ):
            read = (_sheet(book[name], packed) for name in book.sheetnames[:SHEETS_MOST])
            found = [sheet for sheet in read if sheet.text]
    except FAULTS as fault:
        raise Invalid({"file": DAMAGED}) from fault
    if not found:
        raise Invalid({"file": EMPTY})
    return found


def _sheet(sheet: Any, packed: zipfile.ZipFile) -> Sheet:
    name = printable(str(sheet.title), NAME_SHOWN)
    if not hasattr(sheet, "iter_rows"):  # a sheet of charts alone
        return Sheet(name, "")
    rows = [[_cell(value) for value in row] for row in _rows(sheet)]
    marks = marks_in(packed.read(str(sheet._worksheet_path).removeprefix("/")))
    filled = fill_merged(rows, marks)
    return Sheet(name, _text(rows), sheet.sheet_state != "visible", _words(marks, filled))


def _rows(sheet: Any) -> Iterator[Sequence[Any]]:
    yield from sheet.iter_rows(max_row=ROWS_READ, max_col=COLUMNS_MOST, values_only=True)


def _check_size(data: bytes) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            members = packed.infolist()
    except (zipfile.BadZipFile, NotImplementedError, ValueError) as fault:
        raise Invalid({"file": DAMAGED}) from fault
    if SHEETS_IN not in {member.filename for member in members}:
        raise Invalid({"file": NO_WORKBOOK})
    if len(members) > MEMBERS_MOST or sum(member.file_size for member in members) > UNPACKED_MOST:
        raise Invalid({"file": TOO_LARGE})


def _text(rows: Sequence[Sequence[str]]) -> str:
    """Tabs between the cells, which a spreadsheet's cells hardly ever hold; empty if there is nothing in any."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter="\t", lineterminator="\n")
    for row in rows:
        cells = list(row)
        while cells and not cells[-1]:
            cells.pop()
        writer.writerow(cells)
    return text.getvalue() if text.getvalue().strip() else ""


def _cell(value: Any) -> str:
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case float() if value.is_integer() and abs(value) < 1e15:
            return str(int(value))
        case float():
            return f"{value:.12g}"
        case datetime() if value.time() == time():
            return value.date().isoformat()
        case datetime() | date() | time():
            return value.isoformat()
        case _:
            return _one_line_end(str(value)).strip()


def _one_line_end(text: str) -> str:
    """Line ends within a cell, however they are written (`_x000D_` in ECMA-376-1, 22.9.2.19), as one character."""
    return text.replace("_x000D_", "\r").replace("\r\n", "\n").replace("\r", "\n")


def _words(marks: Marks, filled: int) -> str:
    said = []
    if filled:
        what = "A merged cell was" if filled == 1 else f"{filled:,} merged cells were"
        said.append(
            f"{what} taken for each row that it spans." if filled == 1 else f"{what} taken for each row they span."
        )
    if marks.unworked:
        many = "One formula has" if marks.unworked == 1 else f"{marks.unworked:,} formulas have"
        said.append(
            f"{many} never been worked out, and is read as empty. Open the workbook and save it once."
            if marks.unworked == 1
            else f"{many} never been worked out, and are read as empty. Open the workbook and save it once."
        )
    return " ".join(said)
