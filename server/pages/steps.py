"""The steps of a mod: writing them, carrying them out, fitting another part instead, putting them back."""

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import APIRouter
from sqlmodel import Session, col
from starlette.responses import Response

from server.access.door import expect_keeper
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House
from server.pages.mod_places import found_mod, mod_address
from server.pages.way_back import way_back_address
from server.records import clock
from server.records.commands.base import Command
from server.records.commands.steps import (
    AddStep,
    CarryOutStep,
    DropStep,
    FitAnother,
    MoveStep,
    ReviseStep,
    StepFields,
    UndoStep,
)
from server.records.errors import Invalid, NotFound
from server.records.placing import describe, next_bag, open_bag, open_loan, where_is
from server.records.questions.addresses import find_step
from server.records.questions.boards import all_boards
from server.records.questions.hazards import cautions_for
from server.records.questions.mods import StepLine, steps_of
from server.records.questions.parts import at_hand
from server.records.questions.stacking import done_where
from server.records.questions.stays import home_of, was_in
from server.records.questions.subjects import machine_of_part
from server.records.questions.way_back import reverse_of
from server.records.tables import Board, Machine, Mod, Part, Position, Step
from server.records.words import BoardKind, ModState, Origin, PartKind, StepKind, Trace

router = APIRouter()
Words = list[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class StepFormPage:
    """The form that plans a step; `step` is its number, none while it is new."""

    machine: Machine
    mod: Mod
    step: int | None
    form: Form
    kinds: Words
    boards: Words
    traces: Words
    action: str
    cancel: str


@dataclass(frozen=True, slots=True)
class ActFormPage:
    """The form that says what was really done: a step carried out, another part fitted, or a step put back.

    `said` is what is to be done now: for a step that is put back, its reverse. `where` is the step's own part now.
    """

    machine: Machine
    mod: Mod
    line: StepLine
    act: str
    heading: str
    said: str
    form: Form
    cautions: list[str]
    asks_part: bool
    asks_where_it_goes: bool
    is_last: bool
    bagged: Words
    kinds: Words
    origins: Words
    becomes: Words
    where: str
    next_bag: int
    action: str
    cancel: str


ACTS: dict[str, tuple[type[Command], str]] = {
    "do": (CarryOutStep, "Carry out step"),
    "another": (FitAnother, "Fit another part in step"),
    "undo": (UndoStep, "Put back step"),
}
BECOMES = [("bag", "kept aside in a bag"), ("discarded", "discarded"), ("lost", "lost"), ("handed over", "handed over")]


@router.get("/machines/{tag}/mods/{number}/steps/new")
def new_step(house: AtHome, tag: str, number: int) -> Response:
    with house.reading() as session:
        machine, mod = found_mod(session, tag, number)
        boards = _boards(session, machine, mod)
    main = next((board for board in boards if board.kind == BoardKind.MAIN), boards[0] if boards else None)
    form = Form.blank(kind=StepKind.TAKE_OUT, board=main.slug if main else "")
    return _step_form(house, machine, mod, None, form)


@router.post("/machines/{tag}/mods/{number}/steps/new")
def add_step(house: AtHome, tag: str, number: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine, mod = found_mod(session, tag, number)
        _expect_theirs(house, session, mod)
    onward = "/steps/new" if form.text("then") == "another" else "#steps"
    return house.write(
        form,
        AddStep,
        to=lambda done: mod_address(machine, mod) + onward,  # noqa: ARG005
        again=lambda form, status: _step_form(house, machine, mod, None, form, status),
        machine=machine.tag,
        mod=mod.number,
    )


@router.get("/machines/{tag}/mods/{number}/steps/{which}/edit")
def edit_step(house: AtHome, tag: str, number: int, which: int) -> Response:
    with house.reading() as session:
        machine, mod = found_mod(session, tag, number)
        step = find_step(session, mod, which)
        line = _line(session, mod, which)
        form = Form.of_row(
            StepFields,
            step,
            board=line.board.slug if line.board else "",
            designator=line.position.designator if line.position else "",
        )
    return _step_form(house, machine, mod, which, form)


@router.post("/machines/{tag}/mods/{number}/steps/{which}/edit")
def revise_step(house: AtHome, tag: str, number: int, which: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine, mod = found_mod(session, tag, number)
        find_step(session, mod, which)
        _expect_theirs(house, session, mod)
    return house.write(
        form,
        ReviseStep,
        to=lambda done: mod_address(machine, mod) + "#steps",  # noqa: ARG005
        again=lambda form, status: _step_form(house, machine, mod, which, form, status),
        machine=machine.tag,
        mod=mod.number,
        step=which,
    )


@router.post("/machines/{tag}/mods/{number}/steps/{which}/drop")
def drop_step(house: AtHome, tag: str, number: int, which: int, form: PostedForm) -> Response:
    with house.reading() as session:
        _expect_theirs(house, session, found_mod(session, tag, number)[1])
    command = form.read(DropStep, machine=tag, mod=number, step=which)
    return house.go(f"{mod_address(tag, number)}#steps", house.store.carry_out(command, house.who))


@router.post("/machines/{tag}/mods/{number}/steps/{which}/to/{place}")
def move_step(house: AtHome, tag: str, number: int, which: int, place: int, form: PostedForm) -> Response:
    with house.reading() as session:
        _expect_theirs(house, session, found_mod(session, tag, number)[1])
    command = form.read(MoveStep, machine=tag, mod=number, step=which, to=place)
    return house.go(f"{mod_address(tag, number)}#steps", house.store.carry_out(command, house.who))


@router.get("/machines/{tag}/mods/{number}/steps/{which}/{act}")
def act_form(house: AtHome, tag: str, number: int, which: int, act: str) -> Response:
    with house.reading() as session:
        machine, mod = found_mod(session, tag, number)
        line = _line(session, mod, which)
    form = Form.blank(
        opened_version=line.step.version,
        day=clock.today(),
        signer=machine.keeper or house.settings.keeper,
        type=line.step.planned_type,
        value=line.step.planned_value,
        part_kind=line.position.kind if line.position else PartKind.OTHER,
        origin=Origin.NEW,
        becomes="bag",
        then_undone="true",
        back=house.request.query_params.get("back", ""),
    )
    return _act_form(house, machine, mod, which, act, form)


@router.post("/machines/{tag}/mods/{number}/steps/{which}/{act}")
def act_on_step(house: AtHome, tag: str, number: int, which: int, act: str, form: PostedForm) -> Response:
    kind, _ = _act(act)
    with house.reading() as session:
        machine, mod = found_mod(session, tag, number)
        find_step(session, mod, which)
        part = _part_from_a_bag(form, kind, machine=machine.tag, mod=mod.number, step=which)
        _expect_theirs(house, session, mod, part)
    return house.write(
        form,
        kind,
        to=lambda done: _onward(machine, mod, form.text("back")),  # noqa: ARG005
        again=lambda form, status: _act_form(house, machine, mod, which, act, form, status),
        machine=machine.tag,
        mod=mod.number,
        step=which,
    )


def _expect_theirs(house: House, session: Session, mod: Mod, part: int | None = None) -> None:
    """Steps may lie on a board that is in another machine now, and a part in a bag may be another's."""
    expect_keeper(house.request, home_of(session, mod).tag_key)
    row = session.get(Part, part) if part is not None else None
    belongs_to = machine_of_part(session, row) if row else None
    if belongs_to:
        expect_keeper(house.request, belongs_to.tag_key)


def _part_from_a_bag(form: Form, kind: type[Command], **fixed: object) -> int | None:
    try:
        return getattr(form.read(kind, **fixed), "bagged_part", None)
    except Invalid:  # told beside its field when it is carried out
        return None


def _onward(machine: Machine, mod: Mod, back: str) -> str:
    """On to the mod; or to the way back that is being walked, of which `back` names the mods."""
    return way_back_address(machine, back) if back else f"{mod_address(machine, mod)}#steps"


def _act(name: str) -> tuple[type[Command], str]:
    if name not in ACTS:
        raise NotFound("act on a step (it is carried out, changed or put back)", name)
    return ACTS[name]


def _boards(session: Session, machine: Machine, mod: Mod) -> Sequence[Board]:
    """The boards that a mod can have steps on: those of its machine, or those that it went with to another."""
    home = home_of(session, mod)
    return [board for board in all_boards(session, home) if home.id == machine.id or was_in(session, board, machine)]


def _line(session: Session, mod: Mod, which: int) -> StepLine:
    find_step(session, mod, which)
    return next(line for line in steps_of(session, mod) if line.step.number == which)


def _step_form(house: House, machine: Machine, mod: Mod, step: int | None, form: Form, status: int = 200) -> Response:
    with house.reading() as session:
        boards = [(board.slug, board.name) for board in _boards(session, machine, mod)]
    base = mod_address(machine, mod)
    context = StepFormPage(
        machine=machine,
        mod=mod,
        step=step,
        form=form,
        kinds=[(kind.value, kind.value) for kind in StepKind],
        boards=[*boards, ("", "none")],
        traces=[("", "as usual for this kind of step"), *((trace.value, trace.value) for trace in Trace)],
        action=f"{base}/steps/{step}/edit" if step else f"{base}/steps/new",
        cancel=base,
    )
    return house.page("mods/step.html", context, status)


def _act_form(
    house: House, machine: Machine, mod: Mod, which: int, act: str, form: Form, status: int = 200
) -> Response:
    _, heading = _act(act)
    with house.reading() as session:
        lines = steps_of(session, mod)
        line = next(line for line in lines if line.step.number == which)
        bagged = _bagged(session, line.position)
        done = done_where(session, col(Step.id) == line.step.id) if act == "undo" else []
        warned = cautions_for(session, machine, mod)
        bag = next_bag(session)
        own = line.part
        own_in_reach = own is not None and open_bag(session, own) is not None and open_loan(session, own) is None
        where = where_is(session, own) if own else ""
    asks = _ASKS.get((act, StepKind(line.step.kind)), (False, False))
    if act == "undo" and own_in_reach:
        asks = (False, asks[1])
    context = ActFormPage(
        machine=machine,
        mod=mod,
        line=line,
        act=act,
        heading=f"{heading} {which}",
        said=reverse_of(done[0]) if done else line.words,
        form=form,
        cautions=warned,
        asks_part=asks[0],
        asks_where_it_goes=asks[1],
        is_last=act == "undo" and mod.state == ModState.FITTED and sum(one.can_be_put_back for one in lines) == 1,
        bagged=[("", "none: the part described below"), *bagged],
        kinds=[(kind.value, kind.value) for kind in PartKind],
        origins=[(origin.value, origin.value) for origin in Origin],
        becomes=BECOMES,
        where=where,
        next_bag=bag,
        action=f"{mod_address(machine, mod)}/steps/{which}/{act}",
        cancel=_onward(machine, mod, form.text("back")),
    )
    return house.page("mods/act.html", context, status)


# Which act on which kind of step asks for (a part to fit, where a part goes that comes out).
_ASKS = {
    ("do", StepKind.TAKE_OUT): (False, True),
    ("do", StepKind.FIT): (True, False),
    ("another", StepKind.FIT): (True, True),
    ("undo", StepKind.FIT): (False, True),
    ("undo", StepKind.TAKE_OUT): (True, False),
}
BAGGED_MOST = 300


def _bagged(session: Session, position: Position | None) -> Words:
    """The parts that could be fitted, those of the position's kind first."""
    found = at_hand(session, position.kind if position else "", BAGGED_MOST)
    return [(str(part.id), f"bag {bag}: {describe(part)}") for part, bag in found]
