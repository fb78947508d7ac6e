"""A circuit solved for one case: what its calculation's run keeps, in the shape in which a sum's result is kept.

Every node's voltage, every element's current and heat, and what each question comes to is a line: limits, expectations
and other sums read it as they do a sum's. Beside the result stands what the pictures and the answers need. It knows a
calculation's plain columns and the values that were read for it, and neither the database nor pages.
"""

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
from server.engineering.quantities import Toleranced, convert, parse
from server.engineering.verdicts import judge, margins
from server.records.circuit_kinds import KINDS, NOTHING, RATED, WIRE, WIRE_OHMS, element, ratings_of
from server.records.circuit_lines import RATINGS
from server.records.circuit_questions import Answer, Swept, answers, conditions_of
from server.records.circuit_results import DRAWS, held_against, line_of, named, told, without_sign
from server.records.values import why_missing

if TYPE_CHECKING:
    from server.records.sums import Reading, Readings
    from server.records.tables import Calculation

__all__ = ["DRAWS", "MAY_CHANGE", "ValueMissing", "conditions_of", "fall_of", "network_of", "rated", "solved"]

POINTS = 61
_FALLS = {
    "time constant": net.ExponentialFall,
    "resistor": net.ResistorFall,
    "steady current": net.SteadyCurrentFall,
    "steady power": net.SteadyPowerFall,
}
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
    fall = fall_of(circuit, readings)
    source = _range(circuit, fall)
    watch = tuple(circuit["sweep"]["watch"]) if source else ()
    swept = _along(network, source, watch, fall is not None, calculation.uuid) if source else None
    answered = answers(circuit, network, source, fall, calculation.uuid) if source else []
    found = _lines(point) + [line for answer in answered for line in answer.lines]
    labels = {line["name"]: line["label"] for line in calculation.lines}
    lines = [named(line, labels[line.name]) for line in found if line.name in labels]
    limits = [judged for limit in calculation.limits if (judged := _judged(limit, lines, swept, answered))]
    inputs = tuple(engine.Input(name, one.value, one.label) for name, one in readings.items() if one.value)
    sheet = engine.Calculation(
        inputs,
        tuple(engine.Line(line.name, "", line.unit, line.label) for line in lines),
        tuple(judged.limit for judged in limits),
        seed=calculation.uuid,
        draws=point.draws,
    )
    kept = {
        "draws": point.draws,
        "notes": list(dict.fromkeys([*notes, *point.notes, *(swept.notes if swept else ())])),
        "answers": [answer.plain for answer in answered],
        "sweep": swept.plain if swept else None,
        "over": list(swept.over) if swept else [],
    }
    return {"result": engine.to_plain(engine.Result(sheet, tuple(lines), tuple(limits))), "circuit": kept}


# ---- The network of a case ----


def network_of(circuit: Mapping[str, Any], readings: "Readings") -> tuple[net.Network, list[str]]:
    """The network of one case, and what is left out or bridged in it. Raises ValueMissing or an EngineeringError."""
    made: list[net.Element] = []
    notes = []
    for row in circuit["elements"]:
        kind = KINDS[row["kind"]]
        first = readings[row["values"][kind.value.field]]
        if first.value is None and first.problem == NOTHING:
            notes.append(f"{row['name']} is left out: {first.origin}.")
        elif first.value is None and first.problem == WIRE:
            notes.append(f"{row['name']} is a wire: {first.origin}.")
            made.append(_wire(row))
        elif kind.make is net.Resistor and _is_link(first):
            notes.append(f"{row['name']} is a wire: of no resistance, {first.origin}.")
            made.append(_wire(row))
        else:
            values = {field: _value(readings, name) for field, name in row["values"].items()}
            made.append(element(kind, row["name"], row["nodes"], values, rated(row["rating"])))
    return net.Network(tuple(made), reference=circuit["reference"]), notes


def _wire(row: Mapping[str, Any]) -> net.Resistor:
    return net.Resistor(row["name"], row["nodes"][0], row["nodes"][1], WIRE_OHMS)


def _is_link(reading: "Reading") -> bool:
    """Whether a part that is recorded as a resistor is a link; one that was typed is a slip, and is refused."""
    return reading.value is not None and reading.origin != "typed" and convert(reading.value, "Ω").high < WIRE_OHMS


def rated(text: str) -> dict[str, float]:
    """What an element stands, in W, A and V."""
    units = {name: unit for unit, name in RATED.items()}
    asked = {name: Asked(units[name], 0.0, 1e9) for name in units}
    return {
        name: value_box(parse(amount), asked[name], "It", None).nominal for name, amount in ratings_of(text).items()
    }


def _value(readings: "Readings", name: str) -> Toleranced:
    reading = readings[name]
    if reading.value is None:
        raise ValueMissing(why_missing(name, reading.problem))
    return reading.value


