"""A network at one point, and along a sweep: what every node and element is at, against what it stands.

    network = Network((
        VoltageSource("V1", "rail", "0", 12.0),
        Resistor("R1", "rail", "out", parse("10 kΩ ±5 %")),
        Diode("D1", "out", "0"),
    ))
    operating_point(network).volts["out"].nominal       # V

Over the tolerances each figure is a band of draws, see `bands.py`. Raises the `NetworkError`s of `errors.py`.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal
from uuid import UUID

import numpy as np

from server.engineering.network.assembly import assemble
from server.engineering.network.bands import Band, Trace, band, trace
from server.engineering.network.drawn_values import DrawnValues
from server.engineering.network.elements import Capacitor, Element, Transistor
from server.engineering.network.errors import BadSweep, NetworkTooLarge
from server.engineering.network.following import follow
from server.engineering.network.junctions import Array
from server.engineering.network.networks import Network
from server.engineering.network.ports import Ports
from server.engineering.network.states import States, Terminal

DRAWS = 1000
MOST_POINTS = 5_000
MOST_STATES = 1_000_000
CHOICE = (
    "The network can rest in more than one state here, and the state first found is one that it would not stay in; "
    "these figures are of one in which it stays."
)
Quantity = Literal["power", "current", "volts"]


@dataclass(frozen=True)
class OverRating:
    """An element past what it stands: `fails` at the nominal values already, `at risk` only within the tolerances.

    `worst` is the largest amount found, `nominal` and `rated` the same in W, A or V.
    """

    element: str
    quantity: Quantity
    verdict: Literal["fails", "at risk"]
    nominal: float
    worst: float
    rated: float
    unit: str


@dataclass(frozen=True)
class ElementReading:
    """An element's voltage (V), current (A) and heat (W); a transistor's base current (A) beside its collector's."""

    name: str
    kind: str
    volts: Band
    current: Band
    power: Band
    base: Band | None
    over: tuple[OverRating, ...]


@dataclass(frozen=True)
class OperatingPoint:
    """Every node's voltage against the reference and every element's reading, over `draws` draws (0: no tolerances)."""

    volts: dict[str, Band]
    elements: dict[str, ElementReading]
    draws: int
    notes: tuple[str, ...]

    @property
    def over(self) -> tuple[OverRating, ...]:
        return tuple(found for reading in self.elements.values() for found in reading.over)


class Sweep:
    """A network at each value of a source, in the order in which they were given."""

    def __init__(self, states: States, source: str, values: Array, notes: tuple[str, ...]) -> None:
        self._states = states
        self.source, self.values, self.notes = source, values, notes
        self.draws = states.drawn.draws

    def volts(self, node: str) -> Trace:
        """A node's voltage in V. Raises UnknownNode."""
        return self._trace(self._states.volts(node), "V")

    def current(self, element: str, terminal: Terminal | None = None) -> Trace:
        """An element's current in A. Raises UnknownElement."""
        return self._trace(self._states.current(element, terminal), "A")

    def power(self, element: str) -> Trace:
        """An element's heat in W. Raises UnknownElement."""
        return self._trace(self._states.power(element), "W")

    def peak(self, element: str, quantity: Quantity) -> Band:
        """The greatest amount of an element's heat (W), current (A) or voltage (V) anywhere in the sweep.

        Without its sign, and for each draw by itself. Raises UnknownElement.
        """
        amount = {"power": self._states.power, "current": self._states.current, "volts": self._states.across}[quantity]
        found = np.abs(amount(element)).reshape(len(self.values), -1).max(axis=0)
        return band(found, {"power": "W", "current": "A", "volts": "V"}[quantity])

    @cached_property
    def over(self) -> tuple[OverRating, ...]:
        """Elements past their ratings anywhere in the sweep."""
        return tuple(found for element in self._states.network.elements for found in _over(self._states, element))

    def _trace(self, values: Array, unit: str) -> Trace:
        return trace(values.reshape(len(self.values), -1), unit)


