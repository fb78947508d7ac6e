"""The possible causes of a symptom: suspecting one, also from what a sum takes for granted, weighing and judging it."""

from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House
from server.pages.mod_places import calculation_address, mod_address
from server.pages.symptoms import Words, found, show_symptom, symptom_address
from server.records import clock
from server.records.commands.base import LINE_MOST
from server.records.commands.symptoms import AddEvidence, DropEvidence, JudgeCause, JudgeFields, SuspectCause
from server.records.errors import NotFound
from server.records.questions.addresses import find_calculation, find_cause, find_machine, find_mod
from server.records.questions.hazards import cautions_for
from server.records.questions.symptoms import SumName, sums_offered, symptoms_offered
from server.records.questions.trials import trial_names
from server.records.tables import Machine, PossibleCause, Symptom
from server.records.words import CauseState, EvidenceSide

router = APIRouter()
STATES: Words = [
    (CauseState.OPEN.value, "open: not decided"),
    (CauseState.RULED_OUT.value, "ruled out: it cannot be this"),
    (CauseState.CONFIRMED.value, "confirmed: it is this"),
]
SIDES: Words = [(EvidenceSide.FOR.value, "for it"), (EvidenceSide.AGAINST.value, "against it")]
DOUBT = "Does not hold: "


@dataclass(frozen=True, slots=True)
class SuspectFormPage:
    """The form that opens a possible cause of `symptom`; of one that is chosen in it, where it comes from a sum."""

    machine: Machine
    cautions: list[str]
    symptom: Symptom | None
    sum: SumName | None
    sum_address: str
    symptoms: Words
    form: Form
    action: str
    cancel: str


@dataclass(frozen=True, slots=True)
class JudgeFormPage:
    """The form that says what is held of a possible cause."""

    machine: Machine
    symptom: Symptom
    cause: PossibleCause
    form: Form
    states: Words
    action: str
    cancel: str


@dataclass(frozen=True, slots=True)
class EvidenceFormPage:
    """The form that adds what speaks for or against a possible cause."""

    machine: Machine
    symptom: Symptom
    cause: PossibleCause
    form: Form
    sides: Words
    trials: Words
    sums: Words
    action: str
    cancel: str


# ---- Suspecting ----


@router.get("/machines/{tag}/symptoms/{n:int}/causes/new")
def new_cause(house: AtHome, tag: str, n: int) -> Response:
    with house.reading() as session:
        machine, symptom = found(session, tag, n)
    return _suspect_form(house, machine, symptom, Form.blank())


