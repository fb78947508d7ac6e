"""A network: elements between named nodes, held against everything that can be told without solving it.

It refuses names that are none, an element twice, values that a kind cannot have, a node that no steady current can
reach, voltage sources in a loop, and what is too large. It knows nothing of equations. Raises `NetworkError`s that
name the element or the node.
"""

import math
import unicodedata
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TypeVar

from server.engineering.errors import EngineeringError
from server.engineering.network.elements import (
    Asked,
    Capacitor,
    CurrentSource,
    Diode,
    Element,
    Source,
    Switch,
    Value,
    VoltageSource,
    values_of,
)
from server.engineering.network.errors import (
    BadElementValue,
    BadNodeOrElement,
    BadSweep,
    DuplicateElement,
    FloatingNode,
    NetworkTooLarge,
    SourceLoop,
    UnknownElement,
    UnknownNode,
)
from server.engineering.propagation import Box, box
from server.engineering.showing import figure
from server.engineering.toleranced import Toleranced, convert

MOST_NODES = 60
MOST_ELEMENTS = 400
LONGEST_NAME = 40
# Draws of a measured value stay this many standard uncertainties inside what the element can be.
_TAIL = 5.0
_LEAST_SERIES = 1e-3
_KELVIN = Asked("K", 150.0, 500.0)

AnyElement = TypeVar("AnyElement", bound=Element)


@dataclass(frozen=True)
class Network:
    """Elements between nodes, all voltages against `reference`, everything at one temperature (K, or a `Toleranced`).

    Nodes are named by the elements; where `declared` is given, an element that names another is refused.
    """

    elements: tuple[Element, ...]
    reference: str = "0"
    temperature: Value = 300.0
    declared: tuple[str, ...] | None = None
    nodes: tuple[str, ...] = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "elements", tuple(self.elements))
        _check_size(self.elements)
        for element in self.elements:
            _check_element(element)
        _check_twice(self.elements)
        object.__setattr__(self, "nodes", self._nodes())
        value_box(self.temperature, _KELVIN, "The temperature", None)
        _check_loops(self.elements)
        _check_floating(self.elements, self.nodes, self.reference)

    def element(self, name: str) -> Element:
        """Raises UnknownElement."""
        for element in self.elements:
            if element.name == name:
                return element
        raise UnknownElement(f"There is no element {quoted(name)} in the network", element=name)

    def source(self, name: str) -> Source:
        """An element that can be swept. Raises UnknownElement and BadSweep."""
        element = self.element(name)
        if not isinstance(element, Source):
            raise BadSweep(
                f"{quoted(name)} is a {element.kind}: what is swept is a voltage source, a current source or a logic "
                "output",
                element=name,
            )
        return element

    def of_kind(self, kind: type[AnyElement]) -> tuple[AnyElement, ...]:
        return tuple(element for element in self.elements if isinstance(element, kind))

    def check_node(self, node: str) -> None:
        """Raises UnknownNode."""
        if node != self.reference and node not in self.nodes:
            raise UnknownNode(f"There is no node {quoted(node)} in the network", node=node)

    @property
    def notes(self) -> tuple[str, ...]:
        """What is allowed and looks like a slip: a node where only one element ends."""
        ends = Counter(end for element in self.elements for end in set(element.ends))
        alone = [node for node in self.nodes if ends[node] == 1]
        return tuple(f"Only one element ends at node {quoted(node)}: no current flows there." for node in alone)

    def _nodes(self) -> tuple[str, ...]:
        """Every node but the reference, in the order of the elements."""
        named = {end: element for element in reversed(self.elements) for end in reversed(element.ends)}
        order = tuple(dict.fromkeys(end for element in self.elements for end in element.ends))
        if self.reference not in named:
            raise UnknownNode(
                f"No element ends at {quoted(self.reference)}, the node that voltages are counted from",
                node=self.reference,
            )
        for node in order if self.declared is not None else ():
            if node != self.reference and node not in (self.declared or ()):
                raise UnknownNode(
                    f"{quoted(named[node].name)} ends at node {quoted(node)}, which is not among the network's nodes",
                    element=named[node].name,
                    node=node,
                )
        nodes = tuple(node for node in order if node != self.reference)
        if len(nodes) > MOST_NODES:
            raise NetworkTooLarge(f"The network has {len(nodes)} nodes; at most {MOST_NODES} are worked out")
        return nodes


def quoted(name: object) -> str:
    """A name to be shown in a sentence: never longer than a name may be, with nothing unprintable in it."""
    shown = "".join(letter if letter.isprintable() else "�" for letter in str(name)[:LONGEST_NAME])
    return f"“{shown}{'…' if len(str(name)) > LONGEST_NAME else ''}”"


def value_box(value: object, asked: Asked, what: str, element: str | None) -> Box:
    """A value in SI units, held against what may stand there. Raises BadElementValue."""
    if isinstance(value, bool) or not isinstance(value, int | float | Toleranced):
        raise BadElementValue(f"{what} is no number", element=element)
    try:
        given = value if isinstance(value, Toleranced) else Toleranced(value, value, value, asked.unit)
        convert(given, asked.unit)
    except EngineeringError as error:
        raise BadElementValue(f"{what}: {error.sentence}", element=element) from error
    found = box(given)
    reach = _TAIL * (found.high - found.low) / 4 if found.is_normal else 0.0
    low, high = min(found.low, found.nominal - reach), max(found.high, found.nominal + reach)
    if low < asked.least or high > asked.most or not math.isfinite(found.nominal):
        raise BadElementValue(_out_of_range(what, found.nominal, low, high, asked), element=element)
    return found


