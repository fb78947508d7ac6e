"""A calculation evaluated: each line's nominal value, worst case, 95 % interval and shares, each limit's verdict.

Given the same calculation it gives the same result to the last digit: the draws hang on the seed. "Over the
tolerance" is the worst case of `worst_cases.py`: all inputs anywhere within their limits at once, and every draw. The
interval and the shares are `propagation.py`'s, formulas `formulas.py`'s, dimensions `dimensions.py`'s, verdicts
`verdicts.py`'s.

Inputs are independent of one another; one input used in several lines is one and the same value in all of them. Lines
may stand in any order. It knows nothing of where values come from or where a result is kept.

    calculation = Calculation(
        inputs=(Input("V", parse("5 V ±5 %")), Input("R", parse("460 Ω ±5 %"))),
        lines=(Line("I", "V / R", "mA", "Current"),),
        limits=(Limit("I", "at_most", parse("10 mA"), "the pin's rating"),),
    )
    evaluate(calculation).limits[0].sentence    # Current is 10.87 mA, and at worst 12.01 mA: over the 10 mA allowed

Source: JCGM 101:2008 section 7; the details in the modules named.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np

from server.engineering import propagation
from server.engineering.arithmetic import Value
from server.engineering.dimensions import Measure, measure, measure_of_unit
from server.engineering.errors import BadLimit, CalculationError, DimensionMismatch, NotFinite, UnknownName
from server.engineering.line_order import plan
from server.engineering.plain_results import from_plain, to_plain
from server.engineering.propagation import Array, Bands
from server.engineering.sheet import (
    DRAWS,
    Calculation,
    Histogram,
    Input,
    Kind,
    Limit,
    LimitResult,
    Line,
    LineResult,
    Result,
    Verdict,
)
from server.engineering.toleranced import Toleranced, convert
from server.engineering.units import check_unit, scale, unit_for
from server.engineering.verdicts import Margins, judge, margins
from server.engineering.worst_cases import MOST_CORNERED, Extremes, Model, worst_case

__all__ = [
    "DRAWS",
    "Calculation",
    "Histogram",
    "Input",
    "Kind",
    "Limit",
    "LimitResult",
    "Line",
    "LineResult",
    "Result",
    "Verdict",
    "check",
    "evaluate",
    "evaluate_cases",
    "from_plain",
    "to_plain",
    "with_values",
]

_FEWEST_DRAWS = 100
_MOST_DRAWS = 2_000_000
_MOST_HELD = 40_000_000


def evaluate(calculation: Calculation) -> Result:
    """Run a calculation. Raises a CalculationError or FormulaError that names the line and the input at fault."""
    sheet = _Sheet(calculation)
    lines = {line.name: sheet.line_result(line) for line in calculation.lines}
    limits = tuple(sheet.limit_result(limit, lines[limit.line]) for limit in calculation.limits)
    return Result(calculation, tuple(lines.values()), limits)


def check(calculation: Calculation) -> None:
    """Raise what `evaluate` would for names, formulas, dimensions, limits and draws, and work out no more."""
    _Sheet(calculation)


def evaluate_cases(calculation: Calculation, cases: Mapping[str, Mapping[str, Toleranced]]) -> dict[str, Result]:
    """The calculation with other values in each case (stock, as planned, as fitted), drawn with the same luck."""
    return {case: evaluate(with_values(calculation, values)) for case, values in cases.items()}


def with_values(calculation: Calculation, values: Mapping[str, Toleranced]) -> Calculation:
    """The calculation with some inputs given other values. Raises UnknownName."""
    names = {given.name for given in calculation.inputs}
    for name in values:
        if name not in names:
            raise UnknownName(f"There is no input “{name}”", name=name)
    inputs = tuple(replace(given, value=values.get(given.name, given.value)) for given in calculation.inputs)
    return replace(calculation, inputs=inputs)


class _Sheet:
    """One evaluation: formulas in working order, measures, draws and results, all in SI base units."""

    def __init__(self, calculation: Calculation) -> None:
        held = calculation.draws * (len(calculation.inputs) + len(calculation.lines))
        if not _FEWEST_DRAWS <= calculation.draws <= _MOST_DRAWS or held > _MOST_HELD:
            raise CalculationError(f"There must be from {_FEWEST_DRAWS} to {_MOST_DRAWS} draws, fewer for many lines")
        self.calculation = calculation
        self.plan = plan(calculation)
        self.values = {given.name: given.value for given in calculation.inputs}
        self.labels = {given.name: given.label or given.name for given in calculation.inputs}
        self.labels |= {line.name: line.label or line.name for line in calculation.lines}
        self.measures = self.measured()
        self.units = {line.name: self.unit_of(line) for line in calculation.lines}
        for limit in calculation.limits:
            self.check_limit(limit)
        self.boxes = {name: propagation.box(value) for name, value in self.values.items()}
        self.at_nominal = {name: box.nominal for name, box in self.boxes.items()}
        self.nominals = self.run(self.at_nominal, self.plan.order)
        self.drawn = self.draw()
        self.results = self.run({**self.at_nominal, **self.drawn}, self.plan.order)
        self.bands = {name: Bands(drawn, self.boxes[name]) for name, drawn in self.drawn.items()}

    # --- before any number is put in ---

    def measured(self) -> dict[str, Measure]:
        """What every name measures."""
        known = {name: measure_of_unit(value.unit) for name, value in self.values.items()}
        for line in self.plan.order:
            try:
                known[line] = measure(self.plan.formulas[line], known)
            except DimensionMismatch as fault:
                raise fault.on_line(line) from None
        return known

    def unit_of(self, line: Line) -> str:
        found = self.measures[line.name]
        if line.unit:
            asked = measure_of_unit(line.unit)
            if asked.dimension != found.dimension:
                raise DimensionMismatch(f"It comes to {found}, not to {asked}", name=line.name).on_line(line.name)
            if asked.is_point and not found.is_point:
                sentence = "It comes to an amount of temperature: show it in K, not in °C"
                raise DimensionMismatch(sentence, name=line.name).on_line(line.name)
            return check_unit(line.unit)
        if any(power.denominator != 1 for power in found.dimension.powers):
            raise DimensionMismatch(f"It comes to {found}, which no unit has", name=line.name).on_line(line.name)
        return "°C" if found.is_point else unit_for(found.dimension)

    def check_limit(self, limit: Limit) -> None:
        if limit.line not in self.units:
            raise BadLimit(f"There is no line “{limit.line}” to limit", line=limit.line, name=limit.line)
        if limit.kind not in ("at_least", "at_most", "between"):
            raise BadLimit(f"A limit is at_least, at_most or between, not {limit.kind}").on_line(limit.line)
        value = self.values.get(limit.value) if isinstance(limit.value, str) else limit.value
        if value is None and limit.value not in self.units:
            raise BadLimit(f"There is no input or line “{limit.value}”", name=str(limit.value)).on_line(limit.line)
        if limit.kind == "between" and (value is None or value.is_exact):
            raise BadLimit("A band needs a value with a low and a high end").on_line(limit.line)
        found = self.measures[limit.line]
        asked = self.measures[limit.value] if isinstance(limit.value, str) else measure_of_unit(limit.value.unit)
        if found.dimension != asked.dimension or (asked.is_point and not found.is_point):
            raise BadLimit(f"It comes to {found} and cannot be held against {asked}").on_line(limit.line)

    # --- running ---

    def run(self, values: Mapping[str, Value], lines: Iterable[str]) -> dict[str, Value]:
        """The lines at the given input values, beside those."""
        known = dict(values)
        for line in lines:
            try:
                known[line] = self.plan.formulas[line](known)
            except CalculationError as fault:
                raise fault.on_line(line) from None
            _refuse_infinite(line, known[line])
        return known

    def draw(self) -> dict[str, Array]:
        """Draws of the inputs that vary and are used at all."""
        used = {name for line in self.plan.order for name in self.plan.uses[line]}
        calculation = self.calculation
        return {
            name: propagation.draw(name, box, calculation.draws, calculation.seed)
            for name, box in self.boxes.items()
            if box.varies and (name in used or name in {limit.value for limit in calculation.limits})
        }

    def model(self, *lines: str) -> Model:
        """The first of some lines as a function of the inputs that vary, less the second if there is one."""
        needed = self.plan.needed(*lines)

        def at(point: Mapping[str, Value]) -> Value:
            known = self.run({**self.at_nominal, **point}, needed)
            return known[lines[0]] - known[lines[1]] if len(lines) == 2 else known[lines[0]]

        return at

    def varying(self, *names: str) -> dict[str, propagation.Box]:
        """The inputs that vary and that these lines or inputs hang on."""
        used = {given for name in names for given in self.plan.uses[name]}
        return {name: box for name, box in self.boxes.items() if name in used and name in self.drawn}

    def worst(self, *names: str) -> Extremes:
        """The extremes of a line, or of the difference of two."""
        drawn = self.results[names[0]] - self.results[names[1]] if len(names) == 2 else self.results[names[0]]
        results = np.asarray(drawn, dtype=np.float64)
        return worst_case(self.model(*names), self.varying(*names), self.drawn, results)

    # --- results ---

    def line_result(self, line: Line) -> LineResult:
        unit = self.units[line.name]
        base = scale(unit)
        nominal = (float(self.nominals[line.name]) - base.offset) / base.factor
        varying = self.varying(line.name)
        if not varying:
            return self.steady(line, unit, nominal)
        drawn = np.asarray(self.results[line.name], dtype=np.float64)
        worst, summary = self.worst(line.name), propagation.summarise(drawn)
        shares = propagation.shares(drawn, {name: self.bands[name] for name in varying})

        def shown(number: float) -> float:
            return (number - base.offset) / base.factor

        return LineResult(
            name=line.name,
            expression=line.expression,
            unit=unit,
            nominal=nominal,
            worst_low=min(shown(worst.low), nominal),
            worst_high=max(shown(worst.high), nominal),
            interval_low=shown(summary.low),
            interval_high=shown(summary.high),
            shares={name: shares.get(name, 0.0) for name in self.values},
            notes=_notes(worst, shares),
            histogram=Histogram(tuple(shown(edge) for edge in summary.edges), summary.counts),
            label=line.label,
            mean=shown(summary.mean),
            uncertainty=summary.uncertainty / base.factor,
        )

    def steady(self, line: Line, unit: str, value: float) -> LineResult:
        """A line on which no tolerance bears."""
        return LineResult(
            name=line.name,
            expression=line.expression,
            unit=unit,
            nominal=value,
            worst_low=value,
            worst_high=value,
            interval_low=value,
            interval_high=value,
            shares=dict.fromkeys(self.values, 0.0),
            notes=(),
            histogram=Histogram((value, value), (self.calculation.draws,)),
            label=line.label,
            mean=value,
        )

    def limit_result(self, limit: Limit, line: LineResult) -> LimitResult:
        against, other = self.against(limit, line.unit)
        if not other:
            return judge(limit, line, against, margins(limit.kind, line, against))
        factor = scale(line.unit).factor
        worst = self.worst(limit.line, other)
        left = against.nominal - line.nominal, -worst.high / factor
        if limit.kind == "at_least":
            left = line.nominal - against.nominal, worst.low / factor
        return judge(limit, line, against, Margins(*left), self.labels[other])

    def against(self, limit: Limit, unit: str) -> tuple[Toleranced, str]:
        """What a line is held against, in the line's unit, and its name if it varies along with the line."""
        if not isinstance(limit.value, str):
            return convert(limit.value, unit), ""
        name = limit.value
        varies = bool(self.varying(name)) and limit.kind != "between"
        if name in self.values:
            return convert(self.values[name], unit), name if varies else ""
        base = scale(unit)
        nominal = (float(self.nominals[name]) - base.offset) / base.factor
        if not varies:
            return Toleranced(nominal, nominal, nominal, unit), ""
        worst = self.worst(name)
        low, high = ((end - base.offset) / base.factor for end in (worst.low, worst.high))
        return Toleranced(nominal, min(low, nominal), max(high, nominal), unit), name


def _refuse_infinite(line: str, value: Value) -> None:
    """A sum is one pass and no array; only if that is not finite does each value need looking at."""
    with np.errstate(all="ignore"):
        total = np.sum(value)
    if not np.isfinite(total) and not np.all(np.isfinite(value)):
        raise NotFinite("The result is too large to be written, or is no number", name=line).on_line(line)


def _notes(worst: Extremes, shares: Mapping[str, float]) -> tuple[str, ...]:
    notes = []
    if worst.inside_beats_corners:
        notes.append("The worst case lies inside the tolerances, not at their ends.")
    if not worst.all_corners:
        notes.append(f"More than {MOST_CORNERED} inputs vary: the worst case was searched for, not proved.")
    if worst.beyond_limits:
        notes.append("The worst case takes in draws of measured values beyond twice their standard uncertainty.")
    together = 1.0 - sum(shares.values())
    if 0.02 < together < 1.0:
        notes.append(f"About {100 * together:.0f} % of the spread comes from inputs acting together.")
    return tuple(notes)
