"""The form that writes a sum: its rows on their way to a command and back, from a method, or from what is stored.

Rows are fields with numbers: `inputs.0.name`, `lines.2.expression`. An input that a method asks for keeps its name and
unit out of sight, and a constant of the method is only told. It knows forms and methods, and no request.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from sqlmodel import Session

from server.engineering import calculations as engine
from server.engineering.methods import Method, MethodConstant, MethodInput
from server.engineering.quantities import show
from server.pages.form_rows import fill_rows, labels_of_rows, read_rows, shown_rows, take_rows
from server.pages.forms import Form
from server.pages.results import KINDS
from server.records.questions.sums import tied_inputs
from server.records.tables import Calculation
from server.records.words import Source

Words = list[tuple[str, str]]

COLUMNS: dict[str, tuple[str, ...]] = {
    "inputs": (
        "name", "label", "unit", "source", "text", "board", "designator", "when_empty", "trial", "figure", "other",
    ),
    "lines": ("name", "expression", "unit", "label"),
    "limits": ("line", "kind", "value", "basis"),
    "assumptions": ("sentence", "tested", "note"),
}  # fmt: skip
# Columns that always hold a word, or that a person does not write here: they do not make a row one that was written.
GIVEN = {"source", "board", "trial", "figure", "other", "kind", "tested", "note"}
# Unless the row says that it is one of these choices that tells its value.
CHOSEN = {Source.TRIAL.value, Source.WAVEFORM.value, Source.LINE.value, Source.UNKNOWN.value}
ROWS_FIRST = {"inputs": 3, "lines": 2, "limits": 1, "assumptions": 1}
MORE_ROWS = 3
SOURCES: Words = [
    (Source.TYPED.value, "typed here"),
    (Source.PART.value, "that of the part at a position"),
    (Source.TRIAL.value, "the mean of a trial"),
    (Source.WAVEFORM.value, "a figure of a waveform"),
    (Source.LINE.value, "a line of another calculation"),
    (Source.UNKNOWN.value, "not known yet"),
]
LIMIT_KINDS: Words = list(KINDS.items())
ROW_WORDS = {"inputs": "Input", "lines": "Line", "limits": "Limit", "assumptions": "Assumption"}
COLUMN_WORDS = {
    "text": "value",
    "designator": "position",
    "when_empty": "where it is empty",
    "figure": "figure that is read",
    "other": "line that is read",
    "expression": "formula",
}


@dataclass(frozen=True, slots=True)
class InputRow:
    """One input as the form shows it: one that the method asks for, a constant of the method, or the keeper's own."""

    number: int
    how: Literal["asked", "constant", "own"]
    label: str
    hint: str

    @property
    def prefix(self) -> str:
        return f"inputs.{self.number}."


def compact(form: Form) -> None:
    """Close the gaps between written rows, so that messages and rows keep the same numbers."""
    for kind, columns in COLUMNS.items():
        fill(form, kind, [row for row in take_rows(form, kind, columns) if _is_written(row)])


def _is_written(row: Mapping[str, str]) -> bool:
    typed = any(text.strip() for column, text in row.items() if column not in GIVEN)
    return typed or row.get("source") in CHOSEN


def fill(form: Form, kind: str, rows: Sequence[Mapping[str, Any]]) -> None:
    fill_rows(form, kind, COLUMNS[kind], rows)


def rows_shown(form: Form) -> dict[str, int]:
    """How many rows of each kind are shown: those that are written, a few to begin with, and more where asked for."""
    first = {} if form.text("method") else ROWS_FIRST
    return {kind: shown_rows(form, kind, first.get(kind, 0), MORE_ROWS) for kind in COLUMNS}


def rows_of(form: Form) -> dict[str, Any]:
    """The rows of each kind as the command takes them."""
    rows: dict[str, list[dict[str, Any]]] = {
        kind: [*read_rows(form, kind, columns)] for kind, columns in COLUMNS.items()
    }
    for row in rows["inputs"]:
        part_choices(row)
    for row in rows["assumptions"]:
        as_assumed(row)
    return rows


def part_choices(row: dict[str, Any]) -> None:
    """A waveform and its figure are one choice here; so are a calculation and its line."""
    row["waveform"], _, row["figure"] = row.pop("figure").partition(":")
    row["other_calculation"], _, row["other_line"] = row.pop("other").partition(":")


