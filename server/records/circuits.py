"""A circuit solved for one case: what its calculation's run keeps, in the shape in which a sum's result is kept.

Every node's voltage, every element's current and heat, and what each question comes to is a line: limits, expectations
and other sums read it as they do a sum's. Beside the result stands what the pictures and the answers need. It knows a
calculation's plain columns and the values that were read for it, and neither the database nor pages.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any
from uuid import UUID

import numpy as np

from server.engineering import calculations as engine
from server.engineering import network as net
from server.engineering.errors import EngineeringError
from server.engineering.network.elements import Asked
from server.engineering.network.networks import value_box
from server.engineering.quantities import Toleranced, convert, figure, parse
from server.engineering.verdicts import judge, margins
from server.records.circuit_kinds import KINDS, NOTHING, RATED, WIRE, WIRE_OHMS, element, ratings_of
from server.records.circuit_lines import ABOVE, CONDUCTS, RELEASED, in_words

if TYPE_CHECKING:
    from server.records.sums import Readings
    from server.records.tables import Calculation

DRAWS = 200
POINTS = 61
LEAST_TOLD = 1e-9
_FALLS = {
    "time constant": net.ExponentialFall,
    "resistor": net.ResistorFall,
    "steady current": net.SteadyCurrentFall,
    "steady power": net.SteadyPowerFall,
}
ENDS = ("nominal", "low", "high", "least", "most")
MAY_CHANGE = (
    "The rail is taken to fall as told, whatever the circuit does, and the circuit to follow at once: of the time of "
    "its own capacitors nothing is said."
)


class ValueMissing(Exception):
    """An element has no value in this case; the sentence says why."""


def solved(calculation: "Calculation", readings: "Readings") -> dict[str, Any]:
    """The kept result of one case, and under `circuit` what its pictures and answers need.

    Raises ValueMissing, or an EngineeringError that names the element or the node.
    """
    circuit = calculation.circuit or {}
    network, notes = network_of(circuit, readings)
    point = _point(network, calculation.uuid)
    answers = _answers(circuit, network, readings, calculation.uuid)
    lines = _lines(point) + [line for answer in answers for line in answer.lines]
    labels = {line["name"]: line for line in calculation.lines}
    named = [_named(line, labels) for line in lines if line.name in labels]
    limits = [judged for limit in calculation.limits if (judged := _judged(limit, named, answers))]
    inputs = tuple(engine.Input(name, one.value, one.label) for name, one in readings.items() if one.value)
    sheet = engine.Calculation(
        inputs,
        tuple(engine.Line(line.name, "", line.unit, line.label) for line in named),
        tuple(judged.limit for judged in limits),
        seed=calculation.uuid,
        draws=point.draws,
    )
    swept = _swept(circuit, network, calculation.uuid)
    kept = {
        "draws": point.draws,
        "notes": [*notes, *point.notes, *(swept.notes if swept else ())],
        "answers": [answer.plain for answer in answers],
        "sweep": _plain_sweep(circuit, swept) if swept else None,
        "over": [f"{one.element}, {one.quantity}" for one in swept.over] if swept else [],
    }
    return {"result": engine.to_plain(engine.Result(sheet, tuple(named), tuple(limits))), "circuit": kept}


def network_of(circuit: Mapping[str, Any], readings: "Readings") -> tuple[net.Network, list[str]]:
    """The network of one case, and what is left out or bridged in it. Raises ValueMissing or an EngineeringError."""
    made: list[net.Element] = []
    notes = []
    for row in circuit["elements"]:
        kind = KINDS[row["kind"]]
        first = readings[row["values"][kind.value.field]]
        if first.value is None and first.problem == NOTHING:
            notes.append(f"{row['name']} is left out: {first.origin}.")
            continue
        if first.value is None and first.problem == WIRE:
            notes.append(f"{row['name']} is a wire: {first.origin}.")
            made.append(net.Resistor(row["name"], row["nodes"][0], row["nodes"][1], WIRE_OHMS))
            continue
        values = {field: _value(readings, name) for field, name in row["values"].items()}
        made.append(element(kind, row["name"], row["nodes"], values, rated(row["rating"])))
    return net.Network(tuple(made), reference=circuit["reference"]), notes


def rated(text: str) -> dict[str, float]:
    """What an element stands, in W, A and V."""
    units = {name: unit for unit, name in RATED.items()}
    asked = {name: Asked(units[name], 0.0, 1e9) for name in units}
    return {
        name: value_box(parse(amount), asked[name], "It", None).nominal for name, amount in ratings_of(text).items()
    }


def conditions_of(circuit: Mapping[str, Any]) -> list[net.AnyCondition]:
    """What each question asks, as the engineering core takes it."""
    return [net.all_of(*(_condition(part) for part in question["parts"])) for question in circuit["questions"]]


def _condition(part: Mapping[str, str]) -> net.Condition:
    how = part["how"]
    conducts = how in (CONDUCTS, RELEASED)
    watched = net.current(part["which"]) if conducts else net.voltage(part["which"])
    amount = parse(part["value"], unit="A" if conducts else "V")
    return watched.above(amount) if how in (CONDUCTS, ABOVE) else watched.below(amount)


def _value(readings: "Readings", name: str) -> Toleranced:
    reading = readings[name]
    if reading.value is None:
        raise ValueMissing(f"{name}: {reading.problem}")
    return reading.value


# ---- Solving, remembered: the cases of a circuit are often alike, and a run follows its check ----


@lru_cache(maxsize=64)
def _point(network: net.Network, seed: UUID) -> net.OperatingPoint:
    return net.operating_point(network, draws=DRAWS, seed=seed)


@lru_cache(maxsize=64)
def _along(network: net.Network, source: str, low: float, high: float, seed: UUID) -> net.Sweep:
    return net.sweep(network, source, np.linspace(high, low, POINTS), draws=DRAWS, seed=seed)


@lru_cache(maxsize=256)
def _where(
    network: net.Network, swept: tuple[str, float, float], condition: net.AnyCondition, seed: UUID
) -> net.Thresholds:
    return net.thresholds(network, *swept, condition, draws=DRAWS, seed=seed)


def _swept(circuit: Mapping[str, Any], network: net.Network, seed: UUID) -> net.Sweep | None:
    return _along(network, *_range(circuit), seed) if circuit["sweep"] else None


def _range(circuit: Mapping[str, Any]) -> tuple[str, float, float]:
    swept = circuit["sweep"]
    return swept["source"], float(swept["low"]), float(swept["high"])


# ---- Lines ----


def _lines(point: net.OperatingPoint) -> list[engine.LineResult]:
    lines = [_line(f"V_{node}", band) for node, band in point.volts.items()]
    for name, reading in point.elements.items():
        lines.append(_line(f"I_{name}", reading.current))
        lines.append(_line(f"P_{name}", reading.power))
        lines.append(_line(f"U_{name}", reading.volts))
    return lines


def _line(name: str, band: net.Band) -> engine.LineResult:
    """A band as a line of a sum. The mean is the middle of the interval, the uncertainty a quarter of it: bands keep
    no more of their draws."""
    nominal, low, high, least, most = (_told(getattr(band, end)) for end in ENDS)
    return engine.LineResult(
        name=name,
        expression="",
        unit=band.unit,
        nominal=nominal,
        worst_low=least,
        worst_high=most,
        interval_low=low,
        interval_high=high,
        shares={},
        notes=(),
        histogram=engine.Histogram((least, most), (DRAWS,)),
        mean=(low + high) / 2,
        uncertainty=(high - low) / 4,
    )


def _told(number: float) -> float:
    """What is smaller than the solution is good for is nothing."""
    return 0.0 if abs(number) < LEAST_TOLD else number


def _named(line: engine.LineResult, labels: Mapping[str, Mapping[str, str]]) -> engine.LineResult:
    return replace(line, label=labels[line.name]["label"])


# ---- Limits ----


def _judged(
    limit: Mapping[str, str], lines: Sequence[engine.LineResult], answers: "Sequence[_Answer]"
) -> engine.LimitResult | None:
    asked = engine.Limit(limit["line"], "at_most", parse(limit["value"]), limit["basis"])
    for answer in answers:
        if limit["line"] == answer.lasts:
            return answer.judged(asked)
    line = next((line for line in lines if line.name == limit["line"]), None)
    if line is None:
        return None  # of an element that is not there in this case
    size = _size(line)
    against = _held_against(asked, line.unit)
    return judge(asked, size, against, margins("at_most", size, against))


def _held_against(limit: engine.Limit, unit: str) -> Toleranced:
    if isinstance(limit.value, str):
        raise TypeError("a circuit's limits are amounts")
    return convert(limit.value, unit)


def _size(line: engine.LineResult) -> engine.LineResult:
    """A line without its sign: what an element stands is the same either way."""
    worst = max(abs(line.worst_low), abs(line.worst_high))
    crossing = line.worst_low < 0 < line.worst_high
    least = 0.0 if crossing else min(abs(line.worst_low), abs(line.worst_high))
    return replace(line, nominal=abs(line.nominal), worst_low=least, worst_high=worst)


# ---- Questions ----


@dataclass(frozen=True)
class _Answer:
    """Where the condition holds along the swept source, and for how long as it falls."""

    number: int
    label: str
    found: net.Thresholds
    windows: net.Windows | None

    @property
    def lasts(self) -> str:
        return f"Q{self.number}_lasts"

    @property
    def lines(self) -> list[engine.LineResult]:
        """The ends of the stretches, lowest and highest, and the length of all windows together, where it has one."""
        lines = []
        if self.found:
            lines.append(_line(f"Q{self.number}_low", self.found[0].low))
            lines.append(_line(f"Q{self.number}_high", self.found[-1].high))
        if self.windows is not None and math.isfinite(self.length.most):
            lines.append(_line(self.lasts, self.length))
        return lines

    @property
    def length(self) -> net.Band:
        """All windows together; nothing where there is none. Infinite where one does not end within the range."""
        lengths = [math.inf if one.at_least else one.length for one in self.windows or ()]
        bands = [one for one in lengths if isinstance(one, net.Band)]
        if len(bands) < len(lengths):
            return net.Band(math.inf, math.inf, math.inf, math.inf, math.inf, "s")
        total = {end: math.fsum(getattr(one, end) for one in bands) for end in ENDS}
        return net.Band(**total, unit="s")

    @property
    def sometimes(self) -> bool:
        """Whether the condition holds over more stretches within the tolerances than at the nominal values."""
        return self.found.share_with_more > 0

    def judged(self, limit: engine.Limit) -> engine.LimitResult:
        """The verdict on the length; one that has no end within the range is beyond any limit."""
        against, length = _held_against(limit, "s"), self.length
        if not math.isfinite(length.most):
            words = (
                f"{self.label} has no end within what was looked at: over the {figure(against.nominal, 's')} allowed"
            )
            verdict: engine.Verdict = "fails" if not math.isfinite(length.nominal) else "at risk"
            return engine.LimitResult(limit, verdict, words, -against.nominal, against)
        line = _named(_line(self.lasts, length), {self.lasts: {"label": self.label}})
        judged = judge(limit, line, against, margins("at_most", line, against))
        if judged.verdict == "holds" and self.sometimes:
            words = f"{judged.sentence}, but within the tolerances it comes about more often than that"
            return engine.LimitResult(limit, "at risk", words, judged.margin, against)
        return judged

    @property
    def plain(self) -> dict[str, Any]:
        return {
            "stretches": [
                {
                    "low": _plain_band(one.low),
                    "high": _plain_band(one.high),
                    "open_low": one.open_low,
                    "open_high": one.open_high,
                    "share": one.share,
                }
                for one in self.found
            ],
            "windows": [
                {
                    "start": _plain_band(one.start),
                    "end": _plain_band(one.end),
                    "length": _plain_band(one.length),
                    "share": one.share,
                    "at_least": one.at_least,
                }
                for one in self.windows or ()
            ],
            "timed": self.windows is not None,
            "notes": [*self.found.notes, *(self.windows.notes if self.windows else ())],
        }


def _answers(circuit: Mapping[str, Any], network: net.Network, readings: "Readings", seed: UUID) -> list[_Answer]:
    found = []
    fall = fall_of(circuit, readings)
    for number, condition in enumerate(conditions_of(circuit), start=1):
        intervals = _where(network, _range(circuit), condition, seed)
        windows = net.windows_over_decay(intervals, fall, draws=DRAWS, seed=seed) if fall else None
        label = f"How long {in_words(circuit['questions'][number - 1]['parts'])}"
        found.append(_Answer(number, label, intervals, windows))
    return found


def fall_of(circuit: Mapping[str, Any], readings: "Readings") -> net.Fall | None:
    """How the rail falls after switch-off. Raises ValueMissing or an EngineeringError."""
    asked = circuit["fall"]
    if not asked:
        return None
    values = {field: _value(readings, name) for field, name in asked["values"].items()}
    fall: net.Fall = _FALLS[asked["kind"]](**values)
    fall.check()
    return fall


def _plain_band(band: net.Band) -> list[float | None]:
    """Nominal, low, high, least, most; none for what has no end."""
    ends = (getattr(band, name) for name in ENDS)
    return [float(end) if math.isfinite(end) else None for end in ends]


# ---- The picture ----


def _plain_sweep(circuit: Mapping[str, Any], swept: net.Sweep) -> dict[str, Any]:
    traces = {}
    for node in circuit["sweep"]["watch"]:
        try:
            found = swept.volts(node)
        except EngineeringError:
            continue  # a node of an element that is not there in this case
        traces[node] = {name: _short(getattr(found, name)) for name in ("nominal", "low", "high")}
    return {"source": swept.source, "values": _short(swept.values), "nodes": traces}


def _short(values: Any) -> list[float]:
    return [_told(float(f"{value:.5g}")) for value in values]
