"""Whether the mods of a list can come in: each says enough, stands where something is, and is not there already.

The rules are those of the ordinary acts (`mods`, `steps`, `step_order`), held against what was read at once
(`questions/mod_ground`).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from server.records.commands.base import words
from server.records.commands.listed_mods import ListedMod, ListedStep
from server.records.commands.mods import check_aim
from server.records.commands.step_order import (
    ON_WHAT_SITS_THERE,
    before_the_board,
    before_the_last,
    before_what_lies_below,
    before_what_sits,
    nothing_sits,
)
from server.records.commands.steps import check_step
from server.records.errors import Invalid
from server.records.questions.mod_ground import Ground, Standing
from server.records.questions.stacking import rows_of
from server.records.tables import Board, Position, Step
from server.records.texts import printable
from server.records.words import ModState

COMPARED = ("state", "aim", "purpose", "reasoning", "outcome", "hazards")
NAMED = 60
BOARDS_NAMED = 12


@dataclass(frozen=True, slots=True)
class Usual:
    """What counts for the mods of a list that do not say it themselves."""

    day: date | None
    signer: str


# ---- Whether it is there already ----


def same(ground: Ground, row: ListedMod) -> int | None:
    """The number of a mod of which the list says nothing else than the record does."""
    return next((one.mod.number for one in ground.called(row.title) if not _differing(ground, row, one)), None)


def _differing(ground: Ground, row: ListedMod, one: Standing) -> list[str]:
    """What the list says of a mod that the record has otherwise; what it does not say differs from nothing."""
    said = [name for name in COMPARED if getattr(row, name) and name in row.model_fields_set]
    found = [name for name in said if _plain(getattr(row, name)) != _plain(getattr(one.mod, name))]
    if row.day and row.day != one.move.day:
        found.append("day")
    if row.signer and _plain(row.signer) != _plain(one.move.signer):
        found.append("signer")
    return found if _steps_stand(ground, row, one.steps) else [*found, "steps"]


def _steps_stand(ground: Ground, row: ListedMod, steps: Sequence[Step]) -> bool:
    pairs = enumerate(zip(row.steps, steps, strict=False))
    each = (_stands(ground, listed, step, recorded=place < row.recorded) for place, (listed, step) in pairs)
    return len(row.steps) <= len(steps) and all(each)


def _stands(ground: Ground, listed: ListedStep, step: Step, *, recorded: bool) -> bool:
    try:
        position = position_of(ground, listed)
    except Invalid:
        return False
    told = listed.told(recorded=recorded)
    when = not recorded or listed.done_on == step.done_on
    where = step.position_id == (position.key if position else None)
    return when and where and all(_plain(text) == _plain(getattr(step, name)) for name, text in told.items())


def _plain(value: object) -> object:
    """A text without regard to its blanks, a list to its order."""
    match value:
        case str():
            return " ".join(value.split())
        case list():
            return sorted(map(str, value))
        case _:
            return value


# ---- What is wrong with it ----


def faults(ground: Ground, row: ListedMod, usual: Usual) -> list[str]:
    """Why a listed mod cannot come in; nothing where it can."""
    if number := same(ground, row):
        return [f"Mod {number} says the same already."]
    return [*_title_faults(ground, row), *_life_faults(row, usual), *_step_faults(ground, row)]


def _title_faults(ground: Ground, row: ListedMod) -> Iterator[str]:
    if there := ground.called(row.title):
        differing = ", ".join(words(name) for name in _differing(ground, row, there[-1]))
        yield (
            f"Mod {there[-1].mod.number} is called so already, and differs in: {differing}. A list adds mods and "
            "changes none: revise that one, or give this one another title."
        )


def _life_faults(row: ListedMod, usual: Usual) -> Iterator[str]:
    day = row.day or usual.day
    if day is None:
        yield f"Day: nothing says since when it is {row.state}."
    if not (row.signer or usual.signer):
        yield f"Signer: nobody signs that it is {row.state}."
    try:
        check_aim(row.aim, row.purpose)
    except Invalid as fault:
        yield from (f"{words(name).capitalize()}: {said}" for name, said in fault.messages.items())
    done = [step.done_on for step in row.steps if step.done_on]
    if done and row.state is ModState.CONSIDERED:
        yield "State: a mod that is only considered has no step that was done. Call it planned or fitted."
    if row.recorded and row.state is ModState.FITTED and day and day < max(done[: row.recorded]):
        yield f"Day: its step was done on {max(done[: row.recorded])}; it cannot be fitted before."


def _step_faults(ground: Ground, row: ListedMod) -> Iterator[str]:
    last: date | None = None
    for place, step in enumerate(row.steps):
        called = f"Step {place + 1}, " if len(row.steps) > 1 else "Its step, "
        try:
            position = position_of(ground, step)
            check_step(step, position)
        except Invalid as fault:
            yield from (f"{called}{words(name)}: {said}" for name, said in fault.messages.items())
            continue
        if place < row.recorded and step.done_on:
            if said := before_the_last(last, step.done_on) or _day_fault(ground, step, position, step.done_on):
                yield f"{called}done on: {said}"
            last = step.done_on


def position_of(ground: Ground, step: ListedStep) -> Position | None:
    """Where a step is; raises Invalid where there is no such place."""
    board = _board_of(ground, step)
    if not step.designator or board is None:
        return None
    found = ground.position(board, step.designator)
    if found is None:
        named = printable(step.designator, NAMED)
        raise Invalid({"designator": f"{board.name} has no position {named}. Add it on the board's page first."})
    return found


def _board_of(ground: Ground, step: ListedStep) -> Board | None:
    """The board that is named; where the machine has one alone, it need not be."""
    if step.board:
        board = ground.board(step.board)
        if board is None:
            there = ", ".join(one.name for one in ground.boards[:BOARDS_NAMED]) or "none yet"
            named = printable(step.board, NAMED)
            raise Invalid({"board": f"{ground.machine.tag} has no board “{named}”. Its boards: {there}."})
        return board
    if step.designator and len(ground.boards) != 1:
        raise Invalid({"board": "Say on which board the position is."})
    return ground.boards[0] if ground.boards else None


def _day_fault(ground: Ground, step: ListedStep, position: Position | None, day: date) -> str:
    """Why a step cannot have been done at its place on a day."""
    if position is None:
        return ""
    board = next(one for one in ground.boards if one.id == position.board_id)
    rows = rows_of(Step(mod_id=0, number=0, kind=step.kind.value, position_id=position.key, pin=step.pin))
    below = max((ground.last_act[one] for one in rows if one in ground.last_act), default=None)
    return (
        before_the_board(board.name, ground.came.get(board.key), day)
        or before_what_lies_below(position.designator, below, day)
        or _seat_fault(ground, step, position, day)
    )


def _seat_fault(ground: Ground, step: ListedStep, position: Position, day: date) -> str:
    seat = ground.seats.get(position.key)
    if seat is None or step.kind not in ON_WHAT_SITS_THERE:
        return ""
    return before_what_sits(position.designator, seat.since, day) if seat.holds else nothing_sits(position.designator)
