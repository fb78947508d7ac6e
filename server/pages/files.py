"""Other files than photographs: the section on the page of what they belong to, each one's own page, and saving it.

They are never shown in a page, whatever they hold: a browser gets one only to save it.
"""

from dataclasses import dataclass

from fastapi import APIRouter
from sqlmodel import Session
from starlette.datastructures import UploadFile
from starlette.responses import RedirectResponse, Response

from server.access.door import expect_keeper
from server.pages.file_names import as_attachment
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House, PageNumber
from server.pages.machines import address, sections
from server.pages.photographs import Album, album_of
from server.pages.uploads import (
    LAST_PAGE,
    FilesSent,
    Outcome,
    address_on,
    check,
    keep_each,
    onward,
    subject_at,
    where_seen,
)
from server.records.commands.files import AddFile, DropFile, FileFields, ReviseFile
from server.records.errors import Refused
from server.records.file_facts import FILE_MOST, FILE_MOST_MB, TOO_LARGE
from server.records.questions.addresses import find_file, find_machine
from server.records.questions.attached_files import NumberedFile, files_of
from server.records.questions.subjects import Subject, subject, subject_of
from server.records.store import Done
from server.records.tables import AttachedFile, Machine
from server.records.tables.base import Kept
from server.records.words import FileKind

router = APIRouter()
WHAT = "files"
NAMELESS = "file"
UNSEEN = "application/octet-stream"
KINDS = [(kind.value, kind.value) for kind in FileKind]


