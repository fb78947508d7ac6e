"""The sums of a mod: the form that writes them, and the page that shows stock, as planned and as fitted."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.engineering import calculations as engine
from server.engineering.methods import Method, load_methods
from server.engineering.quantities import Toleranced, show
from server.pages import circuit_form, circuits
from server.pages.calculation_form import (
    LIMIT_KINDS,
    SOURCES,
    InputRow,
    Words,
    beside_their_fields,
    compact,
    from_method,
    from_stored,
    input_rows,
    labels_of,
    rows_of,
    rows_shown,
)
from server.pages.circuit_view import CircuitView, circuit_view
from server.pages.form_rows import count_rows
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House
from server.pages.machines import address
from server.pages.mod_places import address_of_new_calculation, calculation_address, found_mod
from server.pages.offers import others_offered, read_figures_offered, trials_offered
from server.pages.pictures import Picture
from server.pages.results import CaseView, InputView, LineView, kept_verdict, lines_of, pictures_of
from server.records.circuit_kinds import NOTHING, WIRE
from server.records.commands.calculations import (
    AttachCalculation,
    ReviseCalculation,
    RunCalculation,
    TickAssumption,
)
from server.records.questions.addresses import find_calculation
from server.records.questions.boards import all_boards
from server.records.questions.stays import home_of
from server.records.questions.sums import latest_runs, runs_of, tied_inputs
from server.records.sums import digest_of, read_cases
from server.records.tables import Calculation, CalculationRun, Machine, Mod
from server.records.words import Case, Source

# What is shown of an element whose place is empty.
STANDS_IN = {WIRE: "a wire instead", NOTHING: "left out"}
router = APIRouter()
PRESET = "value."  # before an input's name, in the address of a new calculation's form


@dataclass(frozen=True, slots=True)
class SumLine:
    """One calculation in a mod's list: its worst verdict in each case, and all that is known of it as fitted."""

    calculation: Calculation
    verdicts: list[str]
    fitted: CaseView


@dataclass(frozen=True, slots=True)
class RunView:
    """A kept run in a line: its worst verdict in each case, and what differs between its inputs and those of now."""

    run: CalculationRun
    verdicts: list[tuple[str, str]]
    changes: list[str]


@dataclass(frozen=True, slots=True)
class Tick:
    """One assumption with the form that says whether it was tested."""

    number: int
    sentence: str
    tested: bool
    form: Form


@dataclass(frozen=True, slots=True)
class CalculationPage:
    """One sum: the latest kept result for three cases, what it rests on, and every kept run, the latest first."""

    machine: Machine
    mod: Mod
    calculation: Calculation
    method: Method | None
    labels: dict[str, str]
    constants: dict[str, str]
    cases: list[CaseView]
    circuit: CircuitView | None
    lines: list[LineView]
    stale: bool
    pictures: list[Picture]
    ticks: list[Tick]
    runs: list[RunView]


@dataclass(frozen=True, slots=True)
class CalculationFormPage:
    """The form that writes a sum; `rows` says how many rows of each kind are shown, `opened` which kinds stand open."""

    machine: Machine
    mod: Mod
    calculation: Calculation | None
    form: Form
    inputs: list[InputRow]
    rows: dict[str, int]
    opened: set[str]
    boards: Words
    trials: Words
    figures: Words
    others: Words
    sources: Words
    kinds: Words
    line_names: list[str]
    labels: dict[str, str]
    methods: Words
    method: Method | None
    base: str
    action: str
    cancel: str


@router.get("/machines/{tag}/mods/{number}/calculations/new")
def new_calculation(house: AtHome, tag: str, number: int, method: str = "") -> Response:
    with house.reading() as session:
        machine, mod = found_mod(session, tag, number)
    chosen = load_methods().get(method)
    query = house.request.query_params
    typed = {name.removeprefix(PRESET): text for name, text in query.items() if name.startswith(PRESET)}
    return _form_page(house, machine, mod, None, from_method(chosen, typed) if chosen else Form.blank())


