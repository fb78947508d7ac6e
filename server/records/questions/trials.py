"""Questions about procedures and trials: which there are, what each one's readings say, and the mods in force then."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from sqlalchemy import ColumnElement, and_, or_
from sqlmodel import Session, col, func, select

from server.engineering.comparison_words import shown
from server.engineering.trials import Summary, summarise
from server.records.questions.paging import Paged, paged
from server.records.tables import Machine, Mod, Procedure, Step, Trial, TrialMod, Waveform
from server.records.words import Better

YES_OR_NO = (Better.YES, Better.NO)
BETTER_WORDS = {
    Better.LOWER: "lower is better",
    Better.HIGHER: "higher is better",
    Better.NEAREST: "nearest to a target is better",
    Better.YES: "an observation, and yes is better",
    Better.NO: "an observation, and no is better",
}
OFFERED_MOST = 200


@dataclass(frozen=True, slots=True)
class ProcedureLine:
    """One procedure, how often it was run, and when last."""

    procedure: Procedure
    trials: int
    latest: date | None


@dataclass(frozen=True, slots=True)
class Figures:
    """What one trial's readings say in few words: `412.3`, give `1.2`, unit `ms`; or `yes 7 of 10`, unit `times`.

    `give` is the standard uncertainty of the mean; counts have none, and a lone reading tells none worth the name.
    """

    count: int
    figure: str
    give: str
    unit: str
    basis: str = ""

    def __str__(self) -> str:
        return " ".join(filter(None, [self.figure, f"± {self.give}" if self.give else "", self.unit]))


@dataclass(frozen=True, slots=True)
class TrialLine:
    """One trial with its procedure and machine, what its readings say, and the mods noted as in force then.

    `came` are those that came with a board, each with the tag of the machine that it is numbered in.
    """

    trial: Trial
    procedure: Procedure
    machine: Machine
    figures: Figures
    mods: list[Mod]
    came: list[tuple[str, Mod]]


@dataclass(frozen=True, slots=True)
class TrialName:
    """A trial as a list of choices names it; without its readings, which can be many."""

    number: int
    day: date
    title: str
    procedure: int


def procedures(session: Session, number: int) -> Paged[ProcedureLine]:
    """Every procedure by title, a page at a time."""
    trials = select(func.count(col(Trial.id))).where(Trial.procedure_id == Procedure.id).scalar_subquery()
    latest = select(func.max(Trial.day)).where(Trial.procedure_id == Procedure.id).scalar_subquery()
    query = select(Procedure, trials, latest).order_by(func.lower(Procedure.title), col(Procedure.id))
    found = paged(session, query, number)
    return Paged([ProcedureLine(*row) for row in found.rows], found.number, found.last, found.total)


def procedures_offered(session: Session, most: int = OFFERED_MOST) -> Sequence[Procedure]:
    """The procedures that a form offers, by title."""
    query = select(Procedure).order_by(func.lower(Procedure.title), col(Procedure.id)).limit(most)
    return session.exec(query).all()


def trials_count_of(session: Session, procedure: Procedure) -> int:
    return session.exec(select(func.count(col(Trial.id))).where(Trial.procedure_id == procedure.id)).one()


def trials_of(
    session: Session, machine: Machine, number: int, procedure: Procedure | None = None, most: int = 50
) -> Paged[TrialLine]:
    """The trials of a machine, the latest first; of one procedure or of all."""
    conditions = [col(Trial.machine_id) == machine.id]
    if procedure is not None:
        conditions.append(col(Trial.procedure_id) == procedure.id)
    return _lines(session, number, most, *conditions)


def trials_with(session: Session, procedure: Procedure, number: int, most: int = 20) -> Paged[TrialLine]:
    """The trials that were run with a procedure over all machines, the latest first."""
    return _lines(session, number, most, col(Trial.procedure_id) == procedure.id)


def line_of(session: Session, machine: Machine, trial: Trial) -> TrialLine:
    """One trial as the lists tell it."""
    procedure = session.get_one(Procedure, trial.procedure_id)
    mods, came = mods_noted(session, [trial.key]), mods_come(session, [trial.key])
    return TrialLine(trial, procedure, machine, figures_of(trial, procedure), mods[trial.key], came[trial.key])


def trial_names(session: Session, machine: Machine, most: int = OFFERED_MOST) -> list[TrialName]:
    """The latest trials of a machine as choices, by procedure and then by day."""
    query = (
        select(col(Trial.number), col(Trial.day), col(Procedure.title), col(Trial.procedure_id))
        .join(Procedure, col(Procedure.id) == col(Trial.procedure_id))
        .where(Trial.machine_id == machine.id)
        .order_by(col(Trial.day).desc(), col(Trial.number).desc())
        .limit(most)
    )
    names = [TrialName(*row) for row in session.exec(query)]
    return sorted(names, key=lambda name: (name.title.casefold(), name.day, name.number))


def trial_before(session: Session, trial: Trial) -> Trial | None:
    """The latest earlier trial of the same procedure on the same machine."""
    earlier = or_(col(Trial.day) < trial.day, and_(col(Trial.day) == trial.day, col(Trial.number) < trial.number))
    query = (
        select(Trial)
        .where(Trial.machine_id == trial.machine_id, Trial.procedure_id == trial.procedure_id, earlier)
        .order_by(col(Trial.day).desc(), col(Trial.number).desc())
        .limit(1)
    )
    return session.exec(query).first()


def instruments_of(
    session: Session, machine: Machine, of: type[Trial] | type[Waveform] = Trial, most: int = 30
) -> Sequence[str]:
    """Instruments that trials, or waveforms, of this machine were read with, to be offered while typing."""
    query = select(of.instrument).where(of.machine_id == machine.id, of.instrument != "").distinct()
    return session.exec(query.order_by(col(of.instrument)).limit(most)).all()


def mods_offered(session: Session, machine: Machine, most: int = OFFERED_MOST) -> Sequence[tuple[int, str]]:
    """The machine's mods that ever stood in it by number and title, the latest first, to tick those in force."""
    query = select(col(Mod.number), col(Mod.title)).where(Mod.machine_id == machine.id, ever_stood())
    return session.exec(query.order_by(col(Mod.number).desc()).limit(most)).all()


