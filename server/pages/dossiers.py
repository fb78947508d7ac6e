"""The dossier of a machine: asked for on its page, written while a page shows how far it is, then downloaded."""

import re
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from time import time

from fastapi import APIRouter
from starlette.responses import FileResponse, Response

from server.documents.dossier import Asked, folder_of, write_dossier
from server.pages.file_names import as_attachment
from server.pages.forms import PostedForm
from server.pages.house import AtHome, House
from server.pages.jobs import Job, job_address, jobs_of
from server.pages.machines import address, sections
from server.records.errors import NotFound
from server.records.questions.addresses import find_machine
from server.records.tables import Machine

router = APIRouter()
KEPT_S = 24 * 3600
KEY = re.compile(r"[A-Za-z0-9_-]{6,40}", re.ASCII)


@dataclass(frozen=True, slots=True)
class DossierPage:
    """What a dossier is, and the form that asks for one."""

    machine: Machine
    tabs: list[tuple[str, str]]
    action: str


@router.get("/machines/{tag}/dossier")
def dossier_form(house: AtHome, tag: str) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
    return house.page("dossiers/dossier.html", DossierPage(machine, sections(machine), f"{address(machine)}/dossier"))


@router.post("/machines/{tag}/dossier")
def make_dossier(house: AtHome, tag: str, form: PostedForm) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
    _forget_old(_folder(house))
    base = f"{address(machine)}/dossier"
    job = Job(f"Writing the dossier of {machine.tag}", onward=("", "Download it"), back=(base, "Back to the dossier"))
    job.onward = (f"{base}/{job.key}", "Download it")
    today = date.today()  # noqa: DTZ011 (the keeper's own calendar day)
    asked = Asked(machine.tag, today, house.who, private=form.text("private") == "yes")
    store, place = house.store, _place(house, job.key)
    jobs_of(house.request.app).start(job, lambda heard: write_dossier(store, asked, place, heard))
    return house.go(job_address(job))


@router.get("/machines/{tag}/dossier/{key}")
def dossier_file(house: AtHome, tag: str, key: str) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
    place = _place(house, key)
    if not place.is_file():
        raise NotFound("dossier", "of that name. It is kept for a day once it is written; write it anew")
    written = date.fromtimestamp(place.stat().st_mtime)  # noqa: DTZ012 (the keeper's own calendar day)
    headers = {
        "Content-Disposition": as_attachment(f"{folder_of(machine.tag, written)}.zip"),
        "Cache-Control": "no-store",
    }
    return FileResponse(place, media_type="application/zip", headers=headers)


def _folder(house: House) -> Path:
    """Where dossiers lie until they are fetched: beside what else can be made again."""
    return house.store.files.root / "derived" / "dossiers"


def _place(house: House, key: str) -> Path:
    if not KEY.fullmatch(key):
        raise NotFound("dossier", "of that name")
    return _folder(house) / f"{key}.zip"


def _forget_old(folder: Path) -> None:
    """Those of yesterday, and what a stopped server left half written."""
    for place in folder.glob("*") if folder.is_dir() else ():
        with suppress(OSError):
            if time() - place.stat().st_mtime > KEPT_S:
                place.unlink()
