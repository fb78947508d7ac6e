"""Noting symptoms and how they end, suspecting causes and judging them, and the evidence for and against each.

A cause is ruled out or confirmed on some ground: a reason in words, or evidence on that side. A symptom that is opened
again keeps its causes; how it had ended stays in the journal.
"""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from uuid import UUID

from sqlmodel import Session, col, func, select

from server.records.commands.base import (
    Command,
    Day,
    Line,
    NeededLine,
    OptionalDay,
    OptionalInt,
    Prose,
    change,
    expect_version,
)
from server.records.errors import Invalid, NotFound, Refused
from server.records.questions.addresses import (
    find_calculation,
    find_cause,
    find_evidence,
    find_machine,
    find_mod,
    find_symptom,
    find_trial,
    next_number,
)
from server.records.tables import Calculation, Evidence, Machine, Mod, PossibleCause, Symptom, Trial
from server.records.words import CauseState, EvidenceSide, ModState, SymptomEnd
from server.records.work import Entry, Work, handles

CALCULATION = re.compile(r"(\d{1,9})/(\d{1,9})", re.ASCII)
SIDE_OF = {CauseState.CONFIRMED: EvidenceSide.FOR, CauseState.RULED_OUT: EvidenceSide.AGAINST}


class SymptomFields(Command):
    """What a machine does that it should not, since when, and how to make it do so."""

    title: NeededLine
    seen_on: Day
    bring_about: Prose = ""
    note: Prose = ""


class NoteSymptom(SymptomFields):
    machine: str


class ReviseSymptom(SymptomFields):
    machine: str
    symptom: int
    opened_version: int


class EndFields(Command):
    """How a symptom ended: cured (perhaps by a mod), explained as a trait of the design, or accepted."""

    ended_as: SymptomEnd
    ended_on: Day
    ended_note: Prose = ""
    mod: OptionalInt = None


class EndSymptom(EndFields):
    machine: str
    symptom: int
    opened_version: int


class ReopenSymptom(Command):
    machine: str
    symptom: int
    why: NeededLine
    opened_version: int


class SuspectCause(Command):
    """A possible cause of a symptom, or of a new one that is noted with it under `title` and `seen_on`.

    `calculation` (`2/1` is calculation 1 of mod 2) and `assumption` say which sentence of a sum it was opened from.
    """

    machine: str
    symptom: OptionalInt = None
    title: Line = ""
    seen_on: OptionalDay = None
    sentence: NeededLine
    calculation: Line = ""
    assumption: Line = ""


class JudgeFields(Command):
    """What is held of a possible cause, since when and why; its sentence may be put better."""

    sentence: NeededLine
    state: CauseState
    judged_on: OptionalDay = None
    why: Prose = ""


class JudgeCause(JudgeFields):
    machine: str
    symptom: int
    cause: int
    opened_version: int


class AddEvidence(Command):
    """What speaks for or against a possible cause: a trial or a calculation (`2/1`), with a note, or a note alone."""

    machine: str
    symptom: int
    cause: int
    side: EvidenceSide
    day: Day
    trial: OptionalInt = None
    calculation: Line = ""
    note: Prose = ""


class DropEvidence(Command):
    machine: str
    symptom: int
    cause: int
    evidence: UUID


@handles(NoteSymptom)
def note_symptom(work: Work, command: NoteSymptom) -> Entry:
    machine = find_machine(work.session, command.machine)
    symptom = _noted(work, machine, command)
    return Entry("note symptom", symptom, f"Noted symptom {symptom.number} of {machine.tag}: {symptom.title}.", machine)


@handles(ReviseSymptom)
def revise_symptom(work: Work, command: ReviseSymptom) -> Entry:
    machine = find_machine(work.session, command.machine)
    symptom = find_symptom(work.session, machine, command.symptom)
    values = command.columns(SymptomFields)
    expect_version("symptom", symptom, command.opened_version, values)
    if symptom.ended_on and symptom.ended_on < command.seen_on:
        raise Invalid({"seen_on": f"It ended on {symptom.ended_on}; it cannot have been seen first after that."})
    return Entry("revise symptom", symptom, f"{_called(machine, symptom)}: {change(symptom, values)}.", machine)


