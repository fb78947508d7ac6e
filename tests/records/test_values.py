"""A part's value is read as it is typed or marked, and what has two meanings is sent back with both."""

import pytest

from server.engineering.quantities import parse, show
from server.records.parts_list import read_rows, read_table
from server.records.values import check_value, read_value, understood
from server.records.words import PartKind


@pytest.mark.parametrize(
    ("text", "kind", "shown"),
    [
        ("2k2 5%", "resistor", "2.2 kΩ ±5 %"),
        ("4,7 kΩ 5 %", "resistor", "4.7 kΩ ±5 %"),
        ("yellow violet red gold", "resistor", "4.7 kΩ ±5 %"),
        ("01C", "resistor", "10 kΩ ±1 %"),
        ("104K", "capacitor", "100 nF ±10 %"),
        ("2200 µF ±20 %", "capacitor", "2200 µF ±20 %"),
        ("3.579545 MHz ±50 ppm", "crystal", show(parse("3.579545 MHz ±50 ppm"))),
        ("6.8 V", "diode", "6.8 V"),
    ],
)
def test_a_value_is_read_by_its_kind_of_part(text: str, kind: str, shown: str) -> None:
    """Codes and colours where they are printed on parts, plain values everywhere."""
    assert shown == show(read_value(text, kind))
    assert check_value(text, kind) == ""


@pytest.mark.parametrize(
    ("text", "kind", "words"),
    [
        ("330 Ω ±5 %", "resistor", "330 Ω ±5 %"),
        ("4k7J", "resistor", "4.7 kΩ ±5 %, from the letter code 4k7J"),
        ("12 MHz", "crystal", "12 MHz"),
        (
            "yellow violet orange red",
            "resistor",
            "47 kΩ ±2 %, from yellow violet orange red",
        ),
    ],
)
def test_what_was_understood_is_said_in_words(text: str, kind: str, words: str) -> None:
    assert words == understood(text, kind)


def test_what_speaks_against_a_reading_is_said_with_it() -> None:
    """48 is no preferred value: the colours were seen wrongly, or it is no resistor of the series."""
    assert understood("yellow grey red gold", "resistor").endswith(
        "This is no preferred value: look at the colours again."
    )


@pytest.mark.parametrize(
    ("text", "kind", "readings"),
    [
        ("220", "resistor", ("22 Ω", "220 Ω")),
        ("4700", "resistor", ("470 Ω", "4.7 kΩ")),
        ("104K", "resistor", ("100 kΩ ±10 %", "104 kΩ")),
        ("220", "capacitor", ("22 pF", "220 pF")),
        ("22m", "capacitor", ("22000 µF", "22 µF")),
    ],
)
def test_what_can_be_read_two_ways_is_refused_with_both(text: str, kind: str, readings: tuple[str, str]) -> None:
    problem = check_value(text, kind)

    assert all(reading in problem for reading in readings)
    assert "write the value with its unit" in problem


@pytest.mark.parametrize(
    ("text", "kind", "said"),
    [
        ("5 V", "resistor", "V is a voltage (V), and a resistance (Ω) is asked for"),
        ("330 Ω", "capacitor", "Ω is a resistance (Ω), and a capacitance (F) is asked for"),
        ("-5 Ω", "resistor", "cannot be negative"),
        ("yellow violet blak gold", "resistor", "Band 3, “blak”, is no colour"),
        ("lots", "crystal", "A value begins with a number"),
    ],
)
def test_a_value_that_will_not_do_says_why(text: str, kind: str, said: str) -> None:
    problem = check_value(text, kind)

    assert said in problem
    assert problem.endswith(".")
    assert not problem.endswith("..")


def test_no_value_is_no_fault() -> None:
    assert all(check_value("", kind) == "" for kind in PartKind)


@pytest.mark.parametrize(("cells", "both"), [("220,", ("22 Ω", "220 Ω")), ("104K,", ("100 kΩ ±10 %", "104 kΩ"))])
def test_a_plain_number_in_a_list_is_kept_for_the_board_to_refuse(cells: str, both: tuple[str, str]) -> None:
    """The row is read; what it cannot mean alone is told when it is held against the board, with both readings."""
    (row,) = read_rows(read_table(f"ref,value,tolerance\nR1,{cells}"))

    assert row.part
    problem = check_value(row.part.value, row.part.kind)
    assert all(reading in problem for reading in both)
