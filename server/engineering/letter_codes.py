"""Values whose decimal point is a letter: `4k7J`, `R47`, `6p8D`, `100nM`.

    digits letter digits [tolerance]        R k M G T of an ohm        p n µ m F of a farad

The letter is the decimal point and the multiplier at once. A capital P, N or U is taken for the small letter, as many
makers print it; a capital M is mega on a resistor and never micro on a capacitor. An `F` at the end of a capacitance
may be the farad written out or the letter for 1 %: both are given. Out: ohm or farad, exact decimals; no reading is
an empty list. Source: from memory of IEC 60062:2016; letters of the examples as in public code for them.
"""

import re
from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal

from server.engineering.marking_result import Coded
from server.engineering.tolerance_letters import MarkedKind, deviations

_POWERS: dict[MarkedKind, dict[str, int]] = {
    "resistor": {"R": 0, "r": 0, "K": 3, "k": 3, "M": 6, "G": 9, "T": 12},
    "capacitor": {"p": -12, "P": -12, "n": -9, "N": -9, "µ": -6, "u": -6, "U": -6, "m": -3, "F": 0},
}
_FORMS: dict[MarkedKind, re.Pattern[str]] = {
    "resistor": re.compile(r"([0-9]*)([RrKkMGT])([0-9]*)()([A-Z]?)"),
    "capacitor": re.compile(r"([0-9]*)([pPnNµuUm]|F(?=[0-9]))([0-9]*)(F?)([A-Z]?)"),
}
_MOST_DIGITS = 5


def letter_code(text: str, kind: MarkedKind) -> Iterator[Coded]:
    """The readings of a marking as a letter code, in ohm or farad; none if it is not one.

    In: the marking with `µ` for micro. Raises nothing. Source: from memory of IEC 60062:2016.
    """
    match = _FORMS[kind].fullmatch(text)
    if not match:
        return
    before, letter, after, farad, tolerance = match.groups()
    if not 1 <= len(before + after) <= _MOST_DIGITS:
        return
    figures = Decimal(f"{before or 0}.{after or 0}")
    value = figures.scaleb(_POWERS[kind][letter])
    source = f"the letter code {text}"
    if value == 0:
        yield from _link(source, letter, tolerance)
        return
    yield from _with_tolerance(Coded(value, kind, "letter code", source), tolerance, farad, pointed=bool(after))
    if letter == "m":
        micro = Coded(figures.scaleb(-6), kind, "letter code", f"{source}, m being micro as on old capacitors")
        yield from _with_tolerance(micro, tolerance, farad, pointed=bool(after))


def _with_tolerance(bare: Coded, tolerance: str, farad: str, *, pointed: bool) -> Iterator[Coded]:
    """With the letter decided, one reading; with an F that may be the farad, two.

    Where the small letter stands as a decimal point (`4n7F`) a tolerance is usual, after it (`100nF`) the farad is.
    """
    readings = [] if tolerance else [bare]
    if spread := deviations(tolerance or farad, bare.value, bare.kind):
        source = bare.source if tolerance else f"{bare.source}, F being its tolerance"
        readings.insert(0 if pointed else 1, replace(bare, source=source, deviations=spread))
    yield from readings


def _link(source: str, letter: str, tolerance: str) -> Iterator[Coded]:
    if letter in "Rr" and not tolerance:
        yield Coded(Decimal(0), "resistor", "zero-ohm link", source)
