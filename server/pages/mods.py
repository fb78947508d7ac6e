"""A machine's mods: their purpose, life, steps, sums and expectations."""

from dataclasses import dataclass
from uuid import UUID

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.pages.calculations import SumLine, sums_of
from server.pages.files import Attached, attached_to
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House, PageNumber
from server.pages.machines import HAZARDS, address, sections
from server.pages.mod_places import mod_address
from server.records import clock
from server.records.aims import APART, in_words
from server.records.commands.mods import (
    MOVES,
    ModFields,
    MoveMod,
    PlanMod,
    ReviseMod,
)
from server.records.questions.addresses import find_machine, find_mod
from server.records.questions.assumptions import RULE, Held, Untested, untested
from server.records.questions.attached_files import files_on_steps
from server.records.questions.designs import design_of
from server.records.questions.expectations import ExpectationLine, Verdict, verdicts
from server.records.questions.hazards import cautions_for
from server.records.questions.machines import ModLine, mods_of
from server.records.questions.mods import StepLine, moves_of, steps_of, trace_of, why_of
from server.records.questions.paging import Paged
from server.records.questions.photographs import Counted, counted_on_steps
from server.records.questions.stays import LeftBoard, MovedMod, board_gone, mods_that_came
from server.records.questions.symptoms import cured_by, symptoms_offered
from server.records.tables import Design, Machine, Mod, ModMove, Symptom
from server.records.words import Aim, ModState, Trace

router = APIRouter()
AIMS = [("", "not said"), *((aim.value, aim.value) for aim in Aim)]


@dataclass(frozen=True, slots=True)
class ModsPage:
    """All mods of a machine, the latest first, and those that came with a board of another."""

    machine: Machine
    tabs: list[tuple[str, str]]
    mods: Paged[ModLine]
    came: list[MovedMod]


@dataclass(frozen=True, slots=True)
class Unmet:
    """A mod that does not do what was expected although every limit holds: what its sums assume and nobody tested.

    `assumes` is whether they name any assumption at all.
    """

    untested: list[Untested]
    rule: str
    assumes: bool


@dataclass(frozen=True, slots=True)
class ModPage:
    """One mod: its steps, what they leave, its sums, what is expected of it and what came of it.

    `gone` is a board that it has steps on and that is in another machine now; `work` says what kind of work it is, and
    `answers` which symptom it is for. `photographs` and `files` are how many its steps have.
    """

    machine: Machine
    mod: Mod
    cautions: list[str]
    moves: list[ModMove]
    next_states: list[ModState]
    steps: list[StepLine]
    trace: Trace
    why: str
    sums: list[SumLine]
    expectations: list[ExpectationLine]
    unmet: Unmet | None
    cured: list[Symptom]
    design: Design | None
    gone: LeftBoard | None
    work: str
    answers: Symptom | None
    next_words: str
    attached: Attached | None
    photographs: dict[UUID, Counted]
    files: dict[UUID, int]


@dataclass(frozen=True, slots=True)
class ModFormPage:
    """The form that writes down or revises a mod; `mod` is none while it is new. `apart` tells the `aims` apart."""

    machine: Machine
    mod: Mod | None
    form: Form
    hazards: list[tuple[str, str]]
    aims: list[tuple[str, str]]
    apart: str
    symptoms: list[tuple[str, str]]
    states: list[tuple[str, str]]
    action: str
    cancel: str


@dataclass(frozen=True, slots=True)
class MoveFormPage:
    """The form that moves a mod to another state of its life."""

    machine: Machine
    mod: Mod
    form: Form
    states: list[tuple[str, str]]
    action: str
    cancel: str


@router.get("/machines/{tag}/mods")
def mods_page(house: AtHome, tag: str, number: PageNumber) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        came = mods_that_came(session, machine)
        mods = mods_of(session, machine, number)
    return house.page("mods/mods.html", ModsPage(machine, sections(machine), mods, came))


