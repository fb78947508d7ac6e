"""Days that are only known roughly, as EDTF (ISO 8601-2): `1979~`, `198X`, `1981-03`, `1977-06/..`."""

from datetime import date
from functools import lru_cache
from typing import Any

PLAIN_HINT = (
    "Write it as a year, month or day, roughly if need be: 1981, 1981-03, 1979~ (about 1979), 198X (in the 1980s)."
)

# What the reader of these dates raises by mistake, where it meets a form that it knows and cannot hold: `/..`.
STUMBLES = (TypeError, AttributeError)


@lru_cache(maxsize=4096)
def check_made(text: str) -> str:
    """What is wrong with an EDTF date; empty when nothing is."""
    if not text:
        return ""
    from edtf import parse_edtf
    from edtf.parser.edtf_exceptions import EDTFParseException

    try:
        parse_edtf(text)
    except (EDTFParseException, *STUMBLES):
        return PLAIN_HINT
    return ""


# What a machine's years are held against lies well within these; beyond them days cannot be reckoned with.
FIRST_DAY, LAST_DAY = date(1000, 1, 1), date.max


@lru_cache(maxsize=4096)
def made_span(text: str) -> tuple[date, date] | None:
    """The first and last day that an EDTF date allows, and more where it is only about; None if it tells none.

    An open or unknown end is the first or last day that can be reckoned with.
    """
    if not text or check_made(text):
        return None
    from edtf import parse_edtf

    made = parse_edtf(text)
    try:
        # An end that is left blank is not known: its reader would guess ten years.
        first = FIRST_DAY if text.startswith("/") else _day(made.lower_fuzzy(), FIRST_DAY)
        last = LAST_DAY if text.endswith("/") else _day(made.upper_fuzzy(), LAST_DAY)
    except (ValueError, *STUMBLES):  # 1981-02-30 and the like, which its reader lets through
        return None
    return (first, last) if first <= last else None


def _day(moment: Any, open_end: date) -> date:
    if isinstance(moment, float):
        return open_end
    if not FIRST_DAY.year <= moment.tm_year <= LAST_DAY.year:
        return FIRST_DAY if moment.tm_year < FIRST_DAY.year else LAST_DAY
    return date(moment.tm_year, moment.tm_mon, moment.tm_mday)
