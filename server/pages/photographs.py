"""Photographs: the section on the page of what they show, each one's own page, and the files that browsers fetch.

A page that shows photographs asks `attached_to` for them and includes `files/_attached.html`; everything else about
them is here, whatever kind of record they show.
"""

from dataclasses import dataclass
from itertools import zip_longest
from typing import Literal

from fastapi import APIRouter
from sqlmodel import Session
from starlette.datastructures import UploadFile
from starlette.responses import RedirectResponse, Response

from server.access.door import expect_keeper
from server.pages.file_names import as_attachment, with_ending
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House, PageNumber
from server.pages.machines import address, sections
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
from server.records.commands.base import Command, Line
from server.records.commands.photographs import AddPhotograph, CaptionFields, DropPhotograph, ReviseCaption
from server.records.errors import NotFound, Refused
from server.records.file_facts import FILE_MOST, FILE_MOST_MB, TOO_LARGE
from server.records.pictures import FINE, HEIC, JPEG, SCREEN, SMALL, fitted
from server.records.questions.addresses import find_machine, find_photograph
from server.records.questions.photographs import Numbered, any_of_file, photographs_of, view_of
from server.records.questions.subjects import STEP, Subject, subject_of
from server.records.store import Done
from server.records.tables import Machine, Photograph, Step
from server.records.words import Moment

router = APIRouter()
WHAT = "photographs"
NAMELESS = "photograph"
FOR_GOOD = "private, max-age=31536000, immutable"  # what lies under a digest never changes
ENDINGS = {HEIC: (".heic", ".heif"), JPEG: (".jpg", ".jpeg"), "image/png": (".png",), "image/webp": (".webp",)}
MOMENTS = [("", "not said"), *((moment.value, f"{moment} the step") for moment in Moment)]


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

    `pairs` are those taken before a step beside those taken after it, `others` the rest. At its `address` the pages are
    seen, and there the form is sent to; `moments` are offered only for a step.
    """

    shots: list[Shot]
    pairs: list[tuple[Shot | None, Shot | None]]
    others: list[Shot]
    number: int
    last: int
    total: int
    address: str
    form: Form
    moments: list[tuple[str, str]]
    most_mb: int
    most_bytes: int


@dataclass(frozen=True, slots=True)
class AlbumPage:
    """All photographs of one record, page by page; `onward` leads to it."""

    machine: Machine
    tabs: list[tuple[str, str]]
    subject: Subject
    onward: str
    album: Album


@dataclass(frozen=True, slots=True)
class PhotographPage:
    """One photograph, as large as a screen, with what is known of it; `onward` leads to what it shows.

    `machine` is the one that what it shows is in now, `tag` that of the one in which the photograph has its number.
    """

    machine: Machine
    tabs: list[tuple[str, str]]
    tag: str
    shot: Shot
    subject: Subject
    onward: str
    album: str
    kind: str


@dataclass(frozen=True, slots=True)
class CaptionFormPage:
    """The form that revises what is said of a photograph, numbered in the machine `tag`."""

    machine: Machine
    tag: str
    shot: Shot
    form: Form
    moments: list[tuple[str, str]]
    action: str


@dataclass(frozen=True, slots=True)
class SentPage:
    """What became of files of which some were not kept: how many were, and the others' names with the reasons."""

    machine: Machine
    subject: Subject
    onward: str
    kept: int
    refused: list[tuple[str, str]]
    album: Album


class Captioned(Command):
    """What goes with every file of a form."""

    caption: Line = ""
    moment: Moment | Literal[""] = ""


def photograph_address(tag: str, photograph: Photograph) -> str:
    """`tag` is that of the machine in which it has its number."""
    return f"{address(tag)}/photographs/{photograph.number}"


