"""How many pins a chip has and which feed it, from memory of the makers' data sheets."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.engineering.packages import beyond, feeds, pins_of_type

PINS = [
    ("74LS00", 14), ("SN74LS00N", 14), ("7400", 14), ("DM7404N", 14), ("74HCT74", 14), ("7476", 16), ("74LS138", 16),
    ("7490", 14), ("74LS245", 20), ("SN74LS373N", 20), ("74154", 24), ("CD4011BE", 14), ("4011", 14), ("CD4040BE", 16),
    ("74HC4040", 16), ("MC14011BCP", 14), ("8255A", 40), ("R6522AP", 40), ("6532", 40), ("NE555", None), ("", None),
    ("74LS9999", None), ("SN74LS00FN", None), ("7" * 60, None), ("Z80A CPU", None),
]  # fmt: skip
FEEDING = [
    ("74LS00", "14", "the supply"), ("74LS00", "pin 7", "ground"), ("74LS00", "13", ""), ("74138", "16", "the supply"),
    ("74138", "8", "ground"), ("74LS245", "10", "ground"), ("7476", "16", ""), ("7476", "8", ""), ("7490", "7", ""),
    ("7493", "14", ""), ("CD4049UBE", "16", ""), ("4011", "14", "the supply"), ("8255A", "26", "the supply"),
    ("8255A", "7", "ground"), ("6532", "1", "ground"), ("odd one", "VCC", "the supply"), ("odd one", "14", ""),
    ("6522", "2", ""),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "pins"), PINS)
def test_a_type_has_so_many_pins(kind: str, pins: int | None) -> None:
    assert pins == pins_of_type(kind)


@pytest.mark.parametrize(("kind", "pin", "what"), FEEDING)
def test_a_pin_that_feeds_the_chip_is_known(kind: str, pin: str, what: str) -> None:
    """And nothing is claimed of chips that are fed elsewhere."""
    assert what == feeds(kind, pin)


@pytest.mark.parametrize(
    ("kind", "pin", "said"),
    [("74LS00", "9999", "The 74LS00 has pins 1 to 14."), ("74LS00", "pin 15", "The 74LS00 has pins 1 to 14."),
     ("74LS00", "0", "The 74LS00 has pins 1 to 14."), ("74LS00", "14", ""), ("74LS00", "A", ""), ("odd one", "99", ""),
     ("8255A", "41", "The 8255A has pins 1 to 40.")],
)  # fmt: skip
def test_a_pin_beyond_the_package_is_told(kind: str, pin: str, said: str) -> None:
    assert said == beyond(kind, pin)


@given(st.text(max_size=60), st.text(max_size=12))
@settings(max_examples=60)
def test_any_text_is_answered(kind: str, pin: str) -> None:
    assert pins_of_type(kind) in (None, 14, 16, 20, 24, 40)
    assert feeds(kind, pin) in ("", "the supply", "ground")
