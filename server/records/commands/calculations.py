"""Attaching sums to a mod, revising them, and keeping their results."""

from collections import defaultdict
from graphlib import TopologicalSorter
from typing import Any

from sqlmodel import col, select

from server.engineering import calculations as engine
from server.engineering.errors import EngineeringError
from server.engineering.quantities import same_dimension
from server.records.commands.base import Command, Line, change, expect_version, part_changed
from server.records.commands.mods import called
from server.records.commands.sum_rows import (
    AssumptionFields,
    CalculationFields,
    InputFields,
    LimitFields,
    LineFields,
    as_tied,
    check,
    field_at_fault,
)
from server.records.errors import Invalid, NotFound, Refused
from server.records.questions.addresses import (
    find_board,
    find_calculation,
    find_machine,
    find_mod,
    find_position,
    find_trial,
    find_waveform,
    next_number,
)
from server.records.questions.stays import home_of
from server.records.questions.sums import tied_inputs
from server.records.questions.waveforms import FIGURES, figures_of, why_none
from server.records.sums import InputMissing, build, digest_of, inputs_of, latest_run, read_cases, run
from server.records.tables import Calculation, CalculationInput, Machine, Mod, Waveform
from server.records.words import Source
from server.records.work import Entry, Work, handles

__all__ = [
    "AssumptionFields",
    "AttachCalculation",
    "InputFields",
    "LimitFields",
    "LineFields",
    "ReviseCalculation",
    "RunCalculation",
    "TickAssumption",
]

# The field that names what an input is tied to, by the kind of record that was not found.
FIELD_OF = {"board": "board", "position": "designator", "trial": "trial", "waveform": "waveform"}


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


class TickAssumption(Command):
    """Say that an assumption was tested, or was not after all, and how; what the sum comes to stays as it is."""

    machine: str
    mod: int
    calculation: int
    number: int
    tested: bool = False
    note: Line = ""
    opened_version: int


@handles(AttachCalculation)
def attach_calculation(work: Work, command: AttachCalculation) -> Entry:
    machine = find_machine(work.session, command.machine)
    mod = find_mod(work.session, machine, command.mod)
    check(command)
    calculation = add_calculation(work, mod, _calculation_columns(command))
    store_inputs(work, machine, mod, calculation, command.inputs)
    _check_evaluates(work, calculation, command)
    work.add(run(work.session, calculation, "first run"))
    words = f"{called(machine, mod)} has calculation {calculation.number}: {calculation.title}."
    return Entry("attach calculation", calculation, words, machine)


@handles(ReviseCalculation)
def revise_calculation(work: Work, command: ReviseCalculation) -> Entry:
    machine = find_machine(work.session, command.machine)
    mod = find_mod(work.session, machine, command.mod)
    calculation = find_calculation(work.session, mod, command.calculation)
    if calculation.circuit is not None:
        raise Refused(f"Calculation {calculation.number} is a circuit: revise it as one.")
    values = _calculation_columns(command)
    typed = [as_tied(entry) for entry in command.inputs]
    stored = [tied.as_typed() for tied in tied_inputs(work.session, calculation)]
    expect_version("calculation", calculation, command.opened_version, values | {"inputs": typed}, {"inputs": stored})
    check(command)
    said = change(calculation, values)
    if typed != stored:
        replace_inputs(work, machine, mod, calculation, command.inputs)
        said = "; ".join(filter(None, [said, "inputs rewritten"]))
    _check_evaluates(work, calculation, command)
    keep_if_changed(work, calculation, "revised")
    words = f"{called(machine, mod)} calculation {calculation.number}: {said or 'run again'}."
    return Entry("revise calculation", calculation, words, machine)


@handles(RunCalculation)
def run_calculation(work: Work, command: RunCalculation) -> Entry:
    machine = find_machine(work.session, command.machine)
    mod = find_mod(work.session, machine, command.mod)
    calculation = find_calculation(work.session, mod, command.calculation)
    work.add(run(work.session, calculation, "run again"))
    words = f"{called(machine, mod)} calculation {calculation.number} was run again."
    return Entry("run calculation", calculation, words, machine)


