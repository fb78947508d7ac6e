"""Writing down procedures, and recording trials with their readings.

The mods in force are noted with each trial, by the days of their moves; `NoteModsInForce` puts them right where a day
is too coarse: readings taken in the morning of the day on which a mod was fitted.
"""

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from sqlmodel import Session, col, select

from server.engineering.errors import EngineeringError
from server.engineering.trials import compare, summarise
from server.records.commands.base import (
    Command,
    Day,
    Line,
    NeededLine,
    Prose,
    change,
    expect_version,
    words,
)
from server.records.commands.trial_drops import DROPPED
from server.records.errors import Difference, Invalid, NotFound, RecordError, Refused, Stale
from server.records.questions.addresses import find_machine, find_procedure, find_trial, free_slug, slug
from server.records.questions.numbers import next_ever
from server.records.questions.states import mods_in_force
from server.records.questions.trials import YES_OR_NO, ever_stood, mods_noted, numbered
from server.records.tables import Machine, Mod, Procedure, Trial, TrialMod
from server.records.typed_amounts import Amount, NoAmount, amount_in
from server.records.typed_readings import Given, readings_of, unit_refused
from server.records.words import Better
from server.records.work import Entry, Work, handles


class OtherTrial(RecordError):
    """The UUID that came with readings is that of a trial which says something else."""


class ProcedureFields(Command):
    """How a test is run, and how its figures are read. `resolution` and `target` may bring a unit of their own."""

    title: NeededLine
    how: Prose = ""
    unit: Line = ""
    unit_meaning: Line = ""
    resolution: Amount = None
    better: Better = Better.LOWER
    target: Amount = None


class WriteProcedure(ProcedureFields):
    pass


class ReviseProcedure(ProcedureFields):
    procedure: str
    opened_version: int


class TrialFields(Command):
    """One occasion of running a procedure. `readings` is text as typed, numbers apart by spaces or lines; or a list."""

    day: Day
    readings: Given
    conditions: Prose = ""
    instrument: Line = ""
    signer: NeededLine
    note: Prose = ""


class RecordTrial(TrialFields):
    """A trial to be put on record.

    Who sends it may say which `unit` the readings are in, so that another one than the procedure's is noticed, and may
    name the trial by a `uuid` of their own: sent once more, it is the trial that is there.
    """

    machine: str
    procedure: NeededLine
    unit: Line | None = None
    uuid: UUID | None = None


class ReviseTrial(TrialFields):
    machine: str
    trial: int
    opened_version: int


class NoteModsInForce(Command):
    """Which mods were in force when the readings were taken, by number, and why not those that the days give.

    `opened_with` and `opened_reason` are what the form showed of both.
    """

    machine: str
    trial: int
    mods: list[int] = []
    reason: Line = ""
    opened_with: str = ""
    opened_reason: str = ""


@handles(WriteProcedure)
def write_procedure(work: Work, command: WriteProcedure) -> Entry:
    values = _procedure_columns(command)
    _check_procedure(command, values)
    procedure = work.add(Procedure(slug=_free_slug(work.session, command.title), **values))
    return Entry("write procedure", procedure, f"Wrote down the procedure {procedure.title}.")


@handles(ReviseProcedure)
def revise_procedure(work: Work, command: ReviseProcedure) -> Entry:
    procedure = find_procedure(work.session, command.procedure)
    values = _procedure_columns(command)
    expect_version("procedure", procedure, command.opened_version, values)
    _check_procedure(command, values)
    _check_kind_of_reading(work.session, procedure, command.better)
    _check_unit_stays(work.session, procedure, command.unit)
    run_with_it = work.session.exec(select(Trial.id).where(Trial.procedure_id == procedure.id))
    work.touched_trials.update(key for key in run_with_it if key is not None)
    return Entry("revise procedure", procedure, f"Procedure {procedure.title}: {change(procedure, values)}.")


