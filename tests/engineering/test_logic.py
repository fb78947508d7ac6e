"""Margins and fan-out: worst case over the supplies, and no figure where there is none."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.engineering import logic
from server.engineering.logic import BadPin, BeyondFigures, chip, fan_out, kinds, margins, most_inputs
from server.engineering.quantities import exact, parse

AT_USUAL_SUPPLY = [kind for kind in kinds() if kind != "74HC early table"]


def test_the_way_in_offers_what_it_says() -> None:
    """Every name in the list is there, and the list is in order."""
    assert sorted(logic.__all__) == logic.__all__
    assert all(hasattr(logic, name) for name in logic.__all__)


def test_a_shared_supply_is_one_supply() -> None:
    """74HC, 4.5 V to 5.5 V: V_OH and V_IH move together, 0.3 V_CC - 0.66 V at the low end; not so with two supplies."""
    rail = parse("4.5..5.5 V")
    other = parse("4.6..5.5 V")

    shared = margins(chip("74HC", rail), chip("74HC", rail))
    apart = margins(chip("74HC", rail), chip("74HC", other))

    assert shared.high == pytest.approx(0.3 * 4.5 - 0.66)
    assert apart.high == pytest.approx((4.5 - 0.66) - 0.7 * 5.5)
    assert (shared.fits, apart.fits) == (True, False)


def test_a_light_load_has_the_better_levels_that_the_table_promises() -> None:
    """4000B: 0.05 V at 1 µA, 0.4 V at 0.44 mA; 74LS: 0.4 V at 4 mA, 0.5 V at 8 mA."""
    five = exact(5, "V")

    assert margins(chip("4000B", five), chip("4000B", five), 1e-6, 1e-6).low == pytest.approx(1.45)
    assert margins(chip("4000B", five), chip("4000B", five)).low == pytest.approx(1.1)
    assert margins(chip("74LS"), chip("74"), takes_low=0.004).low == pytest.approx(0.4)
    assert margins(chip("74LS"), chip("74"), takes_low=0.0041).low == pytest.approx(0.3)


def test_a_load_past_every_promise_has_no_margin_to_tell() -> None:
    """20 mA into a 74LS output: no level is promised there."""
    found = margins(chip("74LS"), chip("74"), takes_low=0.020)

    assert (found.low, found.fits) == (None, None)
    assert "no figure when low" in found.sentence


def test_levels_that_do_not_fit_say_how_far() -> None:
    """TTL into 74HC at the usual supply: 2.4 V against 0.7 of 5.25 V."""
    found = margins(chip("74"), chip("74HC"))

    assert found.high == pytest.approx(2.4 - 0.7 * 5.25)
    assert "1.275 V short when high" in found.sentence
    assert "fail with others" in found.sentence


def test_a_driver_with_a_higher_supply_is_refused() -> None:
    """10 V into a 5 V input."""
    with pytest.raises(BeyondFigures, match="past its supply"):
        margins(chip("4000B", exact(10, "V")), chip("74HC"))


def test_mixed_inputs_are_added_up() -> None:
    """Two 74 and two 74LS inputs: 2 x 1.6 mA + 2 x 0.4 mA low, 2 x 40 µA + 2 x 20 µA high."""
    found = fan_out(chip("74LS"), [chip("74"), chip("74LS"), chip("74"), chip("74LS")])

    assert found.takes_low == pytest.approx(0.004)
    assert found.gives_high == pytest.approx(120e-6)
    assert found.holds
    assert "4 inputs" in found.sentence


def test_an_input_without_a_figure_leaves_the_count_open() -> None:
    """Unless the rest is too much already; an open collector has only a low side."""
    port, gate = chip("8255 port"), chip("74")

    assert most_inputs(gate, port).count is None
    assert fan_out(gate, [port]).holds is None
    assert "no figure for what they draw" in fan_out(gate, [port]).sentence
    assert fan_out(chip("74 open-collector buffer"), [gate] * 30, open_collector=True).holds
    assert fan_out(chip("74 open-collector buffer"), [gate] * 31, open_collector=True).holds is False
    assert fan_out(chip("74 open-collector buffer"), [gate]).holds is None


def test_fan_out_needs_an_input() -> None:
    """An empty list is a slip."""
    with pytest.raises(BadPin, match="an input that listens"):
        fan_out(chip("74"), [])


@given(st.sampled_from(AT_USUAL_SUPPLY), st.sampled_from(AT_USUAL_SUPPLY))
def test_counts_and_loads_agree(driver: str, receiver: str) -> None:
    """As many as `most_inputs` says are carried by `fan_out`, and one more is not."""
    one, other = chip(driver), chip(receiver)
    count = most_inputs(one, other).count

    if count is not None and count < 500:
        assert count == 0 or fan_out(one, [other] * count).holds
        assert not fan_out(one, [other] * (count + 1)).holds
