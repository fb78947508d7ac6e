"""How a rail falls after switch-off, and when it is at which voltage, for all draws abreast.

With V0 the voltage at switch-off, C the capacitance that holds the rail up, t in s from switch-off:

    into a resistor R, or any exponential of time constant tau      t = tau ln((V0 - rest)/(V - rest)),  tau = R C
    into a steady current I                                         t = C (V0 - V)/I
    into a steady power P (a switching regulator)                   t = C (V0² - V²)/(2 P)

All from C dV/dt = -I. A voltage at or above V0 is passed at once (0 s), one that is never reached gives infinity. All
values plain, in V, s, Ω, F, A, W, or `Toleranced`. Raises BadElementValue.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields

import numpy as np

from server.engineering.decays import Decay
from server.engineering.network.elements import Asked, Value
from server.engineering.network.errors import BadElementValue
from server.engineering.network.junctions import Array
from server.engineering.network.networks import value_box
from server.engineering.propagation import box
from server.engineering.toleranced import Toleranced

_LEAST, _MOST = 1e-15, 1e12
_UNITS = {
    "start": "V",
    "rest": "V",
    "tau": "s",
    "resistance": "Ω",
    "capacitance": "F",
    "current": "A",
    "power": "W",
}
Drawn = Callable[[str, Value], Array]


@dataclass(frozen=True)
class Fall:
    """A rail that starts to fall from `start` V."""

    start: Value

    def check(self) -> None:
        """Raises BadElementValue for what is no such value, not above 0 where it must be, or no fall at all."""
        for item in fields(self):
            least = -_MOST if _UNITS[item.name] == "V" else _LEAST
            asked = Asked(_UNITS[item.name], least, _MOST)
            value_box(getattr(self, item.name), asked, f"The {item.name} of the fall", None)
        if _lowest(self.start) <= self.settles_at:
            raise BadElementValue(
                f"The rail starts at {_lowest(self.start):.4g} V and comes to rest at {self.settles_at:.4g} V: it does "
                "not fall. Of a negative rail give the volts without their sign, and turn the whole network round"
            )

    @property
    def settles_at(self) -> float:
        """The highest voltage, in V, at which it may come to rest."""
        return 0.0

    @property
    def highest_start(self) -> float:
        """The highest voltage, in V, at which it may start."""
        return _highest(self.start)

    @property
    def varies(self) -> bool:
        values = [getattr(self, item.name) for item in fields(self)]
        return any(isinstance(value, Toleranced) and not value.is_exact for value in values)

    def seconds_to(self, volts: Array, drawn: Drawn) -> Array:
        """When the rail is down to these volts, (rows,), each by its own draw of the fall."""
        values = {item.name: drawn(f"the {item.name} of the fall", getattr(self, item.name)) for item in fields(self)}
        with np.errstate(divide="ignore", invalid="ignore"):
            time = self._time(volts, values)
        return np.where(np.isnan(volts), np.nan, np.where(volts >= values["start"], 0.0, time))

    def _time(self, volts: Array, values: dict[str, Array]) -> Array:
        raise NotImplementedError


@dataclass(frozen=True)
class ExponentialFall(Fall):
    """With a time constant, towards `rest`."""

    tau: Value
    rest: Value = 0.0

    @property
    def settles_at(self) -> float:
        """At its rest."""
        return _highest(self.rest)

    def _time(self, volts: Array, values: dict[str, Array]) -> Array:
        return _exponential(volts, values["start"], values["rest"], values["tau"])


@dataclass(frozen=True)
class ResistorFall(Fall):
    """Of a capacitance into a resistor."""

    resistance: Value
    capacitance: Value
    rest: Value = 0.0

    @property
    def settles_at(self) -> float:
        """At its rest."""
        return _highest(self.rest)

    def _time(self, volts: Array, values: dict[str, Array]) -> Array:
        tau = values["resistance"] * values["capacitance"]
        return _exponential(volts, values["start"], values["rest"], tau)


@dataclass(frozen=True)
class SteadyCurrentFall(Fall):
    """Of a capacitance into a load of the same current at any voltage."""

    capacitance: Value
    current: Value

    def _time(self, volts: Array, values: dict[str, Array]) -> Array:
        return np.asarray(values["capacitance"] * (values["start"] - volts) / values["current"])


@dataclass(frozen=True)
class SteadyPowerFall(Fall):
    """Of a capacitance into a load of the same power at any voltage, as far as the rail stays above 0 V."""

    capacitance: Value
    power: Value

    def _time(self, volts: Array, values: dict[str, Array]) -> Array:
        energy = values["capacitance"] * (values["start"] ** 2 - volts**2) / 2
        return np.where(volts >= 0, energy / values["power"], np.inf)


def fall_of(decay: "Fall | Decay") -> Fall:
    """A fall as it is, or the one that was fitted to a capture, which it takes to begin at the fit's start."""
    if isinstance(decay, Fall):
        return decay
    return ExponentialFall(decay.start_volts, decay.tau, decay.end_volts)


def _lowest(value: Value) -> float:
    return box(value).low if isinstance(value, Toleranced) else float(value)


def _highest(value: Value) -> float:
    return box(value).high if isinstance(value, Toleranced) else float(value)


def _exponential(volts: Array, start: Array, rest: Array, tau: Array) -> Array:
    return np.where(volts > rest, tau * np.log((start - rest) / (volts - rest)), np.inf)
