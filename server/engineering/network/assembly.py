"""From a network and its drawn values to the matrices of `equations.py`, element by element.

It knows nothing of how they are solved. Raises BadElementValue for a junction that no double can hold; for the rest,
`networks.py` has.
"""

import numpy as np

from server.engineering.network.drawn_values import DrawnValues
from server.engineering.network.elements import (
    CurrentSource,
    Diode,
    Element,
    Junctioned,
    LogicOutput,
    Resistor,
    Switch,
    Transistor,
    VoltageSource,
    Zener,
)
from server.engineering.network.equations import LEAK, Equations, Places
from server.engineering.network.errors import BadElementValue
from server.engineering.network.junctions import (
    VOLTS_PER_KELVIN,
    Array,
    Junctions,
    onset_of,
    saturation_at,
    saturation_of_drop,
)
from server.engineering.network.networks import Network, quoted

_LEAST_SATURATION = 1e-300


def assemble(network: Network, values: DrawnValues) -> Equations:
    """The equations of a network for its nominal values and every draw."""
    build = _Build(network, values)
    for element in network.elements:
        build.add(element)
    return build.equations()


class _Build:
    """Rows gathered one element after another."""

    def __init__(self, network: Network, values: DrawnValues) -> None:
        self.values = values
        inner = [_inside(diode) for diode in network.of_kind(Diode) if self._series(diode) is not None]
        self.nodes = {name: place for place, name in enumerate((*network.nodes, *inner))}
        self.places = Places(self.nodes, {}, {}, {}, {})
        self.ties: list[Array] = []
        self.conductances: list[Array] = []
        self.emfs: list[Array] = []
        self.held: list[Array] = []
        self.volts: list[Array] = []
        self.driven: list[Array] = []
        self.amperes: list[Array] = []
        self.taps: list[Array] = []
        self.takes: list[Array] = []
        self.laws: list[tuple[Array, Array]] = []
        self.breakdowns: list[tuple[int, Array, Array, Array]] = []

    def add(self, element: Element) -> None:
        if isinstance(element, Resistor) or (isinstance(element, Switch) and element.closed):
            self._arm(element.name, self._between(*element.ends), 1 / self.values.field(element, "resistance"))
        elif isinstance(element, LogicOutput):
            conductance = 1 / self.values.field(element, "resistance")
            level = self.values.field(element, "level")
            self._arm(element.name, self._between(*element.ends), conductance, level)
        elif isinstance(element, VoltageSource):
            self.places.held[element.name] = len(self.held)
            self.held.append(self._between(*element.ends))
            self.volts.append(self.values.field(element, "volts"))
        elif isinstance(element, CurrentSource):
            self.places.drives[element.name] = len(self.driven)
            self.driven.append(self._between(*element.ends))
            self.amperes.append(self.values.field(element, "amperes"))
        elif isinstance(element, Diode | Zener):
            self._diode(element)
        elif isinstance(element, Transistor):
            self._transistor(element)

    def equations(self) -> Equations:
        rows, nodes = self.values.rows, len(self.nodes)
        zeners, onset, slope, knee = [list(column) for column in zip(*self.breakdowns, strict=True)] or [[]] * 4
        law = Junctions(
            _columns([saturation for saturation, _ in self.laws], rows),
            _columns([width for _, width in self.laws], rows),
            np.array(zeners, dtype=np.intp),
            _columns(onset, rows),
            _columns(slope, rows),
            _columns(knee, rows),
        )
        takes = np.stack(self.takes, axis=2) if self.takes else np.zeros((rows, nodes, 0))
        return Equations(
            places=self.places,
            ties=_rows(self.ties, nodes),
            conductance=_columns(self.conductances, rows),
            emf=_columns(self.emfs, rows),
            held=_rows(self.held, nodes),
            volts=_columns(self.volts, rows),
            driven=_rows(self.driven, nodes),
            amperes=_columns(self.amperes, rows),
            taps=_rows(self.taps, nodes),
            takes=takes,
            junctions=law,
        )

    def _between(self, first: str, second: str) -> Array:
        """1 at the first node, -1 at the second, nothing at the reference."""
        tie = np.zeros(len(self.nodes))
        if first in self.nodes:
            tie[self.nodes[first]] = 1.0
        if second in self.nodes:
            tie[self.nodes[second]] = -1.0
        return tie

    def _arm(self, name: str | None, tie: Array, conductance: Array, emf: Array | None = None) -> None:
        if name is not None:
            self.places.arms[name] = len(self.ties)
        self.ties.append(tie)
        self.conductances.append(conductance)
        self.emfs.append(np.zeros(self.values.rows) if emf is None else emf)

    def _diode(self, diode: Diode | Zener) -> None:
        anode = diode.anode
        series = self._series(diode) if isinstance(diode, Diode) else None
        if series is not None:
            anode = _inside(diode)
            self._arm(None, self._between(diode.anode, anode), 1 / series)
        tie = self._between(anode, diode.cathode)
        if isinstance(diode, Zener):
            self._breakdown(diode)
        self._junction(diode, tie, np.tile(tie, (self.values.rows, 1)), self.values.field(diode, "ideality"))

    def _breakdown(self, zener: Zener) -> None:
        slope, knee = self.values.field(zener, "slope"), np.full(self.values.rows, zener.knee)
        onset = onset_of(self.values.field(zener, "volts"), zener.at, slope, knee)
        self.breakdowns.append((len(self.taps), onset, slope, knee))

    def _transistor(self, transistor: Transistor) -> None:
        gain = self.values.field(transistor, "gain")[:, None]
        reverse = self.values.field(transistor, "reverse_gain")[:, None]
        sign = transistor.polarity
        c, b, e = transistor.collector, transistor.base, transistor.emitter
        through, back = sign * self._between(c, e), sign * self._between(b, c)
        onward = sign * self._between(b, e)
        ideality = np.ones(self.values.rows)
        self._junction(transistor, onward, through + onward / gain, ideality)
        self._junction(transistor, back, back / reverse - through, ideality)

    def _junction(self, element: Junctioned, tap: Array, takes: Array, ideality: Array) -> None:
        self.places.junctions.setdefault(element.name, len(self.taps))
        kelvin = self.values.kelvin
        with np.errstate(over="ignore", under="ignore", divide="ignore", invalid="ignore"):
            saturation = saturation_at(self._saturation(element, ideality), ideality, element.gap, kelvin)
        if not (np.isfinite(saturation) & (saturation > _LEAST_SATURATION)).all():
            raise BadElementValue(
                f"{quoted(element.name)} drops so much that no current is left to reckon with: no single junction "
                "does. Give it a higher emission coefficient, or put several diodes in series",
                element=element.name,
            )
        self.laws.append((saturation, ideality * VOLTS_PER_KELVIN * kelvin))
        self.taps.append(tap)
        self.takes.append(takes)
        self._arm(None, tap, np.full(self.values.rows, LEAK))

    def _saturation(self, element: Junctioned, ideality: Array) -> Array:
        if element.saturation is not None:
            return self.values.field(element, "saturation")
        return saturation_of_drop(self.values.field(element, "drop"), element.drop_at, ideality)

    def _series(self, diode: Diode) -> Array | None:
        series = self.values.field(diode, "series")
        return series if series.any() else None


def _inside(diode: Diode | Zener) -> str:
    """A node's name that no keeper can give."""
    return f"\0{diode.name}"


def _rows(rows: list[Array], width: int) -> Array:
    return np.array(rows) if rows else np.zeros((0, width))


def _columns(columns: list[Array], length: int) -> Array:
    return np.stack(columns, axis=1) if columns else np.zeros((length, 0))
