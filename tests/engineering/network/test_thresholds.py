"""Thresholds: ends to a millivolt, conditions joined, tolerance on each end, memory told of."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.engineering.network import (
    NPN,
    BadElementValue,
    BadSweep,
    Condition,
    CurrentSource,
    Diode,
    Network,
    Resistor,
    Thresholds,
    UnknownElement,
    UnknownNode,
    VoltageSource,
    all_of,
    conducting_while_released,
    current,
    power,
    sweep,
    thresholds,
    told,
    voltage,
)
from server.engineering.quantities import parse
from tests.engineering.network.made import junction_networks, latch, trigger, two_transistors


def _ends(found: Thresholds) -> list[tuple[float, float]]:
    return [(interval.low.nominal, interval.high.nominal) for interval in found]


def _divider() -> Network:
    return Network((VoltageSource("V", "a", "0", 0.0), Resistor("R1", "a", "m", 1e3), Resistor("R2", "m", "0", 1e3)))


def test_an_end_is_where_the_condition_changes() -> None:
    """Half of 3 V, by Ohm's law; open where the looking ends."""
    (below,) = thresholds(_divider(), "V", 0.0, 12.0, voltage("m").below(1.5))
    (above,) = thresholds(_divider(), "V", 0.0, 12.0, voltage("m").above(1.5))

    assert pytest.approx([below.low.nominal, below.high.nominal], abs=1e-4) == [0.0, 3.0]
    assert pytest.approx([above.low.nominal, above.high.nominal], abs=1e-4) == [3.0, 12.0]
    assert (below.open_low, below.open_high, above.open_low, above.open_high) == (True, False, False, True)


def test_a_condition_that_always_or_never_holds() -> None:
    """One stretch over all, or none."""
    (always,) = thresholds(_divider(), "V", 1.0, 2.0, voltage("m").above(0.0))

    assert (always.low.nominal, always.high.nominal, always.open_low, always.open_high) == (1.0, 2.0, True, True)
    assert thresholds(_divider(), "V", 1.0, 2.0, voltage("m").above(1.5)) == []


def test_power_and_current_have_thresholds_too() -> None:
    """1 mA through 2 kΩ at 2 V; 4 mW in the lower 1 kΩ at 4 V."""
    (by_current,) = thresholds(_divider(), "V", 0.0, 12.0, current("R1").above(1e-3))
    (by_power,) = thresholds(_divider(), "V", 0.0, 12.0, power("R2").above(4e-3))

    assert by_current.low.nominal == pytest.approx(2.0, abs=1e-4)
    assert by_power.low.nominal == pytest.approx(4.0, abs=1e-4)


def test_a_swept_current_has_its_ends_in_amperes() -> None:
    """1 V across 1 kΩ."""
    network = Network((CurrentSource("I", "0", "a", 0.0), Resistor("R", "a", "0", 1e3)))

    (found,) = thresholds(network, "I", 0.0, 0.01, voltage("a").above(1.0))

    assert found.low.nominal == pytest.approx(1e-3, abs=1e-7)
    assert found.low.unit == "A"


@settings(max_examples=12, deadline=None)
@given(junction_networks(), st.floats(-1.0, 1.5))
def test_inside_a_stretch_the_condition_holds_and_outside_it_does_not(network: Network, limit: float) -> None:
    """At points of its own, half a millivolt and more from every end, unless the notes tell of a memory."""
    node = network.nodes[0]
    found = thresholds(network, "V", -2.0, 4.0, voltage(node).above(limit))
    values = np.linspace(-1.983, 3.991, 83)[::-1]

    volts = sweep(network, "V", values).volts(node).nominal

    if any("two resting states" in note for note in found.notes):
        return
    for value, level in zip(values, volts, strict=True):
        near = any(abs(value - end) < 5e-4 for ends in _ends(found) for end in ends) or abs(level - limit) < 1e-6
        assert near or (level > limit) == any(low <= value <= high for low, high in _ends(found))


def test_conditions_joined_hold_where_all_of_them_do() -> None:
    """The stretch is where theirs meet."""
    network = two_transistors()
    on, low = current("Q2").above(1e-3), voltage("rail").above(5.0)

    first = _ends(thresholds(network, "V", 0.0, 12.0, on))
    both = _ends(thresholds(network, "V", 0.0, 12.0, all_of(on, low)))

    assert first[0][0] < 2.0
    assert both == [pytest.approx((5.0, first[0][1]), abs=2e-4)]


def test_a_stretch_narrower_than_the_grid_between_two_conditions_is_found() -> None:
    """3 mV of 50."""
    between = all_of(voltage("m").above(1.5), voltage("m").below(1.5015))

    (found,) = thresholds(_divider(), "V", 0.0, 12.0, between)

    assert pytest.approx([found.low.nominal, found.high.nominal], abs=1e-4) == [3.0, 3.003]


