"""Where the currents into one node balance: what hangs on it as bent lines of current over voltage.

A `Curve` is the current that something delivers into the node, in A, over the node's voltage, in V: straight pieces
that never rise, steps allowed, so that every sum of curves passes zero once. The node stands where

    sum of curve(V) = 0          (Kirchhoff's current law)

and since the pieces are straight the place is found exactly, by linear interpolation between two knots. An ideal rail
is a step without end (`before` or `after` infinite). Curves know nothing of chips.

Bounds. If a thing's true curve lies between its `least` and its `most` curve, the node lies between the balance of
all `least` and that of all `most`; one thing's current lies between (own least, all others' most) and the reverse.
Raises `Unbounded` where two ideal rails meet with nothing between them.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from server.engineering.errors import EngineeringError


class Unbounded(EngineeringError):
    """Two rails without a figure for what limits them: the current between them has no bound."""


@dataclass(frozen=True, slots=True)
class Curve:
    """Knots (V, A) with voltages that do not fall and currents that do not rise; conductances in S outside them."""

    knots: tuple[tuple[float, float], ...]
    before: float = 0.0
    after: float = 0.0

    def at(self, volts: float) -> tuple[float, float]:
        """Least and most current at a voltage; they differ on a step."""
        first, last = self.knots[0], self.knots[-1]
        here = [amps for v, amps in self.knots if v == volts]
        if volts < first[0]:
            most = least = _beyond(first, self.before, volts)
        elif volts > last[0]:
            most = least = _beyond(last, self.after, volts)
        elif not here:
            most = least = self._between(volts)
        else:
            most = math.inf if volts == first[0] and math.isinf(self.before) else max(here)
            least = -math.inf if volts == last[0] and math.isinf(self.after) else min(here)
        return least, most

    def behind(self, ohms: float) -> "Curve":
        """The same thing seen through a resistor in series."""
        if ohms == 0:
            return self
        return Curve(
            tuple((volts - amps * ohms, amps) for volts, amps in self.knots),
            _through(self.before, ohms),
            _through(self.after, ohms),
        )

    def _between(self, volts: float) -> float:
        pairs = zip(self.knots, self.knots[1:], strict=False)
        (v0, a0), (v1, a1) = next((p, q) for p, q in pairs if p[0] < volts < q[0])
        return a0 + (a1 - a0) * ((volts - v0) / (v1 - v0))


def total(curves: Iterable[Curve], volts: float) -> tuple[float, float]:
    """Least and most of the sum of curves at a voltage. Raises `Unbounded` where infinite currents oppose."""
    pairs = [curve.at(volts) for curve in curves]
    return _sum(least for least, _ in pairs), _sum(most for _, most in pairs)


def balances(curves: Sequence[Curve], low: float, high: float) -> tuple[float, float]:
    """The lowest and highest voltage from `low` to `high` at which the curves sum to zero; the same but for a node that
    nothing holds. A balance outside comes back as the nearer end. Raises `Unbounded`.
    """
    inside = {volts for curve in curves for volts, _ in curve.knots if low < volts < high}
    places = [(volts, *total(curves, volts)) for volts in sorted({low, high, *inside})]
    return _first(places), _last(places)


def delivered(own: Curve, others: Sequence[Curve], low: float, high: float, *, most: bool) -> tuple[float, float]:
    """Node voltage and the current that `own` delivers there; on a step shared with others, its most or its least.

    Raises `Unbounded`.
    """
    volts = balances([own, *others], low, high)[0]
    own_least, own_most = own.at(volts)
    others_least, others_most = total(others, volts)
    least, highest = max(own_least, -others_most), min(own_most, -others_least)
    if least > highest:  # rounding on a sloping piece, or a node that is stopped at the end of its window
        return volts, min(max(-others_most, own_least), own_most)
    chosen = highest if most else least
    if math.isinf(chosen):
        raise Unbounded("Two rails meet and there is no figure for what limits the current between them")
    return volts, chosen


def _first(places: Sequence[tuple[float, float, float]]) -> float:
    before: tuple[float, float] | None = None
    for volts, least, most in places:
        if least <= 0:
            return volts if most >= 0 or before is None else _zero(before, (volts, most))
        before = (volts, least)
    return places[-1][0]


def _last(places: Sequence[tuple[float, float, float]]) -> float:
    after: tuple[float, float] | None = None
    for volts, least, most in reversed(places):
        if most >= 0:
            return volts if least <= 0 or after is None else _zero((volts, least), after)
        after = (volts, most)
    return places[0][0]


def _zero(left: tuple[float, float], right: tuple[float, float]) -> float:
    share = left[1] / (left[1] - right[1])
    return left[0] + (right[0] - left[0]) * share


def _beyond(knot: tuple[float, float], conductance: float, volts: float) -> float:
    return knot[1] if conductance == 0 else knot[1] - conductance * (volts - knot[0])


def _through(conductance: float, ohms: float) -> float:
    return 1 / ohms if math.isinf(conductance) else conductance / (1 + conductance * ohms)


def _sum(currents: Iterable[float]) -> float:
    """Exactly rounded, so that the order of what hangs on the node makes no difference."""
    try:
        return math.fsum(currents)
    except ValueError as fault:
        raise Unbounded("Two rails meet and there is no figure for what limits the current between them") from fault