def join_choices(typed: Mapping[str, str]) -> dict[str, str]:
    """The same the other way round, for a form that is filled with what is stored."""
    read = f"{typed['other_calculation']}:{typed['other_line']}" if typed["other_calculation"] else ""
    figure = f"{typed['waveform']}:{typed['figure']}" if typed["waveform"] else ""
    return {**typed, "figure": figure, "other": read}


def as_assumed(row: dict[str, Any]) -> None:
    row["tested"] = bool(row["tested"])
    row["sentence"] = " ".join(row["sentence"].split())  # a sentence, however its field folds it


def fill_assumptions(form: Form, stored: Sequence[Mapping[str, Any]]) -> None:
    fill(form, "assumptions", [{**row, "tested": "yes" if row["tested"] else ""} for row in stored])


def input_rows(form: Form, method: Method | None, shown: int) -> list[InputRow]:
    """The inputs as the form shows them; one with a message about its name is shown whole."""
    asked = {given.name: given for given in method.inputs} if method else {}
    constants = {fixed.name: fixed for fixed in method.constants} if method else {}
    return [_input_row(form, number, asked, constants) for number in range(shown)]


def _input_row(
    form: Form, number: int, asked: Mapping[str, MethodInput], constants: Mapping[str, MethodConstant]
) -> InputRow:
    prefix = f"inputs.{number}."
    name, label = form.text(f"{prefix}name"), form.text(f"{prefix}label")
    if any(form.errors.get(f"{prefix}{column}") for column in ("name", "label", "unit")):
        return InputRow(number, "own", label, "")
    if (fixed := constants.get(name)) and form.text(f"{prefix}text") == show(fixed.value):
        return InputRow(number, "constant", fixed.label, fixed.source)
    if given := asked.get(name):
        return InputRow(number, "asked", label or given.label, given.where_to_read)
    return InputRow(number, "own", label, "")


def labels_of(form: Form) -> dict[str, str]:
    """What the summary of messages calls each field: `Supply voltage, value`, `Line 2, formula`."""
    return labels_of_rows(form, ROW_WORDS, COLUMN_WORDS, "label")


def beside_their_fields(form: Form) -> None:
    """What is said of a part of a choice is said beside the choice."""
    for name in list(form.errors):
        if name.endswith((".other_calculation", ".other_line")):
            message = form.errors.pop(name)
            form.errors.setdefault(f"{name.rpartition('.')[0]}.other", message)
        elif name.endswith(".waveform"):
            message = form.errors.pop(name)
            form.errors.setdefault(f"{name.rpartition('.')[0]}.figure", message)


def from_stored(session: Session, calculation: Calculation) -> Form:
    """The form filled with what is stored."""
    form = Form.blank(
        title=calculation.title,
        method=calculation.method,
        note=calculation.note,
        opened_version=calculation.version,
    )
    fill(form, "inputs", [join_choices(tied.as_typed()) for tied in tied_inputs(session, calculation)])
    fill(form, "lines", calculation.lines)
    fill(form, "limits", calculation.limits)
    fill_assumptions(form, calculation.assumptions)
    return form


def from_method(method: Method, typed: Mapping[str, str]) -> Form:
    """The form filled from a ready-made method: its lines and limits, and values as `typed`, the usual ones else."""
    form = Form.blank(title=method.title, method=method.slug, note="")
    asked = [
        {"name": given.name, "label": given.label, "unit": given.unit, "source": Source.TYPED.value,
         "text": typed.get(given.name, show(given.usual))}
        for given in method.inputs
    ]  # fmt: skip
    constants = [
        {"name": fixed.name, "label": fixed.label, "unit": fixed.value.unit, "source": Source.TYPED.value,
         "text": show(fixed.value)}
        for fixed in method.constants
    ]  # fmt: skip
    fill(form, "inputs", asked + constants)
    lines = [
        {"name": line.name, "expression": line.expression, "unit": line.unit, "label": line.label}
        for line in method.lines
    ]
    fill(form, "lines", lines)
    limits = [
        {"line": limit.line, "kind": limit.kind, "value": _held_against(limit), "basis": limit.basis}
        for limit in method.limits
    ]
    fill(form, "limits", limits)
    fill(form, "assumptions", [{"sentence": sentence, "tested": "", "note": ""} for sentence in method.assumptions])
    return form


def _held_against(limit: engine.Limit) -> str:
    return limit.value if isinstance(limit.value, str) else show(limit.value)
