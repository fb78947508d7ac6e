"""Calculations on real input: each input's value in the stock, planned and fitted machine, and the kept result.

An input read from a position takes, for one mod,
  stock       the original part that was there first; else what the service literature expects; else the first part;
  as planned  what the mod's steps plan there; else what was there before the mod, or is there now;
  as fitted   what the mod's steps really fitted there; else what is there now.
A position without a part gives the input's `when_empty` value, or a sentence that says what is missing.
"""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import rfc8785
from sqlmodel import Session, col, select

from server.engineering import calculations as engine
from server.engineering.errors import EngineeringError
from server.engineering.methods import MethodInput, load_methods
from server.engineering.quantities import Toleranced, parse
from server.records.circuit_kinds import NOTHING, WIRE
from server.records.circuits import ValueMissing, solved
from server.records.questions.addresses import next_number
from server.records.questions.waveforms import FIGURES, why_none
from server.records.tables import (
    Calculation,
    CalculationInput,
    CalculationRun,
    Mod,
    Part,
    Placement,
    Position,
    Step,
    Trial,
    Waveform,
)
from server.records.values import NOT_FITTED, read_value, why_missing
from server.records.words import Case, ModState, Origin, Source, StepKind


@dataclass(frozen=True, slots=True)
class Reading:
    """One input in one case: its value and where it came from, or why it has none; `label` is what it is."""

    value: Toleranced | None
    origin: str
    problem: str = ""
    label: str = ""


class InputMissing(Exception):
    """An input has no value in this case; the sentence says why."""


Readings = dict[str, Reading]


def inputs_of(session: Session, calculation: Calculation) -> Sequence[CalculationInput]:
    query = select(CalculationInput).where(CalculationInput.calculation_id == calculation.id)
    return session.exec(query.order_by(col(CalculationInput.place))).all()


def latest_run(session: Session, calculation: Calculation) -> CalculationRun | None:
    query = select(CalculationRun).where(CalculationRun.calculation_id == calculation.id)
    return session.exec(query.order_by(col(CalculationRun.number).desc()).limit(1)).first()


def read_cases(session: Session, calculation: Calculation) -> dict[Case, Readings]:
    """Every input in every case, as the record stands now."""
    mod = session.get_one(Mod, calculation.mod_id)
    inputs = inputs_of(session, calculation)
    asked = inputs_asked(calculation.method)

    def read(entry: CalculationInput, case: Case) -> Reading:
        reading = _accepted(_read(session, mod, entry, case), asked.get(entry.name))
        return replace(reading, label=entry.label)

    return {case: {entry.name: read(entry, case) for entry in inputs} for case in Case}


def inputs_asked(method: str) -> Mapping[str, MethodInput]:
    """What a ready-made method asks for, by name; nothing for a sum of the keeper's own."""
    known = load_methods().get(method) if method else None
    return {given.name: given for given in known.inputs} if known else {}


def why_not(asked: MethodInput, value: Toleranced) -> str:
    """Why a method does not take a value for this input, as it is said beside the input's field; empty if it does."""
    try:
        asked.accept(value)
    except EngineeringError as fault:
        said = f"{fault}."
        return f"It{said.removeprefix(asked.label)}" if said.startswith(asked.label) else said
    return ""


def _accepted(reading: Reading, asked: MethodInput | None) -> Reading:
    """The reading as the method takes it; one outside the method's range gives no value, and says why."""
    if asked is None or reading.value is None:
        return reading
    try:
        return replace(reading, value=asked.accept(reading.value))
    except EngineeringError as fault:
        return Reading(None, reading.origin, f"{fault}.")


def digest_of(calculation: Calculation, cases: dict[Case, Readings]) -> str:
    """What a result rests on: lines, limits and every input's value. Equal digests give equal results.

    From where a value came is not part of it: the same value from another place gives the same result.
    """
    basis: dict[str, Any] = {
        "lines": calculation.lines,
        "limits": calculation.limits,
        "cases": {
            case.value: {name: [_value(reading), reading.problem] for name, reading in read.items()}
            for case, read in cases.items()
        },
    }
    if calculation.circuit:
        basis["circuit"] = calculation.circuit
    return hashlib.sha256(rfc8785.dumps(basis)).hexdigest()


def run(session: Session, calculation: Calculation, reason: str) -> CalculationRun:
    """Evaluate the three cases and give the run that is to be kept."""
    cases = read_cases(session, calculation)
    return CalculationRun(
        calculation_id=calculation.key,
        number=next_number(session, CalculationRun.number, CalculationRun.calculation_id == calculation.id),
        reason=reason,
        digest=digest_of(calculation, cases),
        cases={case.value: _evaluated(calculation, read) for case, read in cases.items()},
    )


