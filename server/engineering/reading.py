"""Reading a value from what a keeper types: the grammar behind `quantities.parse`.

It knows the forms and their order, and says where a text stops being one of them. What is asked for decides what a
bare letter means; where that leaves two meanings, it refuses and names them.

    value      = number [unit] | number ".." number [unit] | number "(" digits ")" [unit] | code
    code       = digits letter digits [tolerance letter]            letter as the decimal sign (IEC 60062)
    tolerance  = ["±"] number ("%" | "ppm" | unit) | "-" number "/+" number ("%" | unit)
"""

import re
from dataclasses import dataclass
from decimal import Decimal

from server.engineering.bare_letters import letters
from server.engineering.cursor import NUMBER, POWER, UNIT, Cursor
from server.engineering.errors import ImpossibleValue, WrongDimension
from server.engineering.tolerance_letters import deviations
from server.engineering.toleranced import Spread, Toleranced
from server.engineering.units import check_unit, factors, same_dimension, scale

_LONGEST = 80
_SIGNED = rf"[+-]?{NUMBER}"
_CODE = re.compile(r"([+-]?)(\d*)([A-Za-zµ])(\d+)(?: ?([A-Z]))?(?![\w.,(])", re.ASCII)
_RANGE = re.compile(rf"({_SIGNED}{POWER}?) ?({UNIT})? ?(?:\.\.\.?|…) ?({_SIGNED}{POWER}?)", re.ASCII)
_CONCISE = re.compile(rf"({_SIGNED})\(({NUMBER})\)(?:[eE]([+-]?\d{{1,3}}))?", re.ASCII)
_PLAIN = re.compile(rf"{_SIGNED}{POWER}?", re.ASCII)
_TWO_SIDED = re.compile(rf"([+-]) ?({NUMBER}{POWER}?) ?%? ?/? ?([+-]) ?({NUMBER}{POWER}?)", re.ASCII)
_EVEN = re.compile(rf"(±|\+/-|\+-)? ?({NUMBER}{POWER}?)", re.ASCII)
_EVEN_SIGN = re.compile(r"±|\+/-|\+-")
_DIGIT_CODE = re.compile(r"\d\d[0-689]", re.ASCII)
_RELATIVE = {"%": Decimal("0.01"), "ppm": Decimal("1e-6")}
_KIND_UNITS = {"resistor": "Ω", "capacitor": "F", "inductor": "H", "crystal": "Hz"}
_NEVER_NEGATIVE = {"Ω": "resistance", "F": "capacitance", "H": "inductance"}


def read(text: str, unit: str | None = None, kind: str | None = None) -> Toleranced:
    """Read a value as a keeper types it; the result is in the unit that the text states.

    `unit` is what is asked for: the value must have its dimension, and a bare number takes it. `kind` is the kind of
    part (`resistor`, `capacitor`, `inductor`, `crystal`; others say nothing), which tells what a bare `M`, `K` or `p`
    means, lets a digit code such as `104K` be read on a capacitor, and keeps a bare number from being so many farads.
    Raises UnreadableQuantity, AmbiguousQuantity, UnknownUnit, WrongDimension or ImpossibleValue, each with `text` and
    the `position` of the fault in it.
    """
    asked = _KIND_UNITS.get(kind or "") if unit is None else check_unit(unit)
    return _Reader(text, asked, kind, is_unit_given=unit is not None).read()


@dataclass(slots=True)
class _Stated:
    """A value as far as it is read: `closed` once it has its limits, `bare` as long as no unit was written."""

    nominal: Decimal
    unit: str
    low: Decimal
    high: Decimal
    spread: Spread = "limits"
    closed: bool = False
    bare: bool = False

    def close(self, below: Decimal, above: Decimal) -> None:
        self.low, self.high, self.closed = self.nominal - below, self.nominal + above, True


def _stated(number: Decimal, unit: str, *, bare: bool = False) -> _Stated:
    return _Stated(number, unit, number, number, bare=bare)


