"""Ready-made methods for capacitors, wire, traces, batteries and video; `data/methods_b.json` names every source.

Where no published case was found, the same law is worked a second way here, by integration or by solving the
transistor's equations; each such test says DERIVED and from what.
"""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from server.engineering.errors import BadInput
from tests.outside.method_sheets import CASES, named, until_zero, verdict, worked


def _printed(value: float, digits: int) -> str:
    """A value with that many digits and no power of ten, as tables print it."""
    return f"{float(f'{value:.{digits - 1}e}'):.10f}".rstrip("0").rstrip(".")


@pytest.mark.parametrize("name", named("ten_degree_rule"))
def test_a_capacitor_lives_twice_as_long_ten_degrees_cooler(name: str) -> None:
    """L = L0 2^((T0-T)/10), common practice, no source; with no ripple current."""
    case = CASES[name]
    given = case["inputs"]

    result = worked("capacitor_replacement", L_rated=given["L0_hours"], T_rated=given["T0"], T=given["T"], I_ripple=0.0)

    assert case["expected"]["L"] == pytest.approx(result.line("L").nominal, rel=case["tolerance"]["rel"])
    assert ("fails" if given["T"] > given["T0"] else "holds") == verdict(result, "T_core")


def test_ripple_current_ages_a_capacitor_by_its_heat() -> None:
    """DERIVED from Joule's law: half the rated current, a quarter of the rise.

    The life is integrated down the temperature, growing by ln 2 every 10 K.
    """
    rise, rate = 5.0 / 4.0, math.log(2.0) / 10.0
    aged = solve_ivp(lambda _, x: [x[0] * rate], (0.0, 105.0 - 45.0 - rise), [2000.0], rtol=1e-11, atol=1e-9)

    result = worked("capacitor_replacement", I_ripple=1.1, I_rated=2.2, K_f=1, rise_rated=5.0, T=45.0, hours=8766.0)

    assert rise == pytest.approx(result.line("rise").nominal, rel=1e-12)
    assert aged.y[0, -1] == pytest.approx(result.line("L").nominal, rel=1e-8)
    assert aged.y[0, -1] / 8766.0 == pytest.approx(result.line("years").nominal, rel=1e-8)


def test_a_capacitor_is_held_to_its_marking_and_its_rating() -> None:
    """DERIVED by hand: 3300 µF for 4700 µF is 29.8 % less; 22 V of 25 V is 88 %, over the 80 % of common practice."""
    result = worked(
        "capacitor_replacement", C_old=4700.0, C_new=3300.0, V_work=22.0, V_rated=25.0, T=50.0, I_ripple=0.0
    )

    assert result.line("C_change").nominal == pytest.approx(-100 * 14 / 47, rel=1e-12)
    assert result.line("V_use").nominal == pytest.approx(88.0, rel=1e-12)
    assert result.line("T_core").nominal == pytest.approx(50.0, rel=1e-12)
    assert {"C_change", "V_use"} == {limit.limit.line for limit in result.limits if limit.verdict == "fails"}


@pytest.mark.parametrize("name", named("awg_table"))
def test_a_gauge_has_the_diameter_section_and_resistance_of_a_printed_table(name: str) -> None:
    """To the three digits printed; the table's last column is the current at 3 A/mm², to two or three."""
    case = CASES[name]
    expected = dict(case["expected"])
    amperes = float(expected.pop("ampere_at_3_A_per_mm2"))

    result = worked(
        "link_wire_drop",
        n=case["inputs"]["awg"],
        length=1e6,
        T=case["inputs"]["temperature_C"],
        I=amperes * 1e3,
    )

    lines = {"diameter_mm": "d", "area_mm2": "A", "ohm_per_km": "R"}
    assert expected == {
        key: _printed(result.line(line).nominal, case["tolerance"]["digits"]) for key, line in lines.items()
    }
    assert result.line("J").nominal == pytest.approx(3.0, rel=0.01)


@pytest.mark.parametrize("name", named("link_wire"))
def test_a_link_drops_its_current_times_its_resistance(name: str) -> None:
    """ASTM B258 diameter, annealed copper at 20 °C."""
    case = CASES[name]
    given, expected, rel = case["inputs"], case["expected"], case["tolerance"]["rel"]

    result = worked("link_wire_drop", n=given["awg"], length=given["length_m"] * 1e3, I=given["I"] * 1e3, T=20.0)

    found = {line: result.line(line).nominal for line in ("d", "A", "R", "V_drop", "P")}
    assert expected["diameter_mm"] == pytest.approx(found["d"], rel=rel)
    assert expected["area_mm2"] == pytest.approx(found["A"], rel=rel)
    assert expected["R"] == pytest.approx(found["R"], rel=rel)
    assert [expected["drop_V"], expected["P"]] == pytest.approx([found["V_drop"] / 1e3, found["P"] / 1e3], rel=rel)


