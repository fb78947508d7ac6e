"""A calculation as it is typed, row by row, and what can be said of it without asking the record.

Each fault is told beside its field: `lines.0.expression`, `inputs.2.text`, `limits.1.value`.
"""

from collections.abc import Callable
from functools import partial
from typing import Literal

from server.engineering import calculations as engine
from server.engineering.errors import BadLimit, BadName, DimensionMismatch, DuplicateName, EngineeringError
from server.engineering.formulas import compile_line
from server.engineering.line_order import plan
from server.engineering.methods import MethodInput
from server.engineering.quantities import Toleranced, parse
from server.engineering.units import check_unit
from server.records.commands.base import Command, Line, NeededLine, OptionalInt, Prose, shown
from server.records.errors import Invalid
from server.records.sums import inputs_asked, why_not
from server.records.words import Source

# How many rows of each kind fit, and the field that says so when there are more.
ROWS_MOST = ((40, "inputs", "name"), (60, "lines", "name"), (40, "limits", "line"), (40, "assumptions", "sentence"))
# What an input needs beside its name, by where its value comes from.
TIES = {
    Source.PART: ("board", "designator"),
    Source.TRIAL: ("trial",),
    Source.WAVEFORM: ("waveform", "figure"),
    Source.LINE: ("other_calculation", "other_line"),
}


class InputFields(Command):
    """One input of a calculation."""

    name: NeededLine
    label: Line = ""
    unit: Line = ""
    source: Source = Source.TYPED
    text: Line = ""
    board: str = ""
    designator: Line = ""
    when_empty: Line = ""
    trial: OptionalInt = None
    waveform: OptionalInt = None
    figure: Line = ""
    other_calculation: OptionalInt = None
    other_line: Line = ""


class LineFields(Command):
    """One line: a name, an expression, and the unit to show it in."""

    name: NeededLine
    expression: Prose
    unit: Line = ""
    label: Line = ""


class LimitFields(Command):
    """What a line must keep to, and on what that rests."""

    line: NeededLine
    kind: Literal["at_least", "at_most", "between"]
    value: NeededLine
    basis: Line = ""


class AssumptionFields(Command):
    """A sentence that the sum takes for granted and a person can go and test."""

    sentence: NeededLine
    tested: bool = False
    note: Line = ""


class CalculationFields(Command):
    title: NeededLine
    method: Line = ""
    note: Prose = ""
    inputs: list[InputFields] = []
    lines: list[LineFields] = []
    limits: list[LimitFields] = []
    assumptions: list[AssumptionFields] = []


def check(command: CalculationFields) -> None:
    """What can be said of each field without the record: names, formulas, values."""
    faults = _too_many(command)
    for number, line in enumerate(command.lines):
        faults |= _line_faults(number, line)
    asked = inputs_asked(command.method)
    for number, entry in enumerate(command.inputs):
        faults |= _input_faults(number, entry, asked.get(entry.name))
    names = {entry.name for entry in command.inputs} | {line.name for line in command.lines}
    for number, limit in enumerate(command.limits):
        if limit.value not in names and (problem := _limit_fault(limit)):
            faults[f"limits.{number}.value"] = problem
        if limit.line not in {line.name for line in command.lines}:
            faults[f"limits.{number}.line"] = f"There is no line {limit.line}."
    if faults := faults or _fault_of_the_whole(command):
        raise Invalid(faults)


def _too_many(command: CalculationFields) -> dict[str, str]:
    faults: dict[str, str] = {}
    if not command.lines:
        faults["lines.0.expression"] = "A calculation needs at least one line."
    for most, name, first in ROWS_MOST:
        if (count := len(getattr(command, name))) > most:
            faults[f"{name}.0.{first}"] = f"There are {count} {name}; at most {most} fit."
    return faults


def _line_faults(number: int, line: LineFields) -> dict[str, str]:
    faults = {}
    try:
        compile_line(line.expression)
    except EngineeringError as fault:
        faults[f"lines.{number}.expression"] = str(fault)
    if line.unit and (problem := _said_of(check_unit, line.unit)):
        faults[f"lines.{number}.unit"] = problem
    return faults


