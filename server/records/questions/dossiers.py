"""Dossiers that were taken in: which a machine came with, and what the journal was that it comes from."""

import json
from datetime import datetime
from typing import Any

from sqlmodel import Session, col, select

from server.records.files import FileStore
from server.records.questions.journal import Told
from server.records.questions.paging import Paged, page_in
from server.records.tables import DossierImport, Machine

IMPORTED = "import dossier"


def last_import(session: Session, machine: Machine) -> DossierImport | None:
    query = select(DossierImport).where(DossierImport.machine_id == machine.id)
    return session.exec(query.order_by(col(DossierImport.number).desc()).limit(1)).first()


def earlier(files: FileStore, brought: DossierImport, number: int, most: int = 50) -> Paged[Told]:
    """A page of the journal that a machine brought along, the latest first. Raises Damaged."""
    told = json.loads(files.read(brought.journal_sha256)) if brought.journal_sha256 else []
    told.reverse()
    page = page_in(len(told), number, most)
    rows = [_told(entry) for entry in told[page.start : page.start + most]]
    return Paged(rows, page.number, page.last, page.total)


def _told(entry: dict[str, Any]) -> Told:
    at = datetime.fromisoformat(entry["at"])
    return Told(int(entry["seq"]), at, *(str(entry[name]) for name in ("who", "act", "words", "hash")))
