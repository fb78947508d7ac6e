"""Attaching sums to a mod, revising them, and keeping their results."""

from typing import Any, Literal

from sqlmodel import col, func, select

from server.engineering import calculations as engine
from server.engineering.errors import EngineeringError
from server.engineering.formulas import compile_line
from server.engineering.quantities import parse
from server.records.commands.base import Command, Line, NeededLine, OptionalInt, Prose, change, expect_version
from server.records.commands.mods import called
from server.records.errors import Invalid, NotFound, Refused
from server.records.questions.addresses import (
    find_board,
    find_calculation,
    find_machine,
    find_mod,
    find_position,
    find_trial,
)
from server.records.sums import InputMissing, build, digest_of, inputs_of, latest_run, read_cases, run
from server.records.tables import Calculation, CalculationInput, Machine, Mod
from server.records.words import Source
from server.records.work import Entry, Work, handles

INPUTS_MOST, LINES_MOST, LIMITS_MOST = 40, 60, 40


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


class AttachCalculation(CalculationFields):
    machine: str
    mod: int


class ReviseCalculation(CalculationFields):
    machine: str
    mod: int
    calculation: int
    opened_version: int


class RunCalculation(Command):
    """Evaluate again with what the record says now, and keep the result beside the old ones."""

    machine: str
    mod: int
    calculation: int


@handles(AttachCalculation)
def attach_calculation(work: Work, command: AttachCalculation) -> Entry:
    machine = find_machine(work.session, command.machine)
    mod = find_mod(work.session, machine, command.mod)
    _check(command)
    last = work.session.exec(select(func.max(Calculation.number)).where(Calculation.mod_id == mod.id)).one()
    calculation = work.add(Calculation(mod_id=mod.key, number=(last or 0) + 1, **_calculation_columns(command)))
    _store_inputs(work, machine, mod, calculation, command.inputs)
    _check_evaluates(work, calculation)
    work.add(run(work.session, calculation, "first run"))
    words = f"{called(machine, mod)} has calculation {calculation.number}: {calculation.title}."
    return Entry("attach calculation", calculation, words, machine)


@handles(ReviseCalculation)
def revise_calculation(work: Work, command: ReviseCalculation) -> Entry:
    machine = find_machine(work.session, command.machine)
    mod = find_mod(work.session, machine, command.mod)
    calculation = find_calculation(work.session, mod, command.calculation)
    values = _calculation_columns(command)
    expect_version("calculation", calculation, command.opened_version, values)
    _check(command)
    said = change(calculation, values)
    for old in inputs_of(work.session, calculation):
        work.session.delete(old)
    work.session.flush()
    _store_inputs(work, machine, mod, calculation, command.inputs)
    _check_evaluates(work, calculation)
    keep_if_changed(work, calculation, "revised")
    words = f"{called(machine, mod)} calculation {calculation.number}: {said or 'inputs rewritten'}."
    return Entry("revise calculation", calculation, words, machine)


@handles(RunCalculation)
def run_calculation(work: Work, command: RunCalculation) -> Entry:
    machine = find_machine(work.session, command.machine)
    mod = find_mod(work.session, machine, command.mod)
    calculation = find_calculation(work.session, mod, command.calculation)
    work.add(run(work.session, calculation, "run again"))
    words = f"{called(machine, mod)} calculation {calculation.number} was run again."
    return Entry("run calculation", calculation, words, machine)


def keep_if_changed(work: Work, calculation: Calculation, reason: str) -> None:
    """Run again beside the old result when what it rests on has changed."""
    kept = latest_run(work.session, calculation)
    if kept is None or kept.digest != digest_of(calculation, read_cases(work.session, calculation)):
        work.add(run(work.session, calculation, reason))


def run_touched(work: Work) -> None:
    """After an act that changed what is at some positions: the sums that read them run again."""
    if not work.touched_positions:
        return
    query = select(CalculationInput.calculation_id, CalculationInput.position_id).where(
        col(CalculationInput.position_id).is_not(None)
    )
    waiting = {row[0] for row in work.session.exec(query) if row[1] in work.touched_positions}
    done: set[int] = set()
    while waiting:
        key = min(waiting)
        calculation = work.session.get_one(Calculation, key)
        keep_if_changed(work, calculation, "a part it reads was changed")
        done.add(key)
        readers = select(CalculationInput.calculation_id).where(CalculationInput.other_calculation_id == key)
        waiting = (waiting | set(work.session.exec(readers))) - done


def _calculation_columns(command: CalculationFields) -> dict[str, Any]:
    columns = command.columns(CalculationFields)
    del columns["inputs"]
    return columns


def _input_columns(entry: InputFields) -> dict[str, Any]:
    columns = entry.columns(InputFields)
    for tied in ("board", "designator", "trial", "other_calculation"):
        del columns[tied]
    return columns