def fall_of(circuit: Mapping[str, Any], readings: "Readings") -> net.Fall | None:
    """How the rail falls after switch-off. Raises ValueMissing or an EngineeringError."""
    asked = circuit["fall"]
    if not asked:
        return None
    values = {field: _value(readings, name) for field, name in asked["values"].items()}
    fall: net.Fall = _FALLS[asked["kind"]](**values)
    fall.check()
    return fall


# ---- Solving, remembered: the cases of a circuit are often alike, and a run follows its check ----


@lru_cache(maxsize=64)
def _point(network: net.Network, seed: UUID) -> net.OperatingPoint:
    return net.operating_point(network, draws=DRAWS, seed=seed)


@dataclass(frozen=True)
class _Along:
    """What is kept of a sweep: its pictures' curves, the greatest amounts of what is rated, and what is past that."""

    source: str
    plain: dict[str, Any]
    notes: tuple[str, ...]
    peaks: dict[str, engine.LineResult]
    over: tuple[str, ...]
    falls: bool


@lru_cache(maxsize=64)
def _along(network: net.Network, source: Swept, watch: tuple[str, ...], falls: bool, seed: UUID) -> _Along:
    name, low, high = source
    swept = net.sweep(network, name, np.linspace(high, low, POINTS), draws=DRAWS, seed=seed)
    peaks = {
        f"{letter}_{one.name}": line_of(f"{letter}_{one.name}", swept.peak(one.name, quantity))
        for one in network.elements
        for quantity, letter in RATINGS.items()
        if getattr(one.ratings, quantity) is not None
    }
    over = tuple(f"{one.element}, {one.quantity}" for one in swept.over)
    return _Along(name, _plain_sweep(swept, watch), swept.notes, peaks, over, falls)


def _range(circuit: Mapping[str, Any], fall: net.Fall | None) -> Swept | None:
    """The source that is turned down, and over what: from where the rail starts, if that is higher than was asked."""
    swept = circuit["sweep"]
    if not swept:
        return None
    starts = fall.highest_start if fall else -np.inf
    return swept["source"], float(swept["low"]), float(max(swept["high"], starts))


def _plain_sweep(swept: net.Sweep, watch: Sequence[str]) -> dict[str, Any]:
    traces = {}
    for node in watch:
        try:
            found = swept.volts(node)
        except EngineeringError:
            continue  # a node of an element that is not there in this case
        traces[node] = {name: _short(getattr(found, name)) for name in ("nominal", "low", "high")}
    return {"source": swept.source, "values": _short(swept.values), "nodes": traces}


def _short(values: Any) -> list[float]:
    return [told(float(f"{value:.5g}")) for value in values]


# ---- Lines and limits ----


def _lines(point: net.OperatingPoint) -> list[engine.LineResult]:
    lines = [line_of(f"V_{node}", band) for node, band in point.volts.items()]
    for name, reading in point.elements.items():
        lines.append(line_of(f"I_{name}", reading.current))
        lines.append(line_of(f"P_{name}", reading.power))
        lines.append(line_of(f"U_{name}", reading.volts))
    return lines


def _judged(
    limit: Mapping[str, str], lines: Sequence[engine.LineResult], swept: _Along | None, answered: Sequence[Answer]
) -> engine.LimitResult | None:
    asked = engine.Limit(limit["line"], "at_most", parse(limit["value"]), limit["basis"])
    for answer in answered:
        if limit["line"] == answer.lasts:
            return answer.judged(asked)
    line = next((line for line in lines if line.name == limit["line"]), None)
    if line is None:
        return None  # of an element that is not there in this case
    at_rest = without_sign(line)
    against = held_against(asked, line.unit)
    judged = judge(asked, at_rest, against, margins("at_most", at_rest, against))
    peak = swept.peaks.get(line.name) if swept else None
    if swept is None or peak is None or peak.worst_high <= at_rest.worst_high * _CLEARLY:
        return judged
    peak = named(peak, f"{line.label} at its greatest, as {swept.source} is turned down,")
    on_the_way = judge(asked, peak, against, margins("at_most", peak, against))
    return _for_a_time(on_the_way) if swept.falls and judged.verdict == "holds" and line.unit == "W" else on_the_way


def _for_a_time(judged: engine.LimitResult) -> engine.LimitResult:
    """Heat is rated for good: more of it while a rail falls is a doubt, and no more."""
    if judged.verdict == "holds":
        return judged
    words = (
        f"{judged.sentence}; it passes with the rail, and for how short a time it is allowed the rating does not tell"
    )
    return replace(judged, verdict="at risk", sentence=words)


# By less than this a sweep's peak is the value at rest, found again.
_CLEARLY = 1 + 1e-6
