"""DC networks against answers got without them: closed forms by Lambert's W, and Kirchhoff's sums solved by scipy.

Each circuit's equations are written out node by node beside it, from the definitions of Shockley's and Ebers and Moll's
laws (as in `data/dc_circuits.json`, models), at 300 K. scipy's iteration needs a start near its end, so it gets our
voltages to a hundredth of a volt; that the sums vanish where it ends is checked. Rules of thumb say `common practice,
no source`.
"""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import brentq, root
from scipy.special import lambertw

from server.engineering.network import (
    NPN,
    PNP,
    Diode,
    Element,
    Interval,
    LogicOutput,
    Network,
    Resistor,
    ResistorFall,
    Thresholds,
    VoltageSource,
    Zener,
    conducting,
    conducting_while_released,
    current,
    operating_point,
    released,
    sweep,
    thresholds,
    voltage,
    windows_over_decay,
)

VT = 1.380649e-23 * 300.0 / 1.602176634e-19
IS = 1e-14
# Within 0.1 pS of leak beside each junction, that ours has and these have not.
VOLTS = 1e-6


def _junction(volts: float, saturation: float = IS, n: float = 1.0) -> float:
    return float(saturation * np.expm1(min(volts / (n * VT), 200.0)))


def _bipolar(vbe: float, vbc: float, forward: float, reverse: float = 1.0) -> tuple[float, float]:
    """Collector and base current."""
    onward, back = _junction(vbe), _junction(vbc)
    return onward - back - back / reverse, onward / forward + back / reverse


