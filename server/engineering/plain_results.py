"""A result as plain JSON values and back: what is kept beside a record, with the inputs that it was run with.

Reading back evaluates nothing, so a kept result stays as it was when the sums or their methods have changed since.
It knows the shape of a result and nothing of where it is stored.
"""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from server.engineering.sheet import Calculation, Histogram, Input, Limit, LimitResult, Line, LineResult, Result
from server.engineering.toleranced import Toleranced

_NUMBERS = ("nominal", "worst_low", "worst_high", "interval_low", "interval_high", "mean", "uncertainty")


def to_plain(result: Result) -> dict[str, Any]:
    """The result as JSON values, with the calculation it came from; every float is finite."""
    calculation = result.calculation
    return {
        "inputs": [{"name": i.name, "label": i.label, "value": _plain_value(i.value)} for i in calculation.inputs],
        "seed": str(calculation.seed),
        "draws": calculation.draws,
        "lines": [_plain_line(line, done) for line, done in zip(calculation.lines, result.lines, strict=True)],
        "limits": [_plain_limit(limit) for limit in result.limits],
    }


def from_plain(plain: Mapping[str, Any]) -> Result:
    """The result that `to_plain` wrote down, as it was. Raises KeyError or EngineeringError for anything else."""
    limits = tuple(_limit_from(limit) for limit in plain["limits"])
    seed = plain["seed"]
    calculation = Calculation(
        inputs=tuple(Input(i["name"], _value_from(i["value"]), i["label"]) for i in plain["inputs"]),
        lines=tuple(Line(i["name"], i["expression"], i["asked_unit"], i["label"]) for i in plain["lines"]),
        limits=tuple(judged.limit for judged in limits),
        seed=int(seed) if seed.removeprefix("-").isdigit() else UUID(seed),
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


def _value_from(plain: Mapping[str, Any]) -> Toleranced:
    return Toleranced(plain["nominal"], plain["low"], plain["high"], plain["unit"], plain["spread"])


def _plain_line(line: Line, done: LineResult) -> dict[str, Any]:
    return {
        "name": done.name,
        "label": done.label,
        "expression": done.expression,
        "asked_unit": line.unit,
        "unit": done.unit,
        **{number: getattr(done, number) for number in _NUMBERS},
        "shares": dict(done.shares),
        "notes": list(done.notes),
        "histogram": {"edges": list(done.histogram.edges), "counts": list(done.histogram.counts)},
    }


def _line_from(plain: Mapping[str, Any]) -> LineResult:
    return LineResult(
        name=plain["name"],
        label=plain["label"],
        expression=plain["expression"],
        unit=plain["unit"],
        shares=dict(plain["shares"]),
        notes=tuple(plain["notes"]),
        histogram=Histogram(tuple(plain["histogram"]["edges"]), tuple(plain["histogram"]["counts"])),
        **{number: plain[number] for number in _NUMBERS},
    )


def _plain_limit(judged: LimitResult) -> dict[str, Any]:
    limit = judged.limit
    return {
        "line": limit.line,
        "kind": limit.kind,
        "value": limit.value if isinstance(limit.value, str) else _plain_value(limit.value),
        "basis": limit.basis,
        "verdict": judged.verdict,
        "sentence": judged.sentence,
        "margin": judged.margin,
        "against": _plain_value(judged.against),
    }


def _limit_from(plain: Mapping[str, Any]) -> LimitResult:
    value = plain["value"] if isinstance(plain["value"], str) else _value_from(plain["value"])
    limit = Limit(plain["line"], plain["kind"], value, plain["basis"])
    return LimitResult(limit, plain["verdict"], plain["sentence"], plain["margin"], _value_from(plain["against"]))
