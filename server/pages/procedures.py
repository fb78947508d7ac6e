"""Procedures: how tests are run, and what was read with them on every machine."""

import re
from dataclasses import dataclass
from urllib.parse import quote

from fastapi import APIRouter
from starlette.responses import Response

from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House, PageNumber
from server.pages.machines import address as machine_address
from server.records.commands.trials import ProcedureFields, ReviseProcedure, WriteProcedure
from server.records.questions.addresses import find_procedure
from server.records.questions.machines import shelf
from server.records.questions.paging import Paged
from server.records.questions.trials import (
    ProcedureLine,
    TrialLine,
    better_words,
    in_print,
    procedures,
    trials_count_of,
    trials_with,
    with_unit,
)
from server.records.store import Done
from server.records.tables import Machine, Procedure
from server.records.words import Better

router = APIRouter()
MACHINES_OFFERED = 12
A_SENTENCE = re.compile(r"=|\b(?:is|are|lasts|takes|equals|counts|stands for)\b")
BEFORE_A_UNIT = re.compile(r"(?<=\d) (?=[^\W\d])")

BETTER_CHOICES = [
    (Better.LOWER.value, "A figure: lower is better"),
    (Better.HIGHER.value, "A figure: higher is better"),
    (Better.NEAREST.value, "A figure: nearest to a target is better"),
    (Better.YES.value, "Yes or no: yes is better"),
    (Better.NO.value, "Yes or no: no is better"),
]


@dataclass(frozen=True, slots=True)
class ProceduresPage:
    """Every procedure of this installation; `better` puts each one's way of being better into words."""

    lines: Paged[ProcedureLine]
    better: dict[str, str]


@dataclass(frozen=True, slots=True)
class ProcedurePage:
    """One procedure, how its readings are meant, and the latest trials with it."""

    procedure: Procedure
    facts: list[tuple[str, str]]
    lines: Paged[TrialLine]
    machines: list[Machine]


@dataclass(frozen=True, slots=True)
class ProcedureFormPage:
    """The form that writes down or revises a procedure; `trials` is how many rest on it already."""

    procedure: Procedure | None
    form: Form
    better: list[tuple[str, str]]
    trials: int
    action: str
    cancel: str


def address(procedure: Procedure) -> str:
    return f"/procedures/{quote(procedure.slug)}"


@router.get("/procedures")
def procedures_page(house: AtHome, number: PageNumber) -> Response:
    with house.reading() as session:
        lines = procedures(session, number)
    better = {line.procedure.slug: better_words(line.procedure) for line in lines.rows}
    return house.page("procedures/procedures.html", ProceduresPage(lines, better))


@router.get("/procedures/new")
def new_procedure(house: AtHome) -> Response:
    machine = house.request.query_params.get("machine", "")
    return _form(house, None, Form.blank(better=Better.LOWER, machine=machine))


@router.post("/procedures/new")
def write_procedure(house: AtHome, form: PostedForm) -> Response:
    return house.write(
        form,
        WriteProcedure,
        to=lambda done: _after_writing(house, form, done),
        again=lambda form, status: _form(house, None, form, status),
    )


@router.get("/procedures/{slug}")
def procedure_page(house: AtHome, slug: str, number: PageNumber) -> Response:
    with house.reading() as session:
        procedure = find_procedure(session, slug)
        lines = trials_with(session, procedure, number)
        machines = [line.machine for line in shelf(session, 1).rows[:MACHINES_OFFERED]]
    return house.page("procedures/procedure.html", ProcedurePage(procedure, facts(procedure), lines, machines))


@router.get("/procedures/{slug}/edit")
def edit_procedure(house: AtHome, slug: str) -> Response:
    with house.reading() as session:
        procedure = find_procedure(session, slug)
    return _form(house, procedure, Form.of_row(ProcedureFields, procedure))


@router.post("/procedures/{slug}/edit")
def revise_procedure(house: AtHome, slug: str, form: PostedForm) -> Response:
    with house.reading() as session:
        procedure = find_procedure(session, slug)
    return house.write(
        form,
        ReviseProcedure,
        to=lambda done: address(procedure),  # noqa: ARG005
        again=lambda form, status: _form(house, procedure, form, status),
        procedure=procedure.slug,
    )


def facts(procedure: Procedure) -> list[tuple[str, str]]:
    """How a procedure's readings are meant, row by row."""
    if procedure.better in (Better.YES, Better.NO):
        return [("A reading is", "yes or no"), ("Which way is better", f"{procedure.better} is better")]
    resolution = procedure.resolution
    read_to = with_unit(in_print(resolution), procedure.unit) if resolution else "not given: taken from the readings"
    return [
        ("Unit", procedure.unit or "none: plain numbers"),
        *meaning(procedure),
        ("Read to", read_to),
        ("Which way is better", better_words(procedure)),
    ]


def meaning(procedure: Procedure) -> list[tuple[str, str]]:
    """What the unit stands for, as a row of facts: `1 tick = 1/60 s`; nothing where that is not written down."""
    return [("What the unit stands for", told)] if (told := stands_for(procedure)) else []


def stands_for(procedure: Procedure) -> str:
    """`1 tick = 1/60 s`, with every figure on one line with its unit; empty where that is not written down."""
    told = procedure.unit_meaning
    if told and procedure.unit and not A_SENTENCE.search(told):
        told = f"1 {procedure.unit} = {told}"
    return BEFORE_A_UNIT.sub("\N{NO-BREAK SPACE}", told)


def _after_writing(house: House, form: Form, done: Done) -> str:
    """On to the procedure, or back to the trial for which it was written."""
    with house.reading() as session:
        procedure = session.get_one(Procedure, done.key)
    if machine := form.text("machine"):
        return f"{machine_address(machine)}/trials/new?procedure={quote(procedure.slug)}"
    return address(procedure)


def _form(house: House, procedure: Procedure | None, form: Form, status: int = 200) -> Response:
    trials = 0
    if procedure:
        with house.reading() as session:
            trials = trials_count_of(session, procedure)
    action = f"{address(procedure)}/edit" if procedure else "/procedures/new"
    cancel = address(procedure) if procedure else "/procedures"
    context = ProcedureFormPage(procedure, form, BETTER_CHOICES, trials, action, cancel)
    return house.page("procedures/form.html", context, status)
