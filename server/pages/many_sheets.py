"""The mod sheets of several machines at once: chosen on a page, written while a page shows how far, then downloaded."""

from dataclasses import dataclass
from typing import Literal

from fastapi import APIRouter
from pydantic import Field
from starlette.responses import Response

from server.documents.many_sheets import ManyAsked, write_sheets
from server.documents.sheet_choice import SheetChoice
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House
from server.pages.jobs import Lately, job_address, job_from, jobs_of, lately
from server.pages.to_fetch import fetched, forget_old, place_of
from server.records import clock
from server.records.commands.base import Command
from server.records.errors import Invalid, NotFound
from server.records.questions.machines import OFFERED_MOST, machines_offered, tags_of_machines

router = APIRouter()
KIND = "sheet"


class ManyChoice(Command):
    """Whose sheets, where no tag is every machine's, and what is on each."""

    tags: list[str] = Field(default_factory=list)
    length: Literal["full", "short"] = "full"
    paper: Literal["A4", "Letter"] = "A4"
    photographs: Literal["with", "without"] = "with"


@dataclass(frozen=True, slots=True)
class ManySheetsPage:
    """The form that asks for the sheets; `machines` are those that can be named."""

    form: Form
    machines: list[tuple[str, str]]
    hint: str
    lately: list[Lately]


@router.get("/sheets")
def many_sheets_form(house: AtHome) -> Response:
    return _page(house, Form.blank(**ManyChoice().model_dump()))


@router.post("/sheets")
def make_many_sheets(house: AtHome, form: PostedForm) -> Response:
    try:
        asked = form.read(ManyChoice)
        with house.reading() as session:
            tags = tags_of_machines(session, asked.tags)
    except NotFound as missing:
        form.refuse(Invalid({"tags": str(missing)}))
        return _page(house, form, 422)
    except Invalid as problem:
        form.refuse(problem)
        return _page(house, form, 422)
    if not tags:
        form.refuse(Invalid({"": "No machine is on the shelf yet, so there is no sheet to write."}))
        return _page(house, form, 422)
    forget_old(house, KIND)
    job = job_from(house, "Writing mod sheets", "/sheets", "Download them", "Back to the choice")
    choice = SheetChoice(length=asked.length, paper=asked.paper, photographs=asked.photographs)
    wanted = ManyAsked(tags, clock.today(), house.who, choice)
    store, place = house.store, place_of(house, KIND, job.key)
    jobs_of(house.request.app).start(job, lambda heard: write_sheets(store, wanted, place, heard))
    return house.go(job_address(job))


@router.get("/sheets/{key}")
def many_sheets_file(house: AtHome, key: str) -> Response:
    return fetched(house, KIND, key, lambda day: f"mod-sheets-{day}.zip")


def _page(house: House, form: Form, status: int = 200) -> Response:
    with house.reading() as session:
        machines = machines_offered(session)
    hint = "Tick those you want. With none ticked, it is every machine on the shelf."
    if len(machines) == OFFERED_MOST:
        hint += f" Only the first {OFFERED_MOST} are offered here."
    return house.page("sheets/many.html", ManySheetsPage(form, machines, hint, lately(house, "/sheets")), status)
