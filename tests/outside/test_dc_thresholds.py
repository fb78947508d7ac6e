"""Supplies at which transistors turn on and off, and windows over a falling rail, against exact answers.

`data/dc_circuits.json` names the source beside each case. Independent of ours: the nodes' equations written out by hand
and solved by scipy. Rules of thumb that every bench knows say `common practice, no source`.
"""

from collections.abc import Iterable

import numpy as np
import pytest

from server.engineering.network import (
    Band,
    Element,
    ExponentialFall,
    Fall,
    Interval,
    Network,
    Resistor,
    ResistorFall,
    SteadyCurrentFall,
    SteadyPowerFall,
    VoltageSource,
    current,
    operating_point,
    thresholds,
    voltage,
    windows_over_decay,
)
from server.engineering.quantities import parse
from tests.outside.dc_cases import CASES, VOLTS, case, named, network, npn, zener

THRESHOLD = 1e-3


@pytest.mark.parametrize("name", named("turn_off_supply_", given="VBE"))
def test_the_supply_at_which_a_base_divider_lets_go(name: str) -> None:
    """Where the divider alone gives the base its drop: with a Zener diode above it or without; corners and nominal."""
    given, expected = case(name)
    is_plain = isinstance(given["R1"], float)
    r1, r2, holds_off, drop = (
        (given["R1"], given["R2"], given["VZ_in_series_with_R1"], given["VBE"])
        if is_plain
        else (parse("10 kΩ ±5 %"), parse("10 kΩ ±5 %"), parse("6.2 V ±5 %"), parse("0.55..0.65 V"))
    )
    parts: list[Element] = [
        VoltageSource("V", "rail", "0", 0.0),
        Resistor("R1", "top" if holds_off else "rail", "b", r1),
        Resistor("R2", "b", "0", r2),
    ]
    if holds_off:
        parts.append(zener("rail", "top", holds_off, 6e-5))

    (found,) = thresholds(network(*parts), "V", 0.0, 12.0, voltage("b").above(drop))

    assert expected.get("V_supply", expected.get("nominal")) == pytest.approx(found.low.nominal, abs=THRESHOLD)
    if not is_plain:
        assert expected["low"] - THRESHOLD <= found.low.least < 7.1
        assert 7.7 < found.low.most <= expected["high"] + THRESHOLD
    assert found.open_high


def _one_transistor() -> Network:
    return network(
        VoltageSource("V", "rail", "0", 12),
        Resistor("R1", "rail", "b", 10e3),
        Resistor("R2", "b", "0", 1e3),
        Resistor("RC", "rail", "c", 1e3),
        npn("Q", "c", "b", "0"),
    )


def test_the_supply_at_which_a_transistor_turns_on() -> None:
    """Its collector at half the supply."""
    _, expected = case("em_turn_on_half_supply")

    (found,) = thresholds(_one_transistor(), "V", 0.0, 12.0, voltage("c").below(0.0, share=0.5))

    assert expected["V_supply"] == pytest.approx(found.low.nominal, abs=THRESHOLD)


@pytest.mark.parametrize("amperes", ["1e-4", "1e-5", "1e-6"])
def test_the_supply_at_which_a_transistor_turns_off(amperes: str) -> None:
    """By its collector's current."""
    _, expected = case(f"em_turn_off_ic_{amperes}")

    (found,) = thresholds(_one_transistor(), "V", 0.0, 12.0, current("Q").above(float(amperes)))

    assert expected["V_supply"] == pytest.approx(found.low.nominal, abs=THRESHOLD)


def _two_transistors(rail: float = 12.0) -> Network:
    return network(
        VoltageSource("V", "rail", "0", rail),
        Resistor("R1", "rail", "b1", 10e3),
        Resistor("R2", "b1", "0", 1e3),
        npn("Q1", "c1", "b1", "0"),
        Resistor("R3", "rail", "c1", 10e3),
        Resistor("R4", "c1", "b2", 10e3),
        npn("Q2", "c2", "b2", "0"),
        Resistor("R5", "rail", "c2", 1e3),
    )


@pytest.mark.parametrize("rail", [5, 3, 6.5, 9])
def test_two_transistors_at_a_rail_of(rail: float) -> None:
    """The first holds the second off above seven volts."""
    name = "em_two_transistor_window" + (f"_at_{rail}" if rail != 5 else "")
    expected = CASES[name]["expected"]
    expected = expected.get("at_5V", expected)

    point = operating_point(_two_transistors(rail))

    for node in ("b1", "c1", "b2", "c2"):
        assert expected[f"V_{node}"] == pytest.approx(point.volts[node].nominal, abs=VOLTS)


def test_the_window_of_two_transistors_over_a_supply() -> None:
    """The second conducts between the ends."""
    _, expected = case("em_two_transistor_window")

    found = thresholds(_two_transistors(), "V", 0.0, 12.0, voltage("c2").below(0.0, share=0.5))

    assert expected["intervals"][0] == pytest.approx([found[0].low.nominal, found[0].high.nominal], abs=THRESHOLD)
    assert len(found) == 1


def _interval(low: float, high: float) -> Interval:
    first, last = (Band(end, end, end, end, end, "V") for end in (low, high))
    return Interval(first, last, open_low=False, open_high=False, share=1.0, draws=np.empty((0, 2)))


def test_a_window_over_a_decay_from_its_interval() -> None:
    """t = R C ln(V0/V)."""
    given, expected = case("window_over_exponential_decay_em")

    (window,) = windows_over_decay([_interval(*given["interval"])], ResistorFall(given["V0"], given["R"], given["C"]))

    assert expected["t_start"] == pytest.approx(window.start.nominal, rel=1e-6)
    assert expected["t_end"] == pytest.approx(window.end.nominal, rel=1e-6)
    assert expected["length"] == pytest.approx(window.length.nominal, rel=1e-6)


def test_a_window_over_a_decay_from_its_circuit() -> None:
    """The same from the two transistors: a millivolt at the lower end is 70 µs."""
    given, expected = case("window_over_exponential_decay_em")
    found = thresholds(_two_transistors(), "V", 0.0, 12.0, voltage("c2").below(0.0, share=0.5))

    (window,) = windows_over_decay(found, ResistorFall(given["V0"], given["R"], given["C"]))

    assert expected["t_start"] == pytest.approx(window.start.nominal, abs=7e-6)
    assert expected["t_end"] == pytest.approx(window.end.nominal, abs=7e-5)


def _falls() -> Iterable[tuple[str, Fall, float]]:
    for name in named("constant_current_"):
        given, _ = case(name)
        yield name, SteadyCurrentFall(given["V0"], given["C"], given["I"]), given["V1"]
    for name in named("constant_power_"):
        given, _ = case(name)
        yield name, SteadyPowerFall(given["V0"], given["C"], given["P"]), given["V1"]
    for name in named("discharge_"):
        given, _ = case(name)
        yield name, ResistorFall(given["V0"], given["R"], given["C"]), given["V_safe"]
        yield name, ExponentialFall(given["V0"], CASES[name]["expected"]["tau"]), given["V_safe"]


@pytest.mark.parametrize(("name", "fall", "volts"), list(_falls()))
def test_how_long_a_rail_takes_to_a_voltage(name: str, fall: Fall, volts: float) -> None:
    """Into a resistor, a steady current, a steady power."""
    expected = CASES[name]["expected"]

    (window,) = windows_over_decay([_interval(volts, 1e5)], fall)

    assert window.start.nominal == 0.0
    assert expected.get("t", expected.get("t_to_safe")) == pytest.approx(window.end.nominal, rel=1e-9)
