"""Designs: the list, one with its fittings side by side, and the forms that write, revise and fit one."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import quote

from fastapi import APIRouter
from starlette.responses import Response

from server.pages.forms import Form, PostedForm, number_of
from server.pages.house import AtHome, House, PageNumber
from server.pages.machines import HAZARDS
from server.pages.mod_places import mod_address
from server.records import clock
from server.records.cautions import cautions
from server.records.commands.designs import FitDesign, ReviseDesign, WriteDesign
from server.records.commands.mods import ModFields
from server.records.designing import Place, places_of
from server.records.questions.addresses import find_design, find_machine, find_mod
from server.records.questions.designs import (
    DesignLine,
    Fitting,
    Outcome,
    designs,
    fittings_of,
    guessed_places,
    procedures_of,
)
from server.records.questions.hazards import cautions_for
from server.records.questions.machines import boards_of, designators_of, machines_offered
from server.records.questions.paging import Paged, page_in
from server.records.questions.side_by_side import Group, side_by_side, telling
from server.records.tables import Design, Machine, Mod, Procedure
from server.records.words import ModState

router = APIRouter()
FITTINGS_A_PAGE = 8


@dataclass(frozen=True, slots=True)
class DesignsPage:
    """Every design with the number of its fittings; `fit_on` is the machine that one is looked for."""

    lines: Paged[DesignLine]
    fit_on: Machine | None


@dataclass(frozen=True, slots=True)
class DesignPage:
    """One design, and its fittings side by side; of many, `shown` are the columns of this page."""

    design: Design
    procedures: dict[str, Procedure]
    fittings: list[Fitting]
    shown: range
    number: int
    last: int
    groups: list[Group]
    cautions: list[str]
    said: list[str]
    telling: list[str]


@dataclass(frozen=True, slots=True)
class DesignFormPage:
    """The form that writes a design from a mod, or revises its words; `places` are to be named while it is new."""

    design: Design | None
    machine: Machine | None
    mod: Mod | None
    form: Form
    cautions: list[str]
    places: list[Place]
    hazards: list[tuple[str, str]]
    labels: dict[str, str]
    action: str
    cancel: str


@dataclass(frozen=True, slots=True)
class FitPage:
    """The form that plans a fitting; without a machine it asks for one first. `designators` are offered by kind."""

    design: Design
    machine: Machine | None
    machines: list[tuple[str, str]]
    boards: list[tuple[str, str]]
    designators: dict[str, list[str]]
    cautions: list[str]
    form: Form
    states: list[tuple[str, str]]
    labels: dict[str, str]
    action: str
    cancel: str


def design_address(design: Design) -> str:
    return f"/designs/{quote(design.slug)}"


@router.get("/designs")
def designs_page(house: AtHome, number: PageNumber, machine: str = "") -> Response:
    with house.reading() as session:
        fit_on = find_machine(session, machine) if machine else None
        return house.page("designs/designs.html", DesignsPage(designs(session, number), fit_on))


@router.get("/designs/{slug}")
def design_page(house: AtHome, slug: str, number: PageNumber) -> Response:
    with house.reading() as session:
        design = find_design(session, slug)
        fittings = fittings_of(session, design)
        groups = side_by_side(design, fittings)
        page = page_in(len(fittings), number, FITTINGS_A_PAGE)
        told = telling(groups)
        context = DesignPage(
            design=design,
            procedures=procedures_of(session, design),
            fittings=fittings,
            shown=range(page.start, min(page.start + FITTINGS_A_PAGE, page.total)),
            number=page.number,
            last=page.last,
            groups=groups,
            cautions=cautions(design.hazards),
            said=_said(fittings, told),
            telling=told,
        )
    return house.page("designs/design.html", context)


def _said(fittings: Sequence[Fitting], told: Sequence[str]) -> list[str]:
    """What the fittings come to, in sentences."""
    count = Counter(one.outcome for one in fittings)
    worked, failed = count[Outcome.WORKED], count[Outcome.DID_NOT_WORK]
    if count[Outcome.NOT_TOLD] == len(fittings):
        return ["No fitting has been told by its trials yet. Carry one out, and run its procedures before and after."]
    said = [_counted(count)]
    if worked and failed and not told:
        said.append(
            "Nothing on record tells them apart. Look at what is not recorded: how the trials were run, the "
            "workmanship, the parts around."
        )
    elif worked == failed == 1:
        said.append("With one of each, whatever differs tells them apart; a third fitting would narrow it down.")
    return said


def _counted(count: Counter[Outcome]) -> str:
    """`Of 3 fittings 1 worked, 1 did not work and 1 is not told yet.`"""
    total = count.total()
    if total == 1:
        return f"The only fitting so far: {next(iter(count))}."
    words = {Outcome.CONTRADICTORY: "left contradictory trials", Outcome.NOT_TOLD: "not told yet"}
    *most, last = [f"{count[one]} {words.get(one, one.value)}" for one in Outcome if count[one]]
    listed = f"{', '.join(most)} and {last}" if most else last
    return f"Of {total} fittings {listed}."


# ---- Written from a mod, and revised ----


@router.get("/machines/{tag}/mods/{number}/design")
def new_design(house: AtHome, tag: str, number: int) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        mod = find_mod(session, machine, number)
    return _new_form(house, machine, mod, Form.of_row(ModFields, mod))


@router.post("/machines/{tag}/mods/{number}/design")
def write_design(house: AtHome, tag: str, number: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        mod = find_mod(session, machine, number)
    return house.write(
        form,
        WriteDesign,
        to=lambda done: _written(house, done.key),
        again=lambda form, status: _new_form(house, machine, mod, form, status),
        machine=machine.tag,
        mod=mod.number,
        roles=_roles(form),
    )


@router.get("/designs/{slug}/edit")
def edit_design(house: AtHome, slug: str) -> Response:
    with house.reading() as session:
        design = find_design(session, slug)
    return _revision_form(house, design, Form.of_row(ModFields, design))


@router.post("/designs/{slug}/edit")
def revise_design(house: AtHome, slug: str, form: PostedForm) -> Response:
    with house.reading() as session:
        design = find_design(session, slug)
    return house.write(
        form,
        ReviseDesign,
        to=lambda done: design_address(design),  # noqa: ARG005
        again=lambda form, status: _revision_form(house, design, form, status),
        design=design.slug,
    )


def _written(house: House, key: int) -> str:
    with house.reading() as session:
        return design_address(session.get_one(Design, key))


def _roles(form: Form) -> list[dict[str, str]]:
    """The roles as the form names them, each with the position that it was shown for."""
    named = (number_of(name.removeprefix("roles.").removesuffix(".name")) for name in form.values)
    numbers = sorted(number for number in named if number is not None)
    columns = ("board", "designator", "name")
    return [{column: form.text(f"roles.{number}.{column}") for column in columns} for number in numbers]


def _new_form(house: House, machine: Machine, mod: Mod, form: Form, status: int = 200) -> Response:
    """The form with a role for each position as the mod has them now; names that were typed stay with theirs."""
    with house.reading() as session:
        places = places_of(session, mod)
        warned = cautions_for(session, machine, mod)
    typed = {(role["board"], role["designator"]): role["name"] for role in _roles(form)}
    for number, place in enumerate(places):
        key = (place.board.slug, place.position.designator)
        for column, text in zip(("board", "designator", "name"), (*key, typed.get(key, place.suggestion)), strict=True):
            form.set(f"roles.{number}.{column}", text)
    labels = {
        f"roles.{number}.name": f"Role of {place.position.designator}, {place.board.name}"
        for number, place in enumerate(places)
    }
    base = mod_address(machine, mod)
    context = DesignFormPage(None, machine, mod, form, warned, places, HAZARDS, labels, f"{base}/design", base)
    return house.page("designs/form.html", context, status)


def _revision_form(house: House, design: Design, form: Form, status: int = 200) -> Response:
    here = design_address(design)
    context = DesignFormPage(design, None, None, form, cautions(design.hazards), [], HAZARDS, {}, f"{here}/edit", here)
    return house.page("designs/form.html", context, status)


# ---- Fitted on a machine ----


@router.get("/designs/{slug}/fit")
def fit_form(house: AtHome, slug: str, machine: str = "") -> Response:
    with house.reading() as session:
        design = find_design(session, slug)
        if not machine:
            return house.page("designs/fit.html", _asking(design, machines_offered(session)))
        found = find_machine(session, machine)
        form = Form.blank(state=ModState.PLANNED, day=clock.today(), signer=found.keeper or house.settings.keeper)
        for number, (board, designator) in enumerate(guessed_places(session, found, design)):
            form.set(f"places.{number}.board", board)
            form.set(f"places.{number}.designator", designator)
    return _fit_form(house, design, found, form)


@router.post("/designs/{slug}/fit")
def fit_design(house: AtHome, slug: str, form: PostedForm, machine: str = "") -> Response:
    with house.reading() as session:
        design = find_design(session, slug)
        found = find_machine(session, machine)
    places = [
        {"role": role["name"], **{name: form.text(f"places.{number}.{name}") for name in ("board", "designator")}}
        for number, role in enumerate(design.roles)
        if form.text(f"places.{number}.designator").strip()
    ]
    return house.write(
        form,
        FitDesign,
        to=lambda done: _fitting(house, found, done.key),
        again=lambda form, status: _fit_form(house, design, found, form, status),
        machine=found.tag,
        design=design.slug,
        places=places,
    )


def _asking(design: Design, machines: list[tuple[str, str]]) -> FitPage:
    here = design_address(design)
    return FitPage(design, None, machines, [], {}, cautions(design.hazards), Form.blank(), [], {}, f"{here}/fit", here)


def _fitting(house: House, machine: Machine, key: int) -> str:
    with house.reading() as session:
        return mod_address(machine, session.get_one(Mod, key))


def _fit_form(house: House, design: Design, machine: Machine, form: Form, status: int = 200) -> Response:
    with house.reading() as session:
        lines = boards_of(session, machine)
        boards = [(line.board.slug, line.board.name) for line in lines]
        kinds = {role["kind"] for role in design.roles}
        designators = {kind: designators_of(session, machine, kind) for kind in kinds}
        warned = cautions(design.hazards, machine.hazards, *(line.board.hazards for line in lines))
    labels = {
        f"places.{number}.{column}": f"{role['name']}, {words}"
        for number, role in enumerate(design.roles)
        for column, words in (("board", "board"), ("designator", "position"))
    }
    states = [(state.value, state.value) for state in (ModState.PLANNED, ModState.CONSIDERED)]
    here = design_address(design)
    action = f"{here}/fit?machine={quote(machine.tag)}"
    return house.page(
        "designs/fit.html",
        FitPage(design, machine, [], boards, designators, warned, form, states, labels, action, here),
        status,
    )
