"""The question which mods have steps at a board's positions, so that these can be shown on its map."""

from collections.abc import Sequence

from sqlmodel import Session, col, select

from server.records.questions.stays import mod_here
from server.records.tables import Board, Machine, Mod, Position, Step
from server.records.words import ModState


def mods_at(session: Session, machine: Machine, board: Board) -> Sequence[Mod]:
    """The mods at work on this machine with a step at a position of the board, but for those that were dropped."""
    there = select(Step.mod_id).join(Position).where(Position.board_id == board.id)
    query = select(Mod).where(col(Mod.id).in_(there), mod_here(machine), Mod.state != ModState.DROPPED)
    return session.exec(query.order_by(col(Mod.machine_id), col(Mod.number))).all()
