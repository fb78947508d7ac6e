"""Values as text: engineering prefixes, digits by the uncertainty, and the shortest tolerance that says the limits
exactly.

It knows numbers and units and writes what `reading.py` reads. Rounding, notation and unit have a function each.

Source: JCGM 100:2008 (GUM) 7.2.2 (concise form) and 7.2.6 (two digits of an uncertainty are enough).
"""

from collections.abc import Mapping
from decimal import Decimal

from server.engineering.toleranced import Toleranced, exact
from server.engineering.unit_list import PREFIXES, entries
from server.engineering.units import factors


def show(value: Toleranced, digits: int | None = None) -> str:
    """The value as `parse` reads it: engineering prefixes, the tolerance in percent where that is short, else in the
    unit.

    A standard uncertainty is written with at most two digits (GUM 7.2.6), a nominal to the same place. With `digits`
    the value and its limits are first rounded to that many significant digits, for reading; `parse` then gives the
    rounded value.
    """
    unit, shift = _engineering(value)
    low, nominal, high = (_decimal(n).scaleb(shift) for n in (value.low, value.nominal, value.high))
    if value.spread == "standard":
        return _joined(_concise(nominal, (high - low) / 4), unit)
    if digits is not None:
        low, nominal, high = (_rounded(n, digits) for n in (low, nominal, high))
    if low == high:
        return _joined(_plain(nominal), unit)
    return _with_limits(nominal, low, high, unit)


def figure(number: float, unit: str = "", digits: int = 4) -> str:
    """One number for reading, with its unit in engineering notation: `figure(0.0108696, "A")` gives `10.87 mA`."""
    rounded = _rounded(_decimal(number), digits)
    unit, shift = _engineering(exact(float(rounded), unit))
    return _joined(_plain(rounded.scaleb(shift)), unit)


def _with_limits(nominal: Decimal, low: Decimal, high: Decimal, unit: str) -> str:
    below, above = nominal - low, high - nominal
    if percents := _percents(nominal, below, above, unit):
        return f"{_joined(_plain(nominal), unit)} {_sides(*percents)} %"
    if below == above and _length(below) <= 6:
        return _joined(f"{_joined(_plain(nominal), unit)} ±{_plain(below)}", unit)
    if below == above and _middle(low, high) == nominal:
        return _joined(f"{_plain(low)}..{_plain(high)}", unit)
    return _joined(f"{_joined(_plain(nominal), unit)} {_sides(below, above)}", unit)


def _middle(low: Decimal, high: Decimal) -> Decimal:
    return (low + high) / 2


def _percents(nominal: Decimal, below: Decimal, above: Decimal, unit: str) -> tuple[Decimal, Decimal] | None:
    """Both sides in percent, if they come out as short numbers and the unit bears percent at all."""
    if not nominal or unit in ("%", "°C"):
        return None
    sides = [side / abs(nominal) * 100 for side in (below, above)]
    if all(_length(side) <= 4 for side in sides):
        return sides[0], sides[1]
    return None


def _sides(below: Decimal, above: Decimal) -> str:
    return f"±{_plain(below)}" if below == above else f"-{_plain(below)}/+{_plain(above)}"


def _concise(nominal: Decimal, u: Decimal) -> str:
    """`6.81(3)`: the uncertainty in units of the last place shown, at most two digits of it."""
    if not u:
        return f"{_plain(nominal)}(0)"
    u = _rounded(u, 2).normalize()
    place = min(int(u.as_tuple().exponent), 0)
    number = nominal.quantize(Decimal(1).scaleb(place))
    return f"{number:f}({int(u.scaleb(-place))})"


def _engineering(value: Toleranced) -> tuple[str, int]:
    """The unit to show in, and the power of ten that brings the numbers to it: from 1 to 1000 if a prefix does that."""
    parts = factors(value.unit)
    if len(parts) != 1 or parts[0].power != 1:
        return value.unit, 0
    size = max(abs(value.nominal), abs(value.high)) if not value.nominal else abs(value.nominal)
    return _prefixed(size, parts[0].prefix, parts[0].symbol)


def _prefixed(size: float, prefix: str, symbol: str) -> tuple[str, int]:
    shown: Mapping[str, int] = {p: PREFIXES[p] for p in entries()[symbol].shown}
    have = PREFIXES[prefix]
    if not size or (1 <= size < 1000 and prefix in shown) or len(shown) == 1:
        return prefix + symbol, 0
    magnitude = _decimal(size).adjusted() + have
    fitting = [p for p in sorted(shown, key=lambda p: shown[p]) if shown[p] <= magnitude]
    best = fitting[-1] if fitting else min(shown, key=lambda p: shown[p])
    return best + symbol, have - shown[best]


def _decimal(number: float) -> Decimal:
    """To the fifteen digits that every double holds, so that no rounding noise of an earlier sum is shown."""
    return _rounded(Decimal(repr(float(number))), 15)


def _rounded(number: Decimal, digits: int) -> Decimal:
    return Decimal(f"{number:.{digits - 1}e}") if number else Decimal(0)


def _length(number: Decimal) -> int:
    """How many significant digits a number has."""
    return len(number.normalize().as_tuple().digits)


def _plain(number: Decimal) -> str:
    """Without an exponent where that is readable, with one (`1.7241e-8`) where it is not; no trailing zeros."""
    number = number.normalize() if number else Decimal(0)
    if -5 <= number.adjusted() < 9:
        return f"{number:f}"
    mantissa, _, power = f"{number:e}".partition("e")
    return f"{mantissa}e{int(power)}"


def _joined(number: str, unit: str) -> str:
    return f"{number} {unit}" if unit else number
