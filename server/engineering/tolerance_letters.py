"""The letters that stand for a tolerance at the end of a marking.

Most are a percentage of the value; on capacitors below 10 pF five of them are picofarads instead, and four lopsided
ones are printed on capacitors only. Exact decimal arithmetic, values in ohm or farad. An unknown letter is None.
Source: from memory of IEC 60062:2016 (letters for the tolerance).
"""

from decimal import Decimal
from typing import Literal

MarkedKind = Literal["resistor", "capacitor"]

_PERCENT = {
    "E": "0.005",
    "L": "0.01",
    "P": "0.02",
    "W": "0.05",
    "B": "0.1",
    "C": "0.25",
    "D": "0.5",
    "F": "1",
    "G": "2",
    "H": "3",
    "J": "5",
    "K": "10",
    "M": "20",
    "N": "30",
}
_LOPSIDED_PERCENT = {"Q": ("10", "30"), "S": ("20", "50"), "T": ("10", "50"), "Z": ("20", "80")}
_PICOFARADS = {"B": "0.1", "C": "0.25", "D": "0.5", "F": "1", "G": "2"}
_TEN_PICOFARADS = Decimal("10e-12")


def deviations(letter: str, value: Decimal, kind: MarkedKind) -> tuple[Decimal, Decimal] | None:
    """How far below and above a value its tolerance letter lets it be, in the value's unit; None for no such letter.

    In: a capital letter, a value in ohm (resistor) or farad (capacitor). Source: from memory of IEC 60062:2016.
    """
    if kind == "capacitor" and value < _TEN_PICOFARADS and letter in _PICOFARADS:
        size = Decimal(_PICOFARADS[letter]).scaleb(-12)
        return size, size
    if kind == "capacitor" and letter in _LOPSIDED_PERCENT:
        below, above = _LOPSIDED_PERCENT[letter]
        return value * Decimal(below) / 100, value * Decimal(above) / 100
    if letter in _PERCENT:
        size = value * Decimal(_PERCENT[letter]) / 100
        return size, size
    return None
