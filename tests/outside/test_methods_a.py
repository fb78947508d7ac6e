"""Methods for resistors, logic loads, thresholds, rails and regulators, held against values from outside.

`data/methods_a.json` names the source beside each case. Where no case covers what a method does, its lines are held
here against another way to the same answer: node equations solved as matrices or by root finding, and falling rails
integrated step by step. Each such test says which law it is DERIVED from.
"""

import json
import math
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from server.engineering.calculations import LineResult, Result, evaluate
from server.engineering.errors import BadInput, DivisionByZero
from server.engineering.methods import load_methods
from server.engineering.quantities import convert, parse

METHODS = (
    "capacitor_discharge",
    "divider",
    "falling_rail_window",
    "fan_out",
    "indicator_resistor",
    "linear_regulator_heat",
    "ohms_law_heat",
    "pin_series_resistor",
    "pull_down",
    "pull_up",
    "rail_decay",
    "rail_load_budget",
    "reservoir_ripple",
    "switching_replacement",
    "transistor_threshold",
    "zener_regulator",
)
CASES: list[dict[str, Any]] = json.loads(
    Path(__file__).with_name("data").joinpath("methods_a.json").read_text("utf-8")
)["cases"]
DRAWS = 1000


def worked(slug: str, values: Mapping[str, str]) -> Result:
    """A method at its usual values but for some typed ones."""
    method = load_methods()[slug]
    units = {given.name: given.unit for given in method.inputs}
    typed = {name: parse(text, units[name]) for name, text in values.items()}
    return evaluate(method.calculation({**method.usual_values(), **typed}, draws=DRAWS))


def in_unit(text: str, line: LineResult) -> float:
    """A typed expectation as a figure in a line's unit."""
    return convert(parse(text), line.unit).nominal


def crossings(
    slope: Callable[[float], float], start: float, levels: tuple[float, float], longest: float
) -> list[float]:
    """When dV/dt = slope(V), integrated step by step, passes each level for the first time; it ends at the last."""
    events = [lambda _, v, level=level: float(v[0]) - level for level in levels]
    events[-1].terminal = True  # type: ignore[attr-defined]
    run = solve_ivp(lambda _, v: [slope(float(v[0]))], (0.0, longest), [start], events=events, rtol=1e-10, atol=1e-12)
    assert run.t_events is not None
    return [float(times[0]) for times in run.t_events]


def with_key(key: str) -> Iterable[Any]:
    return [pytest.param(case, id=case["case_id"]) for case in CASES if key in case]


@pytest.mark.parametrize("case", with_key("expected"))
def test_lines_come_to_their_outside_values(case: dict[str, Any]) -> None:
    """At the nominal values, to the relative tolerance beside the case."""
    result = worked(case["method"], case["values"])

    for name, text in case["expected"].items():
        line = result.line(name)
        assert in_unit(text, line) == pytest.approx(line.nominal, rel=case["rel"], abs=1e-12)


@pytest.mark.parametrize("case", with_key("worst"))
def test_tolerances_reach_their_outside_corners(case: dict[str, Any]) -> None:
    """Both ends of the worst case."""
    result = worked(case["method"], case["values"])

    for name, texts in case["worst"].items():
        line = result.line(name)
        low, high = (in_unit(text, line) for text in texts)
        assert [low, high] == pytest.approx([line.worst_low, line.worst_high], rel=case["rel"])


@pytest.mark.parametrize("case", with_key("verdicts"))
def test_limits_say_what_the_outside_values_say(case: dict[str, Any]) -> None:
    """The worst verdict of the limits on a line."""
    limits = worked(case["method"], case["values"]).limits

    for name, verdict in case["verdicts"].items():
        found = {limit.verdict for limit in limits if limit.limit.line == name}
        assert verdict == next(word for word in ("fails", "at risk", "holds") if word in found)


