"""The shelf, and each machine's own page."""

from dataclasses import dataclass
from datetime import date
from urllib.parse import quote

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House, PageNumber
from server.records.cautions import cautions
from server.records.commands.machines import EnterMachine, MachineFields, ReviseMachine
from server.records.questions.addresses import find_machine
from server.records.questions.journal import Told, latest
from server.records.questions.machines import (
    BagLine,
    BoardLine,
    ModLine,
    OnShelf,
    bags_of,
    boards_of,
    mods_of,
    shelf,
)
from server.records.questions.paging import Paged
from server.records.questions.stays import LeftBoard, MovedMod, boards_left, mods_that_came, mods_that_left
from server.records.questions.symptoms import SymptomLine, latest_symptoms
from server.records.tables import Machine
from server.records.words import Hazard

router = APIRouter()
HAZARDS = [(hazard.value, hazard.value) for hazard in Hazard]
RECENT = 8
BAGS_SHOWN = 20
SYMPTOMS_SHOWN = 20


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
    """The first page: every machine of this installation."""

    machines: Paged[OnShelf]


@dataclass(frozen=True, slots=True)
class MachinePage:
    """One machine: what it is, its boards, symptoms, mods, what lies aside, and what was last done."""

    machine: Machine
    tabs: list[tuple[str, str]]
    cautions: list[str]
    boards: list[BoardLine]
    boards_left: list[LeftBoard]
    mods_came: list[MovedMod]
    mods_left: list[MovedMod]
    symptoms: list[SymptomLine]
    mods: Paged[ModLine]
    bags: list[BagLine]
    recent: list[Told]
    today: date


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
        return house.page("shelf/shelf.html", ShelfPage(shelf(session, number)))


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


@router.get("/machines/{tag}")
def machine_page(house: AtHome, tag: str, number: PageNumber) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        return house.page("machines/machine.html", machine_context(session, machine, number))


def machine_context(session: Session, machine: Machine, number: int) -> MachinePage:
    """Everything the machine's page shows; a fixed number of queries."""
    boards = boards_of(session, machine)
    return MachinePage(
        machine=machine,
        tabs=sections(machine),
        cautions=cautions(machine.hazards, *(line.board.hazards for line in boards)),
        boards=boards,
        boards_left=boards_left(session, machine),
        mods_came=mods_that_came(session, machine),
        mods_left=mods_that_left(session, machine),
        symptoms=latest_symptoms(session, machine, SYMPTOMS_SHOWN + 1),
        mods=mods_of(session, machine, number),
        bags=bags_of(session, machine, BAGS_SHOWN + 1),
        recent=latest(session, machine, RECENT),
        today=date.today(),  # noqa: DTZ011 (the keeper's own calendar day)
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
