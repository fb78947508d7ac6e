"""The shelf, where each machine's pages are, and the forms that enter and revise a machine."""

from dataclasses import dataclass
from urllib.parse import quote

from fastapi import APIRouter
from starlette.responses import Response

from server.access.door import may
from server.access.permissions import Need
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House, PageNumber
from server.records.commands.machines import EnterMachine, MachineFields, ReviseMachine
from server.records.daily_copies import DailyCopies
from server.records.questions.addresses import find_machine
from server.records.questions.machines import OnShelf, shelf
from server.records.questions.paging import Paged
from server.records.tables import Machine
from server.records.words import Hazard

router = APIRouter()
HAZARDS = [(hazard.value, hazard.value) for hazard in Hazard]


def address(machine: Machine | str) -> str:
    """Where a machine's pages begin."""
    return f"/machines/{quote(machine if isinstance(machine, str) else machine.tag)}"


def sections(machine: Machine) -> list[tuple[str, str]]:
    """The tabs that every page of a machine shows."""
    base = address(machine)
    return [
        (base, "Machine"),
        (f"{base}/parts", "Parts"),
        (f"{base}/symptoms", "Symptoms"),
        (f"{base}/mods", "Mods"),
        (f"{base}/trials", "Trials"),
        (f"{base}/waveforms", "Waveforms"),
        (f"{base}/originality", "Originality"),
        (f"{base}/way-back", "Way back"),
        (f"{base}/history", "History"),
        (f"{base}/sheet", "Mod sheet"),
    ]


@dataclass(frozen=True, slots=True)
class ShelfPage:
    """The first page: every machine of this installation; `copies` says what is wrong with the daily copies, if so."""

    machines: Paged[OnShelf]
    copies: str
    offers_people: bool


@dataclass(frozen=True, slots=True)
class MachineFormPage:
    """The form that enters or revises a machine; `machine` is none while it is new."""

    machine: Machine | None
    form: Form
    hazards: list[tuple[str, str]]
    action: str
    cancel: str


@router.get("/")
def shelf_page(house: AtHome, number: PageNumber) -> Response:
    with house.reading() as session:
        copies: DailyCopies | None = house.request.app.state.copies
        warning = copies.warning(session) if copies else ""
        return house.page(
            "shelf/shelf.html", ShelfPage(shelf(session, number), warning, may(house.request, Need.KEEPS_ALL))
        )


@router.get("/machines/new")
def new_machine(house: AtHome) -> Response:
    return _machine_form(house, None, Form.blank(keeper=house.settings.keeper))


@router.post("/machines/new")
def enter_machine(house: AtHome, form: PostedForm) -> Response:
    return house.write(
        form,
        EnterMachine,
        to=lambda done: address(form.text("tag").strip()),  # noqa: ARG005
        again=lambda form, status: _machine_form(house, None, form, status),
    )


@router.get("/machines/{tag}/edit")
def edit_machine(house: AtHome, tag: str) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
    return _machine_form(house, machine, Form.of_row(MachineFields, machine))


@router.post("/machines/{tag}/edit")
def revise_machine(house: AtHome, tag: str, form: PostedForm) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
    return house.write(
        form,
        ReviseMachine,
        to=lambda done: address(machine),  # noqa: ARG005
        again=lambda form, status: _machine_form(house, machine, form, status),
        machine=machine.tag,
    )


def _machine_form(house: House, machine: Machine | None, form: Form, status: int = 200) -> Response:
    action = f"{address(machine)}/edit" if machine else "/machines/new"
    cancel = address(machine) if machine else "/"
    return house.page("machines/form.html", MachineFormPage(machine, form, HAZARDS, action, cancel), status)
