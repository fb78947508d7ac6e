"""Propagation against published and exact answers: `data/uncertainty.json` names the source beside each case.

GUM H.1; JCGM 101 9.2 to 9.4 against their exact solutions; dividers; lines whose inside beats the corners; shares of
the variance; lopsided tolerances. Monte Carlo answers are held to the tolerance beside the case, for 10^5 draws.
"""

import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from server.engineering.calculations import Calculation, Input, Line, LineResult, evaluate
from server.engineering.formulas import compile_line
from server.engineering.methods import load_methods
from server.engineering.propagation import Array, box, draw, interval
from server.engineering.quantities import Toleranced, exact, parse

_CASES: dict[str, dict[str, Any]] = {
    case["case_id"]: case
    for case in json.loads(Path(__file__).with_name("data").joinpath("uncertainty.json").read_text("utf-8"))["cases"]
}
SEED = 1995
# Shares are estimated from 32,768 draws, good to about a percent.
SHARE = 0.02


def _normal(estimate: float, u: float, unit: str = "") -> Toleranced:
    return Toleranced(estimate, estimate - 2 * u, estimate + 2 * u, unit, "standard")


def _rectangular(estimate: float, half_width: float, unit: str = "") -> Toleranced:
    return Toleranced(estimate, estimate - half_width, estimate + half_width, unit)


def _line(expression: str, unit: str, values: Mapping[str, Toleranced]) -> LineResult:
    inputs = tuple(Input(name, value) for name, value in values.items())
    return evaluate(Calculation(inputs, (Line("y", expression, unit),), seed=SEED)).line("y")


def _drawn(expression: str, values: Mapping[str, Toleranced]) -> Array:
    drawn = {name: draw(name, box(value), 100_000, SEED) for name, value in values.items()}
    return np.sort(np.asarray(compile_line(expression)(drawn)))


def test_an_end_gauge_comes_out_with_its_second_order_uncertainty() -> None:
    """GUM H.1: 50 000 838 nm; draws see the second-order term, so u is 33.8 nm where the first-order sum is 31.7."""
    case = _CASES["gum_h1_end_gauge"]
    given, expected = case["inputs"], case["expected"]

    values = {
        "ls": _normal(given["ls"][0], given["ls"][1], "nm"),
        "d2": _normal(0.0, given["d_systematic"][1], "nm"),
        "d0": _normal(given["d_repeat"][0], given["d_repeat"][1], "nm"),
        "d1": _normal(0.0, given["d_random"][1], "nm"),
        "alpha_s": _rectangular(11.5e-6, 2e-6, "1/K"),
        "d_alpha": _rectangular(0.0, 1e-6, "1/K"),
        "theta": _normal(-0.1, math.sqrt(0.2**2 + 0.5**2 / 2), "K"),
        "d_theta": _rectangular(0.0, 0.05, "K"),
    }

    line = _line("ls + d2 + d0 + d1 - ls * (d_alpha * theta + alpha_s * d_theta)", "nm", values)

    assert expected["l"] == pytest.approx(line.nominal, abs=0.5)
    assert expected["u_c_with_second_order"] == pytest.approx(line.uncertainty, rel=0.01)
    for name, component in expected["components"].items():
        share = (component / expected["u_c_with_second_order"]) ** 2
        assert share == pytest.approx(line.shares[name], abs=SHARE)


@pytest.mark.parametrize(
    ("name", "each"),
    [
        ("jcgm101_9_2_2_normal", _normal(0.0, 1.0)),
        ("jcgm101_9_2_3_rectangular", _rectangular(0.0, math.sqrt(3.0))),
    ],
)
def test_four_like_inputs_add_up_to_the_exact_interval(name: str, each: Toleranced) -> None:
    """JCGM 101 9.2.2 and 9.2.3: one uncertainty, and an interval that knows the shape of what was added."""
    case = _CASES[name]

    line = _line("x1 + x2 + x3 + x4", "", {f"x{i}": each for i in range(1, 5)})

    assert case["expected"]["mean"] == pytest.approx(line.mean, abs=0.03)
    assert case["expected"]["u"] == pytest.approx(line.uncertainty, rel=0.01)
    assert case["expected"]["interval"] == pytest.approx(
        [line.interval_low, line.interval_high], abs=case["tolerance"]["mc_abs"]
    )


