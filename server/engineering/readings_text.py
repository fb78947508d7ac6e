"""Readings typed at the bench or pasted from a sheet, as numbers.

Readings stand apart by spaces, tabs, new lines or semicolons, or by a comma with a space after it. The decimal sign is
a point or a comma; a power of ten may follow (`1.2e-3`). Thousands are not grouped: `1,459` is one and a bit. Where the
text shows that it could be meant as thousands, because elsewhere it uses a point as the decimal sign or commas between
readings, it is refused; so is `1.459` where the decimal sign is elsewhere a comma.

Raises `ReadingsTextError`, naming the line and the reading in it, for anything that is not a number, NaN, infinities,
numbers not between 1e-60 and 1e60 in size, an empty text and more than 1,000,000 readings.
"""

import re
from collections.abc import Iterable, Iterator
from typing import NamedTuple

from server.engineering.readings import LARGEST, MOST_READINGS, RANGE, SMALLEST, ReadingsError

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,4})?")
_NOT_FINITE = re.compile(r"[+-]?(?:nan|inf|infinity|∞)", re.IGNORECASE)
_MAYBE_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")
_SPACED_THOUSANDS = re.compile("[0-9][\u00a0\u2009\u202f][0-9]{3}(?![0-9])")
_BETWEEN_SEPARATORS = re.compile(r"[^\s;]+")
_MINUS_SIGNS = str.maketrans("−－﹣", "---")
SHOWN = 24


class ReadingsTextError(ReadingsError):
    """A text that cannot be read as readings; `line` and `place` in it count from 1 (None: the text as a whole)."""

    def __init__(
        self, sentence: str, *, line: int | None = None, place: int | None = None, text: str | None = None
    ) -> None:
        where = f"Line {line}, reading {place}: " if line else ""
        super().__init__(where + sentence, field="readings", place=place, text=text)
        self.line = line


class _Word(NamedTuple):
    text: str
    line: int
    place: int
    comma_after: bool

    def refused(self, fault: str) -> ReadingsTextError:
        shown = self.text if len(self.text) <= SHOWN else self.text[:SHOWN] + "…"
        return ReadingsTextError(f"“{shown}” {fault}.", line=self.line, place=self.place, text=self.text)


def read_readings(text: str) -> list[float]:
    """The readings in `text`, in the order written and in whatever unit they were written in."""
    readings: list[float] = []
    for word in _words(text):
        if len(readings) == MOST_READINGS:
            raise word.refused(f"is one too many: at most {MOST_READINGS:,} readings can be taken at once")
        readings.append(_number(word))
    if not readings:
        raise ReadingsTextError("There are no readings in the text; type at least one number.")
    if "," in text:
        _refuse_two_meanings(_words(text))
    return readings


def _words(text: str) -> Iterator[_Word]:
    for number, line in enumerate(text.translate(_MINUS_SIGNS).splitlines(), start=1):
        grouped = _SPACED_THOUSANDS.search(line)
        place = 0
        for match in _BETWEEN_SEPARATORS.finditer(line):
            # One comma at the end of a word separates: nothing follows that it could be the decimal sign of.
            found = match.group()
            plain = found.removesuffix(",")
            if not plain:
                continue
            place += 1
            word = _Word(plain, number, place, plain != found)
            if grouped and match.end() == grouped.start() + 1:
                raise word.refused("is followed by a narrow space that could group thousands; write the number whole")
            yield word


def _number(word: _Word) -> float:
    if not _NUMBER.fullmatch(word.text):
        raise word.refused(_why_no_number(word.text))
    value = float(word.text.replace(",", "."))
    if SMALLEST <= abs(value) <= LARGEST or _is_zero(word.text):
        return value
    raise word.refused(f"is not {RANGE}")


def _is_zero(text: str) -> bool:
    """Whether it was written as zero, rather than so small that it became zero."""
    return not re.search("[1-9]", re.split("[eE]", text)[0])


def _why_no_number(text: str) -> str:
    if _NOT_FINITE.fullmatch(text):
        return "is not a finite number"
    if re.fullmatch(r"[+-]?[0-9.,]+", text) and len(re.findall("[.,]", text)) > 1:
        return (
            "has more than one decimal sign; part readings by spaces, new lines or semicolons, "
            "and write thousands without a sign"
        )
    return "is not a number; leave out units and other text"


def _refuse_two_meanings(words: Iterable[_Word]) -> None:
    """Refuse a number that could be meant in thousands where the text shows the same sign, or the other, used so."""
    decimal_signs: set[str] = set()
    doubtful: dict[str, _Word] = {}
    for word in words:
        sign = "," if "," in word.text else "." if "." in word.text else ""
        if sign and _MAYBE_THOUSANDS.fullmatch(word.text):
            doubtful.setdefault(sign, word)
        elif sign:
            decimal_signs.add(sign)
        if word.comma_after:
            decimal_signs.add(".")  # a comma between readings leaves only the point to be a decimal sign
    decimal_signs |= doubtful.keys() if len(doubtful) > 1 else set()
    for sign, word in doubtful.items():
        if decimal_signs - {sign}:
            raise word.refused(
                "could be meant in thousands, seeing the other signs in the text; write it without the sign, "
                "or use one decimal sign and part readings by spaces or semicolons"
            )
