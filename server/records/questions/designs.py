"""Questions about designs: which there are, and each fitting with what was really fitted and what came of it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from uuid import UUID

from sqlmodel import Session, col, func, select

from server.engineering import calculations as engine
from server.records.questions.addresses import designator_key
from server.records.questions.expectations import ExpectationLine, Verdict, verdicts_of
from server.records.questions.mods import StepLine, lines_where
from server.records.questions.paging import Paged, paged
from server.records.questions.sums import latest_runs
from server.records.tables import (
    Board,
    Calculation,
    CalculationInput,
    Design,
    Machine,
    Mod,
    ModMove,
    Part,
    Placement,
    Position,
    Procedure,
    Step,
)
from server.records.words import Case, StepKind


class Outcome(StrEnum):
    """What the trials say of a fitting as a whole."""

    WORKED = "worked"
    DID_NOT_WORK = "did not work"
    CONTRADICTORY = "contradictory"
    NOT_TOLD = "not told yet"


@dataclass(frozen=True, slots=True)
class DesignLine:
    """One design, and how many fittings of it are on record."""

    design: Design
    fittings: int


@dataclass(frozen=True, slots=True)
class Seat:
    """Where a role is on one machine, and the part that was fitted there, or is there; none: it is empty."""

    board: Board
    position: Position
    part: Part | None
    planned: str = ""


@dataclass(frozen=True, slots=True)
class Fitting:
    """One mod that is a fitting of a design. `seats` by role; `sums` are the latest results as fitted."""

    machine: Machine
    mod: Mod
    day: date
    seats: dict[str, Seat]
    sums: list[tuple[Calculation, engine.Result | None]]
    expectations: list[ExpectationLine]

    @property
    def outcome(self) -> Outcome:
        """It worked when something expected was met and nothing was not; what is open says nothing."""
        found = {line.verdict for line in self.expectations}
        for verdict, outcome in DECIDING:
            if verdict in found:
                return outcome
        return Outcome.NOT_TOLD


# In this order: one expectation that is not met outweighs those that are.
DECIDING = (
    (Verdict.NOT_MET, Outcome.DID_NOT_WORK),
    (Verdict.CONTRADICTORY, Outcome.CONTRADICTORY),
    (Verdict.MET, Outcome.WORKED),
)


def designs(session: Session, number: int) -> Paged[DesignLine]:
    """Every design by title, a page at a time."""
    fitted = select(func.count(col(Mod.id))).where(Mod.design_id == Design.id).scalar_subquery()
    found = paged(session, select(Design, fitted).order_by(func.lower(Design.title), col(Design.id)), number)
    return Paged([DesignLine(*row) for row in found.rows], found.number, found.last, found.total)


def design_of(session: Session, mod: Mod) -> Design | None:
    """The design that a mod is a fitting of."""
    return session.get(Design, mod.design_id) if mod.design_id else None


def fittings_of(session: Session, design: Design) -> list[Fitting]:
    """Every fitting of a design, in the order they were written down; as many queries for many as for one."""
    latest = select(func.max(ModMove.id)).group_by(col(ModMove.mod_id))
    query = (
        select(Machine, Mod, ModMove)
        .join(Mod, col(Mod.machine_id) == col(Machine.id))
        .join(ModMove, col(ModMove.mod_id) == col(Mod.id))
        .where(Mod.design_id == design.id, col(ModMove.id).in_(latest))
        .order_by(col(Mod.id))
    )
    rows = session.exec(query).all()
    mods = [mod for _, mod, _ in rows]
    seats, sums, told = (
        _seats(session, mods),
        _sums(session, mods),
        verdicts_of(session, mods),
    )
    return [
        Fitting(machine, mod, move.day, seats.get(mod.key, {}), sums.get(mod.key, []), told[mod.key])
        for machine, mod, move in rows
    ]


def _seats(session: Session, mods: Sequence[Mod]) -> dict[int, dict[str, Seat]]:
    """Every role's seat, by mod: as its steps left it, or as the position is now where only sums speak of it."""
    keys = [mod.key for mod in mods]
    places = _positions_read(session, keys)
    steps: dict[tuple[int, str], list[StepLine]] = {}
    for line in lines_where(session, col(Step.mod_id).in_(keys), col(Step.role) != ""):
        if line.board and line.position:
            steps.setdefault((line.step.mod_id, line.step.role), []).append(line)
            places[line.step.mod_id, line.step.role] = (line.board, line.position)
    there = _present(session, [position.key for _, position in places.values()])
    found: dict[int, dict[str, Seat]] = {}
    for (mod, role), (board, position) in places.items():
        part, planned = _left_by(steps.get((mod, role), []), there.get(position.key))
        found.setdefault(mod, {})[role] = Seat(board, position, part, planned)
    return found


