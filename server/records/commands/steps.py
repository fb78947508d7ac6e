"""The steps of a mod: planning them, carrying them out, fitting another part instead, and putting them back."""

from typing import Any, Literal

from sqlmodel import col, func, select

from server.records.commands.base import (
    Command,
    Line,
    NeededLine,
    OptionalInt,
    Prose,
    change,
    expect_version,
)
from server.records.commands.fitting import PartToFit, part_to_fit, to_put_back
from server.records.commands.mods import MoveMod, called, move_mod, stands
from server.records.commands.parts import Stowing, stow
from server.records.commands.step_order import check_turn, check_undo, expect_nothing_on_top
from server.records.errors import Difference, Invalid, NotFound, Refused, Stale
from server.records.placing import describe, occupant, place, take_out
from server.records.questions.addresses import find_board, find_machine, find_mod, find_position, find_step, next_number
from server.records.questions.attached_files import move_to
from server.records.questions.stacking import OF_ONE_PIN
from server.records.questions.stays import home_of, mods_ever, was_in
from server.records.questions.subjects import STEP, subject_of
from server.records.questions.way_back import waits_for_its_part
from server.records.tables import Board, Machine, Mod, Part, Position, Step
from server.records.traces import ORDER, trace_of_kind, words_of
from server.records.values import check_value
from server.records.words import ModState, StepKind, Trace
from server.records.work import Entry, Work, handles

NEEDS_POSITION = {StepKind.TAKE_OUT, StepKind.FIT, StepKind.LIFT_PIN}


class StepFields(Command):
    """What a step is to do, and where."""

    kind: StepKind
    board: str = ""
    designator: Line = ""
    pin: Line = ""
    instruction: Prose = ""
    planned_type: Line = ""
    planned_value: Line = ""
    before_state: Line = ""
    trace_stated: Trace | Literal[""] = ""
    trace_reason: Line = ""


class AddStep(StepFields):
    machine: str
    mod: int


class ReviseStep(StepFields):
    machine: str
    mod: int
    step: int
    opened_version: int


class OfStep(Command):
    """An act on one step of one mod. The page says which version of the step its keeper has seen."""

    machine: str
    mod: int
    step: int
    opened_version: OptionalInt = None


class MoveStep(OfStep):
    to: int


class DropStep(OfStep):
    pass


class CarryOutStep(OfStep, Stowing, PartToFit):
    """A step was done. A part taken out goes somewhere; a part fitted is named."""

    signer: NeededLine
    note: Prose = ""


class FitAnother(OfStep, Stowing, PartToFit):
    """Another part takes the place of the one that a step fitted."""

    signer: NeededLine
    note: Prose = ""


class UndoStep(OfStep, Stowing, PartToFit):
    """A step is put back. A part that was fitted goes somewhere; one that was taken out returns.

    If it can return no more, being discarded or fitted elsewhere, a like part is named and takes its place. With
    `then_undone` the mod is called undone where this was the last of its steps that stood.
    """

    signer: NeededLine
    note: Prose = ""
    then_undone: bool = False


@handles(AddStep)
def add_step(work: Work, command: AddStep) -> Entry:
    machine, mod = _open_mod(work, command.machine, command.mod)
    position = _position(work, machine, mod, command)
    check_step(command, position)
    step = work.add(
        Step(
            mod_id=mod.key,
            number=next_number(work.session, Step.number, Step.mod_id == mod.id),
            **_step_values(command, position),
        )
    )
    words = f"{called(machine, mod)} step {step.number}: {said(step, position)}."
    return Entry("add step", step, words, machine)


@handles(ReviseStep)
def revise_step(work: Work, command: ReviseStep) -> Entry:
    machine, mod = _open_mod(work, command.machine, command.mod)
    step = find_step(work.session, mod, command.step)
    position = _position(work, machine, mod, command)
    values = _step_values(command, position)
    expect_version("step", step, command.opened_version, command.columns(StepFields), _where(work, step))
    check_step(command, position)
    if step.done_on and (command.kind != step.kind or values["position_id"] != step.position_id):
        raise Refused("A step that was done keeps its kind and its position. Put it back and write another.")
    if step.done_on and step.kind in OF_ONE_PIN and command.pin != step.pin:
        raise Refused("A step that was done keeps its pin. Put it back and write another.", "pin")
    words = f"{called(machine, mod)} step {step.number}: {change(step, values)}."
    return Entry("revise step", step, words, machine)


