"""Pins that a chip has not, that feed it, that only listen, and those of bus drivers: what a net makes of each."""

import pytest

from server.records.commands.parts import EnterPart
from tests.records.conftest import MAIN, Bench
from tests.records.net_scene import OUTPUT, add, judged, pin, place, refused


@pytest.fixture
def board(bench: Bench) -> Bench:
    place(bench)
    return bench


@pytest.mark.parametrize(
    ("row", "field", "words"),
    [
        (pin("U11", "9999", OUTPUT), "pins.0.pin", "The SN74LS00N has pins 1 to 14."),
        (pin("U11", "pin 15"), "pins.0.pin", "The SN74LS00N has pins 1 to 14."),
        (pin("U13", "5", OUTPUT), "pins.0.role", "Pin 5 is RD, an input of the 8255A: it drives nothing."),
        (pin("U13", "/CS", "either way"), "pins.0.role", "Pin /CS is CS, an input of the 8255A: it drives nothing."),
    ],
)
def test_a_pin_that_the_chip_has_not_is_refused(board: Bench, row: dict[str, str], field: str, words: str) -> None:
    """And an output that can only listen."""
    assert refused(board, row, pin("U12", "1")) == {field: words}


@pytest.mark.parametrize(("written", "left_out"), [("", True), ("74LS", False)])
def test_a_pin_that_feeds_its_chip_is_doubted(board: Bench, written: str, left_out: bool) -> None:
    """It is in the sums only where a family is written beside it."""
    add(board, [pin("U11", "14", OUTPUT, family=written), pin("U12", "1")])
    parts = judged(board).parts
    said = "U11 pin 14 is the supply of the SN74LS00N there, from memory of its data sheet: is another pin meant?"

    assert (parts.left_out.get(0), parts.doubts.get(0)) == (
        ([f"{said} It is left out."], None) if left_out else (None, said)
    )
    assert (0 in parts.fixed) != left_out


def test_the_strobe_of_a_port_chip_listens(board: Bench) -> None:
    add(board, [pin("U11", "3", OUTPUT), pin("U13", "5")])
    found = judged(board)

    assert found.parts.inputs[1].chip.kind == "8255A input"
    assert found.holds is True


def test_a_transceiver_drives_and_listens_by_figures_of_its_own(board: Bench) -> None:
    """As the other way in is left open, and as what another family's bus driver lacks is said."""
    for designator, kind in (("U18", "74LS245"), ("U19", "74HCT245")):
        board.do(EnterPart, board=MAIN, designator=designator, kind="chip", type=kind, origin="original")
    add(board, [pin("U18", "2", "either way"), pin("U12", "1"), pin("U19", "2", "either way")])
    parts = judged(board).parts

    assert parts.free[0].chip.kind == parts.two_way[0].chip.kind == "74LS transceiver"
    assert parts.left_out == {
        2: [
            "U19 pin 2: of “74HCT245” the tables have the inputs, as 74HCT, and not its outputs, so what it drives is "
            "left out. If its data sheet agrees with one of the families, write that beside the pin."
        ]
    }
