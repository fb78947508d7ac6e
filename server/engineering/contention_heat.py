"""Heat where outputs meet: bounds in W of what a pin and a resistor turn into heat.

    output:    P = x I        x from pin to ground when low, from supply to pin when high; I the pin's current
    resistor:  P = I² R

Every sample's x and I lie between the pin's weak and strong curve and between the others' soft and hard pull against
it. In that field P grows with both, so it is greatest somewhere on the others' hardest line between the pin's strong
and weak samples (a parabola over each straight piece), and least at a knot of their softest line. A resistor's
bounds are outer ones: greatest current, greatest resistance. Volts, amperes, ohms.
"""

from collections.abc import Sequence
from itertools import pairwise

from server.engineering.balance import Curve, Unbounded, delivered, total
from server.engineering.contention_result import Range
from server.engineering.logic_pins import Output, at_rail, strong, weak
from server.engineering.quantities import Toleranced


def output_heat(output: Output, others_least: Sequence[Curve], others_most: Sequence[Curve], top: float) -> Range:
    """The heat in a pin that drives, against the bounds of all else on the node; the node lies from 0 to `top` V."""
    supply, ohms = output.chip.supply, output.series
    low = output.pulls_to == "ground"
    hard, soft = (others_most, others_least) if low else (others_least, others_most)
    try:
        most = _greatest(
            _line(output, None if low else supply.high, ohms.low if ohms else 0.0, hard, top),
            None if low else supply.high,
            ohms.low if ohms else 0.0,
        )
    except Unbounded:
        most = None
    far = ohms.high if ohms else 0.0
    rail = None if low else supply.low
    least = min(_power(point, rail, far) for point in _line(output, rail, far, soft, top))
    return Range(max(least, 0.0), most, "W")


def resistor_heat(current: Range, ohms: Toleranced) -> Range:
    """Outer bounds for a current in A, of either sign, through a resistance in Ω."""
    if current.high is None:
        return Range(current.low**2 * ohms.low, None, "W")
    smaller, larger = sorted((abs(current.low), abs(current.high)))
    least = 0.0 if current.low < 0 < current.high else smaller
    return Range(least**2 * ohms.low, larger**2 * ohms.high, "W")


def _line(
    output: Output, rail: float | None, ohms: float, others: Sequence[Curve], top: float
) -> list[tuple[float, float]]:
    """The others' line from the pin's strong to its weak sample: its knots as node volts and amperes delivered."""
    ends = [
        delivered(at_rail(sample, rail).behind(ohms), others, 0.0, top, most=rail is not None)
        for sample in (strong(output), weak(output, promised=True))
    ]
    first, last = sorted(volts for volts, _ in ends)
    inside = {volts for curve in others for volts, _ in curve.knots if first < volts < last}
    steps = [(volts, 0.0 - amps) for volts in inside for amps in total(others, volts)]
    return sorted([*ends, *steps])


def _power(point: tuple[float, float], rail: float | None, ohms: float) -> float:
    """Heat in the pin, its series resistor apart, for a node voltage and a current delivered into the node."""
    volts, amps = point
    pin = volts + amps * ohms
    return -pin * amps if rail is None else (rail - pin) * amps


def _greatest(line: Sequence[tuple[float, float]], rail: float | None, ohms: float) -> float:
    powers = [_power(point, rail, ohms) for point in line]
    for left, right in pairwise(line):
        middle = ((left[0] + right[0]) / 2, (left[1] + right[1]) / 2)
        powers.append(_peak(*(_power(point, rail, ohms) for point in (left, middle, right))))
    return max(powers)


def _peak(start: float, middle: float, end: float) -> float:
    """The top of the parabola through three evenly spaced values, if it lies between them."""
    bend = 2 * (start + end - 2 * middle)
    slope = 4 * middle - 3 * start - end
    share = -slope / (2 * bend) if bend < 0 else -1.0
    return start + slope * share + bend * share**2 if 0 < share < 1 else max(start, end)