@handles(MoveStep)
def move_step(work: Work, command: MoveStep) -> Entry:
    machine, mod = _open_mod(work, command.machine, command.mod)
    moved = _seen(work, mod, command)
    steps = list(work.session.exec(select(Step).where(Step.mod_id == mod.id).order_by(col(Step.number))))
    if not 1 <= command.to <= len(steps):
        raise Invalid({"to": f"The mod has steps 1 to {len(steps)}."})
    done = sum(step.done_on is not None for step in steps)
    if min(command.step, command.to) <= done:
        raise Refused("Steps that were done keep their order; only those after them can be moved.")
    steps.remove(moved)
    steps.insert(command.to - 1, moved)
    _number(work, steps)
    words = f"{called(machine, mod)} step {command.step} is now step {command.to}."
    return Entry("move step", moved, words, machine)


@handles(DropStep)
def drop_step(work: Work, command: DropStep) -> Entry:
    machine, mod = _open_mod(work, command.machine, command.mod)
    step = _seen(work, mod, command)
    if step.done_on:
        raise Refused("A step that was done cannot be taken off the plan. Put it back instead.")
    words = f"{called(machine, mod)} step {step.number} was taken off the plan."
    if move_to(work.session, subject_of(work.session, STEP, step.uuid), subject_of(work.session, "mod", mod.uuid)):
        words += " What was attached to it is attached to the mod now."
    work.session.delete(step)
    work.session.flush()
    later = work.session.exec(select(Step).where(Step.mod_id == mod.id).order_by(col(Step.number)))
    _number(work, list(later))
    return Entry("drop step", step, words, machine)


@handles(CarryOutStep)
def carry_out_step(work: Work, command: CarryOutStep) -> Entry:
    machine, mod = _open_mod(work, command.machine, command.mod)
    step = _seen(work, mod, command)
    if step.done_on:
        raise Refused(f"Step {step.number} was done on {step.done_on} already.")
    if mod.state == ModState.CONSIDERED:
        raise Refused("The mod is only considered. Call it planned before its first step is carried out.")
    position, order = _position_of(work, step), next_order(work, home_of(work.session, mod))
    check_turn(work, mod, step, position, command.day)
    done = _act(work, step, position, command)
    step.done_on, step.done_by, step.done_note = command.day, command.signer, command.note
    step.done_order = order
    words = f"{called(machine, mod)} step {step.number} done on {command.day} by {command.signer}: {done}."
    return Entry("carry out step", step, words, machine)


@handles(FitAnother)
def fit_another(work: Work, command: FitAnother) -> Entry:
    machine, mod = _open_mod(work, command.machine, command.mod)
    step = _seen(work, mod, command)
    position = _position_of(work, step)
    if step.kind != StepKind.FIT or not step.done_on or step.undone_on or position is None:
        raise Refused("Only where this mod has fitted a part can another take its place.")
    _expect_own_part(work, step, position)
    expect_nothing_on_top(work, mod, step)
    old = take_out(work, position, command.day, step)
    went = stow(work, old, command, position)
    new = part_to_fit(work, command, position)
    if new is old:
        raise Refused(f"That is the part that sits at {position.designator} now.", "bagged_part")
    place(work, new, position, command.day, step, command.signer)
    step.part_id = new.key
    step.done_note = "\n\n".join(filter(None, [step.done_note, command.note]))
    if command.bagged_part is not None:
        _expect_way_back(work, mod, new)
    words = (
        f"{called(machine, mod)} step {step.number}: on {command.day} {command.signer} fitted {describe(new)} at "
        f"{position.designator} instead of {describe(old)} ({went})."
    )
    return Entry("fit another", step, words, machine)


