"""A machine's symptoms: what it does that it should not, what may cause it, and how it ended."""

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.pages.files import Attached, attached_to
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House, PageNumber
from server.pages.machines import address, sections
from server.records import clock
from server.records.commands.symptoms import (
    EndFields,
    EndSymptom,
    NoteSymptom,
    ReopenSymptom,
    ReviseSymptom,
    SymptomFields,
)
from server.records.questions.addresses import find_machine, find_symptom
from server.records.questions.hazards import cautions_for
from server.records.questions.paging import Paged
from server.records.questions.symptoms import CauseLine, SymptomWithCauses, answered_by, causes_of, symptoms_of
from server.records.questions.trials import mods_offered
from server.records.tables import Machine, Mod, Symptom
from server.records.words import CauseState, SymptomEnd

router = APIRouter()
Words = list[tuple[str, str]]
ENDS: Words = [
    (SymptomEnd.CURED.value, "cured: the machine does it no more"),
    (SymptomEnd.EXPLAINED.value, "explained: it is a trait of the design"),
    (SymptomEnd.ACCEPTED.value, "accepted: it stays as it is"),
]


@dataclass(frozen=True, slots=True)
class SymptomsPage:
    """A machine's symptoms, the open ones first."""

    machine: Machine
    tabs: Words
    cautions: list[str]
    symptoms: Paged[SymptomWithCauses]


@dataclass(frozen=True, slots=True)
class SymptomPage:
    """One symptom with its possible causes and their evidence; `form` says what was refused here, if anything was."""

    machine: Machine
    tabs: Words
    cautions: list[str]
    symptom: Symptom
    cured_by: Mod | None
    answered_by: list[Mod]
    causes: list[CauseLine]
    attached: Attached | None
    next_words: str
    form: Form


@dataclass(frozen=True, slots=True)
class SymptomFormPage:
    """The form that notes or revises a symptom; `symptom` is none while it is new."""

    machine: Machine
    cautions: list[str]
    symptom: Symptom | None
    form: Form
    action: str
    cancel: str


@dataclass(frozen=True, slots=True)
class EndFormPage:
    """The form that says how a symptom ended."""

    machine: Machine
    symptom: Symptom
    form: Form
    ends: Words
    mods: Words
    action: str
    cancel: str


@dataclass(frozen=True, slots=True)
class ReopenFormPage:
    """The form that opens a symptom again."""

    machine: Machine
    symptom: Symptom
    form: Form
    action: str
    cancel: str


def symptom_address(machine: Machine | str, symptom: Symptom | int) -> str:
    number = symptom if isinstance(symptom, int) else symptom.number
    return f"{address(machine)}/symptoms/{number}"


@router.get("/machines/{tag}/symptoms")
def symptoms_page(house: AtHome, tag: str, number: PageNumber) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        found = symptoms_of(session, machine, number)
        context = SymptomsPage(machine, sections(machine), cautions_for(session, machine), found)
    return house.page("symptoms/symptoms.html", context)


@router.get("/machines/{tag}/symptoms/new")
def new_symptom(house: AtHome, tag: str) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
    return _form(house, machine, None, Form.blank(seen_on=clock.today()))


@router.post("/machines/{tag}/symptoms/new")
def note_symptom(house: AtHome, tag: str, form: PostedForm) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
    return house.write(
        form,
        NoteSymptom,
        to=lambda done: _address_of_key(house, machine, done.key),
        again=lambda form, status: _form(house, machine, None, form, status),
        machine=machine.tag,
    )


@router.get("/machines/{tag}/symptoms/{n:int}")
def symptom_page(house: AtHome, tag: str, n: int) -> Response:
    return show_symptom(house, tag, n, Form.blank())


def show_symptom(house: House, tag: str, n: int, form: Form, status: int = 200) -> Response:
    """The symptom's page, with what was refused on it."""
    with house.reading() as session:
        machine, symptom = found(session, tag, n)
        causes = causes_of(session, symptom)
        context = SymptomPage(
            machine=machine,
            tabs=sections(machine),
            cautions=cautions_for(session, machine),
            symptom=symptom,
            cured_by=session.get(Mod, symptom.ended_by_mod_id) if symptom.ended_by_mod_id else None,
            answered_by=list(answered_by(session, symptom)),
            causes=causes,
            attached=attached_to(session, "symptom", symptom),
            next_words="" if symptom.ended_as else _next_words(causes),
            form=form,
        )
    return house.page("symptoms/symptom.html", context, status)


