"""Adding photographs to records, revising what is said of them, and taking one off that was added by mistake.

The file is looked through while the command is read, and on the disk before the record is locked, so that nobody
else's write waits for either; a refusal after that leaves behind a file that no row names, which does no harm.
Of one that is taken off, the journal keeps what it was; its file stays in the files folder, named by no row.
"""

from functools import partial
from typing import Annotated, Literal

from pydantic import BeforeValidator
from sqlmodel import Session, select

from server.records.commands.base import Command, Line, NeededLine, OptionalDay, change, expect_version
from server.records.errors import Invalid, Refused
from server.records.files import FileStore
from server.records.pictures import Picture, take_in, view_name
from server.records.questions.addresses import find_machine, find_photograph
from server.records.questions.numbers import next_ever
from server.records.questions.photographs import those_of
from server.records.questions.subjects import STEP, Subject, subject_in
from server.records.tables import BoardPicture, Machine, Photograph
from server.records.words import Moment
from server.records.work import Entry, Work, handles

DROPPED = "drop photograph"


def _taken_in(content: object) -> Picture:
    if not isinstance(content, bytes):
        raise ValueError("Send the photograph's file.")  # noqa: TRY004 (pydantic hears no other)
    return take_in(content)


class CaptionFields(Command):
    """What is said of a photograph; `moment` only of one that shows a step."""

    caption: Line = ""
    moment: Moment | Literal[""] = ""
    taken_on: OptionalDay = None


class AddPhotograph(Command):
    """A photograph of the record that is a `on_kind` and is called `on` within its machine; `content` is its file."""

    machine: str
    on_kind: Line
    on: Line
    moment: Moment | Literal[""] = ""
    caption: Line = ""
    file_name: NeededLine
    content: Annotated[Picture, BeforeValidator(_taken_in)]

    def keep_files(self, files: FileStore) -> None:
        digest = files.keep(self.content.kept)
        for most in self.content.views:
            files.derived(digest, view_name(most), partial(self.content.views.__getitem__, most))


class DropPhotograph(Command):
    """Take a photograph off the record."""

    machine: str
    photograph: int
    opened_version: int


class ReviseCaption(CaptionFields):
    machine: str
    photograph: int
    opened_version: int


@handles(AddPhotograph)
def add_photograph(work: Work, command: AddPhotograph) -> Entry:
    subject, picture = subject_in(work.session, command.machine, command.on_kind, command.on), command.content
    machine = subject.machine
    _check_moment(subject.kind, command.moment)
    _check_new(work.session, subject, picture)
    photograph = work.add(
        Photograph(
            machine_id=machine.key,
            number=next_ever(work.session, Photograph, DROPPED, machine_id=machine.key),
            on_kind=subject.kind,
            on_uuid=subject.row.uuid,
            moment=command.moment,
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
    when = f", {photograph.moment} it" if photograph.moment else ""
    words = f"Added photograph {photograph.number} of {machine.tag}, to {subject}{when}{said}."
    return Entry("add photograph", photograph, words, machine)


@handles(ReviseCaption)
def revise_caption(work: Work, command: ReviseCaption) -> Entry:
    machine = find_machine(work.session, command.machine)
    photograph = find_photograph(work.session, machine, command.photograph)
    _check_moment(photograph.on_kind, command.moment)
    values = command.columns(CaptionFields)
    if photograph.on_kind != STEP:
        del values["moment"]
    expect_version("photograph", photograph, command.opened_version, values)
    words = f"Photograph {photograph.number} of {machine.tag}: {change(photograph, values)}."
    return Entry("revise caption", photograph, words, machine)


@handles(DropPhotograph)
def drop_photograph(work: Work, command: DropPhotograph) -> Entry:
    machine = find_machine(work.session, command.machine)
    photograph = find_photograph(work.session, machine, command.photograph)
    expect_version("photograph", photograph, command.opened_version, {})
    if work.session.exec(select(BoardPicture.id).where(BoardPicture.photograph_id == photograph.id)).first():
        raise Refused("This photograph is on the map of a board. Leave it out of the map first.")
    work.session.delete(photograph)
    work.session.flush()
    words = f"Photograph {photograph.number} of {machine.tag} was taken off the record."
    return Entry(DROPPED, photograph, words, machine)


def _check_moment(kind: str, moment: str) -> None:
    if moment and kind != STEP:
        raise Invalid({"moment": "Only a photograph of a step is taken before it or after it."})


def _check_new(session: Session, subject: Subject, picture: Picture) -> None:
    """The same file twice says nothing more; it comes of a form that was sent again."""
    known = session.exec(those_of(subject).where(Photograph.sent_sha256 == picture.sent_sha256).limit(1)).first()
    if known:
        elsewhere = known.machine_id != subject.machine.id
        of = f" of {session.get_one(Machine, known.machine_id).tag}" if elsewhere else ""
        raise Refused(f"This file is photograph {known.number}{of} already.", "content")
