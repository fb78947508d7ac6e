"""Logic families against what the handbooks print, and worked cases of margins, fan-out, pull-ups and fights.

`data/logic_families.csv` holds the printed limits and `data/logic.json` the worked cases, each with its source and
status beside it. Three checks stand here in full: a textbook's margins (lessons-in-electric-circuits,
html/Digital/DIGI_3.html), a second maker's sheet (Texas Instruments SDLS025B page 5), and what is common practice,
no source.
"""

import csv
import json
from pathlib import Path
from typing import Any

import pytest

from server.engineering.balance import balances
from server.engineering.logic import (
    Chip,
    Contention,
    Figure,
    Output,
    Pull,
    Receiver,
    SupplyOutside,
    chip,
    contention,
    fan_out,
    kinds,
    margins,
    most_inputs,
)
from server.engineering.logic_pins import pull_bounds
from server.engineering.quantities import Toleranced, exact

DATA = Path(__file__).with_name("data")
CASES: dict[str, dict[str, Any]] = {
    case["case_id"]: case for case in json.loads((DATA / "logic.json").read_text("utf-8"))["cases"]
}
with (DATA / "logic_families.csv").open(encoding="utf-8", newline="") as file:
    PRINTED = [row for row in csv.DictReader(file) if row["family"] != "any" and row["parameter"] != "drive"]
KINDS = {
    "TTL": "74",
    "LS": "74LS",
    "LS_fairchild": "DM74LS00",
    "HC45": "74HC",
    "HCT": "74HCT",
    "NMOS": "8255A port",
    "CMOS4000": "4000B",
}
# Worked at the supply that each family's levels are printed for.
SUPPLIES = {"HC45": 4.5, "HCT": 4.5, "CMOS4000": 5.0}
TOP = exact(5.25, "V")


def _named(start: str) -> list[str]:
    found = [name for name in CASES if name.startswith(start)]
    assert found, start
    return found


def _chip(short: str) -> Chip:
    return chip(KINDS[short], exact(SUPPLIES.get(short, 4.75), "V"))


def _printed(row: dict[str, str], column: str) -> float | None:
    text = "4.4" if row[column] == "VCC-0.1" else row[column].removesuffix("VCC")
    return (float(text) / (1000 if row["unit"] == "mA" else 1)) if text else None


def _figures(row: dict[str, str]) -> list[Figure]:
    """The rows that a chip of any kind looks up for a printed one, at the supply that it is printed for."""
    parameter = "IOL at 85 °C" if row["condition"].endswith("85C") and row["family"] == "4000B" else row["parameter"]
    found = []
    for kind in kinds():
        try:
            rows = chip(kind, exact(float(row["vcc_v"]), "V")).figures(parameter)
        except SupplyOutside:
            continue
        found += [each for each in rows if (each.device, each.words) == (row["device"], row["condition"])]
    return found


@pytest.mark.parametrize("row", PRINTED, ids=[row["case_id"] for row in PRINTED])
def test_a_chip_looks_up_what_the_handbook_prints(row: dict[str, str]) -> None:
    """Every printed limit is found by its parameter, with the printed numbers, in V or A."""
    figures = _figures(row)

    assert figures
    for figure in figures:
        assert _printed(row, "min") == figure.least
        assert _printed(row, "typ") == figure.usual
        assert _printed(row, "max") == figure.most
        assert row["status"] == figure.status


def test_a_second_maker_prints_the_same_limits() -> None:
    """SN74LS00, SDLS025B page 5: 2 V, 0.8 V; 2.7 V at 0.4 mA; 0.4 V at 4 mA, 0.5 V at 8 mA; I_IL 0.4 mA, I_IH 20 µA."""
    gate = chip("74LS")

    assert (gate.input_low(5.0), gate.input_high(5.0)) == (0.8, 2.0)
    assert [(point.drop, point.amps) for point in gate.sink_points()] == [(0.4, 0.004), (0.5, 0.008)]
    assert [4.75 - point.drop for point in gate.source_points()] == [2.7]
    assert (gate.input_out(), gate.input_in()) == (0.0004, 0.00002)