@handles(UndoStep)
def undo_step(work: Work, command: UndoStep) -> Entry:
    machine, mod = _open_mod(work, command.machine, command.mod)
    step = _seen(work, mod, command)
    position = _position_of(work, step)
    check_undo(work, mod, step, command.day, command.note)
    done = _reverse(work, step, position, command)
    step.undone_on, step.undone_by, step.undone_note = command.day, command.signer, command.note
    words = f"{called(machine, mod)} step {step.number} put back on {command.day} by {command.signer}: {done}."
    if command.then_undone and mod.state == ModState.FITTED and not _any_stands(work, mod):
        undone = {"machine": machine.tag, "mod": mod.number, "state": ModState.UNDONE, "day": command.day}
        words += f" {move_mod(work, MoveMod.read(undone | {'signer': command.signer})).words}"
    return Entry("undo step", step, words, machine)


def said(step: Step, position: Position | None) -> str:
    where = position.designator if position else ""
    return words_of(step.kind, step.planned_type, step.planned_value, step.pin, where)


def check_step(command: StepFields, position: Position | None) -> None:
    """Refuse a step that says too little, or less than it leaves."""
    faults: dict[str, str] = {}
    if command.kind in NEEDS_POSITION and position is None:
        faults["designator"] = f"To {command.kind} needs a position, such as U7."
    if command.kind is StepKind.LIFT_PIN and not command.pin:
        faults["pin"] = "Say which pin is lifted."
    if position and (problem := check_value(command.planned_value, position.kind)):
        faults["planned_value"] = problem
    usual = trace_of_kind(command.kind, position.mounting if position else None)
    if command.trace_stated and ORDER.index(Trace(command.trace_stated)) < ORDER.index(usual):
        faults["trace_stated"] = f"This kind of step leaves “{usual}” by itself; it can be called worse, never better."
    elif Trace.PERMANENT in (usual, command.trace_stated) and not command.trace_reason:
        faults["trace_reason"] = "This stays for good: write why nothing milder will do."
    elif command.trace_stated not in ("", usual) and not command.trace_reason:
        faults["trace_reason"] = "Say why it leaves more than usual."
    if faults:
        raise Invalid(faults)


def next_order(work: Work, machine: Machine) -> int:
    """The number of an act among all that were done on the machine, and on the boards that came to it."""
    query = select(func.max(Step.done_order)).join(Mod, col(Mod.id) == col(Step.mod_id))
    return (work.session.exec(query.where(mods_ever(machine))).one() or 0) + 1


def _open_mod(work: Work, tag: str, number: int) -> tuple[Machine, Mod]:
    machine = find_machine(work.session, tag)
    mod = find_mod(work.session, machine, number)
    if mod.state in (ModState.UNDONE, ModState.DROPPED):
        raise Refused(f"The mod is {mod.state}; its steps stay as they are.")
    work.touched_mods.add(mod.key)
    return machine, mod


def _seen(work: Work, mod: Mod, command: OfStep) -> Step:
    """The step, if it is still what the keeper saw: numbers shift, and another may have acted meanwhile (rule 7)."""
    step = find_step(work.session, mod, command.step)
    if command.opened_version is not None and step.version != command.opened_version:
        raise Stale("step", step.version, [Difference("step", f"number {step.number} as you saw it", _stands_as(step))])
    return step


def _stands_as(step: Step) -> str:
    now = " ".join(filter(None, [step.kind, step.planned_type, step.planned_value]))
    done = f", done {step.done_on}" if step.done_on else ""
    return f"{now}{done}{f', put back {step.undone_on}' if step.undone_on else ''}"


