"""A circuit as it is typed, row by row, and what a calculation keeps of it. What is refused is `circuit_checks`'."""

from collections.abc import Iterator
from typing import Any, Literal, NamedTuple

from server.engineering.errors import EngineeringError
from server.engineering.quantities import Toleranced, convert, parse
from server.records.circuit_kinds import KINDS, more_of, nodes_of
from server.records.circuit_lines import CONDUCTING, FALL_UNITS, FALLS, RELEASED
from server.records.commands.base import Command, Line, NeededLine, OptionalInt, Prose
from server.records.commands.sum_rows import AssumptionFields, InputFields, as_tied
from server.records.questions.circuits import ELEMENT, READ
from server.records.words import Source

WATCHED_MOST = 3


class ValueFields(Command):
    """Where one value comes from."""

    source: Source = Source.TYPED
    text: Line = ""
    board: Line = ""
    designator: Line = ""
    when_empty: Line = ""
    trial: OptionalInt = None
    waveform: OptionalInt = None
    figure: Line = ""
    other_calculation: OptionalInt = None
    other_line: Line = ""


class ElementFields(ValueFields):
    """One element: its designator, kind, the nodes that it lies between, and where its value comes from."""

    name: NeededLine
    kind: Line = "resistor"
    nodes: Line = ""
    more: Line = ""
    rating: Line = ""
    basis: Line = ""


class QuestionFields(Command):
    """When something holds, and something else at the same time; and how long that may last."""

    which: Line = ""
    how: Literal["conducts", "no longer conducts", "is above", "is below"] = "conducts"
    value: Line = ""
    which_too: Line = ""
    how_too: Literal["conducts", "no longer conducts", "is above", "is below"] = "no longer conducts"
    value_too: Line = ""
    most: Line = ""
    basis: Line = ""


class CircuitFields(Command):
    title: NeededLine
    note: Prose = ""
    elements: list[ElementFields] = []
    reference: Line = "0"
    sweep_source: Line = ""
    sweep_low: Line = ""
    sweep_high: Line = ""
    watch: Line = ""
    questions: list[QuestionFields] = []
    fall_kind: Literal["", "time constant", "resistor", "steady current", "steady power"] = ""
    fall_start: Line = ""
    fall: list[ValueFields] = []
    assumptions: list[AssumptionFields] = []


class Given(NamedTuple):
    """One input of the calculation and the field of the form that it was typed in."""

    field: str
    entry: InputFields


def inputs_of_rows(command: CircuitFields) -> list[Given]:
    """Every value of a circuit as an input of its calculation: of each element its value first, then what was added."""
    return [*_element_inputs(command), *_fall_inputs(command)]


def _element_inputs(command: CircuitFields) -> Iterator[Given]:
    for number, row in enumerate(command.elements):
        kind = KINDS[row.kind]
        at = f"elements.{number}"
        columns = {name: getattr(row, name) for name in ValueFields.model_fields}
        text = row.text or kind.value.usual
        label = f"{row.name}, {kind.value.word}"
        yield Given(
            at, InputFields(**columns | {"name": row.name, "unit": kind.value.unit, "text": text, "label": label})
        )
        for field, value in more_of(kind, row.more).items():
            asks = kind.asks(field)
            name = f"{row.name}_{field}"
            yield Given(
                f"{at}.more", InputFields(name=name, label=f"{row.name}, {asks.word}", unit=asks.unit, text=value)
            )


def _fall_inputs(command: CircuitFields) -> Iterator[Given]:
    if not command.fall_kind:
        return
    start = command.fall_start or _usual_start(command)
    yield Given("fall_start", InputFields(name="fall_start", label="rail at switch-off", unit="V", text=start))
    for number, field in enumerate(FALLS[command.fall_kind]):
        row = command.fall[number] if number < len(command.fall) else ValueFields()
        columns = {name: getattr(row, name) for name in ValueFields.model_fields}
        own = {"name": f"fall_{field}", "label": f"{field} of the fall", "unit": FALL_UNITS[field]}
        yield Given(f"fall.{number}", InputFields(**columns | own))


def _usual_start(command: CircuitFields) -> str:
    """The upper end of the range; where the source itself stands there, as it is written, with its tolerance."""
    row = next((row for row in command.elements if row.name == command.sweep_source), None)
    if row is None or row.source is not Source.TYPED:
        return command.sweep_high
    try:
        own, end = (convert(parse(text, unit="V"), "V").nominal for text in (row.text, command.sweep_high))
    except EngineeringError:
        return command.sweep_high  # what is wrong with them is told beside them
    return row.text if own == end else command.sweep_high


