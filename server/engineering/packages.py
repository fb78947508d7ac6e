"""How many pins a chip has, and which of them feed it, told by its type number.

In: a type number and a pin, as they are printed or spoken: `SN74LS00N`, `pin 14`. Out: a number of pins, or words; None
or nothing where the table does not know the type, or a letter behind it says that it has another package (`FN`). Chips
that feed at other pins than the corners (7476, 7490, 4049) are in the table by their number of pins alone.
Packages in two rows. Raises nothing.
Source: from memory of the makers' data sheets.
"""

import re
from functools import lru_cache

from server.engineering.port_pins import joined, port_chip, port_pin

_LOGIC = re.compile(r"[A-Z]{0,3}?74(?:LS|HCT|HC|ALS|AS|S|F)?(?P<number>\d{2,4})(?P<tail>[A-Z]{0,4})\d?", re.ASCII)
_CMOS = re.compile(r"[A-Z]{0,3}1?(?P<number>4\d{3}|40\d{3})(?P<tail>[A-Z]{0,4})\d?", re.ASCII)
_OTHER_PACKAGES = ("FN", "FK", "FZ")
_LONGEST = 40
_PORT_PINS = 40

_LOGIC_PINS = {
    14: {*range(14), 14, 16, 17, 20, 21, 22, *range(25, 29), 30, 32, 33, 37, 38, 40, 51, 54, 73, 74, 86, 90, 92, 93,
         95, 107, 113, 114, 121, 122, 125, 126, 128, 132, 136, 164, 196, 197, 242, 243, 260, 266, 280, 290, 293, 386,
         393},
    16: {*range(42, 49), 75, 76, 83, 85, 89, 96, 109, 112, 123, 138, 139, 145, 147, 148, 151, 153, *range(155, 164),
         165, 166, 168, 169, 170, 173, 174, 175, *range(190, 196), 221, 251, 253, 257, 258, 259, 279, 283, 298,
         *range(365, 369), 390, 670},
    20: {240, 241, 244, 245, 273, 299, 373, 374, 377, 533, 534, 540, 541, 563, 564, 573, 574, 640, 645, 688},
    24: {150, 154, 181},
}  # fmt: skip
_CMOS_PINS = {
    14: {4000, 4001, 4002, 4007, 4011, 4012, 4013, 4016, 4023, 4024, 4025, 4030, 4066, 4068, 4069, 4070, 4071, 4072,
         4073, 4075, 4077, 4078, 4081, 4082, 4093, 40106},
    16: {4014, 4015, *range(4017, 4023), *range(4027, 4030), 4035, 4040, 4042, 4043, 4044, *range(4049, 4054), 4060,
         4076, 4094, 4511, 4516, 4518, 4520, 4528, 4538},
    24: {4514, 4515},
}  # fmt: skip
# Fed elsewhere than at the last pin and the last of the first row.
_FED_OTHERWISE = {73, 75, 76, 83, 90, 92, 93, 96, 4049, 4050}
_FEEDING = {"VCC": "the supply", "VDD": "the supply", "GND": "ground", "VSS": "ground"}


def pin_number(pin: str) -> int | None:
    """The number that a pin goes by; None for a name."""
    word = joined(pin).removeprefix("PIN")
    return int(word) if word.isascii() and word.isdecimal() and len(word) < 10 else None


def pins_of_type(type_number: str) -> int | None:
    """How many pins a chip of this type has, in a package in two rows; None where the table does not know it."""
    found = _known(type_number)
    return found[0] if found else None


def beyond(type_number: str, pin: str) -> str:
    """That a chip has no such pin, in a sentence; empty if it has, or if nobody knows."""
    number, pins = pin_number(pin), pins_of_type(type_number)
    if number is None or pins is None or 0 < number <= pins:
        return ""
    return f"The {type_number} has pins 1 to {pins}."


def feeds(type_number: str, pin: str) -> str:
    """What a pin feeds the chip with, `the supply` or `ground`; empty for another pin, and where nobody knows."""
    port, named = port_pin(type_number, pin), joined(pin)
    if port or named in _FEEDING:
        return _FEEDING.get(port.name if port else named, "")
    number, found = pin_number(pin), _known(type_number)
    if not found or not found[1] or number is None:
        return ""
    return {found[0]: "the supply", found[0] // 2: "ground"}.get(number, "")


@lru_cache(maxsize=1024)
def _known(type_number: str) -> tuple[int, bool] | None:
    """The number of pins, and whether it is fed at the corners."""
    if len(type_number) > _LONGEST:
        return None
    name = joined(type_number)
    if port_chip(name):
        return None if name.startswith("N") else (_PORT_PINS, False)
    for pattern, table in ((_LOGIC, _LOGIC_PINS), (_CMOS, _CMOS_PINS), (_LOGIC, _CMOS_PINS)):
        match = pattern.fullmatch(name)
        if match and match["tail"] not in _OTHER_PACKAGES:
            number = int(match["number"])
            pins = next((pins for pins, numbers in table.items() if number in numbers), None)
            if pins:
                return pins, number not in _FED_OTHERWISE
    return None
