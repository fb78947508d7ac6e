"""Which hazards a machine brings along, with those of its boards (rule 9)."""

from sqlmodel import Session, select

from server.records.cautions import cautions
from server.records.questions.stays import home_of
from server.records.tables import Board, Machine, Mod


def cautions_for(session: Session, machine: Machine, mod: Mod | None = None) -> list[str]:
    """The cautions that belong on every page about a machine, and about one of its mods.

    A mod whose board went to another machine brings those of the machine that it works on now.
    """
    home = home_of(session, mod) if mod else machine
    boards = session.exec(select(Board.hazards).where(Board.machine_id == home.id)).all()
    return cautions(home.hazards, mod.hazards if mod else [], *boards)
