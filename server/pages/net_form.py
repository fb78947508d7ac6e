"""The form that writes a net: its pins on their way to a command and back, one row each.

Rows are fields with numbers: `pins.0.designator`. The field `order` is the form's own: rows are put in its order, so
that a pin can be written in between without a script. It knows forms, and no request.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from server.engineering import logic
from server.pages.form_rows import fill_rows, labels_of_rows, read_rows, shown_rows, take_rows
from server.pages.forms import Form
from server.records.questions.nets import PinLine
from server.records.tables import Net
from server.records.words import Level, PinRole

Words = list[tuple[str, str]]

COLUMNS = ("designator", "pin", "role", "family", "drives", "series", "other_end", "seen_at")
# Columns that do not make a row one that was written: they hold a word from the start.
GIVEN = {"role", "family", "drives", "order"}
ROWS_FIRST, MORE_ROWS = 4, 4
ROLES: Words = [
    (role.value, role.value)
    for role in (PinRole.INPUT, PinRole.TOTEM_POLE, PinRole.OPEN_COLLECTOR, PinRole.EITHER_WAY, PinRole.PASSIVE)
]
DRIVES: Words = [("", "either"), (Level.LOW.value, "always low"), (Level.HIGH.value, "always high")]
COLUMN_WORDS = {
    "designator": "position",
    "series": "resistor in series",
    "other_end": "far end",
    "seen_at": "place on the sheet",
}


def families() -> Words:
    return [("", "by its type"), *((kind, kind) for kind in logic.kinds())]


def compact(form: Form) -> None:
    """Close the gaps between written rows and put them in their order, so that messages and rows agree."""
    rows = take_rows(form, "pins", (*COLUMNS, "order"))
    written = [row for row in rows if any(text.strip() for column, text in row.items() if column not in GIVEN)]
    fill(form, [row for _, row in sorted(enumerate(written), key=lambda one: _order(*one))])


def _order(number: int, row: Mapping[str, str]) -> tuple[float, int]:
    """Where a row belongs: where its field says, else where it stands."""
    text = row["order"].strip().replace(",", ".")
    digits = text.replace(".", "", 1)
    plain = digits.isascii() and digits.isdecimal() and len(digits) < 10
    return (float(text) if plain else number + 1.0), number


def fill(form: Form, rows: Sequence[Mapping[str, Any]]) -> None:
    numbered = [{**row, "order": number} for number, row in enumerate(rows, start=1)]
    fill_rows(form, "pins", (*COLUMNS, "order"), numbered)


def rows_shown(form: Form) -> int:
    """How many rows are shown: those that are written, a few to begin with, and more where asked for."""
    return shown_rows(form, "pins", ROWS_FIRST, MORE_ROWS)


def rows_of(form: Form) -> list[dict[str, str]]:
    """The rows as the command takes them."""
    return read_rows(form, "pins", COLUMNS)


def labels_of(form: Form) -> dict[str, str]:
    """What the summary of messages calls each field: `Pin 2, position`."""
    return labels_of_rows(form, {"pins": "Pin"}, COLUMN_WORDS)


def from_stored(net: Net, lines: Sequence[PinLine]) -> Form:
    """The form filled with what is stored."""
    form = Form.blank(name=net.name, sheet=net.sheet, note=net.note, opened_version=net.version)
    fill(form, [line.as_typed() for line in lines])
    return form
