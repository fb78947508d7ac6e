"""The sums of a mod: the form that writes them, and the page that shows stock, as planned and as fitted."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter
from sqlmodel import Session, col, select
from starlette.responses import Response

from server.engineering import calculations as engine
from server.engineering.methods import Method, load_methods
from server.engineering.quantities import Toleranced, show
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House
from server.pages.machines import address
from server.pages.pictures import Bound, Picture, Spread, spread_view
from server.records.commands.calculations import AttachCalculation, ReviseCalculation, RunCalculation
from server.records.questions.addresses import find_calculation, find_machine, find_mod
from server.records.questions.machines import boards_of
from server.records.questions.sums import runs_of, tied_inputs
from server.records.sums import digest_of, latest_run, read_cases
from server.records.tables import Calculation, CalculationRun, Machine, Mod
from server.records.words import Case, Source

router = APIRouter()
Words = list[tuple[str, str]]

COLUMNS: dict[str, tuple[str, ...]] = {
    "inputs": (
        "name", "label", "unit", "source", "text", "board", "designator", "when_empty",
        "trial", "other_calculation", "other_line",
    ),
    "lines": ("name", "expression", "unit", "label"),
    "limits": ("line", "kind", "value", "basis"),
    "assumptions": ("sentence", "tested", "note"),
}  # fmt: skip
# What makes a row count as written: a row with only choices left at their first word is blank.
TELLING = {"inputs": "name", "lines": "expression", "limits": "value", "assumptions": "sentence"}
SPARE_ROWS, MORE_ROWS, ROWS_LEAST = 1, 4, 3
SOURCES = [
    (Source.TYPED.value, "typed here"),
    (Source.PART.value, "read from the part at a position"),
    (Source.TRIAL.value, "the mean of a trial"),
    (Source.LINE.value, "a line of another calculation of this mod"),
]
KINDS = [("at_most", "at most"), ("at_least", "at least"), ("between", "between")]


@dataclass(frozen=True, slots=True)
class SumLine:
    """One calculation in a mod's list: its worst verdict in each case, and whether its inputs have changed."""

    calculation: Calculation
    verdicts: list[str]
    stale: bool


@dataclass(frozen=True, slots=True)
class InputView:
    """One input in one case, as the page says it."""

    name: str
    value: str
    origin: str


@dataclass(frozen=True, slots=True)
class CaseView:
    """One case of a kept run: its inputs, and either its lines and limits or why it has none."""

    case: str
    inputs: list[InputView]
    lines: Sequence[engine.LineResult]
    limits: Sequence[engine.LimitResult]
    problem: str

    @property
    def verdict(self) -> str:
        return worst_verdict(self.limits, self.problem)


@dataclass(frozen=True, slots=True)
class RunView:
    """A kept run with what differs between its inputs and those of now."""

    run: CalculationRun
    cases: list[CaseView]
    changes: list[str]


@dataclass(frozen=True, slots=True)
class CalculationPage:
    """One sum: the latest kept result for three cases, what it rests on, and every earlier result."""

    machine: Machine
    mod: Mod
    calculation: Calculation
    method: Method | None
    labels: dict[str, str]
    latest: RunView
    stale: bool
    pictures: list[Picture]
    earlier: list[RunView]


@dataclass(frozen=True, slots=True)
class CalculationFormPage:
    """The form that writes a sum; `rows` says how many rows of each kind are shown."""

    machine: Machine
    mod: Mod
    calculation: Calculation | None
    form: Form
    rows: dict[str, int]
    boards: Words
    sources: Words
    kinds: Words
    methods: Words
    method: Method | None
    action: str
    cancel: str


@router.get("/machines/{tag}/mods/{number}/calculations/new")
def new_calculation(house: AtHome, tag: str, number: int, method: str = "") -> Response:
    with house.reading() as session:
        machine, mod = _found(session, tag, number)
    chosen = load_methods().get(method)
    form = _from_method(chosen) if chosen else Form.blank()
    return _form_page(house, machine, mod, None, form)


