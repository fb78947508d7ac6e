"""Logic families as the handbooks print them: one figure a row of `logic_families.csv`, and chips that look them up.

The table's columns. `kinds`: the kinds of pin that the row speaks for, apart by `; `. `family`, `device`, `parameter`,
`condition`, `min`, `typ`, `max`, `unit`, `source`, `status` (SEEN in the source, or MEMORY), `note`: as printed, with
the data sheets' sign (a current into the pin is positive). The rest says how a row is used: `supply_from` and
`supply_to` (V) bound the supplies that it holds for; `test_supply` (V), `test_volts` (V at the pin) and `test_ma` (mA,
without sign) are its condition as numbers; `follows` is `scale` for a level in proportion to the supply, `rail` for one
that keeps its distance from it, empty for one that stands still.

Assumptions. Rows at one supply are taken for 5 % around it in the 4000B family (a supply at the low end drives a
little less than the table says). Of several makers' figures for a kind the strictest counts.
Every figure is given in V or A. Raises `UnknownKind` and `SupplyOutside`; a figure that is not there is None, for the
caller to say so. It knows nothing of nodes.
"""

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal

from server.engineering.errors import EngineeringError
from server.engineering.quantities import Toleranced, convert, figure

# The rail of nearly every machine that these chips are found in.
USUAL_SUPPLY = Toleranced(5.0, 4.75, 5.25, "V")
# How far past its own supply, in V, a pin may be taken; from there on its clamps conduct (Nexperia 74HC_HCT00 data
# sheet, limiting values).
PAST_SUPPLY = 0.5
_BIPOLAR = ("74", "74LS")
_LEVELS = ("VIL", "VT-", "VOL")
# How many of a row's unit make a V or an A.
_UNITS = {"V": 1.0, "mA": 1e3}
_LONGEST = 40

Follows = Literal["", "scale", "rail"]
_FOLLOWS: dict[str, Follows] = {"": "", "scale": "scale", "rail": "rail"}


class LogicError(EngineeringError):
    """A question about logic that is refused; `field` names the pin, resistor or input at fault."""


class UnknownKind(LogicError):
    """A kind of chip without a row in the table; `text` is the name."""


class SupplyOutside(LogicError):
    """A supply for which the kind has no figures."""


class BeyondFigures(LogicError):
    """A node that leaves the voltages for which a pin has figures."""


class BadPin(LogicError):
    """A pin, resistor or name that cannot be part of a net."""


@dataclass(frozen=True, slots=True)
class Figure:
    """One row. Limits in V or A, None where the data sheet prints none; `words` is the row's condition."""

    kinds: tuple[str, ...]
    family: str
    device: str
    parameter: str
    words: str
    least: float | None
    usual: float | None
    most: float | None
    unit: str
    supply_from: float
    supply_to: float
    test_supply: float | None
    follows: Follows
    test_volts: float | None
    test_amps: float | None
    source: str
    status: str
    note: str

    def covers(self, supply: Toleranced) -> bool:
        """Whether the row holds at a supply in V, over its whole tolerance."""
        return self.supply_from <= supply.low + _HAIR and supply.high <= self.supply_to + _HAIR

    def at(self, volts: float | None, supply: float) -> float | None:
        """One of the row's voltages, carried to a supply in V as `follows` says."""
        if volts is None or not self.follows or self.test_supply is None:
            return volts
        if self.follows == "scale":
            return volts * supply / self.test_supply
        return supply - (self.test_supply - volts)


# Supplies are typed with few digits: this keeps 5 V ±5 % inside a table from 4.75 V to 5.25 V.
_HAIR = 1e-9


@dataclass(frozen=True, slots=True)
class Point:
    """An output's promise: at `amps` (A, no sign) it keeps within `drop` (V) of the rail it drives to."""

    drop: float
    amps: float
    figure: Figure


