"""Reading a value from what a keeper types: the grammar behind `quantities.parse`.

It knows the forms and their order, and says where a text stops being one of them. It decides what a bare letter
means from what is asked for and refuses where that leaves two meanings.

    value      = number [unit] | number ".." number [unit] | number "(" digits ")" [unit] | code
    code       = digits letter digits [tolerance letter]            letter as the decimal sign (IEC 60062)
    tolerance  = ["±"] number ("%" | "ppm" | unit) | "-" number "/+" number ("%" | unit)
"""

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal, NoReturn

from server.engineering.errors import (
    AmbiguousQuantity,
    ImpossibleValue,
    QuantityError,
    UnknownUnit,
    UnreadableQuantity,
    WrongDimension,
)
from server.engineering.toleranced import Toleranced
from server.engineering.units import check_unit, factors, same_dimension, scale

_LONGEST = 80
_SAME = str.maketrans({"μ": "µ", "Ω": "Ω", "−": "-", "\u00a0": " ", "\u2009": " ", "\u202f": " ", "\t": " "})
_NUMBER = r"(?:\d+(?:[.,]\d+)?|[.,]\d+)"
_POWER = r"(?:[eE][+-]?\d{1,3})"
_UNIT = r"(?:1/)?[A-Za-zµΩ°℃%″\"](?:[A-Za-zµΩ°·⋅*%²³⁻¹⁰⁴⁵⁶⁷⁸⁹]|\^-?\d|(?<=[A-Za-zµΩ°)])[2-9]|/(?=[A-Za-z(°µΩ])|\((?=[A-Za-zµΩ°])|\))*"
_CODE = re.compile(
    r"(?P<sign>[+-]?)(?P<before>\d*)(?P<letter>[A-Za-zµ])(?P<after>\d+) ?(?P<tolerance>[A-Z]?)(?![\w.,(])", re.ASCII
)
_RANGE = re.compile(rf"([+-]?{_NUMBER}{_POWER}?) ?({_UNIT})? ?(?:\.\.\.?|…) ?([+-]?{_NUMBER}{_POWER}?)", re.ASCII)
_CONCISE = re.compile(rf"([+-]?{_NUMBER})\(({_NUMBER})\)({_POWER}?)", re.ASCII)
_PLAIN = re.compile(rf"[+-]?{_NUMBER}{_POWER}?", re.ASCII)
_TWO_SIDED = re.compile(rf"([+-]) ?({_NUMBER}{_POWER}?) ?(%?) ?/? ?([+-]) ?({_NUMBER}{_POWER}?)", re.ASCII)
_EVEN = re.compile(rf"(±|\+/-|\+-)? ?({_NUMBER}{_POWER}?)", re.ASCII)
_EVEN_SIGN = re.compile(r"±|\+/-|\+-")
_TOKEN = re.compile(_UNIT, re.ASCII)

_KIND_UNITS = {"resistor": "Ω", "capacitor": "F", "inductor": "H", "crystal": "Hz"}
# The letters that may stand for the decimal sign in a code, and what each then says.
_CODE_LETTERS = {
    "Ω": {"R": "Ω", "k": "kΩ", "K": "kΩ", "M": "MΩ", "G": "GΩ", "T": "TΩ"},
    "F": {"p": "pF", "n": "nF", "u": "µF", "µ": "µF"},
    "H": {"n": "nH", "u": "µH", "µ": "µH", "m": "mH"},
    "Hz": {"k": "kHz", "K": "kHz", "M": "MHz"},
    "V": {"V": "V"},
    "A": {"A": "A"},
}
_CODE_ALONE = {"R": "Ω", "k": "kΩ", "K": "kΩ", "p": "pF", "n": "nF", "u": "µF", "µ": "µF", "V": "V"}
_LETTER_PERCENT = {
    "E": (".005", ".005"), "L": (".01", ".01"), "P": (".02", ".02"), "W": (".05", ".05"), "B": (".1", ".1"), "C": (".25", ".25"),
    "D": (".5", ".5"), "F": ("1", "1"), "G": ("2", "2"), "H": ("3", "3"), "J": ("5", "5"), "K": ("10", "10"), "M": ("20", "20"),
    "N": ("30", "30"), "Q": ("10", "30"), "T": ("10", "50"), "S": ("20", "50"), "Z": ("20", "80"),
}  # fmt: skip
_LETTER_PICOFARADS = {"B": ".1", "C": ".25", "D": ".5", "F": "1", "G": "2"}  # below 10 pF


