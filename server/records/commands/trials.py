"""Writing down procedures, and recording trials with their readings."""

from typing import Any

from sqlmodel import Session, col, func, select

from server.engineering.errors import EngineeringError
from server.engineering.trials import read_readings
from server.records.commands.base import (
    Command,
    Day,
    Line,
    NeededLine,
    OptionalFloat,
    Prose,
    change,
    expect_version,
)
from server.records.errors import Invalid, NotFound
from server.records.questions.addresses import find_machine, find_procedure, find_trial, slug
from server.records.questions.states import mods_in_force
from server.records.tables import Procedure, Trial, TrialMod
from server.records.words import Better
from server.records.work import Entry, Work, handles


class ProcedureFields(Command):
    """How a test is run, and how its figures are read."""

    title: NeededLine
    how: Prose = ""
    unit: Line = ""
    unit_meaning: Line = ""
    resolution: OptionalFloat = None
    better: Better = Better.LOWER
    target: OptionalFloat = None


class WriteProcedure(ProcedureFields):
    pass


class ReviseProcedure(ProcedureFields):
    procedure: str
    opened_version: int


class TrialFields(Command):
    """One occasion of running a procedure. `readings` is text as typed: numbers apart by spaces or lines."""

    day: Day
    readings: str
    conditions: Prose = ""
    instrument: Line = ""
    signer: NeededLine
    note: Prose = ""


class RecordTrial(TrialFields):
    machine: str
    procedure: NeededLine


class ReviseTrial(TrialFields):
    machine: str
    trial: int
    opened_version: int


@handles(WriteProcedure)
def write_procedure(work: Work, command: WriteProcedure) -> Entry:
    _check_procedure(command)
    procedure = work.add(Procedure(slug=_free_slug(work.session, command.title), **command.columns(ProcedureFields)))
    return Entry("write procedure", procedure, f"Wrote down the procedure {procedure.title}.")


@handles(ReviseProcedure)
def revise_procedure(work: Work, command: ReviseProcedure) -> Entry:
    procedure = find_procedure(work.session, command.procedure)
    values = command.columns(ProcedureFields)
    expect_version("procedure", procedure, command.opened_version, values)
    _check_procedure(command)
    return Entry("revise procedure", procedure, f"Procedure {procedure.title}: {change(procedure, values)}.")


@handles(RecordTrial)
def record_trial(work: Work, command: RecordTrial) -> Entry:
    machine = find_machine(work.session, command.machine)
    try:
        procedure = find_procedure(work.session, command.procedure)
    except NotFound as missing:
        raise Invalid({"procedure": str(missing)}) from None
    readings = _readings(command.readings, procedure)
    last = work.session.exec(select(func.max(Trial.number)).where(Trial.machine_id == machine.id)).one()
    trial = work.add(
        Trial(
            machine_id=machine.key,
            procedure_id=procedure.key,
            number=(last or 0) + 1,
            readings=readings,
            **_trial_columns(command),
        )
    )
    for mod in mods_in_force(work.session, machine, command.day):
        work.session.add(TrialMod(trial_id=trial.key, mod_id=mod.key))
    words = f"Trial {trial.number} of {machine.tag}, {procedure.title}, on {trial.day}: {_counted(readings)}."
    return Entry("record trial", trial, words, machine)


@handles(ReviseTrial)
def revise_trial(work: Work, command: ReviseTrial) -> Entry:
    machine = find_machine(work.session, command.machine)
    trial = find_trial(work.session, machine, command.trial)
    readings = _readings(command.readings, work.session.get_one(Procedure, trial.procedure_id))
    values = _trial_columns(command) | {"readings": readings}
    expect_version("trial", trial, command.opened_version, values)
    words = f"Trial {trial.number} of {machine.tag}: {change(trial, values)}."
    return Entry("revise trial", trial, words, machine)


def _trial_columns(command: TrialFields) -> dict[str, Any]:
    columns = command.columns(TrialFields)
    del columns["readings"]
    return columns


def _check_procedure(command: ProcedureFields) -> None:
    faults = {}
    if command.resolution is not None and command.resolution <= 0:
        faults["resolution"] = "A resolution is the smallest step that can be told apart: a number above zero."
    if command.better is Better.NEAREST and command.target is None:
        faults["target"] = "Name the target that the readings should come nearest to."
    if faults:
        raise Invalid(faults)


def _readings(text: str, procedure: Procedure) -> list[float]:
    if procedure.better in (Better.YES, Better.NO):
        text = _yes_no(text)
    try:
        return read_readings(text)
    except EngineeringError as fault:
        raise Invalid({"readings": str(fault)}) from None


def _yes_no(text: str) -> str:
    """Observations as figures: seen is 1, not seen is 0."""
    words = text.replace(",", " ").replace(";", " ").casefold().split()
    known = {"yes": "1", "y": "1", "1": "1", "no": "0", "n": "0", "0": "0"}
    for place, word in enumerate(words, start=1):
        if word not in known:
            raise Invalid({"readings": f"Observation {place}, “{word[:40]}”, is neither yes nor no."})
    return " ".join(known[word] for word in words)


def _counted(readings: list[float]) -> str:
    return "1 reading" if len(readings) == 1 else f"{len(readings):,} readings"


def _free_slug(session: Session, title: str) -> str:
    wanted = slug(title) or "procedure"
    wanted = f"{wanted}-procedure" if wanted == "new" else wanted
    taken = set(session.exec(select(Procedure.slug).where(col(Procedure.slug).startswith(wanted))))
    number, candidate = 1, wanted
    while candidate in taken:
        number += 1
        candidate = f"{wanted}-{number}"
    return candidate
