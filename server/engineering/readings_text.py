"""Readings typed at the bench or pasted from a sheet, as numbers.

Readings stand apart by spaces, tabs, new lines or semicolons, or by a comma with a space after it. The decimal sign is
a point or a comma; a power of ten may follow (`1.2e-3`). Thousands are not grouped: `1,459` is one and a bit. Where the
same text writes `1,459` and uses the point as its decimal sign, it could be meant either way and is refused.

Raises `ReadingsTextError`, naming the line and the reading in it, for anything that is not a number, NaN, infinities,
numbers not between 1e-100 and 1e100 in size, an empty text and more than 1,000,000 readings.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from server.engineering.readings import LARGEST, MOST_READINGS, SMALLEST, ReadingsError

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,4})?")
_NOT_FINITE = re.compile(r"[+-]?(?:nan|inf|infinity|∞)", re.IGNORECASE)
_MAYBE_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2}([.,])[0-9]{3}")
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


@dataclass(frozen=True, slots=True)
class _Item:
    text: str
    line: int
    place: int

    def refused(self, fault: str) -> ReadingsTextError:
        shown = self.text if len(self.text) <= SHOWN else self.text[:SHOWN] + "…"
        return ReadingsTextError(f"“{shown}” {fault}.", line=self.line, place=self.place, text=self.text)


def read_readings(text: str) -> list[float]:
    """The readings in `text`, in the order written and in whatever unit they were written in."""
    readings: list[float] = []
    signs = _DecimalSigns()
    for item in _items(text):
        if len(readings) == MOST_READINGS:
            raise item.refused(f"is one too many: at most {MOST_READINGS:,} readings can be taken at once")
        readings.append(_number(item))
        signs.see(item)
    if not readings:
        raise ReadingsTextError("There are no readings in the text; type at least one number.")
    signs.refuse_two_meanings()
    return readings


def _items(text: str) -> Iterator[_Item]:
    for number, line in enumerate(text.translate(_MINUS_SIGNS).splitlines(), start=1):
        spaced = _SPACED_THOUSANDS.search(line)
        place = 0
        for match in _BETWEEN_SEPARATORS.finditer(line):
            # One comma at the end of a word is a separator: nothing follows that it could be the decimal sign of.
            word = match.group().removesuffix(",")
            if not word:
                continue
            place += 1
            item = _Item(word, number, place)
            if spaced and match.end() == spaced.start() + 1:
                raise item.refused("is followed by a narrow space that could group thousands; write the number whole")
            yield item


def _number(item: _Item) -> float:
    if _NOT_FINITE.fullmatch(item.text):
        raise item.refused("is not a finite number")
    if not _NUMBER.fullmatch(item.text):
        raise item.refused(_why_no_number(item.text))
    value = float(item.text.replace(",", "."))
    vanished = value == 0 and re.search("[1-9]", re.split("[eE]", item.text)[0])
    if vanished or (value != 0 and not SMALLEST <= abs(value) <= LARGEST):
        raise item.refused(f"is not between {SMALLEST:g} and {LARGEST:g} in size")
    return value


def _why_no_number(word: str) -> str:
    if re.fullmatch(r"[+-]?[0-9.,]+", word) and len(re.findall("[.,]", word)) > 1:
        return (
            "has more than one decimal sign; part readings by spaces, new lines or semicolons, "
            "and write thousands without a sign"
        )
    return "is not a number; leave out units and other text"


@dataclass(slots=True)
class _DecimalSigns:
    """Which decimal signs a text uses for certain, and the first number of each that could as well be in thousands."""

    certain: set[str] = field(default_factory=set)
    doubtful: dict[str, _Item] = field(default_factory=dict)

    def see(self, item: _Item) -> None:
        sign = "," if "," in item.text else "." if "." in item.text else ""
        if not sign:
            return
        if _MAYBE_THOUSANDS.fullmatch(item.text):
            self.doubtful.setdefault(sign, item)
        else:
            self.certain.add(sign)

    def refuse_two_meanings(self) -> None:
        for sign, item in self.doubtful.items():
            other = "." if sign == "," else ","
            if other in self.certain or other in self.doubtful:
                raise item.refused(
                    f"could be meant in thousands, since “{other}” is used as decimal sign elsewhere; "
                    "write it without the sign or use one decimal sign throughout"
                )
