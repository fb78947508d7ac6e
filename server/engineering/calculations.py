"""A calculation: inputs with tolerances, lines of arithmetic, limits, and what comes of them.

`evaluate` gives for each line its nominal value, worst case, 95 % interval and each input's share of the spread, and for each
limit a verdict. Given the same calculation it gives the same result to the last digit: the draws hang on the seed.

    holds     within the limit over the whole worst case
    at risk   within it at the nominal values, not over the tolerance
    fails     beyond it at the nominal values already

"Over the tolerance" is the worst case of `propagation.py`: all inputs anywhere within their limits at once, and every draw. A value equal
to its limit is within it, to one part in 10^9.

It knows nothing of where values come from or where a result is kept. `to_plain` and `from_plain` carry a result through JSON with the
inputs it was run with.

Sources: JCGM 101:2008 (Monte Carlo, section 7); the details in `propagation.py` and `formulas.py`.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal
from uuid import UUID

import numpy as np

from server.engineering import propagation
from server.engineering.dimensions import Measure, measure, measure_of_unit
from server.engineering.errors import (
    BadLimit,
    BadName,
    CalculationError,
    CircularLines,
    DimensionMismatch,
    DuplicateName,
    FormulaError,
    NotFinite,
    UnknownName,
)
from server.engineering.formulas import Formula, Value, compile_line, is_name
from server.engineering.propagation import Array, Bands
from server.engineering.showing import figure
from server.engineering.toleranced import Toleranced, convert
from server.engineering.units import check_unit, scale, unit_for

Verdict = Literal["holds", "at risk", "fails"]
Kind = Literal["at_least", "at_most", "between"]

DRAWS = 100_000
MOST_DRAWS = 2_000_000
MOST_LINES = 100
_BINS = 40
_EVEN = 1e-9


@dataclass(frozen=True, slots=True)
class Input:
    """A named value that lines may use."""

    name: str
    value: Toleranced
    label: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """`name = expression`, shown in `unit`; without a unit, in the SI unit of what it comes to."""

    name: str
    expression: str
    unit: str = ""
    label: str = ""


@dataclass(frozen=True, slots=True)
class Limit:
    """What a line must keep to, and on what ground (`basis`).

    `at_least` and `at_most` hold the line against the value's nominal, `between` against its low and high.
    """

    line: str
    kind: Kind
    value: Toleranced
    basis: str = ""


@dataclass(frozen=True, slots=True)
class Calculation:
    """Inputs, lines in any order, limits on lines, and the seed that fixes the draws."""

    inputs: tuple[Input, ...]
    lines: tuple[Line, ...]
    limits: tuple[Limit, ...] = ()
    seed: UUID | int = 0
    draws: int = DRAWS


@dataclass(frozen=True, slots=True)
class Histogram:
    """How the draws fall: `counts` between neighbouring `edges`, in the line's unit. One bin of no width if nothing varies."""

    edges: tuple[float, ...]
    counts: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class LineResult:
    """What a line comes to, all in `unit`. `mean` and `uncertainty` are those of the draws (JCGM 101 7.6)."""

    name: str
    expression: str
    unit: str
    nominal: float
    worst_low: float
    worst_high: float
    interval_low: float
    interval_high: float
    shares: dict[str, float]
    notes: tuple[str, ...]
    histogram: Histogram
    label: str = ""
    mean: float = 0.0
    uncertainty: float = 0.0


@dataclass(frozen=True, slots=True)
class LimitResult:
    """A verdict with its sentence. `margin` is what the worst case leaves, in the line's unit; negative, what it is over by."""

    limit: Limit
    verdict: Verdict
    sentence: str
    margin: float


@dataclass(frozen=True, slots=True)
class Result:
    """What a calculation came to, beside the calculation itself."""

    calculation: Calculation
    lines: tuple[LineResult, ...]
    limits: tuple[LimitResult, ...]

    def line(self, name: str) -> LineResult:
        """The line of that name; KeyError if there is none."""
        for line in self.lines:
            if line.name == name:
                return line
        raise KeyError(name)


def evaluate(calculation: Calculation) -> Result:
    """Run a calculation. Raises a CalculationError or FormulaError that names the line and the input at fault."""
    sheet = _Sheet(calculation)
    return Result(calculation, sheet.line_results(), sheet.limit_results())


