"""Values as text: engineering prefixes, digits by the uncertainty, the shortest tolerance that says the limits.

It knows numbers and units and writes what `reading.py` reads. Rounding, notation and unit have a function each.

Source: JCGM 100:2008 (GUM) 7.2.2 (concise form) and 7.2.6 (two digits of an uncertainty are enough).
"""

from decimal import Decimal

from server.engineering.toleranced import Toleranced
from server.engineering.unit_list import PREFIXES, entries
from server.engineering.units import check_unit, factors


def show(value: Toleranced, digits: int | None = None) -> str:
    """The value as `parse` reads it: engineering prefixes, the tolerance in percent where that is short.

    A standard uncertainty is written with at most two digits (GUM 7.2.6), a nominal to the same place. With `digits`
    the value and its limits are first rounded to that many significant digits, for reading; `parse` then gives the
    rounded value.
    """
    low, nominal, high = (_decimal(number) for number in (value.low, value.nominal, value.high))
    if value.spread == "standard":
        return _measured(nominal, (high - low) / 4, value.unit)
    if digits is not None:
        low, nominal, high = (_rounded(number, digits) for number in (low, nominal, high))
    unit, shift = _engineering(nominal or high, value.unit)
    low, nominal, high = (number.scaleb(shift) for number in (low, nominal, high))
    if low == high:
        return _joined(_plain(nominal), unit)
    return _with_limits(nominal, low, high, unit)


def figure(number: float, unit: str = "", digits: int = 4) -> str:
    """One number for reading, with its unit in engineering notation: `figure(0.0108696, "A")` gives `10.87 mA`."""
    rounded = _rounded(_decimal(number), digits)
    shown, shift = _engineering(rounded, check_unit(unit))
    return _joined(_plain(rounded.scaleb(shift)), shown)


def _with_limits(nominal: Decimal, low: Decimal, high: Decimal, unit: str) -> str:
    below, above = nominal - low, high - nominal
    if percents := _percents(nominal, below, above, unit):
        return f"{_joined(_plain(nominal), unit)} {_sides(*percents)} %"
    if below == above and _length(below) <= 6:
        return _joined(f"{_joined(_plain(nominal), unit)} ±{_plain(below)}", unit)
    if below == above:
        return _joined(f"{_plain(low)}..{_plain(high)}", unit)
    return _joined(f"{_joined(_plain(nominal), unit)} {_sides(below, above)}", unit)


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


def _measured(nominal: Decimal, u: Decimal, unit: str) -> str:
    """`6.81(3) V`: the uncertainty in units of the last place shown, at most two digits of it."""
    if u:
        u = _rounded(u, 2).normalize()
        nominal = nominal.quantize(Decimal(1).scaleb(int(u.as_tuple().exponent)))
    unit, shift = _engineering(nominal or u, unit)
    nominal, u = nominal.scaleb(shift), u.scaleb(shift)
    place = min(int(u.as_tuple().exponent), 0) if u else 0
    number = f"{nominal:f}" if u else _plain(nominal)
    return _joined(f"{number}({int(u.scaleb(-place))})", unit)


def _engineering(number: Decimal, unit: str) -> tuple[str, int]:
    """The unit to show in, and the power of ten that brings numbers to it: from 1 to 1000 if a prefix does that."""
    parts = factors(unit)
    if len(parts) != 1 or parts[0].power != 1:
        return unit, 0
    prefix, symbol, _ = parts[0]
    shown = {mark: PREFIXES[mark] for mark in entries()[symbol].shown}
    size, have = abs(number), PREFIXES[prefix]
    if not size or (1 <= size < 1000 and prefix in shown) or len(shown) == 1:
        return unit, 0
    fitting = [mark for mark in shown if shown[mark] <= size.adjusted() + have]
    best = max(fitting, key=shown.__getitem__) if fitting else min(shown, key=shown.__getitem__)
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