@handles(TickAssumption)
def tick_assumption(work: Work, command: TickAssumption) -> Entry:
    machine = find_machine(work.session, command.machine)
    mod = find_mod(work.session, machine, command.mod)
    calculation = find_calculation(work.session, mod, command.calculation)
    place = command.number - 1
    if not 0 <= place < len(calculation.assumptions):
        raise NotFound("assumption", command.number)
    ticked = {"tested": command.tested, "note": command.note}
    expect_version("calculation", calculation, command.opened_version, ticked, calculation.assumptions[place])
    rows = [dict(row) for row in calculation.assumptions]
    rows[place] |= ticked
    change(calculation, {"assumptions": rows})
    said = "tested" if command.tested else "not tested"
    words = f"{called(machine, mod)} calculation {calculation.number}, assumption {command.number}: "
    return Entry(
        "tick assumption", calculation, f"{words}{said}{f' ({command.note})' if command.note else ''}.", machine
    )


def keep_if_changed(work: Work, calculation: Calculation, reason: str) -> None:
    """Run again beside the old result when what it rests on has changed."""
    kept = latest_run(work.session, calculation)
    if kept is None or kept.digest != digest_of(calculation, read_cases(work.session, calculation)):
        work.add(run(work.session, calculation, reason))


def run_touched(work: Work) -> None:
    """After an act that changed parts at positions, trials, or what a mod does: the sums resting on it run again."""
    reasons = dict.fromkeys(_of_mods(work), "the mod’s steps or state were changed")
    reasons |= dict.fromkeys(_reading(work, "trial_id", work.touched_trials), "a trial it reads was changed")
    reasons |= dict.fromkeys(_reading(work, "waveform_id", work.touched_waveforms), "a waveform it reads was changed")
    reasons |= dict.fromkeys(_reading(work, "position_id", work.touched_positions), "a part it reads was changed")
    for key in _in_turn(work, set(reasons)):
        reason = reasons.get(key, "a sum it reads was changed")
        keep_if_changed(work, work.session.get_one(Calculation, key), reason)


def _of_mods(work: Work) -> list[int]:
    if not work.touched_mods:
        return []
    query = select(Calculation.id).where(col(Calculation.mod_id).in_(work.touched_mods))
    return [key for key in work.session.exec(query) if key is not None]


def _reading(work: Work, column: str, touched: set[int]) -> list[int]:
    """The sums with an input tied to any of these rows. Compared here: a parts list touches thousands."""
    if not touched:
        return []
    tied = col(getattr(CalculationInput, column))
    query = select(CalculationInput.calculation_id, tied).where(tied.is_not(None))
    return [calculation for calculation, key in work.session.exec(query) if key in touched]


def _in_turn(work: Work, touched: set[int]) -> list[int]:
    """These sums and all that read a line of them, directly or through others; each after those that it reads."""
    links = select(CalculationInput.calculation_id, CalculationInput.other_calculation_id).where(
        col(CalculationInput.other_calculation_id).is_not(None)
    )
    reads, readers = defaultdict[int, set[int]](set), defaultdict[int, set[int]](set)
    for reader, read in work.session.exec(links):
        if read is not None:
            reads[reader].add(read)
            readers[read].add(reader)
    waiting, affected = set(touched), set[int]()
    while waiting:
        affected |= waiting
        waiting = set[int]().union(*(readers[key] for key in waiting)) - affected
    return list(TopologicalSorter({key: reads[key] & affected for key in sorted(affected)}).static_order())


def _calculation_columns(command: CalculationFields) -> dict[str, Any]:
    columns = command.columns(CalculationFields)
    del columns["inputs"]
    return columns


def _input_columns(entry: InputFields) -> dict[str, Any]:
    tied_to = as_tied(entry)
    columns = entry.columns(InputFields) | {name: tied_to[name] for name in ("other_line", "figure")}
    for tied in ("board", "designator", "trial", "waveform", "other_calculation"):
        del columns[tied]
    return columns


