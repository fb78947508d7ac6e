"""What can be said of a net in one case: who can drive it, what holds by the data sheets, and what a fight would do.

A two-way pin drives in its turn and listens in the turn of the others; one that is written down as high or low is an
output. It knows no page and asks the record nothing.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

from server.engineering.contention_result import Contention
from server.engineering.logic import FanOut, LogicError, Output, Pull, Receiver, contention
from server.engineering.logic_families import supplies
from server.engineering.quantities import Toleranced, figure, show
from server.engineering.signal_paths import Held, SignalPath, SignalState, signal_path
from server.records.questions.net_cases import NetAt
from server.records.questions.nets import DRIVING
from server.records.signal_parts import Parts, parts_of

UNIT_LOADS = (
    "An input is taken for one load of its family; some pins of counters, flip-flops and decoders count for more."
)
AGREES = "While one pin drives, those that cannot be switched off are taken to agree with it: the level is theirs too."
# Less than this in V is nothing to spare.
NOTHING_TO_SPARE = 0.5e-3


@dataclass(frozen=True, slots=True)
class Judged:
    """What can be said of a net in one case. `clash` is a fight that the net as it is written down allows.

    `holds` is None where figures or pins are missing; `problem` says why no sum could be made at all.
    """

    parts: Parts
    states: tuple[SignalState, ...]
    loads: tuple[tuple[str, FanOut], ...]
    clash: Contention | None
    never_at_once: tuple[str, ...]
    holds: bool | None
    problem: str
    lead: str

    @property
    def assumptions(self) -> tuple[str, ...]:
        said = [one for state in self.states for one in state.contention.assumptions]
        said += [UNIT_LOADS] if self.states or self.loads else []
        return tuple(dict.fromkeys([*said, AGREES] if self.never_at_once else said))

    @property
    def no_figures(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(gap for state in self.states for gap in state.contention.no_figures))


def judge(at: NetAt, supply: Toleranced) -> Judged:
    """Whether levels and loads hold in this case, at a supply in V with its tolerance."""
    parts = parts_of(at, supply)
    problem, paths = "", []
    if parts.tied:
        problem = f"{' '.join(parts.tied)} No level but that one can be on this net, so no sum is made."
    else:
        try:
            paths = list(_paths(parts))
        except LogicError as fault:
            problem = f"No sum can be made of this net: {fault}."
    states = tuple(state for names, path in paths for state in path.states if state.driver in names)
    loads = tuple((name, load) for names, path in paths for name, load in path.loads if name in names)
    clash = next((path.clash for _, path in paths if path.clash), None)
    return Judged(
        parts,
        states,
        loads,
        clash,
        tuple(_never_at_once(parts)),
        _holds(parts, states, loads, clash, problem),
        problem,
        _lead(parts, states, loads, clash, problem) or _why_no_states(parts, supply),
    )


@dataclass(frozen=True, slots=True)
class WhatIf:
    """What a two-way pin meets as an output, and in words against what it was set."""

    found: Contention
    how: str


def what_if(
    at: NetAt, supply: Toleranced, row: int, level: Literal["low", "high"], against: int | None = None
) -> WhatIf:
    """A two-way pin made an output at a level, while whatever else can pulls the other way.

    `against` is the row of the one pin that does. Without it: every output that drives for sure; where none of them
    pulls the other way, each other two-way pin by itself, of which the worst is told, the one with the most heat in an
    output. An output that is always at a level is so here too. Raises `LogicError` where the tables do not reach, or
    where the row is no output they know.
    """
    parts = parts_of(at, supply)
    if row not in parts.fixed | parts.free:
        raise LogicError("The tables do not know this pin as an output", field="pin")
    if against is not None:
        return WhatIf(_met(parts, row, level, [against]), "")
    sure = [key for key in parts.fixed if key != row]
    found = _met(parts, row, level, sure)
    if found.fights:
        return WhatIf(found, "Set against every output that always drives.")
    others = [key for key in parts.free if key != row]
    if not others:
        return WhatIf(found, _not_known(at, parts, row))
    tried = {key: _met(parts, row, level, [*sure, key]) for key in _unlike(parts, others)}
    worst = max(tried, key=lambda key: _heat(tried[key]))
    name = parts.free[worst].name
    how = f"No output that always drives pulls the other way. The other two-way pin does: {name}."
    if len(others) > 1:
        how = (
            "No output that always drives pulls the other way. Each of the other "
            f"{len(others)} two-way pins was set against it by itself; shown is the one with the most heat, {name}."
        )
    return WhatIf(tried[worst], " ".join(filter(None, [how, _not_known(at, parts, row)])))


def against_choices(parts: Parts, row: int) -> list[int]:
    """The rows of the outputs that a pin could meet."""
    return [key for key in sorted(parts.fixed | parts.free) if key != row]


def _met(parts: Parts, row: int, level: Literal["low", "high"], against: Sequence[int]) -> Contention:
    """The pin at a level, these others at the other one, and those that are always at a level at theirs."""
    outputs = parts.fixed | parts.free
    other: Literal["low", "high"] = "low" if level == "high" else "high"
    met = {row: replace(outputs[row], drive=level)}
    for key, output in outputs.items():
        if key != row and (key in against or output.drive != "either"):
            met[key] = replace(output, drive=other) if output.drive == "either" else output
    return contention(list(met.values()), parts.listening(*met), list(parts.pulls.values()))


def _unlike(parts: Parts, rows: Sequence[int]) -> list[int]:
    """One of each sort of two-way pin: those of a bus are alike, and so would their sums be."""
    sorts: dict[tuple[Output, Receiver | None], int] = {}
    for row in rows:
        hears = parts.two_way.get(row)
        sort = replace(parts.free[row], name="x"), replace(hears, name="x") if hears else None
        sorts.setdefault(sort, row)
    return list(sorts.values())


def _heat(found: Contention) -> tuple[float, float]:
    """How bad a fight is: the most heat in one output in W, and the least that the worst of them has."""
    heats = [state.heat for state in found.output_states]
    most = max(math.inf if heat.high is None else heat.high for heat in heats)
    return most, max(heat.low for heat in heats)


def _not_known(at: NetAt, parts: Parts, row: int) -> str:
    """That an output without figures may pull the other way as well; empty where there is none."""
    outputs = parts.fixed | parts.free
    names = [
        at.pins[key].line.name
        for key in sorted(parts.left_out)
        if key not in outputs and key != row and at.pins[key].line.role in DRIVING
    ]
    if not names:
        return ""
    return f"{_listed(names)} may pull the other way too: without figures, nothing can be said of that."


def _paths(parts: Parts) -> Iterator[tuple[set[str], SignalPath]]:
    """The sums, each with the names of the drivers that it is about: the outputs together, two-way pins one by one."""
    fixed, pulls = list(parts.fixed.values()), list(parts.pulls.values())
    if fixed and parts.listening():
        yield {output.name for output in fixed}, _path(tuple(fixed), tuple(parts.listening()), tuple(pulls))
    for row, output in parts.free.items():
        if heard := parts.listening(row):
            yield {output.name}, _path((output, *fixed), tuple(heard), tuple(pulls))


@lru_cache(maxsize=64)
def _path(drivers: tuple[Output, ...], receivers: tuple[Receiver, ...], pulls: tuple[Pull, ...]) -> SignalPath:
    """A wide bus takes seconds: what is looked at again, or in a case that changes nothing, is not worked out again."""
    return signal_path(drivers, receivers, pulls)


def _never_at_once(parts: Parts) -> list[str]:
    """The pins that can pull both ways, where there are several: one of them at most may drive."""
    able = [*parts.fixed.values(), *parts.free.values()]
    both = [output.name for output in able if output.role != "open collector" and output.drive == "either"]
    pulling = [output.name for output in able if output.drive != "either"]
    return [*both, *pulling] if both and len(both) + len(pulling) > 1 else []


def _holds(
    parts: Parts,
    states: Sequence[SignalState],
    loads: Sequence[tuple[str, FanOut]],
    clash: Contention | None,
    problem: str,
) -> bool | None:
    if problem or not states:
        return None
    verdicts = [held.holds for state in states for held in state.held] + [load.holds for _, load in loads]
    if clash or False in verdicts:
        return False
    return None if None in verdicts or parts.left_out else True


def _lead(
    parts: Parts,
    states: Sequence[SignalState],
    loads: Sequence[tuple[str, FanOut]],
    clash: Contention | None,
    problem: str,
) -> str:
    if problem:
        return problem
    if not states:
        return ""
    if clash:
        names = [output.name for output in clash.outputs if output.pulls_to]
        return f"{_listed(names)} can fight on this net: one pulls it up while another pulls it down."
    held = [one for state in states for one in state.held]
    failed = [one.sentence for one in held if one.holds is False]
    heavy = [f"{name} carries more than it promises." for name, load in loads if load.holds is False]
    if failed or heavy:
        more = len(failed) + len(heavy) - 1
        also = f" So do {more} more." if more > 1 else " So does one more." if more else ""
        return f"By the data sheets this does not hold: {(failed + heavy)[0]}{also}"
    known = [one for one in held if one.margin is not None]
    least = min(known, key=lambda one: one.margin or 0.0, default=None)
    spare = _spare(least)
    if parts.left_out or any(one.holds is None for one in held) or any(load.holds is None for _, load in loads):
        return f"Levels and loads hold as far as the tables reach{spare} Some of it they do not know."
    return f"Levels and loads hold by the data sheets{spare}"


def _spare(least: Held | None) -> str:
    if least is None:
        return "."
    if (least.margin or 0.0) < NOTHING_TO_SPARE:
        return f", with nothing to spare at {least.listener}."
    return f". The least to spare is {figure(least.margin or 0.0, 'V', 3)}, at {least.listener}."


def alone_words(parts: Parts, state: SignalState) -> str:
    """Whose level a state is where pins that cannot be switched off share it; empty for a pin that makes its own."""
    if not state.agree or not state.alone:
        return ""
    row = next((row for row, output in (parts.fixed | parts.free).items() if output.name == state.driver), -1)
    through = parts.series.get(row, "")
    behind = f", {through}," if through.startswith("through") else ""
    others, are = _listed(state.agree), "are" if len(state.agree) > 1 else "is"
    verdict = {
        True: "which every listener would read too",
        False: "which not every listener would read",
        None: "which the tables do not judge in full",
    }[state.holds_alone]
    return (
        f"{state.driver} {state.level}: {others} {are} taken to be {state.level} too, for nothing switches "
        f"{'them' if len(state.agree) > 1 else 'it'} off. By itself{behind} {state.driver} would bring the net to "
        f"{state.alone}, {verdict}."
    )


def _why_no_states(parts: Parts, supply: Toleranced) -> str:
    if parts.outside:
        spans: dict[str, list[str]] = {}
        for kind in sorted(parts.outside):
            spans.setdefault(supplies(kind), []).append(kind)
        said = "; ".join(f"{_listed(names)} from {span}" for span, names in spans.items())
        return (
            f"A supply of {show(supply)} is outside what the tables have, so no level can be worked out. They hold "
            f"for {said}."
        )
    if not parts.fixed and not parts.free:
        return "No output on this net is known to the tables, so its levels cannot be worked out."
    return "Nothing that listens on this net is known to the tables, so there is no level to hold it against."


def _listed(names: Sequence[str]) -> str:
    return " and ".join(filter(None, [", ".join(names[:-1]), names[-1]])) if names else "Outputs"
