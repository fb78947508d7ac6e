"""A workbook (Office Open XML, ECMA-376) as the text of a parts list: its first sheet that has any cells, tabs between.

Formulas count for what they last came to, numbers and days as a person would type them. What a workbook unpacks to is
bounded before it is read, and its XML is read by a parser that expands no entities. It knows nothing of what the cells
must hold.
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

PACKED = b"PK\x03\x04"
SHEETS_IN = "xl/workbook.xml"
UNPACKED_MOST = 60_000_000  # bytes; a list of some thousand rows has one or two million
MEMBERS_MOST = 2_000
COLUMNS_MOST = 200
ROWS_READ = ROWS_MOST + 100
NO_WORKBOOK = "This is a packed file, but no workbook. Save the sheet as XLSX or CSV, then choose that file."
DAMAGED = "The workbook is damaged and cannot be read. Save it again, or save the sheet as CSV."
TOO_LARGE = (
    f"The workbook unpacks to more than {UNPACKED_MOST // 1_000_000} MB, far more than a parts list has. "
    "Save the sheet as CSV."
)
# What can be met in someone else's file. An XML parser's complaint is a SyntaxError, a forbidden entity a ValueError.
FAULTS = (
    InvalidFileException, zipfile.BadZipFile, zlib.error, KeyError, IndexError, ValueError, TypeError, AttributeError,
    SyntaxError, OSError, NotImplementedError,
)  # fmt: skip
EMPTY = "The workbook has no sheet with anything in it."


@dataclass(frozen=True, slots=True)
class Sheet:
    """The sheet that was read, as text, and what to say of the others."""

    text: str
    words: str


def sheet_of(data: bytes) -> Sheet:
    """The first sheet that has any cells; raises Invalid where the file has none."""
    _check_size(data)
    try:
        with closing(
            openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True, keep_links=False)
        ) as book:
            names = list(book.sheetnames)
            for name in names:
                if text := _text(_rows(book[name])):
                    return Sheet(text, _words(name, [other for other in names if other != name]))
    except FAULTS as fault:
        raise Invalid({"file": DAMAGED}) from fault
    raise Invalid({"file": EMPTY})


def _rows(sheet: Any) -> Iterator[Sequence[Any]]:
    """A sheet of charts alone has none."""
    if hasattr(sheet, "iter_rows"):
        yield from sheet.iter_rows(max_row=ROWS_READ, max_col=COLUMNS_MOST, values_only=True)


def _check_size(data: bytes) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            members = packed.infolist()
    except (zipfile.BadZipFile, ValueError) as fault:
        raise Invalid({"file": DAMAGED}) from fault
    if SHEETS_IN not in {member.filename for member in members}:
        raise Invalid({"file": NO_WORKBOOK})
    if len(members) > MEMBERS_MOST or sum(member.file_size for member in members) > UNPACKED_MOST:
        raise Invalid({"file": TOO_LARGE})


def _text(rows: Iterator[Sequence[Any]]) -> str:
    """Tabs between the cells, which a spreadsheet's cells hardly ever hold; empty if there is nothing in any."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter="\t", lineterminator="\n")
    for row in rows:
        cells = [_cell(value) for value in row]
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
            return str(value).strip()


def _words(name: str, others: Sequence[str]) -> str:
    left = f" Left out: {', '.join(others[:5])}{' and more' if len(others) > 5 else ''}." if others else ""
    return f"Read from the sheet “{name}” of the workbook.{left}"
