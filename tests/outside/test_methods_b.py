"""Ready-made methods for time, clocks, memory and substitution; `data/methods_b.json` names every source.

Where no published case was found, the same law is worked a second way here: integrated by scipy, with phasors,
or by solving Kirchhoff's equations; each such test says DERIVED and from what.
"""

import math

import numpy as np
import pytest

from server.engineering.calculations import evaluate
from server.engineering.errors import OutOfDomain
from tests.outside.method_sheets import CASES, method, named, until_zero, verdict, worked

_SLUGS = (
    "battery_replacement",
    "capacitor_replacement",
    "clock_chain_video",
    "link_wire_drop",
    "memory_access_time",
    "rc_corner_frequency",
    "rc_delay_reset",
    "resistor_substitution",
    "resistor_substitution_parallel",
    "trace_current",
    "video_75_ohm_follower",
)


@pytest.mark.parametrize("slug", _SLUGS)
def test_a_method_works_at_its_usual_values(slug: str) -> None:
    """Every line has a nominal inside a finite interval and worst case, and no limit fails."""
    ready = method(slug)

    result = evaluate(ready.calculation(ready.usual_values(), draws=10_000))

    for line in result.lines:
        ends = (line.worst_low, line.interval_low, line.interval_high, line.worst_high)
        assert all(math.isfinite(end) for end in (line.nominal, *ends)), line.name
        assert list(ends) == sorted(ends), line.name
        assert line.worst_low <= line.nominal <= line.worst_high, line.name
    assert "fails" not in {limit.verdict for limit in result.limits}


@pytest.mark.parametrize("slug", _SLUGS)
def test_every_input_bears_on_a_line_or_a_limit(slug: str) -> None:
    """A method asks for nothing that it does not use."""
    ready = method(slug)
    used = " ".join([*(line.expression for line in ready.lines), *(str(limit.value) for limit in ready.limits)])
    words = set("".join(mark if mark.isalnum() or mark == "_" else " " for mark in used).split())

    names = {given.name for given in ready.inputs} | {fixed.name for fixed in ready.constants}

    assert set() == names - words


@pytest.mark.parametrize("name", named("rc_charge"))
def test_a_charging_capacitor_gets_to_the_printed_voltage_at_the_printed_time(name: str) -> None:
    """15 V through 10 kΩ into 100 µF: the times for half a digit less and half a digit more lie about the table's."""
    given, printed = CASES[name]["inputs"], float(CASES[name]["expected"]["V_C"])
    fixed = {"V": given["V"], "R": given["R"], "C": given["C"] * 1e6, "I_leak": 0.0, "I_in": 0.0, "V_0": 0.0}

    early, late = (
        worked("rc_delay_reset", **fixed, V_th=printed + half).line("t").nominal / 1000 for half in (-0.0005, 0.0005)
    )

    assert early <= given["t"] <= late


def test_a_reset_pulse_lasts_until_its_threshold() -> None:
    """t = -RC ln(1 - Vth/V), case reset_pulse_2; what the supply's rise takes of it is gone."""
    case = CASES["reset_pulse_2"]
    given = case["inputs"]

    result = worked(
        "rc_delay_reset",
        V=given["V"],
        R=given["R"],
        C=given["C"] * 1e6,
        V_th=given["threshold"],
        I_leak=0.0,
        I_in=0.0,
        V_0=0.0,
        t_rise=50.0,
    )

    assert case["expected"]["t"] == pytest.approx(result.line("t").nominal / 1000, rel=case["tolerance"]["rel"])
    assert case["expected"]["t"] - 0.05 == pytest.approx(result.line("t_left").nominal / 1000, rel=1e-9)


def test_leakage_and_a_charge_left_over_change_the_delay_as_integration_says() -> None:
    """DERIVED from Kirchhoff's current law, C dv/dt = (V - v)/R - I, integrated up to the threshold."""
    volts, ohms, farads, amperes, left, threshold = 5.0, 100e3, 10e-6, 2.5e-6, 0.15, 2.2

    # with y = v - threshold, dy/dt = (V - threshold - I R)/(R C) - y/(R C)
    rate, slope = (volts - threshold - amperes * ohms) / (ohms * farads), -1 / (ohms * farads)
    time, _ = until_zero([rate], slope, [left - threshold])

    result = worked("rc_delay_reset", V=5.0, R=100e3, C=10.0, I_leak=3.0, I_in=-0.5, V_0=0.15, V_th=2.2)

    assert time == pytest.approx(result.line("t").nominal / 1000, rel=1e-7)
    assert rate == pytest.approx(result.line("slope").nominal, rel=1e-12)


def test_a_reset_that_leakage_keeps_from_ending_is_refused() -> None:
    """40 µA through 100 kΩ hold a 5 V capacitor at 1 V, below the threshold: there is no time to tell."""
    with pytest.raises(OutOfDomain, match="logarithm"):
        worked("rc_delay_reset", V=5.0, R=100e3, I_leak=40.0, I_in=0.0, V_th=2.0)