def _balanced(equations: Callable[[list[float]], list[float]], start: list[float]) -> list[float]:
    """Where the sums, in A, vanish; scipy is given them in µA."""

    def scaled(volts: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.array(equations(volts.tolist())) * 1e6

    found = root(scaled, start, method="hybr", tol=1e-13)
    volts: list[float] = found.x.tolist()
    assert max(map(abs, equations(volts))) < 1e-11
    return volts


@settings(max_examples=60, deadline=None)
@given(
    st.floats(0.05, 30.0),
    st.floats(-1.0, 6.0),
    st.floats(-18.0, -6.0),
    st.floats(1.0, 2.0),
)
def test_a_diode_on_a_resistor_is_lambert_s_w(volts: float, log_ohms: float, log_amperes: float, n: float) -> None:
    """I = (n VT/R) W((Is R/(n VT)) exp((V + Is R)/(n VT))) - Is, as far as exp can be had: its logarithm below 600."""
    ohms, saturation = 10.0 ** (log_ohms + 1), 10.0**log_amperes
    exponent = (volts + saturation * ohms) / (n * VT) + np.log(saturation * ohms / (n * VT))
    expected = n * VT / ohms * _lambert_of_exponential(exponent) - saturation

    network = Network(
        (
            VoltageSource("V", "a", "0", volts),
            Resistor("R", "a", "d", ohms),
            Diode("D", "d", "0", saturation=saturation, ideality=n),
        )
    )
    found = operating_point(network).elements["D"].current.nominal

    assert found == pytest.approx(expected, rel=1e-7, abs=4e-12)


def _lambert_of_exponential(exponent: float) -> float:
    """W(e^x); for large x by w + ln w = x."""
    if exponent < 600:
        return float(lambertw(np.exp(exponent)).real)
    return float(brentq(lambda w: w + np.log(w) - exponent, 1.0, exponent))


@pytest.mark.parametrize("rail", [2.0, 5.0, 9.0, 12.0])
def test_a_pnp_driven_by_an_npn_with_a_zener_diode_in_its_base_path(rail: float) -> None:
    """Four nodes; the Zener diode's breakdown is written as its own law, a softened straight line of 10 Ω."""
    onset = 4.7 - 0.05 * (5e-3 * 10 / 0.05 + np.log(-np.expm1(-5e-3 * 10 / 0.05)))

    def zener(volts: float) -> float:
        return float(0.05 / 10 * np.logaddexp(0.0, (volts - onset) / 0.05)) - _junction(-volts)

    def equations(x: list[float]) -> list[float]:
        z, b1, c1, c2 = x
        collector, base = _bipolar(b1, b1 - c1, 150)
        collector2, base2 = _bipolar(rail - c1, c2 - c1, 80)
        return [
            zener(rail - z) - (z - b1) / 4700,
            (z - b1) / 4700 - b1 / 10e3 - base,
            (rail - c1) / 2200 + base2 - collector,
            collector2 - c2 / 1000,
        ]

    network = Network(
        (
            VoltageSource("V", "rail", "0", rail),
            Zener("Z", "z", "rail", 4.7, saturation=IS),
            Resistor("R1", "z", "b1", 4700),
            Resistor("R2", "b1", "0", 10e3),
            NPN("Q1", "c1", "b1", "0", gain=150, saturation=IS),
            Resistor("R3", "rail", "c1", 2200),
            PNP("Q2", "c2", "c1", "rail", gain=80, saturation=IS),
            Resistor("R4", "c2", "0", 1000),
        )
    )
    point = operating_point(network)

    found = [point.volts[node].nominal for node in ("z", "b1", "c1", "c2")]
    assert _balanced(equations, np.round(found, 2).tolist()) == pytest.approx(found, abs=VOLTS)


def test_a_bridge_of_diodes_between_two_outputs() -> None:
    """Two logic outputs through diodes onto one pulled-up wire: the lower one holds it."""

    def equations(x: list[float]) -> list[float]:
        wire, a, b = x
        return [
            (5 - wire) / 2200 - _junction(wire - a, 1e-9, 1.8) - _junction(wire - b, 1e-9, 1.8),
            _junction(wire - a, 1e-9, 1.8) - (a - 0.2) / 50,
            _junction(wire - b, 1e-9, 1.8) - (b - 3.4) / 120,
        ]

    network = Network(
        (
            VoltageSource("V", "rail", "0", 5.0),
            Resistor("R", "rail", "wire", 2200),
            Diode("D1", "wire", "a", saturation=1e-9, ideality=1.8),
            Diode("D2", "wire", "b", saturation=1e-9, ideality=1.8),
            LogicOutput("U1", "a", "0", 0.2, 50.0),
            LogicOutput("U2", "b", "0", 3.4, 120.0),
        )
    )
    point = operating_point(network)

    found = [point.volts[node].nominal for node in ("wire", "a", "b")]
    assert _balanced(equations, np.round(found, 2).tolist()) == pytest.approx(found, abs=VOLTS)


def test_a_long_tailed_pair_over_its_input() -> None:
    """Three unknowns at each of nine inputs, a sweep beside one solution each."""
    inputs = np.linspace(-0.1, 0.1, 9)
    network = Network(
        (
            VoltageSource("VP", "p", "0", 12.0),
            VoltageSource("VN", "n", "0", -12.0),
            VoltageSource("IN", "b1", "0", 0.0),
            Resistor("RC1", "p", "c1", 4700),
            Resistor("RC2", "p", "c2", 4700),
            Resistor("RT", "e", "n", 10e3),
            NPN("Q1", "c1", "b1", "e", gain=200, saturation=IS),
            NPN("Q2", "c2", "0", "e", gain=120, saturation=IS),
        )
    )

    swept = sweep(network, "IN", inputs)

    for place, given_volts in enumerate(inputs):
        volts = float(given_volts)

        def equations(x: list[float], volts: float = volts) -> list[float]:
            e, c1, c2 = x
            collector1, base1 = _bipolar(volts - e, volts - c1, 200)
            collector2, base2 = _bipolar(-e, -c2, 120)
            return [
                collector1 + base1 + collector2 + base2 - (e + 12) / 10e3,
                (12 - c1) / 4700 - collector1,
                (12 - c2) / 4700 - collector2,
            ]

        found = [float(swept.volts(node).nominal[place]) for node in ("e", "c1", "c2")]
        assert _balanced(equations, np.round(found, 2).tolist()) == pytest.approx(found, abs=VOLTS)


def test_the_ends_of_a_trigger_s_memory_are_where_its_equations_fold() -> None:
    """Q1 and Q2 on one emitter: with the input as a function of Q1's collector, the folds are its turning points."""
    ohms = {"b": 1e3, "e": 470.0, "c1": 4700.0, "c2": 1000.0, "u": 10e3, "d": 10e3}

    def rest(c1: float, start: list[float]) -> list[float]:
        def equations(x: list[float]) -> list[float]:
            base, e, b2, c2 = x
            collector1, base1 = _bipolar(base - e, base - c1, 100)
            collector2, base2 = _bipolar(b2 - e, b2 - c2, 100)
            return [
                collector1 + base1 + collector2 + base2 - e / ohms["e"],
                (12 - c1) / ohms["c1"] - (c1 - b2) / ohms["u"] - collector1,
                (c1 - b2) / ohms["u"] - b2 / ohms["d"] - base2,
                (12 - c2) / ohms["c2"] - collector2,
            ]

        return _balanced(equations, start)

    state, inputs = [4.19, 3.67, 4.37, 4.28], []
    for c1 in np.linspace(9.54, 1.24, 1661):
        state = rest(float(c1), state)
        _, into_base = _bipolar(state[0] - state[1], state[0] - float(c1), 100)
        inputs.append(state[0] + ohms["b"] * into_base)
    folds = [
        inputs[place]
        for place in range(1, len(inputs) - 1)
        if (inputs[place] > inputs[place - 1]) != (inputs[place + 1] > inputs[place])
    ]

    network = Network(
        (
            VoltageSource("V", "rail", "0", 12.0),
            VoltageSource("IN", "in", "0", 0.0),
            Resistor("RB", "in", "b1", ohms["b"]),
            NPN("Q1", "c1", "b1", "e", saturation=IS),
            NPN("Q2", "c2", "b2", "e", saturation=IS),
            Resistor("RE", "e", "0", ohms["e"]),
            Resistor("RC1", "rail", "c1", ohms["c1"]),
            Resistor("RC2", "rail", "c2", ohms["c2"]),
            Resistor("R1", "c1", "b2", ohms["u"]),
            Resistor("R2", "b2", "0", ohms["d"]),
        )
    )
    off = released("Q2", 1e-4)
    rising = thresholds(network, "IN", 0.0, 8.0, off, falling=False)
    falling = thresholds(network, "IN", 0.0, 8.0, off)

    assert [max(folds), min(folds)] == pytest.approx([rising[0].low.nominal, falling[0].low.nominal], abs=1e-3)
    assert len(folds) == 2


def _power_fail(second: Element, joint: str) -> Network:
    """Q1, whose base divider lets go at 7.7 V, holds Q2 off, which conducts down to 1.2 V.

    `second` stands between the rail and `joint`, from where Q2's base divider is fed.
    """
    return Network(
        (
            VoltageSource("V", "rail", "0", 12.0),
            Resistor("R1", "rail", "b1", 71e3 / 6),
            Resistor("R2", "b1", "0", 1e3),
            NPN("Q1", "b2", "b1", "0", drop=0.6, drop_at=1e-4),
            second,
            Resistor("R3", joint, "b2", 10e3),
            Resistor("R4", "b2", "0", 10e3),
            NPN("Q2", "out", "b2", "0", drop=0.6, drop_at=1e-4),
            Resistor("R5", "rail", "out", 1e3),
        )
    )


PLAIN = _power_fail(Resistor("W", "rail", "feed", 0.01), "feed")
WITH_ZENER = _power_fail(Zener("Z", "feed", "rail", 8.2, at=1e-4), "feed")


def _question(network: Network) -> Thresholds:
    return thresholds(network, "V", 0.0, 12.0, conducting_while_released("Q2", "Q1"))


def test_between_7_7_and_1_2_volts_the_second_conducts_while_the_first_no_longer_holds_it_off() -> None:
    """Common practice, no source: a drop of 0.6 V, thresholds of 7.7 V and 1.2 V on a falling 12 V rail.

    A tenth of a volt for the base currents that the rule leaves out.
    """
    (found,) = _question(PLAIN)

    assert found.high.nominal == pytest.approx(7.7, abs=0.15)
    assert found.low.nominal == pytest.approx(1.2, abs=0.1)


def test_the_window_lasts_as_long_as_the_rail_takes() -> None:
    """Common practice, no source: 4700 µF into 50 Ω, 0.235 s ln(7.7/1.2) is 0.44 s."""
    (window,) = windows_over_decay(_question(PLAIN), ResistorFall(12.0, 50.0, 4700e-6))

    assert window.length.nominal == pytest.approx(0.437, abs=0.02)


def test_a_zener_diode_in_the_second_s_base_path_closes_the_window() -> None:
    """Common practice, no source: 8.2 V and 1.2 V are past 7.7 V, so the second lets go before the first does."""
    (on,) = thresholds(_without_first(WITH_ZENER), "V", 0.0, 12.0, conducting("Q2"))

    assert on.low.nominal == pytest.approx(9.4, abs=0.15)
    assert _question(WITH_ZENER) == []


def _without_first(network: Network) -> Network:
    return Network(tuple(element for element in network.elements if element.name != "Q1"))


def test_the_ends_of_the_window_are_those_of_scipy() -> None:
    """Both conditions' ends by root finding on the three written-out nodes."""
    saturation = 1e-4 / np.expm1(0.6 / VT)

    def transistor(vbe: float, vbc: float) -> tuple[float, float]:
        onward, back = _junction(vbe, saturation), _junction(vbc, saturation)
        return onward - 2 * back, onward / 100 + back

    nodes = sweep(PLAIN, "V", np.linspace(1.0, 8.2, 721))

    def currents(rail: float) -> tuple[float, float]:
        def equations(x: list[float]) -> list[float]:
            b1, b2, out = x
            collector1, base1 = transistor(b1, b1 - b2)
            collector2, base2 = transistor(b2, b2 - out)
            return [
                (rail - b1) / (71e3 / 6) - b1 / 1e3 - base1,
                (rail - b2) / 10000.01 - b2 / 10e3 - base2 - collector1,
                (rail - out) / 1e3 - collector2,
            ]

        start = [float(np.interp(rail, nodes.values, nodes.volts(node).nominal)) for node in ("b1", "b2", "out")]
        b1, b2, out = _balanced(equations, np.round(start, 2).tolist())
        return transistor(b1, b1 - b2)[0], transistor(b2, b2 - out)[0]

    first = brentq(lambda rail: currents(rail)[0] - 1e-4, 7.0, 8.2, xtol=1e-9)
    second = brentq(lambda rail: currents(rail)[1] - 1e-4, 1.0, 1.4, xtol=1e-9)

    found: list[Interval] = _question(PLAIN)

    assert [second, first] == pytest.approx([found[0].low.nominal, found[0].high.nominal], abs=1e-3)


def test_a_base_follows_its_emitter_by_six_tenths_of_a_volt() -> None:
    """Common practice, no source: an emitter follower's output lies 0.6 V below its base, within 0.1 V."""
    network = Network(
        (
            VoltageSource("V", "rail", "0", 12.0),
            VoltageSource("IN", "b", "0", 0.0),
            NPN("Q", "rail", "b", "e"),
            Resistor("RE", "e", "0", 1e3),
        )
    )

    swept = sweep(network, "IN", np.linspace(1.0, 11.0, 21))

    assert np.abs(swept.values - swept.volts("e").nominal - 0.6).max() < 0.1
    (found,) = thresholds(network, "IN", 0.0, 12.0, current("Q").above(1e-3))
    assert found.low.nominal == pytest.approx(1.6, abs=0.02)
    assert thresholds(network, "IN", 0.0, 12.0, voltage("e").above(12.0)) == []
