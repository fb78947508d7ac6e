"""Formulas as numpy: right values, and no number where there is none."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.engineering.arithmetic import Value
from server.engineering.errors import CalculationError, DivisionByZero, OutOfDomain
from server.engineering.formulas import compile_line


def _value(expression: str, **values: float) -> float:
    return float(compile_line(expression)(values))


@pytest.mark.parametrize(
    ("expression", "value"),
    [
        ("2 + 3 * 4", 14.0),
        ("(2 + 3) * 4", 20.0),
        ("2 - 3 - 4", -5.0),
        ("8 / 4 / 2", 1.0),
        ("-3**2", -9.0),
        ("2**3**2", 512.0),
        ("2**-2", 0.25),
        ("27**(1/3)", 3.0),
        ("sqrt(2)", math.sqrt(2)),
        ("exp(1)", math.e),
        ("ln(10)", math.log(10)),
        ("log10(1000)", 3.0),
        ("sin(pi / 6)", 0.5),
        ("cos(pi)", -1.0),
        ("tan(pi / 4)", 1.0),
        ("atan(1)", math.pi / 4),
        ("abs(-2)", 2.0),
        ("min(3, 1, 2)", 1.0),
        ("max(3, 1, 2)", 3.0),
        ("parallel(2, 2, 1)", 0.5),
        ("parallel(0, 5)", 0.0),
    ],
)
def test_operators_and_functions_mean_what_they_mean_on_paper(expression: str, value: float) -> None:
    """Precedence as in arithmetic: powers to the right, the rest to the left."""
    assert value == pytest.approx(_value(expression), rel=1e-14)


NUMBERS = st.floats(min_value=0.5, max_value=50.0)


@given(NUMBERS, NUMBERS, NUMBERS)
@settings(max_examples=60, deadline=None)
def test_arrays_give_what_single_numbers_give(a: float, b: float, c: float) -> None:
    """Value by value, and what Python itself gives."""
    expression = "parallel(a, b) * ln(1 + c) / sqrt(a**2 + b) - max(a, b)**0.5 + 2**(c / 10)"
    arrays = {"a": np.array([a, b]), "b": np.array([b, c]), "c": np.array([c, a])}

    results = np.asarray(compile_line(expression)(arrays))

    expected = (a * b / (a + b)) * math.log1p(c) / math.sqrt(a**2 + b) - max(a, b) ** 0.5 + 2 ** (c / 10)
    assert expected == pytest.approx(float(results[0]), rel=1e-12)
    assert _value(expression, a=b, b=c, c=a) == pytest.approx(float(results[1]), rel=1e-12)


@pytest.mark.parametrize(
    ("expression", "values"),
    [
        ("1 / 0", {}),
        ("1 / (2 - 2)", {}),
        ("1 / x", {"x": 0.0}),
        ("1 / x", {"x": np.array([-1.0, 1.0])}),
        ("1 / (x - y)", {"x": np.array([1.0, 3.0]), "y": 2.0}),
        ("1 / (2 * x * y)", {"x": np.array([-1.0, 1.0]), "y": 2.0}),
        ("1 / (x / y)", {"x": np.array([0.0, 1.0]), "y": 2.0}),
        ("1 / x**2", {"x": np.array([-1.0, 1.0])}),
        ("x**-1", {"x": np.array([-1.0, 1.0])}),
        ("x**-0.5", {"x": np.array([0.0, 1.0])}),
        ("1 / -x", {"x": np.array([-1.0, 1.0])}),
        ("1 / abs(x)", {"x": np.array([-1.0, 1.0])}),
        ("1 / sqrt(x)", {"x": np.array([0.0, 1.0])}),
        ("1 / sin(x)", {"x": np.array([-1.0, 1.0])}),
        ("1 / max(x, y)", {"x": np.array([-1.0, 1.0]), "y": np.array([-2.0, 0.0])}),
        ("1 / parallel(x, y)", {"x": np.array([0.0, 1.0]), "y": 1.0}),
        ("1 / tan(x)", {"x": np.array([-0.5, 0.5])}),
        ("1 / ln(x)", {"x": np.array([0.5, 1.5])}),
        ("parallel(x, y)", {"x": np.array([-1.0, 1.0]), "y": 0.0}),
    ],
)
def test_a_divisor_that_can_be_zero_is_refused(expression: str, values: dict[str, Value]) -> None:
    """Also when it only changes its sign between the values, and through each of its factors."""
    with pytest.raises(DivisionByZero):
        compile_line(expression)(values)


@pytest.mark.parametrize(
    ("expression", "low"),
    [("sqrt(x)", -1.0), ("ln(x)", 0.0), ("log10(x)", -1.0), ("x**0.5", -1.0), ("x**x", 0.0), ("tan(x)", 1.0)],
)
def test_a_function_is_refused_a_value_that_it_does_not_have(expression: str, low: float) -> None:
    """Roots of the negative, logarithms of zero, tangents across their pole."""
    with pytest.raises(OutOfDomain):
        compile_line(expression)({"x": np.array([low, 2.0])})


def test_a_refusal_quotes_the_part_and_names_the_input() -> None:
    """With its place in the expression."""
    with pytest.raises(DivisionByZero) as refusal:
        compile_line("V / (R1 - R2)")({"V": 5.0, "R1": np.array([1.0, 3.0]), "R2": 2.0})

    assert "“R1 - R2”" in refusal.value.sentence
    assert (refusal.value.name, refusal.value.position) == ("R1", 5)


def test_a_vanishing_product_of_divisors_gives_no_python_error() -> None:
    """1e-200 twice is zero to a double: infinite, which the calculation refuses."""
    assert math.inf == _value("1 / (1e-200 * 1e-200)")


@given(st.floats(min_value=-10, max_value=10), st.floats(min_value=-10, max_value=10))
@settings(max_examples=60, deadline=None)
def test_a_formula_gives_a_number_or_a_refusal(x: float, y: float) -> None:
    """Never NaN for finite values within reach."""
    formula = compile_line("sqrt(x) / (y - x) + ln(y) * x**-1 + parallel(x, y)")

    try:
        value = float(formula({"x": x, "y": y}))
    except CalculationError:
        return

    assert not math.isnan(value)
