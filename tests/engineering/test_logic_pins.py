"""Pins and resistors as bounds: what the tables promise lies inside, and nonsense is refused by name."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.engineering.errors import EngineeringError
from server.engineering.logic_families import BadPin, chip, kinds
from server.engineering.logic_pins import (
    DRIVES,
    Drive,
    Output,
    Pull,
    Receiver,
    leakage,
    output_bounds,
    pull_bounds,
    receiver_bounds,
    strong,
    weak,
)
from server.engineering.quantities import exact, parse

FIVE = exact(5, "V")
AT_FIVE = [kind for kind in kinds() if kind != "74HC early table"]


@given(
    st.sampled_from(AT_FIVE),
    st.sampled_from(DRIVES),
    st.booleans(),
    st.floats(0, 5),
    st.floats(0, 5),
)
def test_curves_never_cross_and_never_rise(kind: str, drive: Drive, promised: bool, one: float, other: float) -> None:
    """The weak end delivers less than the strong one at every voltage, and both deliver less as the node rises."""
    bounds = output_bounds(Output("U1", chip(kind), drive), promised=promised)
    low, high = sorted((one, other))

    for curve in (bounds.least, bounds.most):
        assert low == high or curve.at(low)[0] >= curve.at(high)[1]
    assert bounds.least.at(one)[0] <= bounds.most.at(one)[0]
    assert bounds.least.at(one)[1] <= bounds.most.at(one)[1]


@pytest.mark.parametrize("kind", AT_FIVE)
def test_a_promised_point_lies_between_the_ends(kind: str) -> None:
    """At the promised drop the weak end reaches the promised current, the strong one at least that."""
    gate = chip(kind)

    for drive, points in (("low", gate.sink_points()), ("high", gate.source_points())):
        output = Output("U1", gate, "low" if drive == "low" else "high")
        for point in points:
            most = max(amps for drop, amps in weak(output, promised=True).knots if drop <= point.drop + 1e-12)
            knots, beyond = strong(output).knots, strong(output).beyond
            assert most >= point.amps
            assert beyond * point.drop >= point.amps or knots[-1][1] >= point.amps


def test_a_bipolar_low_output_stays_saturated_unless_held_to_its_promise() -> None:
    """0.4 V at 16 mA: 1 V at 40 mA, or never more than 16 mA. A MOS output is held to its promise either way."""
    ttl, cmos = Output("U1", chip("74"), "low"), Output("U2", chip("74HC"), "low")

    assert output_bounds(ttl).most.at(1.0)[0] == pytest.approx(-0.040)
    assert output_bounds(ttl, promised=True).most.at(1.0)[0] == pytest.approx(-0.016)
    assert output_bounds(cmos).most.at(1.0) == output_bounds(cmos, promised=True).most.at(1.0)


def test_a_high_output_hangs_from_its_supply() -> None:
    """2.4 V at 0.4 mA is printed for 4.75 V: at 5.25 V the same current comes at 2.9 V."""
    gate = Output("U1", chip("74", exact(5.25, "V")), "high")

    assert output_bounds(gate).least.at(2.9) == pytest.approx((0.0, 0.0004))
    assert output_bounds(gate).least.at(0.0)[0] == pytest.approx(0.018)
    assert output_bounds(gate).most.at(0.0)[0] == pytest.approx(0.055)


def test_a_pull_bends_where_the_node_passes_its_level() -> None:
    """1 kΩ ± 10 % to 4 V: at 2 V from 2 V / 1.1 kΩ to 2 V / 0.9 kΩ; at 5 V out of the node by as much either way."""
    bounds = pull_bounds(Pull("R1", parse("1 kΩ ±10 %"), exact(4, "V")))

    assert bounds.least.at(2.0)[0] == pytest.approx(2 / 1100)
    assert bounds.most.at(2.0)[0] == pytest.approx(2 / 900)
    assert bounds.least.at(5.0)[0] == pytest.approx(-1 / 900)
    assert bounds.most.at(5.0)[0] == pytest.approx(-1 / 1100)


def test_a_ttl_input_gives_out_below_its_high_level_and_takes_in_above() -> None:
    """Up to 1.6 mA and 40 µA; a MOS input leaks both ways."""
    ttl, cmos = receiver_bounds(Receiver("U1", chip("74"))), receiver_bounds(Receiver("U2", chip("74HC")))

    assert (ttl.most.at(0.4)[0], ttl.most.at(3.0)[0], ttl.least.at(0.4)[0]) == pytest.approx((0.0016, 0.0, -40e-6))
    assert (cmos.least.at(2.0)[0], cmos.most.at(2.0)[0]) == pytest.approx((-1e-6, 1e-6))


def test_leakage_is_that_of_the_role() -> None:
    """An open collector takes I_CEX, a three-state pin leaks both ways, a plain gate has no figure."""
    assert leakage(Output("U1", chip("74"), "high", "open collector")) == pytest.approx((-0.25e-3, 0.0))
    assert leakage(Output("U1", chip("74LS bus driver"), "off")) == pytest.approx((-20e-6, 20e-6))
    assert leakage(Output("U1", chip("8255A port"), "off", "either way")) == pytest.approx((-10e-6, 10e-6))
    assert leakage(Output("U1", chip("74"), "off")) is None


@pytest.mark.parametrize("name", ["", "   ", "U1\n", "\x00", "U" * 81, "\u202e"])
def test_a_name_that_cannot_be_read_is_refused(name: str) -> None:
    """On each kind of thing."""
    with pytest.raises(BadPin, match="printable"):
        Output(name, chip("74"), "low")
    with pytest.raises(BadPin, match="printable"):
        Receiver(name, chip("74"))
    with pytest.raises(BadPin, match="printable"):
        Pull(name, exact(1, "Ω"), FIVE)


@pytest.mark.parametrize("ohms", ["0 Ω", "100 Ω ±100 %"])
def test_a_resistance_of_zero_is_refused(ohms: str) -> None:
    """A wire is no resistor, and neither is a tolerance down to nothing."""
    for make in (
        lambda: Pull("R1", parse(ohms), FIVE),
        lambda: Output("R1", chip("74"), "low", series=parse(ohms)),
        lambda: Receiver("R1", chip("74"), parse(ohms)),
    ):
        with pytest.raises(BadPin, match="R1: a resistance is above zero"):
            make()


@pytest.mark.parametrize("level", ["-5 V", "31 V", "0 V ± 1 V"])
def test_a_level_outside_what_sums_are_made_for_is_refused(level: str) -> None:
    """Below ground, or above 30 V."""
    with pytest.raises(BadPin, match="R1 pulls to"):
        Pull("R1", exact(1000, "Ω"), parse(level))


def test_units_are_checked() -> None:
    """A resistance in volts, a level in ohms, a short-circuit current in volts."""
    with pytest.raises(EngineeringError, match="is asked for"):
        Pull("R1", FIVE, FIVE)
    with pytest.raises(EngineeringError, match="is asked for"):
        Pull("R1", exact(1, "Ω"), exact(1, "Ω"))
    with pytest.raises(EngineeringError, match="is asked for"):
        Output("U1", chip("74"), "low", short_circuit=FIVE)


def test_an_unknown_drive_or_role_is_refused() -> None:
    """With those there are."""
    with pytest.raises(BadPin, match="U1: a pin drives high, low, off, either"):
        Output("U1", chip("74"), "up")  # type: ignore[arg-type]
    with pytest.raises(BadPin, match="totem-pole, open collector, either way"):
        Output("U1", chip("74"), "low", "tube")  # type: ignore[arg-type]
