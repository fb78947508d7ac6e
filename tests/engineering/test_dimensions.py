"""Dimensions of lines: what goes together, and what temperatures may do."""

import pytest

from server.engineering.dimensions import measure, measure_of_unit
from server.engineering.errors import DimensionMismatch
from server.engineering.formulas import compile_line
from server.engineering.units import scale

UNITS = {
    "V": "V", "I": "A", "R": "Ω", "C": "F", "t": "s", "n": "", "p": "%",
    "T": "°C", "Ta": "°C", "dT": "K", "Rth": "K/W", "P": "W", "alpha": "1/K",
}  # fmt: skip
NAMES = {name: measure_of_unit(unit) for name, unit in UNITS.items()}


@pytest.mark.parametrize(
    ("expression", "unit"),
    [
        ("V / R", "A"),
        ("V * I", "W"),
        ("R * C", "s"),
        ("sqrt(P * R)", "V"),
        ("(V**2)**0.5", "V"),
        ("V**(1/3) * V**(2/3)", "V"),
        ("parallel(R, 2 * R)", "Ω"),
        ("max(0, V - 0)", "V"),
        ("min(V, R * I)", "V"),
        ("abs(-V)", "V"),
        ("exp(-t / (R * C)) * V", "V"),
        ("2**(dT / dT)", ""),
        ("n**n + p", ""),
        ("pi * 2", ""),
        ("0 * V", "V"),
        ("1 / t", "Hz"),
        ("T - Ta", "K"),
        ("P * Rth + dT", "K"),
        ("R * (1 + alpha * (T - Ta))", "Ω"),
        ("(T - Ta) / Rth", "W"),
    ],
)
def test_a_line_measures_what_its_parts_make_of_it(expression: str, unit: str) -> None:
    """As worked on paper."""
    found = measure(compile_line(expression), NAMES)

    assert scale(unit).dimension == found.dimension
    assert not found.is_point


@pytest.mark.parametrize("expression", ["Ta + P * Rth", "P * Rth + Ta", "Ta - dT", "max(T, Ta)", "Ta + (T - Ta) / 2"])
def test_a_point_on_the_celsius_scale_stays_one_when_shifted(expression: str) -> None:
    """By an amount in K, or by half of a difference."""
    assert measure(compile_line(expression), NAMES).is_point


@pytest.mark.parametrize(
    "expression",
    [
        "V + I",
        "V - n",
        "V + 1",
        "max(V, I)",
        "min(V, 1)",
        "parallel(R, V)",
        "exp(V)",
        "ln(R)",
        "sin(t)",
        "2**V",
        "V**n",
        "T + Ta",
        "dT - Ta",
        "2 * T",
        "T / Ta",
        "-T",
        "T**2",
        "abs(T)",
        "sqrt(T)",
        "max(T, dT)",
        "max(T, 0)",
        "parallel(T, Ta)",
    ],
)
def test_what_does_not_go_together_is_refused_with_its_place(expression: str) -> None:
    """Volts and amperes; points on a scale added, scaled or set against zero."""
    with pytest.raises(DimensionMismatch) as refusal:
        measure(compile_line(expression), NAMES)

    assert expression == refusal.value.text
    assert refusal.value.position is not None


def test_a_mismatch_names_both_sides() -> None:
    """In words and by their parts."""
    with pytest.raises(DimensionMismatch) as refusal:
        measure(compile_line("I + V / 2"), NAMES)

    assert "“I” is a current (A)" in refusal.value.sentence
    assert "“V / 2”, which is a voltage (V)" in refusal.value.sentence
