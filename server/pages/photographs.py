"""Photographs: the section on the page of what they show, each one's own page, and the files that browsers fetch.

A page that shows photographs asks `album_of` for them and includes `photographs/_album.html`; everything else about
them is here, whatever kind of record they show.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated
from urllib.parse import quote, urljoin

from fastapi import APIRouter, Depends, Request
from sqlmodel import Session
from starlette.datastructures import UploadFile
from starlette.responses import Response

from server.pages.file_names import as_attachment, name_alone, with_ending
from server.pages.forms import FIELD_BYTES_MOST, FIELDS_MOST, Form, PostedForm
from server.pages.house import AtHome, House, PageNumber
from server.pages.machines import address, sections
from server.records.commands.base import Command, Line
from server.records.commands.photographs import AddPhotograph, CaptionFields, ReviseCaption
from server.records.errors import Invalid, NotFound
from server.records.pictures import JPEG, SCREEN, SMALL, fitted
from server.records.questions.addresses import find_machine, find_photograph
from server.records.questions.photographs import (
    Subject,
    any_of_file,
    find_subject,
    photographs_of,
    subject_of,
    view_of,
)
from server.records.store import Done
from server.records.tables import Machine, Photograph

router = APIRouter()
FIELD = "photographs"
NAMELESS = "photograph"
FILES_MOST, FILES_READ = 20, 1_000  # at once: those beyond the first are named, with the reason
LAST_PAGE = 1_000_000
FOR_GOOD = "private, max-age=31536000, immutable"  # what lies under a digest never changes
ENDINGS = {JPEG: (".jpg", ".jpeg"), "image/png": (".png",), "image/webp": (".webp",)}


@dataclass(frozen=True, slots=True)
class Shot:
    """One photograph as a page shows it: which words stand for it, where it leads, and a view of it with its size."""

    photograph: Photograph
    alt: str
    address: str
    view: str
    width: int
    height: int


@dataclass(frozen=True, slots=True)
class Album:
    """One page of the photographs of one record, how many pages and photographs there are, and the form for more.

    At its `address` the pages are seen, and there the form is sent to.
    """

    shots: list[Shot]
    number: int
    last: int
    total: int
    address: str
    form: Form


@dataclass(frozen=True, slots=True)
class AlbumPage:
    """All photographs of one record, page by page; `onward` leads to it."""

    machine: Machine
    tabs: list[tuple[str, str]]
    subject: str
    onward: str
    album: Album


@dataclass(frozen=True, slots=True)
class PhotographPage:
    """One photograph, as large as a screen, with what is known of it; `onward` leads to what it shows."""

    machine: Machine
    tabs: list[tuple[str, str]]
    shot: Shot
    subject: str
    onward: str
    album: str
    kind: str


@dataclass(frozen=True, slots=True)
class CaptionFormPage:
    """The form that revises what is said of a photograph."""

    machine: Machine
    shot: Shot
    form: Form
    action: str


@dataclass(frozen=True, slots=True)
class SentPage:
    """What became of files of which some were not kept: how many were, and the others' names with the reasons."""

    machine: Machine
    subject: str
    onward: str
    kept: int
    refused: list[tuple[str, str]]
    album: Album


class Captioned(Command):
    """The one line that goes with every file of a form."""

    caption: Line = ""


async def files_sent(request: Request) -> Sequence[UploadFile]:
    """The files of the form, in their order.

    It stands before the form in a handler, because the form is read once, and other forms take fewer files.
    """
    data = await request.form(max_files=FILES_READ, max_fields=FIELDS_MOST, max_part_size=FIELD_BYTES_MOST)
    return [one for one in data.getlist(FIELD) if isinstance(one, UploadFile) and one.filename]


FilesSent = Annotated[Sequence[UploadFile], Depends(files_sent)]


def photograph_address(machine: Machine, photograph: Photograph) -> str:
    return f"{address(machine)}/photographs/{photograph.number}"


def album_of(session: Session, machine: Machine, shown: Subject, form: Form | None = None, page: int = 1) -> Album:
    """A page of the photographs of a record, the first for the record's own page; two queries."""
    found = photographs_of(session, shown, page)
    form = form or Form.blank()
    form.prefix = "photo"
    return Album(
        shots=[_shot(machine, shown, one, SMALL) for one in found.rows],
        number=found.number,
        last=found.last,
        total=found.total,
        address=_album_address(machine, shown),
        form=form,
    )


def _album_address(machine: Machine, shown: Subject) -> str:
    return f"{address(machine)}/photographs/on/{quote(shown.kind)}/{quote(shown.on)}"


def _onward(machine: Machine, subject: Subject) -> str:
    """Where the record is that a photograph shows."""
    return urljoin(f"{address(machine)}/", subject.place)


def _shot(machine: Machine, subject: Subject, photograph: Photograph, most: int) -> Shot:
    width, height = fitted(photograph.width, photograph.height, most)
    day = f", {photograph.taken_on}" if photograph.taken_on else ""
    return Shot(
        photograph=photograph,
        alt=photograph.caption or f"Photograph {photograph.number} of {subject}{day}",
        address=photograph_address(machine, photograph),
        view=f"/photographs/{photograph.sha256}/{most}",
        width=width,
        height=height,
    )


# ---- All of a record, and adding ----


@router.get("/machines/{tag}/photographs/on/{kind}/{on:path}")
def photographs_on(house: AtHome, tag: str, kind: str, on: str, page: PageNumber) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        subject = find_subject(session, machine, kind, on)
        album = album_of(session, machine, subject, page=page)
    context = AlbumPage(machine, sections(machine), str(subject), _onward(machine, subject), album)
    return house.page("photographs/album.html", context)


