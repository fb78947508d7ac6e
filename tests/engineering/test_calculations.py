"""Calculations: what comes of lines and limits, what is refused, and that nothing flickers."""

from collections.abc import Mapping
from uuid import uuid4

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.engineering.calculations import (
    Calculation,
    Input,
    Limit,
    Line,
    Result,
    check,
    evaluate,
    evaluate_cases,
    with_values,
)
from server.engineering.errors import (
    BadLimit,
    BadName,
    CalculationError,
    CircularLines,
    DimensionMismatch,
    DivisionByZero,
    DuplicateName,
    ForbiddenFormula,
    NotFinite,
    OutOfDomain,
    UnknownName,
)
from server.engineering.quantities import exact, parse

DRAWS = 2_000


def _calculation(
    values: Mapping[str, str], lines: Mapping[str, str], limits: tuple[Limit, ...] = (), draws: int = DRAWS
) -> Calculation:
    """Lines are written `expression` or `expression -> unit`."""
    written = {name: text.partition(" -> ") for name, text in lines.items()}
    return Calculation(
        tuple(Input(name, parse(text)) for name, text in values.items()),
        tuple(Line(name, expression, unit) for name, (expression, _, unit) in written.items()),
        limits,
        seed=11,
        draws=draws,
    )


def _evaluate(values: Mapping[str, str], lines: Mapping[str, str], *limits: Limit) -> Result:
    return evaluate(_calculation(values, lines, limits))


PIN = {"V": "5 V ±5 %", "R": "460 Ω ±5 %"}


def test_a_line_has_nominal_worst_case_interval_and_shares_in_its_unit() -> None:
    """The current through a resistor, in mA."""
    line = _evaluate(PIN, {"I": "V / R -> mA"}).line("I")

    assert line.unit == "mA"
    assert pytest.approx(line.nominal, rel=1e-12) == 5 / 460 * 1e3
    assert pytest.approx(line.worst_low, rel=1e-12) == 4.75 / 483 * 1e3
    assert pytest.approx(line.worst_high, rel=1e-12) == 5.25 / 437 * 1e3
    assert line.worst_low < line.interval_low < line.nominal < line.interval_high < line.worst_high
    assert pytest.approx(sum(line.shares.values()), abs=0.1) == 1.0
    assert sum(line.histogram.counts) == DRAWS
    assert pytest.approx(line.uncertainty, abs=0.03) == 0.45


def test_lines_use_one_another_in_any_order() -> None:
    """And one input is one and the same value in all of them: V cancels exactly."""
    result = _evaluate(PIN, {"ratio": "P / (V * I)", "P": "V**2 / R", "I": "V / R"})

    assert tuple(line.name for line in result.lines) == ("ratio", "P", "I")
    assert pytest.approx((result.line("ratio").worst_low, result.line("ratio").worst_high), rel=1e-12) == (1.0, 1.0)


def test_a_line_without_a_unit_is_shown_in_the_si_unit_of_what_it_comes_to() -> None:
    """Named where there is a name."""
    result = _evaluate(
        {"V": "5 V", "R": "1 kΩ", "t": "2 s", "T": "25 °C"},
        {"I": "V / R", "slope": "V / t", "n": "V / V", "T2": "T", "rise": "T - T2"},
    )

    assert tuple(line.unit for line in result.lines) == ("A", "V/s", "", "°C", "K")


def test_a_line_on_which_no_tolerance_bears_is_the_same_all_over() -> None:
    """One bin of no width, no shares."""
    line = _evaluate({"V": "5 V", "R": "460 Ω", "unused": "1 V ±5 %"}, {"I": "V / R -> mA"}).line("I")

    assert {line.nominal} == {line.worst_low, line.worst_high, line.interval_low, line.interval_high, line.mean}
    assert ((line.nominal, line.nominal), (DRAWS,)) == (line.histogram.edges, line.histogram.counts)
    assert line.shares == {"V": 0.0, "R": 0.0, "unused": 0.0}


def test_a_temperature_in_celsius_adds_a_rise_in_kelvin() -> None:
    """25 °C and 4 W through 5 K/W is 45 °C; the rise alone is in K."""
    result = _evaluate(
        {"Ta": "20..30 °C", "P": "4 W", "Rth": "5 °C/W"}, {"Tj": "Ta + P * Rth -> °C", "rise": "Tj - Ta"}
    )

    junction, rise = result.line("Tj"), result.line("rise")
    assert pytest.approx([junction.worst_low, junction.nominal, junction.worst_high]) == [40.0, 45.0, 50.0]
    assert pytest.approx(rise.nominal) == 20.0
    assert rise.unit == "K"


