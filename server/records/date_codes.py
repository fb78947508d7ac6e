"""One part's date code: every reading of it by the day that the part was certainly made, and the one that is chosen.

It knows a part, and nothing of boards.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import lru_cache
from typing import NamedTuple

from server.engineering.datecodes import SCHEMES, Reading, decode, type_number
from server.records.tables import Part
from server.records.texts import printable
from server.records.words import PartKind

CODE_SHOWN = 40


class By(NamedTuple):
    """A day by which a part was certainly made, and how that is known."""

    day: date
    why: str


@dataclass(frozen=True, slots=True)
class Code:
    """What one part's date code can mean.

    `readings` are those that are reckoned with: the chosen one, else all. `offered` are those that can be chosen.
    `trouble` says why it tells nothing, and `left_aside` what became of a choice that the code no longer bears out.
    """

    text: str
    readings: tuple[Reading, ...] = ()
    offered: tuple[Reading, ...] = ()
    chosen: Reading | None = None
    trouble: str = ""
    left_aside: str = ""


def days_of(reading: Reading) -> str:
    """A reading's days as they are stored and shown: an interval of ISO 8601."""
    return f"{reading.earliest}/{reading.latest}"


@lru_cache(maxsize=4096)
def read_code(text: str, chosen: str, by: By, on_chip: bool = True) -> Code:
    """Every reading of a code that was printed by a certain day, and the chosen one if it is one of them.

    That its figures are a chip's type number as well is said only of what is `on_chip`.
    """
    if not text:
        return Code(text, trouble="No date code is noted.")
    readings, offered = (_of_kind(some, on_chip) for some in (_decoded(text, by.day), _decoded(text, by.day, SCHEMES)))
    picked = next((reading for reading in offered if days_of(reading) == chosen), None)
    if picked:
        return Code(text, (picked,), offered, picked)
    left_aside = f"The reading chosen before, {chosen}, is none of this code’s now; it is left aside." if chosen else ""
    trouble = "" if readings else _trouble(text, by, offered, on_chip)
    return Code(text, readings, offered, None, trouble, left_aside)


@lru_cache(maxsize=4096)
def _decoded(text: str, not_after: date | None, schemes: tuple[str, ...] | None = None) -> tuple[Reading, ...]:
    """Two rules that come to the same days are one reading. `SCHEMES` takes in IEC 60062, which waits to be asked."""
    found = {days_of(reading): reading for reading in reversed(decode(text, not_after=not_after, schemes=schemes))}
    return tuple(reversed(found.values()))


def _of_kind(readings: Sequence[Reading], on_chip: bool) -> tuple[Reading, ...]:
    return tuple(readings if on_chip else (replace(reading, type_number=None) for reading in readings))


def _trouble(text: str, by: By, offered: Sequence[Reading], on_chip: bool) -> str:
    shown = printable(text, CODE_SHOWN)
    if offered:
        return (
            f"“{shown}” can be a year letter and a month mark by IEC 60062, or the maker’s own mark. It counts once a "
            "reading of it is chosen."
        )
    if later := _decoded(text, None):
        first = min(reading.earliest for reading in later)
        return (
            f"Every reading of “{shown}” is still to come by {by.day}, {by.why}: the earliest starts {first}. "
            "Look at the marking again."
        )
    also = type_number(text.strip()) if on_chip else None
    return f"“{shown}” cannot be read as a date. {also or 'Look at the marking again, or for another on the part.'}"


def by_day(part: Part, placed: bool, fitted_on: date | None, acquired_on: date | None) -> By:
    """By when a part was certainly made: it was fitted, came in with its machine, or was entered."""
    # Entered by UTC: the keeper's own day may be one ahead.
    days = [By(part.created_at.date() + timedelta(days=1), "when the part had been entered")]
    if fitted_on:
        days.append(By(fitted_on, "when the part was fitted"))
    elif placed and acquired_on:
        days.append(By(acquired_on, "when the machine came in with it"))
    return min(days)


def code_by(part: Part, by: By) -> Code:
    """What a part's code can mean, printed by a certain day."""
    return read_code(part.date_code, part.date_reading, by, part.kind == PartKind.CHIP)
