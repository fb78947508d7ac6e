"""Units: which spellings are read, what a unit is worth in SI base units, and its dimension.

It knows text and factors, and nothing of values or tolerances. The list is `units.txt`; the factors are pint's, from one
registry that is built from that list when first needed. User text never reaches pint: the grammar here takes a unit
apart, and only names from the list go on.

Grammar: `unit = side ["/" side]`, `side = factor {"·" factor}`, `factor = [prefix] symbol [power]`, where several factors
under the line stand in brackets (`V/(m·K)`), a power is `²`, `^2`, `2` or `⁻¹`, and `*` may stand for `·`.

Temperature: `°C` alone is a point on a scale, `K` alone an amount of temperature (or a point on the absolute scale). Inside a
compound unit (`°C/W`) a degree can only be a difference, so it is read as `K`.

Source: SI Brochure, 9th edition (2019), sections 2.3, 3 and 5.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from server.engineering.errors import UnknownUnit

if TYPE_CHECKING:
    import pint

PREFIXES = {"f": -15, "p": -12, "n": -9, "µ": -6, "m": -3, "c": -2, "": 0, "k": 3, "M": 6, "G": 9, "T": 12}
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
_BASE_NAMES = ("kilogram", "metre", "second", "ampere", "kelvin")
_BASE_SYMBOLS = ("kg", "m", "s", "A", "K")
_LONGEST = 40
_SAME = str.maketrans({"μ": "µ", "Ω": "Ω", "−": "-", "⋅": "·", "*": "·", "℃": "°C"})
_SUPERSCRIPTS = str.maketrans("⁻⁰¹²³⁴⁵⁶⁷⁸⁹", "-0123456789")
_RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
_FACTOR = re.compile(r"([^\d^·/()⁻⁰¹²³⁴⁵⁶⁷⁸⁹\s-]+)(?:\^?(-?[1-9])|([⁻⁰¹²³⁴⁵⁶⁷⁸⁹]+))?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Dimension:
    """Powers of the base units kg, m, s, A, K; exact fractions, so that roots come out even."""

    powers: tuple[Fraction, ...] = (Fraction(0),) * 5

    def __mul__(self, other: "Dimension") -> "Dimension":
        return Dimension(tuple(a + b for a, b in zip(self.powers, other.powers, strict=True)))

    def __truediv__(self, other: "Dimension") -> "Dimension":
        return Dimension(tuple(a - b for a, b in zip(self.powers, other.powers, strict=True)))

    def __pow__(self, power: Fraction) -> "Dimension":
        return Dimension(tuple(a * power for a in self.powers))

    def __str__(self) -> str:
        """In words where the dimension has a name: `a voltage (V)`, else its base units."""
        if not any(self.powers):
            return "a plain number"
        for entry in entries().values():
            if scale(entry.symbol).dimension == self:
                return f"{'an' if entry.quantity[0] in 'aeiou' else 'a'} {entry.quantity} ({entry.symbol})"
        return f"a quantity in {self.base_unit()}"

    def base_unit(self) -> str:
        """The unit in base units, `kg·m²·s⁻³`; as a calculation shows a line that has no unit of its own."""
        raised = zip(_BASE_SYMBOLS, self.powers, strict=True)
        return "·".join(f"{symbol}{_power(power)}" for symbol, power in raised if power)

    @property
    def is_number(self) -> bool:
        return not any(self.powers)


class Entry(NamedTuple):
    """One line of `units.txt`."""

    symbol: str
    name: str
    worth: str
    prefixes: tuple[str, ...]
    shown: tuple[str, ...]
    also: tuple[str, ...]
    quantity: str


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


@cache
def entries() -> Mapping[str, Entry]:
    """The list of units by symbol."""
    lines = Path(__file__).with_name("units.txt").read_text(encoding="utf-8").splitlines()
    rows = (_entry(line) for line in lines if line.strip() and not line.startswith("#"))
    return {row.symbol: row for row in rows}


def check_unit(text: str) -> str:
    """The unit as it is written here: `uF` gives `µF`, `kOhm` gives `kΩ`, `°C/W` gives `K/W`, an empty text itself.

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
    is_point = [(part.symbol, part.power) for part in parts] == [("°C", 1)]
    registry = _registry()
    named = {_full_name(part): part.power for part in parts}
    if is_point:
        zero = registry.Quantity(0.0, registry.UnitsContainer({"degree_Celsius": 1})).to_root_units()
        kelvin = scale("K")
        return Scale(1.0, float(zero.magnitude), kelvin.dimension, is_point=True)
    root = registry.Quantity(1.0, registry.UnitsContainer(named)).to_root_units()
    powers = dict(root._units.items())
    dimension = Dimension(tuple(Fraction(str(powers.get(name, 0))) for name in _BASE_NAMES))
    return Scale(float(root.magnitude), 0.0, dimension, is_point=False)


def same_dimension(a: str, b: str) -> bool:
    """Whether two units measure the same. `°C` and `K` do; so do counts, percent and plain numbers. Raises UnknownUnit."""
    return scale(a).dimension == scale(b).dimension