def _limit_fault(limit: LimitFields) -> str:
    if problem := _unreadable(limit.value, ""):
        return problem
    if limit.kind == "between" and parse(limit.value).is_exact:
        return "A band needs two ends or a tolerance, such as 4.75..5.25 V."
    return ""


def _fault_of_the_whole(command: CalculationFields) -> dict[str, str]:
    """What is wrong between the rows: names used twice or not there, lines that wait for one another."""
    any_value = Toleranced(1.0, 1.0, 1.0, "")
    inputs = tuple(engine.Input(entry.name, any_value) for entry in command.inputs)
    lines = tuple(engine.Line(line.name, line.expression) for line in command.lines)
    try:
        plan(engine.Calculation(inputs, lines))
    except EngineeringError as fault:
        return {field_at_fault(command, fault): str(fault)}
    return {}


def field_at_fault(command: CalculationFields, fault: EngineeringError) -> str:
    """The field that a refusal of the engineering core speaks of; the whole form's, where it names none."""
    lines = [line.name for line in command.lines]
    if isinstance(fault, BadName | DuplicateName):
        named = [(f"inputs.{number}.name", entry.name) for number, entry in enumerate(command.inputs)]
        named += [(f"lines.{number}.name", name) for number, name in enumerate(lines)]
        return next((field for field, name in reversed(named) if name == fault.name), "")
    line = getattr(fault, "line", None)
    if line not in lines:
        return ""
    if isinstance(fault, BadLimit):
        return f"limits.{[limit.line for limit in command.limits].index(line)}.value"
    of_unit = isinstance(fault, DimensionMismatch) and fault.name == line
    return f"lines.{lines.index(line)}.{'unit' if of_unit else 'expression'}"


def _input_faults(number: int, entry: InputFields, asked: MethodInput | None) -> dict[str, str]:
    faults = {}
    if entry.unit and (problem := _said_of(check_unit, entry.unit)):
        faults[f"inputs.{number}.unit"] = problem
    if entry.source is Source.TYPED and (problem := _unacceptable(entry.text, entry.unit, asked)):
        faults[f"inputs.{number}.text"] = problem
    if entry.when_empty and (problem := _unacceptable(entry.when_empty, entry.unit, asked)):
        faults[f"inputs.{number}.when_empty"] = problem
    if entry.source is Source.PART and not entry.designator:
        faults[f"inputs.{number}.designator"] = "Say at which position the part is, such as R7."
    if entry.source is Source.TRIAL and entry.trial is None:
        faults[f"inputs.{number}.trial"] = "Say which trial's mean is read."
    if entry.source is Source.WAVEFORM and (entry.waveform is None or not entry.figure):
        faults[f"inputs.{number}.figure"] = "Say which figure of which waveform is read."
    if entry.source is Source.LINE and (entry.other_calculation is None or not entry.other_line):
        faults[f"inputs.{number}.other_line"] = "Say which calculation and which of its lines is read."
    return faults


def _unacceptable(text: str, unit: str, asked: MethodInput | None) -> str:
    """What is wrong with a value as typed; where a method asks for it, that it is outside the method's range too."""
    if (problem := _unreadable(text, unit)) or asked is None:
        return problem
    return why_not(asked, parse(text, unit=unit or None))


def _unreadable(text: str, unit: str) -> str:
    return _said_of(partial(parse, unit=unit or None), text)


def _said_of(read: Callable[[str], object], text: str) -> str:
    """What the engineering core says against a text; empty when it can be read."""
    try:
        read(text)
    except EngineeringError as fault:
        return str(fault)
    return ""


def as_tied(entry: InputFields) -> dict[str, str]:
    """An input as it will be stored: what its source does not need is left out."""
    typed = {name: shown(value) for name, value in entry.columns(InputFields).items()}
    needed = TIES.get(entry.source, ())
    return typed | {name: "" for tied in TIES.values() for name in tied if name not in needed}