def build(calculation: Calculation, readings: Readings) -> engine.Calculation:
    """The engineering core's calculation for one case; raises InputMissing or an EngineeringError."""
    inputs = []
    for name, reading in readings.items():
        if reading.value is None:
            raise InputMissing(why_missing(name, reading.problem))
        inputs.append(engine.Input(name, reading.value, reading.label))
    lines = [engine.Line(line["name"], line["expression"], line["unit"], line["label"]) for line in calculation.lines]
    names = {*readings, *(line.name for line in lines)}
    limits = [_limit(limit, names) for limit in calculation.limits]
    return engine.Calculation(tuple(inputs), tuple(lines), tuple(limits), seed=calculation.uuid)


def _evaluated(calculation: Calculation, readings: Readings) -> dict[str, Any]:
    kept: dict[str, Any] = {"inputs": {name: _plain(reading) for name, reading in readings.items()}}
    try:
        if calculation.circuit:
            return kept | solved(calculation, readings)
        result = engine.evaluate(build(calculation, readings))
    except (InputMissing, ValueMissing, EngineeringError) as problem:
        return kept | {"problem": str(problem)}
    return kept | {"result": engine.to_plain(result)}


def _limit(limit: dict[str, Any], names: set[str]) -> engine.Limit:
    """A limit's value is typed, or names an input or another line: both then vary together."""
    text = limit["value"]
    return engine.Limit(limit["line"], limit["kind"], text if text in names else parse(text), limit["basis"])


def _plain(reading: Reading) -> dict[str, Any]:
    return {"value": _value(reading), "origin": reading.origin, "problem": reading.problem}


def _value(reading: Reading) -> dict[str, Any] | None:
    return asdict(reading.value) if reading.value else None


def _read(session: Session, mod: Mod, entry: CalculationInput, case: Case) -> Reading:
    try:
        match entry.source:
            case Source.TYPED:
                return Reading(parse(entry.text, unit=entry.unit or None), "typed")
            case Source.PART:
                return _from_position(session, mod, entry, case)
            case Source.TRIAL:
                return _from_trial(session, entry)
            case Source.WAVEFORM:
                return _from_waveform(session, entry)
            case Source.UNKNOWN:
                return Reading(None, "not known yet", "Not known yet: measure it on this machine, and write it here.")
            case _:
                return _from_line(session, entry, case)
    except EngineeringError as fault:
        return Reading(None, entry.source, str(fault))


def _from_position(session: Session, mod: Mod, entry: CalculationInput, case: Case) -> Reading:
    position = session.get_one(Position, entry.position_id)
    found = _AT[case](session, mod, position)
    if found is None:
        return Reading(None, position.designator, NOT_FITTED)
    if found.text:
        return Reading(read_value(found.text, found.kind), found.origin)
    if entry.when_empty in (WIRE, NOTHING):  # of a circuit's element: what is there instead of it
        return Reading(None, f"nothing at {position.designator}", entry.when_empty)
    if entry.when_empty:
        return Reading(parse(entry.when_empty, unit=entry.unit or None), f"nothing at {position.designator}")
    return Reading(None, position.designator, f"{position.designator} holds no part with a value in this case.")


@dataclass(frozen=True, slots=True)
class _Found:
    """What a position holds in one case: a value as written, the kind of part that it is read as, and its origin."""

    text: str
    kind: str
    origin: str


def _stock(session: Session, mod: Mod, position: Position) -> _Found:  # noqa: ARG001
    query = (
        select(Part)
        .join(Placement, col(Placement.part_id) == col(Part.id))
        .where(Placement.position_id == position.id, col(Placement.fitted_by_step_id).is_(None))
        .order_by(col(Placement.fitted_on).asc().nulls_first(), col(Placement.id))
    )
    first = session.exec(query).first()
    if first and first.origin == Origin.ORIGINAL and first.value:
        return _Found(first.value, first.kind, f"original part at {position.designator}")
    if position.expected_value:
        return _Found(position.expected_value, position.kind, f"service literature for {position.designator}")
    return _of_part(first, position, f"first part at {position.designator}")


def _planned(session: Session, mod: Mod, position: Position) -> _Found:
    steps = _steps_at(session, mod, position)
    fits = [step for step in steps if step.kind == StepKind.FIT]
    if fits and fits[-1].planned_value:
        return _Found(fits[-1].planned_value, position.kind, f"planned in step {fits[-1].number}")
    if fits:
        return _by_step(session, fits[-1], position)
    outs = [step for step in steps if step.kind == StepKind.TAKE_OUT]
    if outs:
        return _Found("", position.kind, f"taken out by step {outs[-1].number}")
    return _present(session, position)


