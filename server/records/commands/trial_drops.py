"""Taking a trial off the record that was entered by mistake, as long as nothing rests on it."""

from sqlmodel import Session, col, select

from server.records.commands.base import Command, expect_version
from server.records.errors import Refused
from server.records.questions.addresses import find_machine, find_trial
from server.records.questions.attached_files import move_to
from server.records.questions.subjects import subject_of
from server.records.tables import Calculation, CalculationInput, Evidence, Mod, PossibleCause, Symptom, Trial, TrialMod
from server.records.work import Entry, Work, handles

DROPPED = "drop trial"


class DropTrial(Command):
    """Take a trial off the record; the journal keeps what it was."""

    machine: str
    trial: int
    opened_version: int


@handles(DropTrial)
def drop_trial(work: Work, command: DropTrial) -> Entry:
    session = work.session
    machine = find_machine(session, command.machine)
    trial = find_trial(session, machine, command.trial)
    expect_version("trial", trial, command.opened_version, {})
    _check_bears_nothing(session, trial)
    words = f"Trial {trial.number} of {machine.tag}, on {trial.day}, was taken off the record."
    if move_to(session, subject_of(session, "trial", trial.uuid), subject_of(session, "machine", machine.uuid)):
        words += " What was attached to it is attached to the machine now."
    for link in session.exec(select(TrialMod).where(TrialMod.trial_id == trial.id)):
        session.delete(link)
    session.flush()
    session.delete(trial)
    session.flush()
    return Entry(DROPPED, trial, words, machine)


def _check_bears_nothing(session: Session, trial: Trial) -> None:
    """Neither evidence nor a sum."""
    evidence = (
        select(Symptom.number)
        .join(PossibleCause, col(PossibleCause.symptom_id) == col(Symptom.id))
        .join(Evidence, col(Evidence.possible_cause_id) == col(PossibleCause.id))
        .where(Evidence.trial_id == trial.id)
        .order_by(col(Symptom.number))
    )
    if (symptom := session.exec(evidence).first()) is not None:
        raise Refused(f"Evidence about symptom {symptom} rests on this trial. Take that away first.")
    sums = (
        select(Mod.number, Calculation.number)
        .join(Calculation, col(Calculation.mod_id) == col(Mod.id))
        .join(CalculationInput, col(CalculationInput.calculation_id) == col(Calculation.id))
        .where(CalculationInput.trial_id == trial.id)
        .order_by(col(Mod.number), col(Calculation.number))
    )
    if (read := session.exec(sums).first()) is not None:
        raise Refused(f"Calculation {read[1]} of mod {read[0]} reads this trial. Have it read another first.")