def _left_by(steps: Sequence[StepLine], present: Part | None) -> tuple[Part | None, str]:
    """The part that the steps left at a position, or what they plan while none of them has been done."""
    acts = [line for line in steps if line.step.kind in (StepKind.FIT, StepKind.TAKE_OUT)]
    if not acts:
        return present, ""
    last = acts[-1]
    if last.step.kind == StepKind.TAKE_OUT:
        return (None, "") if last.step.done_on else (present, "to be taken out")
    if last.sittings:
        return last.sittings[-1].part, ""
    return None, " ".join(filter(None, [last.step.planned_type, last.step.planned_value])) or "to be fitted"


def _positions_read(session: Session, mods: Sequence[int]) -> dict[tuple[int, str], tuple[Board, Position]]:
    """Where the inputs of the fittings' sums are read that have a role."""
    tied = (
        select(Calculation.mod_id, CalculationInput.role, CalculationInput.position_id)
        .join(CalculationInput, col(CalculationInput.calculation_id) == col(Calculation.id))
        .where(col(Calculation.mod_id).in_(mods), CalculationInput.role != "")
    )
    read = {(mod, role): key for mod, role, key in session.exec(tied) if key}
    query = select(Position, Board).join(Board, col(Board.id) == col(Position.board_id))
    places = {
        position.key: (board, position)
        for position, board in session.exec(query.where(col(Position.id).in_(read.values())))
    }
    return {role: places[key] for role, key in read.items()}


def _present(session: Session, positions: Sequence[int]) -> dict[int, Part]:
    query = (
        select(Placement.position_id, Part)
        .join(Part, col(Part.id) == col(Placement.part_id))
        .where(col(Placement.position_id).in_(positions), col(Placement.removed_on).is_(None))
    )
    return dict(session.exec(query).all())


def _sums(session: Session, mods: Sequence[Mod]) -> dict[int, list[tuple[Calculation, engine.Result | None]]]:
    found: dict[int, list[tuple[Calculation, engine.Result | None]]] = {}
    for calculation, run in latest_runs(session, *mods):
        kept = run.cases[Case.FITTED].get("result")
        found.setdefault(calculation.mod_id, []).append((calculation, engine.from_plain(kept) if kept else None))
    return found


def procedures_of(session: Session, design: Design) -> dict[str, Procedure]:
    """The procedures that the design's expectations name, by the UUID that they are named by."""
    named = [UUID(row["procedure"]) for row in design.expectations if row["procedure"]]
    found = session.exec(select(Procedure).where(col(Procedure.uuid).in_(named)))
    return {str(procedure.uuid): procedure for procedure in found}


def guessed_places(session: Session, machine: Machine, design: Design) -> list[tuple[str, str]]:
    """For each role the board and designator of the position of the same name, on the only board of the same kind."""
    keys = [designator_key(role.get("designator", "")) for role in design.roles]
    query = (
        select(Position.designator_key, Position.designator, Board.kind, Board.slug)
        .join(Board, col(Board.id) == col(Position.board_id))
        .where(Board.machine_id == machine.id, col(Position.designator_key).in_(keys))
    )
    found: dict[tuple[str, str], list[tuple[str, str]]] = {}
    for key, designator, kind, board in session.exec(query):
        found.setdefault((kind, key), []).append((board, designator))
    guesses = (found.get((role["board_kind"], key), []) for role, key in zip(design.roles, keys, strict=True))
    return [places[0] if len(places) == 1 else ("", "") for places in guesses]
