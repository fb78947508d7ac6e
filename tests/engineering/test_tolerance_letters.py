"""Tolerance letters: percentages, picofarads below ten, lopsided ones on capacitors alone."""

from decimal import Decimal

import pytest

from server.engineering.tolerance_letters import MarkedKind, deviations


@pytest.mark.parametrize(
    ("letter", "value", "kind", "expected"),
    [
        ("J", "4700", "resistor", ("235", "235")),
        ("C", "9.9e-12", "capacitor", ("0.25e-12", "0.25e-12")),
        ("C", "10e-12", "capacitor", ("0.025e-12", "0.025e-12")),
        ("J", "4.7e-12", "capacitor", ("0.235e-12", "0.235e-12")),
        ("C", "4.7", "resistor", ("0.01175", "0.01175")),
        ("Z", "100e-9", "capacitor", ("20e-9", "80e-9")),
        ("Q", "100e-9", "capacitor", ("10e-9", "30e-9")),
    ],
)
def test_a_letter_gives_both_sides(letter: str, value: str, kind: MarkedKind, expected: tuple[str, str]) -> None:
    """From memory of IEC 60062: the change from picofarads to percent is at 10 pF itself."""
    below, above = (Decimal(side) for side in expected)

    assert (below, above) == deviations(letter, Decimal(value), kind)


@pytest.mark.parametrize(
    ("letter", "kind"), [("Z", "resistor"), ("A", "capacitor"), ("", "resistor"), ("j", "resistor")]
)
def test_another_letter_gives_none(letter: str, kind: MarkedKind) -> None:
    """Lopsided on a resistor, unassigned, missing, or small."""
    assert deviations(letter, Decimal(1000), kind) is None