def _peak(limit: float) -> Thresholds:
    """The second's current rises with the rail until the first takes it away."""
    return thresholds(two_transistors(), "V", 0.0, 12.0, current("Q2").above(limit))


def _top() -> tuple[float, float]:
    """Where it is highest, and how high, by sweeps that close in."""
    low, high = 5.0, 8.0
    for _ in range(5):
        values = np.linspace(low, high, 21)
        found = sweep(two_transistors(), "V", values).current("Q2").nominal
        at = int(np.argmax(found))
        low, high = float(values[max(at - 1, 0)]), float(values[min(at + 1, 20)])
    return float(values[at]), float(found[at])


def test_a_top_that_lies_between_two_points_of_the_grid_is_found() -> None:
    """Just under the highest current that a fine sweep sees: a stretch much narrower than the grid's step."""
    at, top = _top()

    (found,) = _peak(top * 0.99999)

    assert found.low.nominal < at < found.high.nominal
    assert found.high.nominal - found.low.nominal < 0.02
    assert _peak(top * 1.0001) == []


def test_a_top_that_only_just_stays_below_is_told() -> None:
    """It comes up to the limit, and may pass it for less than a millivolt."""
    _, top = _top()

    found = _peak(top + 1e-9)

    assert found == []
    assert any("comes up to its limit" in note for note in found.notes)


def test_what_could_have_been_missed_is_told() -> None:
    """With the step."""
    found = thresholds(_divider(), "V", 0.0, 12.0, voltage("m").above(1.5))

    assert "Looked at every 0.05 V" in found.notes[-1]


def test_each_end_has_its_tolerance() -> None:
    """The upper end hangs on the divider, R1 ±5 %; the lower hardly does."""
    found = thresholds(two_transistors(parse("10 kΩ ±5 %")), "V", 0.0, 12.0, current("Q2").above(1e-4), seed=3)

    high, low = found[0].high, found[0].low
    assert found.draws == 1000
    assert found[0].share == 1.0
    assert high.least < high.low < high.nominal < high.high < high.most
    assert 0.4 < high.most - high.least < 0.75
    assert low.most - low.least < 0.01
    assert found[0].draws.shape == (1000, 2)


def test_a_limit_can_have_a_tolerance() -> None:
    """0.8 to 2.0 V on half the source: 1.6 to 4 V."""
    (found,) = thresholds(_divider(), "V", 0.0, 12.0, voltage("m").above(parse("0.8..2.0 V")))

    assert 1.6 <= found.low.least < 1.65
    assert 3.95 < found.low.most <= 4.0
    assert found.low.nominal == pytest.approx(2.8, abs=1e-3)


def test_a_stretch_that_only_some_draws_have_is_told() -> None:
    """A limit that the source reaches at its nominal value and not at each draw, and the other way round."""
    some = thresholds(_divider(), "V", 0.0, 4.0, voltage("m").above(parse("1.8 V -10/+30 %")))
    none = thresholds(_divider(), "V", 0.0, 4.0, voltage("m").above(parse("2.1 V -30/+10 %")))

    assert 0.5 < some[0].share < 0.9
    assert "a stretch is missing" in some.notes[0]
    assert none == []
    assert "a stretch more than at the nominal values" in none.notes[0]
    assert 0 < none.share_with_more <= 1
    assert none.share_with_fewer == 0


def test_a_trigger_turns_over_where_it_does_in_that_direction() -> None:
    """Both ways, and each tells of the other."""
    falling = thresholds(trigger(), "IN", 0.0, 8.0, voltage("c2").above(10.0))
    rising = thresholds(trigger(), "IN", 0.0, 8.0, voltage("c2").above(10.0), falling=False)

    assert falling[0].low.nominal < 2.5
    assert rising[0].low.nominal > 3.5
    assert f"from {rising[0].low.nominal:.4g} to 8 V" in falling.notes[0]
    assert "two resting states" in rising.notes[0]


def test_a_latch_keeps_its_state_as_its_rail_falls_and_that_one_was_chosen_is_told() -> None:
    """Of two sides that are alike one is on all the way down, the other off; which of them is no more than a choice."""
    first, second = (thresholds(latch(), "V", 2.5, 5.0, voltage(side).above(2.0)) for side in ("c1", "c2"))

    assert sorted([len(first), len(second)]) == [0, 1]
    assert all(interval.open_low and interval.open_high for interval in [*first, *second])
    assert all(any("more than one state" in note for note in found.notes) for found in (first, second))


def test_a_network_with_one_resting_state_says_nothing_of_a_choice() -> None:
    """So that the sentence above means something."""
    found = thresholds(two_transistors(), "V", 0.0, 12.0, current("Q2").above(1e-4))

    assert not any("more than one state" in note for note in found.notes)


