"""DC circuits against published and exact answers: `data/dc_circuits.json` names the source beside each case.

Linear networks and bridges, Zener diodes, diodes by Lambert's W, refusals. Saturation currents hold at 300 K, the
temperature of the cases.
"""

from collections.abc import Iterable
from typing import Any

import numpy as np
import pytest

from server.engineering.network import (
    CurrentSource,
    Diode,
    Element,
    Network,
    Resistor,
    SourceLoop,
    VoltageSource,
    Zener,
    operating_point,
)
from tests.outside.dc_cases import AMPERES, CASES, VOLTS, amperes, case, named, network, zener

# 0.1 pS of leak beside each junction at 5 V; the cases allow for ten times as much.
LEAKED = 6e-13


def _made(rows: Iterable[list[Any]]) -> Network:
    kinds = {"V": VoltageSource, "R": Resistor, "I": CurrentSource}
    elements: list[Element] = []
    for place, (kind, first, second, value) in enumerate(rows):
        if kind == "D":
            elements.append(Diode(f"D{place}", first, second, saturation=float(value.split()[1])))
        else:
            elements.append(kinds[kind](f"{kind}{place}", first, second, value))
    return Network(tuple(elements))


@pytest.mark.parametrize("name", ["series_9V", "divider_180V"])
def test_resistors_in_series_share_the_voltage(name: str) -> None:
    """Each its printed drop."""
    given, expected = case(name)
    ends = ["a", "b", "c", "0"]
    resistors = [Resistor(f"R{k}", ends[k], ends[k + 1], ohms) for k, ohms in enumerate(given["R"])]

    point = operating_point(network(VoltageSource("V", "a", "0", given["V"]), *resistors))

    drops = [point.elements[resistor.name].volts.nominal for resistor in resistors]
    assert expected["V"] == pytest.approx(drops, rel=1e-9)
    assert expected.get("I", drops[0] / given["R"][0]) == pytest.approx(amperes(point, "R0"), rel=1e-9)


def test_two_sources_feed_one_resistor() -> None:
    """And one of them takes up a current."""
    given, expected = case("two_sources_28_7")

    point = operating_point(_made(given["elements"]))

    assert expected["V_n2"] == pytest.approx(point.volts["n2"].nominal, rel=1e-9)
    assert expected["I_4ohm"] == pytest.approx(amperes(point, "R1"), rel=1e-9)
    assert expected["I_2ohm"] == pytest.approx(amperes(point, "R2"), rel=1e-9)
    assert expected["I_1ohm"] == pytest.approx(amperes(point, "R3"), rel=1e-9)
    assert expected["I_1ohm"] == pytest.approx(amperes(point, "V4"), rel=1e-9)


def test_an_unbalanced_bridge() -> None:
    """By its printed and its exact figures."""
    given, expected = case("bridge_unbalanced")

    point = operating_point(_made(given["elements"]))

    exact = expected["exact"]
    assert exact["V_left"] == pytest.approx(point.volts["left"].nominal, rel=1e-9)
    assert exact["V_right"] == pytest.approx(point.volts["right"].nominal, rel=1e-9)
    assert exact["I_total"] == pytest.approx(-amperes(point, "V0"), rel=1e-9)
    for key, name, sign in (("I_R1", "R1", 1), ("I_R2", "R2", 1), ("I_R3_right_to_left", "R3", -1), ("I_R4", "R4", 1)):
        assert float(expected[key]) == pytest.approx(sign * amperes(point, name), abs=0.5e-6)


def test_a_balanced_bridge_has_no_current_across() -> None:
    """Equal ratios, equal voltages."""
    given, expected = case("bridge_balanced")

    point = operating_point(_made(given["elements"]))

    assert expected["V_left"] == pytest.approx(point.volts["left"].nominal, abs=1e-9)
    assert expected["V_right"] == pytest.approx(point.volts["right"].nominal, abs=1e-9)
    assert expected["I_R3"] == pytest.approx(amperes(point, "R3"), abs=1e-9)