@router.get("/machines/{tag}/mods/new")
def new_mod(house: AtHome, tag: str) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
    form = Form.blank(state=ModState.PLANNED, day=clock.today(), signer=machine.keeper or house.settings.keeper)
    return _mod_form(house, machine, None, form)


@router.post("/machines/{tag}/mods/new")
def plan_mod(house: AtHome, tag: str, form: PostedForm) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
    return house.write(
        form,
        PlanMod,
        to=lambda done: _address_of_key(house, machine, done.key),
        again=lambda form, status: _mod_form(house, machine, None, form, status),
        machine=machine.tag,
    )


@router.get("/machines/{tag}/mods/{number}")
def mod_page(house: AtHome, tag: str, number: int) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        mod = find_mod(session, machine, number)
        return house.page("mods/mod.html", mod_context(session, machine, mod))


def mod_context(session: Session, machine: Machine, mod: Mod) -> ModPage:
    steps = steps_of(session, mod)
    sums, expectations = sums_of(session, mod), verdicts(session, mod)
    unmet = _unmet(session, mod, sums, expectations)
    return ModPage(
        machine=machine,
        mod=mod,
        cautions=cautions_for(session, machine, mod),
        moves=list(moves_of(session, mod)),
        next_states=list(MOVES[ModState(mod.state)]),
        steps=steps,
        trace=trace_of(steps),
        why=why_of(steps),
        sums=sums,
        expectations=expectations,
        unmet=unmet,
        cured=list(cured_by(session, mod)),
        design=design_of(session, mod),
        gone=board_gone(session, mod),
        work=in_words(mod.aim),
        answers=session.get(Symptom, mod.symptom_id) if mod.symptom_id else None,
        next_words=_next_words(mod, steps, sums, unmet),
        attached=attached_to(session, "mod", mod),
        photographs=counted_on_steps(session, [line.step.uuid for line in steps]),
        files=files_on_steps(session, [line.step.uuid for line in steps]),
    )


def _unmet(session: Session, mod: Mod, sums: list[SumLine], expectations: list[ExpectationLine]) -> Unmet | None:
    """Nothing unless an expectation is not met while every limit of every sum holds for what was really fitted."""
    verdicts_fitted = {line.fitted.verdict for line in sums}
    every_limit_holds = "holds" in verdicts_fitted and verdicts_fitted <= {"holds", "no limit"}
    if not every_limit_holds or all(line.verdict != Verdict.NOT_MET for line in expectations):
        return None
    held = [Held(line.calculation, line.fitted.lines, line.fitted.limits) for line in sums]
    return Unmet(
        untested=untested(session, mod, held),
        rule=RULE,
        assumes=any(line.calculation.assumptions for line in sums),
    )


def _next_words(mod: Mod, steps: list[StepLine], sums: list[SumLine], unmet: Unmet | None) -> str:
    """What a keeper would do next with this mod."""
    done = [line for line in steps if line.step.done_on]
    doubtful = next((line for line in sums if line.fitted.verdict in ("fails", "at risk")), None)
    if doubtful and mod.state in (ModState.PLANNED, ModState.FITTED):
        title = doubtful.calculation.title
        return f"As fitted, a limit {_said_of(doubtful)}: look at “{title}”, or fit another part instead."
    if unmet:
        return "It does not do what was expected, although every limit holds. Next: test what its sums assume."
    waiting = [line.step.number for line in steps if line.step.done_on is None]
    back = [line.step.number for line in steps if line.step.undone_on]
    standing = [line.step.number for line in steps if line.can_be_put_back]
    match ModState(mod.state):
        case ModState.CONSIDERED:
            return "Next: write its steps, and call it planned when it is decided."
        case ModState.PLANNED if not steps:
            return "Next: write the first step, such as which part comes out."
        case ModState.PLANNED if done and not any(line.stands for line in done):
            return (
                "Every step that was done was put back. Next: write the steps that are to be done now, or drop the mod."
            )
        case ModState.PLANNED if not done:
            return f"Next: run a trial while it is still as it was, then carry out step {waiting[0]}."
        case ModState.PLANNED if waiting:
            return f"Next: carry out step {waiting[0]}, and say here what was really done."
        case ModState.PLANNED | ModState.FITTED if back and standing:
            told = f"{_steps(back)} put back, {_steps(standing)} still standing"
            return f"Put back half-way: {told}. Next: go on with the way back."
        case ModState.PLANNED:
            return "Every step is done. Next: call the mod fitted."
        case ModState.FITTED:
            return _next_of_fitted(mod, steps, waiting)
        case _:
            return ""