def test_each_of_two_conditions_is_told_by_itself() -> None:
    """The stretch of both together is where those of each overlap."""
    low, high = voltage("m").above(1.0), voltage("m").below(3.0)
    found = thresholds(_divider(), "V", 0.0, 12.0, all_of(low, high))

    assert _ends(found) == [pytest.approx((2.0, 6.0), abs=1e-3)]
    assert [_ends(part) for part in found.parts] == [
        [pytest.approx((2.0, 12.0), abs=1e-3)],
        [pytest.approx((0.0, 6.0), abs=1e-3)],
    ]
    assert thresholds(_divider(), "V", 0.0, 12.0, low).parts == ()


def test_draws_that_go_on_where_the_looking_ended_are_told() -> None:
    """Half of the source is above 3 V ±10 %: down to 5.4 to 6.6 V. Looked at only down to 5.9 V, many draws go on."""
    (found,) = whole = thresholds(_divider(), "V", 5.9, 12.0, voltage("m").above(parse("3 V ±10 %")))

    share = float(found.draws_open[:, 0].mean())
    assert not found.open_low
    assert 0.3 < share < 0.6
    assert any(
        f"In {100 * share:.3g} % of the draws the condition still holds at 5.9 V" in note for note in whole.notes
    )
    assert found.draws[found.draws_open[:, 0], 0] == pytest.approx(5.9)


@pytest.mark.parametrize(("low", "high"), [(5.0, 5.0 + 2e-11), (99_999.999_999_9, 100_000.0)])
def test_a_range_that_cannot_be_divided_is_refused(low: float, high: float) -> None:
    """It would be halved for ever: the halves are the same number."""
    with pytest.raises(BadSweep, match="too narrow"):
        thresholds(_divider(), "V", low, high, voltage("m").above(2.5))


def test_while_one_conducts_and_the_other_no_longer_holds_it_off() -> None:
    """The same as both conditions by hand."""
    network = two_transistors()
    by_hand = all_of(current("Q2").above(1e-4), current("Q1").below(1e-4))

    found = thresholds(network, "V", 0.0, 12.0, conducting_while_released("Q2", "Q1"))

    assert _ends(found) == _ends(thresholds(network, "V", 0.0, 12.0, by_hand))
    assert len(found) == 1


def test_a_condition_reads_as_a_sentence() -> None:
    """For the page."""
    condition = all_of(voltage("out").below(0.0, share=0.5), current("Q1", "base").above(parse("1 mA ±10 %")))

    assert told(condition) == ("the voltage at “out” below 0.5 of the source and the current of “Q1” (base) above 1 mA")
    assert told(voltage("a", "b").above(0.6)) == "the voltage at “a” against “b” above 0.6 V"


@pytest.mark.parametrize(
    ("condition", "kind"),
    [
        (voltage("x").above(1.0), UnknownNode),
        (voltage("m", "x").above(1.0), UnknownNode),
        (current("x").above(1.0), UnknownElement),
        (power("x").above(1.0), UnknownElement),
        (current("R1", "base").above(1.0), UnknownElement),
        (voltage("m").above(math.nan), BadElementValue),
        (voltage("m").above(parse("1 mA")), BadElementValue),
        (voltage("m").above(1.0, share=math.inf), BadElementValue),
    ],
)
def test_a_condition_on_nothing_is_refused(condition: Condition, kind: type[Exception]) -> None:
    """By what is wrong with it."""
    with pytest.raises(kind):
        thresholds(_divider(), "V", 0.0, 12.0, condition)


@pytest.mark.parametrize(("low", "high"), [(5.0, 5.0), (6.0, 5.0), (0.0, math.inf), (math.nan, 1.0)])
def test_a_range_that_is_none_is_refused(low: float, high: float) -> None:
    """From a lower to a higher value, both finite."""
    with pytest.raises(BadSweep):
        thresholds(_divider(), "V", low, high, voltage("m").above(1.0))


def test_no_condition_at_all_is_refused() -> None:
    """There is nothing to look for."""
    with pytest.raises(BadSweep, match="no condition"):
        thresholds(_divider(), "V", 0.0, 1.0, all_of())


def test_a_knee_is_found_to_a_millivolt() -> None:
    """The ends are those of a bisection by sweeps of one point."""
    network = Network(
        (
            VoltageSource("V", "a", "0", 0.0),
            Resistor("R1", "a", "b", 22e3),
            Resistor("R2", "b", "0", 4.7e3),
            NPN("Q", "c", "b", "e", gain=250),
            Resistor("RC", "a", "c", 2.2e3),
            Diode("D", "e", "0"),
        )
    )
    low, high = 0.0, 12.0
    while high - low > 1e-6:
        middle = (low + high) / 2
        above = sweep(network, "V", [middle]).current("Q").nominal[0] > 1e-3
        low, high = (low, middle) if above else (middle, high)

    (found,) = thresholds(network, "V", 0.0, 12.0, current("Q").above(1e-3))

    assert found.low.nominal == pytest.approx(low, abs=1e-3)
