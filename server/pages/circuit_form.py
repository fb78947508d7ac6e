"""The form that draws up a circuit: its rows on their way to a command and back from what is stored.

Rows are fields with numbers: `elements.0.nodes`, `questions.1.which`, `fall.0.text`. It knows forms, and no request.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from sqlmodel import Session

from server.pages.calculation_form import MORE_ROWS, as_assumed, fill_assumptions, join_choices, part_choices
from server.pages.form_rows import fill_rows, labels_of_rows, read_rows, shown_rows, take_rows
from server.pages.forms import Form
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
ROWS_FIRST = {"elements": 6, "questions": 1, "assumptions": 1}
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
# Short enough for a column of the form.
SOURCE_WORDS: Words = [
    (Source.TYPED.value, "typed here"),
    (Source.PART.value, "of a part"),
    (Source.TRIAL.value, "of a trial"),
    (Source.WAVEFORM.value, "of a waveform"),
    (Source.LINE.value, "of another sum"),
    (Source.UNKNOWN.value, "not known yet"),
]
FALL_ROWS = ("Time constant, or what empties it", "Capacitance that holds it up")
SINGLE_WORDS = {
    "note": "What it is to show",
    "reference": "Node that is 0 V",
    "sweep_source": "Source that is turned down",
    "sweep_high": "From where it is turned down",
    "sweep_low": "Down to where it is turned",
    "watch": "Nodes to draw",
    "fall_kind": "How the rail falls",
    "fall_start": "Where the fall begins",
}
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
        rows = take_rows(form, kind, columns)
        fill(form, kind, [row for row in rows if any(row[column].strip() for column in WRITTEN[kind])])


def fill(form: Form, kind: str, rows: Sequence[Mapping[str, Any]]) -> None:
    fill_rows(form, kind, COLUMNS.get(kind, READ), rows)


def rows_shown(form: Form) -> dict[str, int]:
    """How many rows of each kind are shown: those that are written, a few to begin with, and more where asked for."""
    return {kind: shown_rows(form, kind, ROWS_FIRST[kind], MORE_ROWS) for kind in COLUMNS}


def rows_of(form: Form) -> dict[str, Any]:
    """The rows of each kind as the command takes them."""
    rows: dict[str, list[dict[str, Any]]] = {
        kind: [*read_rows(form, kind, columns)] for kind, columns in COLUMNS.items()
    }
    timed = len(FALLS.get(form.text("fall_kind"), ()))
    rows["fall"] = [{column: form.text(f"fall.{number}.{column}") for column in READ} for number in range(timed)]
    for row in (*rows["elements"], *rows["fall"]):
        row["source"] = row["source"] or Source.TYPED.value
        part_choices(row)
    for row in rows["elements"]:
        row["kind"] = row["kind"] or "resistor"
    for row in rows["questions"]:
        row["how"], row["how_too"] = row["how"] or CONDUCTS, row["how_too"] or RELEASED
    for row in rows["assumptions"]:
        as_assumed(row)
    return rows


def from_stored(session: Session, calculation: Calculation) -> Form:
    """The form filled with what is stored."""
    typed = rows_typed(session, calculation)
    form = Form.blank(**{name: typed[name] for name in SINGLE}, opened_version=calculation.version)
    for kind in ("elements", "fall"):
        fill(form, kind, [join_choices(row) for row in typed[kind]])
    fill(form, "questions", typed["questions"])
    fill_assumptions(form, typed["assumptions"])
    return form


def labels_of(form: Form) -> dict[str, str]:
    """What the summary of messages calls each field: `R2, between which nodes`."""
    return SINGLE_WORDS | labels_of_rows(form, ROW_WORDS, COLUMN_WORDS, "name")
