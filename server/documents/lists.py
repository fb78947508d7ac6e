"""A list as comma-separated text (RFC 4180), as spreadsheets open it: UTF-8 with a mark that says so, lines with CR LF.

A cell that a spreadsheet would take for a formula begins with an apostrophe, as such programs write plain text
themselves (common practice, no source). Knows no record.
"""

import csv
import io
import re
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime
from typing import Any

MARK = "\ufeff"
# One that begins so with an apostrophe of its own has another, so that taking one away gives what it was.
_BEGINS_A_FORMULA = re.compile(r"'*[=+\-@\t\r]")
_AT_ONCE = 200


def as_csv(headings: Sequence[str], rows: Iterable[Sequence[Any]]) -> Iterator[bytes]:
    """The list in pieces of some hundred rows."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    text.write(MARK)
    writer.writerow(headings)
    for number, row in enumerate(rows, start=1):
        writer.writerow([cell(value) for value in row])
        if number % _AT_ONCE == 0:
            yield _taken(text)
    yield _taken(text)


def cell(value: Any) -> str:
    """A value as a person would type it: days as ISO 8601, several of a kind apart by blanks or commas."""
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case int() | float():
            return f"{value:.15g}" if isinstance(value, float) else str(value)
        case datetime():
            return value.isoformat(timespec="seconds")
        case date():
            return value.isoformat()
        case list() if all(isinstance(one, int | float) for one in value):
            return " ".join(cell(one) for one in value)
        case list():
            return _plain(", ".join(str(one) for one in value))
        case _:
            return _plain(str(value))


def _plain(text: str) -> str:
    return f"'{text}" if _BEGINS_A_FORMULA.match(text) else text


def _taken(text: io.StringIO) -> bytes:
    found = text.getvalue().encode()
    text.seek(0)
    text.truncate()
    return found
