"""Which line needs which: names checked, formulas read, and an order to work in.

It knows names and formulas, and no values. Raises BadName, DuplicateName, UnknownName and CircularLines, and a
FormulaError with the line as its `field`.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from server.engineering.errors import (
    BadName,
    CalculationError,
    CircularLines,
    DuplicateName,
    FormulaError,
    UnknownName,
)
from server.engineering.formulas import Formula, compile_line, is_name
from server.engineering.sheet import Calculation, Line

MOST = 60
LONGEST = 6_000


@dataclass(frozen=True, slots=True)
class Plan:
    """The formulas by line, the lines in working order, and the inputs that each hangs on, through other lines too."""

    formulas: Mapping[str, Formula]
    order: tuple[str, ...]
    uses: Mapping[str, tuple[str, ...]]

    def needed(self, *names: str) -> tuple[str, ...]:
        """The lines that must run for these, in working order, themselves included."""
        wanted = set(names)
        for line in reversed(self.order):
            if line in wanted:
                wanted.update(self.formulas[line].names)
        return tuple(line for line in self.order if line in wanted)


def plan(calculation: Calculation) -> Plan:
    """Read and order the lines of a calculation."""
    inputs = [given.name for given in calculation.inputs]
    _check_names(inputs, [line.name for line in calculation.lines])
    if sum(len(line.expression) for line in calculation.lines) > LONGEST:
        raise CalculationError(f"The lines of a calculation have at most {LONGEST} characters together")
    formulas = {line.name: _compiled(line) for line in calculation.lines}
    _check_known(inputs, formulas)
    order = _ordered(inputs, formulas)
    return Plan(formulas, order, _uses(inputs, formulas, order))


def _check_names(inputs: list[str], lines: list[str]) -> None:
    if max(len(inputs), len(lines)) > MOST:
        raise CalculationError(f"A calculation has at most {MOST} inputs and {MOST} lines")
    seen: set[str] = set()
    for name in [*inputs, *lines]:
        if not is_name(name):
            what = "letters, digits and underscores, a letter first, and no function's name"
            raise BadName(f"“{name[:40]}” cannot name a value: {what}", name=name)
        if name in seen:
            raise DuplicateName(f"“{name}” names two values", name=name)
        seen.add(name)


def _compiled(line: Line) -> Formula:
    try:
        return compile_line(line.expression)
    except FormulaError as fault:
        raise type(fault)(
            f"Line {line.name}: {fault.sentence}", field=line.name, text=fault.text, position=fault.position
        ) from None


def _check_known(inputs: Iterable[str], formulas: Mapping[str, Formula]) -> None:
    known = {*inputs, *formulas}
    for line, formula in formulas.items():
        for name in formula.names:
            if name not in known:
                place = re.search(rf"\b{name}\b", formula.expression)
                sentence = f"There is no input or line “{name}”"
                raise UnknownName(
                    sentence, name=name, text=formula.expression, position=place.start() if place else None
                ).on_line(line)


def _ordered(inputs: Iterable[str], formulas: Mapping[str, Formula]) -> tuple[str, ...]:
    """Lines after those that they use."""
    ready, order, waiting = set(inputs), list[str](), dict(formulas)
    while waiting:
        free = [line for line, formula in waiting.items() if ready.issuperset(formula.names)]
        if not free:
            circle = _circle(waiting)
            raise CircularLines(f"The lines {' → '.join(circle)} wait for one another", line=circle[0], name=circle[1])
        order += free
        ready.update(free)
        waiting = {line: formula for line, formula in waiting.items() if line not in ready}
    return tuple(order)


def _circle(waiting: Mapping[str, Formula]) -> list[str]:
    """A way along the lines that comes back to where it began."""
    path = [next(iter(waiting))]
    while True:
        step = next(name for name in waiting[path[-1]].names if name in waiting)
        if step in path:
            return [*path[path.index(step) :], step]
        path.append(step)


def _uses(inputs: list[str], formulas: Mapping[str, Formula], order: Iterable[str]) -> dict[str, tuple[str, ...]]:
    found: dict[str, set[str]] = {name: {name} for name in inputs}
    for line in order:
        found[line] = set[str]().union(*(found[name] for name in formulas[line].names))
    return {name: tuple(given for given in inputs if given in found[name]) for name in found}