def _next_of_fitted(mod: Mod, steps: list[StepLine], waiting: list[int]) -> str:
    """What comes next once a mod is called fitted; a list can have called it so before its steps were recorded."""
    if waiting:
        return f"Next: carry out step {waiting[0]} with the day on which it was done; then it is in the way back."
    if not steps:
        return "Next: write the steps that were done, and carry them out with their days: then there is a way back."
    return "" if mod.outcome else "Next: run a trial with it, and write down what came of it."


def _steps(numbers: list[int]) -> str:
    return f"step{'' if len(numbers) == 1 else 's'} {', '.join(map(str, numbers))}"


def _said_of(line: SumLine) -> str:
    return "is at risk" if line.fitted.verdict == "at risk" else "fails"


@router.get("/machines/{tag}/mods/{number}/edit")
def edit_mod(house: AtHome, tag: str, number: int) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        mod = find_mod(session, machine, number)
        answers = session.get(Symptom, mod.symptom_id) if mod.symptom_id else None
    form = Form.of_row(ModFields, mod, aim=mod.aim, symptom=answers.number if answers else None, outcome=mod.outcome)
    return _mod_form(house, machine, mod, form)


@router.post("/machines/{tag}/mods/{number}/edit")
def revise_mod(house: AtHome, tag: str, number: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        mod = find_mod(session, machine, number)
    return house.write(
        form,
        ReviseMod,
        to=lambda done: mod_address(machine, mod),  # noqa: ARG005
        again=lambda form, status: _mod_form(house, machine, mod, form, status),
        machine=machine.tag,
        mod=mod.number,
    )


@router.get("/machines/{tag}/mods/{number}/move")
def move_form(house: AtHome, tag: str, number: int) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        mod = find_mod(session, machine, number)
    form = Form.blank(
        state=next(iter(MOVES[ModState(mod.state)]), ""),
        day=clock.today(),
        signer=machine.keeper or house.settings.keeper,
    )
    return _move_form(house, machine, mod, form)


@router.post("/machines/{tag}/mods/{number}/move")
def move_mod(house: AtHome, tag: str, number: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        mod = find_mod(session, machine, number)
    return house.write(
        form,
        MoveMod,
        to=lambda done: mod_address(machine, mod),  # noqa: ARG005
        again=lambda form, status: _move_form(house, machine, mod, form, status),
        machine=machine.tag,
        mod=mod.number,
    )


def _address_of_key(house: House, machine: Machine, key: int) -> str:
    with house.reading() as session:
        return mod_address(machine, session.get_one(Mod, key))


def _mod_form(house: House, machine: Machine, mod: Mod | None, form: Form, status: int = 200) -> Response:
    action = f"{mod_address(machine, mod)}/edit" if mod else f"{address(machine)}/mods/new"
    cancel = mod_address(machine, mod) if mod else address(machine)
    states = [(state.value, state.value) for state in (ModState.PLANNED, ModState.CONSIDERED)]
    with house.reading() as session:
        found = symptoms_offered(session, machine)
    symptoms = [("", "none")] + [(str(one.number), f"{one.number} {one.title}") for one in found]
    context = ModFormPage(machine, mod, form, HAZARDS, AIMS, APART, symptoms, states, action, cancel)
    return house.page("mods/form.html", context, status)


def _move_form(house: House, machine: Machine, mod: Mod, form: Form, status: int = 200) -> Response:
    states = [(state.value, state.value) for state in MOVES[ModState(mod.state)]]
    base = mod_address(machine, mod)
    return house.page("mods/move.html", MoveFormPage(machine, mod, form, states, f"{base}/move", base), status)
