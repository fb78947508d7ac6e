"""The pins and resistors of a net in one case, as the logic tables take them.

A pin whose family no table knows, a pin that is lifted and a place that is empty are left out, each with a sentence. It
asks the record nothing, and makes no sum.
"""

from dataclasses import dataclass, field
from typing import Literal

from server.engineering.errors import EngineeringError
from server.engineering.logic import Chip, Output, Pull, Receiver, SupplyOutside, chip
from server.engineering.logic_kinds import Does, kind_of
from server.engineering.packages import beyond, feeds
from server.engineering.port_pins import port_pin
from server.engineering.quantities import Toleranced, parse, show
from server.records.questions.net_cases import Here, NetAt, PinAt
from server.records.texts import printable
from server.records.values import read_value
from server.records.words import PartKind, PinRole

NAME_MOST = 60
END_MOST = 30.0  # V
_DIRECT = Toleranced(0.0, 0.0, 0.0, "Ω")


@dataclass(slots=True)
class Parts:
    """The pins and resistors of a net as the engineering core takes them, by their row, and what is left out and why.

    `free` are two-way pins: outputs in their turn. `tied` is what joins the net to a level without a resistance.
    `outside` are the kinds whose figures do not hold at the supply; `doubts` what is odd about a pin, by row.
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
    outside: set[str] = field(default_factory=set)
    doubts: dict[int, str] = field(default_factory=dict)

    def listening(self, *but: int) -> list[Receiver]:
        """Everything that listens while these pins drive."""
        return [*self.inputs.values(), *(one for row, one in self.two_way.items() if row not in but)]


def read_end(text: str) -> Toleranced:
    """The level that the far end of a passive part goes to, in V; raises an EngineeringError."""
    return parse(text, unit="V")


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
        elif (doubt := _doubt(name, pin)) and not pin.line.entry.family:
            parts.left_out[row] = [f"{doubt} It is left out."]
        else:
            if doubt:
                parts.doubts[row] = doubt
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


def _doubt(name: str, pin: PinAt) -> str:
    """Why a pin can hardly be one that carries a signal; empty where nothing speaks against it."""
    kind, number = pin.here.type, pin.line.entry.pin
    if said := beyond(kind, number):
        return f"{name}: {said} Is another pin meant?"
    if what := feeds(kind, number):
        return f"{name} is {what} of the {kind or 'chip'} there, from memory of its data sheet: is another pin meant?"
    return ""


def _add_passive(parts: Parts, row: int, name: str, pin: PinAt, supply: Toleranced) -> None:
    ends_at = pin.line.entry.other_end
    try:
        level = _rail(read_end(ends_at), supply)
    except EngineeringError as fault:
        parts.left_out[row] = [f"{name} is left out: {fault}."]
        return
    ohms, why = _ohms(pin.here, pin.line.position.designator)
    if ohms is None:
        parts.left_out[row] = [f"{name} is left out: {why}"]
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
        made = _chip(parts, pin.drives_as, supply, name, pin, "drives")
        if isinstance(made, Chip):
            _add_output(parts, row, name, pin, made, series)
        else:
            said.append(made)
    if pin.line.role is PinRole.INPUT or (pin.line.role is PinRole.EITHER_WAY and not pin.line.entry.drives):
        made = _chip(parts, pin.hears_as, supply, name, pin, "listens")
        if isinstance(made, Chip):
            (parts.inputs if pin.line.role is PinRole.INPUT else parts.two_way)[row] = Receiver(name, made, series)
        else:
            said.append(made)
    if said:
        parts.left_out[row] = list(dict.fromkeys(said))


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


def _chip(parts: Parts, kind: str, supply: Toleranced, name: str, pin: PinAt, does: Does) -> Chip | str:
    if not kind:
        return _no_family(name, pin, does)
    try:
        return chip(kind, supply)
    except SupplyOutside as fault:
        parts.outside.add(kind)
        return f"{name} is left out: {fault}."
    except EngineeringError as fault:
        return f"{name} is left out: {fault}."


def _no_family(name: str, pin: PinAt, does: Does) -> str:
    """Why the tables have nothing for what a pin does."""
    kind, port = pin.here.type, port_pin(pin.here.type, pin.line.entry.pin)
    there = f"“{kind}”" if kind else "what sits there"
    how = "what it drives" if does == "drives" else "what it reads"
    if port and port.place == "input":
        if does == "drives":
            return f"{name} is {port.name}, an input of the {kind}: it drives nothing, and is no output in the sums."
        return f"{name} is {port.name}, an input of the {kind}; the tables have its ports alone, so {how} is left out."
    other = kind_of(kind, pin.line.entry.pin, "listens" if does == "drives" else "drives")
    known = f"{name}: the tables have no family for {there}"
    if other and does == "drives":
        known = f"{name}: of {there} the tables have the inputs, as {other}, and not its outputs"
    elif other:
        known = f"{name}: of {there} the tables have the outputs, as {other}, and not its inputs"
    return (
        f"{known}, so {how} is left out. If its data sheet agrees with one of the families, write that beside the pin."
    )


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
        return None, f"a {here.kind} at {place} carries no steady current that this sum could use."
    if not here.value:
        return None, f"the value of {place} is not recorded."
    try:
        value = read_value(here.value, PartKind.RESISTOR)
    except EngineeringError as fault:
        return None, f"the value of {place} cannot be read: {fault}."
    return value, ""