def test_a_corner_has_its_frequency_its_time_constant_and_its_edge() -> None:
    """f = 1/(2 pi R C), t = RC ln 9, case rc_corner."""
    case = CASES["rc_corner"]
    expected, rel = case["expected"], case["tolerance"]["rel"]

    result = worked("rc_corner_frequency", R=case["inputs"]["R"], C=case["inputs"]["C"] * 1e9)

    assert expected["f"] == pytest.approx(result.line("f_c").nominal, rel=rel)
    assert expected["tau"] == pytest.approx(result.line("tau").nominal / 1000, rel=rel)
    assert expected["t_10_90"] == pytest.approx(result.line("t_edge").nominal / 1000, rel=rel)


@pytest.mark.parametrize("hertz", [0.0, 15.9, 159.15494309189535, 4000.0])
def test_what_passes_an_rc_is_the_phasor_divider(hertz: float) -> None:
    """DERIVED from Kirchhoff's voltage law with impedances R and 1/(jwC), in complex arithmetic."""
    admittance = 2j * math.pi * hertz * 100e-9 * 10e3

    result = worked("rc_corner_frequency", R=10e3, C=100.0, f=hertz)

    assert abs(1 / (1 + admittance)) == pytest.approx(result.line("low_pass").nominal / 100, rel=1e-12)
    assert abs(admittance / (1 + admittance)) == pytest.approx(result.line("high_pass").nominal / 100, rel=1e-12)


@pytest.mark.parametrize("name", named("clock_divide"))
def test_a_clock_divides_down_to_line_and_field(name: str) -> None:
    """Clock, periods in a line, lines in a field."""
    case = CASES[name]
    given, rel = case["inputs"], case["tolerance"]["rel"]

    result = worked(
        "clock_chain_video", f=given["clock_Hz"] / 1e6, N_line=given["clocks_per_line"], N_field=given["lines"]
    )

    assert case["expected"]["line_Hz"] == pytest.approx(result.line("f_line").nominal * 1e3, rel=rel)
    assert case["expected"]["field_Hz"] == pytest.approx(result.line("f_field").nominal, rel=rel)
    assert 1 / case["expected"]["line_Hz"] == pytest.approx(result.line("t_line").nominal * 1e-6, rel=rel)


def test_four_times_the_subcarrier_gives_all_rates_of_a_525_line_picture() -> None:
    """ITU-R BT.470 system M: 315/88 MHz, times 2/455, times 2/525, exact fractions."""
    expected = CASES["ntsc_chain"]["expected"]

    result = worked("clock_chain_video", f=expected["f_14_318"] / 1e6, N_line=910, N_field=262.5, N_sub=4)

    assert expected["subcarrier_Hz"] == pytest.approx(result.line("f_sub").nominal * 1e3, rel=1e-12)
    assert expected["line_Hz"] == pytest.approx(result.line("f_line").nominal * 1e3, rel=1e-12)
    assert expected["field_Hz"] == pytest.approx(result.line("f_field").nominal, rel=1e-12)


@pytest.mark.parametrize("name", named("bt601"))
def test_the_active_dots_of_a_line_last_as_long_as_their_clock_says(name: str) -> None:
    """ITU-R BT.601: 720 of 858 or 864 samples at 13.5 MHz, too long for the 52 µs that show."""
    case = CASES[name]
    given, expected, rel = case["inputs"], case["expected"], case["tolerance"]["rel"]

    result = worked(
        "clock_chain_video",
        f=given["clock_Hz"] / 1e6,
        N_line=given["clocks_per_line"],
        N_dot=1,
        dots=given["active"],
        t_room=52.0,
    )

    assert expected["line_Hz"] == pytest.approx(result.line("f_line").nominal * 1e3, rel=rel)
    assert expected["active_us"] == pytest.approx(result.line("t_shown").nominal, rel=rel)
    assert given["clock_Hz"] == pytest.approx(result.line("f_dot").nominal * 1e6, rel=1e-12)
    assert verdict(result, "t_shown") == "fails"


@pytest.mark.parametrize(("access", "holds"), [(200.0, "memory_200ns_holds"), (250.0, "memory_250ns_holds")])
def test_what_is_left_of_a_cycle_decides_which_memory_is_fast_enough(access: float, holds: str) -> None:
    """500 ns less 150, 45, 18 and 50: 237 ns from chip select, case access_time_budget."""
    case = CASES["access_time_budget"]
    given = case["inputs"]

    result = worked(
        "memory_access_time",
        T=given["clock_ns"],
        t_addr=given["address_valid_ns"],
        t_dec=given["decode_ns"],
        t_buf=given["buffer_ns"],
        t_setup=given["setup_ns"],
        t_CE=access,
    )

    assert case["expected"]["available_ns"] == pytest.approx(result.line("from_select").nominal, abs=1e-9)
    assert ("holds" if case["expected"][holds] else "fails") == verdict(result, "from_select")