def test_two_nodes_between_opposed_sources() -> None:
    """Fractions by elimination."""
    given, expected = case("two_nodes_10_m4")

    point = operating_point(_made(given["elements"]))

    assert expected["exact"]["V_1"] == pytest.approx(point.volts["1"].nominal, rel=1e-9)
    assert expected["exact"]["V_2"] == pytest.approx(point.volts["2"].nominal, rel=1e-9)


def test_a_current_source_into_a_ladder() -> None:
    """Printed to a millivolt."""
    given, expected = case("ladder_current_source")

    point = operating_point(_made(given["elements"]))

    for node in "123":
        assert float(expected[f"V_{node}"]) == pytest.approx(point.volts[node].nominal, abs=1e-3)


def test_two_sources_that_disagree_are_refused_by_name() -> None:
    """Both of them, and where."""
    given, _ = case("refuse_source_loop")

    with pytest.raises(SourceLoop, match=r"“V1”.*“V0”.*“a” and “0”"):
        _made(given["elements"])


@pytest.mark.parametrize("name", ["zener_unloaded", "zener_loaded"])
def test_an_ideal_zener_diode_holds_its_voltage(name: str) -> None:
    """What it takes is what is left of the supply's current."""
    given, expected = case(name)
    zener_current = expected.get("I_Z", expected.get("I"))
    parts: list[Element] = [
        VoltageSource("V", "a", "0", given["V"]),
        Resistor("R", "a", "out", given["R"]),
        zener("out", "0", given["VZ"], zener_current),
    ]
    if "RL" in given:
        parts.append(Resistor("L", "out", "0", given["RL"]))

    point = operating_point(network(*parts))

    # 1e-9 in the case, for a Zener that blocks to the last; this one and the leak beside it are told from that at 1e-8.
    assert zener_current == pytest.approx(-amperes(point, "Z"), rel=1e-8)
    assert expected.get("I_R", expected.get("I")) == pytest.approx(amperes(point, "R"), rel=1e-8)
    if "P_Z" in expected:
        assert expected["P_Z"] == pytest.approx(point.elements["Z"].power.nominal, rel=1e-8)
        assert expected["P_R"] == pytest.approx(point.elements["R"].power.nominal, rel=1e-8)


def test_a_zener_diode_below_its_voltage_does_not_conduct() -> None:
    """The divider is left alone."""
    given, expected = case("zener_drops_out")

    point = operating_point(
        network(
            VoltageSource("V", "a", "0", given["V"]),
            Resistor("R", "a", "out", given["R"]),
            Resistor("L", "out", "0", given["RL"]),
            zener("out", "0", given["VZ"], 5e-3),
        )
    )

    assert expected["V_load_exact"] == pytest.approx(point.volts["out"].nominal, abs=1e-6)
    assert float(expected["I"]) == pytest.approx(amperes(point, "R"), abs=0.5e-8)
    assert expected["I_Z"] == pytest.approx(amperes(point, "Z"), abs=1e-11)


@pytest.mark.parametrize(("share", "conducts"), [(0.999, False), (1.001, True)])
def test_the_smallest_load_resistance_of_a_zener_diode(share: float, conducts: bool) -> None:
    """A thousandth less and it does not conduct any more, a thousandth more and it does."""
    given, expected = case("zener_minimum_load")

    point = operating_point(
        network(
            VoltageSource("V", "a", "0", given["V"]),
            Resistor("R", "a", "out", given["R"]),
            Resistor("L", "out", "0", share * expected["RL_exact"]),
            zener("out", "0", given["VZ"], 1e-7),
        )
    )

    assert conducts == (-amperes(point, "Z") > 1e-8)


@pytest.mark.parametrize(
    ("load", "supply", "volts"),
    [
        (None, 10.0, 6.826923076923077),
        (None, 11.0, 6.826923076923077 + 0.038461538461538464),
        (2000.0, 10.0, 6.761904761904762),
        (500.0, 10.0, 5.0),
    ],
)
def test_a_zener_diode_with_a_slope(load: float | None, supply: float, volts: float) -> None:
    """`zener_with_slope`: unloaded, with the supply a volt up, loaded, and loaded out of its range."""
    parts: list[Element] = [
        VoltageSource("V", "a", "0", supply),
        Resistor("R", "a", "out", 500),
        Zener("Z", "0", "out", 6.8, at=5e-3, slope=20, knee=1e-4),
    ]
    if load is not None:
        parts.append(Resistor("L", "out", "0", load))

    point = operating_point(network(*parts))

    assert volts == pytest.approx(point.volts["out"].nominal, rel=1e-9)