def operating_point(network: Network, *, draws: int = DRAWS, seed: UUID | int = 0) -> OperatingPoint:
    """The state in which the currents at every node add up to nothing, for the nominal values and for each draw.

    Raises NotSettled.
    """
    states, pushed = _solved(network, None, np.zeros(1), draws, seed)
    nodes = {node: band(states.volts(node), "V") for node in network.nodes}
    elements = {element.name: _reading(states, element) for element in network.elements}
    return OperatingPoint(nodes, elements, states.drawn.draws, (*network.notes, *((CHOICE,) if pushed else ())))


def sweep(
    network: Network, source: str, values: Sequence[float] | Array, *, draws: int = DRAWS, seed: UUID | int = 0
) -> Sweep:
    """The network with a source (voltage, current, logic output) at each of the values (V or A), in their order.

    The source's own value and tolerance are left aside. A network with two resting states keeps to the one it is in.
    Raises UnknownElement, BadSweep, NetworkTooLarge and NotSettled.
    """
    points = swept_values(values)
    states, pushed = _solved(network, source, points, draws, seed)
    return Sweep(states, source, points, (*network.notes, *((CHOICE,) if pushed else ())))


def swept_values(values: Sequence[float] | Array) -> Array:
    """The values of a sweep as an array of shape (points,). Raises BadSweep and NetworkTooLarge."""
    try:
        points = np.array(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise BadSweep("The values to sweep over are no numbers") from error
    if points.ndim != 1 or not points.size or not np.isfinite(points).all() or np.abs(points).max() > 1e5:
        raise BadSweep("A sweep needs a row of finite values, none beyond 100000")
    if points.size > MOST_POINTS:
        raise NetworkTooLarge(f"The sweep has {points.size} points; at most {MOST_POINTS} are worked out")
    return points


def _solved(network: Network, source: str | None, points: Array, draws: int, seed: UUID | int) -> tuple[States, bool]:
    if source is not None:
        network.source(source)
    drawn = DrawnValues(network, draws, seed)
    if drawn.rows * len(points) > MOST_STATES:
        raise NetworkTooLarge(
            f"{len(points)} points of {drawn.rows} draws are more than {MOST_STATES}: give fewer of either"
        )
    ports = Ports(assemble(network, drawn), source)
    unknowns = np.empty((len(points), *ports.fixed.shape))
    pushed = False
    for place, point in enumerate(follow(ports, points)):
        unknowns[place], pushed = point.unknowns, pushed or point.pushed
    rows = np.tile(np.arange(drawn.rows), len(points))
    values = np.repeat(points, drawn.rows)
    return States(network, drawn, ports, rows, values, unknowns.reshape(len(rows), -1)), pushed


def _reading(states: States, element: Element) -> ElementReading:
    name = element.name
    base = band(states.current(name, "base"), "A") if isinstance(element, Transistor) else None
    return ElementReading(
        name,
        element.kind,
        band(states.across(name), "V"),
        band(states.current(name), "A"),
        band(states.power(name), "W"),
        base,
        tuple(_over(states, element)),
    )


def _over(states: States, element: Element) -> Iterator[OverRating]:
    amounts = {"power": states.power, "current": states.current, "volts": states.across}
    units = {"power": "W", "current": "A", "volts": "V"}
    quantity: Quantity
    for quantity in ("power", "current", "volts"):
        rated = getattr(element.ratings, quantity)
        if rated is None or (isinstance(element, Capacitor) and quantity != "volts"):
            continue
        found = np.abs(amounts[quantity](element.name))
        nominal, worst = float(found[states.rows == 0].max()), float(found.max())
        if worst > rated:
            verdict: Literal["fails", "at risk"] = "fails" if nominal > rated else "at risk"
            yield OverRating(element.name, quantity, verdict, nominal, worst, rated, units[quantity])