class _Sheet:
    """One evaluation: formulas in working order, measures, draws and results, all in SI base units."""

    def __init__(self, calculation: Calculation) -> None:
        self.calculation = calculation
        _check_names(calculation)
        self.formulas = {line.name: _compiled(line) for line in calculation.lines}
        self.order = _working_order(calculation, self.formulas)
        self.uses = _all_uses(calculation, self.formulas, self.order)
        self.measures = self.measured()
        self.units = {line.name: self.unit_of(line) for line in calculation.lines}
        self.boxes = {given.name: propagation.box(given.value) for given in calculation.inputs}
        _check_limits(calculation, self.measures)
        self.nominals = self.run({name: box.nominal for name, box in self.boxes.items()}, self.order)
        self.drawn = self.draw()
        self.results = self.run({**{n: b.nominal for n, b in self.boxes.items()}, **self.drawn}, self.order)
        self.done: dict[str, LineResult] = {}

    def measured(self) -> dict[str, Measure]:
        """What every name measures."""
        known = {given.name: measure_of_unit(given.value.unit) for given in self.calculation.inputs}
        for name in self.order:
            try:
                known[name] = measure(self.formulas[name], known)
            except DimensionMismatch as fault:
                raise fault.on_line(name) from None
        return known

    def unit_of(self, line: Line) -> str:
        found = self.measures[line.name]
        if not line.unit:
            return "°C" if found.is_point else _named_unit(line, found)
        asked = measure_of_unit(line.unit)
        if asked.dimension != found.dimension:
            raise DimensionMismatch(f"It comes to {found}, not to {asked}", name=line.name).on_line(line.name)
        if asked.is_point and not found.is_point:
            raise DimensionMismatch("It comes to an amount of temperature: show it in K, not in °C").on_line(line.name)
        return check_unit(line.unit)

    def run(self, values: Mapping[str, Value], lines: Iterable[str]) -> dict[str, Value]:
        """The lines at the given input values."""
        known = dict(values)
        for name in lines:
            try:
                known[name] = self.formulas[name](known)
            except CalculationError as fault:
                raise fault.on_line(name) from None
            self.refuse_infinite(name, known[name])
        return known

    def refuse_infinite(self, name: str, value: Value) -> None:
        """A sum is one pass and no array; only if it is not finite does each value need looking at."""
        with np.errstate(all="ignore"):
            total = np.sum(value)
        if not np.isfinite(total) and not np.all(np.isfinite(value)):
            raise NotFinite("The result is too large to be written, or is no number", name=name).on_line(name)

    def draw(self) -> dict[str, Array]:
        calculation = self.calculation
        used = set().union(*self.uses.values()) if self.uses else set()
        return {
            name: propagation.draw(name, box, calculation.draws, calculation.seed)
            for name, box in self.boxes.items()
            if box.varies and name in used
        }

    def line_results(self) -> tuple[LineResult, ...]:
        bands = {name: Bands(drawn, self.boxes[name]) for name, drawn in self.drawn.items()}
        self.done = {line.name: self.line_result(line, bands) for line in self.calculation.lines}
        return tuple(self.done.values())

    def line_result(self, line: Line, bands: Mapping[str, Bands]) -> LineResult:
        varying = {name: self.boxes[name] for name in self.uses[line.name] if name in self.drawn}
        nominal = float(self.nominals[line.name])
        if not varying:
            return self.steady(line, nominal)
        results = np.asarray(self.results[line.name], dtype=np.float64)
        worst = propagation.worst_case(self.model(line.name), varying, self.drawn, results)
        low, high = propagation.interval(results)
        shares = propagation.shares(results, {name: bands[name] for name in varying})
        base = scale(self.units[line.name])

        def shown(value: float) -> float:
            return (value - base.offset) / base.factor

        return LineResult(
            name=line.name,
            expression=line.expression,
            unit=self.units[line.name],
            nominal=shown(nominal),
            worst_low=shown(min(worst.low, nominal)),
            worst_high=shown(max(worst.high, nominal)),
            interval_low=shown(low),
            interval_high=shown(high),
            shares={given.name: shares.get(given.name, 0.0) for given in self.calculation.inputs},
            notes=_notes(worst, shares),
            histogram=_histogram((results - base.offset) / base.factor),
            label=line.label,
            mean=shown(float(np.mean(results))),
            uncertainty=float(np.std(results)) / base.factor,
        )

    def steady(self, line: Line, nominal: float) -> LineResult:
        """A line on which no tolerance bears."""
        base = scale(self.units[line.name])
        value = (nominal - base.offset) / base.factor
        shares = dict.fromkeys((given.name for given in self.calculation.inputs), 0.0)
        counts = Histogram((value, value), (self.calculation.draws,))
        return LineResult(
            line.name, line.expression, self.units[line.name], value, value, value, value, value, shares, (), counts,
            line.label, value, 0.0,
        )  # fmt: skip

    def model(self, name: str) -> propagation.Model:
        """One line as a function of the inputs that vary, the others at their nominal values."""
        fixed = {given: box.nominal for given, box in self.boxes.items()}
        needed = _needed(name, self.formulas, self.order)

        def at(point: Mapping[str, Value]) -> Value:
            return self.run({**fixed, **point}, needed)[name]

        return at

    def limit_results(self) -> tuple[LimitResult, ...]:
        labels = {line.name: line.label or line.name for line in self.calculation.lines}
        return tuple(_judged(limit, self.done[limit.line], labels[limit.line]) for limit in self.calculation.limits)