def read(text: str, unit: str | None = None, kind: str | None = None) -> Toleranced:
    """Read a value as a keeper types it; the result is in the unit that the text states.

    `unit` is what is asked for: the value must have its dimension, and a bare number takes it. `kind` is the kind of part
    (`resistor`, `capacitor`, `inductor`, `crystal`; others say nothing), which tells what a bare `M`, `K` or `p` means and lets a
    digit code such as `104K` be read on a capacitor.
    Raises UnreadableQuantity, AmbiguousQuantity, UnknownUnit, WrongDimension or ImpossibleValue, each with `text` and the
    `position` of the fault in it.
    """
    asked = _KIND_UNITS.get(kind or "") if unit is None else check_unit(unit)
    reader = _Reader(text.translate(_SAME), text, asked, by_kind=unit is None, kind=kind)
    return reader.read()


@dataclass(slots=True)
class _Stated:
    """A number and unit as far as read; `limits` once a tolerance is known; `bare` if the text gave no unit."""

    nominal: Decimal
    unit: str
    low: Decimal
    high: Decimal
    spread: Literal["limits", "standard"] = "limits"
    closed: bool = False
    bare: bool = False


class _Reader:
    """Walks over one text from left to right; `at` is the place reached."""

    def __init__(self, text: str, typed: str, asked: str | None, *, by_kind: bool, kind: str | None) -> None:
        self.text = text.rstrip()
        self.typed = typed
        self.asked = asked
        self.by_kind = by_kind
        self.kind = kind
        self.at = 0
        self.skip()

    def read(self) -> Toleranced:
        self.refuse_what_is_no_number()
        stated = self.code() or self.range() or self.concise() or self.number()
        self.tolerance(stated)
        self.refuse_rest()
        self.refuse_impossible(stated)
        return self.toleranced(stated)

    # --- forms of the value -------------------------------------------------------------------------------------------

    def code(self) -> _Stated | None:
        """`4k7J`: the letter is the decimal sign."""
        match = _CODE.match(self.text, self.at)
        if not match or match["letter"] in "eE":
            return None
        unit = self.code_unit(match["letter"], match.start("letter"))
        number = Decimal(f"{match['sign']}{match['before'] or 0}.{match['after']}")
        stated = _Stated(number, unit, number, number)
        self.at = match.end()
        if match["tolerance"]:
            self.letter_tolerance(stated, match["tolerance"], match.start("tolerance"))
        self.repeated_unit(unit)
        return stated

    def range(self) -> _Stated | None:
        """`4.75..5.25 V`: the middle is the nominal."""
        match = _RANGE.match(self.text, self.at)
        if not match:
            return None
        low, high = self.decimal(match, 1), self.decimal(match, 3)
        start, self.at = match.start(), match.end()
        unit, _ = self.unit(match[3], match.end())
        if match[2] and check_unit(match[2]) != unit:
            self.fail("Both ends of a range need the same unit", match.start(2))
        if low > high:
            self.fail(f"The limits {low} and {high} are the wrong way round", start, ImpossibleValue)
        return _Stated((low + high) / 2, unit, low, high, closed=True)

    def concise(self) -> _Stated | None:
        """`6.81(3) V`: the digits in brackets are the standard uncertainty in the last places (GUM 7.2.2)."""
        match = _CONCISE.match(self.text, self.at)
        if not match:
            return None
        number, bracket = self.decimal(match, 1), match[2].replace(",", ".")
        place = min(int(number.as_tuple().exponent), 0)
        u = Decimal(bracket) if "." in bracket else Decimal(bracket).scaleb(place)
        power = int(match[3][1:]) if match[3] else 0
        number, u = number.scaleb(power), u.scaleb(power)
        self.at = match.end()
        unit, _ = self.unit(match[1], match.end())
        return _Stated(number, unit, number - 2 * u, number + 2 * u, "standard", closed=True)

    def number(self) -> _Stated:
        """`2.2 kΩ`, `47K`, `104K`, or a number alone."""
        match = _PLAIN.match(self.text, self.at)
        if not match:
            self.fail("A value begins with a number", self.at)
        number = self.decimal(match, 0)
        self.at = match.end()
        if coded := self.digit_code(match[0], match.end()):
            return coded
        bare = not self.token_follows()
        unit, letter = self.unit(match[0], match.end())
        stated = _Stated(number, unit, number, number, bare=bare)
        if letter:
            self.letter_tolerance(stated, letter, self.at - 1)
        return stated

    def digit_code(self, digits: str, end: int) -> _Stated | None:
        """`104K` on a capacitor: two digits, a power of ten, in picofarads, and a tolerance letter."""
        letter = self.text[end : end + 1]
        alone = len(self.text[end:].rstrip()) == 1
        if self.kind != "capacitor" or not re.fullmatch(r"\d{3}", digits, re.ASCII) or not alone:
            return None
        if letter not in _LETTER_PERCENT or digits[2] == "7":
            return None
        power = {"8": -2, "9": -1}.get(digits[2], int(digits[2]))
        number = Decimal(digits[:2]).scaleb(power)
        stated = _Stated(number, "pF", number, number)
        if letter == "F":
            self.ambiguous("F is the farad or a tolerance of 1 %", end, f"{digits} F", f"{number:f} pF ±1 %")
        self.at = end + 1
        self.letter_tolerance(stated, letter, end)
        return stated

    # --- units --------------------------------------------------------------------------------------------------------

    def unit(self, number: str, end: int) -> tuple[str, str]:
        """The unit that follows and, after a bare letter, a tolerance letter; what is asked for if none follows."""
        match = self.token_follows()
        if not match:
            return self.unit_of_bare(number), ""
        token, start = match[0], match.start()
        self.at = match.end()
        known = self.known(token)
        if known is not None and (self.asked is None or same_dimension(known, self.asked)):
            self.refuse_unclear(token, number, start, attached=start == end)
            self.refuse_degrees(known, start)
            return known, ""
        if letters := self.bare_prefix(token, number, start, attached=start == end):
            return letters
        if known is None:
            self.unknown(token, start)
        self.wrong_dimension(known, start)

    def token_follows(self) -> re.Match[str] | None:
        self.skip()
        return _TOKEN.match(self.text, self.at)

    def known(self, token: str) -> str | None:
        try:
            return check_unit(token)
        except UnknownUnit:
            return None

    def unit_of_bare(self, number: str) -> str:
        if self.asked is None:
            return ""
        if not self.by_kind:
            return self.asked
        if self.asked != "Ω":
            self.fail(f"{number} needs its unit on a {self.kind}", self.at)
        if re.fullmatch(r"[1-9]\d{2,3}", number, re.ASCII):
            coded = Decimal(number[:-1]).scaleb(int(number[-1]))
            self.ambiguous(f"{number} is ohms or a digit code", 0, f"{number} Ω", f"{coded:f} Ω")
        return self.asked

    def bare_prefix(self, token: str, number: str, start: int, *, attached: bool) -> tuple[str, str] | None:
        """`47K`, `100n`, `22M`, perhaps with a tolerance letter close behind: `47KM`."""
        letter, tolerance = token[0], token[1:]
        if tolerance not in ("", *_LETTER_PERCENT) or (tolerance and not attached):
            return None
        if self.asked is None and letter == "M":
            self.ambiguous("A bare M is mega, or milli as it was once printed", start, f"{number} MΩ", f"{number} MHz")
        table = _CODE_ALONE if self.asked is None else self.letters()
        if letter not in table or letter in "VA":
            return None
        if letter == "K" and self.asked == "Ω" and re.fullmatch(r"\d\d[1-9]", number, re.ASCII) and not tolerance:
            coded = Decimal(number[:2]).scaleb(int(number[2]))
            self.ambiguous(
                f"{number}K is kilo-ohms, or a digit code with 10 %", 0, f"{number} kΩ", f"{coded:f} Ω ±10 %"
            )
        return table[letter], tolerance

    def letters(self) -> dict[str, str]:
        """The letters that may stand for the decimal sign in what is asked for."""
        parts = factors(self.asked or "")
        return _CODE_LETTERS.get(parts[0].symbol, {}) if len(parts) == 1 else {}

    def code_unit(self, letter: str, position: int) -> str:
        table = _CODE_ALONE if self.asked is None else self.letters()
        if letter in table:
            return table[letter]
        if letter in "oO":
            self.fail("There is a letter O where a zero may be meant", position)
        if letter == "M" and self.asked is None:
            self.ambiguous("M is mega of a resistance or of a frequency: write the unit", position, "MΩ", "MHz")
        what = f"in {scale(self.asked).dimension}" if self.asked else "as a decimal sign"
        self.fail(f"The letter {letter} says nothing {what}", position)

    def repeated_unit(self, unit: str) -> None:
        """`4k7 Ω`: the symbol may follow a code that already implies it."""
        symbol = factors(unit)[0].symbol
        match = self.token_follows()
        if match and self.known(match[0]) == symbol:
            self.at = match.end()

    # --- tolerance ----------------------------------------------------------------------------------------------------

    def tolerance(self, stated: _Stated) -> None:
        self.skip()
        if self.at == len(self.text):
            return
        two = _TWO_SIDED.match(self.text, self.at)
        even = _EVEN.match(self.text, self.at)
        if not two and not even:
            if _EVEN_SIGN.match(self.text, self.at):
                self.fail("The tolerance after the ± is missing", self.at)
            return
        if stated.closed:
            self.fail("There are two tolerances", self.at)
        if two:
            self.two_sided(stated, two)
        elif even:
            self.even(stated, even)

    def two_sided(self, stated: _Stated, match: re.Match[str]) -> None:
        if match[1] == match[4]:
            self.fail("A tolerance in two parts needs a minus and a plus", match.start(4))
        first, second = self.decimal(match, 2), self.decimal(match, 5)
        below, above = (first, second) if match[1] == "-" else (second, first)
        self.close(stated, below, above, match.end())

    def even(self, stated: _Stated, match: re.Match[str]) -> None:
        size = self.decimal(match, 2)
        if not match[1] and self.text[match.end() :].lstrip()[:1] != "%":
            self.fail("Two numbers stand side by side; a tolerance begins with ±", match.start(2))
        self.close(stated, size, size, match.end())

    def close(self, stated: _Stated, below: Decimal, above: Decimal, end: int) -> None:
        """Turn a tolerance into limits, by the unit that follows it."""
        self.at = end
        match = self.token_follows()
        token = match[0] if match else ""
        start = self.at
        self.at = match.end() if match else self.at
        if token in ("%", "ppm") and stated.unit != token:
            self.refuse_percent_of_degrees(stated, start)
            part = abs(stated.nominal) * (Decimal("0.01") if token == "%" else Decimal("1e-6"))
            below, above = below * part, above * part
        else:
            factor = self.tolerance_unit(stated, token, start)
            below, above = below * factor, above * factor
        stated.low, stated.high, stated.closed = stated.nominal - below, stated.nominal + above, True

    def tolerance_unit(self, stated: _Stated, token: str, start: int) -> Decimal:
        """How much of the value's unit one of the tolerance's unit is; °C there is a difference."""
        if not token:
            if stated.unit in ("", "%") and not (stated.bare and self.asked):
                return Decimal(1)
            self.fail(f"Say whether the tolerance is in % or in {stated.unit}", start)
        unit = self.known(token)
        if unit is None:
            self.unknown(token, start)
        if stated.bare and self.asked is None:
            stated.unit, stated.bare = unit, False
            return Decimal(1)
        if stated.bare and unit != stated.unit:
            self.fail(f"Say the unit of {stated.nominal} too", 0)
        if not same_dimension(unit, stated.unit):
            self.fail(
                f"The tolerance in {unit} is not of the kind of {stated.unit or 'a plain number'}",
                start,
                WrongDimension,
            )
        return _exact_ratio(unit, stated.unit)

    def letter_tolerance(self, stated: _Stated, letter: str, position: int) -> None:
        if letter not in _LETTER_PERCENT:
            self.fail(f"{letter} is no tolerance letter", position)
        if stated.unit == "pF" and stated.nominal < 10 and letter in _LETTER_PICOFARADS:
            below = above = Decimal(_LETTER_PICOFARADS[letter])
        else:
            below, above = (stated.nominal * Decimal(p) / 100 for p in _LETTER_PERCENT[letter])
        stated.low, stated.high, stated.closed = stated.nominal - below, stated.nominal + above, True

    # --- refusals -----------------------------------------------------------------------------------------------------

    def refuse_what_is_no_number(self) -> None:
        if self.at == len(self.text):
            self.fail("There is no value here", 0)
        if len(self.text) > _LONGEST:
            self.fail(f"A value has at most {_LONGEST} characters", _LONGEST)
        if re.match(r"[+-]?(nan|inf)", self.text[self.at :], re.IGNORECASE):
            self.fail("A value must be a finite number", self.at, ImpossibleValue)

    def refuse_rest(self) -> None:
        self.skip()
        if self.at == len(self.text):
            return
        if _EVEN.match(self.text, self.at) or _EVEN_SIGN.match(self.text, self.at):
            self.fail("There are two tolerances", self.at)
        if self.token_follows():
            self.fail("There are two units", self.at)
        self.fail(f"“{self.text[self.at : self.at + 12]}” is left over", self.at)

    def refuse_unclear(self, token: str, number: str, start: int, *, attached: bool) -> None:
        """`47K` and `10m` with nothing to say what they measure; with a space before the letter it is a unit."""
        if self.asked is None and attached and token in ("K", "m"):
            readings = ("kΩ", "K") if token == "K" else ("m", "mV", "mA")
            self.ambiguous(
                f"A bare {token} can be a prefix or a unit", start, *(f"{number} {unit}" for unit in readings)
            )

    def refuse_degrees(self, unit: str, start: int) -> None:
        if self.asked == "K" and unit == "°C":
            self.ambiguous(
                "An amount of temperature is asked for, which is given in K; °C is a point on the scale", start, "K"
            )

    def refuse_percent_of_degrees(self, stated: _Stated, start: int) -> None:
        if stated.unit == "°C":
            self.fail("A percentage of a temperature in °C says nothing: give the tolerance in K", start)

    def refuse_impossible(self, stated: _Stated) -> None:
        unit = scale(stated.unit)
        for symbol, what in (("Ω", "resistance"), ("F", "capacitance"), ("H", "inductance")):
            if stated.low < 0 and unit.dimension == scale(symbol).dimension:
                self.fail(f"A {what} cannot be negative", 0, ImpossibleValue)
        if unit.is_point and stated.low < Decimal("-273.15"):
            self.fail("Nothing is colder than -273.15 °C", 0, ImpossibleValue)

    def toleranced(self, stated: _Stated) -> Toleranced:
        try:
            return Toleranced(float(stated.nominal), float(stated.low), float(stated.high), stated.unit, stated.spread)
        except ImpossibleValue as fault:
            raise ImpossibleValue(fault.sentence, text=self.typed, position=0) from None

    # --- small steps --------------------------------------------------------------------------------------------------

    def skip(self) -> None:
        while self.text[self.at : self.at + 1] == " ":
            self.at += 1

    def decimal(self, match: re.Match[str], group: int) -> Decimal:
        digits = match[group]
        if re.match(r"[+-]?[1-9]\d{0,2},\d{3}(?!\d)", digits, re.ASCII):
            whole, point = digits.replace(",", ""), digits.replace(",", ".")
            self.ambiguous("The comma may part thousands or decimals", match.start(group), whole, point)
        return Decimal(digits.replace(",", "."))

    def unknown(self, token: str, start: int) -> NoReturn:
        try:
            check_unit(token)
        except UnknownUnit as fault:
            raise UnknownUnit(fault.sentence, text=self.typed, position=start + (fault.position or 0)) from None
        raise AssertionError(token)

    def wrong_dimension(self, unit: str, start: int) -> NoReturn:
        found, asked = scale(unit).dimension, scale(self.asked or "").dimension
        raise WrongDimension(
            f"{unit} is {found}, and {asked} is asked for",
            text=self.typed,
            position=start,
            found=unit,
            expected=self.asked or "",
        )

    def ambiguous(self, sentence: str, position: int, *readings: str) -> NoReturn:
        choice = " or ".join(readings)
        raise AmbiguousQuantity(
            f"{sentence}: is {choice} meant?", text=self.typed, position=position, readings=readings
        )

    def fail(self, sentence: str, position: int, error: type[QuantityError] = UnreadableQuantity) -> NoReturn:
        raise error(sentence, text=self.typed, position=position)


def _exact_ratio(unit: str, other: str) -> Decimal:
    """In decimal arithmetic, so that 50 mV is 0.05 V."""
    return Decimal(repr(scale(unit).factor)) / Decimal(repr(scale(other).factor))