def album_of(session: Session, shown: Subject, form: Form | None = None, page: int = 1) -> Album:
    """A page of the photographs of a record, the first for the record's own page; two queries."""
    found = photographs_of(session, shown, page)
    form = form or Form.blank(moment=_likely(shown))
    form.prefix = "photo"
    shots = [_shot(shown, one, SMALL) for one in found.rows]
    before, after = ([one for one in shots if one.photograph.moment == moment] for moment in Moment)
    return Album(
        shots=shots,
        pairs=list(zip_longest(before, after)),
        others=[one for one in shots if not one.photograph.moment],
        number=found.number,
        last=found.last,
        total=found.total,
        address=address_on(shown, WHAT),
        form=form,
        moments=_moments(shown),
        most_mb=FILE_MOST_MB,
        most_bytes=FILE_MOST,
    )


def _moments(shown: Subject) -> list[tuple[str, str]]:
    return MOMENTS if shown.kind == STEP else []


def _likely(shown: Subject) -> str:
    """What is photographed while a step waits to be done is how it was before."""
    return Moment.BEFORE if isinstance(shown.row, Step) and shown.row.done_on is None else ""


def _shot(subject: Subject, numbered: Numbered, most: int) -> Shot:
    photograph = numbered.photograph
    width, height = fitted(photograph.width, photograph.height, most)
    day = f", {photograph.taken_on}" if photograph.taken_on else ""
    when = f", {photograph.moment} it" if photograph.moment else ""
    return Shot(
        photograph=photograph,
        alt=photograph.caption or f"Photograph {photograph.number} of {subject}{when}{day}",
        address=photograph_address(numbered.tag, photograph),
        view=f"/photographs/{photograph.sha256}/{most}",
        width=width,
        height=height,
    )


# ---- All of a record, and adding ----


@router.get("/machines/{tag}/photographs/on/{kind}")
@router.get("/machines/{tag}/photographs/on/{kind}/{on:path}")
def photographs_on(house: AtHome, tag: str, kind: str, page: PageNumber, on: str = "") -> Response:
    subject = subject_at(house, tag, kind, on)
    with house.reading() as session:
        if find_machine(session, tag).id != subject.machine.id:
            return RedirectResponse(address_on(subject, WHAT), 303)
        album = album_of(session, subject, page=page)
    context = AlbumPage(subject.machine, sections(subject.machine), subject, onward(subject, WHAT), album)
    return house.page("photographs/album.html", context)


@router.post("/machines/{tag}/photographs/on/{kind}")
@router.post("/machines/{tag}/photographs/on/{kind}/{on:path}")
def add_photographs(house: AtHome, tag: str, kind: str, files: FilesSent, form: PostedForm, on: str = "") -> Response:
    """Each file is an act of its own: those that will not do are named, and the others are kept."""
    subject = subject_at(house, tag, kind, on)
    expect_keeper(house.request, subject.machine.tag_key)
    check(form, files, Captioned, WHAT)
    if form.errors:
        return _sent(house, subject, form, Outcome())
    outcome = keep_each(files, NAMELESS, lambda name, file: _add(house, subject, form, name, file))
    if outcome.refused:
        return _sent(house, subject, form, outcome)
    with house.reading() as session:
        last = photographs_of(session, subject).last
    return house.go(where_seen(subject, WHAT, last), outcome.kept[-1])


def _add(house: House, subject: Subject, form: Form, name: str, file: UploadFile) -> Done:
    if (file.size or 0) > FILE_MOST:  # known before it is read
        raise Refused(TOO_LARGE, "content")
    asked = {
        "machine": subject.machine.tag,
        "on_kind": subject.kind,
        "on": subject.on,
        "caption": form.text("caption"),
        "moment": form.text("moment"),
        "file_name": name,
    }
    return house.store.carry_out(AddPhotograph.read({**asked, "content": file.file.read()}), house.who)


def _sent(house: House, subject: Subject, form: Form, outcome: Outcome) -> Response:
    with house.reading() as session:
        album = album_of(session, subject, form, LAST_PAGE)
    kept, refused = len(outcome.kept), outcome.refused
    context = SentPage(subject.machine, subject, onward(subject, WHAT), kept, refused, album)
    return house.page("photographs/sent.html", context, 422)