@pytest.mark.parametrize("case", with_key("alone"))
def test_an_unfit_part_fails_on_its_own_limit_and_on_no_other(case: dict[str, Any]) -> None:
    """One or two values are made unfit by hand, the rest stays as usual."""
    failing = {limit.limit.line for limit in worked(case["method"], case["values"]).limits if limit.verdict == "fails"}

    assert {case["alone"]} == failing


@pytest.mark.parametrize("case", with_key("whole"))
def test_fan_out_counts_whole_inputs(case: dict[str, Any]) -> None:
    """Rounded down, as the trade does; a hair is added so that 8 mA / 1.6 mA stays 5."""
    result = worked(case["method"], case["values"])

    assert case["whole"] == {name: math.floor(result.line(name).nominal + 1e-9) for name in case["whole"]}


@pytest.mark.parametrize("case", with_key("exact_ripple"))
def test_ripple_errs_on_the_side_of_safety(case: dict[str, Any]) -> None:
    """The handbook's sag is never less than that of the exact periodic solution."""
    ripple = worked(case["method"], case["values"]).line("ripple")

    assert case["exact_ripple"] < ripple.nominal


@pytest.mark.parametrize("slug", METHODS)
def test_a_method_works_out_and_holds_at_its_usual_values(slug: str) -> None:
    """Every line has finite ends in order, and a method opens on a design that keeps its own limits."""
    method = load_methods()[slug]

    result = evaluate(method.calculation(method.usual_values(), draws=DRAWS))

    for line in result.lines:
        ends = (line.worst_low, line.interval_low, line.interval_high, line.worst_high)
        assert all(math.isfinite(end) for end in ends), line
        assert sorted(ends) == pytest.approx(ends), line
        assert line.worst_low <= line.nominal <= line.worst_high
    assert not [limit.sentence for limit in result.limits if limit.verdict != "holds"]


@pytest.mark.parametrize("slug", METHODS)
def test_every_input_bears_on_a_line_or_a_limit(slug: str) -> None:
    """Nobody is asked for a value that changes nothing."""
    method = load_methods()[slug]
    used = " ".join(line.expression for line in method.lines).replace("(", " ").replace(")", " ").replace(",", " ")
    words = {*used.replace("**2", "").split(), *(str(limit.value) for limit in method.limits)}

    assert not [given.name for given in method.inputs if given.name not in words]


# --- networks, solved another way ---


def test_a_divider_keeps_kirchhoffs_law_at_its_joint() -> None:
    """DERIVED from Kirchhoff's current law: conductance matrix with the supply held, and a load that pushes current."""
    r1, r2, r_l, i_l, v = 6800.0, 3300.0, 15_000.0, -400e-6, -12.0
    conductances = np.array([[1.0, 0.0], [-1 / r1, 1 / r1 + 1 / r2 + 1 / r_l]])

    top, joint = np.linalg.solve(conductances, np.array([v, -i_l]))
    result = worked("divider", {"V": "-12 V", "R1": "6k8", "R2": "3k3", "R_L": "15 kΩ", "I_L": "-400 µA"})

    assert joint == pytest.approx(result.line("V_loaded").nominal, rel=1e-12)
    assert (top - joint) / r1 * 1e3 == pytest.approx(result.line("I_top").nominal, rel=1e-12)
    assert (top - joint) ** 2 / r1 * 1e3 == pytest.approx(result.line("P_R1").nominal, rel=1e-12)
    assert joint**2 / r2 * 1e3 == pytest.approx(result.line("P_R2").nominal, rel=1e-12)


