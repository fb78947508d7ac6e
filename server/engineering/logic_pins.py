"""Pins and resistors on one net, each as the two curves that hold every sample of it between them.

A driving pin is drawn over its `drop` from the rail that it drives to (ground when low, its supply when high), as the
current it takes or gives there. What the tables say becomes straight lines:

- Weak end. The promised points (V_OL at I_OL, V_OH at I_OH): below the first promised current the drop may already be
  the promised one; straight between the points, and on to the least short-circuit current where there is one.
- Beyond the last promise. A MOS output is held to no more than its promised current. A bipolar low output is taken
  to stay in saturation, its voltage in proportion to its current (V_OL/I_OL). `promised=True` drops that
  assumption: then no output is held to more than its promise.
- Strong end. A bipolar high output is limited by the resistor in its upper collector: a straight line from no drop
  to the greatest I_OS. A MOS output with a known short-circuit current gives up to that at any drop. Without a figure:
  an ideal rail, the outermost that any sample can be.
- Off, or an open collector let go: the leakage, in both ways that the table allows.
- A high output is a network hung from its supply: its curve moves with the supply.
- An input takes between nothing and I_IH; below V_IH a bipolar one gives out up to |I_IL|, a MOS one its leakage.

Temperatures and supplies are the tables'. Volts from ground to half a volt above a pin's supply; beyond, clamps conduct
and no figure holds. Sources: each row of `logic_families.csv`; the shape of the output stages is common practice,
no source. Raises `BadPin`, `WrongDimension`.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from server.engineering.balance import Curve
from server.engineering.logic_families import BadPin, Chip, Point
from server.engineering.quantities import Toleranced, convert

Drive = Literal["high", "low", "off", "either"]
Role = Literal["totem-pole", "open collector", "either way"]
DRIVES: tuple[Drive, ...] = ("high", "low", "off", "either")
ROLES: tuple[Role, ...] = ("totem-pole", "open collector", "either way")
_LONGEST = 80
_HIGHEST_LEVEL = 30.0
# A load equal to what is promised is within it, however its sum was rounded: to one part in 10^9.
_EVEN = 1 + 1e-9


@dataclass(frozen=True, slots=True)
class Output:
    """A pin that drives a net.

    `drive` is what it does now: `either` is for `signal_path`, which looks at both. `series` is a resistor between pin
    and node; `short_circuit` the current with the pin held at the far rail, where the data sheet of the chip in hand
    gives one that the tables lack.
    """

    name: str
    chip: Chip
    drive: Drive
    role: Role = "totem-pole"
    series: Toleranced | None = None
    short_circuit: Toleranced | None = None

    def __post_init__(self) -> None:
        check_name(self.name)
        if self.drive not in DRIVES or self.role not in ROLES:
            raise BadPin(
                f"{self.name}: a pin drives {', '.join(DRIVES)}, as {', '.join(ROLES)}; "
                f"not {str(self.drive)[:_LONGEST]} as {str(self.role)[:_LONGEST]}",
                field=self.name,
            )
        object.__setattr__(self, "series", positive(self.series, "Ω", self.name))
        object.__setattr__(self, "short_circuit", positive(self.short_circuit, "A", self.name))

    @property
    def pulls_to(self) -> Literal["ground", "supply", ""]:
        """The rail it drives to; none when it is off or an open collector let go."""
        if self.drive == "low":
            return "ground"
        return "supply" if self.drive == "high" and self.role != "open collector" else ""


@dataclass(frozen=True, slots=True)
class Pull:
    """A resistor from the node to a level: to the supply, to ground or to anything between 0 and 30 V."""

    name: str
    ohms: Toleranced
    level: Toleranced

    def __post_init__(self) -> None:
        check_name(self.name)
        object.__setattr__(self, "ohms", positive(self.ohms, "Ω", self.name))
        level = convert(self.level, "V")
        if level.low < 0 or level.high > _HIGHEST_LEVEL:
            raise BadPin(
                f"{self.name} pulls to {level.low:g}..{level.high:g} V; sums are made for 0 to {_HIGHEST_LEVEL:g} V",
                field=self.name,
            )
        object.__setattr__(self, "level", level)


@dataclass(frozen=True, slots=True)
class Receiver:
    """A pin that listens to a net, behind a series resistor or not."""

    name: str
    chip: Chip
    series: Toleranced | None = None

    def __post_init__(self) -> None:
        check_name(self.name)
        object.__setattr__(self, "series", positive(self.series, "Ω", self.name))


@dataclass(frozen=True, slots=True)
class Strength:
    """A driving sample: knots of drop (V) and current (A, no sign), and its conductance (S) past the last."""

    knots: tuple[tuple[float, float], ...]
    beyond: float


@dataclass(frozen=True, slots=True)
class Bounds:
    """What is delivered into the node: every sample lies between the two curves."""

    least: Curve
    most: Curve


def check_name(name: str) -> None:
    """Raises `BadPin` for a name that is empty, too long or cannot be printed."""
    if not name.strip() or len(name) > _LONGEST or not name.isprintable():
        raise BadPin(f"A name on a net has 1 to {_LONGEST} printable characters", field=name[:_LONGEST])


def positive(value: Toleranced | None, unit: str, name: str) -> Toleranced | None:
    """In Ω or A, above zero over its whole tolerance. Raises `BadPin` naming the pin or resistor."""
    if value is None:
        return None
    value = convert(value, unit)
    if value.low <= 0:
        what = "resistance" if unit == "Ω" else "short-circuit current"
        raise BadPin(f"{name}: a {what} is above zero, and this one reaches {value.low:g} {unit}", field=name)
    return value


def weak(output: Output, *, promised: bool) -> Strength:
    """The weakest sample of a driving output; one without a promised point drives nothing."""
    chip = output.chip
    low = output.pulls_to == "ground"
    knots = _rising(chip.sink_points() if low else chip.source_points())
    short = _short(output)
    if not knots:
        return Strength(((0.0, 0.0),), 0.0)
    last_drop, last_amps = knots[-1]
    knots = (*knots[:-1], (last_drop, last_amps * _EVEN))
    if short and short[0] > last_amps and short[2] > last_drop:
        return Strength((*knots, (short[2], short[0])), 0.0)
    saturated = chip.is_bipolar and low and not promised
    return Strength(knots, last_amps / last_drop if saturated else 0.0)


def strong(output: Output) -> Strength:
    """The strongest sample of a driving output: an ideal rail where there is no figure."""
    short = _short(output)
    if not short:
        return Strength(((0.0, 0.0),), math.inf)
    _, most, drop = short
    if output.chip.is_bipolar and output.pulls_to == "supply":
        return Strength(((0.0, 0.0),), most / drop)
    return Strength(((0.0, 0.0), (0.0, most)), 0.0)


def at_rail(strength: Strength, supply: float | None) -> Curve:
    """A sample over the node's voltage: hung from a supply in V, or standing on ground."""
    if supply is None:
        return Curve(tuple((drop, 0.0 - amps) for drop, amps in strength.knots), 0.0, strength.beyond)
    return Curve(tuple((supply - drop, amps) for drop, amps in reversed(strength.knots)), strength.beyond, 0.0)


