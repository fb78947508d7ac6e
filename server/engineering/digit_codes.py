"""Values in digits alone: three- and four-digit codes (`104K`, `4702`) and EIA-96 (`01C`).

    three or four digits [tolerance]    two or three figures and a power of ten: ohm, or picofarad for capacitors,
                                        where a last 8 is 1/100 and a last 9 is 1/10
    two digits and a letter             the n-th value of E96 and a multiplier: ohm, 1 %

Digits that end in zero were often printed as a plain number too (`220` for 220 ohm), and an F may be the farad: those
readings come along. Out: ohm or farad, exact decimals; no reading is an empty list. Source: EIA RS-198 (from memory)
and common practice for the digits; for EIA-96 public tables, its letters R, S and H from memory.
"""

import re
from collections.abc import Iterator
from decimal import Decimal

from server.engineering.marking_result import Coded
from server.engineering.preferred_series import series
from server.engineering.tolerance_letters import MarkedKind, deviations

_DIGITS = re.compile(r"([1-9][0-9]{1,2})([0-9])([A-Z]?)")
_ZEROS = re.compile(r"0{1,4}")
_EIA_96 = re.compile(r"([0-9]{2})([A-Z])")
_EIA_96_POWERS = {
    "Z": -3, "Y": -2, "R": -2, "X": -1, "S": -1, "A": 0, "B": 1, "H": 1, "C": 2, "D": 3, "E": 4, "F": 5,
}  # fmt: skip
_UNIT_POWER: dict[MarkedKind, int] = {"resistor": 0, "capacitor": -12}
_UNIT_NAME: dict[MarkedKind, str] = {"resistor": "ohms", "capacitor": "picofarads"}
_BELOW_ONE = {"8": -2, "9": -1}
_NUMBER_NAMES = {3: "three", 4: "four"}


def digit_code(text: str, kind: MarkedKind) -> Iterator[Coded]:
    """The readings of a marking as a three- or four-digit code, in ohm or farad; none if it is not one.

    Zeros alone are a link. Raises nothing. Source: EIA RS-198 (from memory), common practice.
    """
    if kind == "resistor" and _ZEROS.fullmatch(text):
        yield Coded(Decimal(0), kind, "zero-ohm link", f"{text}, digits of a link")
        return
    match = _DIGITS.fullmatch(text)
    if not match:
        return
    figures, last, letter = match.groups()
    power = _BELOW_ONE.get(last, int(last)) if kind == "capacitor" else int(last)
    value = Decimal(figures).scaleb(power + _UNIT_POWER[kind])
    spread = deviations(letter, value, kind) if letter else None
    if letter and spread is None:
        return
    code = f"the {_NUMBER_NAMES[len(figures) + 1]}-digit code {text}"
    yield Coded(value, kind, "digit code", f"{code} in {_UNIT_NAME[kind]}", spread)
    if kind == "capacitor" and letter == "F":
        yield Coded(Decimal(figures + last), kind, "plain value", f"{text} as a plain number of farads")
    if last == "0" and not letter:
        plain = Decimal(figures + last).scaleb(_UNIT_POWER[kind])
        yield Coded(plain, kind, "plain value", f"{text} as a plain number of {_UNIT_NAME[kind]}")


def eia_96(text: str, kind: MarkedKind) -> Iterator[Coded]:
    """The reading of a marking as an EIA-96 code, in ohm with 1 %; none if it is not one or not on a resistor.

    Raises nothing. Source: public tables of the code; the letters R, S and H from memory.
    """
    match = _EIA_96.fullmatch(text)
    if kind != "resistor" or not match or match[2] not in _EIA_96_POWERS or not 1 <= int(match[1]) <= 96:
        return
    value = Decimal(series("E96")[int(match[1]) - 1]).scaleb(_EIA_96_POWERS[match[2]])
    yield Coded(value, kind, "EIA-96", f"the EIA-96 code {text}", (value / 100, value / 100))