def test_copper_resists_more_when_warm() -> None:
    """R = R20 (1 + 0.00393 (T - 20)), from memory of the annealed copper standard."""
    case = CASES["copper_tempco"]
    cold = worked("link_wire_drop", T=20.0).line("R").nominal

    ratios = [worked("link_wire_drop", T=float(t)).line("R").nominal / cold for t in case["inputs"]["T"]]

    assert case["expected"]["R"] == pytest.approx(ratios, rel=case["tolerance"]["rel"])


@pytest.mark.parametrize("name", named("ipc2221"))
def test_a_trace_needs_the_width_of_the_fitted_charts(name: str) -> None:
    """I = k dT^0.44 A^0.725, solved for the section; carrying and warming undo each other."""
    case = CASES[name]
    given, expected, rel = case["inputs"], case["expected"], case["tolerance"]["rel"]
    fixed: dict[str, float | str] = {
        "I": float(given["I"]),
        "dT": float(given["dT"]),
        "k": 0.048 if given["layer"] == "outer" else 0.024,
        "h": f"{given['copper_oz']} oz/ft²",
        "T_air": 40.0,
    }

    result = worked("trace_current", **fixed, w=expected["width_mm"])

    assert expected["width_mm"] == pytest.approx(result.line("w_needed").nominal, rel=rel)
    assert expected["area_mil2"] == pytest.approx(result.line("A").nominal, rel=rel)
    assert given["I"] == pytest.approx(result.line("I_carried").nominal, rel=rel)
    assert given["dT"] == pytest.approx(result.line("rise").nominal, rel=rel)
    assert 40.0 + given["dT"] == pytest.approx(result.line("T_trace").nominal, rel=rel)


def test_a_trace_outside_the_charts_is_refused_or_marked() -> None:
    """0.5 to 3 oz/ft², 10 to 100 K, up to 0.4 in: from memory of IPC-2221; below 10 K no rise is told."""
    thick = worked("trace_current", h="4 oz/ft²", w=10.0)
    cool = worked("trace_current", I=0.1)

    with pytest.raises(BadInput, match="at least 10 K"):
        worked("trace_current", dT=5.0)
    with pytest.raises(BadInput, match="at most"):
        worked("trace_current", w=12.0)

    assert thick.line("copper").nominal == pytest.approx(4.0, rel=1e-9)
    assert verdict(thick, "copper") == "fails"
    assert cool.line("rise").nominal == 10.0


def test_a_resistor_keeps_a_failed_diode_from_charging_a_coin_cell() -> None:
    """0.6 V across 25 Ω: 24 mA, within the 25 mA of the cell's maker (case coin_cell_diode_shorted)."""
    case = CASES["coin_cell_diode_shorted"]
    given, expected = case["inputs"], case["expected"]

    result = worked(
        "battery_replacement",
        V_rail=given["V_sys"] - given["V_drop_left"],
        V_fresh=given["V_cell"],
        V_end=given["V_cell"],
        R_s=given["R_cell"] + given["R_series"],
        I_charge_max=expected["limit"] * 1e3,
    )

    assert expected["I"] == pytest.approx(result.line("I_fault").nominal / 1e3, rel=case["tolerance"]["rel"])
    assert verdict(result, "I_fault") == "holds"


def test_a_cell_holds_until_load_and_age_have_used_it_up() -> None:
    """DERIVED from the balance of charge, integrated; what leaks back meanwhile is counted the same way."""
    given = CASES["coin_cell_hold_time"]["inputs"]
    year = 365.25 * 24.0
    capacity, load = given["Q_mAh"] * 1e-3, given["I_uA"] * 1e-6 * year
    loss, leak = given["loss_percent_per_year"] / 100 * capacity, 40e-9 * year * 0.05

    time, leaked = until_zero([-load - loss, leak], 0.0, [capacity, 0.0])

    result = worked(
        "battery_replacement",
        Q=given["Q_mAh"],
        I_hold=given["I_uA"],
        loss=given["loss_percent_per_year"],
        I_R=40.0,
        on_share=5.0,
    )

    rel = CASES["coin_cell_hold_time"]["tolerance"]["rel"]
    assert time == pytest.approx(result.line("t_hold").nominal, rel=rel)
    assert leaked / capacity == pytest.approx(result.line("back").nominal / 100, rel=rel)


def test_the_memory_gets_the_cell_less_diode_and_resistor() -> None:
    """DERIVED from Kirchhoff's voltage law, by hand: 2.6 V - 0.4 V - 5 µA x 20 kΩ = 2.1 V; 2.1 V at 2.15 V fails.

    With the rail at 3.1 V, a fresh cell of 3.2 V would feed the running machine.
    """
    result = worked(
        "battery_replacement", V_rail=3.1, V_fresh=3.2, V_end=2.6, V_F=0.4, I_hold=5.0, R_s=20e3, V_keep=2.15
    )

    assert result.line("V_memory_fresh").nominal == pytest.approx(2.7, rel=1e-12)
    assert result.line("V_blocked").nominal == pytest.approx(-0.1, rel=1e-9)
    assert verdict(result, "V_blocked") == "fails"
    assert result.line("V_memory_end").nominal == pytest.approx(2.1, rel=1e-12)
    assert verdict(result, "V_memory_end") == "fails"