def _fitted(session: Session, mod: Mod, position: Position) -> _Found | None:
    if mod.state in (ModState.CONSIDERED, ModState.DROPPED):
        return None
    steps = _steps_at(session, mod, position)
    # A mod that was undone as a whole is judged by what it was; one partly put back by what still stands of it.
    done = [step for step in steps if step.done_on and (mod.state == ModState.UNDONE or step.undone_on is None)]
    if not done:
        return _present(session, position) if _any_done(session, mod) else None
    if done[-1].kind != StepKind.FIT:
        return _Found("", position.kind, f"taken out by step {done[-1].number}")
    found = _by_step(session, done[-1], position)
    if mod.state == ModState.FITTED and not _sits(session, done[-1], position):
        return replace(found, origin=f"{found.origin}, which another mod has since replaced")
    return found


_AT = {Case.STOCK: _stock, Case.PLANNED: _planned, Case.FITTED: _fitted}


def _steps_at(session: Session, mod: Mod, position: Position) -> Sequence[Step]:
    kinds = (StepKind.TAKE_OUT.value, StepKind.FIT.value)
    query = select(Step).where(Step.mod_id == mod.id, Step.position_id == position.id, col(Step.kind).in_(kinds))
    return session.exec(query.order_by(col(Step.number))).all()


def _any_done(session: Session, mod: Mod) -> bool:
    query = select(Step.id).where(Step.mod_id == mod.id, col(Step.done_on).is_not(None))
    return session.exec(query.limit(1)).first() is not None


def _by_step(session: Session, step: Step, position: Position) -> _Found:
    part = session.get(Part, step.part_id) if step.part_id else None
    return _of_part(part, position, f"fitted by step {step.number}")


def _sits(session: Session, step: Step, position: Position) -> bool:
    """Whether what a step fitted is still what sits at the position."""
    query = select(Placement.part_id).where(Placement.position_id == position.id, col(Placement.removed_on).is_(None))
    return session.exec(query).first() == step.part_id


def _present(session: Session, position: Position) -> _Found:
    query = (
        select(Part)
        .join(Placement, col(Placement.part_id) == col(Part.id))
        .where(Placement.position_id == position.id, col(Placement.removed_on).is_(None))
    )
    return _of_part(session.exec(query).first(), position, f"part at {position.designator}")


def _of_part(part: Part | None, position: Position, origin: str) -> _Found:
    """A part's value is read as what the part is, not as what the position was written down for."""
    return _Found(part.value, part.kind, origin) if part else _Found("", position.kind, position.designator)


def _from_trial(session: Session, entry: CalculationInput) -> Reading:
    from server.engineering.trials import summarise
    from server.records.tables import Procedure

    trial = session.get_one(Trial, entry.trial_id)
    procedure = session.get_one(Procedure, trial.procedure_id)
    summary = summarise(trial.readings, procedure.resolution)
    uncertainty = summary.standard_uncertainty
    low, high = summary.mean - 2 * uncertainty, summary.mean + 2 * uncertainty
    return Reading(Toleranced(summary.mean, low, high, procedure.unit, "standard"), f"mean of trial {trial.number}")


def _from_waveform(session: Session, entry: CalculationInput) -> Reading:
    waveform = session.get_one(Waveform, entry.waveform_id)
    origin = f"{FIGURES[entry.figure]} of waveform {waveform.number}"
    if stored := waveform.figures.get(entry.figure):
        return Reading(Toleranced(**stored), origin)
    return Reading(None, origin, why_none(waveform, entry.figure))


def _from_line(session: Session, entry: CalculationInput, case: Case) -> Reading:
    other = session.get_one(Calculation, entry.other_calculation_id)
    origin = f"line {entry.other_line} of calculation {other.number}"
    kept = latest_run(session, other)
    result = kept.cases[case.value].get("result") if kept else None
    if result is None:
        return Reading(None, origin, f"Calculation {other.number} has no result in this case.")
    line = next((line for line in engine.from_plain(result).lines if line.name == entry.other_line), None)
    if line is None:
        return Reading(None, origin, f"Calculation {other.number} has no line {entry.other_line} any more.")
    # The worst case is handed on, not the 95 % interval: what the two sums share is not known to the second.
    return Reading(Toleranced(line.nominal, line.worst_low, line.worst_high, line.unit, "limits"), origin)
