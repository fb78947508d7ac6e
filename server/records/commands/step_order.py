"""When an act on a step may be done: in its turn, with nothing on top of it, and on which days.

All of it follows from one rule (decision 9): what lies on a step comes off before it, in the record as on the bench.
"""

from collections.abc import Iterable
from datetime import date

from sqlmodel import col, select

from server.records.commands.mods import stands
from server.records.errors import Invalid, Refused
from server.records.placing import occupant
from server.records.questions.stacking import OF_THE_PART, DoneStep, done_where, on_top_of, rows_of
from server.records.questions.stays import first_day_in, home_of
from server.records.questions.way_back import way_back
from server.records.tables import Board, Mod, Placement, Position, Step
from server.records.traces import CANNOT_BE_PUT_BACK
from server.records.words import StepKind
from server.records.work import Work

ON_WHAT_SITS_THERE = OF_THE_PART - {StepKind.TAKE_OUT, StepKind.FIT}


def check_turn(work: Work, mod: Mod, step: Step, position: Position | None, day: date) -> None:
    """Steps are done in their order, so that taking them back in the reverse order always works."""
    earlier = work.session.exec(select(Step).where(Step.mod_id == mod.id, Step.number < step.number)).all()
    waiting = [other.number for other in earlier if other.done_on is None]
    if waiting:
        raise Refused(f"Step {min(waiting)} comes first and is not done. Carry it out, or move this one before it.")
    _refuse(before_the_last(max((other.done_on for other in earlier if other.done_on), default=None), day))
    if position:
        _check_board_was_there(work, mod, position, day)
        _check_after_what_lies_below(work, step, position, day)
        if step.kind in ON_WHAT_SITS_THERE:
            _check_done_to_what_sits_there(work, position, day)


def check_undo(work: Work, mod: Mod, step: Step, day: date, note: str) -> None:
    """What was done can be put back, but not under what still lies on it, nor before that was put back."""
    if step.done_on is None:
        raise Refused(f"Step {step.number} was never done, so there is nothing to put back.")
    if step.undone_on:
        raise Refused(f"Step {step.number} was put back on {step.undone_on} already.")
    if step.kind in CANNOT_BE_PUT_BACK:
        raise Refused(f"To {step.kind} cannot be put back: {step.kind} leaves a permanent trace.")
    if day < step.done_on:
        raise Invalid({"day": f"The step was done on {step.done_on}; it cannot be put back before."})
    later = work.session.exec(select(Step).where(Step.mod_id == mod.id, Step.number > step.number)).all()
    standing = [other.number for other in later if stands(other)]
    if standing:
        _unless_in_a_circle(
            work, mod, step, note, f"Put back step {max(standing)} first: steps come off in the reverse order."
        )
    last = max((other.undone_on for other in later if other.undone_on), default=day)
    if day < last:
        raise Invalid({"day": f"A later step was put back on {last}; this one cannot have been put back before."})
    expect_nothing_on_top(work, mod, step, note)
    _check_after_what_lay_on_it(work, step, day)


def expect_nothing_on_top(work: Work, mod: Mod, step: Step, note: str = "") -> None:
    """What another mod did to the same part or pin later has to be put back first."""
    top = on_top_of(work.session, step)
    if top is None:
        return
    of = "" if top.machine_id == mod.machine_id else f" of {top.tag}"
    words = f"Mod {top.mod}{of}, step {top.number} lies on this one: {top.words}. Put that back first."
    _unless_in_a_circle(work, mod, step, note, words)


def _unless_in_a_circle(work: Work, mod: Mod, step: Step, note: str, refusal: str) -> None:
    """Refuse, unless the steps wait for each other, so that one has to come first; its note then says why it does."""
    circle = way_back(work.session, home_of(work.session, mod)).circle
    if step.id not in {one.key for one in circle}:
        raise Refused(refusal)
    if not note:
        raise Invalid({"note": "It lies in a circle of steps that wait for each other: say why this one comes first."})


def _check_board_was_there(work: Work, mod: Mod, position: Position, day: date) -> None:
    """A mod of the machine that a board came to was not done before it came."""
    board = work.session.get_one(Board, position.board_id)
    _refuse(before_the_board(board.name, first_day_in(work.session, board, mod.machine_id), day))


def _check_after_what_lies_below(work: Work, step: Step, position: Position, day: date) -> None:
    below = list(_on_the_same(work, step, position))
    last = max((act for one in below for act in (one.done_on, one.undone_on) if act), default=None)
    _refuse(before_what_lies_below(position.designator, last, day))


def _check_after_what_lay_on_it(work: Work, step: Step, day: date) -> None:
    if step.position_id is None:
        return
    here = list(_on_the_same(work, step, work.session.get_one(Position, step.position_id)))
    own = next(one for one in here if one.key == step.id)
    lay = [one for one in here if one.moment > own.moment and one.undone_on]
    last = max((one.undone_on for one in lay if one.undone_on), default=day)
    if day < last:
        raise Invalid({"day": f"What lay on it was put back on {last}; it cannot have come off before."})


def _on_the_same(work: Work, step: Step, position: Position) -> Iterable[DoneStep]:
    """The steps that were done to the part or pin that a step concerns, of whichever mod."""
    rows = set(rows_of(step))
    return (one for one in done_where(work.session, col(Step.position_id) == position.id) if rows & set(rows_of(one)))


def _check_done_to_what_sits_there(work: Work, position: Position, day: date) -> None:
    """A pin is lifted of the part that sits there, on a day on which it did."""
    there = occupant(work.session, position)
    if there is None and _held_one(work, position):
        raise Refused(nothing_sits(position.designator))
    _refuse(before_what_sits(position.designator, there.fitted_on if there else None, day))


def _refuse(fault: str) -> None:
    if fault:
        raise Invalid({"day": fault})


def _held_one(work: Work, position: Position) -> bool:
    """Whether any part was ever recorded at a position: where none was, one may well sit there."""
    return work.session.exec(select(Placement.id).where(Placement.position_id == position.id)).first() is not None


# ---- The same rules, for those who have read the facts of many steps at once ----


def before_the_last(last: date | None, day: date) -> str:
    """Why a step was not done on a day, seen from the step before it; empty where nothing stands against it."""
    return f"The step before was done on {last}; this one cannot have been done before." if last and day < last else ""


def before_the_board(name: str, since: date | None, day: date) -> str:
    return (
        f"{name} came to this machine on {since}; this cannot have been done before." if since and day < since else ""
    )


def before_what_lies_below(designator: str, last: date | None, day: date) -> str:
    if last is None or day >= last:
        return ""
    return f"The last act on this part or pin of {designator} was on {last}; this one came after it."


def before_what_sits(designator: str, fitted_on: date | None, day: date) -> str:
    if fitted_on is None or day >= fitted_on:
        return ""
    return f"What sits at {designator} was fitted on {fitted_on}; nothing was done to it before."


def nothing_sits(designator: str) -> str:
    return f"Nothing sits at {designator} now, so nothing can be done to it."