@given(
    st.floats(min_value=0.1, max_value=100),
    st.floats(min_value=0.1, max_value=100),
    st.sampled_from(["±1", "±5", "±20", "-20/+50"]),
    st.sampled_from(["x + y", "x * y", "x / y", "sqrt(x**2 + y**2)", "ln(x / y)", "parallel(x, y)", "min(x, 2 * y)"]),
)
@settings(max_examples=40, deadline=None)
def test_the_worst_case_holds_the_interval_and_every_draw(x: float, y: float, percent: str, expression: str) -> None:
    """And the nominal value, whatever the line."""
    values = {"x": f"{x:.4g} {percent} %", "y": f"{y:.4g} ±3 %"}
    calculation = _calculation(values, {"z": expression}, draws=500)

    line = evaluate(calculation).line("z")

    assert line.worst_low <= line.interval_low <= line.interval_high <= line.worst_high
    assert line.worst_low <= line.nominal <= line.worst_high
    assert line.worst_low <= line.histogram.edges[0] <= line.histogram.edges[-1] <= line.worst_high
    assert all(0.0 <= share <= 1.0 for share in line.shares.values())
    assert sum(line.histogram.counts) == 500


@given(st.floats(min_value=0.5, max_value=20), st.floats(min_value=0.5, max_value=20))
@settings(max_examples=40, deadline=None)
def test_a_wider_tolerance_never_narrows_the_worst_case(one: float, other: float) -> None:
    """Monotone in every tolerance."""
    narrow, wide = sorted((round(one, 3), round(other, 3)))

    lines = [_evaluate({"V": "5 V ±5 %", "R": f"1 kΩ ±{p} %"}, {"I": "V / R"}).line("I") for p in (narrow, wide)]

    assert lines[1].worst_low <= lines[0].worst_low
    assert lines[0].worst_high <= lines[1].worst_high


def test_the_same_calculation_gives_the_same_result_to_the_last_digit() -> None:
    """The draws hang on the seed; a page never flickers."""
    calculation = Calculation(
        (Input("V", parse("5.00(5) V")), Input("R", parse("1 kΩ ±5 %"))),
        (Line("I", "V / R"),),
        seed=uuid4(),
        draws=DRAWS,
    )

    assert evaluate(calculation) == evaluate(calculation)


def test_another_seed_draws_again() -> None:
    """The worst case stays."""
    first, second = (
        evaluate(Calculation((Input("x", parse("1 ± 0.1")),), (Line("y", "x**2"),), seed=seed, draws=DRAWS)).line("y")
        for seed in (1, 2)
    )

    assert first.interval_low != second.interval_low
    assert first.worst_low == second.worst_low


@pytest.mark.parametrize(
    ("limit", "verdict"),
    [
        (Limit("I", "at_most", parse("13 mA")), "holds"),
        (Limit("I", "at_most", parse("11 mA")), "at risk"),
        (Limit("I", "at_most", parse("10 mA")), "fails"),
        (Limit("I", "at_least", parse("9 mA")), "holds"),
        (Limit("I", "at_least", parse("10 mA")), "at risk"),
        (Limit("I", "at_least", parse("11 mA")), "fails"),
        (Limit("I", "between", parse("9..13 mA")), "holds"),
        (Limit("I", "between", parse("10..13 mA")), "at risk"),
        (Limit("I", "between", parse("11..13 mA")), "fails"),
    ],
)
def test_a_limit_holds_over_the_worst_case_is_at_risk_or_fails_at_nominal(limit: Limit, verdict: str) -> None:
    """10.87 mA, from 9.83 to 12.01 mA at worst."""
    (judged,) = _evaluate(PIN, {"I": "V / R -> mA"}, limit).limits

    assert verdict == judged.verdict
    assert (judged.margin >= 0) == (verdict == "holds")