def test_a_pull_down_at_its_bounds_just_meets_level_and_current() -> None:
    """DERIVED from Kirchhoff's current law: at R_most the line stands at V_L, at R_least the driver gives I_OH."""
    n_in, i_il, i_ih, n_out, i_leak, v_l, v_h, i_oh = 3, 0.36e-3, 20e-6, 2, 20e-6, 0.8, 5.0, 15e-3
    most = brentq(lambda r: v_l / r - n_in * i_il - n_out * i_leak, 1.0, 1e6)
    least = brentq(lambda r: v_h / r + n_in * i_ih - i_oh, 1.0, 1e6)
    values = {"n_in": "3", "I_IL": "0.36 mA", "n_out": "2", "V_H": "5 V", "I_OH": "15 mA"}

    at_most = worked("pull_down", {**values, "R": f"{most!r} Ω"})
    at_least = worked("pull_down", {**values, "R": f"{least!r} Ω"})

    assert most == pytest.approx(at_most.line("R_most").nominal, rel=1e-9)
    assert least == pytest.approx(at_most.line("R_least").nominal, rel=1e-9)
    assert v_l == pytest.approx(at_most.line("V_low").nominal, rel=1e-9)
    assert i_oh * 1e3 == pytest.approx(at_least.line("I_high").nominal, rel=1e-9)


def test_a_pull_up_at_its_bounds_just_meets_level_and_current() -> None:
    """DERIVED from Kirchhoff's current law: at R_most the line stands at V_H, at R_least the output sinks I_OL."""
    values = {"V_CC": "5 V", "V_OL": "0.4 V"}
    most = brentq(lambda r: (5.0 - 2.7) / r - 100e-6 - 4 * 20e-6, 1.0, 1e6)
    least = brentq(lambda r: (5.0 - 0.4) / r + 4 * 0.4e-3 - 8e-3, 1.0, 1e6)

    at_most = worked("pull_up", {**values, "R": f"{most!r} Ω"})
    at_least = worked("pull_up", {**values, "R": f"{least!r} Ω"})

    assert at_most.line("V_high").nominal == pytest.approx(2.7, rel=1e-9)
    assert at_most.line("R_most").nominal == pytest.approx(most, rel=1e-9)
    assert at_least.line("I_low").nominal == pytest.approx(8.0, rel=1e-9)
    assert at_least.line("I_R").nominal == pytest.approx(at_least.line("I_left").nominal, rel=1e-9)
    assert at_least.line("P").nominal == pytest.approx(4.6**2 / least * 1e3, rel=1e-9)


def test_a_line_rises_and_falls_in_the_time_that_integration_gives() -> None:
    """DERIVED from C dV/dt = (V_end - V) / R: from 10 to 90 % of the swing, whatever leaks at the end."""
    rc = 4.7e3 * 50e-12

    began, ended = crossings(lambda v: (1.0 - v) / rc, 0.0, (0.1, 0.9), 5 * rc)
    rise = worked("pull_up", {"R": "4k7", "C": "50 pF"}).line("t_rise").nominal
    fall = worked("pull_down", {"R": "4k7", "C": "50 pF"}).line("t_fall").nominal

    assert (ended - began) * 1e9 == pytest.approx(rise, rel=1e-6)
    assert (ended - began) * 1e9 == pytest.approx(fall, rel=1e-6)


def test_a_pull_up_is_refused_where_the_inputs_take_all_that_the_output_can_sink() -> None:
    """No resistor would do: 0.44 mA cannot sink a TTL input's 1.6 mA, and no negative resistance is made up."""
    with pytest.raises(DivisionByZero, match="max\\(0, I_left\\)"):
        worked("pull_up", {"I_OL": "0.44 mA", "n_in": "1", "I_IL": "1.6 mA"})


@pytest.mark.parametrize(
    ("r", "r_load", "expected"),
    [("500 Ω", 2000.0, 6.761904761904762), ("500 Ω", 500.0, 5.0), ("100 kΩ", 500.0, 10 * 500 / 100_500)],
)
def test_a_zener_meets_a_resistor_at_the_voltage_that_the_nodes_give(r: str, r_load: float, expected: float) -> None:
    """Sedra and Smith's example 3.8 by its node equation (FOSSEE/Scilab-TBC-Uploads 68/, commit b1f5c3f); DERIVED.

    Below 6.7 V the diode is off and the two resistors are a plain divider.
    """
    values = {"V_in": "10 V", "R": r, "V_Z": "6.8 V", "I_ZT": "5 mA", "r_Z": "20 Ω"}

    def excess(i_load: float) -> float:
        return worked("zener_regulator", {**values, "I_L": f"{i_load!r} A"}).line("V_out").nominal - i_load * r_load

    v_out = float(brentq(excess, 0.0, 10.0 / r_load, xtol=1e-15)) * r_load

    assert expected == pytest.approx(v_out, rel=1e-9)