@pytest.mark.parametrize(
    "name",
    named("diode_", given="IS"),
)
def test_a_diode_on_a_resistor_is_lambert_s_w(name: str) -> None:
    """Silicon, germanium, a light-emitting diode; forward, blocking, below its knee, with a series resistance."""
    given, expected = case(name)

    point = operating_point(
        network(
            VoltageSource("V", "a", "0", given["V"]),
            Resistor("R", "a", "d", given["R"]),
            Diode("D", "d", "0", saturation=given["IS"], ideality=given["n"], series=given.get("RS", 0.0)),
        )
    )

    rel = CASES[name]["tolerance"]["i_rel"]
    volts = expected.get("V_diode", expected.get("V_terminals"))
    assert expected["I"] == pytest.approx(amperes(point, "D"), rel=rel, abs=LEAKED)
    assert volts == pytest.approx(point.volts["d"].nominal, abs=VOLTS)


def test_two_diodes_in_series() -> None:
    """Each drops as much."""
    given, expected = case("two_diodes_in_series")

    point = operating_point(
        network(
            VoltageSource("V", "a", "0", given["V"]),
            Resistor("R", "a", "d", given["R"]),
            Diode("D1", "d", "m", saturation=given["IS"]),
            Diode("D2", "m", "0", saturation=given["IS"]),
        )
    )

    assert expected["I"] == pytest.approx(amperes(point, "D1"), rel=AMPERES)
    assert expected["V_each"] == pytest.approx(point.elements["D1"].volts.nominal, abs=VOLTS)
    assert expected["V_each"] == pytest.approx(point.elements["D2"].volts.nominal, abs=VOLTS)


def test_a_diode_told_by_its_drop_and_slope() -> None:
    """0.7 V at 1 mA and 0.1 V a decade; the case's law lacks the -1, which is a part in 10^7 here."""
    given, expected = case("diode_log_slope")
    ideality = 0.1 / np.log(10) / 0.0258519997864355

    point = operating_point(
        network(
            VoltageSource("V", "a", "0", given["V"]),
            Resistor("R", "a", "d", given["R"]),
            Diode("D", "d", "0", drop=0.7, drop_at=1e-3, ideality=float(ideality)),
        )
    )

    assert expected["I_exact"] == pytest.approx(amperes(point, "D"), rel=1e-7)
    assert expected["V_exact"] == pytest.approx(point.volts["d"].nominal, rel=1e-7)


def test_two_supplies_joined_by_diodes() -> None:
    """The higher one carries nearly all."""
    given, expected = case("diode_or_two_supplies")

    point = operating_point(
        network(
            VoltageSource("V1", "a", "0", given["V1"]),
            VoltageSource("V2", "b", "0", given["V2"]),
            Diode("D1", "a", "out", saturation=1e-14),
            Diode("D2", "b", "out", saturation=1e-14),
            Resistor("L", "out", "0", given["RL"]),
        )
    )

    assert expected["V_out"] == pytest.approx(point.volts["out"].nominal, abs=VOLTS)
    assert expected["I_D1"] == pytest.approx(amperes(point, "D1"), rel=AMPERES)
    assert expected["I_D2"] == pytest.approx(amperes(point, "D2"), rel=AMPERES)


def test_a_chain_of_diodes_with_taps() -> None:
    """Two nodes that hang on one another."""
    given, expected = case("diode_chain_with_taps")

    point = operating_point(_made(given["elements"]))

    assert expected["V_a"] == pytest.approx(point.volts["a"].nominal, abs=VOLTS)
    assert expected["V_b"] == pytest.approx(point.volts["b"].nominal, abs=VOLTS)