@pytest.mark.parametrize("name", _named("margin_"))
def test_margins_agree_with_worked_cases(name: str) -> None:
    case = CASES[name]
    expected = case["expected"]

    found = margins(_chip(case["inputs"]["driver"]), _chip(case["inputs"]["receiver"]))

    assert expected["low_margin"] == pytest.approx(found.low, abs=1e-9)
    assert expected["high_margin"] == pytest.approx(found.high, abs=1e-9)
    assert expected["fits"] == found.fits


def test_margins_agree_with_a_textbook() -> None:
    """LIEC DIGI_3: TTL 0.3 V low and 0.7 V high (V_OL 0.5 V, V_OH 2.7 V); CMOS at 5 V unloaded 1.45 V both."""
    ttl = margins(chip("74LS"), chip("74LS"))
    cmos = margins(chip("4000B", exact(5, "V")), chip("4000B", exact(5, "V")), takes_low=1e-6, gives_high=1e-6)

    assert pytest.approx([0.3, 0.7]) == [ttl.low, ttl.high]
    assert pytest.approx([1.45, 1.45]) == [cmos.low, cmos.high]


@pytest.mark.parametrize("name", _named("fanout_"))
def test_fan_out_agrees_with_worked_cases(name: str) -> None:
    """As many inputs as the case says are carried, one more is not."""
    case = CASES[name]
    driver, receiver = _chip(case["inputs"]["driver"]), _chip(case["inputs"]["receiver"])
    expected = case["expected"]

    found = most_inputs(driver, receiver)

    assert (expected["low"], expected["high"], expected["fan_out"]) == (found.low, found.high, found.count)
    assert not fan_out(driver, [receiver] * (expected["fan_out"] + 1)).holds
    assert expected["fan_out"] == 0 or fan_out(driver, [receiver] * expected["fan_out"]).holds


@pytest.mark.parametrize("name", _named("pullup_"))
def test_the_window_of_a_pull_up_comes_out_of_the_balance_of_currents(name: str) -> None:
    """At R max the released line just keeps V_OH; at R min the low output just takes I_OL, at V_OL."""
    case = CASES[name]
    given, expected = case["inputs"], case["expected"]
    kind = "74LS" if "_ls_" in name else "74"
    low, high = given["VCC"]
    supply = Toleranced(5.0, low, high, "V")
    outputs = [Output(f"U{n}", chip(kind), "high", "open collector") for n in range(given["outputs"])]
    receivers = [Receiver(f"U9.{n}", chip(kind)) for n in range(given["inputs"])]

    let_go = contention(outputs, receivers, [Pull("R1", exact(expected["R_max"], "Ω"), supply)])
    one = [Output("U0", chip(kind), "low", "open collector")]
    held = contention(one, receivers, [Pull("R1", exact(expected["R_min"], "Ω"), supply)])

    assert given["VOH_wanted"] == pytest.approx(let_go.node.low, rel=1e-9)
    assert given["VOL"] == pytest.approx(held.node.high, rel=1e-9)
    # The strongest sample goes down to 0 V and takes a little more through the resistor.
    assert given["IOL"] + given["VOL"] / expected["R_min"] == pytest.approx(
        held.output_states[0].current.high, rel=1e-9
    )


def _forced_low(kind: str) -> Contention:
    """A high output at 5.25 V against a micro-ohm to ground."""
    return contention([Output("U1", chip(kind, TOP), "high")], (), [Pull("short", exact(1e-6, "Ω"), exact(0, "V"))])