def test_each_way_into_a_memory_has_a_budget_of_its_own() -> None:
    """DERIVED from the timing diagram, by hand: 500 - 150 - 20 - 18 - 50, less 45, and 500 - 250 - 18 - 50."""
    result = worked(
        "memory_access_time",
        T=500.0,
        t_addr=150.0,
        t_latch=20.0,
        t_strobe=250.0,
        t_dec=45.0,
        t_buf=18.0,
        t_setup=50.0,
        t_AA=250.0,
        t_CE=250.0,
        t_OE=180.0,
    )

    budget = {name: result.line(name).nominal for name in ("from_address", "from_select", "from_enable", "spare")}
    assert pytest.approx(budget) == {"from_address": 262.0, "from_select": 217.0, "from_enable": 182.0, "spare": -33.0}
    assert [limit.verdict for limit in result.limits] == ["holds", "fails", "holds"]


def test_470_ohm_for_510_ohm_alone_in_its_line() -> None:
    """Common practice, no source: 92.16 % of the value, 8.51 % more current, and over 10 mA where 510 Ω kept below."""
    case = CASES["470_for_510"]
    given, expected = case["inputs"], case["expected"]

    result = worked(
        "resistor_substitution", V=given["V"], R_was=given["R_was"], R_a=given["R_new"], R_b=0.0, R_rest=0.0
    )

    room = case["tolerance"]["abs"]
    assert expected["ratio_percent"] == pytest.approx(result.line("ratio").nominal, abs=room)
    assert expected["current_change_percent"] == pytest.approx(result.line("change").nominal, abs=room)
    assert expected["I_was_mA"] == pytest.approx(result.line("I_was").nominal, abs=room)
    assert expected["I_new_mA"] == pytest.approx(result.line("I_new").nominal, abs=room)
    assert verdict(result, "I_new") == "fails"


@pytest.mark.parametrize(
    ("slug", "branch"), [("resistor_substitution", [430.0 + 82.0]), ("resistor_substitution_parallel", [430.0, 82.0])]
)
def test_a_substitute_in_a_divider_is_what_its_node_equation_says(slug: str, branch: list[float]) -> None:
    """DERIVED from Kirchhoff's current law at the node between substitute and rest, and from the balance of power."""
    volts, rest, was = 12.0, 2200.0, 510.0
    into = sum(1 / ohms for ohms in branch)
    node = float(np.linalg.solve(np.array([[into + 1 / rest]]), np.array([volts * into]))[0])

    result = worked(slug, V=volts, R_was=was, R_a=430.0, R_b=82.0, R_rest=rest)

    found = {line.name: line.nominal for line in result.lines}
    assert node == pytest.approx(found["V_new"], rel=1e-12)
    assert node / rest * 1e3 == pytest.approx(found["I_new"], rel=1e-12)
    assert volts / (was + rest) * 1e3 == pytest.approx(found["I_was"], rel=1e-12)
    assert volts / (1 + was / rest) == pytest.approx(found["V_was"], rel=1e-12)
    assert 100 / (into * was) == pytest.approx(found["ratio"], rel=1e-12)
    assert (node / rest) / (volts / (was + rest)) - 1 == pytest.approx(found["change"] / 100, rel=1e-9)
    assert (volts - node) * node / rest * 1e3 == pytest.approx(found["P_a"] + found["P_b"], rel=1e-12)


@pytest.mark.parametrize("name", named("pair_tolerance"))
def test_a_pair_has_the_limits_of_its_parts_together(name: str) -> None:
    """Limits of a + b and of a b/(a + b)."""
    case = CASES[name]
    given, expected = case["inputs"], case["expected"]
    ohms = {key: f"{given[key].split()[0]} Ω ±{given[key].split('+-')[1]}" for key in "ab"}
    slug = "resistor_substitution" if given["joined"] == "series" else "resistor_substitution_parallel"

    line = worked(slug, R_a=ohms["a"], R_b=ohms["b"]).line("R_new")

    assert [expected["nominal"], expected["low"], expected["high"]] == pytest.approx(
        [line.nominal, line.worst_low, line.worst_high], rel=case["tolerance"]["rel"]
    )


def test_the_best_pair_for_510_ohm_changes_nothing() -> None:
    """120 Ω and 390 Ω of E12 in series, case pair_E12_510."""
    best = CASES["pair_E12_510"]["expected"]["best"][0]

    result = worked("resistor_substitution", R_was=510.0, R_a=best["a"], R_b=best["b"])

    assert result.line("change").nominal == pytest.approx(0.0, abs=1e-9)
    assert result.line("ratio").nominal == pytest.approx(100.0, rel=1e-12)
