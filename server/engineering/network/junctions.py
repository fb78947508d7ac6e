"""The currents of junctions, many at once: Shockley's law, a Zener's breakdown, and both over temperature.

For a junction voltage v in V, with w = n k T/q:

    i = Is (exp(v/w) - 1)        and for a Zener diode, with u = -v:   i -= (knee/slope) ln(1 + exp((u - V0)/knee))

The breakdown is a straight line of the given slope above V0 and dies away as exp((u - V0)/knee) below it; V0 follows
from the voltage and current it is specified at. Saturation currents move with the absolute temperature as

    Is(T) = Is(300 K) (T/300 K)^(3/n) exp((gap/n) (1/w0 - 1/wT))        with w0, wT = k 300 K/q, k T/q

Arrays have a shape (draws, junctions) or (states, junctions); voltages in V, currents in A, conductances in S. Nothing
is raised: past all reason, from 10 kA on, the exponential goes on as its tangent.

Sources: W. Shockley, Bell Syst. Tech. J. 28 (1949) 435; the temperature law as in P. Antognetti, G. Massobrio,
Semiconductor Device Modeling (1988), 1.4; the limit on steps after L. W. Nagel, Memorandum ERL-M520, University of
California, Berkeley (1975), all three from memory. k and q: SI Brochure, 9th edition (2019), 2.3.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Places = NDArray[np.intp]
Rows = Places | slice

REFERENCE_KELVIN = 300.0
VOLTS_PER_KELVIN = 1.380649e-23 / 1.602176634e-19
_MOST_AMPERES = 1e4


@dataclass(frozen=True)
class Junctions:
    """The laws of p junctions, an array of shape (draws, p) each; the breakdowns of those in `zeners`, (draws, z)."""

    saturation: Array
    width: Array
    zeners: Places
    onset: Array
    slope: Array
    knee: Array

    def take(self, rows: Rows) -> "Junctions":
        """The laws of some draws, in that order."""
        return Junctions(
            self.saturation[rows],
            self.width[rows],
            self.zeners,
            self.onset[rows],
            self.slope[rows],
            self.knee[rows],
        )

    def currents(self, volts: Array) -> tuple[Array, Array]:
        """Currents and their derivatives by the junction's voltage."""
        over = volts / self.width
        within = np.minimum(over, np.log(_MOST_AMPERES / self.saturation))
        steep = self.saturation * np.exp(within)
        current = steep * (1 + over - within) - self.saturation
        slope = steep / self.width
        if self.zeners.size:
            beyond = (-volts[:, self.zeners] - self.onset) / self.knee
            current[:, self.zeners] -= self.knee / self.slope * np.logaddexp(0.0, beyond)
            slope[:, self.zeners] += 1 / (1 + np.exp(np.minimum(-beyond, 700.0))) / self.slope
        return current, slope

    def unlimited(self, volts: Array) -> NDArray[np.bool_]:
        """Where a junction's current goes past all reason."""
        return np.asarray(self.currents(volts)[0] > _MOST_AMPERES / 10)

    def limited(self, new: Array, old: Array) -> Array:
        """The new voltages, their steps into conduction taken in current rather than in voltage.

        Beyond the bend of the law, where a volt more would be e^40 times the current, a step of x widths becomes one of
        ln(1 + x).
        """
        width = self.width
        bend = width * np.log(width / (np.sqrt(2) * self.saturation))
        new = np.minimum(new, width * np.log(_MOST_AMPERES / self.saturation))
        far = (new > bend) & (np.abs(new - old) > 2 * width)
        if not far.any():
            return new
        ratio = 1 + (new - old) / width
        onward = np.where(ratio > 0, old + width * np.log(np.maximum(ratio, 1e-300)), bend)
        fresh = width * np.log(np.maximum(new / width, 1.0))
        return np.where(far, np.where(old > 0, onward, fresh), new)


def saturation_at(saturation: Array, ideality: Array, gap: float, kelvin: Array) -> Array:
    """The saturation current at a temperature, from the one at 300 K."""
    inverse = 1 / (VOLTS_PER_KELVIN * REFERENCE_KELVIN) - 1 / (VOLTS_PER_KELVIN * kelvin)
    return np.asarray(saturation * (kelvin / REFERENCE_KELVIN) ** (3 / ideality) * np.exp(gap / ideality * inverse))


def saturation_of_drop(drop: Array, current: float, ideality: Array) -> Array:
    """The saturation current at 300 K of a junction that drops so many volts at a current."""
    return np.asarray(current / np.expm1(drop / (ideality * VOLTS_PER_KELVIN * REFERENCE_KELVIN)))


def onset_of(volts: Array, current: float, slope: Array, knee: Array) -> Array:
    """Where the straight part of a breakdown begins, from its voltage at a current: u = volts gives i = current."""
    reach = current * slope / knee
    return np.asarray(volts - knee * (reach + np.log(-np.expm1(-reach))))
