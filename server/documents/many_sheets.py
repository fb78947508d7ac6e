"""The mod sheets of several machines, one PDF for each, in one zip file: what a club's archive asks for.

Each machine is read, laid out and written before the next, so that memory does not grow with their number.
"""

import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from server.documents.dossier import folder_of
from server.documents.pdf import mod_sheet_pdf
from server.documents.photograph_views import views_of
from server.documents.sheet_choice import USUAL, SheetChoice
from server.documents.signing import drawn_up
from server.records.files import written_beside
from server.records.store import Store
from server.records.work import Heard


@dataclass(frozen=True, slots=True)
class ManyAsked:
    """Whose sheets are asked for, on which day, by whom, and what is on each. The choice names no mods."""

    tags: Sequence[str]
    day: date
    signer: str
    choice: SheetChoice = USUAL


def write_sheets(store: Store, asked: ManyAsked, place: Path, heard: Heard) -> str:
    """Write the sheets of machines as they are now, all of them or no file, and say how many there are.

    `heard` is told how many are in, and stops the work by raising. Raises NotFound where a machine is gone; OSError.
    """
    with written_beside(place) as beside, zipfile.ZipFile(beside, "w") as archive:
        for number, tag in enumerate(asked.tags):
            heard(number, len(asked.tags))
            drawn = drawn_up(store, tag, asked.day, otherwise=asked.signer, choice=asked.choice)
            pdf = mod_sheet_pdf(drawn.sheet, drawn.record, asked.choice.paper, views_of(drawn.sheet, store.files))
            archive.writestr(_entry(drawn.sheet.tag, number, asked.day), pdf)
    heard(len(asked.tags), len(asked.tags))
    return "1 sheet is written." if len(asked.tags) == 1 else f"{len(asked.tags):,} sheets are written."


def _entry(tag: str, number: int, day: date) -> zipfile.ZipInfo:
    """Two tags can look alike as names of files, so each has its place before it."""
    name = f"{number + 1:04}-{folder_of(tag, day)}-mod-sheet.pdf"
    entry = zipfile.ZipInfo(name, (day.year, day.month, day.day, 0, 0, 0))
    entry.external_attr = 0o644 << 16
    return entry