# --- checks -----------------------------------------------------------------------------------------------------------


def _check_names(calculation: Calculation) -> None:
    if not 1 <= calculation.draws <= MOST_DRAWS:
        raise CalculationError(f"The number of draws must be from 1 to {MOST_DRAWS}")
    if len(calculation.lines) > MOST_LINES or len(calculation.inputs) > MOST_LINES:
        raise CalculationError(f"A calculation has at most {MOST_LINES} inputs and {MOST_LINES} lines")
    seen: set[str] = set()
    for name in [*(i.name for i in calculation.inputs), *(line.name for line in calculation.lines)]:
        if not is_name(name):
            raise BadName(
                f"“{name}” cannot name a value: letters, digits and underscores, and no function's name", name=name
            )
        if name in seen:
            raise DuplicateName(f"“{name}” names two values", name=name)
        seen.add(name)


def _compiled(line: Line) -> Formula:
    try:
        return compile_line(line.expression)
    except FormulaError as fault:
        fault.field = line.name
        raise


def _working_order(calculation: Calculation, formulas: Mapping[str, Formula]) -> list[str]:
    """Lines after those that they use. Raises UnknownName and CircularLines."""
    ready = {given.name for given in calculation.inputs}
    for name, formula in formulas.items():
        for used in formula.names:
            if used not in ready and used not in formulas:
                raise UnknownName(f"There is no input or line “{used}”", name=used, text=formula.expression).on_line(
                    name
                )
    order: list[str] = []
    waiting = dict(formulas)
    while waiting:
        free = [name for name, formula in waiting.items() if ready.issuperset(formula.names)]
        if not free:
            circle = _circle(waiting)
            raise CircularLines(f"The lines {' → '.join(circle)} wait for one another", line=circle[0], name=circle[1])
        order += free
        ready.update(free)
        for name in free:
            del waiting[name]
    return order


def _circle(waiting: Mapping[str, Formula]) -> list[str]:
    """A way along the lines that comes back to where it began."""
    path = [next(iter(waiting))]
    while True:
        step = next(name for name in waiting[path[-1]].names if name in waiting)
        if step in path:
            return [*path[path.index(step) :], step]
        path.append(step)


def _all_uses(
    calculation: Calculation, formulas: Mapping[str, Formula], order: Sequence[str]
) -> dict[str, tuple[str, ...]]:
    """The inputs that each line hangs on, through other lines too, in the order of the inputs."""
    uses: dict[str, set[str]] = {given.name: {given.name} for given in calculation.inputs}
    for name in order:
        uses[name] = set().union(*(uses[used] for used in formulas[name].names))
    return {name: tuple(i.name for i in calculation.inputs if i.name in uses[name]) for name in order}