def _next_words(causes: Sequence[CauseLine]) -> str:
    """What a keeper would do next about an open symptom."""
    states = {line.cause.state for line in causes}
    bare = [line.cause.number for line in causes if line.cause.state == CauseState.OPEN and not line.evidence]
    if not causes:
        return "Next: write down what may cause it, one guess at a time."
    if CauseState.CONFIRMED in states:
        return "A cause is confirmed. Next: put it right with a mod, or say how the symptom ended."
    if bare:
        return f"Next: find what speaks for or against cause {bare[0]}: a trial, a calculation, or something seen."
    if CauseState.OPEN in states:
        return "Next: weigh the evidence, and rule out or confirm what it decides."
    return "Every cause that was suspected is ruled out. Next: suspect another."


@router.get("/machines/{tag}/symptoms/{n:int}/edit")
def edit_symptom(house: AtHome, tag: str, n: int) -> Response:
    with house.reading() as session:
        machine, symptom = found(session, tag, n)
    return _form(house, machine, symptom, Form.of_row(SymptomFields, symptom))


@router.post("/machines/{tag}/symptoms/{n:int}/edit")
def revise_symptom(house: AtHome, tag: str, n: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine, symptom = found(session, tag, n)
    return house.write(
        form,
        ReviseSymptom,
        to=lambda done: symptom_address(machine, symptom),  # noqa: ARG005
        again=lambda form, status: _form(house, machine, symptom, form, status),
        machine=machine.tag,
        symptom=n,
    )


@router.get("/machines/{tag}/symptoms/{n:int}/end")
def end_form(house: AtHome, tag: str, n: int) -> Response:
    with house.reading() as session:
        machine, symptom = found(session, tag, n)
        mod = session.get(Mod, symptom.ended_by_mod_id) if symptom.ended_by_mod_id else None
    form = Form.of_row(EndFields, symptom, mod=mod.number if mod else None)
    if not symptom.ended_as:
        form.set("ended_on", clock.today().isoformat())
    return _end_form(house, machine, symptom, form)


@router.post("/machines/{tag}/symptoms/{n:int}/end")
def end_symptom(house: AtHome, tag: str, n: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine, symptom = found(session, tag, n)
    return house.write(
        form,
        EndSymptom,
        to=lambda done: symptom_address(machine, symptom),  # noqa: ARG005
        again=lambda form, status: _end_form(house, machine, symptom, form, status),
        machine=machine.tag,
        symptom=n,
    )


@router.get("/machines/{tag}/symptoms/{n:int}/reopen")
def reopen_form(house: AtHome, tag: str, n: int) -> Response:
    with house.reading() as session:
        machine, symptom = found(session, tag, n)
    return _reopen_form(house, machine, symptom, Form.blank(opened_version=symptom.version))


@router.post("/machines/{tag}/symptoms/{n:int}/reopen")
def reopen_symptom(house: AtHome, tag: str, n: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine, symptom = found(session, tag, n)
    return house.write(
        form,
        ReopenSymptom,
        to=lambda done: symptom_address(machine, symptom),  # noqa: ARG005
        again=lambda form, status: _reopen_form(house, machine, symptom, form, status),
        machine=machine.tag,
        symptom=n,
    )


def found(session: Session, tag: str, n: int) -> tuple[Machine, Symptom]:
    machine = find_machine(session, tag)
    return machine, find_symptom(session, machine, n)


def _address_of_key(house: House, machine: Machine, key: int) -> str:
    with house.reading() as session:
        return symptom_address(machine, session.get_one(Symptom, key))


# ---- The forms ----


def _form(house: House, machine: Machine, symptom: Symptom | None, form: Form, status: int = 200) -> Response:
    with house.reading() as session:
        cautions = cautions_for(session, machine)
    here = symptom_address(machine, symptom) if symptom else f"{address(machine)}/symptoms"
    action = f"{here}/edit" if symptom else f"{here}/new"
    return house.page("symptoms/form.html", SymptomFormPage(machine, cautions, symptom, form, action, here), status)


def _end_form(house: House, machine: Machine, symptom: Symptom, form: Form, status: int = 200) -> Response:
    with house.reading() as session:
        mods = [(str(number), f"{number} {title}") for number, title in mods_offered(session, machine)]
    if (chosen := form.text("mod")) and chosen not in dict(mods):
        mods.append((chosen, chosen))  # it stays as it was chosen until it is changed
    here = symptom_address(machine, symptom)
    context = EndFormPage(machine, symptom, form, ENDS, [("", "no mod"), *mods], f"{here}/end", here)
    return house.page("symptoms/end.html", context, status)


def _reopen_form(house: House, machine: Machine, symptom: Symptom, form: Form, status: int = 200) -> Response:
    here = symptom_address(machine, symptom)
    return house.page("symptoms/reopen.html", ReopenFormPage(machine, symptom, form, f"{here}/reopen", here), status)
