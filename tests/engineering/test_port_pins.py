"""Pins of parallel ports by number and by name, from memory of the chips' data sheets."""

import pytest

from server.engineering.logic_kinds import kind_of
from server.engineering.port_pins import port_pin

SAME = [
    ("8255A", "4", "PA0"), ("D8255A-5", "pin 37", "pa7"), ("8255", "10", "PC7"), ("8255", "14", "PC0"),
    ("8255A", "18", "PB0"), ("8255A", "34", "DB0"), ("8255A", "D7", "27"), ("8255A", "5", "RD"), ("8255A", "/WR", "36"),
    ("R6522AP", "2", "PA0"), ("6520", "17", "PB7"), ("6526", "33", "DB0"), ("6532", "8", "PA0"), ("6532", "16", "PB7"),
    ("6532", "24", "PB0"), ("6530", "PA0", "PA0"),
]  # fmt: skip
OTHERS = [
    ("8255A", "4", "PA1"), ("8255A", "4", "40"), ("", "4", "PA0"), ("74LS00", "4", "PA0"), ("6522", "18", "CB1"),
    ("6530", "2", "PA0"), ("8255A", "0", "PA0"), ("8255A", "41", "PA0"), ("6522", "PC3", "PC3"), ("8255A", "", ""),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "one", "other"), SAME)
def test_a_number_and_a_name_are_one_pin(kind: str, one: str, other: str) -> None:
    """However they are spelled."""
    assert port_pin(kind, one) is not None
    assert port_pin(kind, one) == port_pin(kind, other)


@pytest.mark.parametrize(("kind", "one", "other"), OTHERS)
def test_what_the_tables_do_not_tell_is_not_taken_for_one(kind: str, one: str, other: str) -> None:
    found = port_pin(kind, one)

    assert found is None or found != port_pin(kind, other)


@pytest.mark.parametrize("kind", ["8255A", "6532"])
def test_each_number_is_a_pin_of_its_own(kind: str) -> None:
    """No name stands at two numbers."""
    names = [found.name for number in range(1, 41) if (found := port_pin(kind, str(number)))]

    assert len(names) == len(set(names)) >= 33


@pytest.mark.parametrize(
    ("pin", "kind"), [("2", None), ("7", None), ("8", "65xx-style port"), ("21", "65xx-style port")]
)
def test_the_ports_of_a_6532_are_not_where_a_6522_has_them(pin: str, kind: str | None) -> None:
    """Its pins 2 to 7 are addresses."""
    assert kind == kind_of("6532", pin)
