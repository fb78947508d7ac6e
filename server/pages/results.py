"""A sum's result as pages show it, kept with a mod or worked out at the bench: cases, verdicts, pictures, what matters.

It knows results of the engineering core and nothing of records or requests.
"""

import math
from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from server.engineering import calculations as engine
from server.pages.pictures import Bound, Picture, Spread, spread_view

VERDICTS = ("fails", "at risk", "holds")
TELLING_SHARE = 0.01
KINDS = {"at_least": "at least", "at_most": "at most", "between": "between"}


@dataclass(frozen=True, slots=True)
class InputView:
    """One input in one case, as the page says it."""

    name: str
    value: str
    origin: str
    problem: str = ""


@dataclass(frozen=True, slots=True)
class CaseView:
    """One case: its inputs, and either its lines and limits or why it has none."""

    case: str
    inputs: list[InputView]
    lines: Sequence[engine.LineResult]
    limits: Sequence[engine.LimitResult]
    problem: str = ""

    @property
    def verdict(self) -> str:
        return worst_verdict(self.limits, self.problem)


@dataclass(frozen=True, slots=True)
class LineRow:
    """What one line comes to in one case."""

    case: str
    result: engine.LineResult
    matters: str


@dataclass(frozen=True, slots=True)
class LineView:
    """One line over every case that has a result."""

    name: str
    expression: str
    label: str
    unit: str
    rows: list[LineRow]


def worst_verdict(limits: Sequence[engine.LimitResult], problem: str) -> str:
    """One word for several limits: the worst of them."""
    return "no result" if problem else _worst({limit.verdict for limit in limits})


def kept_verdict(kept: Mapping[str, Any]) -> str:
    """The same of a case as it is kept, without reading the whole result back: a sum can have many."""
    return "no result" if "problem" in kept else _worst({limit["verdict"] for limit in kept["result"]["limits"]})


def _worst(verdicts: Container[str]) -> str:
    return next((word for word in VERDICTS if word in verdicts), "no limit")


def matters(shares: Mapping[str, float]) -> str:
    """Which inputs bring the spread of a line, the greatest first: `C 60 %, V_peak 22 %`."""
    telling = sorted(((share, name) for name, share in shares.items() if share >= TELLING_SHARE), reverse=True)
    return ", ".join(f"{name}\N{NO-BREAK SPACE}{100 * share:.0f}\N{NO-BREAK SPACE}%" for share, name in telling)


def lines_of(cases: Sequence[CaseView]) -> list[LineView]:
    """The lines of the cases that have a result, each over all of them."""
    told = [view for view in cases if not view.problem]
    return [_line(place, told) for place in range(len(told[0].lines))] if told else []


def _line(place: int, cases: Sequence[CaseView]) -> LineView:
    results = [(view.case, view.lines[place]) for view in cases]
    first = results[0][1]
    rows = [LineRow(case, result, matters(result.shares)) for case, result in results]
    return LineView(first.name, first.expression, first.label, first.unit, rows)


def pictures_of(cases: Sequence[CaseView]) -> list[Picture]:
    """A picture for each line that has a limit, over the cases that have a result."""
    told = [view for view in cases if not view.problem]
    limited = dict.fromkeys(limit.limit.line for view in told for limit in view.limits)
    return [_picture(name, told) for name in limited]


def _picture(name: str, cases: Sequence[CaseView]) -> Picture:
    results = [(view.case, next(line for line in view.lines if line.name == name)) for view in cases]
    spreads = [
        Spread(case, *_bars(line), line.nominal, line.interval_low, line.interval_high) for case, line in results
    ]
    bounds = [Bound(limit.limit.kind, _ends(limit)) for limit in cases[-1].limits if limit.limit.line == name]
    return spread_view(f"spread-{name}", results[0][1].label or name, results[0][1].unit, spreads, bounds)


def _bars(line: engine.LineResult) -> tuple[tuple[float, ...], tuple[int, ...]]:
    """The histogram's edges and counts; of a line without a spread, a bar of the least width there is."""
    edges, counts = line.histogram.edges, line.histogram.counts
    if len(edges) > 2 or edges[0] < edges[-1]:
        return edges, counts
    return (math.nextafter(edges[0], -math.inf), math.nextafter(edges[0], math.inf)), counts


def _ends(judged: engine.LimitResult) -> tuple[float, ...]:
    held = judged.against
    return (held.low, held.high) if judged.limit.kind == "between" else (held.nominal,)
