"""Sums at the bench, without a record: every ready-made method, worked out as its values are typed.

What is typed stands in the address, so that a sum can be kept as a bookmark and sent to somebody. Nothing is stored; a
sum made here is attached to a mod by way of that mod's own form.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from fastapi import APIRouter
from starlette.responses import Response

from server.engineering import calculations as engine
from server.engineering.errors import CalculationError, EngineeringError
from server.engineering.methods import Method, load_methods
from server.engineering.quantities import Toleranced, parse, show
from server.pages.calculations import new_calculation_address
from server.pages.forms import Form, number_of
from server.pages.house import AtHome, House
from server.pages.pictures import Picture
from server.pages.results import CaseView, InputView, LineView, lines_of, pictures_of
from server.records.errors import NotFound
from server.records.questions.addresses import find_machine, find_mod
from server.records.questions.sums import mods_offered
from server.records.sums import why_not

router = APIRouter()
HERE = "/bench-sums"
TO = "attach-to"  # no input can have this name: a hyphen is an operator
CASE = "these values"
REMEMBERED = 128
Options = list[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class Told:
    """A method or a reader in the list: its address, its title and what it is for."""

    address: str
    title: str
    purpose: str


READERS = [
    Told(f"{HERE}/marking", "What a marking says", "Colour bands, letter codes, three and four digits, EIA-96."),
    Told(f"{HERE}/preferred", "Nearest preferred value", "The nearest of a series, and the pairs that come closest."),
    Told(f"{HERE}/date-code", "What a date code can mean", "Every week, month or year that the code allows."),
]


@dataclass(frozen=True, slots=True)
class BenchSumsPage:
    """Every reader and every method."""

    readers: list[Told]
    methods: list[Told]


@dataclass(frozen=True, slots=True)
class Asked:
    """One input of a method as the form asks for it."""

    name: str
    label: str
    hint: str


@dataclass(frozen=True, slots=True)
class BenchSumPage:
    """One method with the values typed, and what it comes to with them; `view` is none where they will not do."""

    method: Method
    form: Form
    labels: dict[str, str]
    asked: list[Asked]
    usual: bool
    view: CaseView | None
    lines: list[LineView]
    pictures: list[Picture]
    typed: Options
    mods: dict[str, Options]
    action: str


@router.get(HERE)
def bench_sums(house: AtHome) -> Response:
    by_title = sorted(load_methods().values(), key=lambda method: method.title.casefold())
    methods = [Told(bench_address(method), method.title, first_sentence(method.purpose)) for method in by_title]
    return house.page("bench_sums/index.html", BenchSumsPage(READERS, methods))


@router.get(HERE + "/{slug}")
def bench_sum(house: AtHome, slug: str) -> Response:
    method = _found(slug)
    form = form_of(house, {given.name: show(given.usual) for given in method.inputs})
    return _page(house, method, form, bool(house.request.query_params))


@router.get(HERE + "/{slug}/attach")
def attach(house: AtHome, slug: str) -> Response:
    """On to the form of the mod that was chosen, with the values that were typed."""
    method = _found(slug)
    form = form_of(house, dict.fromkeys((TO, *method.usual_values()), ""))
    tag, _, number = form.text(TO).rpartition("/")
    try:
        with house.reading() as session:
            machine = find_machine(session, tag)
            mod = find_mod(session, machine, number_of(number) or 0)
    except NotFound:
        form.errors[TO] = "Choose the mod that this sum belongs to."
        return _page(house, method, form, typed=True)
    typed = {name: form.text(name) for name in method.usual_values()}
    return house.go(new_calculation_address(machine.tag, mod.number, method.slug, typed))


def bench_address(method: Method) -> str:
    return f"{HERE}/{method.slug}"


def first_sentence(text: str) -> str:
    """A purpose in a line."""
    return " ".join(text.split()).partition(". ")[0].rstrip(".") + "."


def form_of(house: House, defaults: Mapping[str, str]) -> Form:
    """The form as its address fills it in; where the address says nothing, as it begins."""
    query = house.request.query_params
    return Form({name: [query.get(name, usual).replace("\0", "")] for name, usual in defaults.items()})


def _found(slug: str) -> Method:
    method = load_methods().get(slug)
    if method is None:
        raise NotFound("bench sum", slug)
    return method


def _page(house: House, method: Method, form: Form, typed: bool) -> Response:
    values = _values(method, form)
    view = None
    if values is not None:
        try:
            view = _case(method, values)
        except EngineeringError as fault:
            form.errors[_field_at_fault(method, fault)] = f"{fault.sentence}."
    context = BenchSumPage(
        method=method,
        form=form,
        labels={given.name: given.label for given in method.inputs} | {TO: "Machine and mod"},
        asked=[Asked(given.name, given.label, given.where_to_read) for given in method.inputs],
        usual=not typed,
        view=view,
        lines=lines_of([view]) if view else [],
        pictures=pictures_of([view]) if view else [],
        typed=[(name, form.text(name)) for name in method.usual_values()],
        mods=_mods(house) if view else {},
        action=bench_address(method),
    )
    return house.page("bench_sums/method.html", context, 422 if form.errors else 200)


def _mods(house: House) -> dict[str, Options]:
    """The mods to attach to, by machine."""
    found: dict[str, Options] = {}
    with house.reading() as session:
        for mod in mods_offered(session):
            found.setdefault(mod.machine, []).append((f"{mod.machine}/{mod.number}", f"Mod {mod.number}, {mod.title}"))
    return found


def _values(method: Method, form: Form) -> dict[str, Toleranced] | None:
    """The values as typed; none where one of them will not do, with its message beside it."""
    values = {}
    for given in method.inputs:
        try:
            value = parse(form.text(given.name), given.unit)
            problem = why_not(given, value)
        except EngineeringError as fault:
            problem = f"{fault.sentence.rstrip('.')}."
        if problem:
            form.errors[given.name] = problem
        else:
            values[given.name] = value
    return values if len(values) == len(method.inputs) else None


def _field_at_fault(method: Method, fault: EngineeringError) -> str:
    named = fault.name if isinstance(fault, CalculationError) else None
    return named if named in method.usual_values() else ""


def _case(method: Method, values: Mapping[str, Toleranced]) -> CaseView:
    result = evaluated(method.slug, tuple(values.items()))
    inputs = [InputView(name, show(value), "typed") for name, value in values.items()]
    return CaseView(CASE, inputs, result.lines, result.limits)


@lru_cache(maxsize=REMEMBERED)
def evaluated(slug: str, values: tuple[tuple[str, Toleranced], ...]) -> engine.Result:
    """The same values give the same result to the last digit, so it need not be worked out twice."""
    return engine.evaluate(load_methods()[slug].calculation(dict(values)))