@pytest.mark.parametrize("kind", ["74", "74LS"])
def test_a_high_output_forced_to_ground_gives_the_printed_range(kind: str) -> None:
    """Currents and heats of the cases, both ends: never one number."""
    expected = CASES[f"contention_{kind}_high_forced_low"]["expected"]
    heats = expected.get("heat_in_high_output_mW_at_VO_0") or expected["heat_mW_at_VO_0"]

    state = _forced_low(kind).output_states[0]

    assert expected["current_range_mA"] == pytest.approx([state.current.low * 1e3, (state.current.high or 0) * 1e3])
    assert heats == pytest.approx([state.heat.low * 1e3, (state.heat.high or 0) * 1e3], rel=1e-5)


def test_a_fight_of_two_standard_gates_passes_what_the_low_one_promises() -> None:
    """The case's excess over I_OL is that of the forced range; what must be said is said."""
    expected = CASES["contention_74_exceeds_iol"]["expected"]
    forced = _forced_low("74").output_states[0].current
    promise = chip("74").sink_points()[-1].amps

    fight = contention(
        [Output("U1", chip("74"), "high"), Output("U2", chip("74"), "low")], [Receiver("U3", chip("74"))]
    )

    assert expected["excess_mA"] == pytest.approx([(forced.low - promise) * 1e3, ((forced.high or 0) - promise) * 1e3])
    assert expected["passes_IOL"] == (("U2", "I_OL") in {(limit.name, limit.figure) for limit in fight.passed})
    assert fight.readings[0].may_read == ("low", "neither")
    assert any("one output at a time" in sentence for sentence in fight.assumptions)
    assert any("(V_OL) is promised" in sentence for sentence in fight.sentences)


@pytest.mark.parametrize("name", _named("contention_series_resistor_"))
def test_a_series_resistor_bounds_a_fight_by_ohms_law(name: str) -> None:
    """Two outputs whose strong ends have no figure are bare rails: the bound of the case, and who is past what."""
    case = CASES[name]
    expected, ohms = case["expected"], exact(case["inputs"]["series_R"], "Ω")
    high = Output("U1", chip("74HC", TOP), "high", series=ohms)

    fight = contention([high, Output("U2", chip("74LS", TOP), "low")])

    state = fight.output_states[0]
    assert state.series_heat is not None
    assert expected["I_upper_bound"] == pytest.approx(state.current.high, rel=1e-9)
    assert expected["P_resistor_upper_bound"] == pytest.approx(state.series_heat.high, rel=1e-9)
    passed = {limit.figure for limit in fight.passed}
    assert expected["within_74LS_IOL_8mA"] == ("I_OL" not in passed)
    assert expected["within_25mA_abs_max"] == ("I_O max" not in passed)


@pytest.mark.parametrize("name", _named("contention_resistive_model_"))
def test_two_resistors_to_two_levels_balance_as_kirchhoff_says(name: str) -> None:
    """3.6 V behind the resistance in the case's name, against 10 Ω to ground."""
    expected = CASES[name]["expected"]
    up = pull_bounds(Pull("up", exact(float(name.rpartition("_")[2]), "Ω"), exact(3.6, "V"))).most
    down = pull_bounds(Pull("down", exact(10, "Ω"), exact(0, "V"))).most

    lowest, highest = balances([up, down], 0.0, 5.0)

    assert expected["V_node"] == pytest.approx(lowest, rel=1e-12) == pytest.approx(highest, rel=1e-12)
    assert expected["I"] == pytest.approx(up.at(lowest)[0], rel=1e-9)


def test_some_receivers_read_a_ttl_output_that_another_holds_low_as_low_at_all_times() -> None:
    """Common practice, no source. CMOS inputs do, whose threshold is higher; TTL inputs depend on the samples."""
    outputs = [Output("U1", chip("74"), "high"), Output("U2", chip("74"), "low")]

    fight = contention(outputs, [Receiver("U3", chip("74HC")), Receiver("U4", chip("74"))])

    assert [reading.reads for reading in fight.readings] == ["always low", "depends"]
    assert "outside every data sheet's promise" in fight.sentences[0]
