"""Signal paths: levels, loads and fights on one net, by what the data sheets promise."""

import pytest

from server.engineering.logic import BadPin, Output, Pull, Receiver, chip
from server.engineering.quantities import exact, parse
from server.engineering.signal_paths import SignalPath, signal_path

LS = chip("74LS")
FIVE = parse("4.75..5.25 V")


def _margins(path: SignalPath) -> dict[tuple[str, str, str], float | None]:
    return {(state.driver, state.level, held.listener): held.margin for state in path.states for held in state.held}


def test_a_plain_path_holds_with_the_handbook_s_margins() -> None:
    """74LS into two 74 inputs: 3.2 mA low, so 0.4 V at up to 4 mA and 0.4 V to spare; 2.7 V high and 0.7 V to spare."""
    path = signal_path([Output("U1", LS, "either")], [Receiver("U2", chip("74")), Receiver("U3", chip("74"))])

    found = _margins(path)
    assert found["U1", "low", "U2"] == pytest.approx(0.4)
    assert found["U1", "high", "U3"] == pytest.approx(0.7)
    assert path.holds
    assert path.clash is None


def test_ttl_into_cmos_does_not_hold_and_a_pull_up_mends_it() -> None:
    """2.7 V is short of 0.7 x 5.25 V; 4.7 kΩ brings the node up to the supply."""
    driver, listener = [Output("U1", LS, "either")], [Receiver("U2", chip("74HC"))]

    without = signal_path(driver, listener)
    mended = signal_path(driver, listener, [Pull("R1", parse("4.7 kΩ ±5 %"), FIVE)])

    assert _margins(without)["U1", "high", "U2"] == pytest.approx(2.7 - 0.7 * 5.25)
    assert (without.holds, mended.holds) == (False, True)
    assert any("975 mV short" in sentence for sentence in without.sentences)


def test_a_series_resistor_takes_its_share_of_the_low_level() -> None:
    """330 Ω ± 5 % and 2 mA from two inputs: 0.4 V + 0.693 V is above 0.8 V."""
    path = signal_path(
        [Output("U1", LS, "either", series=parse("330 Ω ±5 %"))], [Receiver("U2", chip("74")), Receiver("U3", LS)]
    )

    assert _margins(path)["U1", "low", "U2"] == pytest.approx(0.8 - 0.4 - 0.002 * 346.5)
    assert path.holds is False


def test_too_many_inputs_are_too_much() -> None:
    """Six 74 inputs on 74LS: 9.6 mA against 8 mA."""
    path = signal_path([Output("U1", LS, "either")], [Receiver(f"U{n}", chip("74")) for n in range(2, 8)])

    assert path.loads[0][1].holds is False
    assert path.holds is False
    assert any("too much for it" in sentence for sentence in path.sentences)


@pytest.mark.parametrize("inputs", range(1, 6))
def test_as_many_inputs_as_are_promised_are_held_low(inputs: int) -> None:
    """Five 74 inputs on 74LS: 8.0 mA against 8 mA, so 0.5 V as promised; levels and loads say the same."""
    path = signal_path([Output("U1", LS, "either")], [Receiver(f"U{n}", chip("74")) for n in range(2, 2 + inputs)])

    assert path.loads[0][1].holds is True
    assert path.holds is True
    assert all((margin or 0.0) >= 0.3 - 1e-9 for margin in _margins(path).values())


def test_a_missing_figure_leaves_the_answer_open() -> None:
    """Input levels that no table has: neither yes nor no."""
    path = signal_path([Output("U1", chip("74"), "either")], [Receiver("U2", chip("74HC early table"))])

    assert path.holds is None
    assert any("no figure" in sentence for sentence in path.sentences)