# ---- One photograph ----


@router.get("/machines/{tag}/photographs/{n:int}")
def photograph_page(house: AtHome, tag: str, n: int) -> Response:
    numbered, subject = _found(house, tag, n)
    context = PhotographPage(
        machine=subject.machine,
        tabs=sections(subject.machine),
        tag=numbered.tag,
        shot=_shot(subject, numbered, SCREEN),
        subject=subject,
        onward=onward(subject, WHAT),
        album=address_on(subject, WHAT),
        kind=numbered.photograph.media_type.removeprefix("image/"),
    )
    return house.page("photographs/photograph.html", context)


@router.get("/machines/{tag}/photographs/{n:int}/edit")
def edit_caption(house: AtHome, tag: str, n: int) -> Response:
    numbered, subject = _found(house, tag, n)
    return _caption_form(house, numbered, subject, Form.of_row(CaptionFields, numbered.photograph))


@router.post("/machines/{tag}/photographs/{n:int}/edit")
def revise_caption(house: AtHome, tag: str, n: int, form: PostedForm) -> Response:
    numbered, subject = _found(house, tag, n)
    return house.write(
        form,
        ReviseCaption,
        to=lambda done: photograph_address(numbered.tag, numbered.photograph),  # noqa: ARG005
        again=lambda form, status: _caption_form(house, numbered, subject, form, status),
        machine=numbered.tag,
        photograph=n,
    )


@router.post("/machines/{tag}/photographs/{n:int}/drop")
def drop_photograph(house: AtHome, tag: str, n: int, form: PostedForm) -> Response:
    numbered, subject = _found(house, tag, n)
    shown = Form.of_row(CaptionFields, numbered.photograph)
    return house.write(
        form,
        DropPhotograph,
        to=lambda done: onward(subject, WHAT),  # noqa: ARG005
        again=lambda form, status: _caption_form(house, numbered, subject, shown.with_refusal_of(form), status),
        machine=numbered.tag,
        photograph=n,
    )


def _found(house: House, tag: str, n: int) -> tuple[Numbered, Subject]:
    with house.reading() as session:
        machine = find_machine(session, tag)
        photograph = find_photograph(session, machine, n)
        return Numbered(photograph, machine.tag), subject_of(session, photograph.on_kind, photograph.on_uuid)


def _caption_form(house: House, numbered: Numbered, subject: Subject, form: Form, status: int = 200) -> Response:
    shot = _shot(subject, numbered, SMALL)
    moments, action = _moments(subject), f"{shot.address}/edit"
    context = CaptionFormPage(subject.machine, numbered.tag, shot, form, moments, action)
    return house.page("photographs/form.html", context, status)


# ---- Files ----


@router.get("/machines/{tag}/photographs/{n:int}/file")
def kept_file(house: AtHome, tag: str, n: int) -> Response:
    """The kept file under its own name, to be saved."""
    photograph = _found(house, tag, n)[0].photograph
    content = house.store.files.read(photograph.sha256)
    name = with_ending(photograph.file_name, ENDINGS[photograph.media_type])
    headers = {"Content-Disposition": as_attachment(name)}
    return Response(content, media_type=photograph.media_type, headers=headers)


@router.get("/photographs/{sha256}/{most:int}")
def view(house: AtHome, sha256: str, most: int) -> Response:
    """A view of a photograph of the record; of nothing else in the files folder."""
    if most not in (SMALL, SCREEN, FINE):
        raise NotFound("view of a photograph that is", f"{most} pixels long")
    with house.reading() as session:
        photograph = any_of_file(session, sha256)
    mark = f'"{photograph.sha256}-{most}"'
    headers = {"Cache-Control": FOR_GOOD, "ETag": mark}
    if mark in house.request.headers.get("if-none-match", ""):
        return Response(status_code=304, headers=headers)
    return Response(view_of(house.store.files, photograph.sha256, most), media_type=JPEG, headers=headers)