def test_a_zener_that_drops_out_is_told_by_its_current() -> None:
    """45 V through 100 kΩ into 500 Ω: 0.224 V, and the diode carries nothing.

    vikdotdev/lessons-in-electric-circuits (commit 12a44f4) html/Semi/SEMI_3.html; SEEN.
    """
    result = worked("zener_regulator", {"V_in": "45 V", "R": "100 kΩ", "V_Z": "12.6 V", "I_L": "447.76 µA"})

    assert result.line("V_out").nominal == pytest.approx(0.224, abs=0.0005)
    assert result.line("I_Z").nominal == 0.0
    assert {"fails"} == {limit.verdict for limit in result.limits if limit.limit.line in ("I_Z", "V_out")}


def test_the_largest_zener_resistor_leaves_just_the_knee_current() -> None:
    """DERIVED from Kirchhoff's current law: with R_most fitted, the diode carries I_ZK."""
    values = {"V_in": "12 V", "V_Z": "6.8 V", "r_Z": "10 Ω", "I_L": "10 mA", "I_ZK": "1 mA"}
    most = worked("zener_regulator", values).line("R_most").nominal

    fitted = worked("zener_regulator", {**values, "R": f"{most!r} Ω"})

    assert fitted.line("I_Z").nominal == pytest.approx(1.0, rel=1e-9)


def test_an_indicator_takes_what_its_supply_gives_and_no_more() -> None:
    """DERIVED from the conservation of energy; the resistor for the current wanted gives that current."""
    values = {"V": "12 V", "V_F": "2.1 V", "V_drop": "0.2 V", "I_wanted": "7 mA"}
    wanted = worked("indicator_resistor", values).line("R_wanted").nominal

    result = worked("indicator_resistor", {**values, "R": f"{wanted!r} Ω"})
    current = result.line("I").nominal

    assert current == pytest.approx(7.0, rel=1e-9)
    assert (12 - 0.2) * current == pytest.approx(result.line("P_R").nominal + result.line("P_D").nominal, rel=1e-9)


def test_a_resistor_at_its_greatest_voltage_makes_just_the_heat_permitted() -> None:
    """DERIVED from the derating line: at any air temperature on it, full use takes the body just to T_zero."""
    values = {"R": "1 kΩ", "T_a": "100 °C"}
    most = worked("ohms_law_heat", values).line("V_most").nominal

    result = worked("ohms_law_heat", {**values, "V": f"{most!r} V"})

    assert result.line("P").nominal == pytest.approx(result.line("P_allowed").nominal, rel=1e-9)
    assert result.line("T_spot").nominal == pytest.approx(155.0, rel=1e-9)


def test_a_transistor_at_its_supply_has_the_base_current_that_it_needs() -> None:
    """DERIVED from Kirchhoff's current law at the base: R1's current splits into R2's and the base's."""
    values = {"V_BE": "0.65 V", "R1": "22 kΩ", "R2": "4k7", "V_Z": "3.3 V", "I_C": "5 mA", "h_FE": "100"}
    on = worked("transistor_threshold", values).line("V_on").nominal

    result = worked("transistor_threshold", {**values, "V_normal": f"{on!r} V"})

    assert (on - 3.3 - 0.65) / 22e3 == pytest.approx(0.65 / 4700 + 50e-6, rel=1e-9)
    assert result.line("I_R2").nominal == pytest.approx(0.65 / 4.7, rel=1e-9)
    assert result.line("I_B_normal").nominal == pytest.approx(50.0, rel=1e-9)


