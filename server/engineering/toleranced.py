"""A value with a tolerance: three plain floats in one unit, and what is known between them.

It knows units by name and worth, and nothing of how a value is typed or shown.

Sources: JCGM 100:2008 (GUM) 4.3.7 for limits, 6.2 for twice the standard uncertainty; SI Brochure, 9th edition, 2.3.1
for °C.
"""

import math
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from server.engineering.errors import ImpossibleValue, WrongDimension
from server.engineering.units import check_unit, scale

Spread = Literal["limits", "standard"]


@dataclass(frozen=True, slots=True)
class Toleranced:
    """A value between two limits, all three in `unit`.

    `spread` says what is known of it: `limits` (somewhere between them, sampled as uniform) or `standard` (a measured
    value, low and high are nominal -/+ 2 standard uncertainties, sampled as normal). The unit is kept in its
    canonical spelling. Raises ImpossibleValue for NaN, infinities, limits out of order or a lopsided standard spread,
    and UnknownUnit.
    """

    nominal: float
    low: float
    high: float
    unit: str
    spread: Spread = "limits"

    def __post_init__(self) -> None:
        object.__setattr__(self, "unit", check_unit(self.unit))
        if not all(map(math.isfinite, (self.nominal, self.low, self.high))):
            raise ImpossibleValue("A value and its limits must be finite numbers")
        if not self.low <= self.nominal <= self.high:
            raise ImpossibleValue(
                f"The limits {self.low:g} and {self.high:g} do not lie on either side of {self.nominal:g}"
            )
        if self.spread not in ("limits", "standard"):
            raise ImpossibleValue(f"A spread is limits or standard, not {self.spread}")
        lopsided = abs((self.high - self.nominal) - (self.nominal - self.low))
        room = 1e-9 * max(abs(self.low), abs(self.high))
        if self.spread == "standard" and lopsided > room:
            raise ImpossibleValue("A standard uncertainty lies evenly on both sides of the value")

    @property
    def uncertainty(self) -> float:
        """The standard uncertainty in the value's unit; of bare limits it is width/√12 (GUM 4.3.7)."""
        return (self.high - self.low) / (4.0 if self.spread == "standard" else math.sqrt(12.0))

    @property
    def is_exact(self) -> bool:
        return self.low == self.high


def exact(nominal: float, unit: str = "") -> Toleranced:
    """A value taken as it stands, with no tolerance."""
    return Toleranced(nominal, nominal, nominal, unit)


def convert(value: Toleranced, unit: str) -> Toleranced:
    """The same quantity in another unit of its dimension.

    `°C` and `K` are converted as points on their scales (25 °C is 298.15 K), never as differences.
    Raises WrongDimension and UnknownUnit.
    """
    have, want = scale(value.unit), scale(unit)
    if have.dimension != want.dimension:
        raise WrongDimension(
            f"{value.nominal:g} {value.unit} is {have.dimension}, and {want.dimension} is asked for",
            text=f"{value.nominal:g} {value.unit}",
            found=value.unit,
            expected=check_unit(unit),
        )
    if check_unit(unit) == value.unit:
        return value
    low, nominal, high = (
        _shifted(number, have.factor, have.offset, want.factor, want.offset)
        for number in (value.low, value.nominal, value.high)
    )
    return Toleranced(nominal, low, high, unit, value.spread)


def _shifted(number: float, factor: float, offset: float, new_factor: float, new_offset: float) -> float:
    """In decimal arithmetic, so that 2.2 kΩ is 2200 Ω and 25 °C is 298.15 K to the last digit."""
    base = Decimal(repr(number)) * Decimal(repr(factor)) + Decimal(repr(offset))
    return float((base - Decimal(repr(new_offset))) / Decimal(repr(new_factor)))
