"""What is known of a signed sheet: the record that it bears, held against its machine's record as it is now."""

import json

from sqlmodel import Session

from server.documents.record import machine_record
from server.documents.sheet_changes import changes
from server.records.files import FileStore
from server.records.tables import Machine, SignedSheet


def changed_since(session: Session, files: FileStore, sheet: SignedSheet, machine: Machine) -> list[str]:
    """A sentence for each thing that is no longer as the sheet says. Raises Damaged where its record is not whole."""
    return changes(json.loads(files.read(sheet.sha256)), machine_record(session, machine))