def test_a_switching_regulator_gives_out_no_more_than_it_takes_in() -> None:
    """DERIVED from the conservation of energy, for both regulators."""
    result = worked(
        "switching_replacement", {"V_in": "12 V", "V_out": "5 V", "I": "0.7 A", "I_q": "6 mA", "efficiency": "85 %"}
    )
    p_out = result.line("P_out").nominal
    i_in, i_less = result.line("I_in").nominal, result.line("I_less").nominal

    assert 12 * i_in == pytest.approx(p_out + result.line("P_switching").nominal, rel=1e-12)
    assert 12 * (i_in + i_less) == pytest.approx(p_out + result.line("P_linear").nominal, rel=1e-12)


def test_a_replacement_that_saves_no_heat_fails() -> None:
    """DERIVED: 5.5 V to 5 V is 91 % efficient when linear; a module of 80 % makes more heat."""
    values = {"V_in": "5.5 V", "V_least": "5.3 V", "I": "0.5 A", "I_q": "1 mA", "efficiency": "80 %"}

    (saved,) = [limit for limit in worked("switching_replacement", values).limits if limit.limit.line == "P_less"]

    assert saved.verdict == "fails"


def test_the_most_a_heat_sink_may_have_takes_the_chip_just_to_its_highest_temperature() -> None:
    """DERIVED from T_J = T_A + P (theta_JC + theta_CS + theta_SA), put back in; below zero where no sink is enough."""
    values = {"V_in": "12 V", "V_out": "5 V", "I": "0.5 A", "I_q": "5 mA", "T_a": "40 °C", "theta_CS": "1 K/W"}
    most = worked("linear_regulator_heat", values).line("theta_most").nominal

    fitted = worked("linear_regulator_heat", {**values, "theta_SA": f"{most!r} K/W"})
    hopeless = worked("linear_regulator_heat", {**values, "I": "3 A"})

    assert fitted.line("T_J").nominal == pytest.approx(125.0, rel=1e-9)
    assert hopeless.line("theta_most").nominal < 0.0


# --- falling rails, integrated ---

Load = Callable[[float], float]


def seconds_between(load: Load, capacitance: float, start: float, upper: float, lower: float) -> float:
    """Time from one voltage to another as C dV/dt = -I(V) is integrated from the start."""
    longest = 20 * capacitance * start / load(start)
    began, ended = crossings(lambda v: -load(v) / capacitance, start, (min(upper, start - 1e-9), lower), longest)
    return ended - began


def loads(v_0: float, i_0: float) -> dict[str, Load]:
    """The three loads that draw the same current at the full rail, by the line that times them."""
    return {"t_R": lambda v: i_0 * v / v_0, "t_I": lambda _: i_0, "t_P": lambda v: i_0 * v_0 / v}


@pytest.mark.parametrize(("v_0", "v_1", "farads", "i_0"), [(12.0, 7.0, 4.7e-3, 0.5), (17.0, 0.5, 1e-3, 2.0)])
def test_a_rail_falls_in_the_time_that_integration_gives(v_0: float, v_1: float, farads: float, i_0: float) -> None:
    """DERIVED from C dV/dt = -I, by scipy's integrator; a resistance takes longest and a constant power least."""
    result = worked("rail_decay", {"V_0": f"{v_0} V", "V_1": f"{v_1} V", "C": f"{farads * 1e6} µF", "I_0": f"{i_0} A"})
    times = {name: result.line(name).nominal / 1e3 for name in ("t_R", "t_I", "t_P")}

    for name, load in loads(v_0, i_0).items():
        assert seconds_between(load, farads, v_0, v_0, v_1) == pytest.approx(times[name], rel=1e-6)
    assert times["t_P"] < times["t_I"] < times["t_R"]


