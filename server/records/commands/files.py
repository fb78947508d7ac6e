"""Adding files to records, revising what is said of them, and taking one off that was added by mistake.

A file is kept byte for byte, and never opened: what it means is the keeper's word. As with photographs, the file is on
the disk before the record is locked, and stays there when its row is taken off.
"""

from typing import Annotated

from pydantic import BeforeValidator
from sqlmodel import Session

from server.records.commands.base import Command, Line, NeededLine, change, expect_version
from server.records.errors import Refused
from server.records.file_facts import FileFacts, facts_of
from server.records.files import FileStore
from server.records.questions.addresses import find_file, find_machine
from server.records.questions.attached_files import files_on
from server.records.questions.numbers import next_ever
from server.records.questions.subjects import Subject, subject_in
from server.records.tables import AttachedFile, Machine
from server.records.words import FileKind
from server.records.work import Entry, Work, handles

DROPPED = "drop file"


def _taken_in(content: object) -> FileFacts:
    if not isinstance(content, bytes):
        raise ValueError("Send the file.")  # noqa: TRY004 (pydantic hears no other)
    return facts_of(content)


class FileFields(Command):
    """What is said of a file."""

    kind: FileKind
    caption: Line = ""


class AddFile(FileFields):
    """A file of the record that is a `on_kind` and is called `on` within its machine; `content` is what it holds."""

    machine: str
    on_kind: Line
    on: Line
    file_name: NeededLine
    content: Annotated[FileFacts, BeforeValidator(_taken_in)]

    def keep_files(self, files: FileStore) -> None:
        files.keep(self.content.content)


class DropFile(Command):
    """Take a file off the record."""

    machine: str
    file: int
    opened_version: int


class ReviseFile(FileFields):
    machine: str
    file: int
    opened_version: int


@handles(AddFile)
def add_file(work: Work, command: AddFile) -> Entry:
    subject, facts = subject_in(work.session, command.machine, command.on_kind, command.on), command.content
    machine = subject.machine
    _check_new(work.session, subject, facts)
    file = work.add(
        AttachedFile(
            machine_id=machine.key,
            number=next_ever(work.session, AttachedFile, DROPPED, machine_id=machine.key),
            on_kind=subject.kind,
            on_uuid=subject.row.uuid,
            **command.columns(FileFields),
            file_name=command.file_name,
            size=len(facts.content),
            sha256=facts.sha256,
            crc32=facts.crc32,
            sha1=facts.sha1,
        )
    )
    told = f"{file.kind} “{file.file_name}”" if file.kind != FileKind.OTHER else f"“{file.file_name}”"
    digest = f", CRC-32 {file.crc32}" if file.kind == FileKind.FIRMWARE_DUMP else ""
    return Entry("add file", file, f"Added file {file.number} of {machine.tag}, to {subject}: {told}{digest}.", machine)


@handles(ReviseFile)
def revise_file(work: Work, command: ReviseFile) -> Entry:
    machine = find_machine(work.session, command.machine)
    file = find_file(work.session, machine, command.file)
    values = command.columns(FileFields)
    expect_version("file", file, command.opened_version, values)
    return Entry("revise file", file, f"File {file.number} of {machine.tag}: {change(file, values)}.", machine)


@handles(DropFile)
def drop_file(work: Work, command: DropFile) -> Entry:
    machine = find_machine(work.session, command.machine)
    file = find_file(work.session, machine, command.file)
    expect_version("file", file, command.opened_version, {})
    work.session.delete(file)
    work.session.flush()
    words = f"File {file.number} of {machine.tag}, {file.file_name}, was taken off the record."
    return Entry(DROPPED, file, words, machine)


def _check_new(session: Session, subject: Subject, facts: FileFacts) -> None:
    """The same file twice says nothing more; it comes of a form that was sent again."""
    known = session.exec(files_on(subject).where(AttachedFile.sha256 == facts.sha256).limit(1)).first()
    if known:
        elsewhere = known.machine_id != subject.machine.id
        of = f" of {session.get_one(Machine, known.machine_id).tag}" if elsewhere else ""
        raise Refused(f"This file is file {known.number}{of} already.", "content")