def test_open_collectors_share_a_line_with_their_pull_up() -> None:
    """Each low, and both let go; never a fight. Without the pull-up no high level holds."""
    drivers = [Output(name, chip("74"), "either", "open collector") for name in ("U1", "U2")]
    listener = [Receiver("U3", chip("74"))]

    path = signal_path(drivers, listener, [Pull("R1", parse("1 kΩ ±5 %"), FIVE)])

    assert [(s.driver, s.level) for s in path.states] == [("U1", "high"), ("U1", "low"), ("U2", "high"), ("U2", "low")]
    assert (path.holds, path.clash) == (True, None)
    assert signal_path(drivers, listener).holds is False


def test_two_outputs_that_cannot_rest_are_a_fight_to_come() -> None:
    """Two plain gates on one line: each state is fine by itself, and the clash is worked out."""
    path = signal_path([Output("U1", LS, "either"), Output("U2", LS, "either")], [Receiver("U3", LS)])

    assert path.clash is not None
    assert path.clash.fights
    assert path.holds is False
    assert "outside every data sheet's promise" in path.sentences[0]


def test_three_state_outputs_are_trusted_and_warned() -> None:
    """They can rest: no clash, but a sentence."""
    bus = chip("74LS bus driver")

    path = signal_path([Output("U1", bus, "either"), Output("U2", bus, "either")], [Receiver("U3", LS)])

    assert (path.holds, path.clash) == (True, None)
    assert "U1 and U2 must never drive this net at once." in path.sentences


def test_outputs_that_are_settled_against_each_other_fight() -> None:
    """No level is meant, so none is held."""
    path = signal_path([Output("U1", LS, "high"), Output("U2", LS, "low")], [Receiver("U3", LS)])

    assert [(state.level, state.held) for state in path.states] == [("", ())]
    assert path.clash is path.states[0].contention


def test_a_settled_driver_has_one_state() -> None:
    """A gate that is always low; an open collector that is always let go, with its pull-up, is high."""
    low = signal_path([Output("U1", LS, "low")], [Receiver("U2", LS)])
    let_go = signal_path(
        [Output("U1", LS, "high", "open collector")], [Receiver("U2", LS)], [Pull("R1", exact(1000, "Ω"), FIVE)]
    )

    assert [state.level for state in low.states] == ["low"]
    assert [state.level for state in let_go.states] == ["high"]
    assert low.holds
    assert let_go.holds


def test_a_path_needs_both_ends() -> None:
    """A pin that drives and a pin that listens."""
    with pytest.raises(BadPin, match="a pin that drives and a pin that listens"):
        signal_path([], [Receiver("U2", LS)])
    with pytest.raises(BadPin, match="a pin that drives and a pin that listens"):
        signal_path([Output("U1", LS, "either")], [])


def test_a_driver_that_cannot_rest_is_named_beside_the_one_it_agrees_with() -> None:
    """A port behind 680 Ω, low, against the 1.6 mA of a 74 input: by itself up to 0.4 V + 1.6 mA x 714 Ω = 1.54 V."""
    port = Output("U9", chip("8255 port"), "either", "either way", parse("680 Ω ±5 %"))
    path = signal_path([Output("U7", LS, "either"), port], [Receiver("U8", chip("74"))])
    low = next(state for state in path.states if (state.driver, state.level) == ("U9", "low"))
    own = next(state for state in path.states if (state.driver, state.level) == ("U7", "low"))

    assert low.agree == ("U7",)
    assert low.alone is not None
    assert low.alone.high == pytest.approx(0.4 + 1.6e-3 * 714)
    assert low.holds_alone is False
    assert low.held[0].sentence == "U8 gets its low level from U9 and U7 with 400 mV to spare."
    assert (own.agree, own.alone) == ((), None)


def test_open_collectors_that_let_go_agree_with_nobody() -> None:
    """Each pulls down by itself, and the pull-up makes the high level."""
    drivers = [Output(name, chip("74"), "either", "open collector") for name in ("U1", "U2")]
    path = signal_path(drivers, [Receiver("U3", chip("74"))], [Pull("R1", parse("1 kΩ ±5 %"), FIVE)])

    assert all(state.agree == () for state in path.states)