def output_bounds(output: Output, *, promised: bool = False) -> Bounds:
    """An output behind its series resistor, weak to strong, low to high supply. `either` counts as off."""
    if not output.pulls_to:
        least, most = leakage(output) or (0.0, 0.0)
        return Bounds(_level(least), _level(most))
    ohms = output.series
    near, far = (ohms.low, ohms.high) if ohms else (0.0, 0.0)
    weakest, strongest = weak(output, promised=promised), strong(output)
    if output.pulls_to == "ground":
        return Bounds(at_rail(strongest, None).behind(near), at_rail(weakest, None).behind(far))
    supply = output.chip.supply
    return Bounds(at_rail(weakest, supply.low).behind(far), at_rail(strongest, supply.high).behind(near))


def pull_bounds(pull: Pull) -> Bounds:
    """A resistor to a level, over both tolerances: bent where the node passes the level."""
    ohms, level = pull.ohms, pull.level
    return Bounds(
        Curve(((level.low, 0.0),), 1 / ohms.high, 1 / ohms.low),
        Curve(((level.high, 0.0),), 1 / ohms.low, 1 / ohms.high),
    )


def receiver_bounds(receiver: Receiver) -> Bounds:
    """An input's currents; those without a figure are left out and are for the caller to name."""
    chip = receiver.chip
    out, into = chip.input_out() or 0.0, chip.input_in() or 0.0
    high = chip.input_high(chip.supply.high)
    most = Curve(((high, out), (high, 0.0))) if chip.is_bipolar and high is not None else _level(out)
    return Bounds(_level(-into), most)


def leakage(output: Output) -> tuple[float, float] | None:
    """Least and most current that a pin which does not drive delivers, in A; None where there is no figure."""
    chip = output.chip
    if output.role == "open collector":
        taken = [row.most for row in chip.figures("ICEX") if row.most is not None]
        return (-max(taken), 0.0) if taken else None
    names = ("IOZ", "IOFL") if output.role == "totem-pole" else ("IOZ", "IOFL", "IIL", "IIN")
    rows = next((found for name in names if (found := chip.figures(name))), ())
    leaks = [(row.least, row.most) for row in rows if row.least is not None and row.most is not None]
    return (-max(most for _, most in leaks), -min(least for least, _ in leaks)) if leaks else None


def _short(output: Output) -> tuple[float, float, float] | None:
    """Least and most current with the pin at the far rail, and the drop in V that this is."""
    if output.short_circuit:
        return output.short_circuit.low, output.short_circuit.high, output.chip.supply.nominal
    known = output.chip.short_circuit() if output.pulls_to == "supply" else None
    if not known:
        return None
    least, most, row = known
    return least, most, (row.test_supply or 0.0) - (row.test_volts or 0.0)


def _rising(points: Sequence[Point]) -> tuple[tuple[float, float], ...]:
    """Promised points as knots, the drop never falling as the current rises; the first stands as a step from zero."""
    knots: list[tuple[float, float]] = []
    drop = 0.0
    for point in points:
        drop = max(drop, point.drop)
        if not knots:
            knots.append((drop, 0.0))
        if point.amps > knots[-1][1]:
            knots.append((drop, point.amps))
    return tuple(knots)


def _level(amps: float) -> Curve:
    return Curve(((0.0, amps),))
