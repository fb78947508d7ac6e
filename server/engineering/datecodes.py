"""Date codes as printed on parts: every reading that the text allows, likeliest first, and never a guess.

    8342   year-week          4283   week-year          842    year's last digit, week
    8311   also year-month    1183   also month-year    1983   the year alone
    VII 83 Roman-numeral month and year                 J8     IEC 60062 letters, only when asked for

Two-digit years are 1950 to 2049 and one-digit years 1960 to 1999 unless the context given says otherwise. This is the
face of the subject: the calendar is in `datecode_reading`, the look-alikes in `type_numbers`, what the codes of a
whole board allow in `build_windows`. Days are `datetime.date`. Raises `DateCodeError` for a context that ends before it
begins or an unknown scheme; an unreadable code is an empty list. Source: ISO 8601-1:2019 for weeks; IEC 60062
(from memory of its production-date letters); otherwise common practice, no source.
"""

import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import date

from server.engineering.build_windows import BuildWindow, Misfit, build_window
from server.engineering.datecode_reading import (
    DateCodeError,
    Reading,
    Span,
    counted_week,
    iso_week,
    month,
    month_name,
    whole_year,
)
from server.engineering.type_numbers import type_number

__all__ = [
    "SCHEMES",
    "BuildWindow",
    "DateCodeError",
    "Misfit",
    "Reading",
    "build_window",
    "decode",
    "type_number",
]

# Likeliest first, as the codes of chips go. The IEC letters look like any maker's own mark: they wait to be asked.
SCHEMES: tuple[str, ...] = (
    "yyww_iso",
    "yyww_count",
    "yww_iso",
    "yww_count",
    "roman_month",
    "iec60062_letters",
    "yyyy",
    "wwyy_iso",
    "wwyy_count",
    "yymm",
    "mmyy",
)
_ONLY_WHEN_ASKED = frozenset({"iec60062_letters"})

_FOUR = re.compile(r"([0-9]{2})([ ./-]?)([0-9]{2})([A-Z]?)")
_THREE = re.compile(r"([0-9])([0-9]{2})([A-Z]?)")
# A single Roman letter run together with the year would be any plant's prefix: it needs its separator.
_ROMAN = re.compile(r"(?:([IVX]+)[ ./-]+|([IVX]{2,}))([0-9]{2})")
_ROMAN_LAST = re.compile(r"([0-9]{2})(?:[ ./-]+([IVX]+)|([IVX]{2,}))")
_LETTERS = re.compile(r"([A-Z])([1-9OND])")
_ROMAN_MONTHS = ("I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX", "X", "XI", "XII")
_YEAR_LETTERS = "ABCDEFHJKLMNPRSTUVWX"
_MONTH_MARKS = "123456789OND"
_LETTER_CYCLES = (1970, 1990, 2010)
_WEEK_RULES = (
    ("iso", iso_week, "in ISO weeks, Monday to Sunday"),
    ("count", counted_week, "in weeks counted from 1 January"),
)
# One-digit years went out of use as the eighties went on.
_DECADES = (1970, 1980, 1960, 1990)
_USUAL_AGE = range(1960, 2000)


@dataclass(frozen=True)
class _Context:
    """The days between which the part must have been made, where they are known."""

    not_before: date | None
    not_after: date | None

    def two_digit_years(self, figures: int) -> list[int]:
        return [year for year in self._years(1950, 2049) if year % 100 == figures]

    def one_digit_years(self, figure: int) -> list[int]:
        return [year for year in self._years(1960, 1999) if year % 10 == figure]

    def allows(self, span: Span) -> bool:
        earliest, latest = span
        too_early = self.not_before is not None and latest < self.not_before
        too_late = self.not_after is not None and earliest > self.not_after
        return not too_early and not too_late

    def _years(self, first: int, last: int) -> range:
        # A week's days reach over New Year, so a known end takes in one year more; an open one a decade at least.
        if self.not_before:
            last = max(last, self.not_before.year + 9)
            first = self.not_before.year - 1
        if self.not_after:
            first = min(first, self.not_after.year - 9) if self.not_before is None else first
            last = self.not_after.year + 1
        return range(max(first, 2), min(last, 9998) + 1)


@dataclass(frozen=True)
class _Candidate:
    scheme: str
    year: int
    span: Span | None
    why: str