@handles(RecordTrial)
def record_trial(work: Work, command: RecordTrial) -> Entry:
    machine = find_machine(work.session, command.machine)
    procedure = _procedure(work.session, command.procedure)
    if command.unit is not None and (refused := unit_refused(command.unit, procedure)):
        raise Invalid({"unit": refused})
    values = _trial_columns(command) | {"readings": readings_of(command.readings, procedure)}
    if command.uuid and (known := _of_uuid(work.session, command.uuid)):
        _check_same(work.session, known, values | {"machine_id": machine.id, "procedure_id": procedure.id})
        return Entry("record trial", known, "It is on record already.", machine)
    trial = Trial(
        machine_id=machine.key,
        procedure_id=procedure.key,
        number=next_ever(work.session, Trial, DROPPED, machine_id=machine.key),
        **values,
    )
    if command.uuid:
        trial.uuid = command.uuid
    work.add(trial)
    _note_mods(work, trial, mods_in_force(work.session, machine, trial.day))
    words = f"Trial {trial.number} of {machine.tag}, {procedure.title}, on {trial.day}: {_counted(trial.readings)}."
    return Entry("record trial", trial, words, machine)


@handles(ReviseTrial)
def revise_trial(work: Work, command: ReviseTrial) -> Entry:
    machine = find_machine(work.session, command.machine)
    trial = find_trial(work.session, machine, command.trial)
    procedure = work.session.get_one(Procedure, trial.procedure_id)
    readings = readings_of(command.readings, procedure, on_record=trial.readings)
    values = _trial_columns(command) | {"readings": readings}
    expect_version("trial", trial, command.opened_version, values)
    work.touched_trials.add(trial.key)
    moved = trial.day != command.day
    said = change(trial, values)
    if moved:
        said += _note_mods(work, trial, mods_in_force(work.session, machine, trial.day)) + _give_reason(trial, "")
    return Entry("revise trial", trial, f"Trial {trial.number} of {machine.tag}: {said}.", machine)


@handles(NoteModsInForce)
def note_mods_in_force(work: Work, command: NoteModsInForce) -> Entry:
    machine = find_machine(work.session, command.machine)
    trial = find_trial(work.session, machine, command.trial)
    mods = _mods_numbered(work.session, machine, command.mods)
    in_force = mods_in_force(work.session, machine, trial.day)
    by_day = numbered(_own(trial, in_force))
    _check_unseen(trial, numbered(mods_noted(work.session, [trial.key])[trial.key]), numbered(mods), command)
    differs = numbered(mods) != by_day
    if differs and not command.reason:
        raise Invalid({"reason": f"By the days of their moves it would be {by_day or 'none'}. Say why it was not so."})
    came = [mod for mod in in_force if mod.machine_id != machine.id]  # with a board; only the day tells of them
    said = _note_mods(work, trial, [*mods, *came]) + _give_reason(trial, command.reason if differs else "")
    said = said or "; mods in force left as they were"
    return Entry("note mods in force", trial, f"Trial {trial.number} of {machine.tag}: {said.lstrip('; ')}.", machine)


def _check_unseen(trial: Trial, stored: str, wanted: str, command: NoteModsInForce) -> None:
    """Rule 7: both what is noted and why."""
    if (stored, trial.mods_reason) != (command.opened_with, command.opened_reason):
        rows = [
            Difference("mods in force", wanted, stored),
            Difference("reason", command.reason, trial.mods_reason),
        ]
        raise Stale("trial", trial.version, rows)


def _give_reason(trial: Trial, reason: str) -> str:
    """Keep why the mods noted are not those of the days; say so where that changes anything."""
    if trial.mods_reason == reason:
        return ""
    trial.mods_reason = reason
    return f"; because: {reason.rstrip('.')}" if reason else "; the reason why they differed taken away"


def _procedure(session: Session, name: str) -> Procedure:
    try:
        return find_procedure(session, name)
    except NotFound as missing:
        raise Invalid({"procedure": str(missing)}) from None


def _of_uuid(session: Session, uuid: UUID) -> Trial | None:
    return session.exec(select(Trial).where(Trial.uuid == uuid)).first()


def _check_same(session: Session, known: Trial, values: dict[str, Any]) -> None:
    differs = [words(name.removesuffix("_id")) for name, value in values.items() if getattr(known, name) != value]
    if differs:
        machine = session.get_one(Machine, known.machine_id)
        raise OtherTrial(
            f"This UUID is that of trial {known.number} of {machine.tag}, which differs in: {', '.join(differs)}. "
            "Nothing was stored; give other readings a UUID of their own."
        )