_V_T = 1.380649e-23 * 300.0 / 1.602176634e-19


def _follower(base: float, load: float, source: float = 0.0, drawn: float = 0.0) -> float:
    """The emitter voltage of the reference's NPN (IS = 1e-14 A, BF = 100) with a resistor and a current to ground."""

    def surplus(emitter: float) -> float:
        current = emitter / load + drawn
        return 1.01e-14 * math.expm1((base - source * current / 101 - emitter) / _V_T) - current

    return float(brentq(surplus, 0.0, base, xtol=1e-14, rtol=1e-14))


def test_a_follower_gives_video_level_and_resistance_of_the_transistor_equations() -> None:
    """DERIVED from the Ebers-Moll equations, by a solver that is held to case em_emitter_follower first.

    The room is 5 mV at the emitter and 1 % beyond it, since the method takes one step where the solver takes many.
    """
    case = CASES["em_emitter_follower"]
    assert case["expected"]["VE"] == pytest.approx(
        _follower(case["inputs"]["VB"], case["inputs"]["RE"]), abs=case["tolerance"]["v_abs"]
    )
    emitter_load = 1 / (1 / 470 + 1 / (68 + 75))
    white, sync = _follower(3.0, emitter_load), _follower(1.0, emitter_load)
    middle = (white + sync) / 2
    bare = middle + _V_T * math.log1p(middle / emitter_load / 1.01e-14)
    base = bare + 220 * middle / emitter_load / 101
    drawn = middle / 143, middle / emitter_load
    behind, emitter = (
        (_follower(level, ohms, source, current - 1e-6) - _follower(level, ohms, source, current + 1e-6)) / 2e-6
        for level, ohms, source, current in ((base, 470.0, 220.0, drawn[0]), (bare, 1e12, 0.0, drawn[1]))
    )

    result = worked(
        "video_75_ohm_follower",
        V_white=3.0,
        V_sync=1.0,
        V_BE=3.0 - white,
        R_E=470.0,
        R_s=68.0,
        R_L=75.0,
        R_B=220.0,
        beta=100,
    )

    assert (white - sync) * 75 / 143 == pytest.approx(result.line("level").nominal, rel=0.01)
    assert white - sync == pytest.approx(result.line("level_open").nominal, rel=0.01)
    assert white / emitter_load * 1e3 == pytest.approx(result.line("I_white").nominal, rel=1e-9)
    assert sync == pytest.approx(result.line("E_sync").nominal, abs=0.005)
    assert emitter == pytest.approx(result.line("r_e").nominal, rel=0.01)
    assert 68 + behind == pytest.approx(result.line("R_out").nominal, rel=0.01)


def test_an_ended_cable_has_half_the_level_of_an_open_one() -> None:
    """From memory of ITU-R BT.470: 1 V at 75 Ω; 2 V at the emitter and 75 Ω on both sides of the cable make it."""
    result = worked("video_75_ohm_follower", V_white=3.0, V_sync="0.95 V", R_s=75.0, R_L=75.0)

    assert result.line("level").nominal == pytest.approx(result.line("level_open").nominal / 2, rel=1e-12)
    assert result.line("level").nominal == pytest.approx(1.0, rel=0.02)


def test_a_follower_is_no_hotter_at_any_level_than_the_method_says() -> None:
    """DERIVED from Joule's law: (V_CC - V) V/R tried at 5,001 levels, into the cable and into a short."""
    levels = np.linspace(0.0, 6.0, 5001)

    result = worked("video_75_ohm_follower", V_CC=6.0, V_white=3.2, V_BE=0.7, V_sync=1.0, R_E=330.0, R_s=75.0, R_L=75.0)

    found = {line.name: line.nominal for line in result.lines}
    driven, shorted = 1 / 330 + 1 / 150, 1 / 330 + 1 / 75
    assert np.max((6.0 - levels) * levels) * driven * 1e3 == pytest.approx(found["P_Q"], rel=1e-9)
    assert np.max((6.0 - levels) * levels) * shorted * 1e3 == pytest.approx(found["P_Q_short"], rel=1e-9)
    assert found["E_sync"] * driven * 1e3 == pytest.approx(found["I_sync"], rel=1e-12)
    assert 2.5 * shorted * 1e3 == pytest.approx(found["I_short"], rel=1e-12)
    assert pytest.approx(found["P_s_short"], rel=1e-12) == 2.5**2 / 75 * 1e3
    assert found["V_CE"] == pytest.approx(3.5, rel=1e-12)