@handles(EndSymptom)
def end_symptom(work: Work, command: EndSymptom) -> Entry:
    machine = find_machine(work.session, command.machine)
    symptom = find_symptom(work.session, machine, command.symptom)
    values = command.columns(EndFields)
    stood = work.session.get(Mod, symptom.ended_by_mod_id) if symptom.ended_by_mod_id else None
    expect_version("symptom", symptom, command.opened_version, values, {"mod": stood.number if stood else None})
    mod = _check_end(work, machine, symptom, command)
    del values["mod"]
    change(symptom, values | {"ended_by_mod_id": mod.key if mod else None})
    by = f", by mod {mod.number}" if mod else ""
    words = f"{_called(machine, symptom)} is {symptom.ended_as} since {symptom.ended_on}{by}."
    return Entry("end symptom", symptom, words, machine)


@handles(ReopenSymptom)
def reopen_symptom(work: Work, command: ReopenSymptom) -> Entry:
    machine = find_machine(work.session, command.machine)
    symptom = find_symptom(work.session, machine, command.symptom)
    expect_version("symptom", symptom, command.opened_version, {"ended_as": ""})
    if not symptom.ended_as:
        raise Refused("It is open already.")
    ended = f"{symptom.ended_as} since {symptom.ended_on}"
    change(symptom, {"ended_as": "", "ended_on": None, "ended_note": "", "ended_by_mod_id": None})
    words = f"{_called(machine, symptom)} is open again, after it was {ended}: {command.why}"
    return Entry("reopen symptom", symptom, _stopped(words), machine)


@handles(SuspectCause)
def suspect_cause(work: Work, command: SuspectCause) -> Entry:
    machine = find_machine(work.session, command.machine)
    calculation = _calculation(work.session, machine, command.calculation)
    symptom = _symptom_meant(work, machine, command)
    cause = work.add(
        PossibleCause(
            symptom_id=symptom.key,
            number=next_number(work.session, PossibleCause.number, PossibleCause.symptom_id == symptom.id),
            sentence=command.sentence,
            state=CauseState.OPEN.value,
            calculation_id=calculation.key if calculation else None,
            assumption=command.assumption if calculation else "",
        )
    )
    words = f"{_called(machine, symptom)} has a possible cause {cause.number}: {cause.sentence}"
    return Entry("suspect cause", cause, _stopped(words), machine)


@handles(JudgeCause)
def judge_cause(work: Work, command: JudgeCause) -> Entry:
    machine = find_machine(work.session, command.machine)
    symptom = find_symptom(work.session, machine, command.symptom)
    cause = find_cause(work.session, symptom, command.cause)
    values = command.columns(JudgeFields)
    expect_version("possible cause", cause, command.opened_version, values)
    _check_ground(work.session, symptom, cause, command)
    if command.state is CauseState.OPEN:
        values["judged_on"] = None
    change(cause, values)
    since = f" since {cause.judged_on}" if cause.judged_on else ""
    words = f"{_called(machine, symptom)} possible cause {cause.number} is {cause.state}{since}: {cause.sentence}"
    return Entry("judge cause", cause, _stopped(words), machine)


@handles(AddEvidence)
def add_evidence(work: Work, command: AddEvidence) -> Entry:
    machine = find_machine(work.session, command.machine)
    symptom = find_symptom(work.session, machine, command.symptom)
    cause = find_cause(work.session, symptom, command.cause)
    trial, calculation = _tied(work.session, machine, command)
    evidence = work.add(
        Evidence(
            possible_cause_id=cause.key,
            side=command.side.value,
            day=command.day,
            trial_id=trial.key if trial else None,
            calculation_id=calculation.key if calculation else None,
            note=command.note,
        )
    )
    told = f"trial {trial.number}" if trial else f"calculation {command.calculation}" if calculation else "a note"
    words = f"{_called(machine, symptom)} possible cause {cause.number} has evidence {evidence.side} it: {told}."
    return Entry("add evidence", evidence, words, machine)


@handles(DropEvidence)
def drop_evidence(work: Work, command: DropEvidence) -> Entry:
    machine = find_machine(work.session, command.machine)
    symptom = find_symptom(work.session, machine, command.symptom)
    cause = find_cause(work.session, symptom, command.cause)
    evidence = find_evidence(work.session, cause, command.evidence)
    _check_not_alone(work.session, cause, evidence)
    work.session.delete(evidence)
    words = f"{_called(machine, symptom)} possible cause {cause.number}: evidence {evidence.side} it taken away."
    return Entry("drop evidence", evidence, words, machine)


def _called(machine: Machine, symptom: Symptom) -> str:
    """A symptom as the journal names it."""
    return f"Symptom {symptom.number} of {machine.tag}, {symptom.title},"


