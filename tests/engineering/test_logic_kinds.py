"""A type number's kind in the tables: told where it is sure, by what the pin does, and never guessed between two."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.engineering.logic_families import kinds
from server.engineering.logic_kinds import Does, kind_of

# Common practice, no source: how makers print these types.
TOLD = [
    ("7400", "74"), ("SN7400N", "74"), ("N7404A", "74"), ("sn74138n", "74"), ("DM7474", "74"), ("MC7402P", "74"),
    ("7413", "74 Schmitt"), ("SN7414N", "74 Schmitt"), ("74132", "74 Schmitt"), ("7438", "74 open-collector buffer"),
    ("74LS00", "74LS"), ("SN74LS00N", "74LS"), ("SN 74 LS 00 N", "74LS"), ("74LS74AN", "74LS"), ("M74LS138P", "74LS"),
    ("HD74LS04P", "74LS"), ("74ls157", "74LS"), ("SN-74LS04-N", "74LS"), ("DM74LS00N", "DM74LS00"),
    ("DM74LS04N", "74LS"), ("74HC00", "74HC"), ("MM74HC04N", "74HC"), ("PC74HC00P", "74HC"), ("74HC4040", "74HC"),
    ("74HCT04", "74HCT"), ("PC74HCT00P", "74HCT"), ("CD4011BE", "4000B"), ("HEF4011BP", "4000B"),
    ("MC14011BCP", "4000B"), ("HCF4040BEY", "4000B"), ("TC4011BP", "4000B"), ("4011B", "4000B"), ("CD40161BE", "4000B"),
]  # fmt: skip
NOT_TOLD = [
    "", "chip", "Z80A CPU", "2716 EPROM", "4116 RAM", "74", "7", "LM386", "AY-3-8912", "741", "NE555", "TMS9918",
    "54LS00", "74S00", "74F04", "74C00", "74ALS00", "74AS00", "74AC00", "74H00", "74L00", "74HCU04", "74LVC00",
    "CD4011AE", "CD4011UBE", "CD4069UBE", "HEF4011", "4011", "CD4066BE", "74HC4066", "CD4051BE", "74LS00/74HC00",
    "74LS00 or 74HC00", "74HCT245", "74LS38", "7406", "7447", "82C55A", "8256", "6502", "65C22",
    "8255A", "8255", "6522", "\N{SUPERSCRIPT TWO}74LS00", "74LS00" * 20, "74LS\N{ARABIC-INDIC DIGIT ZERO}0",
]  # fmt: skip
BY_WHAT_IT_DOES: list[tuple[str, Does, str | None]] = [
    ("74LS14", "drives", "74LS"), ("74LS14", "listens", None), ("74LS14", "both", None),
    ("74LS245", "listens", "74LS transceiver"), ("74LS245", "drives", "74LS transceiver"),
    ("SN74LS245N", "both", "74LS transceiver"), ("74LS244", "drives", "74LS line driver"), ("74HC245", "drives", None),
    ("74LS126A", "drives", "74LS bus driver"),
    ("74LS126A", "listens", "74LS"), ("7406", "listens", "74"), ("74HC14", "listens", None),
    ("74HC14", "drives", "74HC"),
    ("CD40106BE", "drives", "4000B"), ("CD40106BE", "listens", None), ("CD4050BE", "listens", "4000B"),
    ("CD4050BE", "drives", None),
]  # fmt: skip
PORTS = [
    ("8255A", "4", "8255A port"), ("D8255A-5", "PA0", "8255A port"), ("P8255A", "pin 37", "8255A port"),
    ("8255A", "27", "8255A data bus"), ("8255A", "D7", "8255A data bus"), ("P8255", "DB0", "8255 data bus"),
    ("8255", "18", "8255 port"), ("8255A", "5", None), ("8255A", "CS", None), ("8255A", "7", None),
    ("8255A", "99", None),
    ("µPD8255AC", "pc3", "8255A port"), ("6522", "2", "65xx-style port"), ("R6522AP", "PB7", "65xx-style port"),
    ("6522", "26", None), ("6522", "D0", None), ("MCS6520", "17", "65xx-style port"), ("6522", "40", None),
]  # fmt: skip


@pytest.mark.parametrize(("text", "kind"), TOLD)
def test_a_type_number_tells_its_kind(text: str, kind: str) -> None:
    """In whatever way the maker prints it."""
    assert kind == kind_of(text)


@pytest.mark.parametrize("text", NOT_TOLD)
def test_what_is_not_sure_is_not_told(text: str) -> None:
    """Other families, unbuffered parts, buffers, and types that could be either of two."""
    assert kind_of(text) is None


@pytest.mark.parametrize(("text", "does", "kind"), BY_WHAT_IT_DOES)
def test_what_a_pin_does_decides(text: str, does: Does, kind: str | None) -> None:
    """A Schmitt gate drives as its family does, and a bus driver listens as its family does."""
    assert kind == kind_of(text, does=does)


INPUTS = [
    ("8255A", "5", "8255A input"), ("8255", "/RD", "8255 input"), ("P8255A", "CS", "8255A input"),
    ("8255A", "35", "8255A input"), ("8255A", "7", None), ("8255A", "26", None), ("6532", "2", None),
]  # fmt: skip


@pytest.mark.parametrize(("text", "pin", "kind"), INPUTS)
def test_the_strobes_of_a_port_chip_listen_and_never_drive(text: str, pin: str, kind: str | None) -> None:
    assert kind == kind_of(text, pin, "listens")
    assert kind_of(text, pin, "drives") is None


@pytest.mark.parametrize(("text", "pin", "kind"), PORTS)
def test_the_pin_of_a_port_chip_decides(text: str, pin: str, kind: str | None) -> None:
    """By number or by name; neither a supply pin nor a strobe is a port."""
    assert kind == kind_of(text, pin)


def test_every_kind_that_is_told_is_in_the_tables() -> None:
    told = {kind for _, kind in TOLD} | {kind for _, _, kind in BY_WHAT_IT_DOES + PORTS if kind}

    assert told <= set(kinds())


@given(st.text(max_size=60), st.text(max_size=10))
@settings(max_examples=80)
def test_any_text_is_answered(text: str, pin: str) -> None:
    """With a kind of the tables, or none."""
    assert kind_of(text, pin) in {None, *kinds()}
