"""A place in a text that is being read, and the refusals that point at a place in it.

It knows where the reading stands, what a number and a unit look like, and nothing of what they mean. Positions count
from 0 in the text as typed.
"""

import re
from decimal import Decimal

from server.engineering.errors import AmbiguousQuantity, QuantityError, UnknownUnit, UnreadableQuantity
from server.engineering.units import check_unit

NUMBER = r"(?:\d+(?:[.,]\d+)?|[.,]\d+)"
POWER = r"(?:[eE][+-]?\d{1,3})"
# A unit begins with a letter or sign (or 1/) and goes on with letters, raised digits, dots, one bracket and a stroke.
UNIT = (
    r"(?:1/)?[A-Za-zµΩ°%″\"]"
    r"(?:[A-Za-zµΩ°·*%⁻⁰¹²³⁴⁵⁶⁷⁸⁹]|\^-?[1-9]|(?<=[A-Za-zµΩ°])[2-9]|/(?=[A-Za-z(°µΩ])|\((?=[A-Za-zµΩ°])|\))*"
)
# One character for one, so that positions stay true.
_SAME = str.maketrans({"μ": "µ", "Ω": "Ω", "−": "-", "⋅": "·", "\u00a0": " ", "\u2009": " ", "\u202f": " ", "\t": " "})
_TOKEN = re.compile(UNIT, re.ASCII)
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}", re.ASCII)


class Cursor:
    """Walks over one text from left to right; `at` is the place reached."""

    def __init__(self, typed: str) -> None:
        self.typed = typed
        self.text = typed.translate(_SAME).rstrip()
        self.at = 0
        self.skip()

    @property
    def ended(self) -> bool:
        self.skip()
        return self.at == len(self.text)

    def skip(self) -> None:
        while self.text[self.at : self.at + 1] == " ":
            self.at += 1

    def token(self) -> re.Match[str] | None:
        """The word that follows, if it could be a unit; not yet passed."""
        self.skip()
        return _TOKEN.match(self.text, self.at)

    def take(self) -> tuple[str, int]:
        """Pass the word that follows: itself and where it began, or an empty text."""
        match = self.token()
        if not match:
            return "", self.at
        self.at = match.end()
        return match[0], match.start()

    def decimal(self, match: re.Match[str], group: int) -> Decimal:
        """A number with its comma or point. `1,000` may be a thousand or one and is refused."""
        digits = match[group]
        if _THOUSANDS.fullmatch(digits):
            whole, point = digits.replace(",", ""), digits.replace(",", ".")
            raise self.unclear("The comma may part thousands or decimals", match.start(group), whole, point)
        return Decimal(digits.replace(",", "."))

    def known(self, token: str) -> str | None:
        """The canonical unit, or None."""
        try:
            return check_unit(token)
        except UnknownUnit:
            return None

    def no_unit(self, token: str, start: int) -> UnknownUnit:
        """The refusal of a word that is no unit, pointing at the part of it that is not known."""
        try:
            check_unit(token)
        except UnknownUnit as fault:
            return UnknownUnit(fault.sentence, text=self.typed, position=start + (fault.position or 0))
        raise AssertionError(token)

    def unclear(self, sentence: str, position: int, *readings: str) -> AmbiguousQuantity:
        """The refusal of a text with several readings, with the readings."""
        choice = " or ".join(readings)
        return AmbiguousQuantity(
            f"{sentence}: is {choice} meant?", text=self.typed, position=position, readings=readings
        )

    def fault(self, sentence: str, position: int, error: type[QuantityError] = UnreadableQuantity) -> QuantityError:
        """The refusal of a text at a place in it."""
        return error(sentence, text=self.typed, position=position)
