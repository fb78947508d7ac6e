"""Questions about symptoms: which there are, their possible causes, and what speaks for and against each."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from sqlalchemy import bindparam, case
from sqlalchemy import select as columns
from sqlmodel import Session, col, func, select

from server.records.questions.paging import Paged, paged
from server.records.questions.trials import Figures, figures_of
from server.records.tables import (
    Calculation,
    Evidence,
    Machine,
    Mod,
    PossibleCause,
    Procedure,
    Symptom,
    Trial,
)
from server.records.words import CauseState, EvidenceSide

OFFERED_MOST = 200


@dataclass(frozen=True, slots=True)
class SymptomLine:
    """One symptom as lists tell it; it is open while `ended_as` is empty."""

    number: int
    title: str
    seen_on: date
    ended_as: str
    ended_on: date | None

    @property
    def state(self) -> str:
        """One word: open, cured, explained or accepted."""
        return self.ended_as or "open"


@dataclass(frozen=True, slots=True)
class SymptomWithCauses:
    """One symptom with how many of its possible causes are in each state."""

    line: SymptomLine
    open: int
    ruled_out: int
    confirmed: int

    @property
    def causes(self) -> str:
        """`1 confirmed, 2 ruled out`; empty when none is suspected."""
        counts = {"confirmed": self.confirmed, "open": self.open, "ruled out": self.ruled_out}
        return ", ".join(f"{count} {state}" for state, count in counts.items() if count)


@dataclass(frozen=True, slots=True)
class SumName:
    """A calculation as others name it."""

    mod: int
    number: int
    title: str

    @property
    def key(self) -> str:
        """As a form and a command name it: `2/1`."""
        return f"{self.mod}/{self.number}"

    def __str__(self) -> str:
        return f"Calculation {self.number} of mod {self.mod}, {self.title}"


@dataclass(frozen=True, slots=True)
class EvidenceLine:
    """One piece of evidence with the trial or the calculation that it is."""

    evidence: Evidence
    trial: Trial | None
    procedure: Procedure | None
    calculation: SumName | None

    @property
    def figures(self) -> Figures | None:
        """What the trial's readings say in few words."""
        return figures_of(self.trial, self.procedure) if self.trial and self.procedure else None


@dataclass(frozen=True, slots=True)
class CauseLine:
    """One possible cause, which sum it was opened from, and the evidence on either side."""

    cause: PossibleCause
    calculation: SumName | None
    evidence: Sequence[EvidenceLine]

    @property
    def sides(self) -> list[tuple[EvidenceSide, list[EvidenceLine]]]:
        """The evidence for it, and that against it."""
        return [(side, [line for line in self.evidence if line.evidence.side == side]) for side in EvidenceSide]


OPEN_FIRST = (case((col(Symptom.ended_as) == "", 0), else_=1), col(Symptom.number).desc())
LINE = (
    col(Symptom.number),
    col(Symptom.title),
    col(Symptom.seen_on),
    col(Symptom.ended_as),
    col(Symptom.ended_on),
)
LATEST = (
    columns(*LINE).where(col(Symptom.machine_id) == bindparam("machine")).order_by(*OPEN_FIRST).limit(bindparam("most"))
)
_COUNTS = tuple(
    select(func.count(col(PossibleCause.id)))
    .where(PossibleCause.symptom_id == Symptom.id, PossibleCause.state == state.value)
    .correlate(Symptom)
    .scalar_subquery()
    for state in CauseState
)
COUNTED = columns(*LINE, *_COUNTS).where(col(Symptom.machine_id) == bindparam("machine")).order_by(*OPEN_FIRST)


def latest_symptoms(session: Session, machine: Machine, most: int) -> list[SymptomLine]:
    """The symptoms of a machine for its page, the open ones first; one query, built once."""
    given = {"machine": machine.id, "most": most}
    return [SymptomLine(*row) for row in session.connection().execute(LATEST, given)]


def symptoms_of(session: Session, machine: Machine, number: int) -> Paged[SymptomWithCauses]:
    """All symptoms of a machine, a page at a time, the open ones first and the latest before the earlier."""
    found = paged(session, COUNTED, number, machine=machine.id)
    lines = [SymptomWithCauses(SymptomLine(*row[:5]), *row[5:]) for row in found.rows]
    return Paged(lines, found.number, found.last, found.total)


def cured_by(session: Session, mod: Mod) -> Sequence[Symptom]:
    """The symptoms that a mod is said to have cured."""
    return session.exec(select(Symptom).where(Symptom.ended_by_mod_id == mod.id).order_by(col(Symptom.number))).all()


def answered_by(session: Session, symptom: Symptom) -> Sequence[Mod]:
    """The mods that were written down to answer a symptom, whatever came of them."""
    return session.exec(select(Mod).where(Mod.symptom_id == symptom.id).order_by(col(Mod.number))).all()


def causes_of(session: Session, symptom: Symptom) -> list[CauseLine]:
    """The possible causes in their order with all evidence, by day; three queries, however much there is."""
    query = select(PossibleCause).where(PossibleCause.symptom_id == symptom.id).order_by(col(PossibleCause.number))
    causes = session.exec(query).all()
    evidence = _evidence(session, symptom)
    keys = {cause.calculation_id for cause in causes} | {row.calculation_id for row, _, _ in evidence}
    sums = _sums(session, {key for key in keys if key})

    def lines(cause: PossibleCause) -> list[EvidenceLine]:
        return [
            EvidenceLine(row, trial, procedure, sums.get(row.calculation_id or 0))
            for row, trial, procedure in evidence
            if row.possible_cause_id == cause.id
        ]

    return [CauseLine(cause, sums.get(cause.calculation_id or 0), lines(cause)) for cause in causes]


def _evidence(session: Session, symptom: Symptom) -> Sequence[tuple[Evidence, Trial | None, Procedure | None]]:
    query = (
        select(Evidence, Trial, Procedure)
        .join(PossibleCause, col(PossibleCause.id) == col(Evidence.possible_cause_id))
        .outerjoin(Trial, col(Trial.id) == col(Evidence.trial_id))
        .outerjoin(Procedure, col(Procedure.id) == col(Trial.procedure_id))
        .where(PossibleCause.symptom_id == symptom.id)
        .order_by(col(Evidence.day), col(Evidence.id))
    )
    return session.exec(query).all()


def _sums(session: Session, keys: set[int]) -> dict[int, SumName]:
    query = (
        select(col(Calculation.id), col(Mod.number), col(Calculation.number), col(Calculation.title))
        .join(Mod, col(Mod.id) == col(Calculation.mod_id))
        .where(col(Calculation.id).in_(keys))
    )
    return {key: SumName(mod, number, title) for key, mod, number, title in session.exec(query) if key is not None}


def symptoms_offered(session: Session, machine: Machine) -> list[SymptomLine]:
    """The symptoms that a form offers, the open ones first."""
    return latest_symptoms(session, machine, OFFERED_MOST)


def sums_offered(session: Session, machine: Machine, most: int = OFFERED_MOST) -> list[SumName]:
    """The calculations of a machine's mods, to be chosen as evidence; those of the latest mods first."""
    query = (
        select(col(Mod.number), col(Calculation.number), col(Calculation.title))
        .join(Calculation, col(Calculation.mod_id) == col(Mod.id))
        .where(Mod.machine_id == machine.id)
        .order_by(col(Mod.number).desc(), col(Calculation.number))
        .limit(most)
    )
    return [SumName(*row) for row in session.exec(query)]
