"""The values of a network's elements, nominal and drawn: row 0 holds the nominal values, each further row one draw.

Draws are `propagation.py`'s (JCGM 101:2008, 6.4), each value's stream named after the element and the field. So that
a value that is drawn twice is the same twice, and one element's luck does not hang on its neighbours.
"""

from uuid import UUID

import numpy as np

from server.engineering.network.elements import Element, Value, values_of
from server.engineering.network.errors import NetworkTooLarge
from server.engineering.network.junctions import Array
from server.engineering.network.networks import Network
from server.engineering.propagation import box, draw
from server.engineering.toleranced import Toleranced

MOST_DRAWS = 20_000


class DrawnValues:
    """Draws of every value of a network, in SI units, arrays of shape (1 + draws,).

    Where no value has a tolerance, `draws` is 0 whatever was asked. Raises NetworkTooLarge.
    """

    def __init__(self, network: Network, draws: int, seed: UUID | int, others: tuple[Value, ...] = ()) -> None:
        if not 0 <= draws <= MOST_DRAWS:
            raise NetworkTooLarge(f"{draws} draws are asked for; from 0 to {MOST_DRAWS} are made")
        values = [value for element in network.elements for _, value, _ in values_of(element)]
        varies = any(
            isinstance(value, Toleranced) and not value.is_exact for value in (*values, network.temperature, *others)
        )
        self.draws = draws if varies else 0
        self.seed = seed
        self._fields: dict[tuple[str, str], Array] = {}
        self.kelvin = self.of("the temperature", network.temperature)

    @property
    def rows(self) -> int:
        return 1 + self.draws

    def of(self, name: str, value: Value) -> Array:
        """The nominal and the draws of a value that goes by this name."""
        if not isinstance(value, Toleranced):
            return np.full(self.rows, float(value))
        limits = box(value)
        drawn = np.full(self.rows, limits.nominal)
        if limits.varies:
            drawn[1:] = draw(name, limits, self.draws, self.seed)
        return drawn

    def field(self, element: Element, name: str) -> Array:
        """The nominal and the draws of an element's value; drawn once, because a search asks for it at every state."""
        key = (element.name, name)
        if key not in self._fields:
            drawn = self.of(f"{element.name} {name}", getattr(element, name))
            drawn.setflags(write=False)
            self._fields[key] = drawn
        return self._fields[key]
