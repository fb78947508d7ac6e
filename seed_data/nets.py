"""One signal of the demo: a key row that a port pin of the sound chip reads, and could drive by mistake.

A mod that is only considered puts a resistor between the two, which makes a fight harmless. Every fact is invented.
"""

from collections.abc import Iterator

from seed_data.symptoms import Act
from server.records.commands import machines, mods, nets, steps

BOARD = "main-board"


def key_row(tag: str, keeper: str) -> Iterator[Act]:
    """The net as the schematic has it, and mod 7, a resistor in the port pin's way."""
    yield machines.AddPosition, {
        "machine": tag, "board": BOARD, "designator": "R21", "kind": "resistor", "mounting": "wired",
        "note": "Not on the board as it was made: a place for a resistor at the lifted pin 11 of U9.",
    }  # fmt: skip
    yield nets.AddNet, {
        "machine": tag, "board": BOARD, "name": "KEY ROW 3", "sheet": "2 of 3",
        "note": "The port of U9 reads the row. A program that sets the port to output drives it against U7.",
        "pins": [
            {"designator": "U7", "pin": "6", "role": "totem-pole output", "seen_at": "B2"},
            {"designator": "R3", "role": "passive", "other_end": "5 V", "seen_at": "B3"},
            {"designator": "U9", "pin": "11", "role": "either way", "family": "65xx-style port", "series": "R21",
             "seen_at": "C4"},
            {"designator": "U11", "pin": "9", "role": "input", "seen_at": "C5"},
            {"designator": "U8", "pin": "2", "role": "input", "seen_at": "D5"},
        ],
    }  # fmt: skip
    yield mods.PlanMod, {
        "machine": tag, "title": "A resistor between the port and the key row", "day": "2025-10-18",
        "state": "considered", "signer": keeper, "aim": "prevent",
        "purpose": "Let no program set the sound chip's port against the gate that drives the row.",
    }  # fmt: skip
    pin = {"machine": tag, "mod": 7, "board": BOARD}
    yield steps.AddStep, pin | {"kind": "lift pin", "designator": "U9", "pin": "11"}
    yield steps.AddStep, pin | {
        "kind": "fit", "designator": "R21", "planned_type": "carbon film", "planned_value": "1 kΩ ±5 %",
        "instruction": "From the lifted pin to its pad.",
    }  # fmt: skip
