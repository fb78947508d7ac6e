"""Which hazards a machine brings along, with those of its boards (rule 9)."""

from sqlmodel import Session, select

from server.records.cautions import cautions
from server.records.tables import Board, Machine, Mod


def cautions_for(session: Session, machine: Machine, mod: Mod | None = None) -> list[str]:
    """The cautions that belong on every page about a machine, and about one of its mods; one query."""
    boards = session.exec(select(Board.hazards).where(Board.machine_id == machine.id)).all()
    return cautions(machine.hazards, mod.hazards if mod else [], *boards)
