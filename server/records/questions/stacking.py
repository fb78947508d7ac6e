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
    """When a step's last act was: its own, or that on which another part took the first one's place."""
    days = [line.step.done_on, *(sitting.day for sitting in line.sittings)]
    return max(day for day in days if day is not None), line.step.done_order, line.step.number


def on_top_of(session: Session, step: Step) -> StepLine | None:
    """The latest step that stands and lies on this one, of whichever mod."""
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
    later = [line for line in at_position if rows & set(rows_of(line.step)) and moment_of(line) > moment_of(own)]
    return max(later, key=moment_of, default=None)