def _out_of_range(what: str, nominal: float, low: float, high: float, asked: Asked) -> str:
    within = asked.least <= nominal <= asked.most
    beyond = low if low < asked.least else high
    if math.isfinite(beyond) and math.isfinite(nominal):
        shown = f"can be {figure(beyond, asked.unit)}" if within else f"is {figure(nominal, asked.unit)}"
    else:
        shown = "is no finite number"
    least, most = (figure(end, asked.unit) if math.isfinite(end) else "any size" for end in (asked.least, asked.most))
    return f"{what} {shown}; it must lie between {least} and {most}"


def _check_size(elements: tuple[Element, ...]) -> None:
    if not elements:
        raise BadNodeOrElement("A network needs at least one element")
    if len(elements) > MOST_ELEMENTS:
        raise NetworkTooLarge(f"The network has {len(elements)} elements; at most {MOST_ELEMENTS} are worked out")


def _check_element(element: Element) -> None:
    _check_name(element.name, "An element")
    for end in element.ends:
        _check_name(end, f"A node of {quoted(element.name)}")
    if len(set(element.ends)) == 1:
        raise BadNodeOrElement(
            f"{quoted(element.name)} has all its ends at node {quoted(element.ends[0])}",
            element=element.name,
            node=element.ends[0],
        )
    for name, value, asked in values_of(element):
        value_box(value, asked, f"The {name.replace('_', ' ')} of {quoted(element.name)}", element.name)
    if isinstance(element, Diode):
        _check_series(element)
    _check_ratings(element)


def _check_series(diode: Diode) -> None:
    """A diode with an inner resistance is another network than one without."""
    asked = Asked("Ω", 0.0, math.inf)
    held = value_box(diode.series, asked, f"The series resistance of {quoted(diode.name)}", diode.name)
    if held.high > 0 and held.low < _LEAST_SERIES:
        raise BadElementValue(
            f"The series resistance of {quoted(diode.name)} can be {held.low:.3g} Ω: give 0 Ω, or at least "
            f"{_LEAST_SERIES:g} Ω over the whole tolerance",
            element=diode.name,
        )


def _check_ratings(element: Element) -> None:
    for name in ("power", "current", "volts"):
        rating = getattr(element.ratings, name)
        if rating is not None and not 0 < rating < math.inf:
            raise BadElementValue(f"The rated {name} of {quoted(element.name)} is not above 0", element=element.name)


def _check_name(name: object, whose: str) -> None:
    if not isinstance(name, str) or not name.strip():
        raise BadNodeOrElement(f"{whose} has no name")
    if len(name) > LONGEST_NAME:
        raise BadNodeOrElement(f"{whose} is named {quoted(name)}: a name has at most {LONGEST_NAME} letters")
    if name != name.strip() or not name.isprintable() or unicodedata.normalize("NFC", name) != name:
        raise BadNodeOrElement(f"{whose} is named {quoted(name)}, with letters that cannot be seen or spaces round it")


def _check_twice(elements: tuple[Element, ...]) -> None:
    for name, count in Counter(element.name for element in elements).items():
        if count > 1:
            raise DuplicateElement(f"There are {count} elements named {quoted(name)}", element=name)


class _Groups:
    """Nodes that hang together."""

    def __init__(self) -> None:
        self._above: dict[str, str] = {}

    def top(self, node: str) -> str:
        while node in self._above:
            node = self._above[node]
        return node

    def join(self, first: str, second: str) -> bool:
        """Whether that joined anything that did not hang together before."""
        a, b = self.top(first), self.top(second)
        if a != b:
            self._above[a] = b
        return a != b


def _check_loops(elements: tuple[Element, ...]) -> None:
    groups = _Groups()
    before: list[VoltageSource] = []
    for source in (element for element in elements if isinstance(element, VoltageSource)):
        if not groups.join(source.plus, source.minus):
            others = _loop(before, source)
            raise SourceLoop(
                f"{quoted(source.name)} closes a loop of voltage sources with {' and '.join(map(quoted, others))}, "
                f"between nodes {quoted(source.plus)} and {quoted(source.minus)}: they disagree, or share their "
                "current in a way that nobody can know. Give one of them its inner resistance.",
                element=source.name,
                node=source.plus,
            )
        before.append(source)


def _loop(sources: list[VoltageSource], closing: VoltageSource) -> list[str]:
    """The sources on the way between the ends of the one that closes the loop: those that it cannot do without."""
    needed = list(sources)
    for source in sources:
        rest = [other for other in needed if other is not source]
        groups = _Groups()
        for other in rest:
            groups.join(other.plus, other.minus)
        if groups.top(closing.plus) == groups.top(closing.minus):
            needed = rest
    return [source.name for source in needed]


def _check_floating(elements: tuple[Element, ...], nodes: Iterable[str], reference: str) -> None:
    groups = _Groups()
    for element in elements:
        if _carries(element):
            for end in element.ends[1:]:
                groups.join(element.ends[0], end)
    for node in nodes:
        if groups.top(node) != groups.top(reference):
            at = [element.name for element in elements if node in element.ends]
            raise FloatingNode(
                f"Node {quoted(node)} floats: no steady current can flow between it and {quoted(reference)}, only "
                f"{', '.join(map(quoted, at[:4]))} {'end' if len(at) > 1 else 'ends'} there",
                node=node,
                element=at[0],
            )


def _carries(element: Element) -> bool:
    if isinstance(element, Switch):
        return element.closed
    return not isinstance(element, Capacitor | CurrentSource)