@router.post("/machines/{tag}/symptoms/{n:int}/causes/new")
def suspect_cause(house: AtHome, tag: str, n: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine, symptom = found(session, tag, n)
    return house.write(
        form,
        SuspectCause,
        to=lambda done: _address_of_key(house, machine, done.key),
        again=lambda form, status: _suspect_form(house, machine, symptom, form, status),
        machine=machine.tag,
        symptom=n,
        calculation="",
    )


@router.get("/machines/{tag}/mods/{m:int}/calculations/{k:int}/assumptions/{row:int}/suspect")
def new_cause_from_assumption(house: AtHome, tag: str, m: int, k: int, row: int) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        assumptions = find_calculation(session, find_mod(session, machine, m), k).assumptions
    if not 1 <= row <= len(assumptions):
        raise NotFound("assumption", row)
    assumed = assumptions[row - 1]["sentence"]
    doubted = DOUBT + assumed
    form = Form.blank(
        sentence=doubted if len(doubted) <= LINE_MOST else assumed,
        assumption=assumed,
        seen_on=clock.today(),
    )
    return _assumption_form(house, machine, m, k, row, form)


@router.post("/machines/{tag}/mods/{m:int}/calculations/{k:int}/assumptions/{row:int}/suspect")
def suspect_assumption(house: AtHome, tag: str, m: int, k: int, row: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        find_calculation(session, find_mod(session, machine, m), k)
    return house.write(
        form,
        SuspectCause,
        to=lambda done: _address_of_key(house, machine, done.key),
        again=lambda form, status: _assumption_form(house, machine, m, k, row, form, status),
        machine=machine.tag,
        calculation=f"{m}/{k}",
    )


def cause_address(machine: Machine, symptom: Symptom, cause: PossibleCause) -> str:
    return f"{symptom_address(machine, symptom)}/causes/{cause.number}"


def _address_of_key(house: House, machine: Machine, key: int) -> str:
    with house.reading() as session:
        cause = session.get_one(PossibleCause, key)
        symptom = session.get_one(Symptom, cause.symptom_id)
    return _place(machine, symptom, cause)


def _place(machine: Machine, symptom: Symptom, cause: PossibleCause) -> str:
    """Where a cause stands on its symptom's page."""
    return f"{symptom_address(machine, symptom)}#cause-{cause.number}"


def _suspect_form(house: House, machine: Machine, symptom: Symptom, form: Form, status: int = 200) -> Response:
    with house.reading() as session:
        cautions = cautions_for(session, machine)
    here = symptom_address(machine, symptom)
    context = SuspectFormPage(machine, cautions, symptom, None, "", [], form, f"{here}/causes/new", here)
    return house.page("symptoms/suspect.html", context, status)


def _assumption_form(
    house: House, machine: Machine, m: int, k: int, row: int, form: Form, status: int = 200
) -> Response:
    with house.reading() as session:
        mod = find_mod(session, machine, m)
        calculation = find_calculation(session, mod, k)
        cautions = cautions_for(session, machine, mod)
        symptoms = [(str(line.number), f"{line.number} {line.title}") for line in symptoms_offered(session, machine)]
    here = calculation_address(machine, mod, calculation)
    context = SuspectFormPage(
        machine=machine,
        cautions=cautions,
        symptom=None,
        sum=SumName(m, k, calculation.title),
        sum_address=here,
        symptoms=[("", "a new one, described below"), *symptoms],
        form=form,
        action=f"{here}/assumptions/{row}/suspect",
        cancel=f"{mod_address(machine, mod)}#untested",
    )
    return house.page("symptoms/suspect.html", context, status)


# ---- Judging ----


@router.get("/machines/{tag}/symptoms/{n:int}/causes/{k:int}/judge")
def judge_form(house: AtHome, tag: str, n: int, k: int) -> Response:
    with house.reading() as session:
        machine, symptom, cause = _cause(session, tag, n, k)
    form = Form.of_row(JudgeFields, cause)
    if cause.judged_on is None:
        form.set("judged_on", clock.today().isoformat())
    return _judge_form(house, machine, symptom, cause, form)


@router.post("/machines/{tag}/symptoms/{n:int}/causes/{k:int}/judge")
def judge_cause(house: AtHome, tag: str, n: int, k: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine, symptom, cause = _cause(session, tag, n, k)
    return house.write(
        form,
        JudgeCause,
        to=lambda done: _place(machine, symptom, cause),  # noqa: ARG005
        again=lambda form, status: _judge_form(house, machine, symptom, cause, form, status),
        machine=machine.tag,
        symptom=n,
        cause=k,
    )


def _cause(session: Session, tag: str, n: int, k: int) -> tuple[Machine, Symptom, PossibleCause]:
    machine, symptom = found(session, tag, n)
    return machine, symptom, find_cause(session, symptom, k)


def _judge_form(
    house: House, machine: Machine, symptom: Symptom, cause: PossibleCause, form: Form, status: int = 200
) -> Response:
    action, cancel = f"{cause_address(machine, symptom, cause)}/judge", _place(machine, symptom, cause)
    context = JudgeFormPage(machine, symptom, cause, form, STATES, action, cancel)
    return house.page("symptoms/judge.html", context, status)


# ---- Evidence ----


@router.get("/machines/{tag}/symptoms/{n:int}/causes/{k:int}/evidence/new")
def new_evidence(house: AtHome, tag: str, n: int, k: int) -> Response:
    with house.reading() as session:
        machine, symptom, cause = _cause(session, tag, n, k)
    today = clock.today()
    return _evidence_form(house, machine, symptom, cause, Form.blank(day=today))


@router.post("/machines/{tag}/symptoms/{n:int}/causes/{k:int}/evidence/new")
def add_evidence(house: AtHome, tag: str, n: int, k: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine, symptom, cause = _cause(session, tag, n, k)
    return house.write(
        form,
        AddEvidence,
        to=lambda done: _place(machine, symptom, cause),  # noqa: ARG005
        again=lambda form, status: _evidence_form(house, machine, symptom, cause, form, status),
        machine=machine.tag,
        symptom=n,
        cause=k,
    )


@router.post("/machines/{tag}/symptoms/{n:int}/causes/{k:int}/evidence/{which}/drop")
def drop_evidence(house: AtHome, tag: str, n: int, k: int, which: UUID, form: PostedForm) -> Response:
    with house.reading() as session:
        machine, symptom, cause = _cause(session, tag, n, k)
    return house.write(
        form,
        DropEvidence,
        to=lambda done: _place(machine, symptom, cause),  # noqa: ARG005
        again=lambda form, status: show_symptom(house, tag, n, form, status),
        machine=machine.tag,
        symptom=n,
        cause=k,
        evidence=which,
    )


def _evidence_form(
    house: House, machine: Machine, symptom: Symptom, cause: PossibleCause, form: Form, status: int = 200
) -> Response:
    with house.reading() as session:
        trials = [
            (str(name.number), f"Trial {name.number}, {name.day}: {name.title}")
            for name in trial_names(session, machine)
        ]
        sums = [(name.key, str(name)) for name in sums_offered(session, machine)]
    context = EvidenceFormPage(
        machine=machine,
        symptom=symptom,
        cause=cause,
        form=form,
        sides=SIDES,
        trials=_offered("no trial", trials, form.text("trial")),
        sums=_offered("no calculation", sums, form.text("calculation")),
        action=f"{cause_address(machine, symptom, cause)}/evidence/new",
        cancel=_place(machine, symptom, cause),
    )
    return house.page("symptoms/evidence.html", context, status)


def _offered(none: str, words: Sequence[tuple[str, str]], chosen: str) -> Words:
    """What a choice offers; what was chosen and is not among it stays until it is changed."""
    kept = [(chosen, chosen)] if chosen and chosen not in dict(words) else []
    return [("", none), *words, *kept]
