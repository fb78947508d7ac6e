"""A dossier from another installation: sent, read while a page shows how far, looked at, and only then taken in.

Between sending and taking in, the file lies beside what else can be made again, and is let go after a day.
"""

import shutil
from dataclasses import dataclass
from pathlib import Path
from uuid import UUID

from fastapi import APIRouter
from starlette.responses import Response

from server.documents.bag_reader import OpenBag
from server.documents.dossier_import import Choice, Dossier, dossier_at, read_dossier, take_in
from server.documents.dossier_look import DifferentEntry, Look, look_at
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House
from server.pages.jobs import Job, Lately, job_address, job_from, jobs_of, lately
from server.pages.to_fetch import forget_old, place_of
from server.records.commands.machines import check_tag
from server.records.errors import Invalid, NotFound, Refused
from server.records.questions.machines import tag_of
from server.records.work import Heard

router = APIRouter()
KIND = "brought dossier"
BEGIN = "/dossiers/import"
SHOWN_MOST = 200


@dataclass(frozen=True, slots=True)
class BringPage:
    """The form that takes a dossier's file."""

    form: Form
    most_mb: int
    lately: list[Lately]


@dataclass(frozen=True, slots=True)
class LookPage:
    """What taking the dossier in would do, and what there is to choose. `more` differ and are not shown: they stay."""

    look: Look
    different: list[DifferentEntry]
    more: int
    form: Form
    action: str


@router.get(BEGIN)
def bring_page(house: AtHome) -> Response:
    return _bring(house, Form.blank())


@router.post(BEGIN)
def bring(house: AtHome, form: PostedForm) -> Response:
    forget_old(house, KIND)
    job = job_from(house, "Reading the dossier", BEGIN, "Look at what it brings", "Choose another file")
    place = place_of(house, KIND, job.key)
    try:
        _receive(form, place)
    except Invalid as problem:
        form.refuse(Invalid({"dossier": str(problem)}))
        return _bring(house, form, 422)
    jobs_of(house.request.app).start(job, lambda heard: _read(place, heard))
    return house.go(job_address(job))


def _receive(form: Form, place: Path) -> None:
    """Lay the file aside, if it is a bag at all."""
    upload = form.files.get("dossier")
    if upload is None:
        raise Refused("Choose the file of a dossier.")
    place.parent.mkdir(parents=True, exist_ok=True)
    try:
        with unread(place).open("wb") as file:
            shutil.copyfileobj(upload.file, file, 1 << 20)
        OpenBag(unread(place)).close()
    except OSError as fault:
        unread(place).unlink(missing_ok=True)
        raise Refused(f"The file could not be laid aside ({fault.strerror}). Nothing was changed.") from fault
    except Refused:
        unread(place).unlink(missing_ok=True)
        raise


def unread(place: Path) -> Path:
    """Where a dossier lies until all of it was checked: only then can it be looked at."""
    return place.with_suffix(".unread")


def _read(place: Path, heard: Heard) -> str:
    try:
        dossier = read_dossier(unread(place), heard)
        unread(place).replace(place)
    finally:
        unread(place).unlink(missing_ok=True)
    return f"The dossier of {dossier.record.machine.tag} is whole. Nothing is taken in yet."


@router.get(f"{BEGIN}/{{key}}")
def look_page(house: AtHome, key: str) -> Response:
    dossier = _dossier(house, key)
    with house.reading() as session:
        look = look_at(session, house.store.files, dossier)
    form = Form.blank(tag="", take=[str(one.uuid) for one in look.different if one.only_there])
    return _look(house, key, look, form)


@router.post(f"{BEGIN}/{{key}}")
def take(house: AtHome, key: str, form: PostedForm) -> Response:
    dossier = _dossier(house, key)
    with house.reading() as session:
        look = look_at(session, house.store.files, dossier)
    if form.text("seen") != look.seen:
        form.errors[""] = "The record was changed since you looked. This is how things stand now; look again."
        return _look(house, key, look, form, 409)
    try:
        choice = _choice(house, look, form)
    except Invalid as problem:
        form.refuse(problem)
        return _look(house, key, look, form, 422)
    return _start(house, key, dossier, choice)


def _choice(house: House, look: Look, form: Form) -> Choice:
    tag = form.text("tag").strip()
    if look.tag_taken and not tag:
        raise Invalid({"tag": f"Another machine here has the tag {look.tag}. Choose another for this one."})
    if tag:
        with house.reading() as session:
            check_tag(session, tag)
    offered = {str(one.uuid) for one in look.different}
    return Choice(look.seen, tag, frozenset(UUID(one) for one in form.many("take") if one in offered))


def _start(house: House, key: str, dossier: Dossier, choice: Choice) -> Response:
    job = Job(
        f"Taking in the dossier of {dossier.record.machine.tag}",
        onward=("/", "Back to the shelf"),
        back=(f"{BEGIN}/{key}", "Look at the dossier again"),
    )
    jobs = jobs_of(house.request.app)
    store, who, place, machine = house.store, house.who, place_of(house, KIND, key), dossier.record.machine.uuid

    def work(heard: Heard) -> str:
        words = take_in(store, place, choice, who, heard).words
        with store.reading() as session:
            tag = tag_of(session, machine)
        job.onward = (f"/machines/{tag}", f"Look at {tag}")
        place.unlink(missing_ok=True)
        jobs.forget(key)  # there is nothing left to look at
        return words

    jobs.start(job, work)
    return house.go(job_address(job))


def _dossier(house: House, key: str) -> Dossier:
    place = place_of(house, KIND, key)
    if not place.is_file():
        raise NotFound(KIND, "of that name. It is kept for a day once it was sent; send it again")
    return dossier_at(place)


def _bring(house: House, form: Form, status: int = 200) -> Response:
    most = house.settings.upload_most_mb * 10
    return house.page("dossiers/bring.html", BringPage(form, most, lately(house, BEGIN)), status)


def _look(house: House, key: str, look: Look, form: Form, status: int = 200) -> Response:
    shown = list(look.different[:SHOWN_MOST])
    more = len(look.different) - len(shown)
    return house.page("dossiers/look.html", LookPage(look, shown, more, form, f"{BEGIN}/{key}"), status)