def _position(work: Work, machine: Machine, mod: Mod, command: StepFields) -> Position | None:
    if not command.designator:
        return None
    if not command.board:
        raise Invalid({"board": "Say on which board the position is."})
    home = home_of(work.session, mod)
    try:
        board = find_board(work.session, home, command.board)
    except NotFound as missing:
        raise Invalid({"board": f"{home.tag} has no board “{missing.name}”. A mod works on its own machine."}) from None
    if not was_in(work.session, board, machine):
        raise Invalid(
            {
                "board": f"Mod {mod.number} of {machine.tag} came to {home.tag} with a board and works on that one "
                f"alone. Write a mod of {home.tag} for {board.name}."
            }
        )
    try:
        return find_position(work.session, board, command.designator)
    except NotFound:
        raise Invalid(
            {"designator": f"{board.name} has no position {command.designator}. Add it on the board's page first."}
        ) from None


def _where(work: Work, step: Step) -> dict[str, str]:
    """The board and position of a step, as the form names them."""
    position = _position_of(work, step)
    board = work.session.get_one(Board, position.board_id).slug if position else ""
    return {"board": board, "designator": position.designator if position else ""}


def _step_values(command: StepFields, position: Position | None) -> dict[str, Any]:
    columns = command.columns(StepFields)
    del columns["board"], columns["designator"]
    return columns | {"position_id": position.key if position else None}


def _position_of(work: Work, step: Step) -> Position | None:
    return work.session.get(Position, step.position_id) if step.position_id else None


def _act(work: Work, step: Step, position: Position | None, command: CarryOutStep) -> str:
    if step.kind == StepKind.TAKE_OUT and position:
        part = take_out(work, position, command.day, step)
        step.part_id = part.key
        return f"took {describe(part)} out of {position.designator}, {stow(work, part, command, position)}"
    if step.kind == StepKind.FIT and position:
        part = part_to_fit(work, command, position)
        place(work, part, position, command.day, step, command.signer)
        step.part_id = part.key
        return f"fitted {describe(part)} at {position.designator}"
    return said(step, position)


def _any_stands(work: Work, mod: Mod) -> bool:
    work.session.flush()
    return any(stands(step) for step in work.session.exec(select(Step).where(Step.mod_id == mod.id)))


def _reverse(work: Work, step: Step, position: Position | None, command: UndoStep) -> str:
    if step.kind == StepKind.FIT and position:
        _expect_own_part(work, step, position)
        part = take_out(work, position, command.day, step)
        return f"took {describe(part)} out of {position.designator}, {stow(work, part, command, position)}"
    if step.kind == StepKind.TAKE_OUT and position and step.part_id:
        part, words = to_put_back(work, step.part_id, position, command)
        place(work, part, position, command.day, step, command.signer)
        _take_the_place_of(work, step.part_id, part, position)
        return words
    return f"reversed: {said(step, position)}"


def _take_the_place_of(work: Work, gone: int, like: Part, position: Position) -> None:
    """A like part stands for the one that it replaces: the step that fitted that one takes the like one out."""
    fitted = select(Step).where(
        Step.position_id == position.id,
        Step.kind == StepKind.FIT,
        Step.part_id == gone,
        col(Step.done_on).is_not(None),
        col(Step.undone_on).is_(None),
    )
    for step in work.session.exec(fitted):
        step.part_id = like.key


def _expect_way_back(work: Work, mod: Mod, part: Part) -> None:
    """A part whose old place is put in order before this one comes out could not return to it."""
    work.session.flush()
    if waiting := waits_for_its_part(work.session, home_of(work.session, mod)):
        raise Refused(
            f"The {describe(part)} came out with mod {waiting.mod}, step {waiting.number}, which has to be put back "
            "before this step is: it could not return to its old place. Fit another part.",
            "bagged_part",
        )


def _expect_own_part(work: Work, step: Step, position: Position) -> None:
    there = occupant(work.session, position)
    if there is None or there.part_id != step.part_id:
        raise Refused(
            f"What sits at {position.designator} now is not what this step fitted: another mod came on top. "
            "Undo that one first."
        )


def _number(work: Work, steps: list[Step]) -> None:
    moving = {number: step for number, step in enumerate(steps, start=1) if step.number != number}
    # Two passes, because (mod, number) is unique and both databases check it row by row.
    for number, step in moving.items():
        step.number = -number
    work.session.flush()
    for number, step in moving.items():
        step.number = number
    work.session.flush()