def replace_inputs(work: Work, machine: Machine, mod: Mod, calculation: Calculation, new: list[InputFields]) -> None:
    known = {(old.name, old.position_id): old.role for old in inputs_of(work.session, calculation)}
    for old in inputs_of(work.session, calculation):
        work.session.delete(old)
    part_changed(calculation)
    work.session.flush()
    store_inputs(work, machine, mod, calculation, new)
    for entry in inputs_of(work.session, calculation):
        entry.role = known.get((entry.name, entry.position_id), "")


def add_calculation(work: Work, mod: Mod, columns: dict[str, Any]) -> Calculation:
    """A mod's next calculation, without its inputs yet."""
    number = next_number(work.session, Calculation.number, Calculation.mod_id == mod.id)
    return work.add(Calculation(mod_id=mod.key, number=number, **columns))


def store_inputs(work: Work, machine: Machine, mod: Mod, calculation: Calculation, inputs: list[InputFields]) -> None:
    for number, entry in enumerate(inputs):
        stored = CalculationInput(calculation_id=calculation.key, place=number, **_input_columns(entry))
        try:
            _tie(work, machine, mod, calculation, entry, stored)
        except NotFound as missing:
            field = FIELD_OF.get(missing.kind, "other_calculation")
            raise Invalid({f"inputs.{number}.{field}": str(missing)}) from None
        except Refused as refusal:
            raise Invalid({f"inputs.{number}.{field}": said for field, said in refusal.messages.items()}) from None
        work.session.add(stored)
    work.session.flush()


def _tie(
    work: Work, machine: Machine, mod: Mod, calculation: Calculation, entry: InputFields, stored: CalculationInput
) -> None:
    session = work.session
    if entry.source is Source.PART:
        board = find_board(session, home_of(session, mod), entry.board)
        stored.position_id = find_position(session, board, entry.designator).key
    elif entry.source is Source.TRIAL and entry.trial is not None:
        stored.trial_id = find_trial(session, machine, entry.trial).key
    elif entry.source is Source.WAVEFORM and entry.waveform is not None:
        waveform = find_waveform(session, machine, entry.waveform)
        _check_figure(waveform, entry)
        stored.waveform_id = waveform.key
    elif entry.source is Source.LINE and entry.other_calculation is not None:
        other = find_calculation(session, mod, entry.other_calculation)
        _check_no_circle(work, calculation, other)
        if entry.other_line not in {line["name"] for line in other.lines}:
            raise Refused(f"Calculation {other.number} has no line {entry.other_line}.", "other_line")
        stored.other_calculation_id = other.key


def _check_figure(waveform: Waveform, entry: InputFields) -> None:
    value = figures_of(waveform).get(entry.figure)
    if value is None:
        raise Refused(why_none(waveform, entry.figure), "figure")
    if entry.unit and not same_dimension(value.unit, entry.unit):
        raise Refused(f"The {FIGURES[entry.figure]} is in {value.unit}, and {entry.unit} is expected here.", "figure")


def _check_no_circle(work: Work, calculation: Calculation, other: Calculation) -> None:
    waiting, seen = [other.key], set()
    while waiting:
        key = waiting.pop()
        if key == calculation.key:
            raise Refused(
                "The two calculations would wait for each other: one reads a line of the other already.",
                "other_calculation",
            )
        seen.add(key)
        reads = select(CalculationInput.other_calculation_id).where(CalculationInput.calculation_id == key)
        waiting += [found for found in work.session.exec(reads) if found is not None and found not in seen]


def _check_evaluates(work: Work, calculation: Calculation, command: CalculationFields) -> None:
    """A sum that fails for every case for a reason of its own is not stored; one that only lacks a part is."""
    problems = []
    for readings in read_cases(work.session, calculation).values():
        try:
            engine.evaluate(build(calculation, readings))
        except InputMissing:
            continue
        except EngineeringError as fault:
            problems.append(fault)
        else:
            return
    if problems:
        raise Refused(str(problems[0]), field_at_fault(command, problems[0]))
