"""Samples of pins between the weak and strong ends of their tables, solved on their own; it holds no test of its own.

A sample is a curve of current over voltage without steps, written out here from the tables' figures and not with the
code under test: `numpy.interp` through the promised points, more at random, but kept under the strong end. Nodes are
found with scipy's brentq.
"""

from collections.abc import Callable, Sequence
from random import Random

import numpy as np
from scipy.optimize import brentq

from server.engineering.logic import Output, Pull, Receiver
from server.engineering.quantities import Toleranced

Delivers = Callable[[float], float]
# Promised points (V from the rail, A) and the greatest short-circuit current (A at 5.25 V) or none, as printed.
LOW = {
    "74": [(0.4, 0.016)],
    "74LS": [(0.4, 0.004), (0.5, 0.008)],
    "8255A port": [(0.45, 0.0017)],
    "74HC": [(0.33, 0.004)],
}
HIGH = {
    "74": ([(2.35, 0.0004), (5.25, 0.018)], 0.055),
    "74LS": ([(2.05, 0.0004), (5.25, 0.020)], 0.100),
    "8255A port": ([(2.35, 0.0002)], None),
    "74HC": ([(0.66, 0.004)], None),
}
INPUTS = {"74": (0.0016, 40e-6), "74LS": (0.0004, 20e-6), "8255A port": (10e-6, 10e-6), "74HC": (1e-6, 1e-6)}


def inside(value: Toleranced, dice: Random) -> float:
    """A value inside its limits, often one of them."""
    return dice.choice([value.low, value.high, dice.uniform(value.low, value.high)])


def driving(output: Output, dice: Random) -> tuple[Delivers, float, float | None]:
    """What a sample delivers from its pin at the pin's voltage, its series resistance, and its supply if it is high."""
    kind, low = output.chip.kind, output.drive == "low"
    points, most = (LOW[kind], None) if low else HIGH[kind]
    extra = dice.choice([0.0, dice.uniform(0, 0.02), dice.uniform(0, 0.5)])
    ceiling = np.inf if most is None else most / 5.25
    places, amps = [0.0, *(x for x, _ in points)], [0.0, *(i for _, i in points)]

    def drive(drop: float) -> float:
        drop = max(drop, 0.0)
        return float(min(np.interp(drop, places, amps) + extra * drop, ceiling * drop))

    ohms = inside(output.series, dice) if output.series else 0.0
    if low:
        return lambda pin: -drive(pin), ohms, None
    supply = inside(output.chip.supply, dice)
    return lambda pin: drive(supply - pin), ohms, supply


def through(delivers: Delivers, ohms: float) -> Delivers:
    """Seen from the node behind a resistor: the pin stands where both currents agree."""
    if ohms == 0:
        return delivers
    return lambda node: float(
        (brentq(lambda pin: delivers(pin) - (pin - node) / ohms, -50, 50, xtol=1e-14, rtol=1e-14) - node) / ohms
    )


def pulling(pull: Pull, dice: Random) -> tuple[Delivers, float]:
    ohms, level = inside(pull.ohms, dice), inside(pull.level, dice)
    return lambda node: (level - node) / ohms, ohms


def listening(receiver: Receiver, dice: Random) -> Delivers:
    """Out of the pin when low, into it when high, in between on a straight line."""
    out, into = INPUTS[receiver.chip.kind]
    share = dice.choice([0.0, 1.0, dice.random()])
    return lambda node: float(np.interp(node, [0.8, 2.0], [share * out, -share * into]))


def stands(things: Sequence[Delivers], top: float) -> float:
    """Where the node of one set of samples stands, from 0 to `top` V."""

    def balance(node: float) -> float:
        return sum(thing(node) for thing in things)

    if balance(0.0) <= 0:
        return 0.0
    if balance(top) >= 0:
        return top
    return float(brentq(balance, 0.0, top, xtol=1e-14, rtol=1e-14))
