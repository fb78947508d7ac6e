"""Conditions on a network: a voltage, current or power above or below a value, alone or several at once.

    voltage("out").below(0.8)                       voltage("out").below(0.0, share=0.5): below half the swept source
    current("Q1").above(parse("1 mA ±10 %"))        conducting_while_released("Q1", "Q2")

Limits in V, A or W, plain or `Toleranced`. A margin is how far a condition is from its limit, positive where it holds.
Raises UnknownNode, UnknownElement and BadElementValue as it is held against a network.
"""

from dataclasses import dataclass
from typing import Literal

from server.engineering.network.drawn_values import DrawnValues
from server.engineering.network.elements import Asked, Value
from server.engineering.network.junctions import Array
from server.engineering.network.networks import Network, quoted, value_box
from server.engineering.network.states import States, Terminal

# Where a transistor is taken to conduct: enough to be felt in the kilohms round it.
CONDUCTING = 1e-4
_UNITS = {"voltage": "V", "current": "A", "power": "W"}
_ROUNDING = {"voltage": 1e-9, "current": 1e-12, "power": 1e-12}
_MOST = 1e5


@dataclass(frozen=True)
class Figure:
    """What is watched: a node's voltage (against another node), an element's current or power."""

    quantity: Literal["voltage", "current", "power"]
    name: str
    against: str | None = None
    terminal: Terminal | None = None

    def above(self, limit: Value, share: float = 0.0) -> "Condition":
        """Above `limit`, or above limit + share times the swept source."""
        return Condition(self, "above", limit, share)

    def below(self, limit: Value, share: float = 0.0) -> "Condition":
        """Below `limit`, or below limit + share times the swept source."""
        return Condition(self, "below", limit, share)

    def read(self, states: States) -> Array:
        if self.quantity == "voltage":
            reference = states.volts(self.against) if self.against is not None else 0.0
            return states.volts(self.name) - reference
        return states.current(self.name, self.terminal) if self.quantity == "current" else states.power(self.name)


@dataclass(frozen=True)
class Condition:
    """A figure on one side of its limit."""

    figure: Figure
    sense: Literal["above", "below"]
    limit: Value
    share: float = 0.0

    def check(self, network: Network) -> None:
        """Raises for a node, element or limit that is none."""
        unit = _UNITS[self.figure.quantity]
        value_box(self.limit, Asked(unit, -_MOST, _MOST), "The limit of the condition", None)
        value_box(self.share, Asked("", -_MOST, _MOST), "The share of the source in the condition", None)
        if self.figure.quantity == "voltage":
            network.check_node(self.figure.name)
            if self.figure.against is not None:
                network.check_node(self.figure.against)
        else:
            network.element(self.figure.name)

    def drawn_limit(self, drawn: DrawnValues, place: int) -> Array:
        return drawn.of(f"the limit of condition {place}", self.limit)

    def margin(self, states: States, limit: Array) -> Array:
        """By how much it holds, of shape (states,); `limit` is of shape (rows,).

        What rounding alone can make (1 nV, 1 pA, 1 pW) is not enough to hold.
        """
        over = self.figure.read(states) - limit[states.rows] - self.share * states.values
        return (over if self.sense == "above" else -over) - _ROUNDING[self.figure.quantity]


@dataclass(frozen=True)
class AllOf:
    """Conditions that are to hold together."""

    parts: tuple[Condition, ...]


AnyCondition = Condition | AllOf


def voltage(node: str, against: str | None = None) -> Figure:
    """The voltage at a node, against the reference or another node."""
    return Figure("voltage", node, against)


def current(element: str, terminal: Terminal | None = None) -> Figure:
    """The current of an element; a transistor's collector's, unless another terminal is named."""
    return Figure("current", element, None, terminal)


def power(element: str) -> Figure:
    """The heat in an element."""
    return Figure("power", element)


def all_of(*conditions: AnyCondition) -> AllOf:
    """Every one of them at once."""
    return AllOf(tuple(part for condition in conditions for part in parts_of(condition)))


def conducting(transistor: str, least: Value = CONDUCTING) -> Condition:
    """Its current is more than `least` A."""
    return current(transistor).above(least)


def released(transistor: str, most: Value = CONDUCTING) -> Condition:
    """Its current is less than `most` A: it no longer holds anything."""
    return current(transistor).below(most)


def conducting_while_released(runs: str, holder: str, at: Value = CONDUCTING) -> AllOf:
    """One transistor conducts while the one that should hold it off no longer does, both judged at one current in A."""
    return all_of(conducting(runs, at), released(holder, at))


def parts_of(condition: AnyCondition) -> tuple[Condition, ...]:
    return condition.parts if isinstance(condition, AllOf) else (condition,)


def told(condition: AnyCondition) -> str:
    """In words, for a page: the voltage at “out” below 0.8 V."""
    return " and ".join(_told(part) for part in parts_of(condition))


def _told(part: Condition) -> str:
    figure = part.figure
    where = "at" if figure.quantity == "voltage" else "of"
    whose = f"the {figure.quantity} {where} {quoted(figure.name)}"
    if figure.against is not None:
        whose += f" against {quoted(figure.against)}"
    if figure.terminal is not None:
        whose += f" ({figure.terminal})"
    unit = _UNITS[figure.quantity]
    limit = part.limit if isinstance(part.limit, int | float) else part.limit.nominal
    unit = unit if isinstance(part.limit, int | float) else part.limit.unit
    amount = f"{limit:.4g} {unit}" if limit or not part.share else ""
    share = f"{part.share:.4g} of the source" if part.share else ""
    return f"{whose} {part.sense} {' and '.join(filter(None, (amount, share)))}"
