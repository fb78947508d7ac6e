"""The elements of a network: what each is called, between which nodes it lies, and which values it has.

A value is a plain number in SI units or a `Toleranced` in any unit of the dimension. The current of an element with two
ends flows through it from its first node to its second, its power is what it takes up: positive for heat, negative for
a source that delivers. A transistor's current is its collector's, positive when it conducts, of either polarity.

A junction is described by its `drop`, the forward voltage in V at `drop_at` A and 300 K, or by its saturation current
at 300 K, which then takes the drop's place. `gap` is the band gap in eV that governs how both move with temperature:
1.11 for silicon, 0.67 for germanium (S. M. Sze, Physics of Semiconductor Devices, from memory).

The equations are in `junctions.py` and `equations.py`; what is refused, in `networks.py`.
"""

from dataclasses import dataclass, field, fields
from typing import Any, ClassVar, NamedTuple

from server.engineering.toleranced import Toleranced

Value = float | Toleranced


class Asked(NamedTuple):
    """What a field of an element may hold: its unit and the range in SI units, both bounds allowed."""

    unit: str
    least: float
    most: float


def _asked(unit: str, least: float, most: float) -> dict[str, Asked]:
    return {"asked": Asked(unit, least, most)}


# Beside every junction lies a leak of 10 TΩ that keeps the sums whole; a resistor has to be far below it.
_OHMS = _asked("Ω", 1e-3, 1e10)
_VOLTS = _asked("V", -1e5, 1e5)
_DROP = _asked("V", 0.01, 10.0)
_AMPERES = _asked("A", 1e-9, 100.0)
_SATURATION = _asked("A", 1e-40, 1e-2)
_IDEALITY = _asked("", 0.5, 10.0)
_GAP = _asked("", 0.1, 6.0)
_GAIN = _asked("", 1e-3, 1e6)


@dataclass(frozen=True)
class Ratings:
    """What an element stands for good: heat in W, current in A, voltage across it in V; None where nothing is said."""

    power: float | None = None
    current: float | None = None
    volts: float | None = None


@dataclass(frozen=True)
class Element:
    """A named element. `ends` are its nodes, the first and the second deciding the sign of its current."""

    kind: ClassVar[str] = "element"
    terminals: ClassVar[tuple[str, ...]] = ("first", "second")

    name: str
    ratings: Ratings = field(default=Ratings(), kw_only=True)

    @property
    def ends(self) -> tuple[str, ...]:
        return tuple(getattr(self, terminal) for terminal in self.terminals)


@dataclass(frozen=True)
class Resistor(Element):
    """Resistance in Ω."""

    kind = "resistor"

    first: str
    second: str
    resistance: Value = field(metadata=_OHMS)


@dataclass(frozen=True)
class Switch(Element):
    """A contact: closed, of some resistance in Ω; open, of no current at all."""

    kind = "switch"

    first: str
    second: str
    closed: bool
    resistance: Value = field(default=0.05, metadata=_OHMS)


@dataclass(frozen=True)
class Capacitor(Element):
    """Capacitance in F; at a steady voltage it carries no current."""

    kind = "capacitor"

    first: str
    second: str
    capacitance: Value = field(metadata=_asked("F", 1e-15, 1e3))


@dataclass(frozen=True)
class VoltageSource(Element):
    """Holds `plus` above `minus` by its volts. Its current is negative while it delivers."""

    kind = "voltage source"
    terminals = ("plus", "minus")

    plus: str
    minus: str
    volts: Value = field(metadata=_VOLTS)


@dataclass(frozen=True)
class CurrentSource(Element):
    """Drives its amperes through itself from `start` to `end`, whatever the voltage."""

    kind = "current source"
    terminals = ("start", "end")

    start: str
    end: str
    amperes: Value = field(metadata=_asked("A", -1e4, 1e4))


@dataclass(frozen=True)
class LogicOutput(Element):
    """An output that drives `node` to its `level` above `reference` (V) through its own resistance (Ω).

    A plain equivalent source: which level and resistance a family has is for whoever makes the network.
    """

    kind = "logic output"
    terminals = ("node", "reference")

    node: str
    reference: str
    level: Value = field(metadata=_VOLTS)
    resistance: Value = field(metadata=_OHMS)


@dataclass(frozen=True)
class Diode(Element):
    """A junction with a forward drop, an emission coefficient and, in series, a resistance in Ω (0: none)."""

    kind = "diode"
    terminals = ("anode", "cathode")

    anode: str
    cathode: str
    drop: Value = field(default=0.6, metadata=_DROP)
    drop_at: float = field(default=1e-3, metadata=_AMPERES)
    saturation: Value | None = field(default=None, metadata=_SATURATION)
    ideality: Value = field(default=1.0, metadata=_IDEALITY)
    series: Value = field(default=0.0, metadata=_asked("Ω", 0.0, 1e9))
    gap: float = field(default=1.11, metadata=_GAP)


@dataclass(frozen=True)
class Zener(Element):
    """Breaks down at `volts` (V, at `at` A) with a slope in Ω and a knee some `knee` V wide; forward it is a diode."""

    kind = "Zener diode"
    terminals = ("anode", "cathode")

    anode: str
    cathode: str
    volts: Value = field(metadata=_asked("V", 0.5, 1e4))
    at: float = field(default=5e-3, metadata=_AMPERES)
    slope: Value = field(default=10.0, metadata=_asked("Ω", 1e-3, 1e6))
    knee: float = field(default=0.05, metadata=_asked("V", 1e-5, 1.0))
    drop: Value = field(default=0.7, metadata=_DROP)
    drop_at: float = field(default=1e-3, metadata=_AMPERES)
    saturation: Value | None = field(default=None, metadata=_SATURATION)
    ideality: Value = field(default=1.0, metadata=_IDEALITY)
    gap: float = field(default=1.11, metadata=_GAP)


@dataclass(frozen=True)
class Transistor(Element):
    """A bipolar transistor: gains forward and reverse, and its base-emitter junction's drop at a collector current."""

    terminals = ("collector", "base", "emitter")
    polarity: ClassVar[int] = 0

    collector: str
    base: str
    emitter: str
    gain: Value = field(default=100.0, metadata=_GAIN)
    reverse_gain: Value = field(default=1.0, metadata=_GAIN)
    drop: Value = field(default=0.6, metadata=_DROP)
    drop_at: float = field(default=1e-3, metadata=_AMPERES)
    saturation: Value | None = field(default=None, metadata=_SATURATION)
    gap: float = field(default=1.11, metadata=_GAP)


@dataclass(frozen=True)
class NPN(Transistor):
    """Conducts while its base is above its emitter."""

    kind = "NPN transistor"
    polarity = 1


@dataclass(frozen=True)
class PNP(Transistor):
    """Conducts while its base is below its emitter."""

    kind = "PNP transistor"
    polarity = -1


Source = VoltageSource | CurrentSource | LogicOutput
Junctioned = Diode | Zener | Transistor


def values_of(element: Element) -> list[tuple[str, Any, Asked]]:
    """Each value of an element: the field's name, what it holds and what it may hold.

    Fields that may be left at None are not among them if they are.
    """
    asked = [item for item in fields(element) if "asked" in item.metadata]
    held = [(item, getattr(element, item.name)) for item in asked]
    return [
        (item.name, value, item.metadata["asked"])
        for item, value in held
        if value is not None or item.default is not None
    ]
