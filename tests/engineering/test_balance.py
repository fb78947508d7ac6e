"""The balance of currents at a node: exact on straight pieces, steps and rails without end, and never out of order."""

import math
from collections.abc import Sequence
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from server.engineering.balance import Curve, Unbounded, balances, delivered, total

TOP = 5.0
GROUND = Curve(((0.0, 0.0),), math.inf, math.inf)
SUPPLY = Curve(((TOP, 0.0),), math.inf, math.inf)

volts = st.floats(0.0, TOP, allow_subnormal=False)
steps = st.floats(0.001, 0.1, allow_subnormal=False)


@st.composite
def curves(draw: st.DrawFn) -> Curve:
    """Sloping pieces and steps, from giving at 0 V to taking at the top."""
    places = sorted(draw(st.lists(volts, min_size=1, max_size=4)))
    amps = draw(st.floats(-0.05, 0.05))
    knots = []
    for place in places:
        knots.append((place, amps))
        amps -= draw(steps)
    return Curve(tuple(knots), draw(st.floats(0.001, 0.1)), draw(st.floats(0.001, 0.1)))


def _middle(things: Sequence[Curve], place: float) -> float:
    return sum(total(things, place)) / 2


@settings(max_examples=100, deadline=None)
@given(st.lists(curves(), min_size=1, max_size=5))
def test_the_node_stands_where_an_independent_solver_finds_it(things: list[Curve]) -> None:
    """scipy's brentq on the same sum, between voltages far outside on either side."""
    expected = float(brentq(lambda place: _middle(things, place), -1e4, 1e4, xtol=1e-13, rtol=1e-14))

    lowest, highest = balances(things, -1e4, 1e4)

    assert expected == pytest.approx(lowest, abs=1e-9)
    assert expected == pytest.approx(highest, abs=1e-9)


@settings(max_examples=100, deadline=None)
@given(st.lists(curves(), min_size=1, max_size=5))
def test_currents_balance_at_the_node(things: list[Curve]) -> None:
    """Kirchhoff's current law: what one thing delivers the others take, to 1 nA."""
    flows = [delivered(thing, things[:n] + things[n + 1 :], -1e4, 1e4, most=True) for n, thing in enumerate(things)]
    least, most = total(things, flows[0][0])

    assert least <= 1e-9
    assert most >= -1e-9
    for thing, (place, amps) in zip(things, flows, strict=True):
        low, high = thing.at(place)
        assert low - 1e-9 <= amps <= high + 1e-9


@settings(max_examples=60, deadline=None)
@given(st.lists(curves(), min_size=2, max_size=5), st.randoms(use_true_random=False))
def test_order_makes_no_difference(things: list[Curve], dice: Random) -> None:
    """Not even in the last digit."""
    shuffled = list(things)
    dice.shuffle(shuffled)

    assert balances(things, 0, TOP) == balances(shuffled, 0, TOP)


@settings(max_examples=60, deadline=None)
@given(st.lists(curves(), min_size=1, max_size=4), st.floats(10, 1e5), st.floats(1.01, 100))
def test_a_stronger_pull_to_ground_never_raises_the_node(things: list[Curve], ohms: float, factor: float) -> None:
    """Nor does the first one: what only takes cannot lift."""
    light = Curve(((0.0, 0.0),), 0.0, 1 / (ohms * factor))
    heavy = Curve(((0.0, 0.0),), 0.0, 1 / ohms)

    without, lightly, heavily = (balances([*things, *pull], 0, TOP) for pull in ([], [light], [heavy]))

    assert heavily[1] <= lightly[1] + 1e-12 <= without[1] + 2e-12
    assert heavily[0] <= lightly[0] + 1e-12 <= without[0] + 2e-12


@settings(max_examples=60, deadline=None)
@given(curves(), volts, st.floats(1, 1e4))
def test_a_series_resistor_drops_what_ohms_law_says(thing: Curve, place: float, ohms: float) -> None:
    """The same current at a node that is lower by that current times the resistance."""
    least, most = thing.at(place)

    behind = thing.behind(ohms)

    for amps in (least, most):
        assert amps == pytest.approx(behind.at(place - amps * ohms)[0], rel=1e-6, abs=1e-9)


def test_a_rail_stands_still_and_bears_what_the_others_give() -> None:
    """An ideal ground, 5 V behind 1 kΩ against it: 0 V, 5 mA into it."""
    up = SUPPLY.behind(1000)

    assert balances([GROUND, up], 0, TOP) == (0, 0)
    assert delivered(GROUND, [up], 0, TOP, most=False) == (0, -0.005)
    assert delivered(up, [GROUND], 0, TOP, most=True) == (0, 0.005)


def test_two_rails_have_no_current_that_could_be_told() -> None:
    """Refused, never a large number; with a resistor between them it is Ohm's law."""
    with pytest.raises(Unbounded, match="no figure"):
        delivered(GROUND, [SUPPLY], 0, TOP, most=True)

    assert delivered(GROUND.behind(100), [SUPPLY], 0, TOP, most=False) == (TOP, -0.05)


def test_a_node_that_nothing_holds_is_anywhere() -> None:
    """No current anywhere: the whole window balances."""
    assert balances([Curve(((1.0, 0.0),))], 0, TOP) == (0, TOP)


def test_a_node_pushed_out_of_its_window_stops_at_the_end() -> None:
    """A leakage with nothing to take it lifts the node as far as it can go, its return as far down."""
    assert balances([Curve(((0.0, 1e-6),))], 0, TOP) == (TOP, TOP)
    assert balances([Curve(((0.0, -1e-6),))], 0, TOP) == (0, 0)


def test_a_step_that_two_share_has_a_most_and_a_least() -> None:
    """Two things that step at 1 V against 10 mA: either can bear all of it."""
    step = Curve(((1.0, 0.0), (1.0, -0.02)))
    feed = Curve(((0.0, 0.01),))

    assert delivered(step, [step, feed], 0, TOP, most=True) == (1.0, 0.0)
    assert delivered(step, [step, feed], 0, TOP, most=False) == (1.0, -0.01)