class _Reader(Cursor):
    """One reading: what is asked for, and the steps from the first number to the end of the text."""

    def __init__(self, typed: str, asked: str | None, kind: str | None, *, is_unit_given: bool) -> None:
        super().__init__(typed)
        self.asked = asked
        self.kind = kind
        self.is_unit_given = is_unit_given

    def read(self) -> Toleranced:
        self.refuse_what_is_no_number()
        stated = self.code() or self.range() or self.concise() or self.number()
        self.tolerance(stated)
        self.refuse_rest()
        self.refuse_impossible(stated)
        nominal, low, high = (float(number) for number in (stated.nominal, stated.low, stated.high))
        try:
            return Toleranced(nominal, low, high, stated.unit, stated.spread)
        except ImpossibleValue as fault:
            raise self.fault(fault.sentence, 0, ImpossibleValue) from None

    # --- the value ---

    def code(self) -> _Stated | None:
        """`4k7J`: the letter is the decimal sign; the unit's symbol may still follow."""
        match = _CODE.match(self.text, self.at)
        if not match or match[3] in "eE":
            return None
        stated = _stated(Decimal(f"{match[1]}{match[2] or 0}.{match[4]}"), self.code_unit(match[3], match.start(3)))
        self.at = match.end()
        if match[5]:
            self.letter_tolerance(stated, match[5], match.start(5))
        following = self.token()
        if following and self.known(following[0]) == factors(stated.unit)[0].symbol:
            self.take()
        return stated

    def code_unit(self, letter: str, position: int) -> str:
        if unit := letters(self.asked).get(letter):
            return unit
        if letter in "oO":
            raise self.fault("There is a letter O where a zero may be meant", position)
        if letter == "M" and self.asked is None:
            raise self.unclear("M is mega of a resistance or of a frequency", position, "MΩ", "MHz")
        what = f"in {scale(self.asked).dimension}" if self.asked else "as a decimal sign"
        raise self.fault(f"The letter {letter} says nothing {what}", position)

    def range(self) -> _Stated | None:
        """`4.75..5.25 V`: the middle is the nominal."""
        match = _RANGE.match(self.text, self.at)
        if not match:
            return None
        low, high = self.decimal(match, 1), self.decimal(match, 3)
        self.at = match.end()
        unit, _ = self.unit(match[3], match.end())
        if match[2] and self.known(match[2]) != unit:
            raise self.fault("Both ends of a range need the same unit", match.start(2))
        if low > high:
            raise self.fault(f"The limits {low} and {high} are the wrong way round", match.start(), ImpossibleValue)
        return _Stated((low + high) / 2, unit, low, high, closed=True)

    def concise(self) -> _Stated | None:
        """`6.81(3) V`: the digits in brackets are the standard uncertainty in the last places (GUM 7.2.2)."""
        match = _CONCISE.match(self.text, self.at)
        if not match:
            return None
        number, u = self.decimal(match, 1), self.decimal(match, 2)
        if u == u.to_integral() and not re.search("[.,]", match[2]):
            u = u.scaleb(min(int(number.as_tuple().exponent), 0))
        number, u = (part.scaleb(int(match[3] or 0)) for part in (number, u))
        self.at = match.end()
        unit, _ = self.unit(match[1], match.end())
        return _Stated(number, unit, number - 2 * u, number + 2 * u, "standard", closed=True)

    def number(self) -> _Stated:
        """`2.2 kΩ`, `47K`, `104K`, or a number alone."""
        match = _PLAIN.match(self.text, self.at)
        if not match:
            raise self.fault("A value begins with a number", self.at)
        number = self.decimal(match, 0)
        self.at = match.end()
        if coded := self.digit_code(match[0]):
            return coded
        bare = not self.token()
        unit, letter = self.unit(match[0], match.end())
        stated = _stated(number, unit, bare=bare)
        if letter:
            self.letter_tolerance(stated, letter, self.at - 1)
        return stated

    def digit_code(self, digits: str) -> _Stated | None:
        """`104K` on a capacitor: two digits and a power of ten in picofarads, a tolerance letter close behind."""
        letter = self.text[self.at :]
        if self.kind != "capacitor" or not _DIGIT_CODE.fullmatch(digits) or len(letter) != 1 or not letter.isupper():
            return None
        number = Decimal(digits[:2]).scaleb({"8": -2, "9": -1}.get(digits[2], int(digits[2])))
        if letter == "F":
            raise self.unclear("F is the farad or a tolerance of 1 %", self.at, f"{digits} F", f"{number:f} pF ±1 %")
        stated = _stated(number, "pF")
        self.letter_tolerance(stated, letter, self.at)
        self.at += 1
        return stated

    # --- its unit ---

    def unit(self, number: str, end: int) -> tuple[str, str]:
        """The unit that follows and, after a bare letter, a tolerance letter; what is asked for if none follows."""
        token, start = self.take()
        if not token:
            return self.unit_of_bare(number), ""
        known = self.known(token)
        if known is not None and (self.asked is None or same_dimension(known, self.asked)):
            self.refuse_unclear(token, known, number, start, attached=start == end)
            return known, ""
        if found := self.bare_prefix(token, number, start, attached=start == end):
            return found
        if known is None:
            raise self.no_unit(token, start)
        found_dimension, asked_dimension = scale(known).dimension, scale(self.asked or "").dimension
        raise WrongDimension(
            f"{known} is {found_dimension}, and {asked_dimension} is asked for",
            text=self.typed,
            position=start,
            found=known,
            expected=self.asked or "",
        )

    def unit_of_bare(self, number: str) -> str:
        """What a number alone is taken for; refused where values are never in whole farads, henries or hertz."""
        if self.kind in _KIND_UNITS and self.asked in ("F", "H", "Hz"):
            raise self.fault(f"{number} needs its unit on {_with_article(self.kind)}", self.at)
        if not self.is_unit_given and self.kind == "resistor" and re.fullmatch(r"[1-9]\d{2,3}", number, re.ASCII):
            coded = Decimal(number[:-1]).scaleb(int(number[-1]))
            raise self.unclear(f"{number} is ohms or a digit code", 0, f"{number} Ω", f"{coded:f} Ω")
        return self.asked or ""

    def bare_prefix(self, token: str, number: str, start: int, *, attached: bool) -> tuple[str, str] | None:
        """`47K`, `100n`, `22M`, perhaps with a tolerance letter close behind: `47KM`."""
        letter, tolerance = token[0], token[1:]
        if tolerance and not (attached and len(tolerance) == 1 and tolerance.isupper()):
            return None
        if letter == "M" and self.asked is None:
            raise self.unclear(
                "A bare M is mega, or milli as it was once printed", start, f"{number} MΩ", f"{number} MHz"
            )
        unit = letters(self.asked).get(letter)
        if unit is None or letter in "VA":
            return None
        if letter == "K" and self.asked == "Ω" and not tolerance and re.fullmatch(r"\d\d[1-9]", number, re.ASCII):
            coded = Decimal(number[:2]).scaleb(int(number[2]))
            raise self.unclear("K is kilo or a tolerance of 10 %", start, f"{number} kΩ", f"{coded:f} Ω ±10 %")
        return unit, tolerance

    def refuse_unclear(self, token: str, known: str, number: str, start: int, *, attached: bool) -> None:
        """`47K` and `10m` when nothing is asked for (with a space it is a unit); `20 °C` where an amount in K is."""
        if self.asked is None and attached and token in ("K", "m"):
            units = {"K": ("kΩ", "K"), "m": ("m", "mV", "mA")}[token]
            raise self.unclear(
                f"A bare {token} can be a prefix or a unit", start, *(f"{number} {unit}" for unit in units)
            )
        if self.asked == "K" and known == "°C":
            sentence = "An amount of temperature is asked for, and °C is a point on a scale"
            raise self.unclear(
                sentence,
                start,
                f"a difference of {number} K",
                f"{Decimal(number.replace(',', '.')) + Decimal('273.15')} K",
            )

    # --- its tolerance ---

    def tolerance(self, stated: _Stated) -> None:
        if self.ended:
            return
        two = _TWO_SIDED.match(self.text, self.at)
        even = _EVEN.match(self.text, self.at)
        if not two and not even and _EVEN_SIGN.match(self.text, self.at):
            raise self.fault("The tolerance after the ± is missing", self.at)
        if (two or even) and stated.closed:
            raise self.fault("There are two tolerances", self.at)
        if two:
            self.two_sided(stated, two)
        elif even:
            self.even(stated, even)

    def two_sided(self, stated: _Stated, match: re.Match[str]) -> None:
        if match[1] == match[3]:
            raise self.fault("A tolerance in two parts needs a minus and a plus", match.start(3))
        first, second = self.decimal(match, 2), self.decimal(match, 4)
        self.at = match.end()
        self.close(stated, *((first, second) if match[1] == "-" else (second, first)))

    def even(self, stated: _Stated, match: re.Match[str]) -> None:
        size = self.decimal(match, 2)
        self.at = match.end()
        following = self.token()
        if not match[1] and not (following and following[0] in _RELATIVE):
            raise self.fault("Two numbers stand side by side; a tolerance begins with ±", match.start(2))
        self.close(stated, size, size)

    def close(self, stated: _Stated, below: Decimal, above: Decimal) -> None:
        """Turn a tolerance into limits, by the unit that follows it."""
        token, start = self.take()
        if token in _RELATIVE and stated.unit != token:
            if stated.unit == "°C":
                raise self.fault("A percentage of a temperature in °C says nothing: give the tolerance in K", start)
            factor = abs(stated.nominal) * _RELATIVE[token]
        else:
            factor = self.tolerance_unit(stated, token, start)
        stated.close(below * factor, above * factor)

    def tolerance_unit(self, stated: _Stated, token: str, start: int) -> Decimal:
        """How much of the value's unit one of the tolerance's unit is; °C there is a difference."""
        unit = self.known(token)
        if unit is None:
            raise self.no_unit(token, start)
        if not unit and scale(stated.unit).dimension != scale("").dimension:
            raise self.fault(f"Say whether the tolerance is in % or in {stated.unit}", start)
        if stated.bare and self.asked is None:
            stated.unit, stated.bare = unit, False
        if stated.bare and unit != stated.unit:
            raise self.fault(f"Say the unit of {stated.nominal} too", 0)
        if not same_dimension(unit, stated.unit):
            raise self.fault(f"A tolerance in {unit} does not go with a value in {stated.unit}", start, WrongDimension)
        return Decimal(repr(scale(unit).factor)) / Decimal(repr(scale(stated.unit).factor))

    def letter_tolerance(self, stated: _Stated, letter: str, position: int) -> None:
        """A capital behind a code, as IEC 60062 has it: of a capacitance, or as on a resistor of anything else."""
        factor = Decimal(repr(scale(stated.unit).factor))
        is_capacitance = same_dimension(stated.unit, "F")
        found = deviations(letter, stated.nominal * factor, "capacitor" if is_capacitance else "resistor")
        if found is None:
            raise self.fault(f"{letter} is no tolerance letter", position)
        stated.close(found[0] / factor, found[1] / factor)

    # --- refusals ---

    def refuse_what_is_no_number(self) -> None:
        if self.ended:
            raise self.fault("There is no value here", 0)
        if len(self.text) > _LONGEST:
            raise self.fault(f"A value has at most {_LONGEST} characters", _LONGEST)
        if re.match(r"[+-]?(nan|inf)", self.text[self.at :], re.IGNORECASE):
            raise self.fault("A value must be a finite number", self.at, ImpossibleValue)

    def refuse_rest(self) -> None:
        if self.ended:
            return
        if _EVEN.match(self.text, self.at) or _EVEN_SIGN.match(self.text, self.at):
            raise self.fault("There are two tolerances", self.at)
        if self.token():
            raise self.fault("There are two units", self.at)
        raise self.fault(f"“{self.text[self.at : self.at + 12]}” is left over", self.at)

    def refuse_impossible(self, stated: _Stated) -> None:
        """By the limits, but of a measured value by itself: a small resistance may be measured as 0.02(3) Ω."""
        least = stated.nominal if stated.spread == "standard" else stated.low
        for symbol, what in _NEVER_NEGATIVE.items():
            if least < 0 and same_dimension(stated.unit, symbol):
                raise self.fault(_below_zero(what, stated), 0, ImpossibleValue)
        if stated.unit == "°C" and least < Decimal("-273.15"):
            raise self.fault("Nothing is colder than -273.15 °C", 0, ImpossibleValue)


def _below_zero(what: str, stated: _Stated) -> str:
    if stated.nominal < 0:
        return f"A {what} cannot be negative"
    reached = f"{stated.low.normalize():f} {stated.unit}"
    return f"With its tolerance this reaches below zero, to {reached}, and a {what} cannot be negative"


def _with_article(kind: str | None) -> str:
    return f"{'an' if (kind or '')[:1] in 'aeiou' else 'a'} {kind}"