def _mods_numbered(session: Session, machine: Machine, numbers: list[int]) -> list[Mod]:
    mods = session.exec(select(Mod).where(Mod.machine_id == machine.id).order_by(col(Mod.number))).all()
    missing = set(numbers) - {mod.number for mod in mods}
    if missing:
        raise Invalid({"mods": f"{machine.tag} has no mod {min(missing)}."})
    chosen = [mod for mod in mods if mod.number in numbers]
    stood = session.exec(select(col(Mod.id)).where(Mod.machine_id == machine.id, ever_stood())).all()
    if thought_of := [mod.number for mod in chosen if mod.key not in stood]:
        raise Invalid({"mods": f"No step of mod {thought_of[0]} was ever done, so it was not in force."})
    return chosen


def _note_mods(work: Work, trial: Trial, mods: Iterable[Mod]) -> str:
    """Keep these mods, and no others, as in force at the trial; say so where that changes anything."""
    wanted = {mod.key: mod for mod in mods}
    noted = work.session.exec(select(TrialMod).where(TrialMod.trial_id == trial.id)).all()
    for row in noted:
        if row.mod_id not in wanted:
            work.session.delete(row)
    missing = wanted.keys() - {row.mod_id for row in noted}
    for key in sorted(missing):
        work.session.add(TrialMod(trial_id=trial.key, mod_id=key))
    if not missing and len(noted) == len(wanted):
        return ""
    return f"; mods in force: {numbered(_own(trial, wanted.values())) or 'none'}"


def _own(trial: Trial, mods: Iterable[Mod]) -> list[Mod]:
    """Those that have their numbers in the trial's own machine."""
    return [mod for mod in mods if mod.machine_id == trial.machine_id]


def _trial_columns(command: TrialFields) -> dict[str, Any]:
    columns = command.columns(TrialFields)
    del columns["readings"]
    return columns


def _procedure_columns(command: ProcedureFields) -> dict[str, Any]:
    """What was typed with a unit is kept in the procedure's; a yes or no has neither unit nor figures."""
    values = command.columns(ProcedureFields)
    if command.better in YES_OR_NO:
        return values | {"unit": "", "unit_meaning": "", "resolution": None, "target": None}
    faults = {}
    for name in ("resolution", "target"):
        try:
            values[name] = amount_in(values[name], command.unit)
        except NoAmount as fault:
            faults[name] = str(fault)
    if faults:
        raise Invalid(faults)
    return values


def _check_procedure(command: ProcedureFields, values: dict[str, Any]) -> None:
    faults = {}
    target = values["target"]
    try:
        summarise([0.0], values["resolution"])
    except EngineeringError as fault:
        faults["resolution"] = str(fault)
    if command.better is Better.NEAREST and target is None:
        faults["target"] = "Name the target that the readings should come nearest to."
    elif target is not None and not _usable(target):
        faults["target"] = "That is too large or too small a target to reckon with."
    if faults:
        raise Invalid(faults)


def _usable(target: float) -> bool:
    try:
        compare([target], [target], "nearest", 1.0, target)
    except EngineeringError:
        return False
    return True


def _check_kind_of_reading(session: Session, procedure: Procedure, better: Better) -> None:
    """Figures and yes-or-no observations cannot be read as each other once there are some."""
    if (procedure.better in YES_OR_NO) == (better in YES_OR_NO):
        return
    if _was_run(session, procedure):
        raise Refused(
            "Trials were run with it already, and figures cannot turn into yes or no, nor back. "
            "Write down another procedure.",
            "better",
        )


def _check_unit_stays(session: Session, procedure: Procedure, unit: str) -> None:
    """Readings and bounds are numbers in the procedure's unit: with another they would say another thing."""
    if unit == procedure.unit:
        return
    if _was_run(session, procedure):
        raise Refused(
            f"Trials were run with it in {procedure.unit or 'plain numbers'}, and their readings would change their "
            "meaning. Write down another procedure.",
            "unit",
        )


def _was_run(session: Session, procedure: Procedure) -> bool:
    return session.exec(select(Trial.id).where(Trial.procedure_id == procedure.id).limit(1)).first() is not None


def _counted(readings: list[float]) -> str:
    return "1 reading" if len(readings) == 1 else f"{len(readings):,} readings"


def _free_slug(session: Session, title: str) -> str:
    wanted = slug(title) or "procedure"
    wanted = f"{wanted}-procedure" if wanted == "new" else wanted
    return free_slug(wanted, set(session.exec(select(Procedure.slug))))
