"""A mod told of roles instead of positions.

A role is what a design calls a position: “series resistor”. What belongs to one machine alone stays behind: days,
parts, what was there before. A value that was measured on that machine goes along as a number, with an assumption that
says so. Reads the record, writes nothing.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from graphlib import TopologicalSorter
from typing import Any

from sqlmodel import Session, col, select

from server.engineering.quantities import show
from server.records.errors import Refused
from server.records.questions.mods import StepLine, steps_of
from server.records.questions.sums import TiedInput, tied_inputs
from server.records.sums import Readings, read_cases
from server.records.tables import Board, Calculation, Expectation, Machine, Mod, Position, Procedure
from server.records.words import Case, Source, StepKind

Rows = list[dict[str, Any]]
MEASURED = (Source.TRIAL, Source.WAVEFORM)


@dataclass(frozen=True, slots=True)
class Place:
    """A position that a mod's steps or sums speak of, what they do there, and what it could be called."""

    position: Position
    board: Board
    uses: tuple[str, ...]
    suggestion: str


def places_of(session: Session, mod: Mod) -> list[Place]:
    """Every position that a mod concerns: those of its steps first, then those that only its sums read."""
    found: dict[int, Place] = {}
    for line in steps_of(session, mod):
        if line.position and line.board:
            _add(found, line.position, line.board, f"step {line.step.number}: {line.step.kind}", "")
    for calculation in _calculations(session, mod):
        for tied in tied_inputs(session, calculation):
            if tied.position and tied.board:
                use = f"calculation {calculation.number}: {tied.entry.name}"
                _add(found, tied.position, tied.board, use, tied.entry.label)
    return list(found.values())


def _add(found: dict[int, Place], position: Position, board: Board, use: str, label: str) -> None:
    known = found.get(position.key)
    uses = (*known.uses, use) if known else (use,)
    plain = f"{position.kind} {position.designator}"
    suggestion = known.suggestion if known and known.suggestion != plain else label or plain
    found[position.key] = Place(position, board, uses, suggestion)


def written(session: Session, machine: Machine, mod: Mod, names: Mapping[int, str]) -> dict[str, Any]:
    """The roles, steps, calculations and expectations of a mod; `names` gives each position's role."""
    calculations = _in_turn(session, _calculations(session, mod))
    place = {calculation.key: number for number, calculation in enumerate(calculations, start=1)}
    return {
        "roles": [_role(found, names) for found in places_of(session, mod)],
        "steps": [_step(line, names) for line in steps_of(session, mod)],
        "calculations": [_calculation(session, machine, row, names, place) for row in calculations],
        "expectations": _expectations(session, mod, place),
    }


def _calculations(session: Session, mod: Mod) -> Sequence[Calculation]:
    query = select(Calculation).where(Calculation.mod_id == mod.id).order_by(col(Calculation.number))
    return session.exec(query).all()


def _in_turn(session: Session, calculations: Sequence[Calculation]) -> list[Calculation]:
    """Each sum after those of which it reads a line."""
    known = {calculation.key: calculation for calculation in calculations}
    reads = {
        key: [tied.other.key for tied in tied_inputs(session, calculation) if tied.other]
        for key, calculation in known.items()
    }
    return [known[key] for key in TopologicalSorter(reads).static_order()]


def _role(place: Place, names: Mapping[int, str]) -> dict[str, Any]:
    return {
        "name": names[place.position.key],
        "kind": place.position.kind,
        "board_kind": place.board.kind,
        "board": place.board.slug,
        "designator": place.position.designator,
    }


def _step(line: StepLine, names: Mapping[int, str]) -> dict[str, Any]:
    step = line.step
    fitted = line.part if step.kind == StepKind.FIT else None
    unplanned = fitted is not None and not (step.planned_type or step.planned_value)
    return {
        "kind": step.kind,
        "role": names.get(step.position_id or 0, ""),
        "pin": step.pin,
        "instruction": step.instruction,
        "planned_type": fitted.type if fitted and unplanned else step.planned_type,
        "planned_value": fitted.value if fitted and unplanned else step.planned_value,
        "trace_stated": step.trace_stated,
        "trace_reason": step.trace_reason,
    }


def _calculation(
    session: Session, machine: Machine, calculation: Calculation, names: Mapping[int, str], place: Mapping[int, int]
) -> dict[str, Any]:
    readings = read_cases(session, calculation)[Case.STOCK]
    tied = tied_inputs(session, calculation)
    return {
        "title": calculation.title,
        "method": calculation.method,
        "note": calculation.note,
        "inputs": [_input(calculation, one, names, place, readings) for one in tied],
        "lines": calculation.lines,
        "limits": calculation.limits,
        "assumptions": [
            *({"sentence": one["sentence"], "tested": False, "note": ""} for one in calculation.assumptions),
            *(_measured_elsewhere(machine, one, readings) for one in tied if one.entry.source in MEASURED),
        ],
    }


def _input(
    calculation: Calculation, tied: TiedInput, names: Mapping[int, str], place: Mapping[int, int], readings: Readings
) -> dict[str, Any]:
    entry = tied.entry
    plain = {"name": entry.name, "label": entry.label, "unit": entry.unit}
    if entry.source in MEASURED:
        value = readings[entry.name].value
        if value is None:
            said = f"Calculation {calculation.number} has no value for {entry.name}: {readings[entry.name].problem}"
            raise Refused(f"{said} Put that right before a design is made of the mod.")
        return plain | {"source": Source.TYPED.value, "text": show(value)}
    if tied.position:
        role = names[tied.position.key]
        return plain | {"source": Source.PART.value, "role": role, "when_empty": entry.when_empty}
    if tied.other:
        number = place[tied.other.key]
        return plain | {"source": Source.LINE.value, "other_calculation": number, "other_line": entry.other_line}
    return plain | {"source": Source.TYPED.value, "text": entry.text}


def _measured_elsewhere(machine: Machine, tied: TiedInput, readings: Readings) -> dict[str, Any]:
    reading = readings[tied.entry.name]
    value = show(reading.value) if reading.value else ""
    what = tied.entry.label or tied.entry.name
    sentence = f"{what} is {value}, as measured on {machine.tag} ({reading.origin}); measure it on this machine."
    return {"sentence": sentence[0].upper() + sentence[1:], "tested": False, "note": ""}


def _expectations(session: Session, mod: Mod, place: Mapping[int, int]) -> Rows:
    query = (
        select(Expectation, Procedure)
        .outerjoin(Procedure, col(Procedure.id) == col(Expectation.procedure_id))
        .where(Expectation.mod_id == mod.id)
        .order_by(col(Expectation.number))
    )
    return [
        {
            "sentence": one.sentence,
            "procedure": str(procedure.uuid) if procedure else "",
            "sense": one.sense,
            "bound": one.bound,
            "calculation": place[one.calculation_id] if one.calculation_id else None,
            "line": one.line,
        }
        for one, procedure in session.exec(query)
    ]
