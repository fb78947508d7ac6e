"""Attaching circuits to a mod and revising them. A circuit is a calculation: it is run and ticked off as one."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from server.engineering.errors import EngineeringError
from server.engineering.quantities import Toleranced, figure, same_dimension
from server.records.circuit_kinds import KINDS
from server.records.circuit_lines import limits_declared, lines_declared
from server.records.circuits import ValueMissing, solved
from server.records.commands.base import change, expect_version
from server.records.commands.calculations import add_calculation, keep_if_changed, replace_inputs, store_inputs
from server.records.commands.circuit_checks import check_circuit, field_at_fault
from server.records.commands.circuit_rows import (
    CircuitFields,
    ElementFields,
    Given,
    QuestionFields,
    ValueFields,
    as_typed,
    circuit_of,
    inputs_of_rows,
)
from server.records.commands.mods import called
from server.records.commands.sum_rows import as_tied
from server.records.errors import Invalid, NotFound, Refused
from server.records.questions.addresses import find_calculation, find_machine, find_mod
from server.records.questions.circuits import rows_typed
from server.records.questions.sums import tied_inputs
from server.records.sums import Readings, read_cases, run
from server.records.tables import Calculation, Position
from server.records.words import PartKind, Source
from server.records.work import Entry, Work, handles

# Places that never hold a part with one value of its own, unless it is written on the part.
VALUELESS = (PartKind.CHIP, PartKind.CONNECTOR, PartKind.MODULE)

__all__ = ["AttachCircuit", "ElementFields", "QuestionFields", "ReviseCircuit", "ValueFields"]


class AttachCircuit(CircuitFields):
    machine: str
    mod: int


class ReviseCircuit(CircuitFields):
    machine: str
    mod: int
    calculation: int
    opened_version: int


@handles(AttachCircuit)
def attach_circuit(work: Work, command: AttachCircuit) -> Entry:
    machine = find_machine(work.session, command.machine)
    mod = find_mod(work.session, machine, command.mod)
    check_circuit(command)
    calculation = add_calculation(work, mod, _columns(command))
    given = inputs_of_rows(command)
    with _beside(given):
        store_inputs(work, machine, mod, calculation, [one.entry for one in given])
    _check_solves(work, calculation, command)
    work.add(run(work.session, calculation, "first run"))
    words = f"{called(machine, mod)} has calculation {calculation.number}, a circuit: {calculation.title}."
    return Entry("attach circuit", calculation, words, machine)


@handles(ReviseCircuit)
def revise_circuit(work: Work, command: ReviseCircuit) -> Entry:
    machine = find_machine(work.session, command.machine)
    mod = find_mod(work.session, machine, command.mod)
    calculation = find_calculation(work.session, mod, command.calculation)
    if calculation.circuit is None:
        raise NotFound("circuit", command.calculation)
    check_circuit(command)
    stored = rows_typed(work.session, calculation)
    expect_version("calculation", calculation, command.opened_version, as_typed(command), stored)
    given = inputs_of_rows(command)
    said = change(calculation, _columns(command))
    if [as_tied(one.entry) for one in given] != [tied.as_typed() for tied in tied_inputs(work.session, calculation)]:
        with _beside(given):
            replace_inputs(work, machine, mod, calculation, [one.entry for one in given])
        said = "; ".join(filter(None, [said, "values rewritten"]))
    _check_solves(work, calculation, command)
    keep_if_changed(work, calculation, "revised")
    words = f"{called(machine, mod)} calculation {calculation.number}: {said or 'run again'}."
    return Entry("revise circuit", calculation, words, machine)


def _columns(command: CircuitFields) -> dict[str, Any]:
    circuit = circuit_of(command)
    return {
        "title": command.title,
        "note": command.note,
        "circuit": circuit,
        "lines": lines_declared(circuit),
        "limits": limits_declared(circuit),
        "assumptions": command.columns(CircuitFields)["assumptions"],
    }


@contextmanager
def _beside(given: list[Given]) -> Iterator[None]:
    """What is refused of an input is said beside the field in which it was typed."""
    try:
        yield
    except Invalid as fault:
        raise Invalid({_typed_at(given, name): said for name, said in fault.messages.items()}) from None


def _typed_at(given: list[Given], name: str) -> str:
    kind, _, rest = name.partition(".")
    number, _, field = rest.partition(".")
    if kind != "inputs" or not number.isdecimal():
        return name
    row = given[int(number)].field
    return f"{row}.{field}" if row.count(".") == 1 and not row.endswith(".more") else row


def _check_solves(work: Work, calculation: Calculation, command: CircuitFields) -> None:
    """A circuit that comes to nothing in any case for a reason of its own is not stored; one that lacks a part is."""
    problems = []
    cases = read_cases(work.session, calculation)
    _check_places(work, calculation, command, [*cases.values()])
    for readings in cases.values():
        try:
            solved(calculation, readings)
        except ValueMissing:
            continue
        except EngineeringError as fault:
            problems.append(fault)
        else:
            return
    if problems:
        raise Refused(f"{str(problems[0]).rstrip('.')}.", field_at_fault(command, problems[0]))


def _check_places(work: Work, calculation: Calculation, command: CircuitFields, cases: list[Readings]) -> None:
    """A part that has no value in any case, or always one of another sort, is told of beside its position."""
    places = {tied.entry.name: tied.position for tied in tied_inputs(work.session, calculation)}
    faults = {}
    for number, row in enumerate(command.elements):
        at = places.get(row.name)
        if row.source is Source.PART and at is not None:
            values = [value for readings in cases if (value := readings[row.name].value)]
            if said := _misplaced(row, at, values):
                faults[f"elements.{number}.designator"] = said
    if faults:
        raise Invalid(faults)


def _misplaced(row: ElementFields, at: Position, values: list[Toleranced]) -> str:
    """Why no case can have an element's value from this position; empty where one can."""
    asked = KINDS[row.kind].value
    if not values and at.kind in VALUELESS and not row.when_empty:
        return (
            f"{at.designator} is a place for a {at.kind}, and none with a {asked.word} is recorded there. Name another "
            "place, or say what stands there where it is empty."
        )
    if values and not any(same_dimension(value.unit, asked.unit) for value in values):
        wanted = f"{asked.word} in {asked.unit}" if asked.unit else f"{asked.word}, a plain number,"
        there = figure(values[0].nominal, values[0].unit)
        return f"What is recorded at {at.designator} is {there}; a {wanted} is asked for."
    return ""