def test_a_dominant_rectangular_input_gives_the_exact_interval() -> None:
    """JCGM 101 9.2.4: the normal approximation would say 19.9 where the truth is 17.0."""
    case = _CASES["jcgm101_9_2_4_one_dominates"]
    widths = {f"x{i}": _rectangular(0.0, math.sqrt(3.0) * sd) for i, sd in enumerate((1, 1, 1, 10), start=1)}

    line = _line("x1 + x2 + x3 + x4", "", widths)

    assert case["expected"]["interval"] == pytest.approx(
        [line.interval_low, line.interval_high], abs=case["tolerance"]["mc_abs"]
    )
    assert case["expected"]["u"] == pytest.approx(line.uncertainty, rel=0.01)


def test_a_mass_calibration_shows_the_effect_that_a_first_order_sum_misses() -> None:
    """JCGM 101 9.3: u is 0.0755 mg, not 0.0539, since 1/rW - 1/rR all but vanishes at the means."""
    case = _CASES["jcgm101_9_3_mass"]
    values = {
        "mRc": _normal(100_000, 0.050, "mg"),
        "dmRc": _normal(1.234, 0.020, "mg"),
        "ra": parse("1.10..1.30 kg/m³"),
        "ra0": parse("1.2 kg/m³"),
        "rW": parse("7000..9000 kg/m³"),
        "rR": parse("7950..8050 kg/m³"),
        "m": exact(100_000, "mg"),
    }
    expression = "(mRc + dmRc) * (1 + (ra - ra0) * (1 / rW - 1 / rR)) - m"

    line = _line(expression, "mg", values)
    shortest = interval(_drawn(expression, values), kind="shortest")

    assert case["expected"]["mean"] == pytest.approx(line.mean, abs=0.001)
    assert case["expected"]["u_exact"] == pytest.approx(line.uncertainty, rel=0.01)
    assert [float(end) for end in case["expected"]["printed_mcm"]["interval"]] == pytest.approx(
        [end * 1e6 for end in shortest], abs=case["tolerance"]["interval_abs"]
    )
    assert any("acting together" in note for note in line.notes)


@pytest.mark.parametrize("x1", ["0", "0.01", "0.05"])
def test_a_comparison_loss_never_goes_below_zero(x1: str) -> None:
    """JCGM 101 9.4, r = 0: mean, u and the shortest 95 % interval of a sum of squares."""
    case = _CASES[f"jcgm101_9_4_comparison_loss_x{x1}"]
    values = {"X1": _normal(float(x1), 0.005), "X2": _normal(0.0, 0.005)}
    tolerance = case["tolerance"]["mc_rel"]

    line = _line("X1**2 + X2**2", "", values)
    low, high = interval(_drawn("X1**2 + X2**2", values), kind="shortest")

    assert line.worst_low >= 0.0
    assert low >= 0.0
    assert case["expected"]["mean_e6"] == pytest.approx(line.mean * 1e6, rel=tolerance)
    assert case["expected"]["u_e6"] == pytest.approx(line.uncertainty * 1e6, rel=tolerance)
    assert case["expected"]["shortest_95_e6"] == pytest.approx(
        [low * 1e6, high * 1e6], abs=tolerance * case["expected"]["shortest_95_e6"][1]
    )


def test_a_divider_has_the_exact_interval_and_even_shares() -> None:
    """Two equal resistors of 5 % bring half of the variance each."""
    case = _CASES["divider_95_interval_uniform"]

    values = {"V": parse("5 V"), "R1": parse("9.5..10.5 kΩ"), "R2": parse("9.5..10.5 kΩ")}

    line = _line("V * R2 / (R1 + R2)", "V", values)

    assert case["expected"]["interval_95"] == pytest.approx(
        [line.interval_low, line.interval_high], abs=case["tolerance"]["mc_abs"]
    )
    assert case["expected"]["u_first_order"] == pytest.approx(line.uncertainty, rel=0.01)
    assert case["expected"]["variance_shares"] == pytest.approx(
        [line.shares["R1"], line.shares["R2"]], abs=case["tolerance"]["share_abs"]
    )


