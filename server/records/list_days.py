"""A day as people write it in their lists, where it can be read in one way only.

Year first, or the month by its English name, or day.month.year with points between (common practice, no source). What
can be read in two ways, as 04/05/1981 can, is left as it is written, for the keeper to put right.
"""

import re

MONTHS = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november",
    "december",
)  # fmt: skip
_YEAR_FIRST = re.compile(
    r"(?P<y>\d{4})[-/.](?P<m>\d{1,2})[-/.](?P<d>\d{1,2})(?:[T ]\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?)?"
)
_POINTS = re.compile(r"(?P<d>\d{1,2})\. ?(?P<m>\d{1,2})\. ?(?P<y>\d{4})")
_NAMED = re.compile(r"(?P<d>\d{1,2})(?:st|nd|rd|th)?[-. ]+(?P<name>[a-z]{3,9})\.?[-, ]+(?P<y>\d{4})", re.IGNORECASE)
_NAME_FIRST = re.compile(r"(?P<name>[a-z]{3,9})\.? (?P<d>\d{1,2})(?:st|nd|rd|th)?,? (?P<y>\d{4})", re.IGNORECASE)
_SLASHES = re.compile(r"(?P<a>\d{1,2})/(?P<b>\d{1,2})/(?P<y>\d{4})")
TWO_WAYS = "“{written}” can be read in two ways. Write the day as year-month-day, such as 1981-09-30."


def day_in(written: str) -> str:
    """The day as year-month-day, or what was written where it is none; raises ValueError where it is one of two."""
    text = " ".join(written.split())
    for shape in (_YEAR_FIRST, _POINTS, _NAMED, _NAME_FIRST):
        if found := shape.fullmatch(text):
            parts = found.groupdict()
            month = _month(parts["name"]) if "name" in parts else int(parts["m"])
            return f"{parts['y']}-{month:02}-{int(parts['d']):02}" if month else text
    if found := _SLASHES.fullmatch(text):
        first, second = int(found["a"]), int(found["b"])
        if first <= 12 and second <= 12 and first != second:
            raise ValueError(TWO_WAYS.format(written=text))
        day, month = (first, second) if first > 12 else (second, first)
        return f"{found['y']}-{month:02}-{day:02}"
    return text


def _month(name: str) -> int:
    """The number of a month by its name or the beginning of it; 0 for a word that is none."""
    word = "sep" if name.casefold() == "sept" else name.casefold()
    return next((number for number, month in enumerate(MONTHS, start=1) if month.startswith(word)), 0)