def decode(
    text: str,
    not_before: date | None = None,
    not_after: date | None = None,
    *,
    schemes: Collection[str] | None = None,
) -> list[Reading]:
    """Every reading of a printed date code, likeliest first; an empty list when there is none.

    In: the text as printed (outer blanks, one separator and one trailing lot letter are harmless); the first and last
    day on which the part can have been made, if known, which narrow decades and drop readings wholly outside them; the
    `schemes` to try (all but "iec60062_letters" by default). Out: spans are those of the code, not clipped to the
    context; digits that are also a type number carry a warning. Raises `DateCodeError`. Source: as the module says.
    """
    if not_before and not_after and not_before > not_after:
        raise DateCodeError(
            f"The part cannot be made after {not_before} and before {not_after}: that context is the wrong way round.",
            (not_before, not_after),
            field="not_after",
        )
    wanted = _wanted(schemes)
    context = _Context(not_before, not_after)
    code = text.strip().upper()
    candidates = [
        (candidate, span)
        for candidate in _candidates(code, context)
        if candidate.scheme in wanted and (span := candidate.span) and context.allows(span)
    ]
    warning = _type_number_in(code)
    ranked = sorted(candidates, key=lambda pair: _unlikeliness(pair[0]))
    return [Reading(*span, candidate.scheme, candidate.why, warning) for candidate, span in ranked]


def _wanted(schemes: Collection[str] | None) -> frozenset[str]:
    if schemes is None:
        return frozenset(SCHEMES) - _ONLY_WHEN_ASKED
    wanted = frozenset(schemes)
    if unknown := sorted(wanted - set(SCHEMES)):
        raise DateCodeError(f"There is no way of reading called “{unknown[0]}”.", unknown[0], field="schemes")
    return wanted


def _unlikeliness(candidate: _Candidate) -> tuple[bool, int, int, int]:
    decade = candidate.year // 10 * 10
    decade_rank = _DECADES.index(decade) if decade in _DECADES else len(_DECADES)
    one_digit = candidate.scheme.startswith("yww")
    return (
        candidate.year not in _USUAL_AGE,
        decade_rank if one_digit else 0,
        SCHEMES.index(candidate.scheme),
        candidate.year,
    )


def _candidates(code: str, context: _Context) -> Iterator[_Candidate]:
    if four := _FOUR.fullmatch(code):
        yield from _four_digits(four, context)
    elif three := _THREE.fullmatch(code):
        yield from _three_digits(three, context)
    elif roman := _ROMAN.fullmatch(code):
        yield from _roman(roman[1] or roman[2], roman[3], context)
    elif roman := _ROMAN_LAST.fullmatch(code):
        yield from _roman(roman[2] or roman[3], roman[1], context)
    elif letters := _LETTERS.fullmatch(code):
        yield from _letters(letters[1], letters[2])


def _four_digits(match: re.Match[str], context: _Context) -> Iterator[_Candidate]:
    first, second, lot = int(match[1]), int(match[3]), _lot(match[4])
    for year in context.two_digit_years(first):
        yield from _weeks("yyww", year, second, f", year before week{lot}")
        yield _month("yymm", year, second, f", year before month{lot}")
    for year in context.two_digit_years(second):
        yield from _weeks("wwyy", year, first, f", week before year{lot}")
        yield _month("mmyy", year, first, f", month before year{lot}")
    year = first * 100 + second
    if not match[2] and not match[4] and year in context.two_digit_years(second):
        yield _Candidate("yyyy", year, whole_year(year), f"the year {year} alone")


def _three_digits(match: re.Match[str], context: _Context) -> Iterator[_Candidate]:
    for year in context.one_digit_years(int(match[1])):
        how = f", the {match[1]} being the last digit of its year{_lot(match[3])}"
        yield from _weeks("yww", year, int(match[2]), how)


def _roman(numeral: str, figures: str, context: _Context) -> Iterator[_Candidate]:
    if numeral not in _ROMAN_MONTHS:
        return
    for year in context.two_digit_years(int(figures)):
        yield _month("roman_month", year, _ROMAN_MONTHS.index(numeral) + 1, f", the month as {numeral}")


def _letters(letter: str, mark: str) -> Iterator[_Candidate]:
    if letter not in _YEAR_LETTERS:
        return
    for cycle in _LETTER_CYCLES:
        year = cycle + _YEAR_LETTERS.index(letter)
        how = f", year letter {letter} and month mark {mark} by IEC 60062"
        yield _month("iec60062_letters", year, _MONTH_MARKS.index(mark) + 1, how)


def _weeks(form: str, year: int, week: int, how: str) -> Iterator[_Candidate]:
    for rule, span_of, rule_in_words in _WEEK_RULES:
        why = f"week {week} of {year}{how}, {rule_in_words}"
        yield _Candidate(f"{form}_{rule}", year, span_of(year, week), why)


def _month(scheme: str, year: int, number: int, how: str) -> _Candidate:
    span = month(year, number)
    return _Candidate(scheme, year, span, f"{month_name(number)} {year}{how}" if span else "")


def _lot(letter: str) -> str:
    return f", the {letter} after it taken for a lot or plant mark" if letter else ""


def _type_number_in(code: str) -> str | None:
    match = re.fullmatch(r"([0-9]{3,4})[A-Z]?", code)
    return type_number(match[1]) if match else None
