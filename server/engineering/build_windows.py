"""What the date codes of a board's parts allow: when it can first have been built, and which parts do not belong.

    not_before = the latest of the parts' earliest days        spread = that day - the earliest of them

A board cannot be older than its newest original part; nothing here says how much younger it is, and nothing here judges
a machine: a part that does not fit may be old stock, a repair or a code read wrongly. Days are `datetime.date`,
spans hold both ends. Raises `DateCodeError` for a machine date whose end precedes its beginning. Source: by definition;
the number of years that makes a part odd is a choice, `MUCH_EARLIER_YEARS`.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import median_high
from typing import Literal

from server.engineering.datecode_reading import DateCodeError, Reading, Span

# Chips were used within two or three years of being made: eight catch a decade taken wrongly, and no slow stock.
MUCH_EARLIER_YEARS = 8
_MUCH_EARLIER = timedelta(days=round(MUCH_EARLIER_YEARS * 365.2425))
_GAP_WORTH_SAYING = timedelta(days=365)


@dataclass(frozen=True)
class Misfit:
    """A part whose code does not belong with the rest: `how` it is off, and `why` in one sentence."""

    label: str
    how: Literal["later", "much earlier"]
    why: str


@dataclass(frozen=True)
class BuildWindow:
    """When the board can first have been built, as far as its parts' codes tell.

    `not_before` and `spread` leave out the misfits and are None when no part is left; `newest` and `oldest` are the
    labels that set them. `says` puts the result in words, `notes` what it leans on.
    """

    not_before: date | None
    spread: timedelta | None
    newest: str | None
    oldest: str | None
    misfits: tuple[Misfit, ...]
    says: str
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Part:
    label: str
    readings: Sequence[Reading]

    @property
    def first(self) -> Reading:
        return min(self.readings, key=lambda reading: reading.earliest)

    @property
    def earliest(self) -> date:
        return self.first.earliest

    @property
    def latest(self) -> date:
        return max(reading.latest for reading in self.readings)


def build_window(readings: Iterable[tuple[str, Reading]], machine: Span | None = None) -> BuildWindow:
    """What the codes of the parts held to be original allow for their board.

    In: pairs of a part's label and a reading of its code, a label with several readings once for each (its earliest day
    then counts); the first and last day on which the machine can have been made, if known. Out: a `BuildWindow`.
    Parts made after the machine, and parts made `MUCH_EARLIER_YEARS` before it (before the middle of the others, where
    it is not known), are misfits. Assumes that what is given is original. Raises `DateCodeError`.
    Source: by definition.
    """
    if machine and machine[0] > machine[1]:
        raise DateCodeError(
            f"A machine made from {machine[0]} to {machine[1]} has its days the wrong way round.",
            machine,
            field="machine",
        )
    parts = _grouped(readings)
    later = [part for part in parts if machine and part.earliest > machine[1]]
    in_time = [_possible(part, machine) for part in parts if part not in later]
    early = _much_earlier(in_time, machine)
    kept = [part for part in in_time if part not in early]
    misfits = (*(_later(part, machine) for part in later if machine), *(_earlier(part) for part in early))
    return _window(kept, misfits)


def _grouped(readings: Iterable[tuple[str, Reading]]) -> list[_Part]:
    by_label: dict[str, list[Reading]] = {}
    for label, reading in readings:
        by_label.setdefault(label, []).append(reading)
    return [_Part(label, tuple(found)) for label, found in by_label.items()]


def _possible(part: _Part, machine: Span | None) -> _Part:
    if machine is None:
        return part
    return _Part(part.label, tuple(reading for reading in part.readings if reading.earliest <= machine[1]))


def _much_earlier(parts: Sequence[_Part], machine: Span | None) -> list[_Part]:
    if not parts:
        return []
    usual = machine[0] if machine else median_high(part.earliest for part in parts)
    return [part for part in parts if part.latest < usual - _MUCH_EARLIER]


def _window(kept: Sequence[_Part], misfits: tuple[Misfit, ...]) -> BuildWindow:
    if not kept:
        says = "No part is left whose code could date the board."
        return BuildWindow(None, None, None, None, misfits, says)
    newest = max(kept, key=lambda part: part.earliest)
    oldest = min(kept, key=lambda part: part.earliest)
    says = f"If {newest.label} is original, the board was not built before {newest.earliest}: {newest.first.why}."
    return BuildWindow(
        newest.earliest,
        newest.earliest - oldest.earliest,
        newest.label,
        oldest.label,
        misfits,
        says,
        tuple(_notes(newest, [part for part in kept if part is not newest])),
    )


def _notes(newest: _Part, others: Sequence[_Part]) -> list[str]:
    notes = []
    if len(newest.readings) > 1:
        notes.append(
            f"{newest.label} has {len(newest.readings)} readings; the earliest is used, so the day cannot be too late."
        )
    if newest.first.type_number:
        notes.append(f"{newest.label}: {newest.first.type_number}")
    next_newest = max(others, key=lambda part: part.earliest, default=None)
    if next_newest and newest.earliest - next_newest.earliest > _GAP_WORTH_SAYING:
        notes.append(
            f"{newest.label} alone is that late: if it was changed since, "
            f"{next_newest.label} allows {next_newest.earliest}."
        )
    return notes


def _later(part: _Part, machine: Span) -> Misfit:
    why = (
        f"{part.label} is later than the machine, which was made by {machine[1]}: {part.first.why}, starts "
        f"{part.earliest}. It can have been changed since, or its code be read otherwise."
    )
    return Misfit(part.label, "later", why)


def _earlier(part: _Part) -> Misfit:
    why = (
        f"{part.label} is {MUCH_EARLIER_YEARS} years or more earlier than the rest: {part.first.why}. It can be old "
        "stock, come from another board, or its code be read otherwise (a type number, another decade)."
    )
    return Misfit(part.label, "much earlier", why)
