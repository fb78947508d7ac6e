"""A machine's trials: the list, one of them with its readings, and the forms that record and revise them."""

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.pages.files import Attached, attached_to
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House, PageNumber
from server.pages.machines import address, sections
from server.pages.readings import Told, told
from server.pages.trial_form import at_the_readings, form_page, procedure_of, trial_address, typed_readings
from server.records import clock
from server.records.commands.trial_drops import DropTrial
from server.records.commands.trials import NoteModsInForce, RecordTrial, ReviseTrial, TrialFields
from server.records.questions.addresses import find_machine, find_procedure, find_trial
from server.records.questions.hazards import cautions_for
from server.records.questions.paging import Paged
from server.records.questions.states import own_in_force
from server.records.questions.trials import (
    TrialLine,
    line_of,
    mods_offered,
    numbered,
    trial_before,
    trials_of,
)
from server.records.tables import Machine, Mod, Procedure, Trial

router = APIRouter()


@dataclass(frozen=True, slots=True)
class TrialsPage:
    """A machine's trials, the latest first; of one procedure where `procedure` is given."""

    machine: Machine
    tabs: list[tuple[str, str]]
    cautions: list[str]
    lines: Paged[TrialLine]
    procedure: Procedure | None
    procedures: list[Procedure]


@dataclass(frozen=True, slots=True)
class TrialPage:
    """One trial: what its readings say, the readings in order, and the mods in force then.

    `doubt` is a sentence where the mods noted differ from those that the days of their moves give and nothing says why;
    `reason` is the sentence that says it.
    """

    machine: Machine
    tabs: list[tuple[str, str]]
    cautions: list[str]
    line: TrialLine
    told: Told
    before: Trial | None
    doubt: str
    reason: str
    form: Form
    mods: list[tuple[str, str]]
    attached: Attached | None


@router.get("/machines/{tag}/trials")
def trials_page(house: AtHome, tag: str, number: PageNumber, procedure: str = "") -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        only = find_procedure(session, procedure) if procedure else None
        lines = trials_of(session, machine, number, only)
        context = TrialsPage(
            machine,
            sections(machine),
            cautions_for(session, machine),
            lines,
            only,
            list({line.procedure.slug: line.procedure for line in lines.rows}.values()),
        )
    return house.page("trials/trials.html", context)


@router.get("/machines/{tag}/trials/new")
def new_trial(house: AtHome, tag: str, procedure: str = "") -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        if procedure:
            find_procedure(session, procedure)
    return form_page(house, machine, None, _begun(house, machine, Form.blank(procedure=procedure)))


@router.post("/machines/{tag}/trials/new")
def record_trial(house: AtHome, tag: str, form: PostedForm) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        pressed = at_the_readings(form, procedure_of(session, None, form))
    if pressed:
        return form_page(house, machine, None, _begun(house, machine, form), *pressed)
    return house.write(
        form,
        RecordTrial,
        to=lambda done: _recorded(house, machine, done.key),
        again=lambda form, status: form_page(house, machine, None, form, status),
        machine=machine.tag,
    )


@router.get("/machines/{tag}/trials/{n:int}")
def trial_page(house: AtHome, tag: str, n: int) -> Response:
    return _trial(house, tag, n)