def _needed(name: str, formulas: Mapping[str, Formula], order: Sequence[str]) -> list[str]:
    """The lines that must run for one line, in working order, itself last."""
    wanted = {name}
    for other in reversed(order):
        if other in wanted:
            wanted.update(used for used in formulas[other].names if used in formulas)
    return [other for other in order if other in wanted]


def _named_unit(line: Line, found: Measure) -> str:
    if any(power.denominator != 1 for power in found.dimension.powers):
        raise DimensionMismatch(f"It comes to {found}, for which there is no unit", name=line.name).on_line(line.name)
    return check_unit(unit_for(found.dimension))


def _check_limits(calculation: Calculation, measures: Mapping[str, Measure]) -> None:
    lines = {line.name for line in calculation.lines}
    for limit in calculation.limits:
        if limit.line not in lines:
            raise BadLimit(f"There is no line “{limit.line}” for this limit", line=limit.line, name=limit.line)
        if limit.kind not in ("at_least", "at_most", "between"):
            raise BadLimit(f"A limit is at_least, at_most or between, not {limit.kind}", line=limit.line)
        found, asked = measures[limit.line], measure_of_unit(limit.value.unit)
        if found.dimension != asked.dimension or (asked.is_point and not found.is_point):
            raise BadLimit(f"It comes to {found} and cannot be held against {asked}", name=limit.line).on_line(
                limit.line
            )
        if limit.kind == "between" and limit.value.is_exact:
            raise BadLimit("A band needs two ends", name=limit.line).on_line(limit.line)


# --- results ----------------------------------------------------------------------------------------------------------


def _notes(worst: propagation.Extremes, shares: Mapping[str, float]) -> tuple[str, ...]:
    notes = []
    if worst.inside_beats_corners:
        notes.append("The worst case lies inside the tolerances, not at their ends.")
    if not worst.all_corners:
        notes.append(
            f"More than {propagation.MOST_CORNERED} inputs vary: the worst case was searched for, not found by trying every corner."
        )
    if worst.beyond_limits:
        notes.append("The worst case takes in draws of measured values beyond twice their standard uncertainty.")
    together = 1.0 - sum(shares.values())
    if 0.02 < together < 1.0:
        notes.append(f"About {100 * together:.0f} % of the spread comes from inputs acting together.")
    return tuple(notes)


def _histogram(values: Array) -> Histogram:
    low, high = float(values.min()), float(values.max())
    if low == high:
        return Histogram((low, high), (len(values),))
    index = ((values - low) * (_BINS / (high - low))).astype(np.intp)
    counts = np.bincount(np.minimum(index, _BINS - 1), minlength=_BINS)
    return Histogram(tuple(np.linspace(low, high, _BINS + 1).tolist()), tuple(counts.tolist()))


def _judged(limit: Limit, line: LineResult, label: str) -> LimitResult:
    value = convert(limit.value, line.unit)
    low = value.low if limit.kind == "between" else value.nominal if limit.kind == "at_least" else -np.inf
    high = value.high if limit.kind == "between" else value.nominal if limit.kind == "at_most" else np.inf
    room = _EVEN * max(abs(v) for v in (low, high) if np.isfinite(v))
    margin = min(line.worst_low - low, high - line.worst_high)
    at_nominal = min(line.nominal - low, high - line.nominal)
    verdict: Verdict = "holds" if margin >= -room else "at risk" if at_nominal >= -room else "fails"
    return LimitResult(limit, verdict, _sentence(limit, line, label, value, verdict), float(margin))


def _sentence(limit: Limit, line: LineResult, label: str, value: Toleranced, verdict: Verdict) -> str:
    ends = [value.low, value.high] if limit.kind == "between" else [value.nominal]

    def shown(number: float) -> str:
        return figure(number, line.unit, _digits(number, ends))

    worst = _worst_ends(limit.kind, line)
    at_worst = "" if line.worst_low == line.worst_high else f" at worst {' to '.join(shown(w) for w in worst)}"
    joint = ", but" if verdict == "at risk" else ", and"
    start = f"{label} is {shown(line.nominal)}{joint + at_worst if at_worst else ''}"
    return f"{start}: {_outcome(limit.kind, verdict == 'holds', [figure(end, line.unit, 12) for end in ends])}"


def _worst_ends(kind: Kind, line: LineResult) -> list[float]:
    if kind == "between":
        return [line.worst_low, line.worst_high]
    return [line.worst_high if kind == "at_most" else line.worst_low]


