"""Transistors at rest against published and exact answers: `data/dc_circuits.json` names the source beside each case.

Textbook bias circuits and Ebers and Moll's transistor, its saturation current at 300 K, the temperature of the cases.
Where a case has a transistor with a fixed base-emitter voltage, ours is given that drop at the case's own current.
"""

import pytest

from server.engineering.network import (
    NPN,
    PNP,
    CurrentSource,
    Element,
    Network,
    Resistor,
    VoltageSource,
    operating_point,
)
from tests.outside.dc_cases import AMPERES, CASES, VOLTS, amperes, case, named, network, npn


@pytest.mark.parametrize("name", named("bjt_", given="beta"))
def test_a_biased_transistor_of_the_textbook(name: str) -> None:
    """With the exact division of emitter current, and its drop of 0.7 V at the case's own current."""
    given, expected = case(name)
    transistor = NPN(
        "Q",
        "c",
        "b",
        "e" if given["RE"] else "0",
        gain=given["beta"],
        drop=given["VBE"],
        drop_at=expected["IC_with_beta_plus_1"],
    )
    feedback = given["RC_feedback"]
    parts: list[Element] = [
        VoltageSource("V", "rail", "0", given["supply_at_RB"]),
        Resistor("RC", "top", "c", feedback or 0.001),
        VoltageSource("VC", "top", "0", 10.0),
        Resistor("RB", "c" if feedback else "rail", "b", given["RB"]),
        transistor,
    ]
    if given["RE"]:
        parts.append(Resistor("RE", "e", "0", given["RE"]))

    point = operating_point(network(*parts))

    reading = point.elements["Q"]
    assert reading.base is not None
    emitter = reading.current.nominal + reading.base.nominal
    assert expected["IE_with_beta_plus_1"] == pytest.approx(emitter, rel=1e-6)
    # The printed figure divides by beta instead of beta + 1, and is rounded to three digits.
    assert float(expected["IE_printed"]) == pytest.approx(emitter, rel=1 / given["beta"] + 0.005)


def test_a_base_divider_is_the_source_and_the_resistance_that_it_was_designed_for() -> None:
    """By its voltage without a load and what that falls by with one; the printed resistors are rounded to 0.2 %."""
    given, expected = case("bjt_divider_design")
    load = 1e-6
    for lower, rel in (
        (expected["R2_exact"], 1e-9),
        (float(expected["R2"]), CASES["bjt_divider_design"]["tolerance"]["rel"]),
    ):
        divider = (
            VoltageSource("V", "rail", "0", given["VCC"]),
            Resistor("R1", "rail", "b", float(expected["R1"])),
            Resistor("R2", "b", "0", lower),
        )

        alone = operating_point(network(*divider)).volts["b"].nominal
        loaded = operating_point(network(*divider, CurrentSource("I", "b", "0", load))).volts["b"].nominal

        assert given["Vth"] == pytest.approx(alone, rel=rel)
        assert given["Rth"] == pytest.approx((alone - loaded) / load, rel=rel)


def test_an_npn_that_drives_a_pnp() -> None:
    """The pnp's base current counts in the first's collector."""
    given, expected = case("two_transistors_constant_vbe")

    point = operating_point(
        network(
            VoltageSource("V", "rail", "0", given["VCC"]),
            Resistor("RB1", "rail", "b1", given["RB1"]),
            Resistor("RB2", "b1", "0", given["RB2"]),
            Resistor("RC1", "rail", "c1", given["RC1"]),
            Resistor("RE1", "e1", "0", given["RE1"]),
            NPN("Q1", "c1", "b1", "e1", gain=100, drop=given["VBE"], drop_at=expected["IC1"]),
            Resistor("RE2", "rail", "e2", given["RE2"]),
            Resistor("RC2", "c2", "0", given["RC2"]),
            PNP("Q2", "c2", "c1", "e2", gain=100, drop=given["VBE"], drop_at=expected["IC2"]),
        )
    )

    base = point.elements["Q2"].base
    assert base is not None
    assert expected["VC1"] == pytest.approx(point.volts["c1"].nominal, rel=1e-6)
    assert expected["VE2"] == pytest.approx(point.volts["e2"].nominal, rel=1e-6)
    assert expected["VC2"] == pytest.approx(point.volts["c2"].nominal, rel=1e-6)
    assert expected["IC1"] == pytest.approx(amperes(point, "Q1"), rel=1e-6)
    assert expected["IB2"] == pytest.approx(base.nominal, rel=1e-6)


EM: dict[str, tuple[tuple[Element, ...], dict[str, str]]] = {
    "em_common_emitter_active": (
        (
            VoltageSource("V", "rail", "0", 12),
            Resistor("RB", "rail", "b", 470e3),
            Resistor("RC", "rail", "c", 2200),
            npn("Q", "c", "b", "0"),
        ),
        {"VB": "b", "VC": "c"},
    ),
    "em_saturated_switch": (
        (
            VoltageSource("V", "rail", "0", 5),
            Resistor("RB", "rail", "b", 4700),
            Resistor("RC", "rail", "c", 1000),
            npn("Q", "c", "b", "0"),
        ),
        {"VB": "b", "VC": "c"},
    ),
    "em_emitter_follower": (
        (
            VoltageSource("V", "rail", "0", 5),
            VoltageSource("VB", "b", "0", 3),
            Resistor("RE", "e", "0", 1000),
            npn("Q", "rail", "b", "e"),
        ),
        {"VE": "e"},
    ),
    "em_darlington_follower": (
        (
            VoltageSource("V", "rail", "0", 9),
            VoltageSource("VB", "b1", "0", 3),
            npn("Q1", "rail", "b1", "b2"),
            npn("Q2", "rail", "b2", "e2"),
            Resistor("RE", "e2", "0", 100),
        ),
        {"VB2": "b2", "VE2": "e2"},
    ),
    "em_current_mirror": (
        (
            VoltageSource("V", "rail", "0", 5),
            Resistor("RR", "rail", "b", 4300),
            Resistor("RO", "rail", "out", 1000),
            npn("Q1", "b", "b", "0"),
            npn("Q2", "out", "b", "0"),
        ),
        {"VB": "b", "V_out": "out"},
    ),
    "em_differential_pair_10mV": (
        (
            VoltageSource("V", "rail", "0", 10),
            VoltageSource("VN", "low", "0", -10),
            Resistor("RC1", "rail", "c1", 10e3),
            Resistor("RC2", "rail", "c2", 10e3),
            Resistor("RT", "e", "low", 10e3),
            VoltageSource("VB1", "b1", "0", 0.01),
            VoltageSource("VB2", "b2", "0", 0.0),
            npn("Q1", "c1", "b1", "e"),
            npn("Q2", "c2", "b2", "e"),
        ),
        {"VE": "e", "VC1": "c1", "VC2": "c2"},
    ),
}


@pytest.mark.parametrize("name", EM)
def test_ebers_and_moll_s_transistor(name: str) -> None:
    """Active, saturated, following, doubled, mirrored, in a pair."""
    _, expected = case(name)
    elements, nodes = EM[name]

    point = operating_point(Network(elements))

    for key, node in nodes.items():
        assert expected[key] == pytest.approx(point.volts[node].nominal, abs=VOLTS)
    for key, element in (("IC", "Q"), ("I_out", "Q2")):
        if key in expected:
            assert expected[key] == pytest.approx(amperes(point, element), rel=AMPERES)