def test_a_substitution_changes_the_verdict() -> None:
    """510 Ω keeps a 5 V pin to 10 mA, the 470 Ω that stands in for it does not. Common practice, no source."""
    calculation = _calculation(
        {"V": "5 V", "R": "510 Ω"}, {"I": "V / R -> mA"}, (Limit("I", "at_most", parse("10 mA")),)
    )

    results = evaluate_cases(calculation, {"as planned": {}, "as fitted": {"R": parse("470 Ω")}})

    assert [result.limits[0].verdict for result in results.values()] == ["holds", "fails"]
    assert results["as fitted"].limits[0].sentence == "I is 10.64 mA: over the 10 mA allowed"


def test_a_limit_may_be_an_inputs_nominal_or_vary_with_it() -> None:
    """Exact, it is a plain limit; with a tolerance, the worst difference counts."""
    lines = {"I": "V / R -> mA"}

    (plain,) = _evaluate(PIN | {"rated": "12.5 mA"}, lines, Limit("I", "at_most", "rated")).limits
    (varying,) = _evaluate(PIN | {"rated": "12.5 mA ±10 %"}, lines, Limit("I", "at_most", "rated")).limits

    assert (plain.verdict, varying.verdict) == ("holds", "at risk")
    assert pytest.approx(varying.margin, rel=1e-9) == 11.25 - 5250 / 437
    assert "where rated is 12.5 mA: at worst 763.7 µA over it" in varying.sentence


def test_lines_held_against_each_other_share_their_inputs() -> None:
    """Half the supply is always under the supply, however wide its tolerance."""
    result = _evaluate(
        {"V": "5 V ±50 %"},
        {"half": "V / 2", "whole": "V"},
        Limit("half", "at_most", "whole"),
        Limit("whole", "at_least", "half"),
    )

    assert [judged.verdict for judged in result.limits] == ["holds", "holds"]
    assert pytest.approx([judged.margin for judged in result.limits], rel=1e-9) == [1.25, 1.25]


def test_a_line_that_does_not_vary_is_a_plain_limit() -> None:
    """As if its value had been written."""
    result = _evaluate(PIN | {"rated": "13 mA"}, {"I": "V / R -> mA", "most": "rated"}, Limit("I", "at_most", "most"))

    assert result.limits[0].verdict == "holds"
    assert exact(13.0, "mA") == result.limits[0].against


def test_a_result_gives_its_lines_by_name() -> None:
    """And no other."""
    with pytest.raises(KeyError):
        _evaluate(PIN, {"I": "V / R"}).line("V")


def test_a_band_may_be_an_inputs_limits() -> None:
    """From its low to its high."""
    (judged,) = _evaluate({"V": "5 V", "band": "4.75..5.25 V"}, {"out": "V"}, Limit("out", "between", "band")).limits

    assert judged.verdict == "holds"
    assert (judged.against.low, judged.against.high) == (4.75, 5.25)


@pytest.mark.parametrize(
    ("values", "lines", "error", "line", "name"),
    [
        ({}, {"a": "b", "b": "c", "c": "a"}, CircularLines, "a", "b"),
        ({}, {"a": "a + 1"}, CircularLines, "a", "a"),
        ({}, {"a": "x + 1"}, UnknownName, "a", "x"),
        ({"x": "1"}, {"x": "2"}, DuplicateName, None, "x"),
        ({"1x": "1"}, {}, BadName, None, "1x"),
        ({"sqrt": "1"}, {}, BadName, None, "sqrt"),
        ({}, {"Ω": "1"}, BadName, None, "Ω"),
        ({"V": "1 V", "R": "1 Ω"}, {"a": "V + R"}, DimensionMismatch, "a", "V"),
        ({"V": "1 V"}, {"a": "V -> A"}, DimensionMismatch, "a", "a"),
        ({"V": "1 V"}, {"a": "sqrt(V)"}, DimensionMismatch, "a", "a"),
        ({"T": "20 K"}, {"a": "T -> °C"}, DimensionMismatch, "a", "a"),
        ({"T": "20 °C"}, {"a": "2 * T"}, DimensionMismatch, "a", "T"),
        ({"x": "0"}, {"a": "1 / x"}, DivisionByZero, "a", "x"),
        ({"x": "1 ± 2", "y": "3"}, {"a": "1 / (y * x)"}, DivisionByZero, "a", "x"),
        ({"x": "1 ± 2"}, {"b": "x", "a": "1 / b"}, DivisionByZero, "a", "b"),
        ({"x": "1.0(5)"}, {"a": "1 / x"}, DivisionByZero, "a", "x"),
        ({"x": "1 ± 2"}, {"a": "sqrt(x)"}, OutOfDomain, "a", "x"),
        ({"x": "500..1000"}, {"a": "exp(x)"}, NotFinite, "a", "a"),
        ({"x": "1e200"}, {"a": "x * x"}, NotFinite, "a", "a"),
    ],
)
def test_what_cannot_be_worked_out_is_refused_by_line_and_name(
    values: dict[str, str], lines: dict[str, str], error: type[CalculationError], line: str | None, name: str
) -> None:
    """Each refusal names the line and the input or name at fault."""
    with pytest.raises(error) as refusal:
        _evaluate(values, lines)

    with pytest.raises(error):
        check(_calculation(values, lines))
    assert (line, name) == (refusal.value.line, refusal.value.name)
    assert name in refusal.value.sentence or name == "a"