@router.post("/machines/{tag}/photographs/on/{kind}/{on:path}")
def add_photographs(house: AtHome, tag: str, kind: str, on: str, files: FilesSent, form: PostedForm) -> Response:
    """Each file is an act of its own: those that will not do are named, and the others are kept."""
    with house.reading() as session:
        machine = find_machine(session, tag)
        subject = find_subject(session, machine, kind, on)
    _check(form, files)
    if form.errors:
        return _sent(house, machine, subject, form)
    kept: list[Done] = []
    refused: list[tuple[str, str]] = []
    for number, file in enumerate(files, 1):
        name = name_alone(file.filename or "", NAMELESS)
        if number > FILES_MOST:
            refused.append((name, f"It was not looked at, because {FILES_MOST} are taken at once. Send it again."))
            continue
        try:
            kept.append(_add(house, machine, subject, form.text("caption"), name, file))
        except Invalid as problem:
            refused.append((name, str(problem)))
    if refused:
        return _sent(house, machine, subject, form, len(kept), refused)
    return house.go(_where_seen(house, machine, subject), kept[-1])


def _check(form: Form, files: Sequence[UploadFile]) -> None:
    """What is wrong with the form whatever the files are is said once, beside its field."""
    if not files:
        form.refuse(Invalid({FIELD: "Choose a file, or several."}))
    try:
        form.read(Captioned)
    except Invalid as problem:
        form.refuse(problem)


def _where_seen(house: House, machine: Machine, subject: Subject) -> str:
    """Where what was added last is seen: on the record's own page as long as that shows all."""
    with house.reading() as session:
        last = photographs_of(session, subject).last
    return (
        f"{_onward(machine, subject)}#photographs" if last == 1 else f"{_album_address(machine, subject)}?page={last}"
    )


def _add(house: House, machine: Machine, subject: Subject, caption: str, name: str, file: UploadFile) -> Done:
    asked = {"machine": machine.tag, "on_kind": subject.kind, "on": subject.on, "caption": caption, "file_name": name}
    return house.store.carry_out(AddPhotograph.read({**asked, "content": file.file.read()}), house.who)


def _sent(
    house: House,
    machine: Machine,
    subject: Subject,
    form: Form,
    kept: int = 0,
    refused: Sequence[tuple[str, str]] = (),
) -> Response:
    with house.reading() as session:
        album = album_of(session, machine, subject, form, LAST_PAGE)
    context = SentPage(machine, str(subject), _onward(machine, subject), kept, list(refused), album)
    return house.page("photographs/sent.html", context, 422)


# ---- One photograph ----


@router.get("/machines/{tag}/photographs/{n:int}")
def photograph_page(house: AtHome, tag: str, n: int) -> Response:
    with house.reading() as session:
        machine, photograph = _found(session, tag, n)
        subject = subject_of(session, photograph)
    shot = _shot(machine, subject, photograph, SCREEN)
    kind = photograph.media_type.removeprefix("image/")
    context = PhotographPage(
        machine=machine,
        tabs=sections(machine),
        shot=shot,
        subject=str(subject),
        onward=_onward(machine, subject),
        album=_album_address(machine, subject),
        kind=kind,
    )
    return house.page("photographs/photograph.html", context)


@router.get("/machines/{tag}/photographs/{n:int}/edit")
def edit_caption(house: AtHome, tag: str, n: int) -> Response:
    with house.reading() as session:
        machine, photograph = _found(session, tag, n)
    return _caption_form(house, machine, photograph, Form.of_row(CaptionFields, photograph))


@router.post("/machines/{tag}/photographs/{n:int}/edit")
def revise_caption(house: AtHome, tag: str, n: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine, photograph = _found(session, tag, n)
    return house.write(
        form,
        ReviseCaption,
        to=lambda done: photograph_address(machine, photograph),  # noqa: ARG005
        again=lambda form, status: _caption_form(house, machine, photograph, form, status),
        machine=machine.tag,
        photograph=n,
    )


def _found(session: Session, tag: str, n: int) -> tuple[Machine, Photograph]:
    machine = find_machine(session, tag)
    return machine, find_photograph(session, machine, n)


def _caption_form(house: House, machine: Machine, photograph: Photograph, form: Form, status: int = 200) -> Response:
    with house.reading() as session:
        shot = _shot(machine, subject_of(session, photograph), photograph, SMALL)
    return house.page("photographs/form.html", CaptionFormPage(machine, shot, form, f"{shot.address}/edit"), status)


# ---- Files ----


@router.get("/machines/{tag}/photographs/{n:int}/file")
def kept_file(house: AtHome, tag: str, n: int) -> Response:
    """The kept file under its own name, to be saved."""
    with house.reading() as session:
        _, photograph = _found(session, tag, n)
    content = house.store.files.read(photograph.sha256)
    name = with_ending(photograph.file_name, ENDINGS[photograph.media_type])
    headers = {"Content-Disposition": as_attachment(name)}
    return Response(content, media_type=photograph.media_type, headers=headers)


@router.get("/photographs/{sha256}/{most:int}")
def view(house: AtHome, sha256: str, most: int) -> Response:
    """A view of a photograph of the record; of nothing else in the files folder."""
    if most not in (SMALL, SCREEN):
        raise NotFound("view of a photograph that is", f"{most} pixels long")
    with house.reading() as session:
        photograph = any_of_file(session, sha256)
    mark = f'"{photograph.sha256}-{most}"'
    headers = {"Cache-Control": FOR_GOOD, "ETag": mark}
    if mark in house.request.headers.get("if-none-match", ""):
        return Response(status_code=304, headers=headers)
    return Response(view_of(house.store.files, photograph.sha256, most), media_type=JPEG, headers=headers)
