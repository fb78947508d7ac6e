"""The form that draws up a circuit: its rows on their way to a command and back from what is stored.

Rows are fields with numbers: `elements.0.nodes`, `questions.1.which`, `fall.0.text`. It knows forms, and no request.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from sqlmodel import Session

from server.pages.calculation_form import MORE_ROWS
from server.pages.forms import Form, number_of
from server.records.circuit_kinds import KINDS
from server.records.circuit_lines import ABOVE, BELOW, CONDUCTS, FALLS, RELEASED
from server.records.questions.circuits import rows_typed
from server.records.tables import Calculation
from server.records.words import Source

Words = list[tuple[str, str]]

READ = ("source", "text", "board", "designator", "when_empty", "trial", "figure", "other")
COLUMNS: dict[str, tuple[str, ...]] = {
    "elements": ("name", "kind", "nodes", *READ, "more", "rating", "basis"),
    "questions": ("which", "how", "value", "which_too", "how_too", "value_too", "most", "basis"),
    "assumptions": ("sentence", "tested", "note"),
}
# Columns in which a person writes: what makes a row one that was written.
WRITTEN = {
    "elements": ("name", "nodes", "text", "designator", "more", "rating", "basis"),
    "questions": ("which", "value", "which_too", "value_too", "most", "basis"),
    "assumptions": ("sentence",),
}
ROWS_FIRST = {"elements": 4, "questions": 1, "assumptions": 1}
SINGLE = ("title", "note", "reference", "sweep_source", "sweep_low", "sweep_high", "watch", "fall_kind", "fall_start")
KIND_WORDS: Words = [(kind.slug, kind.in_order) for kind in KINDS.values()]
HOW: Words = [(how, how) for how in (CONDUCTS, RELEASED, ABOVE, BELOW)]
HOW_TOO: Words = [(how, {RELEASED: "no longer holds it off"}.get(how, how)) for how, _ in HOW]
FALL_WORDS: Words = [
    ("", "nothing is said of it"),
    ("time constant", "by a time constant"),
    ("resistor", "as a capacitance empties into a resistor"),
    ("steady current", "as a capacitance empties at a steady current"),
    ("steady power", "as a capacitance empties at a steady power"),
]
FALL_ROWS = ("Time constant, or what empties it", "Capacitance that holds it up")
ROW_WORDS = {"elements": "Element", "questions": "Question", "fall": "Fall", "assumptions": "Assumption"}
COLUMN_WORDS = {
    "nodes": "between which nodes",
    "text": "value",
    "designator": "position",
    "when_empty": "where it is empty",
    "figure": "figure that is read",
    "other": "line that is read",
    "more": "what more is known of it",
    "rating": "rating",
    "which": "what is asked about",
    "which_too": "what is asked about as well",
    "value": "amount",
    "value_too": "second amount",
    "most": "how long at most",
}
ASSUMED = (
    "At every voltage of the rail the circuit is at rest: no capacitor in it holds a voltage for longer.",
    "The rail falls as told, whatever the circuit draws from it.",
    "Each diode and transistor has the drop and the gain that are given, at the temperature of the room.",
)


def blank() -> Form:
    """A form to begin with: a rail and the reference, and what every such sum takes for granted."""
    form = Form.blank(reference="0", sweep_low="0 V")
    fill(form, "assumptions", [{"sentence": sentence, "tested": "", "note": ""} for sentence in ASSUMED])
    return form


def compact(form: Form) -> None:
    """Close the gaps between written rows, so that messages and rows keep the same numbers."""
    for kind, columns in COLUMNS.items():
        names = [name for name in form.values if name.startswith(f"{kind}.")]
        numbers = sorted({number for name in names if (number := number_of(name.split(".")[1])) is not None})
        rows = [{column: form.text(f"{kind}.{number}.{column}") for column in columns} for number in numbers]
        for name in names:
            del form.values[name]
        fill(form, kind, [row for row in rows if any(row[column].strip() for column in WRITTEN[kind])])


def fill(form: Form, kind: str, rows: Sequence[Mapping[str, Any]]) -> None:
    for number, row in enumerate(rows):
        for column in COLUMNS.get(kind, READ):
            value = row.get(column)
            form.set(f"{kind}.{number}.{column}", "" if value is None else str(value))


def count(form: Form, kind: str) -> int:
    return len({name.split(".")[1] for name in form.values if name.startswith(f"{kind}.")})


def rows_shown(form: Form) -> dict[str, int]:
    """How many rows of each kind are shown: those that are written, a few to begin with, and more where asked for."""
    more = form.text("more")
    return {kind: max(count(form, kind) + (MORE_ROWS if kind == more else 0), ROWS_FIRST[kind]) for kind in COLUMNS}


def rows_of(form: Form) -> dict[str, Any]:
    """The rows of each kind as the command takes them."""
    rows: dict[str, list[dict[str, Any]]] = {
        kind: [
            {column: form.text(f"{kind}.{number}.{column}") for column in columns}
            for number in range(count(form, kind))
        ]
        for kind, columns in COLUMNS.items()
    }
    timed = len(FALLS.get(form.text("fall_kind"), ()))
    rows["fall"] = [{column: form.text(f"fall.{number}.{column}") for column in READ} for number in range(timed)]
    for row in (*rows["elements"], *rows["fall"]):
        row["source"] = row["source"] or Source.TYPED.value
        row["waveform"], _, row["figure"] = row.pop("figure").partition(":")
        row["other_calculation"], _, row["other_line"] = row.pop("other").partition(":")
    for row in rows["elements"]:
        row["kind"] = row["kind"] or "resistor"
    for row in rows["questions"]:
        row["how"], row["how_too"] = row["how"] or CONDUCTS, row["how_too"] or RELEASED
    for row in rows["assumptions"]:
        row["tested"] = bool(row["tested"])
        row["sentence"] = " ".join(row["sentence"].split())
    return rows


def from_stored(session: Session, calculation: Calculation) -> Form:
    """The form filled with what is stored."""
    typed = rows_typed(session, calculation)
    form = Form.blank(**{name: typed[name] for name in SINGLE}, opened_version=calculation.version)
    for kind in ("elements", "fall"):
        fill(form, kind, [_as_row(row) for row in typed[kind]])
    fill(form, "questions", typed["questions"])
    fill(form, "assumptions", [row | {"tested": "yes" if row["tested"] else ""} for row in typed["assumptions"]])
    return form


def _as_row(typed: Mapping[str, str]) -> dict[str, str]:
    read = f"{typed['other_calculation']}:{typed['other_line']}" if typed["other_calculation"] else ""
    figure = f"{typed['waveform']}:{typed['figure']}" if typed["waveform"] else ""
    return {**typed, "figure": figure, "other": read}


def labels_of(form: Form) -> dict[str, str]:
    """What the summary of messages calls each field: `R2, between which nodes`."""
    found = {}
    for name in form.errors:
        kind, _, rest = name.partition(".")
        number, _, column = rest.partition(".")
        if kind in ROW_WORDS and number.isdecimal():
            called = form.text(f"{kind}.{number}.name") or f"{ROW_WORDS[kind]} {int(number) + 1}"
            found[name] = f"{called}, {COLUMN_WORDS.get(column, column)}"
    return found