def test_a_formula_at_fault_names_its_line() -> None:
    """With the expression and the place in it."""
    with pytest.raises(ForbiddenFormula, match="Line I: ") as refusal:
        _evaluate({}, {"I": "open('x')"})

    assert (refusal.value.field, refusal.value.text, refusal.value.position) == ("I", "open('x')", 5)


@pytest.mark.parametrize(
    "limit",
    [
        Limit("none", "at_most", parse("1 mA")),
        Limit("I", "at_most", parse("1 V")),
        Limit("I", "at_most", "nowhere"),
        Limit("I", "at_most", "V"),
        Limit("I", "between", parse("1 mA")),
        Limit("I", "between", "I"),
        Limit("I", "below", parse("1 mA")),  # type: ignore[arg-type]
    ],
)
def test_a_limit_that_cannot_be_held_against_its_line_is_refused(limit: Limit) -> None:
    """No such line, another dimension, a band without ends, a kind that there is not."""
    with pytest.raises(BadLimit):
        _evaluate(PIN, {"I": "V / R"}, limit)


def test_a_rise_is_not_held_against_a_temperature() -> None:
    """A limit in °C needs a line that is a point on the scale."""
    with pytest.raises(BadLimit):
        _evaluate({"T": "20 °C", "T0": "5 °C"}, {"rise": "T - T0"}, Limit("rise", "at_most", parse("50 °C")))


@pytest.mark.parametrize("draws", [0, 99, 2_000_001])
def test_the_number_of_draws_is_bounded(draws: int) -> None:
    """Neither too few to tell nor too many to hold."""
    with pytest.raises(CalculationError):
        evaluate(_calculation({"x": "1"}, {"y": "x"}, draws=draws))


def test_a_calculation_has_a_bounded_number_of_lines() -> None:
    """Sixty-one are refused before any is read, and so are a few of great length."""
    with pytest.raises(CalculationError, match="at most 60 inputs"):
        _evaluate({}, {f"x{i}": "1" for i in range(61)})
    with pytest.raises(CalculationError, match="characters together"):
        _evaluate({}, {f"x{i}": "1 + " * 120 + "1" for i in range(13)})


def test_more_than_twelve_inputs_are_noted() -> None:
    """And inputs acting together."""
    values = {f"x{i}": "1..2" for i in range(13)}

    line = _evaluate(values, {"y": "*".join(values)}).line("y")

    assert pytest.approx((line.worst_low, line.worst_high)) == (1.0, 2.0**13)
    assert any("More than 12 inputs" in note for note in line.notes)
    assert any("acting together" in note for note in line.notes)


def test_values_can_be_given_anew_by_name() -> None:
    """A name that is no input is refused."""
    calculation = _calculation({"x": "1"}, {"y": "x"})

    assert exact(2.0) == with_values(calculation, {"x": exact(2.0)}).inputs[0].value
    with pytest.raises(UnknownName):
        with_values(calculation, {"z": exact(2.0)})


def test_two_cases_differ_by_their_values_and_not_by_chance() -> None:
    """Twice the resistance halves every draw."""
    calculation = _calculation(PIN, {"I": "V / R"})

    results = evaluate_cases(calculation, {"stock": {}, "as planned": {"R": parse("920 Ω ±5 %")}})

    stock, planned = (np.array(result.line("I").histogram.edges) for result in results.values())
    assert list(stock / 2) == pytest.approx(list(planned), rel=1e-9)
