"""Signing a mod sheet: the record that it bears and its pages are kept, and a row stands for it.

Both are made before the record is locked, because laying out pages takes long. So the command says after which journal
entry they were made, and is refused where another was written since: what is signed is what the record is at that
moment. Any entry counts, also one about another machine, because procedures, designs and parts are shared.
"""

import json
from typing import Annotated
from uuid import UUID

from pydantic import BeforeValidator
from sqlmodel import col, select

from server.records.commands.base import Command, Day, NeededLine
from server.records.errors import Damaged, Refused
from server.records.files import FileStore, digest_of
from server.records.questions.addresses import find_machine, next_number
from server.records.questions.journal import last_seq
from server.records.sheet_records import SheetRecord, compared_of, read_record, short
from server.records.tables import Machine, SignedSheet
from server.records.work import Entry, Work, handles


class MovedOn(Refused):
    """The journal went on while the sheet was made; made anew it can be signed."""


def _record(content: object) -> SheetRecord:
    if not isinstance(content, bytes):
        raise ValueError("Send the record that the sheet was made from.")  # noqa: TRY004 (pydantic hears no other)
    return read_record(content)


def _pdf(content: object) -> bytes:
    if not isinstance(content, bytes) or not content.startswith(b"%PDF-"):
        raise ValueError("Send the sheet as PDF.")
    return content


class SheetFields(Command):
    """Who signs, on which day."""

    signer: NeededLine
    day: Day


class SignSheet(SheetFields):
    """A mod sheet with the canonical record and the PDF that were made after the journal's entry `made_after`."""

    machine: str
    made_after: int
    record: Annotated[SheetRecord, BeforeValidator(_record)]
    pdf: Annotated[bytes, BeforeValidator(_pdf)]

    def keep_files(self, files: FileStore) -> None:
        files.keep(self.record.content)
        files.keep(self.pdf)


@handles(SignSheet)
def sign_sheet(work: Work, command: SignSheet) -> Entry:
    machine = find_machine(work.session, command.machine)
    _check_machine(machine, command.record.machine)
    if last_seq(work.session) != command.made_after:
        raise MovedOn("Something was written into the record while the sheet was made. Nothing was signed; sign again.")
    _check_new(work, machine, command)
    sheet = work.add(
        SignedSheet(
            machine_id=machine.key,
            number=next_number(work.session, SignedSheet.number, SignedSheet.machine_id == machine.id),
            **command.columns(SheetFields),
            sha256=command.record.sha256,
            pdf_sha256=digest_of(command.pdf),
        )
    )
    words = f"Mod sheet {sheet.number} of {machine.tag} was signed by {sheet.signer}, digest {short(sheet.sha256)}."
    return Entry("sign sheet", sheet, words, machine)


def _check_machine(machine: Machine, recorded: UUID) -> None:
    if machine.uuid != recorded:
        raise Refused(f"This is not the record of {machine.tag}.", "record")


def _check_new(work: Work, machine: Machine, command: SignSheet) -> None:
    """The same record signed twice on one day says nothing more; it comes of a form that was sent again."""
    query = select(SignedSheet).where(SignedSheet.machine_id == machine.id, SignedSheet.day == command.day)
    last = work.session.exec(query.order_by(col(SignedSheet.number).desc()).limit(1)).first()
    if last and _still_says(work.files, last, command.record):
        said = f"This record was signed on {last.day} already: it is mod sheet {last.number}, by {last.signer}."
        raise Refused(f"{said} Nothing of it has changed since.")


def _still_says(files: FileStore, sheet: SignedSheet, record: SheetRecord) -> bool:
    try:
        return compared_of(json.loads(files.read(sheet.sha256))) == record.compared
    except Damaged:  # `putback check` names it; it keeps nobody from signing
        return False
