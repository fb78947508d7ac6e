"""Rows of a form: fields with numbers, such as `inputs.0.name`, which a person can leave gaps between or ask more of.

It knows forms, and nothing of what their rows say.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from server.pages.forms import Form, number_of

Row = dict[str, str]
NAMED_MOST = 40


def take_rows(form: Form, kind: str, columns: Sequence[str]) -> list[Row]:
    """The rows of a kind in the order of their numbers, taken out of the form: what is filled in again has no gaps."""
    names = [name for name in form.values if name.startswith(f"{kind}.")]
    numbers = sorted({number for name in names if (number := number_of(name.split(".")[1])) is not None})
    rows = [_row(form, kind, number, columns) for number in numbers]
    for name in names:
        del form.values[name]
    return rows


def fill_rows(form: Form, kind: str, columns: Sequence[str], rows: Sequence[Mapping[str, Any]]) -> None:
    for number, row in enumerate(rows):
        for column in columns:
            value = row.get(column)
            form.set(f"{kind}.{number}.{column}", "" if value is None else str(value))


def count_rows(form: Form, kind: str) -> int:
    return len({name.split(".")[1] for name in form.values if name.startswith(f"{kind}.")})


def shown_rows(form: Form, kind: str, first: int, more: int) -> int:
    """How many rows of a kind a form shows: those that are written, a few to begin with, and more where asked for."""
    return max(count_rows(form, kind) + (more if form.text("more") == kind else 0), first)


def read_rows(form: Form, kind: str, columns: Sequence[str]) -> list[Row]:
    """The rows of a kind in a form without gaps."""
    return [_row(form, kind, number, columns) for number in range(count_rows(form, kind))]


def _row(form: Form, kind: str, number: int, columns: Sequence[str]) -> Row:
    return {column: form.text(f"{kind}.{number}.{column}") for column in columns}


def labels_of_rows(
    form: Form, row_words: Mapping[str, str], column_words: Mapping[str, str], called: str = ""
) -> dict[str, str]:
    """What the summary of messages calls each field: `Line 2, formula`; `called` is the column that names a row."""
    found = {}
    for name in form.errors:
        kind, _, rest = name.partition(".")
        number, _, column = rest.partition(".")
        if kind in row_words and number.isdecimal():
            own = form.text(f"{kind}.{number}.{called}") if called else ""
            row = _short(own) or f"{row_words[kind]} {int(number) + 1}"
            found[name] = f"{row}, {column_words.get(column, column)}"
    return found


def _short(name: str) -> str:
    return name if len(name) <= NAMED_MOST else f"{name[:NAMED_MOST]}…"