def _stopped(words: str) -> str:
    """Words that end in a sentence of the keeper's own, with one full stop."""
    return words if words.endswith((".", "!", "?")) else f"{words}."


def _noted(work: Work, machine: Machine, described: SymptomFields) -> Symptom:
    return work.add(
        Symptom(
            machine_id=machine.key,
            number=next_number(work.session, Symptom.number, Symptom.machine_id == machine.id),
            **described.columns(SymptomFields),
        )
    )


def _symptom_meant(work: Work, machine: Machine, command: SuspectCause) -> Symptom:
    """The symptom that was chosen, or the new one that was described beside it."""
    if command.symptom is None:
        described = SymptomFields.read({"title": command.title, "seen_on": command.seen_on or ""})
        return _noted(work, machine, described)
    if command.title:
        raise Invalid({"title": "A symptom was chosen above: choose a new one there, or leave this empty."})
    with _beside("symptom"):
        return find_symptom(work.session, machine, command.symptom)


@contextmanager
def _beside(field: str) -> Iterator[None]:
    """What is named in a field and is not there is told beside that field."""
    try:
        yield
    except NotFound as missing:
        raise Invalid({field: str(missing)}) from None


def _calculation(session: Session, machine: Machine, named: str) -> Calculation | None:
    if not named:
        return None
    numbers = CALCULATION.fullmatch(named)
    if numbers is None:
        raise Invalid({"calculation": "Name a calculation by its mod and its number, such as 2/1."})
    with _beside("calculation"):
        return find_calculation(session, find_mod(session, machine, int(numbers[1])), int(numbers[2]))


def _tied(session: Session, machine: Machine, command: AddEvidence) -> tuple[Trial | None, Calculation | None]:
    """The trial or the calculation that a piece of evidence is; neither, where its note says it all."""
    calculation = _calculation(session, machine, command.calculation)
    if command.trial is None:
        if not (calculation or command.note):
            raise Invalid({"note": "Say what was found, or choose a trial or a calculation that tells it."})
        return None, calculation
    if calculation:
        raise Invalid({"calculation": "Give a trial or a calculation; the other is a piece of evidence of its own."})
    with _beside("trial"):
        return find_trial(session, machine, command.trial), None


def _check_end(work: Work, machine: Machine, symptom: Symptom, command: EndSymptom) -> Mod | None:
    """The mod that cured it, if one did."""
    if command.ended_on < symptom.seen_on:
        raise Invalid({"ended_on": f"It was seen first on {symptom.seen_on}; it cannot have ended before."})
    if command.ended_as is SymptomEnd.EXPLAINED and not command.ended_note:
        raise Invalid({"ended_note": "Say which trait of the design explains it."})
    if command.mod is None:
        return None
    if command.ended_as is not SymptomEnd.CURED:
        raise Invalid({"mod": f"A mod cures; a symptom that is {command.ended_as} names none."})
    with _beside("mod"):
        mod = find_mod(work.session, machine, command.mod)
    if mod.state not in (ModState.FITTED, ModState.UNDONE):
        raise Invalid({"mod": f"Mod {mod.number} is {mod.state}; only one that was fitted can have cured it."})
    return mod


def _check_ground(session: Session, symptom: Symptom, cause: PossibleCause, command: JudgeCause) -> None:
    """A judgement has a day, and a reason or evidence on its side."""
    if command.state is CauseState.OPEN:
        return
    if command.judged_on is None:
        raise Invalid({"judged_on": f"Give the day since which it is {command.state}."})
    if command.judged_on < symptom.seen_on:
        raise Invalid({"judged_on": f"The symptom was seen first on {symptom.seen_on}; judge its cause after that."})
    side = SIDE_OF[command.state]
    if not command.why and not _evidence_on(session, cause, side):
        raise Invalid({"why": f"Say why, or add evidence {side} it first: none is on record."})


def _check_not_alone(session: Session, cause: PossibleCause, evidence: Evidence) -> None:
    """What a judgement rests on alone stays until the cause is judged anew."""
    state = CauseState(cause.state)
    rests = SIDE_OF.get(state) == evidence.side and not cause.why
    if rests and _evidence_on(session, cause, EvidenceSide(evidence.side)) == 1:
        raise Refused(f"That the cause is {state} rests on this alone. Judge it anew first, or say why there.")


def _evidence_on(session: Session, cause: PossibleCause, side: EvidenceSide) -> int:
    query = select(func.count(col(Evidence.id)))
    return session.exec(query.where(Evidence.possible_cause_id == cause.id, Evidence.side == side.value)).one()
