"""What can be read from solved states: voltages at nodes and across elements, currents, powers.

Signs are those of `elements.py`: a current flows from an element's first node to its second, a power is taken up. All
in V, A, W; arrays of shape (states,). Raises UnknownNode and UnknownElement.
"""

from functools import cached_property
from typing import Literal

import numpy as np

from server.engineering.network.drawn_values import DrawnValues
from server.engineering.network.elements import Element, Transistor
from server.engineering.network.equations import LEAK
from server.engineering.network.errors import UnknownElement
from server.engineering.network.junctions import Array, Rows
from server.engineering.network.networks import Network, quoted
from server.engineering.network.ports import Flows, Ports

Terminal = Literal["collector", "base", "emitter"]


class States:
    """Solved states of a network: draws `rows`, source values, unknowns of shape (states, n + m)."""

    def __init__(
        self, network: Network, drawn: DrawnValues, ports: Ports, rows: Rows, values: Array, unknowns: Array
    ) -> None:
        self.network, self.drawn, self.ports = network, drawn, ports
        self.rows, self.values, self.unknowns = rows, values, unknowns

    @cached_property
    def _flows(self) -> Flows:
        return self.ports.flows(self.rows, self.values, self.unknowns)

    def volts(self, node: str) -> Array:
        """A node against the reference."""
        self.network.check_node(node)
        if node == self.network.reference:
            return np.zeros(len(self.values))
        return self.unknowns[:, self.ports.equations.places.nodes[node]]

    def across(self, name: str) -> Array:
        """An element's first node against its second; of a transistor, its collector against its emitter."""
        ends = self.network.element(name).ends
        return self.volts(ends[0]) - self.volts(ends[-1])

    def current(self, name: str, terminal: Terminal | None = None) -> Array:
        """An element's current; a transistor's collector's unless another is asked for, positive as it conducts."""
        element, places, flows = self.network.element(name), self.ports.equations.places, self._flows
        if isinstance(element, Transistor):
            return self._terminal(element, terminal or "collector")
        if terminal is not None:
            raise UnknownElement(f"{quoted(name)} is a {element.kind} and has no {terminal}", element=name)
        for kind, currents in (("arms", flows.arms), ("held", flows.held), ("drives", flows.drives)):
            place = getattr(places, kind).get(name)
            if place is not None:
                return np.asarray(currents[:, place])
        place = places.junctions.get(name)
        if place is not None:
            return np.asarray(flows.junctions[:, place] + LEAK * flows.across[:, place])
        return np.zeros(len(self.values))

    def power(self, name: str) -> Array:
        """What an element takes up."""
        element = self.network.element(name)
        heat = self.across(name) * self.current(name)
        if not isinstance(element, Transistor):
            return np.asarray(heat)
        drive = (self.volts(element.base) - self.volts(element.emitter)) * self._terminal(element, "base")
        return np.asarray(element.polarity * (heat + drive))

    def _terminal(self, transistor: Transistor, terminal: Terminal) -> Array:
        place = self.ports.equations.places.junctions[transistor.name]
        onward, back = self._flows.junctions[:, place], self._flows.junctions[:, place + 1]
        gain, reverse = self._gain(transistor, "gain"), self._gain(transistor, "reverse_gain")
        leaks = LEAK * self._flows.across[:, place], LEAK * self._flows.across[:, place + 1]
        collector = onward - back - back / reverse - leaks[1]
        base = onward / gain + back / reverse + leaks[0] + leaks[1]
        return np.asarray({"collector": collector, "base": base, "emitter": collector + base}[terminal])

    def _gain(self, transistor: Element, field: str) -> Array:
        return self.drawn.field(transistor, field)[self.rows]