@dataclass(frozen=True, slots=True)
class FileLine:
    """One file as a list shows it: what it is called, where it leads, and the digests that it is told apart by."""

    file: AttachedFile
    address: str
    digests: list[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class Files:
    """One page of the files of one record, how many pages and files there are, and the form for more."""

    lines: list[FileLine]
    number: int
    last: int
    total: int
    address: str
    form: Form
    kinds: list[tuple[str, str]]
    most_mb: int
    most_bytes: int


@dataclass(frozen=True, slots=True)
class Attached:
    """What hangs on a record, as its own page shows it."""

    album: Album
    files: Files


@dataclass(frozen=True, slots=True)
class FilesPage:
    """All files of one record, page by page; `onward` leads to it."""

    machine: Machine
    tabs: list[tuple[str, str]]
    subject: Subject
    onward: str
    files: Files


@dataclass(frozen=True, slots=True)
class FilePage:
    """One file with what is known of it; `onward` leads to what it belongs to.

    `machine` is the one that this is in now, `tag` that of the one in which the file has its number.
    """

    machine: Machine
    tabs: list[tuple[str, str]]
    tag: str
    line: FileLine
    subject: Subject
    onward: str
    files: str


@dataclass(frozen=True, slots=True)
class FileFormPage:
    """The form that revises what is said of a file, numbered in the machine `tag`."""

    machine: Machine
    tag: str
    line: FileLine
    form: Form
    kinds: list[tuple[str, str]]
    action: str


@dataclass(frozen=True, slots=True)
class FilesSentPage:
    """What became of files of which some were not kept: how many were, and the others' names with the reasons."""

    machine: Machine
    subject: Subject
    onward: str
    kept: int
    refused: list[tuple[str, str]]
    files: Files


def attached_to(session: Session, kind: str, row: Kept) -> Attached | None:
    """The first photographs and files of a record, for its own page, in four queries or five; none for a part that has
    never been in any machine.
    """
    held = subject(session, kind, row)
    return Attached(album_of(session, held), _files(session, held)) if held else None


def _files(session: Session, held: Subject, form: Form | None = None, page: int = 1) -> Files:
    found = files_of(session, held, page)
    form = form or Form.blank(kind=FileKind.SCHEMATIC)
    form.prefix = "file"
    return Files(
        lines=[_line(one) for one in found.rows],
        number=found.number,
        last=found.last,
        total=found.total,
        address=address_on(held, WHAT),
        form=form,
        kinds=KINDS,
        most_mb=FILE_MOST_MB,
        most_bytes=FILE_MOST,
    )


def _line(numbered: NumberedFile) -> FileLine:
    file = numbered.file
    dump = [("CRC-32", file.crc32), ("SHA-1", file.sha1)]
    digests = dump if file.kind == FileKind.FIRMWARE_DUMP else [("SHA-256", file.sha256)]
    return FileLine(file, f"{address(numbered.tag)}/files/{file.number}", digests)


# ---- All of a record, and adding ----


@router.get("/machines/{tag}/files/on/{kind}")
@router.get("/machines/{tag}/files/on/{kind}/{on:path}")
def files_on(house: AtHome, tag: str, kind: str, page: PageNumber, on: str = "") -> Response:
    held = subject_at(house, tag, kind, on)
    with house.reading() as session:
        if find_machine(session, tag).id != held.machine.id:
            return RedirectResponse(address_on(held, WHAT), 303)
        files = _files(session, held, page=page)
    return house.page(
        "files/files.html", FilesPage(held.machine, sections(held.machine), held, onward(held, WHAT), files)
    )


@router.post("/machines/{tag}/files/on/{kind}")
@router.post("/machines/{tag}/files/on/{kind}/{on:path}")
def add_files(house: AtHome, tag: str, kind: str, files: FilesSent, form: PostedForm, on: str = "") -> Response:
    """Each file is an act of its own: those that will not do are named, and the others are kept."""
    held = subject_at(house, tag, kind, on)
    expect_keeper(house.request, held.machine.tag_key)
    check(form, files, FileFields, WHAT)
    if form.errors:
        return _sent(house, held, form, Outcome())
    outcome = keep_each(files, NAMELESS, lambda name, file: _add(house, held, form, name, file))
    if outcome.refused:
        return _sent(house, held, form, outcome)
    with house.reading() as session:
        last = files_of(session, held).last
    return house.go(where_seen(held, WHAT, last), outcome.kept[-1])


def _add(house: House, held: Subject, form: Form, name: str, file: UploadFile) -> Done:
    if (file.size or 0) > FILE_MOST:  # known before it is read
        raise Refused(TOO_LARGE, "content")
    asked = {"machine": held.machine.tag, "on_kind": held.kind, "on": held.on, "file_name": name}
    said = {"kind": form.text("kind"), "caption": form.text("caption")}
    return house.store.carry_out(AddFile.read({**asked, **said, "content": file.file.read()}), house.who)


def _sent(house: House, held: Subject, form: Form, outcome: Outcome) -> Response:
    with house.reading() as session:
        files = _files(session, held, form, LAST_PAGE)
    kept, refused = len(outcome.kept), outcome.refused
    context = FilesSentPage(held.machine, held, onward(held, WHAT), kept, refused, files)
    return house.page("files/sent.html", context, 422)


# ---- One file ----


@router.get("/machines/{tag}/files/{n:int}")
def file_page(house: AtHome, tag: str, n: int) -> Response:
    numbered, held = _found(house, tag, n)
    context = FilePage(
        machine=held.machine,
        tabs=sections(held.machine),
        tag=numbered.tag,
        line=_line(numbered),
        subject=held,
        onward=onward(held, WHAT),
        files=address_on(held, WHAT),
    )
    return house.page("files/file.html", context)


@router.get("/machines/{tag}/files/{n:int}/edit")
def edit_file(house: AtHome, tag: str, n: int) -> Response:
    numbered, held = _found(house, tag, n)
    return _file_form(house, numbered, held, Form.of_row(FileFields, numbered.file))


@router.post("/machines/{tag}/files/{n:int}/edit")
def revise_file(house: AtHome, tag: str, n: int, form: PostedForm) -> Response:
    numbered, held = _found(house, tag, n)
    return house.write(
        form,
        ReviseFile,
        to=lambda done: _line(numbered).address,  # noqa: ARG005
        again=lambda form, status: _file_form(house, numbered, held, form, status),
        machine=numbered.tag,
        file=n,
    )


@router.post("/machines/{tag}/files/{n:int}/drop")
def drop_file(house: AtHome, tag: str, n: int, form: PostedForm) -> Response:
    numbered, held = _found(house, tag, n)
    shown = Form.of_row(FileFields, numbered.file)
    return house.write(
        form,
        DropFile,
        to=lambda done: onward(held, WHAT),  # noqa: ARG005
        again=lambda form, status: _file_form(house, numbered, held, shown.with_refusal_of(form), status),
        machine=numbered.tag,
        file=n,
    )


def _found(house: House, tag: str, n: int) -> tuple[NumberedFile, Subject]:
    with house.reading() as session:
        machine = find_machine(session, tag)
        file = find_file(session, machine, n)
        return NumberedFile(file, machine.tag), subject_of(session, file.on_kind, file.on_uuid)


def _file_form(house: House, numbered: NumberedFile, held: Subject, form: Form, status: int = 200) -> Response:
    line = _line(numbered)
    context = FileFormPage(held.machine, numbered.tag, line, form, KINDS, f"{line.address}/edit")
    return house.page("files/form.html", context, status)


@router.get("/machines/{tag}/files/{n:int}/file")
def saved_file(house: AtHome, tag: str, n: int) -> Response:
    """The file as it came, to be saved: never as what it says that it is."""
    file = _found(house, tag, n)[0].file
    headers = {"Content-Disposition": as_attachment(file.file_name), "X-Content-Type-Options": "nosniff"}
    return Response(house.store.files.read(file.sha256), media_type=UNSEEN, headers=headers)