def _check(command: CalculationFields) -> None:
    """What can be said of each field without the record: names, formulas, values."""
    faults: dict[str, str] = {}
    if not command.lines:
        faults["lines.0.expression"] = "A calculation needs at least one line."
    for most, name, rows in (
        (INPUTS_MOST, "inputs", command.inputs),
        (LINES_MOST, "lines", command.lines),
        (LIMITS_MOST, "limits", command.limits),
    ):
        if len(rows) > most:
            faults[f"{name}.0.name"] = f"There are {len(rows)} {name}; at most {most} fit."
    for number, line in enumerate(command.lines):
        try:
            compile_line(line.expression)
        except EngineeringError as fault:
            faults[f"lines.{number}.expression"] = str(fault)
    for number, entry in enumerate(command.inputs):
        faults |= _input_faults(number, entry)
    names = {entry.name for entry in command.inputs}
    for number, limit in enumerate(command.limits):
        if limit.value not in names and (problem := _unreadable(limit.value, "")):
            faults[f"limits.{number}.value"] = problem
        if limit.line not in {line.name for line in command.lines}:
            faults[f"limits.{number}.line"] = f"There is no line {limit.line}."
    if faults:
        raise Invalid(faults)


def _input_faults(number: int, entry: InputFields) -> dict[str, str]:
    faults = {}
    if entry.source is Source.TYPED and (problem := _unreadable(entry.text, entry.unit)):
        faults[f"inputs.{number}.text"] = problem
    if entry.when_empty and (problem := _unreadable(entry.when_empty, entry.unit)):
        faults[f"inputs.{number}.when_empty"] = problem
    if entry.source is Source.PART and not entry.designator:
        faults[f"inputs.{number}.designator"] = "Say at which position the part is, such as R7."
    if entry.source is Source.TRIAL and entry.trial is None:
        faults[f"inputs.{number}.trial"] = "Say which trial's mean is read."
    if entry.source is Source.LINE and (entry.other_calculation is None or not entry.other_line):
        faults[f"inputs.{number}.other_line"] = "Say which calculation and which of its lines is read."
    return faults


def _unreadable(text: str, unit: str) -> str:
    try:
        parse(text, unit=unit or None)
    except EngineeringError as fault:
        return str(fault)
    return ""


def _store_inputs(work: Work, machine: Machine, mod: Mod, calculation: Calculation, inputs: list[InputFields]) -> None:
    names = [entry.name for entry in inputs]
    for number, entry in enumerate(inputs):
        if entry.name in names[:number]:
            raise Invalid({f"inputs.{number}.name": f"Two inputs have the name {entry.name}."})
        stored = CalculationInput(
            calculation_id=calculation.key,
            place=number,
            **_input_columns(entry),
        )
        try:
            _tie(work, machine, mod, calculation, entry, stored)
        except NotFound as missing:
            field = {"board": "board", "position": "designator", "trial": "trial"}.get(
                missing.kind, "other_calculation"
            )
            raise Invalid({f"inputs.{number}.{field}": str(missing)}) from None
        work.session.add(stored)
    work.session.flush()


def _tie(
    work: Work, machine: Machine, mod: Mod, calculation: Calculation, entry: InputFields, stored: CalculationInput
) -> None:
    session = work.session
    if entry.source is Source.PART:
        stored.position_id = find_position(session, find_board(session, machine, entry.board), entry.designator).key
    elif entry.source is Source.TRIAL and entry.trial is not None:
        stored.trial_id = find_trial(session, machine, entry.trial).key
    elif entry.source is Source.LINE and entry.other_calculation is not None:
        other = find_calculation(session, mod, entry.other_calculation)
        _check_no_circle(work, calculation, other)
        stored.other_calculation_id = other.key


def _check_no_circle(work: Work, calculation: Calculation, other: Calculation) -> None:
    waiting, seen = [other.key], set()
    while waiting:
        key = waiting.pop()
        if key == calculation.key:
            raise Refused("The two calculations would wait for each other: one reads a line of the other already.")
        seen.add(key)
        reads = select(CalculationInput.other_calculation_id).where(CalculationInput.calculation_id == key)
        waiting += [found for found in work.session.exec(reads) if found is not None and found not in seen]


def _check_evaluates(work: Work, calculation: Calculation) -> None:
    """A sum that fails for every case for a reason of its own is not stored; one that only lacks a part is."""
    problems = []
    for readings in read_cases(work.session, calculation).values():
        try:
            engine.evaluate(build(calculation, readings))
        except InputMissing:
            continue
        except EngineeringError as fault:
            problems.append(str(fault))
        else:
            return
    if problems:
        raise Refused(problems[0])
