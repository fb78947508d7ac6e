"""The dossier of a machine: asked for on its page, written while a page shows how far it is, then downloaded."""

from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import Response

from server.documents.dossier import Asked, folder_of, write_dossier
from server.pages.forms import PostedForm
from server.pages.house import AtHome
from server.pages.jobs import Lately, job_address, job_from, jobs_of, lately
from server.pages.machines import address, sections
from server.pages.to_fetch import fetched, forget_old, place_of
from server.records import clock
from server.records.questions.addresses import find_machine
from server.records.tables import Machine

router = APIRouter()
KIND = "dossier"


@dataclass(frozen=True, slots=True)
class DossierPage:
    """What a dossier is, and the form that asks for one."""

    machine: Machine
    tabs: list[tuple[str, str]]
    action: str
    lately: list[Lately]


@router.get("/machines/{tag}/dossier")
def dossier_form(house: AtHome, tag: str) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
    action = f"{address(machine)}/dossier"
    context = DossierPage(machine, sections(machine), action, lately(house, action))
    return house.page("dossiers/dossier.html", context)


@router.post("/machines/{tag}/dossier")
def make_dossier(house: AtHome, tag: str, form: PostedForm) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
    forget_old(house, KIND)
    base = f"{address(machine)}/dossier"
    job = job_from(house, f"Writing the dossier of {machine.tag}", base, "Download it", "Back to the dossier")
    today = clock.today()
    asked = Asked(machine.tag, today, house.who, private=form.text("private") == "yes")
    store, place = house.store, place_of(house, KIND, job.key)
    jobs_of(house.request.app).start(job, lambda heard: write_dossier(store, asked, place, heard))
    return house.go(job_address(job))


@router.get("/machines/{tag}/dossier/{key}")
def dossier_file(house: AtHome, tag: str, key: str) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
    return fetched(house, KIND, key, lambda day: f"{folder_of(machine.tag, day)}.zip")