@router.post("/machines/{tag}/mods/{number}/calculations/new")
def attach_calculation(house: AtHome, tag: str, number: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine, mod = found_mod(session, tag, number)
    compact(form)
    if form.text("more"):
        return _form_page(house, machine, mod, None, form)
    return house.write(
        form,
        AttachCalculation,
        to=lambda done: address_of_new_calculation(house, machine, mod, done.key),
        again=lambda form, status: _form_page(house, machine, mod, None, form, status),
        machine=machine.tag,
        mod=mod.number,
        **rows_of(form),
    )


@router.get("/machines/{tag}/mods/{number}/calculations/{which}")
def calculation_page(house: AtHome, tag: str, number: int, which: int) -> Response:
    with house.reading() as session:
        machine, mod = found_mod(session, tag, number)
        calculation = find_calculation(session, mod, which)
        return house.page("calculations/calculation.html", calculation_context(session, machine, mod, calculation))


def calculation_context(
    session: Session, machine: Machine, mod: Mod, calculation: Calculation, refused: tuple[int, Form] | None = None
) -> CalculationPage:
    """Everything the page shows; the kept results are shown as they were concluded, never worked out anew."""
    now = read_cases(session, calculation)
    plain_now = {case.value: {name: reading.value for name, reading in read.items()} for case, read in now.items()}
    runs = runs_of(session, calculation)
    cases = [_case_view(case, runs[0].cases[case.value]) for case in Case]
    method = load_methods().get(calculation.method)
    return CalculationPage(
        machine=machine,
        mod=mod,
        calculation=calculation,
        method=method,
        labels={tied.entry.name: tied.entry.label for tied in tied_inputs(session, calculation)},
        constants={fixed.name: fixed.source for fixed in method.constants} if method else {},
        cases=cases,
        circuit=circuit_view(calculation.circuit, runs[0].cases, cases) if calculation.circuit else None,
        lines=[] if calculation.circuit else lines_of(cases),
        stale=runs[0].digest != digest_of(calculation, now),
        pictures=[] if calculation.circuit else pictures_of(cases),
        ticks=_ticks(calculation, refused),
        runs=[_run_view(run, plain_now) for run in runs],
    )


@router.post("/machines/{tag}/mods/{number}/calculations/{which}/assumptions/{row}")
def tick_assumption(house: AtHome, tag: str, number: int, which: int, row: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine, mod = found_mod(session, tag, number)
        calculation = find_calculation(session, mod, which)

    def again(form: Form, status: int) -> Response:
        with house.reading() as session:
            now = find_calculation(session, mod, which)
            context = calculation_context(session, machine, mod, now, (row, form))
        return house.page("calculations/calculation.html", context, status)

    return house.write(
        form,
        TickAssumption,
        to=lambda done: calculation_address(machine, mod, calculation) + "#assumptions",  # noqa: ARG005
        again=again,
        machine=machine.tag,
        mod=mod.number,
        calculation=calculation.number,
        number=row,
    )


@router.get("/machines/{tag}/mods/{number}/calculations/{which}/edit")
def edit_calculation(house: AtHome, tag: str, number: int, which: int) -> Response:
    with house.reading() as session:
        machine, mod = found_mod(session, tag, number)
        calculation = find_calculation(session, mod, which)
        form = (
            circuit_form.from_stored(session, calculation) if calculation.circuit else from_stored(session, calculation)
        )
    if calculation.circuit:
        return circuits.form_page(house, machine, mod, calculation, form)
    return _form_page(house, machine, mod, calculation, form)


@router.post("/machines/{tag}/mods/{number}/calculations/{which}/edit")
def revise_calculation(house: AtHome, tag: str, number: int, which: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine, mod = found_mod(session, tag, number)
        calculation = find_calculation(session, mod, which)
    if calculation.circuit:
        return circuits.revise(house, machine, mod, calculation, form)
    compact(form)
    if form.text("more"):
        return _form_page(house, machine, mod, calculation, form)
    return house.write(
        form,
        ReviseCalculation,
        to=lambda done: calculation_address(machine, mod, calculation),  # noqa: ARG005
        again=lambda form, status: _form_page(house, machine, mod, calculation, form, status),
        machine=machine.tag,
        mod=mod.number,
        calculation=calculation.number,
        **rows_of(form),
    )


@router.post("/machines/{tag}/mods/{number}/calculations/{which}/run")
def run_calculation(house: AtHome, tag: str, number: int, which: int) -> Response:
    done = house.store.carry_out(RunCalculation(machine=tag, mod=number, calculation=which), house.who)
    return house.go(f"{address(tag)}/mods/{number}/calculations/{which}", done)


def new_calculation_address(machine: str, mod: int, method: str, typed: Mapping[str, str]) -> str:
    """Where a new sum of a mod begins from a method, with the values as they were typed elsewhere."""
    query = {"method": method} | {f"{PRESET}{name}": text for name, text in typed.items()}
    return f"{address(machine)}/mods/{mod}/calculations/new?{urlencode(query)}"


def sums_of(session: Session, mod: Mod) -> list[SumLine]:
    """The sums of a mod for its page, each with its latest kept result; one query, however many there are."""
    lines = []
    for calculation, kept in latest_runs(session, mod):
        views = [_case_view(case, kept.cases[case.value]) for case in Case]
        fitted = next(view for view in views if view.case == Case.FITTED)
        lines.append(SumLine(calculation, [view.verdict for view in views], fitted))
    return lines


# ---- Showing kept runs ----


def _run_view(run: CalculationRun, now: Mapping[str, Mapping[str, Toleranced | None]]) -> RunView:
    verdicts = [(case.value, kept_verdict(run.cases[case.value])) for case in Case]
    changes = [change for case in Case for change in _changes(case, run.cases[case.value], now[case.value])]
    return RunView(run, verdicts, changes)


def _case_view(case: Case, kept: Mapping[str, Any]) -> CaseView:
    inputs = [_input_view(name, entry) for name, entry in kept["inputs"].items()]
    if "problem" in kept:
        return CaseView(case.value, inputs, (), (), kept["problem"])
    result = engine.from_plain(kept["result"])
    return CaseView(case.value, inputs, result.lines, result.limits)


def _input_view(name: str, entry: Mapping[str, Any]) -> InputView:
    if not entry["value"] and entry["problem"] in STANDS_IN:
        return InputView(name, STANDS_IN[entry["problem"]], entry["origin"], "")
    value = show(Toleranced(**entry["value"])) if entry["value"] else "none"
    return InputView(name, value, entry["origin"], entry["problem"])


def _changes(case: Case, kept: Mapping[str, Any], now: Mapping[str, Toleranced | None]) -> list[str]:
    """What the inputs of a run were, where they are otherwise now."""
    found = []
    for name, entry in kept["inputs"].items():
        then = Toleranced(**entry["value"]) if entry["value"] else None
        current = now.get(name)
        if then != current:
            words = f"was {show(then) if then else 'none'}, now {show(current) if current else 'none'}"
            found.append(f"{case.value}: {name} {words}")
    return found


def _ticks(calculation: Calculation, refused: tuple[int, Form] | None) -> list[Tick]:
    """Every assumption with its form; the one that was refused as it was typed."""
    ticks = []
    for number, row in enumerate(calculation.assumptions, start=1):
        form = Form.blank(tested=row["tested"], note=row["note"], opened_version=calculation.version)
        if refused and refused[0] == number:
            form = refused[1]
        ticks.append(Tick(number, row["sentence"], row["tested"], form))
    if refused and not any(tick.form is refused[1] for tick in ticks):
        ticks.append(Tick(refused[0], "This assumption is no longer there.", False, refused[1]))
    for tick in ticks:
        tick.form.prefix = f"a{tick.number}"
    return ticks


# ---- The form ----


def _form_page(
    house: House, machine: Machine, mod: Mod, calculation: Calculation | None, form: Form, status: int = 200
) -> Response:
    beside_their_fields(form)
    with house.reading() as session:
        boards = [(board.slug, board.name) for board in all_boards(session, home_of(session, mod))]
        trials = trials_offered(session, machine, form, "inputs")
        figures = read_figures_offered(session, machine, form, "inputs")
        others = others_offered(session, mod, calculation, form, "inputs")
    rows = rows_shown(form)
    method = load_methods().get(form.text("method"))
    base = f"{address(machine)}/mods/{mod.number}"
    here = f"{base}/calculations/{calculation.number}" if calculation else f"{base}/calculations/new"
    ties = {
        Source.TYPED: True, Source.PART: boards, Source.TRIAL: trials, Source.WAVEFORM: figures, Source.LINE: others,
        Source.UNKNOWN: True,
    }  # fmt: skip
    offered = {source.value for source, tied in ties.items() if tied}
    offered |= {form.text(f"inputs.{number}.source") for number in range(rows["inputs"])}
    context = CalculationFormPage(
        machine=machine,
        mod=mod,
        calculation=calculation,
        form=form,
        inputs=input_rows(form, method, rows["inputs"]),
        rows=rows,
        opened={name.partition(".")[0] for name in (*form.errors, form.text("more"))},
        boards=boards,
        trials=trials,
        figures=figures,
        others=others,
        sources=[(source, words) for source, words in SOURCES if source in offered],
        kinds=LIMIT_KINDS,
        line_names=[name for number in range(count_rows(form, "lines")) if (name := form.text(f"lines.{number}.name"))],
        labels=labels_of(form),
        methods=[(method.slug, method.title) for method in _by_title()],
        method=method,
        base=base,
        action=f"{here}/edit" if calculation else here,
        cancel=here if calculation else base,
    )
    return house.page("calculations/form.html", context, status)


def _by_title() -> list[Method]:
    return sorted(load_methods().values(), key=lambda method: method.title.casefold())
