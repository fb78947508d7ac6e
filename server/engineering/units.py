"""Units: which spellings are read, what a unit is worth in SI base units, and its dimension.

It knows text and factors, and nothing of values or tolerances. The list is `units.txt`; the factors are pint's, from
one registry that is built from that list when first needed. User text never reaches pint: the grammar here takes a
unit apart, and only names from the list go on.

Grammar: `unit = side ["/" side]`, `side = factor {"·" factor}`, `factor = [prefix] symbol [power]`, where several
factors under the line stand in brackets (`V/(m·K)`), a power is `²`, `^2`, `2` or `⁻¹`, and `*` may stand for `·`.

Temperature: `°C` alone is a point on a scale, `K` alone an amount of temperature (or a point on the absolute scale).
Inside a compound unit (`°C/W`) a degree can only be a difference, so it is read as `K`.

Source: SI Brochure, 9th edition (2019), sections 2.3, 3 and 5.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import cache, lru_cache
from itertools import product
from typing import TYPE_CHECKING, NamedTuple

from server.engineering.errors import UnknownUnit
from server.engineering.unit_list import PREFIXES, entries, spellings

if TYPE_CHECKING:
    import pint

_PREFIX_NAMES = {
    "f": "femto",
    "p": "pico",
    "n": "nano",
    "µ": "micro",
    "m": "milli",
    "c": "centi",
    "": "",
    "k": "kilo",
    "M": "mega",
    "G": "giga",
    "T": "tera",
}
_BASE = {"kg": "kilogram", "m": "metre", "s": "second", "A": "ampere", "K": "kelvin"}
# Tried in this order to write a dimension: alone, squared, as a product with one of the first, over any other.
_PLAIN_NAMES = ("m", "s", "K", "V", "A", "W", "Ω", "F", "H", "J", "C", "S", "Hz", "kg", "N")
_LONGEST = 40
_SAME = str.maketrans({"μ": "µ", "Ω": "Ω", "−": "-", "⋅": "·", "*": "·", "℃": "°C"})
_SUPERSCRIPTS = str.maketrans("⁻⁰¹²³⁴⁵⁶⁷⁸⁹", "-0123456789")
_RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
_FACTOR = re.compile(r"([^\d^·/()⁻⁰¹²³⁴⁵⁶⁷⁸⁹\s-]+)(?:\^?(-?[1-9])|(⁻?[¹²³⁴⁵⁶⁷⁸⁹]))?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Dimension:
    """Powers of the base units kg, m, s, A, K; exact fractions, so that roots come out even."""

    powers: tuple[Fraction, ...] = (Fraction(0),) * len(_BASE)

    def __mul__(self, other: "Dimension") -> "Dimension":
        return Dimension(tuple(a + b for a, b in zip(self.powers, other.powers, strict=True)))

    def __truediv__(self, other: "Dimension") -> "Dimension":
        return Dimension(tuple(a - b for a, b in zip(self.powers, other.powers, strict=True)))

    def __pow__(self, power: Fraction | int) -> "Dimension":
        return Dimension(tuple(a * power for a in self.powers))

    def __str__(self) -> str:
        """In words: `a voltage (V)`, `a plain number`, `a quantity in K/W`."""
        return _in_words(self)

    @property
    def is_number(self) -> bool:
        return not any(self.powers)


class Factor(NamedTuple):
    """One factor of a unit: `µ`, `F`, 1."""

    prefix: str
    symbol: str
    power: int


class Scale(NamedTuple):
    """A unit's worth: `base = value * factor + offset`, in kg, m, s, A, K."""

    factor: float
    offset: float
    dimension: Dimension
    is_point: bool


def check_unit(text: str) -> str:
    """The unit as it is written here: `uF` gives `µF`, `kOhm` `kΩ`, `°C/W` `K/W`, an empty text itself.

    Raises UnknownUnit for anything that is not in the list.
    """
    return _canonical(text)


def factors(unit: str) -> tuple[Factor, ...]:
    """The factors of a unit; a plain number has none. Raises UnknownUnit."""
    return _factors(unit.strip().translate(_SAME), unit)


@lru_cache(maxsize=512)
def scale(unit: str) -> Scale:
    """What a unit is worth in SI base units. Raises UnknownUnit."""
    parts = factors(unit)
    registry = _registry()
    if [(part.symbol, part.power) for part in parts] == [("°C", 1)]:
        zero = registry.Quantity(0.0, registry.UnitsContainer({entries()["°C"].name: 1})).to_root_units()
        return Scale(1.0, float(zero.magnitude), scale("K").dimension, is_point=True)
    named = {_full_name(part): part.power for part in parts}
    root = registry.Quantity(1.0, registry.UnitsContainer(named)).to_root_units()
    powers = dict(root._units.items())
    dimension = Dimension(tuple(Fraction(str(powers.get(name, 0))) for name in _BASE.values()))
    return Scale(float(root.magnitude), 0.0, dimension, is_point=False)


def same_dimension(a: str, b: str) -> bool:
    """Whether two units measure the same. `°C` and `K` do; so do counts, percent and plain numbers.

    Raises UnknownUnit.
    """
    return scale(a).dimension == scale(b).dimension


@lru_cache(maxsize=512)
def unit_for(dimension: Dimension) -> str:
    """The SI unit that a dimension is written in: `Ω`, `V/s`, `K/W`, base units where no shorter one fits.

    A fractional power gives text for a message (`V^(1/2)` in base units) that is no unit.
    """
    if dimension.is_number:
        return ""
    for unit in _candidates():
        if scale(unit).dimension == dimension:
            return unit
    return _in_base_units(dimension)