def test_a_rail_that_is_low_already_takes_no_time() -> None:
    """5 V to 7 V is no fall: zero, and never a negative time."""
    result = worked("rail_decay", {"V_0": "5 V", "V_1": "7 V"})

    assert not any(result.line(name).nominal for name in ("t_R", "t_I", "t_P", "E"))


@pytest.mark.parametrize("zener", [0.0, 4.7])
def test_an_open_window_lasts_as_long_as_integration_gives(zener: float) -> None:
    """7.7 V to 1.2 V on a rail from 12 V: common practice, no source; lengths DERIVED from C dV/dt = -I."""
    result = worked(
        "falling_rail_window",
        {"V_0": "12 V", "V_first": "7.7 V", "V_second": "1.2 V", "V_Z": f"{zener} V", "C": "1000 µF", "I_0": "1 A"},
    )

    assert 6.5 - zener == pytest.approx(result.line("window").nominal)
    assert zener - 6.5 == pytest.approx(result.line("gap").nominal)
    for name, load in loads(12.0, 1.0).items():
        length = seconds_between(load, 1e-3, 12.0, 7.7, 1.2 + zener) * 1e3
        assert length == pytest.approx(result.line(name).nominal, rel=1e-6)


def test_a_window_closed_by_a_weak_zener_is_at_risk_and_says_how_long_it_could_last() -> None:
    """7.7 V ± 0.5 V against 1.2 V ± 0.1 V and 6.8 V ±5 %: closed by 0.3 V at the middle, open by 0.64 V at worst.

    DERIVED: corners of the sums.
    """
    result = worked("falling_rail_window", {"V_Z": "6.8 V ±5 %", "C": "1000 µF", "I_0": "1 A", "V_0": "12 V"})
    gap, window, length = (result.line(name) for name in ("gap", "window", "t_R"))

    assert (gap.nominal, gap.worst_low) == pytest.approx((0.3, -0.64))
    assert (window.nominal, window.worst_low, window.worst_high) == pytest.approx((0.0, 0.0, 0.64))
    assert (length.nominal, length.worst_high) == pytest.approx((0.0, 12 * math.log(8.2 / 7.56)))
    verdicts = [limit.verdict for limit in result.limits]
    assert verdicts == ["at risk", "holds"]


def test_a_window_begins_at_switch_off_where_the_rail_never_reached_the_guards_threshold() -> None:
    """DERIVED: a guard that needs 7.7 V never guarded on a 5 V rail; the window is all from 5 V down."""
    result = worked("falling_rail_window", {"V_0": "5 V", "V_first": "7.7 V", "V_second": "1.2 V", "V_Z": "0 V"})

    assert result.line("t_start").nominal == 0.0
    assert result.line("window").nominal == pytest.approx(3.8)


# --- discharge ---


def test_a_discharge_leaves_what_integration_gives_and_no_energy_is_lost_on_the_way() -> None:
    """DERIVED from C dV/dt = -V / R with the resistor's energy integrated along."""
    v_0, farads, ohms, wait = 325.0, 220e-6, 10e3, 4.0
    run = solve_ivp(lambda _, y: [-y[0] / (ohms * farads), y[0] ** 2 / ohms], (0, wait), [v_0, 0.0], rtol=1e-10)
    left, swallowed = run.y[:, -1]

    result = worked("capacitor_discharge", {"V_0": "325 V", "C": "220 µF", "R": "10 kΩ", "t_wait": "4 s"})

    assert left == pytest.approx(result.line("V_after").nominal, rel=1e-6)
    assert swallowed + farads * left**2 / 2 == pytest.approx(result.line("E").nominal, rel=1e-6)


def test_no_discharge_is_worked_out_to_more_than_sixty_volts() -> None:
    """60 V d.c.: IEC 62368-1:2018 table 4, from memory; IEC 60065 9.1.1 as quoted in a television service manual."""
    with pytest.raises(BadInput, match="at most 60 V"):
        worked("capacitor_discharge", {"V_safe": "61 V"})
