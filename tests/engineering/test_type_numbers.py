"""Type numbers that look like dates."""

import pytest

from server.engineering.type_numbers import type_number


@pytest.mark.parametrize(
    ("digits", "kind"),
    [
        ("7400", "7400-family logic"),
        ("5474", "7400-family logic"),
        ("4011", "4000-family logic"),
        ("4164", "memory"),
        ("2716", "read-only memory"),
        ("8255", "companion chip"),
        ("6502", "microprocessor"),
        ("1771", "disk controller"),
        ("1488", "interface"),
        ("741", "amplifier"),
    ],
)
def test_a_type_number_is_told_with_its_kind(digits: str, kind: str) -> None:
    """One sentence, with the digits in it (common practice, no source)."""
    warning = type_number(digits)

    assert warning is not None
    assert warning.startswith(f"{digits} is also the type number of")
    assert kind in warning


@pytest.mark.parametrize("digits", ["8342", "7901", "8632", "832", "74", "74000", "", "74x", "74xx", "7A00", "290x"])
def test_other_digits_are_not(digits: str) -> None:
    """Plain dates, too few or too many digits, and the table's own wildcards typed in."""
    assert type_number(digits) is None