def ever_stood() -> ColumnElement[bool]:
    """The condition that a step of a mod was ever done: what was only thought of was never in force."""
    done = select(Step.id).where(col(Step.mod_id) == col(Mod.id), col(Step.done_on).is_not(None))
    return done.exists()


def mods_noted(session: Session, trials: Sequence[int]) -> dict[int, list[Mod]]:
    """The trials' own machines' mods that are noted as in force at each of them, in one query."""
    found: dict[int, list[Mod]] = {trial: [] for trial in trials}
    for trial, mod, _ in _noted(session, trials, col(Mod.machine_id) == col(Trial.machine_id)):
        found[trial].append(mod)
    return found


def mods_come(session: Session, trials: Sequence[int]) -> dict[int, list[tuple[str, Mod]]]:
    """The mods noted that came with a board, each with the tag of the machine that it is numbered in."""
    found: dict[int, list[tuple[str, Mod]]] = {trial: [] for trial in trials}
    for trial, mod, tag in _noted(session, trials, col(Mod.machine_id) != col(Trial.machine_id)):
        found[trial].append((tag, mod))
    return found


def _noted(session: Session, trials: Sequence[int], whose: ColumnElement[bool]) -> Sequence[tuple[int, Mod, str]]:
    query = (
        select(TrialMod.trial_id, Mod, Machine.tag)
        .join(Trial, col(Trial.id) == col(TrialMod.trial_id))
        .join(Mod, col(Mod.id) == col(TrialMod.mod_id))
        .join(Machine, col(Machine.id) == col(Mod.machine_id))
        .where(col(TrialMod.trial_id).in_(trials), whose)
    )
    return session.exec(query.order_by(col(Machine.tag_key), col(Mod.number))).all()


def numbered(mods: Iterable[Mod]) -> str:
    """Mods by their numbers: `1, 3`."""
    return ", ".join(str(number) for number in sorted(mod.number for mod in mods))


def yes_or_no(procedure: Procedure) -> bool:
    """Whether a reading of this procedure is an observation, yes or no, and not a figure."""
    return procedure.better in YES_OR_NO


def better_words(procedure: Procedure) -> str:
    """Which way is better, with the target where there is one."""
    if procedure.better == Better.NEAREST and procedure.target is not None:
        return f"nearest to {with_unit(in_print(procedure.target), procedure.unit)} is better"
    return BETTER_WORDS[Better(procedure.better)]


def counts(trial: Trial) -> tuple[int, int]:
    """How often yes, out of how many observations."""
    return sum(1 for reading in trial.readings if reading), len(trial.readings)


def figures_of(trial: Trial, procedure: Procedure) -> Figures:
    """What a trial's readings say in few words."""
    if yes_or_no(procedure):
        yes, total = counts(trial)
        return Figures(total, f"yes {yes:,} of {total:,}", "", "times")
    return figures_in(summarise(trial.readings, procedure.resolution), procedure.unit)


def figures_in(summary: Summary, unit: str) -> Figures:
    """Mean and standard uncertainty, as fine as two digits of the uncertainty."""
    if summary.count == 1:
        return Figures(1, in_print(summary.mean), "", unit, "one reading")
    u = summary.standard_uncertainty
    return Figures(summary.count, in_print(summary.mean, u), in_print(u, u), unit, f"from {summary.count:,} readings")


def in_print(value: float, uncertainty: float | None = None) -> str:
    """A figure as fine as its uncertainty lets stand, with a true minus sign."""
    return shown(value, uncertainty).replace("-", "−")


def with_unit(figure: str, unit: str) -> str:
    return f"{figure} {unit}" if unit else figure


def _lines(session: Session, number: int, most: int, *conditions: ColumnElement[bool]) -> Paged[TrialLine]:
    query = (
        select(Trial, Procedure, Machine)
        .join(Procedure, col(Procedure.id) == col(Trial.procedure_id))
        .join(Machine, col(Machine.id) == col(Trial.machine_id))
        .where(*conditions)
        .order_by(col(Trial.day).desc(), col(Trial.number).desc(), col(Trial.id).desc())
    )
    found = paged(session, query, number, most)
    keys = [trial.key for trial, _, _ in found.rows]
    mods, came = mods_noted(session, keys), mods_come(session, keys)
    lines = [
        TrialLine(trial, procedure, machine, figures_of(trial, procedure), mods[trial.key], came[trial.key])
        for trial, procedure, machine in found.rows
    ]
    return Paged(lines, found.number, found.last, found.total)