def circuit_of(command: CircuitFields) -> dict[str, Any]:
    """What a calculation keeps as its circuit."""
    return {
        "elements": [_element_of(row) for row in command.elements],
        "reference": command.reference or "0",
        "sweep": _sweep_of(command),
        "questions": [_question_of(row) for row in command.questions],
        "fall": _fall_of(command),
    }


def _element_of(row: ElementFields) -> dict[str, Any]:
    kind = KINDS[row.kind]
    values = {kind.value.field: row.name}
    values |= {field: f"{row.name}_{field}" for field in more_of(kind, row.more)}
    words = {"more": row.more, "rating": row.rating, "basis": row.basis}
    return {"name": row.name, "kind": row.kind, "nodes": nodes_of(row.nodes), "values": values, **words}


def _sweep_of(command: CircuitFields) -> dict[str, Any] | None:
    if not command.sweep_source:
        return None
    unit = swept_unit(command)
    ends = {name: parse(getattr(command, f"sweep_{name}"), unit=unit) for name in ("low", "high")}
    written = {f"{name}_text": getattr(command, f"sweep_{name}") for name in ends}
    plain = {name: _si(value, unit) for name, value in ends.items()}
    return {"source": command.sweep_source, **plain, **written, "watch": _watched(command), "watch_text": command.watch}


def _si(value: Toleranced, unit: str) -> float:
    return convert(value, unit).nominal


def swept_unit(command: CircuitFields) -> str:
    kinds = {row.name: row.kind for row in command.elements}
    return "A" if kinds.get(command.sweep_source) == "current" else "V"


def _watched(command: CircuitFields) -> list[str]:
    """The nodes that the picture shows: those named, or else those at the first ends of what is asked about."""
    if command.watch:
        return nodes_of(command.watch)
    rows = {row.name: nodes_of(row.nodes) for row in command.elements}
    reference = command.reference or "0"
    asked = [part for question in command.questions for part in (question.which, question.which_too)]
    near = [rows[name][0] if name in rows else name for name in asked if name]
    source = rows.get(command.sweep_source, [""])[0]
    others = [node for nodes in reversed(rows.values()) for node in nodes]
    found = dict.fromkeys(near or others)
    return [node for node in found if node not in (reference, source)][:WATCHED_MOST]


def _question_of(row: QuestionFields) -> dict[str, Any]:
    parts = [{"which": row.which, "how": row.how, "value": row.value or CONDUCTING}]
    if row.which_too:
        parts.append({"which": row.which_too, "how": row.how_too, "value": row.value_too or CONDUCTING})
    return {"parts": parts, "most": row.most, "basis": row.basis}


def _fall_of(command: CircuitFields) -> dict[str, Any] | None:
    if not command.fall_kind:
        return None
    fields = ("start", *FALLS[command.fall_kind])
    return {"kind": command.fall_kind, "values": {field: f"fall_{field}" for field in fields}}


def as_typed(command: CircuitFields) -> dict[str, Any]:
    """The command's columns as they will be stored: usual values written out, and no more of a source than it needs."""
    columns = command.columns(CircuitFields)
    entries = {given.field: as_tied(given.entry) for given in inputs_of_rows(command)}
    elements = [
        row
        | {name: entries[f"elements.{number}"][name] for name in READ}
        | {"nodes": ", ".join(nodes_of(row["nodes"]))}
        for number, row in enumerate(columns["elements"])
    ]
    timed = FALLS[command.fall_kind] if command.fall_kind else ()
    started = entries["fall_start"]["text"] if timed else ""
    return columns | {
        "elements": [{name: row[name] for name in ELEMENT} for row in elements],
        "questions": [_question_typed(row) for row in columns["questions"]],
        "reference": columns["reference"] or "0",
        "fall_start": started,
        "fall": [{name: entries[f"fall.{number}"][name] for name in READ} for number in range(len(timed))],
    }


def _question_typed(row: dict[str, str]) -> dict[str, str]:
    usual = {"value": row["value"] or CONDUCTING, "value_too": row["value_too"] or CONDUCTING}
    alone = {"how_too": RELEASED, "value_too": ""}
    return row | usual | ({} if row["which_too"] else alone)
