"""The kinds of element that a circuit is drawn up from, in a restorer's words, and what each asks for.

A kind has ends in the order of its name, one value, and further values that are written in one line, such as
`drop 0.55..0.65 V, reverse gain 2`. It knows the elements of the engineering core, and no record.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

from server.engineering.errors import EngineeringError
from server.engineering.network import (
    NPN,
    PNP,
    Capacitor,
    CurrentSource,
    Diode,
    Element,
    LogicOutput,
    Ratings,
    Resistor,
    Switch,
    VoltageSource,
    Zener,
)
from server.engineering.network.elements import Asked
from server.engineering.network.networks import value_box
from server.engineering.quantities import Toleranced, parse, same_dimension
from server.records.amounts import not_taken

# What may stand at a position that is empty in one case, in place of a value.
WIRE, NOTHING = "wire", "nothing"
WIRE_OHMS = 1e-3
_PLAIN_NUMBERS = {"at", "drop_at"}
RATED = {"W": "power", "A": "current", "V": "volts"}


class Asks(NamedTuple):
    """One value of a kind: the element's field, the word that it goes by, its unit, and what is taken if none is."""

    field: str
    word: str
    unit: str
    usual: str = ""


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of element. `value` is what stands in its row, `more` what can be added, `closed` says of a switch."""

    slug: str
    words: str
    make: type[Element]
    ends: tuple[str, ...]
    value: Asks
    more: tuple[Asks, ...] = ()
    closed: bool | None = None

    @property
    def hint(self) -> str:
        """`collector, base, emitter; its value is the gain, 100 if none is given; drop 0.6 V`."""
        usual = f", {self.value.usual} if none is given" if self.value.usual else ""
        more = "".join(f"; {one.word} {one.usual}" for one in self.more)
        return f"{', '.join(self.ends)}; its value is the {self.value.word}{usual}{more}"

    @property
    def in_order(self) -> str:
        """What is chosen from: `NPN transistor (collector, base, emitter)`, unless either end will do."""
        return self.words if self.ends == _TWO else f"{self.words} ({', '.join(self.ends)})"

    def asks(self, field: str) -> Asks:
        return next(one for one in (self.value, *self.more) if one.field == field)


_DROP = Asks("drop", "drop", "V", "0.6 V")
_AT = Asks("drop_at", "at", "A", "1 mA")
_TWO = ("first end", "second end")
_TRANSISTOR = (_DROP, _AT, Asks("reverse_gain", "reverse gain", "", "1"))

KINDS = {
    kind.slug: kind
    for kind in (
        Kind("resistor", "resistor", Resistor, _TWO, Asks("resistance", "resistance", "Ω")),
        Kind("npn", "NPN transistor", NPN, NPN.terminals, Asks("gain", "gain", "", "100"), _TRANSISTOR),
        Kind("pnp", "PNP transistor", PNP, PNP.terminals, Asks("gain", "gain", "", "100"), _TRANSISTOR),
        Kind(
            "diode",
            "diode",
            Diode,
            Diode.terminals,
            Asks("drop", "drop", "V", "0.6 V"),
            (_AT, Asks("ideality", "ideality", "", "1"), Asks("series", "series", "Ω", "0 Ω")),
        ),
        Kind(
            "zener",
            "Zener diode",
            Zener,
            Zener.terminals,
            Asks("volts", "Zener voltage", "V"),
            (Asks("at", "at", "A", "5 mA"), Asks("slope", "slope", "Ω", "10 Ω"), Asks("drop", "drop", "V", "0.7 V")),
        ),
        Kind("source", "voltage source", VoltageSource, VoltageSource.terminals, Asks("volts", "voltage", "V")),
        Kind("current", "current source", CurrentSource, ("from", "to"), Asks("amperes", "current", "A")),
        Kind(
            "output",
            "logic output",
            LogicOutput,
            ("output", "its 0 V"),
            Asks("level", "level", "V"),
            (Asks("resistance", "resistance", "Ω", "100 Ω"),),
        ),
        Kind("capacitor", "capacitor", Capacitor, _TWO, Asks("capacitance", "capacitance", "F")),
        Kind(
            "closed",
            "switch, closed",
            Switch,
            _TWO,
            Asks("resistance", "contact resistance", "Ω", "50 mΩ"),
            closed=True,
        ),
        Kind(
            "open", "switch, open", Switch, _TWO, Asks("resistance", "contact resistance", "Ω", "50 mΩ"), closed=False
        ),
    )
}


class Unreadable(Exception):
    """A text in a row cannot be read; the sentence says why."""


def nodes_of(text: str) -> list[str]:
    """The nodes that are named in one text, divided by commas."""
    return [" ".join(node.split()) for node in text.split(",") if node.strip()]


def more_of(kind: Kind, text: str) -> dict[str, str]:
    """Further values by field, out of `gain 100..300, drop 0.6 V`. Raises Unreadable."""
    found: dict[str, str] = {}
    for part in filter(None, (" ".join(one.split()) for one in text.split(","))):
        asks = _meant(kind, part)
        value = part[len(asks.word) :].strip()
        if asks.field in found:
            raise Unreadable(f"{asks.word.capitalize()} is given twice.")
        if problem := unacceptable(kind, asks, value):
            raise Unreadable(f"{asks.word.capitalize()}: {problem}")
        found[asks.field] = value
    return found


def _meant(kind: Kind, part: str) -> Asks:
    """The value that a part of the text begins with the word of; the longest word first."""
    for asks in sorted(kind.more, key=lambda one: -len(one.word)):
        if part.casefold().startswith(asks.word) and not part[len(asks.word) :][:1].isalpha():
            return asks
    allowed = ", ".join(f"{one.word} {one.usual}" for one in kind.more)
    said = f"can be said of a {kind.words}: {allowed}" if allowed else f"more is asked of a {kind.words}"
    raise Unreadable(f"“{part}” is not understood. {'This' if allowed else 'Nothing'} {said}.")


def unacceptable(kind: Kind, asks: Asks, text: str) -> str:
    """Why a value cannot stand here, in a sentence; empty if it can."""
    try:
        value = parse(text, unit=asks.unit or None)
        if not same_dimension(value.unit, asks.unit):
            return f"It is in {value.unit or 'no unit'}, and {asks.unit or 'a plain number'} is expected here."
        if asks.field in _PLAIN_NUMBERS and not value.is_exact:
            return "Give it without a tolerance."
        value_box(value, _allowed(kind, asks), "It", None)
    except EngineeringError as fault:
        return not_taken(fault, text)
    return ""


def _allowed(kind: Kind, asks: Asks) -> Asked:
    allowed: Asked = kind.make.__dataclass_fields__[asks.field].metadata["asked"]
    return allowed


def ratings_of(text: str) -> dict[str, str]:
    """What an element stands, by `power`, `current` and `volts`, out of `0.25 W, 200 mA`. Raises Unreadable."""
    found: dict[str, str] = {}
    for part in filter(None, (one.strip() for one in text.split(","))):
        try:
            value = parse(part)
        except EngineeringError as fault:
            raise Unreadable(f"{str(fault).rstrip('.')}.") from None
        rated = next((name for unit, name in RATED.items() if same_dimension(value.unit, unit)), None)
        if rated is None:
            raise Unreadable(f"“{part}” is no rating: give watts, amperes or volts, such as 0.25 W.")
        if rated in found:
            raise Unreadable(f"“{part}” is a second rating in {value.unit}.")
        if not value.is_exact or value.nominal <= 0:
            raise Unreadable(f"“{part}” is no rating: it is one amount above 0, without a tolerance.")
        found[rated] = part
    return found


def element(
    kind: Kind, name: str, nodes: list[str], values: Mapping[str, Toleranced], ratings: Mapping[str, float]
) -> Element:
    """The element of the engineering core; its values in their own units. Raises a NetworkError for what is none."""
    given: dict[str, object] = dict(zip(kind.make.terminals, nodes, strict=True))
    for asks in (kind.value, *kind.more):
        value = values.get(asks.field) or parse(asks.usual, unit=asks.unit or None)
        given[asks.field] = _si(value, asks.unit) if asks.field in _PLAIN_NUMBERS else value
    if kind.closed is not None:
        given["closed"] = kind.closed
    return kind.make(name, **given, ratings=Ratings(**ratings))


def _si(value: Toleranced, unit: str) -> float:
    return value_box(value, Asked(unit, 0.0, 1e3), "It", None).nominal