@router.post("/machines/{tag}/trials/{n:int}/mods-in-force")
def note_mods_in_force(house: AtHome, tag: str, n: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        trial = find_trial(session, machine, n)
    return house.write(
        form,
        NoteModsInForce,
        to=lambda done: trial_address(machine, trial),  # noqa: ARG005
        again=lambda form, status: _trial(house, tag, n, form, status),
        machine=machine.tag,
        trial=n,
    )


@router.get("/machines/{tag}/trials/{n:int}/edit")
def edit_trial(house: AtHome, tag: str, n: int) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        trial = find_trial(session, machine, n)
        form = _as_stored(session, trial)
    return form_page(house, machine, trial, form)


@router.post("/machines/{tag}/trials/{n:int}/edit")
def revise_trial(house: AtHome, tag: str, n: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        trial = find_trial(session, machine, n)
        pressed = at_the_readings(form, procedure_of(session, trial, form))
    if pressed:
        return form_page(house, machine, trial, form, *pressed)
    return house.write(
        form,
        ReviseTrial,
        to=lambda done: trial_address(machine, trial),  # noqa: ARG005
        again=lambda form, status: form_page(house, machine, trial, form, status),
        machine=machine.tag,
        trial=n,
    )


@router.post("/machines/{tag}/trials/{n:int}/drop")
def drop_trial(house: AtHome, tag: str, n: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        trial = find_trial(session, machine, n)
        shown = _as_stored(session, trial)
    return house.write(
        form,
        DropTrial,
        to=lambda done: f"{address(machine)}/trials",  # noqa: ARG005
        again=lambda form, status: form_page(house, machine, trial, shown.with_refusal_of(form), status),
        machine=machine.tag,
        trial=n,
    )


def _as_stored(session: Session, trial: Trial) -> Form:
    form = Form.of_row(TrialFields, trial)
    form.set("readings", typed_readings(trial, session.get_one(Procedure, trial.procedure_id)))
    return form


def _begun(house: House, machine: Machine, form: Form) -> Form:
    """With the day and the signer that are likely, in the fields that nobody has seen yet."""
    today = clock.today()
    likely = Form.blank(day=today, signer=machine.keeper or house.settings.keeper)
    form.values = likely.values | form.values
    return form


def _recorded(house: House, machine: Machine, key: int) -> str:
    with house.reading() as session:
        return trial_address(machine, session.get_one(Trial, key))


# ---- One trial ----


def _trial(house: House, tag: str, n: int, form: Form | None = None, status: int = 200) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        trial = find_trial(session, machine, n)
        line = line_of(session, machine, trial)
        context = TrialPage(
            machine=machine,
            tabs=sections(machine),
            cautions=cautions_for(session, machine),
            line=line,
            told=told(line),
            before=trial_before(session, trial),
            doubt="" if trial.mods_reason else _doubt(line, own_in_force(session, machine, trial.day)),
            reason=_reason(line, own_in_force(session, machine, trial.day)) if trial.mods_reason else "",
            form=_mods_form(line, form, status),
            mods=[(str(number), f"{number} {title}") for number, title in mods_offered(session, machine)],
            attached=attached_to(session, "trial", trial),
        )
    return house.page("trials/trial.html", context, status)


def _mods_form(line: TrialLine, form: Form | None, status: int) -> Form:
    """Which mods were in force, as boxes to tick; opened anew it shows what is noted."""
    noted, reason = numbered(line.mods), line.trial.mods_reason
    if form is None:
        form = Form.blank(mods=[mod.number for mod in line.mods], reason=reason)
    if status != 422:
        form.set("opened_with", noted)
        form.set("opened_reason", reason)
    form.prefix = "mods"
    return form


def _doubt(line: TrialLine, by_day: Sequence[Mod]) -> str:
    if numbered(line.mods) == numbered(by_day):
        return ""
    return (
        f"{_both(line, by_day)} That is right where the readings were taken before a mod was fitted or undone on the "
        "same day; then say so below, and otherwise put it right."
    )


def _reason(line: TrialLine, by_day: Sequence[Mod]) -> str:
    """Why other mods are noted than the days give, as an explanation."""
    told = f"Because: {line.trial.mods_reason.rstrip('.')}."
    return told if numbered(line.mods) == numbered(by_day) else f"{_both(line, by_day)} {told}"


def _both(line: TrialLine, by_day: Sequence[Mod]) -> str:
    return (
        f"By the days of their moves, the mods in force on {line.trial.day} were: {numbered(by_day) or 'none'}. "
        f"Noted with this trial: {numbered(line.mods) or 'none'}."
    )
