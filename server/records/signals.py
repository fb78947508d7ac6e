"""A net in one case as the logic tables see it: who drives, who listens, what holds, and what a fight would do.

A pin whose family no table knows, a pin that is lifted and a place that is empty are left out, each with a sentence. A
two-way pin drives in its turn and listens in the turn of the others; one that is written down as high or low is an
output. It knows no page and asks the record nothing.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Literal

from server.engineering.contention_result import Contention
from server.engineering.errors import EngineeringError
from server.engineering.logic import Chip, FanOut, LogicError, Output, Pull, Receiver, chip, contention
from server.engineering.quantities import Toleranced, figure, parse, show
from server.engineering.signal_paths import SignalPath, SignalState, signal_path
from server.records.questions.nets import Here, NetAt, PinAt
from server.records.texts import printable
from server.records.values import read_value
from server.records.words import PartKind, PinRole

LEVELS: tuple[Literal["low", "high"], ...] = ("low", "high")
NAME_MOST = 60
END_MOST = 30.0  # V
UNIT_LOADS = (
    "An input is taken for one load of its family; some pins of counters, flip-flops and decoders count for more."
)
AGREES = "While one pin drives, those that cannot be switched off are taken to agree with it."
_DIRECT = Toleranced(0.0, 0.0, 0.0, "Ω")


@dataclass(slots=True)
class Parts:
    """The pins and resistors of a net as the engineering core takes them, by their row, and what is left out and why.

    `free` are two-way pins: outputs in their turn. `tied` is what joins the net to a level without a resistance.
    """

    fixed: dict[int, Output] = field(default_factory=dict)
    free: dict[int, Output] = field(default_factory=dict)
    inputs: dict[int, Receiver] = field(default_factory=dict)
    two_way: dict[int, Receiver] = field(default_factory=dict)
    pulls: dict[int, Pull] = field(default_factory=dict)
    off: dict[int, str] = field(default_factory=dict)
    left_out: dict[int, list[str]] = field(default_factory=dict)
    series: dict[int, str] = field(default_factory=dict)
    tied: list[str] = field(default_factory=list)

    def listening(self, *but: int) -> list[Receiver]:
        """Everything that listens while these pins drive."""
        return [*self.inputs.values(), *(one for row, one in self.two_way.items() if row not in but)]


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
        _lead(parts, states, loads, clash, problem),
    )


def fight(
    at: NetAt, supply: Toleranced, row: int, level: Literal["low", "high"], against: int | None = None
) -> Contention:
    """A two-way pin made an output at a level, while whatever else can pulls the other way.

    `against` is the row of the one pin that does; without it, every output of the net. An output that is always at a
    level is so here too. Raises `LogicError` where the tables do not reach, or where the row is no output they know.
    """
    parts = parts_of(at, supply)
    outputs = parts.fixed | parts.free
    if row not in outputs:
        raise LogicError("The tables do not know this pin as an output", field="pin")
    other: Literal["low", "high"] = "low" if level == "high" else "high"
    met = [replace(outputs[row], drive=level)]
    for key, output in outputs.items():
        chosen = key == against if against is not None else key in parts.fixed
        if key != row and (chosen or output.drive != "either"):
            met.append(replace(output, drive=other) if output.drive == "either" else output)
    driving = {key for key, output in outputs.items() if output.name in {one.name for one in met}}
    return contention(met, parts.listening(*driving), list(parts.pulls.values()))


def against_choices(parts: Parts, row: int) -> list[int]:
    """The rows of the outputs that a pin could meet."""
    return [key for key in sorted(parts.fixed | parts.free) if key != row]


def read_end(text: str) -> Toleranced:
    """The level that the far end of a passive part goes to, in V; raises an EngineeringError."""
    return parse(text, unit="V")


# ---- From the record to pins and resistors ----


def parts_of(at: NetAt, supply: Toleranced) -> Parts:
    """The pins of a net as the engineering core takes them."""
    parts = Parts()
    names: set[str] = set()
    for row, pin in enumerate(at.pins):
        name = _name(pin, row, names)
        if off := _off(pin):
            parts.off[row] = off
        elif pin.line.role is PinRole.PASSIVE:
            _add_passive(parts, row, name, pin, supply)
        else:
            _add_pin(parts, row, name, pin, supply)
    return parts


def _name(pin: PinAt, row: int, taken: set[str]) -> str:
    name = "".join(mark if mark.isprintable() else "\N{REPLACEMENT CHARACTER}" for mark in pin.line.name)
    name = printable(name, NAME_MOST)
    if name in taken:
        name = f"{name} (row {row + 1})"
    taken.add(name)
    return name


def _off(pin: PinAt) -> str:
    """Why a pin is not on the net in this case; empty when it is."""
    where = pin.line.position.designator
    if pin.here.empty:
        return f"{where} holds nothing ({pin.here.empty}), so {pin.line.name} is not on the net."
    bridged = pin.through is not None and pin.through.fitted
    if pin.lifted and not bridged:
        return f"{pin.line.name} is lifted ({pin.lifted}) and is not on the net."
    if pin.through and pin.through.empty and pin.line.series:
        series = pin.line.series.designator
        return f"{series} holds nothing ({pin.through.empty}), so {pin.line.name} is parted from the net."
    return ""


def _add_passive(parts: Parts, row: int, name: str, pin: PinAt, supply: Toleranced) -> None:
    ends_at = pin.line.entry.other_end
    try:
        level = _rail(read_end(ends_at), supply)
    except EngineeringError as fault:
        parts.left_out[row] = [f"{name} is left out: {fault}."]
        return
    ohms, why = _ohms(pin.here, name)
    if ohms is None:
        parts.left_out[row] = [why]
    elif ohms.low <= 0:
        parts.tied.append(f"{name} joins this net straight to {ends_at}.")
    else:
        parts.pulls[row] = Pull(name, ohms, level)


def _rail(level: Toleranced, supply: Toleranced) -> Toleranced:
    """A bare `5 V` on a board that is fed from 5 V ± 5 % is that rail, and as loose as it."""
    return supply if level.is_exact and level.nominal == supply.nominal else level


def _add_pin(parts: Parts, row: int, name: str, pin: PinAt, supply: Toleranced) -> None:
    ohms: Toleranced | None = None
    if pin.through and pin.line.series:
        ohms, why = _in_series(pin.through, pin.line.series.designator)
        if ohms is None:
            parts.left_out[row] = [f"{name} is left out: {why}"]
            return
        parts.series[row] = why or f"through {pin.line.series.designator}, {show(ohms)}"
    series = ohms if ohms and ohms.low > 0 else None
    said = []
    if pin.line.role is not PinRole.INPUT:
        made = _chip(pin.drives_as, supply, name, pin.here, "drives")
        if isinstance(made, Chip):
            _add_output(parts, row, name, pin, made, series)
        else:
            said.append(made)
    if pin.line.role is PinRole.INPUT or (pin.line.role is PinRole.EITHER_WAY and not pin.line.entry.drives):
        made = _chip(pin.hears_as, supply, name, pin.here, "listens")
        if isinstance(made, Chip):
            (parts.inputs if pin.line.role is PinRole.INPUT else parts.two_way)[row] = Receiver(name, made, series)
        else:
            said.append(made)
    if said:
        parts.left_out[row] = said


def _add_output(parts: Parts, row: int, name: str, pin: PinAt, made: Chip, series: Toleranced | None) -> None:
    settled = pin.line.entry.drives
    drive: Literal["low", "high", "either"] = "low" if settled == "low" else "high" if settled == "high" else "either"
    role: Literal["totem-pole", "open collector", "either way"] = "totem-pole"
    if pin.line.role is PinRole.OPEN_COLLECTOR:
        role = "open collector"
    elif pin.line.role is PinRole.EITHER_WAY:
        role = "either way"
    output = Output(name, made, drive, role, series)
    (parts.free if role == "either way" and not settled else parts.fixed)[row] = output


def _chip(kind: str, supply: Toleranced, name: str, here: Here, does: str) -> Chip | str:
    if not kind:
        there = f"“{here.type}”" if here.type else "what sits there"
        how = "what it drives" if does == "drives" else "what it reads"
        return (
            f"{name}: the tables have no family for {there}, so {how} is left out. If its data sheet agrees with one "
            "of the families, write that beside the pin."
        )
    try:
        return chip(kind, supply)
    except EngineeringError as fault:
        return f"{name} is left out: {fault}."


def _in_series(here: Here, place: str) -> tuple[Toleranced | None, str]:
    """The resistance between pin and net; no words, or why it is what it is."""
    if here.kind == PartKind.WIRE:
        return _DIRECT, f"straight, by a wire at {place}"
    if not here.is_known:
        return _DIRECT, f"straight: {place} is not there in this case, as far as is known"
    ohms, why = _ohms(here, place)
    return (_DIRECT, f"straight: {place} is 0 Ω") if ohms and ohms.low <= 0 else (ohms, why)


def _ohms(here: Here, place: str) -> tuple[Toleranced | None, str]:
    if here.kind == PartKind.WIRE:
        return _DIRECT, ""
    if here.kind not in (PartKind.RESISTOR, PartKind.OTHER):
        return None, f"{place} is left out: a {here.kind} carries no steady current that this sum could use."
    if not here.value:
        return None, f"{place} is left out: its value is not recorded."
    try:
        value = read_value(here.value, PartKind.RESISTOR)
    except EngineeringError as fault:
        return None, f"{place} is left out: {fault}."
    return value, ""


# ---- What is said of it ----


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
        return _why_no_states(parts)
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
    spare = f" The least to spare is {figure(least.margin or 0.0, 'V', 3)}, at {least.listener}." if least else ""
    if parts.left_out or any(one.holds is None for one in held) or any(load.holds is None for _, load in loads):
        return f"Levels and loads hold as far as the tables reach; some of it they do not know.{spare}"
    return f"Levels and loads hold by the data sheets.{spare}"


def _why_no_states(parts: Parts) -> str:
    if not parts.fixed and not parts.free:
        return "No output on this net is known to the tables, so its levels cannot be worked out."
    return "Nothing that listens on this net is known to the tables, so there is no level to hold it against."


def _listed(names: Sequence[str]) -> str:
    return " and ".join(filter(None, [", ".join(names[:-1]), names[-1]])) if names else "Outputs"