@dataclass(frozen=True, slots=True)
class Chip:
    """A kind of chip at a supply in V. Make it with `chip`, which checks both."""

    kind: str
    supply: Toleranced

    @property
    def family(self) -> str:
        """The family of the tables that the kind belongs to, such as `74LS`."""
        return _rows(self.kind)[0].family

    @property
    def is_bipolar(self) -> bool:
        """Whether it is TTL, whose inputs give a current out when low; else MOS."""
        return self.family in _BIPOLAR

    def figures(self, parameter: str) -> tuple[Figure, ...]:
        """The rows of a parameter (`VIL`, `IOS`, ...) that hold at this supply."""
        return tuple(row for row in _rows(self.kind) if row.parameter == parameter and row.covers(self.supply))

    def input_low(self, supply: float) -> float | None:
        """Up to this an input surely reads low, in V at a supply in V: V_IL, a Schmitt input's least V_T-."""
        rows = [(row, row.most) for row in self.figures("VIL")] + [(row, row.least) for row in self.figures("VT-")]
        levels = [level for row, volts in rows if (level := row.at(volts, supply)) is not None]
        return min(levels, default=None)

    def input_high(self, supply: float) -> float | None:
        """From this an input surely reads high, in V at a supply in V: V_IH, a Schmitt input's greatest V_T+."""
        rows = [(row, row.least) for row in self.figures("VIH")] + [(row, row.most) for row in self.figures("VT+")]
        levels = [level for row, volts in rows if (level := row.at(volts, supply)) is not None]
        return max(levels, default=None)

    def input_out(self) -> float | None:
        """The most that an input gives out when it is held low, in A, no sign (|I_IL|)."""
        return _largest(-row.least for name in ("IIL", "IIN") for row in self.figures(name) if row.least is not None)

    def input_in(self) -> float | None:
        """The most that an input takes in when it is held high, in A (I_IH; where a table has one leakage, that)."""
        rows = self.figures("IIH") or self.figures("IIN") or self.figures("IIL")
        return _largest(row.most for row in rows if row.most is not None)

    def sink_points(self) -> tuple[Point, ...]:
        """What a low output promises, weakest current first; drops are from ground."""
        kept = [Point(row.most, row.test_amps, row) for row in self.figures("VOL") if row.most and row.test_amps]
        kept += [
            Point(row.test_volts, row.least, row)
            for row in self.figures("IOL")
            if row.least and row.test_volts is not None
        ]
        return tuple(sorted(kept, key=lambda point: (point.amps, point.drop)))

    def source_points(self) -> tuple[Point, ...]:
        """What a high output promises, weakest current first; drops are from the supply."""
        kept = [
            Point(row.test_supply - row.least, row.test_amps, row)
            for row in self.figures("VOH")
            if row.least and row.test_amps and row.test_supply
        ]
        kept += [
            Point(row.test_supply - row.test_volts, -row.most, row)
            for row in self.figures("IOH")
            if row.most and row.test_volts is not None and row.test_supply
        ]
        return tuple(sorted(kept, key=lambda point: (point.amps, point.drop)))

    def short_circuit(self) -> tuple[float, float, Figure] | None:
        """A high output held at ground: least and most current in A, no sign, and the row that says so (I_OS)."""
        rows = [(-row.most, -row.least, row) for row in self.figures("IOS") if row.most and row.least]
        if not rows:
            return None
        return min(row[0] for row in rows), max(row[1] for row in rows), rows[0][2]

    def pin_limit(self) -> tuple[float, Figure] | None:
        """The absolute maximum of a pin's current in A, where the table has one."""
        rows = self.figures("IOUT_abs_max")
        return (rows[0].most, rows[0]) if rows and rows[0].most else None


def kinds() -> tuple[str, ...]:
    """Every kind in the table, in its order: `74`, `74LS`, `74HC`, `74HCT`, `4000B`, `8255A port` and so on."""
    return tuple(dict.fromkeys(kind for row in _table() for kind in row.kinds))


def chip(kind: str, supply: Toleranced = USUAL_SUPPLY) -> Chip:
    """A chip of a kind at a supply with its tolerance (any unit of voltage).

    Raises `UnknownKind`, `SupplyOutside` where the table has no levels for the whole of the supply, `WrongDimension`.
    """
    if kind not in kinds():
        raise UnknownKind(
            f"“{kind[:_LONGEST]}” is no kind in the tables; they have {', '.join(kinds())}", field="kind", text=kind
        )
    made = Chip(kind, convert(supply, "V"))
    if not any(row.parameter in _LEVELS and row.covers(made.supply) for row in _rows(kind)):
        raise SupplyOutside(
            f"The tables for {kind} hold at a supply of {supplies(kind)}; "
            f"a supply of {_span(made.supply.low, made.supply.high)} is outside them",
            field="supply",
        )
    return made


def supplies(kind: str) -> str:
    """The supplies at which a kind has levels, in words: `4.75 V to 5.25 V`."""
    spans = sorted({(row.supply_from, row.supply_to) for row in _rows(kind) if row.parameter in _LEVELS})
    return " or ".join(_span(low, high) for low, high in spans)


def _span(low: float, high: float) -> str:
    return figure(low, "V") if low == high else f"{figure(low, 'V')} to {figure(high, 'V')}"


def _largest(numbers: Iterator[float]) -> float | None:
    return max(numbers, default=None)


@cache
def _rows(kind: str) -> tuple[Figure, ...]:
    return tuple(row for row in _table() if kind in row.kinds)


@cache
def _table() -> tuple[Figure, ...]:
    with Path(__file__).with_name("logic_families.csv").open(encoding="utf-8", newline="") as file:
        return tuple(_figure(row) for row in csv.DictReader(file))


def _figure(row: dict[str, str]) -> Figure:
    units = _UNITS[row["unit"]]
    return Figure(
        kinds=tuple(row["kinds"].split("; ")),
        family=row["family"],
        device=row["device"],
        parameter=row["parameter"],
        words=row["condition"],
        least=_number(row["min"], units),
        usual=_number(row["typ"], units),
        most=_number(row["max"], units),
        unit="V" if row["unit"] == "V" else "A",
        supply_from=float(row["supply_from"]),
        supply_to=float(row["supply_to"]),
        test_supply=_number(row["test_supply"]),
        follows=_FOLLOWS[row["follows"]],
        test_volts=_number(row["test_volts"]),
        test_amps=_number(row["test_ma"], 1e3),
        source=row["source"],
        status=row["status"],
        note=row["note"],
    )


def _number(text: str, units: float = 1.0) -> float | None:
    return float(text) / units if text else None
