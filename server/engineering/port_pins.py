"""Pins of parallel ports by number and by name: on the 40-pin package of an 8255, pin 4 is PA0.

In: a type number and a pin, as they are printed or spoken: `D8255A-5`, `pin 4`, `PA0`, `DB3`. Out: names as the tables
below have them, in capitals, or none. Where the numbers of a chip are not in the tables, its ports and its data bus are
told by name alone. Raises nothing.
Source: pin numbers from memory of the chips' data sheets.
"""

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

_JOINING = re.compile(r"[\s\-.]+")
_CHIPS = (
    ("8255", re.compile(r"[A-ZΜ]{0,3}8255A?[CDNP]?\d?", re.ASCII)),
    ("652x", re.compile(r"[A-Z]{0,3}65(?:20|21|22|26)[AB]?[CDNP]?")),
    ("6532", re.compile(r"[A-Z]{0,3}6532[AB]?[CDNP]?")),
    ("6530", re.compile(r"[A-Z]{0,3}6530[AB]?[CDNP]?")),
)
_EIGHT = range(8)
_A, _B, _C, _D = ([f"{port}{line}" for line in _EIGHT] for port in ("PA", "PB", "PC", "D"))
# From pin 1; empty where makers differ in what they call it.
_PINS = {
    "8255": [*_A[3::-1], "RD", "CS", "GND", "A1", "A0", *_C[:3:-1], *_C[:4], *_B, "VCC", *_D[::-1], "RESET", "WR",
             *_A[:3:-1]],
    "652x": ["VSS", *_A, *_B, *[""] * 8, *_D[::-1]],
    "6532": ["VSS", "A5", "A4", "A3", "A2", "A1", "A0", *_A, *_B[:3:-1], "VCC", *_B[3::-1], "IRQ", *_D[::-1]],
    "6530": [],
}  # fmt: skip
_NAMED_ALONE = {*_A, *_B, *_D}
# Pins that only listen: the strobes, the addresses, the reset.
_INPUTS = {
    "8255": {"RD", "WR", "CS", "RESET", "A0", "A1"},
    "6532": {f"A{line}" for line in range(7)},
}
_FEEDING = {"VCC", "GND", "VSS"}


@dataclass(frozen=True, slots=True)
class PortPin:
    """A pin of a chip with parallel ports: the sort of chip, and the name that the pin goes by."""

    chip: str
    name: str

    @property
    def place(self) -> Literal["port", "data bus", "input", "supply", ""]:
        """Whether it belongs to a port or to the data bus, only listens, or feeds the chip."""
        if self.name in (*_A, *_B, *_C):
            return "port"
        if self.name in _D:
            return "data bus"
        if self.name in _INPUTS.get(self.chip, ()):
            return "input"
        return "supply" if self.name in _FEEDING else ""


def joined(text: str) -> str:
    """A type number or a pin as it is looked up: in capitals, without spaces, hyphens and points."""
    return _JOINING.sub("", text.upper())


def port_chip(name: str) -> str:
    """The sort of chip with ports that a type number means, already in one piece; empty if it is none."""
    return next((chip for chip, pattern in _CHIPS if pattern.fullmatch(name)), "")


@lru_cache(maxsize=1024)
def port_pin(type_number: str, pin: str) -> PortPin | None:
    """The pin that a number or a name means on this chip; None where the tables do not say."""
    chip = port_chip(joined(type_number))
    if not chip:
        return None
    word, names = joined(pin).removeprefix("PIN").removeprefix("/"), _PINS[chip]
    if word.isascii() and word.isdecimal() and len(word) < 4:
        number = int(word)
        found = names[number - 1] if 0 < number <= len(names) else ""
    else:
        found = re.sub(r"^DB(?=[0-7]$)", "D", word)
        found = found if found in (names or _NAMED_ALONE) else ""
    return PortPin(chip, found) if found else None