@router.post("/machines/{tag}/mods/{number}/calculations/new")
def attach_calculation(house: AtHome, tag: str, number: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine, mod = _found(session, tag, number)
    _compact(form)
    if form.text("more"):
        return _form_page(house, machine, mod, None, form)
    return house.write(
        form,
        AttachCalculation,
        to=lambda done: _address_of_key(house, machine, mod, done.key),
        again=lambda form, status: _form_page(house, machine, mod, None, form, status),
        machine=machine.tag,
        mod=mod.number,
        **_rows(form),
    )


@router.get("/machines/{tag}/mods/{number}/calculations/{which}")
def calculation_page(house: AtHome, tag: str, number: int, which: int) -> Response:
    with house.reading() as session:
        machine, mod = _found(session, tag, number)
        calculation = find_calculation(session, mod, which)
        return house.page("calculations/calculation.html", calculation_context(session, machine, mod, calculation))


def calculation_context(session: Session, machine: Machine, mod: Mod, calculation: Calculation) -> CalculationPage:
    """Everything the page shows; the kept results are shown as they were concluded, never worked out anew."""
    now = read_cases(session, calculation)
    plain_now = {case.value: {name: reading.value for name, reading in read.items()} for case, read in now.items()}
    runs = [_run_view(run, plain_now) for run in runs_of(session, calculation)]
    return CalculationPage(
        machine=machine,
        mod=mod,
        calculation=calculation,
        method=load_methods().get(calculation.method),
        labels={entry["name"]: entry["label"] for entry in calculation.lines}
        | {tied.entry.name: tied.entry.label for tied in tied_inputs(session, calculation)},
        latest=runs[0],
        stale=runs[0].run.digest != digest_of(calculation, now),
        pictures=_pictures(runs[0].cases),
        earlier=runs[1:],
    )


@router.get("/machines/{tag}/mods/{number}/calculations/{which}/edit")
def edit_calculation(house: AtHome, tag: str, number: int, which: int) -> Response:
    with house.reading() as session:
        machine, mod = _found(session, tag, number)
        calculation = find_calculation(session, mod, which)
        form = _from_stored(session, calculation)
    return _form_page(house, machine, mod, calculation, form)


@router.post("/machines/{tag}/mods/{number}/calculations/{which}/edit")
def revise_calculation(house: AtHome, tag: str, number: int, which: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine, mod = _found(session, tag, number)
        calculation = find_calculation(session, mod, which)
    _compact(form)
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
        **_rows(form),
    )


@router.post("/machines/{tag}/mods/{number}/calculations/{which}/run")
def run_calculation(house: AtHome, tag: str, number: int, which: int) -> Response:
    done = house.store.carry_out(RunCalculation(machine=tag, mod=number, calculation=which), house.who)
    return house.go(f"{address(tag)}/mods/{number}/calculations/{which}", done)


def calculation_address(machine: Machine, mod: Mod, calculation: Calculation) -> str:
    return f"{address(machine)}/mods/{mod.number}/calculations/{calculation.number}"


def sums_of(session: Session, mod: Mod) -> list[SumLine]:
    """The sums of a mod for its page."""
    query = select(Calculation).where(Calculation.mod_id == mod.id).order_by(col(Calculation.number))
    lines = []
    for calculation in session.exec(query).all():
        kept = latest_run(session, calculation)
        if kept is None:
            continue
        views = [_case_view(case, kept.cases[case.value]) for case in Case]
        stale = kept.digest != digest_of(calculation, read_cases(session, calculation))
        lines.append(SumLine(calculation, [view.verdict for view in views], stale))
    return lines


def worst_verdict(limits: Sequence[engine.LimitResult], problem: str) -> str:
    """One word for several limits: the worst of them."""
    if problem:
        return "no result"
    words = {limit.verdict for limit in limits}
    return next((word for word in ("fails", "at risk", "holds") if word in words), "no limit")


def _found(session: Session, tag: str, number: int) -> tuple[Machine, Mod]:
    machine = find_machine(session, tag)
    return machine, find_mod(session, machine, number)


def _address_of_key(house: House, machine: Machine, mod: Mod, key: int) -> str:
    with house.reading() as session:
        return calculation_address(machine, mod, session.get_one(Calculation, key))


# ---- Showing kept runs ----


def _run_view(run: CalculationRun, now: Mapping[str, Mapping[str, Toleranced | None]]) -> RunView:
    cases = [_case_view(case, run.cases[case.value]) for case in Case]
    changes = [change for case in Case for change in _changes(case, run.cases[case.value], now[case.value])]
    return RunView(run, cases, changes)


def _case_view(case: Case, kept: Mapping[str, Any]) -> CaseView:
    inputs = [
        InputView(name, show(Toleranced(**entry["value"])) if entry["value"] else "none", entry["origin"])
        for name, entry in kept["inputs"].items()
    ]
    if "problem" in kept:
        return CaseView(case.value, inputs, (), (), kept["problem"])
    result = engine.from_plain(kept["result"])
    return CaseView(case.value, inputs, result.lines, result.limits, "")


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


def _pictures(cases: list[CaseView]) -> list[Picture]:
    """A picture for each line that has a limit, over the cases that have a result."""
    told = [view for view in cases if not view.problem]
    limited = dict.fromkeys(limit.limit.line for view in told for limit in view.limits)
    return [_picture(name, told) for name in limited]


def _picture(name: str, cases: list[CaseView]) -> Picture:
    results = [(view, next(line for line in view.lines if line.name == name)) for view in cases]
    spreads = [
        Spread(
            view.case, line.histogram.edges, line.histogram.counts, line.nominal, line.interval_low, line.interval_high
        )
        for view, line in results
    ]
    bounds = [Bound(limit.limit.kind, _ends(limit)) for limit in cases[-1].limits if limit.limit.line == name]
    return spread_view(f"spread-{name}", results[0][1].label or name, results[0][1].unit, spreads, bounds)


def _ends(judged: engine.LimitResult) -> tuple[float, ...]:
    held = judged.against
    return (held.low, held.high) if judged.limit.kind == "between" else (held.nominal,)


# ---- The form ----


def _compact(form: Form) -> None:
    """Close the gaps between written rows, so that messages and rows keep the same numbers."""
    for kind, columns in COLUMNS.items():
        telling = [name for name in form.values if name.startswith(f"{kind}.")]
        numbers = sorted({int(name.split(".")[1]) for name in telling if name.split(".")[1].isdecimal()})
        rows = [{column: form.text(f"{kind}.{number}.{column}") for column in columns} for number in numbers]
        written = [row for row in rows if any(row[column].strip() for column in _content_columns(kind))]
        for name in telling:
            del form.values[name]
        _fill(form, kind, written)


def _content_columns(kind: str) -> tuple[str, ...]:
    """The columns of a row that a person writes; the rest are choices that always hold a word."""
    return tuple(column for column in COLUMNS[kind] if column not in ("source", "board", "kind", "tested"))


def _fill(form: Form, kind: str, rows: Sequence[Mapping[str, Any]]) -> None:
    for number, row in enumerate(rows):
        for column, value in row.items():
            form.set(f"{kind}.{number}.{column}", "" if value is None else str(value))


def _rows(form: Form) -> dict[str, Any]:
    """The rows of each kind as the command takes them."""
    return {
        kind: [
            {column: form.text(f"{kind}.{number}.{column}") for column in columns if column != "tested"}
            | ({"tested": bool(form.text(f"{kind}.{number}.tested"))} if "tested" in columns else {})
            for number in range(_count(form, kind))
        ]
        for kind, columns in COLUMNS.items()
    }


def _count(form: Form, kind: str) -> int:
    return len({name.split(".")[1] for name in form.values if name.startswith(f"{kind}.")})


def _from_stored(session: Session, calculation: Calculation) -> Form:
    form = Form.blank(
        title=calculation.title,
        method=calculation.method,
        note=calculation.note,
        opened_version=calculation.version,
    )
    _fill(form, "inputs", [tied.as_typed() for tied in tied_inputs(session, calculation)])
    for kind in ("lines", "limits"):
        _fill(form, kind, getattr(calculation, kind))
    kept = [row | {"tested": "yes" if row["tested"] else ""} for row in calculation.assumptions]
    _fill(form, "assumptions", kept)
    return form


def _from_method(method: Method) -> Form:
    """A form filled from a ready-made method: its lines and limits, its usual values to be replaced."""
    form = Form.blank(title=method.title, method=method.slug, note="")
    inputs = [
        {"name": given.name, "label": given.label, "unit": given.unit, "source": "typed", "text": show(given.usual)}
        for given in method.inputs
    ] + [
        {"name": fixed.name, "label": f"{fixed.label} ({fixed.source})", "unit": fixed.value.unit, "source": "typed",
         "text": show(fixed.value)}
        for fixed in method.constants
    ]  # fmt: skip
    _fill(form, "inputs", inputs)
    lines = [
        {"name": line.name, "expression": line.expression, "unit": line.unit, "label": line.label}
        for line in method.lines
    ]
    _fill(form, "lines", lines)
    limits = [
        {"line": limit.line, "kind": limit.kind, "value": _held_against(limit), "basis": limit.basis}
        for limit in method.limits
    ]
    _fill(form, "limits", limits)
    _fill(form, "assumptions", [{"sentence": sentence, "tested": "", "note": ""} for sentence in method.assumptions])
    return form


def _held_against(limit: engine.Limit) -> str:
    return limit.value if isinstance(limit.value, str) else show(limit.value)


def _form_page(
    house: House, machine: Machine, mod: Mod, calculation: Calculation | None, form: Form, status: int = 200
) -> Response:
    with house.reading() as session:
        boards = [(line.board.slug, line.board.name) for line in boards_of(session, machine)]
    more = form.text("more")
    rows = {kind: max(ROWS_LEAST, _count(form, kind) + (MORE_ROWS if kind == more else SPARE_ROWS)) for kind in COLUMNS}
    base = f"{address(machine)}/mods/{mod.number}"
    here = f"{base}/calculations/{calculation.number}" if calculation else f"{base}/calculations/new"
    methods = load_methods()
    context = CalculationFormPage(
        machine=machine,
        mod=mod,
        calculation=calculation,
        form=form,
        rows=rows,
        boards=[*boards, ("", "none")],
        sources=SOURCES,
        kinds=KINDS,
        methods=[(method.slug, method.title) for method in methods.values()],
        method=methods.get(form.text("method")),
        action=f"{here}/edit" if calculation else here,
        cancel=here if calculation else base,
    )
    return house.page("calculations/form.html", context, status)
