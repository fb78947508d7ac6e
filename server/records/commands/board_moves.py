"""A board moves to another machine and takes its history along: its parts, what was done to it, the boards it holds.

A mod does not move: it keeps its number in the machine that it was written for. So it may not lie half on the board and
half elsewhere, and none may be open, on the day that the board goes.
"""

from collections.abc import Iterable, Sequence
from datetime import date

from sqlmodel import Session, col, func, or_, select

from server.records.commands.base import Command, Day, NeededLine, Prose
from server.records.commands.machines import free_board_slug
from server.records.errors import Invalid, NotFound, Refused
from server.records.questions.addresses import find_board, find_machine
from server.records.questions.stays import tags_of
from server.records.tables import Board, BoardStay, Machine, Mod, ModMove, Placement, Position, Step
from server.records.words import ModState
from server.records.work import Entry, Work, handles

OPEN = (ModState.CONSIDERED.value, ModState.PLANNED.value)
SETTLED = (ModState.FITTED.value, ModState.UNDONE.value)


class MoveBoard(Command):
    """A board, with those it holds, goes to the machine with the tag `to` on a day, signed."""

    machine: str
    board: str
    to: NeededLine
    day: Day
    signer: NeededLine
    note: Prose = ""


@handles(MoveBoard)
def move_board(work: Work, command: MoveBoard) -> Entry:
    session = work.session
    machine = find_machine(session, command.machine)
    board = find_board(session, machine, command.board)
    target = _target(session, machine, command.to)
    boards = [board, *_held_by(session, board)]
    _check_mods(session, boards)
    _check_day(session, boards, command.day)
    for one in boards:
        _stay(work, one, target, command)
        one.slug = free_board_slug(session, target, one.name)
        one.machine_id = target.key
        session.flush()
    board.parent_id = None
    held = f", and with it {_listed(one.name for one in boards[1:])}" if boards[1:] else ""
    words = f"{board.name} of {machine.tag} is in {target.tag} since {command.day}{held}, signed {command.signer}."
    return Entry("move board", board, words, machine)


def _target(session: Session, machine: Machine, tag: str) -> Machine:
    try:
        target = find_machine(session, tag)
    except NotFound as missing:
        raise Invalid({"to": str(missing)}) from None
    if target.id == machine.id:
        raise Invalid({"to": f"It is in {machine.tag} already. Choose another machine."})
    return target


def _held_by(session: Session, board: Board) -> list[Board]:
    """The boards that a board holds, and those that they hold."""
    found: list[Board] = []
    waiting = [board.key]
    while waiting:
        query = select(Board).where(col(Board.parent_id).in_(waiting)).order_by(col(Board.name), col(Board.id))
        held = session.exec(query).all()
        found += held
        waiting = [one.key for one in held]
    return found


def _stay(work: Work, board: Board, target: Machine, command: MoveBoard) -> None:
    """End its stay in the one machine and begin that in the other; of a board's first machine it is written now."""
    query = select(BoardStay).where(BoardStay.board_id == board.id, col(BoardStay.until).is_(None))
    last = work.session.exec(query).first()
    if last is None:
        work.add(BoardStay(board_id=board.key, machine_id=board.machine_id, until=command.day))
    else:
        last.until = command.day
    stay = BoardStay(board_id=board.key, machine_id=target.key, since=command.day)
    stay.signer, stay.note = command.signer, command.note
    work.add(stay)


# ---- What stands in the way ----


def _check_mods(session: Session, boards: Sequence[Board]) -> None:
    """Refuse while a mod is open on these boards, or lies half on them."""
    keys = {board.key for board in boards}
    on_them = select(Step.mod_id).join(Position, col(Position.id) == col(Step.position_id))
    on_them = on_them.where(col(Position.board_id).in_(keys))
    mods = select(Mod).where(col(Mod.id).in_(on_them)).order_by(col(Mod.machine_id), col(Mod.number))
    found = session.exec(mods).all()
    called = _Called(session, found, boards[0])
    if open_mods := [mod for mod in found if mod.state in OPEN]:
        raise Refused(
            f"{called(open_mods[0])} is {open_mods[0].state} and has steps on this board. Drop it, or carry it out and "
            "call it fitted, first."
        )
    elsewhere = (
        select(Step.mod_id)
        .join(Position, col(Position.id) == col(Step.position_id))
        .where(col(Position.board_id).not_in(keys))
    )
    split = mods.where(Mod.state == ModState.FITTED, col(Mod.id).in_(elsewhere))
    if both := session.exec(split).first():
        raise Refused(
            f"{called(both)} has steps on this board and on others: undo it first, or let the one board hold the "
            "others, so that they go together."
        )


class _Called:
    """Mods as a refusal names them: by number, and with their machine's tag where it is another than the board's."""

    def __init__(self, session: Session, mods: Sequence[Mod], board: Board) -> None:
        self.here = board.machine_id
        self.tags = tags_of(session, mods)

    def __call__(self, mod: Mod) -> str:
        return (
            f"Mod {mod.number}" if mod.machine_id == self.here else f"Mod {mod.number} of {self.tags[mod.machine_id]}"
        )


def _check_day(session: Session, boards: Sequence[Board], day: date) -> None:
    keys = [board.key for board in boards]
    since = session.exec(select(func.max(BoardStay.since)).where(col(BoardStay.board_id).in_(keys))).one()
    if since and day < since:
        raise Invalid({"day": f"It came here on {since}; it cannot have left before."})
    last = max(_days_of_acts(session, keys), default=None)
    if last and day < last:
        raise Invalid({"day": f"Work of a mod on it is noted for {last}; it cannot have left before."})


def _days_of_acts(session: Session, boards: Sequence[int]) -> Iterable[date]:
    """The last days on which mods did something at these boards' positions, or became fitted or undone."""
    positions = select(Position.id).where(col(Position.board_id).in_(boards))
    at_them = col(Step.position_id).in_(positions)
    mods = select(Step.mod_id).where(at_them)
    asked = (
        select(func.max(Step.done_on)).where(at_them),
        select(func.max(Step.undone_on)).where(at_them),
        select(func.max(Placement.fitted_on)).where(
            col(Placement.position_id).in_(positions),
            or_(col(Placement.fitted_by_step_id).is_not(None), col(Placement.removed_by_step_id).is_not(None)),
        ),
        select(func.max(ModMove.day)).where(col(ModMove.mod_id).in_(mods), col(ModMove.state).in_(SETTLED)),
    )
    return [found for query in asked if (found := session.exec(query).one())]


def _listed(names: Iterable[str]) -> str:
    *most, last = names
    return f"{', '.join(most)} and {last}" if most else last