def _candidates() -> Iterator[str]:
    yield from _PLAIN_NAMES
    yield from (f"{name}{power}" for name, power in product(_PLAIN_NAMES, "²³"))
    yield from (f"1/{name}" for name in _PLAIN_NAMES)
    yield from (f"{name}·{by}" for by, name in product(_PLAIN_NAMES[:3], _PLAIN_NAMES[3:]))
    yield from (f"{name}/{under}" for under, name in product(_PLAIN_NAMES, _PLAIN_NAMES) if name != under)


def _in_base_units(dimension: Dimension) -> str:
    raised = [(symbol, power) for symbol, power in zip(_BASE, dimension.powers, strict=True) if power]
    if all(power.denominator == 1 for _, power in raised):
        return _written(Factor("", symbol, int(power)) for symbol, power in raised)
    return "·".join(symbol if power == 1 else f"{symbol}^({power})" for symbol, power in raised)


@lru_cache(maxsize=512)
def _in_words(dimension: Dimension) -> str:
    if dimension.is_number:
        return "a plain number"
    for entry in entries().values():
        if scale(entry.symbol).dimension == dimension:
            return f"{'an' if entry.quantity[0] in 'aeiou' else 'a'} {entry.quantity} ({unit_for(dimension)})"
    return f"a quantity in {unit_for(dimension)}"


@lru_cache(maxsize=512)
def _canonical(text: str) -> str:
    return _written(factors(text))


def _written(parts: Iterable[Factor]) -> str:
    above: list[str] = []
    below: list[str] = []
    for prefix, symbol, power in parts:
        raised = str(abs(power)).translate(_RAISED) if abs(power) != 1 else ""
        (above if power > 0 else below).append(f"{prefix}{symbol}{raised}")
    if not below:
        return "·".join(above)
    under = below[0] if len(below) == 1 else f"({'·'.join(below)})"
    return f"{'·'.join(above) or '1'}/{under}"


@lru_cache(maxsize=512)
def _factors(text: str, typed: str) -> tuple[Factor, ...]:
    if not text or text == "1":
        return ()
    if text in spellings():
        return (Factor(*spellings()[text], 1),)
    if len(text) > _LONGEST or text.count("/") > 1:
        raise UnknownUnit(f"{_quoted(typed)} is no unit that is known here", text=typed, position=0)
    over, _, under = text.partition("/")
    parts = [*_side(over, typed, 1)] if over != "1" else []
    if "/" in text:
        parts += _side(_unbracketed(under, typed), typed, -1)
    return _merged(parts)


def _side(text: str, typed: str, sign: int) -> Iterator[Factor]:
    for piece in text.split("·"):
        match = _FACTOR.fullmatch(piece)
        meaning = spellings().get(match[1]) if match else None
        if not match or not meaning:
            raise UnknownUnit(_unknown(piece, typed), text=typed, position=max(typed.find(piece), 0))
        power = int(match[2] or (match[3] or "1").translate(_SUPERSCRIPTS))
        symbol = "K" if meaning.symbol == "°C" else meaning.symbol
        yield Factor(meaning.prefix, symbol, sign * power)


def _unbracketed(under: str, typed: str) -> str:
    if under.startswith("(") and under.endswith(")"):
        return under[1:-1]
    if "·" in under:
        at = typed.find("/")
        raise UnknownUnit(
            f"In {_quoted(typed)} it is not clear what is under the line: put it in brackets", text=typed, position=at
        )
    return under


def _merged(parts: list[Factor]) -> tuple[Factor, ...]:
    """Powers of one unit added up; those that cancel leave."""
    powers: dict[tuple[str, str], int] = {}
    for prefix, symbol, power in parts:
        powers[prefix, symbol] = powers.get((prefix, symbol), 0) + power
    return tuple(Factor(*key, power) for key, power in powers.items() if power)


def _unknown(piece: str, typed: str) -> str:
    if not piece:
        return f"A part is missing in the unit {_quoted(typed)}"
    if piece == "mF":
        return "mF is not read, since old capacitors print it for µF: write µF, or 1000 µF for a thousand of them"
    alike = {f"{m.prefix}{m.symbol}" for spelling, m in spellings().items() if spelling.lower() == piece.lower()}
    hint = f"; is {' or '.join(sorted(alike))} meant?" if alike else ""
    inside = f" in {_quoted(typed)}" if piece != typed else ""
    return f"{_quoted(piece)}{inside} is no unit that is known here{hint}"


def _quoted(text: str) -> str:
    return f"“{text[:_LONGEST]}{'…' if len(text) > _LONGEST else ''}”"


def _full_name(part: Factor) -> str:
    return _PREFIX_NAMES[part.prefix] + entries()[part.symbol].name


@cache
def _registry() -> "pint.UnitRegistry[float]":
    """The one registry: our list and nothing else. Importing pint is put off until a unit's worth is asked for."""
    import pint

    registry: pint.UnitRegistry[float] = pint.UnitRegistry(None)
    for prefix, power in PREFIXES.items():
        if prefix:
            registry.define(f"{_PREFIX_NAMES[prefix]}- = 1e{power}")
    for entry in entries().values():
        registry.define(f"{entry.name} = {entry.worth}")
    return registry
