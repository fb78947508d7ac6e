"""The mod sheets of several machines at once: chosen on a page, written while a page shows how far, then downloaded."""

from dataclasses import dataclass
from datetime import date
from typing import Literal

from fastapi import APIRouter
from pydantic import Field
from sqlmodel import Session, col, select
from starlette.responses import FileResponse, Response

from server.documents.many_sheets import ManyAsked, write_sheets
from server.documents.sheet_choice import SheetChoice
from server.pages.file_names import as_attachment
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House
from server.pages.jobs import Job, job_address, jobs_of
from server.pages.to_fetch import forget_old, place_of, written
from server.records.commands.base import Command
from server.records.errors import Invalid, NotFound
from server.records.questions.addresses import find_machine
from server.records.questions.machines import machines_offered
from server.records.tables import Machine

router = APIRouter()
KIND = "archive"


class ManyChoice(Command):
    """Whose sheets, where no tag is every machine's, and what is on each."""

    tags: list[str] = Field(default_factory=list)
    length: Literal["full", "short"] = "full"
    paper: Literal["A4", "Letter"] = "A4"


@dataclass(frozen=True, slots=True)
class ManySheetsPage:
    """The form that asks for the sheets; `machines` are those that can be named."""

    form: Form
    machines: list[tuple[str, str]]


@router.get("/sheets")
def many_sheets_form(house: AtHome) -> Response:
    return _page(house, Form.blank(**ManyChoice().model_dump()))


@router.post("/sheets")
def make_many_sheets(house: AtHome, form: PostedForm) -> Response:
    try:
        asked = form.read(ManyChoice)
        with house.reading() as session:
            tags = _tags(session, asked)
    except Invalid as problem:
        form.refuse(problem)
        return _page(house, form, 422)
    forget_old(house, KIND)
    job = Job("Writing mod sheets", onward=("", "Download them"), back=("/sheets", "Back to the choice"))
    job.onward = (f"/sheets/{job.key}", "Download them")
    choice = SheetChoice(length=asked.length, paper=asked.paper)
    wanted = ManyAsked(tags, date.today(), house.who, choice)  # noqa: DTZ011 (the keeper's own calendar day)
    store, place = house.store, place_of(house, KIND, job.key)
    jobs_of(house.request.app).start(job, lambda heard: write_sheets(store, wanted, place, heard))
    return house.go(job_address(job))


@router.get("/sheets/{key}")
def many_sheets_file(house: AtHome, key: str) -> Response:
    place = written(house, KIND, key)
    day = date.fromtimestamp(place.stat().st_mtime)  # noqa: DTZ012 (the keeper's own calendar day)
    headers = {"Content-Disposition": as_attachment(f"mod-sheets-{day}.zip"), "Cache-Control": "no-store"}
    return FileResponse(place, media_type="application/zip", headers=headers)


def _tags(session: Session, asked: ManyChoice) -> list[str]:
    if asked.tags:
        return [_there(session, tag) for tag in dict.fromkeys(asked.tags)]
    tags = list(session.exec(select(Machine.tag).order_by(col(Machine.tag_key))))
    if not tags:
        raise Invalid({"": "No machine is on the shelf yet, so there is no sheet to write."})
    return tags


def _there(session: Session, tag: str) -> str:
    try:
        return find_machine(session, tag).tag
    except NotFound as missing:
        raise Invalid({"tags": str(missing)}) from None


def _page(house: House, form: Form, status: int = 200) -> Response:
    with house.reading() as session:
        machines = machines_offered(session)
    return house.page("sheets/many.html", ManySheetsPage(form, machines), status)
