"""Holding a mod sheet that somebody has against what was signed here: plain lines, and whether it is as it was signed.

What changed in the record since is told, and is nothing against the sheet.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass, field

from sqlmodel import Session, select

from server.documents.kept_sheets import changed_since
from server.documents.record import machine_record
from server.documents.sheet_changes import changes
from server.documents.sheet_files import HeldSheet
from server.records.errors import Damaged
from server.records.files import FileStore
from server.records.questions.signed_sheets import with_digest
from server.records.sheet_records import short
from server.records.tables import Machine, SignedSheet


@dataclass(slots=True)
class SheetCheck:
    """What is to be said of a sheet, line by line, and whether it is one that was signed here."""

    matches: bool = False
    lines: list[str] = field(default_factory=list)


def check_sheet(session: Session, files: FileStore, held: HeldSheet) -> SheetCheck:
    """Whether the sheet's record, and its pages where it is a PDF, are those that were signed."""
    found = with_digest(session, held.record.sha256)
    if not found:
        return _unknown(session, held)
    sheet, machine = found[0]
    said = SheetCheck(True, [f"{told(sheet, machine)}, digest {short(sheet.sha256)}."])
    if held.pdf_sha256 in ("", sheet.pdf_sha256):
        what = "The file is the sheet" if held.pdf_sha256 else "The file is the record of the sheet"
        said.lines.append(f"{what} as it was signed, byte for byte.")
    else:
        said.matches = False
        place = f"/machines/{machine.tag}/sheets/{sheet.number}.pdf"
        said.lines.append(
            "The record inside is the one that was signed, but the file is not the one that was kept: its pages may "
            f"say something else. Hold them against the sheet as signed, {place}."
        )
    try:
        said.lines += _since(
            changed_since(session, files, sheet, machine), "Since it was signed the record has changed"
        )
    except Damaged as damage:
        said.matches = False
        said.lines.append(f"What was kept of it here is damaged: {damage}")
    return said


def told(sheet: SignedSheet, machine: Machine) -> str:
    """A signed sheet in half a sentence."""
    return f"Mod sheet {sheet.number} of {machine.tag}, signed by {sheet.signer} on {sheet.day}"


def _unknown(session: Session, held: HeldSheet) -> SheetCheck:
    said = SheetCheck(False, [f"No sheet with the digest {short(held.record.sha256)} of this record was signed here."])
    if held.printed and held.printed != held.record.sha256:
        said.lines.append(f"On its paper stands another digest, {short(held.printed)}: one of the two was changed.")
        said.lines += [f"That is the digest of: {told(*row)}." for row in with_digest(session, held.printed)]
    machine = session.exec(select(Machine).where(Machine.uuid == held.record.machine)).first()
    if machine is None:
        said.lines.append("It is of a machine that is not on this shelf.")
        return said
    differing = changes(json.loads(held.record.content), machine_record(session, machine))
    return SheetCheck(
        False, said.lines + _since(differing, f"Held against it, the record of {machine.tag} has changed")
    )


def _since(differing: Sequence[str], words: str) -> list[str]:
    if not differing:
        return ["The record says the same today."]
    return [f"{words}:", *(f"  {sentence}" for sentence in differing)]
