"""Readings as typed or pasted: what is read, and what is refused with its place."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.engineering.readings import MOST_READINGS
from server.engineering.trials import ReadingsTextError, read_readings


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("1459 1459 1459", [1459, 1459, 1459]),
        ("704\n709\r\n709\n", [704, 709, 709]),
        ("1.5;2.5; 3", [1.5, 2.5, 3]),
        ("1,5;2,5; 3", [1.5, 2.5, 3]),
        ("1.5 2,5", [1.5, 2.5]),
        ("1459, 1460, 1461", [1459, 1460, 1461]),
        ("12,3, 12,4", [12.3, 12.4]),
        ("1 , 2", [1, 2]),
        ("\t4.71\t4.70\t", [4.71, 4.70]),
        ("-5 +5 −0,5 .5 5.", [-5, 5, -0.5, 0.5, 5]),
        ("1e3 1.2E-3 1,5e2", [1000, 0.0012, 150]),
        ("0 0.0 0e9", [0, 0, 0]),
        ("1,459", [1.459]),
        ("1.459 2.5", [1.459, 2.5]),
        ("1.459, 2.5", [1.459, 2.5]),
        ("4.7\u00a04.8", [4.7, 4.8]),
    ],
)
def test_readings_are_read_however_they_stand_apart(text: str, expected: list[float]) -> None:
    """Spaces, lines, tabs, semicolons, a comma before a space; comma or point as the decimal sign."""
    assert expected == read_readings(text)


@pytest.mark.parametrize(
    ("text", "line", "place", "fault"),
    [
        ("4\n5 ticks", 2, 2, "“ticks” is not a number"),
        ("run: 5", 1, 1, "not a number"),
        ("5V", 1, 1, "leave out units"),
        ("1\n\n2 nan", 3, 2, "not a finite number"),
        ("-inf", 1, 1, "not a finite number"),
        ("∞", 1, 1, "not a finite number"),
        ("1e999", 1, 1, "between 1e-60 and 1e60"),
        ("1 1e-999", 1, 2, "between 1e-60 and 1e60"),
        ("1_000", 1, 1, "not a number"),
        ("0x10", 1, 1, "not a number"),
        ("٣", 1, 1, "not a number"),
        ("½", 1, 1, "not a number"),
        ("1,2,3", 1, 1, "more than one decimal sign"),
        ("1,459.5", 1, 1, "more than one decimal sign"),
        ("1'459", 1, 1, "not a number"),
        ("2.5 1,459", 1, 2, "thousands"),
        ("1,459, 1,460", 1, 1, "thousands"),
        ("2,5 1.459", 1, 2, "thousands"),
        ("1.459 1,459", 1, 1, "thousands"),
        ("7 1\u202f459", 1, 2, "narrow space"),
        ("--5", 1, 1, "not a number"),
        ("5 ,5", 1, 2, "not a number"),
        ("x" * 500, 1, 1, "x…” is not a number"),
    ],
)
def test_what_is_no_plain_number_is_refused_by_line_and_place(text: str, line: int, place: int, fault: str) -> None:
    """The message names where, so that the keeper finds it in a long list."""
    with pytest.raises(ReadingsTextError) as refusal:
        read_readings(text)

    assert fault in str(refusal.value)
    assert f"Line {line}, reading {place}: " in str(refusal.value)
    assert (line, place, "readings") == (refusal.value.line, refusal.value.place, refusal.value.field)


@pytest.mark.parametrize("text", ["", " \n ", ";;", ","])
def test_a_text_without_readings_is_refused(text: str) -> None:
    """Nothing typed is not an empty trial."""
    with pytest.raises(ReadingsTextError, match="no readings"):
        read_readings(text)


def test_more_than_a_million_readings_are_refused() -> None:
    """The one too many is named, and none after it is read."""
    text = "1 " * MOST_READINGS + "2 rubbish"

    with pytest.raises(ReadingsTextError, match="reading 1000001: “2” is one too many"):
        read_readings(text)


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.floats(-1e6, 1e6).filter(lambda value: value == 0 or abs(value) > 1e-50), min_size=1, max_size=20),
    st.sampled_from([" ", "\n", "; ", "\t", ";\n"]),
)
def test_numbers_as_python_writes_them_come_back_as_they_were(readings: list[float], between: str) -> None:
    """Writing out and reading back loses nothing."""
    assert readings == read_readings(between.join(map(repr, readings)))


@settings(max_examples=100, deadline=None)
@given(st.text(alphabet="0123456789.,;-+eE naif\n\u00a0", max_size=30))
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    """Never another error, and never a reading that is not finite."""
    try:
        readings = read_readings(text)
    except ReadingsTextError as refusal:
        assert str(refusal).endswith(".")  # noqa: PT017 (either outcome is right)
    else:
        assert all(abs(reading) <= 1e60 for reading in readings)
