"""Every command that changes the record. Importing this registers their handlers."""

from server.records.commands import (
    accounts,
    board_moves,
    calculations,
    circuits,
    dating,
    designs,
    dossiers,
    files,
    invitations,
    loans,
    machines,
    maps,
    mod_lists,
    mods,
    nets,
    parts,
    photographs,
    share_links,
    sheets,
    steps,
    symptoms,
    trial_drops,
    trials,
    waveforms,
)
from server.records.work import Work

__all__ = [
    "accounts",
    "board_moves",
    "calculations",
    "circuits",
    "dating",
    "designs",
    "dossiers",
    "files",
    "follow_up",
    "invitations",
    "loans",
    "machines",
    "maps",
    "mod_lists",
    "mods",
    "nets",
    "parts",
    "photographs",
    "share_links",
    "sheets",
    "steps",
    "symptoms",
    "trial_drops",
    "trials",
    "waveforms",
]


def follow_up(work: Work) -> None:
    """What every act brings along by itself, in the same transaction."""
    calculations.run_touched(work)
