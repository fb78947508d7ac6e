"""Every command that changes the record. Importing this registers their handlers."""

from server.records.commands import calculations, machines, mods, parts, photographs, steps, symptoms, trials
from server.records.work import Work

__all__ = ["calculations", "follow_up", "machines", "mods", "parts", "photographs", "steps", "symptoms", "trials"]


def follow_up(work: Work) -> None:
    """What every act brings along by itself, in the same transaction."""
    calculations.run_touched(work)
