"""Adding photographs to records, and revising what is said of them.

The file is looked through while the command is read, and on the disk before the record is locked, so that nobody
else's write waits for either; a refusal after that leaves behind a file that no row names, which does no harm.
A photograph that was added stays: the record keeps what it once was shown.
"""

from functools import partial
from typing import Annotated

from pydantic import BeforeValidator
from sqlmodel import Session

from server.records.commands.base import Command, Line, NeededLine, OptionalDay, change, expect_version
from server.records.errors import Refused
from server.records.files import FileStore
from server.records.pictures import Picture, take_in, view_name
from server.records.questions.addresses import find_machine, find_photograph, next_number
from server.records.questions.photographs import Subject, find_subject, those_of
from server.records.tables import Photograph
from server.records.work import Entry, Work, handles


def _taken_in(content: object) -> Picture:
    if not isinstance(content, bytes):
        raise ValueError("Send the photograph's file.")  # noqa: TRY004 (pydantic hears no other)
    return take_in(content)


class CaptionFields(Command):
    """What is said of a photograph."""

    caption: Line = ""
    taken_on: OptionalDay = None


class AddPhotograph(Command):
    """A photograph of the record that is a `on_kind` and is called `on` within its machine; `content` is its file."""

    machine: str
    on_kind: Line
    on: Line
    caption: Line = ""
    file_name: NeededLine
    content: Annotated[Picture, BeforeValidator(_taken_in)]

    def keep_files(self, files: FileStore) -> None:
        digest = files.keep(self.content.kept)
        for most in self.content.views:
            files.derived(digest, view_name(most), partial(self.content.views.__getitem__, most))


class ReviseCaption(CaptionFields):
    machine: str
    photograph: int
    opened_version: int


@handles(AddPhotograph)
def add_photograph(work: Work, command: AddPhotograph) -> Entry:
    machine = find_machine(work.session, command.machine)
    subject = find_subject(work.session, machine, command.on_kind, command.on)
    picture = command.content
    _check_new(work.session, subject, picture)
    photograph = work.add(
        Photograph(
            machine_id=machine.key,
            number=next_number(work.session, Photograph.number, Photograph.machine_id == machine.id),
            on_kind=subject.kind,
            on_uuid=subject.row.uuid,
            caption=command.caption,
            taken_on=picture.taken_on,
            file_name=command.file_name,
            media_type=picture.media_type,
            width=picture.width,
            height=picture.height,
            size=len(picture.kept),
            sha256=picture.sha256,
            sent_sha256=picture.sent_sha256,
        )
    )
    said = f": “{photograph.caption}”" if photograph.caption else ""
    words = f"Added photograph {photograph.number} of {machine.tag}, to {subject}{said}."
    return Entry("add photograph", photograph, words, machine)


@handles(ReviseCaption)
def revise_caption(work: Work, command: ReviseCaption) -> Entry:
    machine = find_machine(work.session, command.machine)
    photograph = find_photograph(work.session, machine, command.photograph)
    values = command.columns(CaptionFields)
    expect_version("photograph", photograph, command.opened_version, values)
    words = f"Photograph {photograph.number} of {machine.tag}: {change(photograph, values)}."
    return Entry("revise caption", photograph, words, machine)


def _check_new(session: Session, subject: Subject, picture: Picture) -> None:
    """The same file twice says nothing more; it comes of a form that was sent again."""
    known = session.exec(those_of(subject).where(Photograph.sent_sha256 == picture.sent_sha256).limit(1)).first()
    if known:
        raise Refused(f"This file is photograph {known.number} already.", "content")