def test_a_load_pulls_a_divider_down() -> None:
    """Kirchhoff: the lower resistor in parallel with the load."""
    case = _CASES["divider_loaded"]
    given = case["inputs"]
    inputs = (
        Input("V", exact(given["V"], "V")),
        *(Input(name, exact(given[name], "Ω")) for name in ("R1", "R2", "RL")),
    )
    lines = (
        Line("unloaded", "V * R2 / (R1 + R2)", "V"),
        Line("loaded", "V * parallel(R2, RL) / (R1 + parallel(R2, RL))", "V"),
        Line("thevenin_R", "parallel(R1, R2)", "Ω"),
    )

    result = evaluate(Calculation(inputs, lines))

    for name, value in case["expected"].items():
        assert value == pytest.approx(result.line(name).nominal, rel=case["tolerance"]["rel"])


@pytest.mark.parametrize("name", ["interior_maximum_power", "interior_maximum_parabola"])
def test_the_inside_beats_the_corners_and_a_note_says_so(name: str) -> None:
    """Greatest power at matched load, and a parabola: neither is worst at an end of the tolerance."""
    case = _CASES[name]
    lines = {
        "interior_maximum_power": ("V**2 * RL / (RS + RL)**2", "W", {"V": "10 V", "RS": "100 Ω", "RL": "50..200 Ω"}),
        "interior_maximum_parabola": ("x * (1 - x)", "", {"x": "0.2..0.9"}),
    }
    expression, unit, texts = lines[name]

    line = _line(expression, unit, {name: parse(text) for name, text in texts.items()})

    assert case["expected"]["true_max"] == pytest.approx(line.worst_high, rel=case["tolerance"]["draws_rel"])
    assert min(case["expected"]["corner_values"]) == pytest.approx(line.worst_low, rel=1e-9)
    assert "The worst case lies inside the tolerances, not at their ends." in line.notes


def test_a_square_law_shifts_the_mean_but_not_the_nominal() -> None:
    """Normal V: the mean of V² is its square plus its variance."""
    case = _CASES["square_law_bias"]
    expected, tolerance = case["expected"], case["tolerance"]["mc_rel"]

    line = _line("V**2 / R", "W", {"V": parse("5.00(50) V"), "R": parse("100 Ω")})

    assert expected["nominal"] == pytest.approx(line.nominal, rel=1e-12)
    assert expected["mean_exact"] == pytest.approx(line.mean, rel=tolerance)
    assert expected["u_exact"] == pytest.approx(line.uncertainty, rel=tolerance)


def test_shares_of_a_product_follow_the_relative_variances() -> None:
    """1 % against 10 %: the capacitor brings 99 % of the variance of a time constant."""
    case = _CASES["variance_shares"]
    expected = case["expected"]

    line = _line("R * C", "ms", {"R": _normal(10.0, 0.1, "kΩ"), "C": _normal(100.0, 10.0, "nF")})

    assert expected["u_rel"] == pytest.approx(line.uncertainty / line.nominal, rel=0.01)
    assert expected["share_R"] == pytest.approx(line.shares["R"], abs=case["tolerance"]["share_abs"])
    assert expected["share_C"] == pytest.approx(line.shares["C"], abs=case["tolerance"]["share_abs"])


def test_a_lopsided_tolerance_keeps_its_corners() -> None:
    """4700 µF -20/+50 % at 20 V: 0.94 J, from 0.752 J to 1.41 J."""
    case = _CASES["asymmetric_tolerance"]
    expected = case["expected"]

    line = _line("C * V**2 / 2", "J", {"C": parse("4700 µF -20/+50 %"), "V": parse("20 V")})

    assert [expected["nominal"], expected["low"], expected["high"]] == pytest.approx(
        [line.nominal, line.worst_low, line.worst_high], rel=case["tolerance"]["rel"]
    )


def test_a_pin_held_through_a_resistor_is_over_its_rating_when_driven_the_other_way() -> None:
    """5 V through 460 Ω is 10.87 mA, over 10 mA; 510 Ω would hold and the 470 Ω that stands in for it does not.

    Common practice, no source; Ohm's law.
    """
    method = load_methods()["pin_series_resistor"]
    usual = method.usual_values() | {"V": parse("5 V"), "I_rated": parse("10 mA")}

    results = {ohms: evaluate(method.calculation(usual | {"R": exact(ohms, "Ω")})) for ohms in (460, 470, 510)}

    currents = [result.line("I").nominal for result in results.values()]
    assert pytest.approx(currents, abs=0.005) == [10.87, 10.64, 9.80]
    assert [result.limits[0].verdict for result in results.values()] == ["fails", "fails", "holds"]
