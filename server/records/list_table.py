"""A parts list as text, cut into cells: its delimiter, its heading, and which column holds which field.

A title may stand above the heading; columns may come in any order. It knows nothing of what the cells must hold.
"""

import csv
import io
import re
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from itertools import islice

from server.records.commands.base import words
from server.records.commands.parts import ROWS_MOST
from server.records.errors import Invalid
from server.records.list_words import FIELD_BY_HEADING, folded

DELIMITERS = {"\t": "tabs", ";": "semicolons", ",": "commas"}
HEADING_WITHIN = 20
SOMETHING = re.compile(r"[^\s,;]")
SEPARATOR_LINE = re.compile(r'"?sep=(?P<delimiter>[,;\t])"?(?=\n|$)')


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the list: its number as an editor counts, and its cells."""

    number: int
    cells: list[str]


@dataclass(frozen=True, slots=True)
class Table:
    """A list taken apart: which column holds which field, which are left out, and the lines under the heading."""

    delimiter: str
    headings: list[str]
    columns: dict[str, int]
    left_out: list[str]
    lines: list[Line]

    @property
    def delimiter_words(self) -> str:
        return DELIMITERS[self.delimiter]

    @property
    def pairs(self) -> list[tuple[str, str]]:
        """Each column that is read: its heading, and the field it is taken for."""
        return [(self.headings[place], words(name)) for name, place in self.columns.items()]


def read_table(text: str) -> Table:
    """Find the delimiter and the heading, and cut the list into cells; raises Invalid where there is no list."""
    text = text.replace("\r\n", "\n").replace("\r", "\n").removeprefix("\ufeff")
    _refuse_unstorable(text)
    stated = SEPARATOR_LINE.match(text)
    delimiter = stated["delimiter"] if stated else _delimiter(text)
    lines = list(_lines(text[stated.end() :] if stated else text, delimiter))
    if not lines:
        raise Invalid({"text": "There is no list here. Paste one, with a heading line that names its columns."})
    place = _heading_place(lines[:HEADING_WITHIN])
    headings = [" ".join(cell.split()) for cell in lines[place].cells]
    columns, left_out = _columns(headings)
    if "designator" not in columns:
        raise Invalid({"text": _no_designator(headings)})
    if len(lines) == place + 1:
        raise Invalid({"text": "There is a heading, but no row under it."})
    return Table(delimiter, headings, columns, left_out, lines[place + 1 :])


def _refuse_unstorable(text: str) -> None:
    fault = re.search(r"[\x00\ud800-\udfff]", text)
    if fault:
        line = text.count("\n", 0, fault.start()) + 1
        raise Invalid(
            {"text": f"Line {line:,} holds a character that is no text. Take it out, or save the list again."}
        )


def _delimiter(text: str) -> str:
    """The one under which the heading makes most sense; of equals, the one that makes most columns."""
    return max(DELIMITERS, key=lambda delimiter: _sense(text, delimiter))


def _sense(text: str, delimiter: str) -> tuple[bool, int, int]:
    lines: list[Line] = []
    with suppress(Invalid):  # under another delimiter it may read well
        lines += islice(_lines(text, delimiter), HEADING_WITHIN)
    if not lines:
        return False, 0, 0
    cells = lines[_heading_place(lines)].cells
    known = _known(cells)
    return "designator" in known, len(known), len(cells)


def _known(cells: Sequence[str]) -> set[str]:
    """The fields that a line's cells name; 200 cells are more than any heading has."""
    return {name for cell in cells[:200] if (name := FIELD_BY_HEADING.get(folded(cell[:60])))}


def _lines(text: str, delimiter: str) -> Iterator[Line]:
    """Lines with something in them; raises Invalid for a quotation mark never closed and for a list too long."""
    source = text.split("\n")
    reader = csv.reader(io.StringIO(text), delimiter=delimiter)
    began, taken = 1, 0
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error:
            raise Invalid({"text": _endless(began)}) from None
        if reader.line_num >= len(source) - 1 and _is_open("\n".join(source[began - 1 :]), delimiter):
            raise Invalid({"text": _endless(began)})
        if any(map(SOMETHING.search, cells)):
            taken += 1
            if taken > ROWS_MOST + HEADING_WITHIN:
                raise Invalid({"text": too_many()})
            yield Line(began, cells)
        began = reader.line_num + 1


def _is_open(rest: str, delimiter: str) -> bool:
    """Whether the last line leaves a quotation mark open: only the strict reader says so."""
    try:
        list(csv.reader(io.StringIO(rest), delimiter=delimiter, strict=True))
    except csv.Error as fault:
        return "unexpected end" in str(fault)
    return False


def _endless(line: int) -> str:
    return (
        f"A cell that begins in line {line:,} does not end: a quotation mark opens there and is never closed, so all "
        "that follows is one cell. Close it, or take it away."
    )


def too_many() -> str:
    return f"The list has more than {ROWS_MOST:,} rows. Store it in several parts."


def _heading_place(lines: Sequence[Line]) -> int:
    """The first line that names a column of designators; else the one that names most. A title may stand above it."""
    known = [_known(line.cells) for line in lines]
    named = (place for place, names in enumerate(known) if "designator" in names)
    return next(named, max(range(len(lines)), key=lambda place: len(known[place])))


def _columns(headings: Sequence[str]) -> tuple[dict[str, int], list[str]]:
    columns: dict[str, int] = {}
    left_out = []
    for place, heading in enumerate(headings):
        name = FIELD_BY_HEADING.get(folded(heading))
        if name and name not in columns:
            columns[name] = place
        elif name:
            left_out.append(f"{heading} ({headings[columns[name]]} is taken for the {words(name)} already)")
        elif heading:
            left_out.append(heading)
    return columns, left_out


def _no_designator(headings: Sequence[str]) -> str:
    found = ", ".join(f"“{heading[:40]}”" for heading in headings[:12] if heading)
    return (
        "No column says where each part sits. Give one the heading “designator” (or “ref”, or “position”), in a "
        f"heading line above the rows. Found as the heading: {found or 'nothing'}."
    )
