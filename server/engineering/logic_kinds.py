"""Which kind of the handbook tables a chip's type number belongs to, or none; it never guesses between two.

A type number is `letters, family, number, letters`: SN74LS14N, DM74LS00, CD4011BE, D8255A-5, R6522AP. What decides is
what the pin does, for one chip can keep a family's levels at its inputs and not at its outputs:

- A pin that listens is not told for Schmitt inputs outside the plain 74 family, whose levels the tables do not have.
- A pin that drives is not told for buffers, bus drivers, display drivers and three-state outputs that carry more.
- The 4000 family is told with its B alone: A and UB parts have other levels, and a bare 4011 may be either.
- Bus drivers of the 74LS family have kinds of their own: 125 and 126, 240, 241 and 244, 245.
- Of a parallel port (8255, 6522 and the like) the pin tells whether it is a port, the data bus or, on an 8255, an input
  alone, by its number on the 40-pin package or by its name (PA3, D4, /RD); other pins of such chips have no kind.

Out: a member of `logic_families.kinds()`. Volts and amperes are those tables' matter; an input is taken for one unit
load, which pins of counters and flip-flops can exceed. Raises nothing.
Source: type numbers are common practice, no source; pins, `port_pins`.
"""

import re
from functools import lru_cache
from typing import Literal

from server.engineering.port_pins import joined, port_pin

Does = Literal["drives", "listens", "both"]

_LOGIC = re.compile(r"[A-Z]{0,3}?74(?P<family>[A-Z]{0,5}?)(?P<number>\d{2,4})[A-Z]{0,4}\d?", re.ASCII)
# A 1 before the number belongs to a maker's own way of numbering: MC14011B.
_CMOS = re.compile(r"[A-Z]{0,3}1?(?P<number>4\d{3}|40\d{3})(?P<build>U?B)[A-Z]{0,3}\d?", re.ASCII)
_PORT_8255A = re.compile(r"[A-ZΜ]{0,3}8255A[CDNP]?\d?", re.ASCII)
_FAMILIES = {"": "74", "LS": "74LS", "HC": "74HC", "HCT": "74HCT"}
_LONGEST = 40

# Numbers of the 7400 families, without leading zeros.
_SCHMITT = frozenset({13, 14, 18, 19, 24, 121, 132, 221, 310, 7001, 7014, 7132, 9014, 9114})
_PLAIN_SCHMITT = frozenset({13, 14, 132})
_DRIVES_OTHERWISE = frozenset(
    {6, 7, 16, 17, 18, 19, 24, 26, 28, 33, 37, 38, 40, *range(45, 50), 81, 84, 89, 128, 134, 140, 170, 173, 189}
    | {*range(141, 146), 125, 126, *range(240, 250), 251, 253, 257, 258, 289, 295, 299, 322, 323, 347, 348, 353}
    | {*range(351, 358), *range(363, 369), 373, 374, 395, 425, 426, 446, 447, *range(465, 469), *range(533, 535)}
    | {*range(540, 542), *range(563, 565), *range(573, 577), *range(580, 660), *range(670, 700), *range(756, 761)}
    | {*range(795, 799), 804, 805, 808, 832, 1034, 1035, 4049, 4050, 4511, 4514, 4515, 4543}
)
# Bus drivers that have a kind for all of their pins.
_LS_DRIVERS = {
    240: "74LS line driver",
    241: "74LS line driver",
    244: "74LS line driver",
    245: "74LS transceiver",
}
# Numbers of the 4000 family; the same ones keep their number in 74HC4066 and the like.
_SWITCHES = frozenset({4016, 4046, 4051, 4052, 4053, 4066, 4067, 4097, 4316, 4351, 4352, 4353, 7046, 9046})
_CMOS_SCHMITT = frozenset({4093, 4528, 4538, 4583, 4584, 40106})
_CMOS_DRIVES_OTHERWISE = frozenset(
    {4007, 4009, 4010, 4041, 4049, 4050, 4054, 4055, 4056, 4104, 4107, 4109, 4502, 4503, 4504, 4511, 4513, 4543, 4547}
    | {40107, 40109, 40110, 40116, 40240, 40244, 40245, 40373, 40374}
)


@lru_cache(maxsize=1024)
def kind_of(type_number: str, pin: str = "", does: Does = "both") -> str | None:
    """The kind whose figures hold for a pin of this chip, or None: `kind_of("SN74LS00N") == "74LS"`.

    `pin` is its number or name; `does` what it does to the net: `drives`, `listens` or `both`.
    """
    if len(type_number) > _LONGEST:
        return None
    name = joined(type_number)
    found = {kind for kind in (_of_74(name, does), _of_4000(name, does), _of_port(name, pin, does)) if kind}
    return found.pop() if len(found) == 1 else None


def _of_74(name: str, does: Does) -> str | None:
    match = _LOGIC.fullmatch(name)
    if not match or match["family"] not in _FAMILIES:
        return None
    family, number = match["family"], int(match["number"])
    drives, listens = does != "listens", does != "drives"
    if number in _SWITCHES:
        return None
    if not family and number in _PLAIN_SCHMITT:
        return "74 Schmitt"
    if not family and number == 38:
        return "74 open-collector buffer"
    if listens and number in _SCHMITT:
        return None
    if family == "LS" and number in (125, 126):
        return "74LS bus driver" if does == "drives" else "74LS" if does == "listens" else None
    if family == "LS" and number in _LS_DRIVERS:
        return _LS_DRIVERS[number]
    if drives and number in _DRIVES_OTHERWISE:
        return None
    if family == "LS" and number == 0 and name.startswith("DM"):
        return "DM74LS00"
    return _FAMILIES[family]


def _of_4000(name: str, does: Does) -> str | None:
    match = _CMOS.fullmatch(name)
    if not match or match["build"] != "B":
        return None
    number = int(match["number"])
    if number in _SWITCHES or (does != "drives" and number in _CMOS_SCHMITT):
        return None
    return None if does != "listens" and number in _CMOS_DRIVES_OTHERWISE else "4000B"


def _of_port(name: str, pin: str, does: Does) -> str | None:
    found = port_pin(name, pin)
    if found is None or found.place in ("", "supply") or (found.place == "input" and does != "listens"):
        return None
    if found.chip == "8255":
        return f"8255{'A' if _PORT_8255A.fullmatch(name) else ''} {found.place}"
    return "65xx-style port" if found.place == "port" else None