def unit_for(dimension: Dimension) -> str:
    """The unit that a dimension is shown in when none is asked for: its SI unit if it has a name, else base units."""
    if dimension.is_number:
        return ""
    for entry in entries().values():
        worth = scale(entry.symbol)
        if worth.dimension == dimension and worth.factor == 1.0:
            return entry.symbol
    return dimension.base_unit()


def spellings() -> Mapping[str, tuple[str, str]]:
    """Every spelling of a single unit, with its prefix and symbol."""
    return _spellings()


def _entry(line: str) -> Entry:
    symbol, name, worth, prefixes, also, quantity = _columns(line)
    marks = prefixes.split()
    return Entry(
        symbol,
        name,
        worth,
        ("", *(mark.rstrip("*") for mark in marks)),
        ("", *(mark for mark in marks if not mark.endswith("*"))),
        tuple(also.split()),
        quantity,
    )


def _columns(line: str) -> list[str]:
    """Six columns; the worth may itself hold a semicolon (`kelvin; offset: 273.15`)."""
    cells = [cell.strip() for cell in line.split(" ; ")]
    if len(cells) != 6:
        raise ValueError(f"units.txt: not six columns: {line}")
    return cells


@cache
def _spellings() -> dict[str, tuple[str, str]]:
    found: dict[str, tuple[str, str]] = {}
    for spelling, meaning in _all_spellings():
        if found.setdefault(spelling, meaning) != meaning:
            raise ValueError(f"units.txt: {spelling} is written for two units")
    return found


def _all_spellings() -> Iterator[tuple[str, tuple[str, str]]]:
    for entry in entries().values():
        for prefix in entry.prefixes:
            for spelled in _prefix_spellings(prefix, entry.symbol):
                for symbol in (entry.symbol, *(also for also in entry.also if "=" not in also)):
                    yield spelled + symbol.translate(_SAME), (prefix, entry.symbol)
        for spelling, _, unit in (also.partition("=") for also in entry.also):
            if unit:
                yield spelling, (unit.removesuffix(entry.symbol), entry.symbol)


def _prefix_spellings(prefix: str, symbol: str) -> tuple[str, ...]:
    """`u` for `µ` anywhere; `K` for kilo and `Meg` for mega in a resistance, where no other unit can be meant."""
    if prefix == "µ":
        return ("µ", "u")
    if symbol == "Ω" and prefix == "k":
        return ("k", "K")
    if symbol == "Ω" and prefix == "M":
        return ("M", "Meg", "meg", "MEG")
    return (prefix,)


@lru_cache(maxsize=512)
def _canonical(text: str) -> str:
    above: list[str] = []
    below: list[str] = []
    for prefix, symbol, power in factors(text):
        (above if power > 0 else below).append(f"{prefix}{symbol}{_power(Fraction(abs(power)))}")
    if not below:
        return "·".join(above)
    under = below[0] if len(below) == 1 else f"({'·'.join(below)})"
    return f"{'·'.join(above) or '1'}/{under}"


@lru_cache(maxsize=512)
def _factors(text: str, typed: str) -> tuple[Factor, ...]:
    if not text or text == "1":
        return ()
    if text in _spellings():
        return (Factor(*_spellings()[text], 1),)
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
        meaning = _spellings().get(match[1]) if match else None
        if not match or not meaning:
            raise UnknownUnit(_unknown(piece, typed), text=typed, position=max(typed.find(piece), 0))
        prefix, symbol = meaning
        power = int(match[2] or (match[3] or "1").translate(_SUPERSCRIPTS))
        yield Factor(prefix, "K" if symbol == "°C" else symbol, sign * power)


def _unbracketed(under: str, typed: str) -> str:
    if under.startswith("(") and under.endswith(")"):
        return under[1:-1]
    if "·" in under:
        raise UnknownUnit(f"In {_quoted(typed)} it is not clear what is under the line: put it in brackets", text=typed)
    return under


def _merged(parts: list[Factor]) -> tuple[Factor, ...]:
    """Powers of one unit added up; those that cancel leave."""
    powers: dict[tuple[str, str], int] = {}
    for prefix, symbol, power in parts:
        powers[prefix, symbol] = powers.get((prefix, symbol), 0) + power
    return tuple(Factor(*key, power) for key, power in powers.items() if power)


def _unknown(piece: str, typed: str) -> str:
    if piece == "mF":
        return "mF is not read, since old capacitors print it for µF: write µF, or 1000 µF for a thousand of them"
    alike = sorted({s for s in _spellings() if s.lower() == piece.lower() and piece}, key=len)
    hint = f"; is {' or '.join(alike[:3])} meant?" if alike else ""
    inside = f" in {_quoted(typed)}" if piece != typed else ""
    return f"{_quoted(piece)}{inside} is no unit that is known here{hint}"


def _quoted(text: str) -> str:
    return f"“{text[:_LONGEST]}{'…' if len(text) > _LONGEST else ''}”"


def _power(power: Fraction) -> str:
    if power == 1:
        return ""
    return str(power).translate(_RAISED) if power.denominator == 1 else f"^({power})"


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
