"""Which steps lie on which: of two on one part, or on one pin, the later has to come off before the earlier.

So have two of one mod. Days come first and then the order in which acts were written down, as for the way back.
"""

from collections.abc import Iterator
from datetime import date

from sqlmodel import Session, col

from server.records.questions.mods import StepLine, lines_where
from server.records.tables import Step
from server.records.words import StepKind

OF_THE_PART = frozenset({StepKind.TAKE_OUT, StepKind.FIT, StepKind.LIFT_PIN, StepKind.CHANGE_FIRMWARE, StepKind.ADJUST})
OF_A_PIN = frozenset({StepKind.CUT_TRACE, StepKind.ADD_LINK})
Row = tuple[str, int, str]


def rows_of(step: Step) -> Iterator[Row]:
    """The rows of steps, each later one lying on the one before, that a step at a position stands in."""
    if step.position_id and step.kind in OF_THE_PART:
        yield ("part", step.position_id, "")
    elif step.position_id and step.kind in OF_A_PIN:
        yield ("pin", step.position_id, step.pin)


def moment_of(line: StepLine) -> tuple[date, int, int]:
    """When a step was done. Another part in the first one's place changes nothing: what lies on the step, stays so."""
    return line.step.done_on or date.min, line.step.done_order, line.step.number


def on_top_of(session: Session, step: Step) -> StepLine | None:
    """The latest step of another mod that stands and lies on this one."""
    at_position = lines_where(
        session,
        col(Step.position_id) == step.position_id,
        col(Step.done_on).is_not(None),
        col(Step.undone_on).is_(None),
    )
    own = next((line for line in at_position if line.step.id == step.id), None)
    if own is None:
        return None
    rows = set(rows_of(step))
    others = [line for line in at_position if line.step.mod_id != step.mod_id and rows & set(rows_of(line.step))]
    return max((line for line in others if moment_of(line) > moment_of(own)), key=moment_of, default=None)