def _outcome(kind: Kind, holds: bool, ends: list[str]) -> str:
    match kind:
        case "at_most":
            return f"{'within' if holds else 'over'} the {ends[0]} allowed"
        case "at_least":
            return f"{'no less than' if holds else 'under'} the {ends[0]} needed"
    return f"{'within' if holds else 'outside'} the {ends[0]} to {ends[1]} allowed"


def _digits(number: float, ends: Iterable[float]) -> int:
    """Four digits, or as many as tell the number from the limit it is held against."""
    for digits in range(4, 12):
        rounded = float(f"{number:.{digits - 1}e}")
        if all((rounded > end) == (number > end) and (rounded < end) == (number < end) for end in ends):
            return digits
    return 12


# --- plain ------------------------------------------------------------------------------------------------------------


def to_plain(result: Result) -> dict[str, Any]:
    """The result as JSON values, with the calculation it came from; every float finite."""
    calculation = result.calculation
    return {
        "inputs": [{"name": i.name, "label": i.label, "value": _plain_value(i.value)} for i in calculation.inputs],
        "seed": str(calculation.seed),
        "draws": calculation.draws,
        "lines": [_plain_line(written, line) for written, line in zip(calculation.lines, result.lines, strict=True)],
        "limits": [_plain_limit(limit) for limit in result.limits],
    }


def from_plain(plain: Mapping[str, Any]) -> Result:
    """The result that `to_plain` wrote down, as it was: nothing is evaluated again."""
    limits = tuple(_limit_from(limit) for limit in plain["limits"])
    calculation = Calculation(
        inputs=tuple(Input(i["name"], Toleranced(**i["value"]), i["label"]) for i in plain["inputs"]),
        lines=tuple(
            Line(line["name"], line["expression"], line["asked_unit"], line["label"]) for line in plain["lines"]
        ),
        limits=tuple(judged.limit for judged in limits),
        seed=_seed_from(plain["seed"]),
        draws=plain["draws"],
    )
    return Result(calculation, tuple(_line_from(line) for line in plain["lines"]), limits)


def _plain_value(value: Toleranced) -> dict[str, Any]:
    return {
        "nominal": value.nominal,
        "low": value.low,
        "high": value.high,
        "unit": value.unit,
        "spread": value.spread,
    }


_LINE_NUMBERS = ("nominal", "worst_low", "worst_high", "interval_low", "interval_high", "mean", "uncertainty")


def _plain_line(written: Line, line: LineResult) -> dict[str, Any]:
    return {
        "name": line.name,
        "label": line.label,
        "expression": line.expression,
        "asked_unit": written.unit,
        "unit": line.unit,
        **{number: getattr(line, number) for number in _LINE_NUMBERS},
        "shares": dict(line.shares),
        "notes": list(line.notes),
        "histogram": {"edges": list(line.histogram.edges), "counts": list(line.histogram.counts)},
    }


def _line_from(plain: Mapping[str, Any]) -> LineResult:
    histogram = Histogram(tuple(plain["histogram"]["edges"]), tuple(plain["histogram"]["counts"]))
    return LineResult(
        name=plain["name"],
        label=plain["label"],
        expression=plain["expression"],
        unit=plain["unit"],
        shares=dict(plain["shares"]),
        notes=tuple(plain["notes"]),
        histogram=histogram,
        **{number: plain[number] for number in _LINE_NUMBERS},
    )


def _plain_limit(judged: LimitResult) -> dict[str, Any]:
    limit = judged.limit
    return {
        "line": limit.line,
        "kind": limit.kind,
        "value": _plain_value(limit.value),
        "basis": limit.basis,
        "verdict": judged.verdict,
        "sentence": judged.sentence,
        "margin": judged.margin,
    }


def _limit_from(plain: Mapping[str, Any]) -> LimitResult:
    limit = Limit(plain["line"], plain["kind"], Toleranced(**plain["value"]), plain["basis"])
    return LimitResult(limit, plain["verdict"], plain["sentence"], plain["margin"])


def _seed_from(text: str) -> UUID | int:
    return int(text) if text.lstrip("-").isdigit() else UUID(text)
