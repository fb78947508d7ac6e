"""A list as text, cut into lines of cells: its delimiter found, what no record can hold and what never ends refused.

It knows nothing of what the cells must hold, nor which line is the heading.
"""

import csv
import io
import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from itertools import islice
from typing import Any

from server.records.commands.parts import ROWS_MOST
from server.records.errors import Invalid

DELIMITERS = {"\t": "tabs", ";": "semicolons", ",": "commas"}
HEADING_WITHIN = 20
SOMETHING = re.compile(r"[^\s,;]")
SEPARATOR_LINE = re.compile(r'"?sep=(?P<delimiter>[,;\t])"?(?=\n|$)')
# What spreadsheets write before a text that would else be a formula; lists that leave the house have it too.
KEPT_PLAIN = re.compile(r"'(?='*[=+\-@\t\r])")


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the list: its number as an editor counts, and its cells."""

    number: int
    cells: list[str]


@dataclass(frozen=True, slots=True)
class Cut:
    """A list taken apart: what stands between its cells, and its lines."""

    delimiter: str
    lines: list[Line]


Sense = Callable[[Sequence[Line]], Any]  # how much sense the first lines make, the more the greater


def cut(text: str, sense: Sense) -> Cut:
    """Cut at the delimiter under which the first lines make most sense; raises Invalid where there is no list."""
    text = text.replace("\r\n", "\n").replace("\r", "\n").removeprefix("\ufeff")
    _refuse_unstorable(text)
    stated = SEPARATOR_LINE.match(text)
    delimiter = stated["delimiter"] if stated else max(DELIMITERS, key=lambda one: sense(_first_lines(text, one)))
    lines = list(_lines(text[stated.end() :] if stated else text, delimiter))
    if not lines:
        raise Invalid({"text": "There is no list here. Paste one, with a heading line that names its columns."})
    return Cut(delimiter, lines)


def too_many() -> str:
    return f"The list has more than {ROWS_MOST:,} rows. Store it in several parts."


def _refuse_unstorable(text: str) -> None:
    fault = re.search(r"[\x00\ud800-\udfff]", text)
    if fault:
        line = text.count("\n", 0, fault.start()) + 1
        raise Invalid(
            {"text": f"Line {line:,} holds a character that is no text. Take it out, or save the list again."}
        )


def _first_lines(text: str, delimiter: str) -> list[Line]:
    lines: list[Line] = []
    with suppress(Invalid):  # under another delimiter it may read well
        lines += islice(_lines(text, delimiter), HEADING_WITHIN)
    return lines


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
            raise Invalid({"text": _endless(began, source)}) from None
        if reader.line_num >= len(source) - 1 and _is_open("\n".join(source[began - 1 :]), delimiter):
            raise Invalid({"text": _never_closed(began)})
        if any(map(SOMETHING.search, cells)):
            taken += 1
            if taken > ROWS_MOST + HEADING_WITHIN:
                raise Invalid({"text": too_many()})
            yield Line(began, [KEPT_PLAIN.sub("", cell, count=1) if cell[:1] == "'" else cell for cell in cells])
        began = reader.line_num + 1


def _is_open(rest: str, delimiter: str) -> bool:
    """Whether the last line leaves a quotation mark open: only the strict reader says so."""
    try:
        list(csv.reader(io.StringIO(rest), delimiter=delimiter, strict=True))
    except csv.Error as fault:
        return "unexpected end" in str(fault)
    return False


def _endless(began: int, source: Sequence[str]) -> str:
    """Why the reader gave a cell up: most often it swallows the lines that follow."""
    most = csv.field_size_limit()
    if len(source[began - 1]) > most:
        return f"Line {began:,} holds a cell of more than {most:,} characters. Shorten it, or take the line out."
    return _never_closed(began)


def _never_closed(line: int) -> str:
    return (
        f"A cell that begins in line {line:,} does not end: a quotation mark opens there and is never closed, so all "
        "that follows is one cell. Close it, or take it away."
    )
