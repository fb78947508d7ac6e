"""Which column of a list holds which field: by what it is headed, or as a person says.

A list is known again by its headings, in whatever order they stand: each folded, one that stands twice with its number.
It knows nothing of what the cells hold, and nothing of how a matching is kept.
"""

import hashlib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from server.records.list_kinds import ListKind
from server.records.list_words import folded

COLUMNS_MOST = 200  # more than any list has that a person keeps
HEADING_READ = 60  # so many characters of a heading tell it apart
OUT = ""  # a column that is left out


@dataclass(frozen=True, slots=True)
class Remembered:
    """How a person matched the columns of lists with some headings: the field of each by its key, and on which day."""

    fields: Mapping[str, str]
    day: date


def keys_of(headings: Sequence[str]) -> list[str]:
    """What each column is known by, no two alike: `date code`, `note`, `note (2)`, and `(1)` where nothing stands."""
    seen = Counter[str]()
    keys = []
    for heading in headings[:COLUMNS_MOST]:
        name = folded(heading[:HEADING_READ])
        seen[name] += 1
        keys.append(" ".join(filter(None, [name, f"({seen[name]})" if seen[name] > 1 or not name else ""])))
    return keys


def signature(headings: Sequence[str]) -> str:
    """What a list's headings come to, in any order; what is empty at the end of the line does not count."""
    last = max((place for place, heading in enumerate(headings) if heading.strip()), default=-1)
    return hashlib.sha256("\n".join(sorted(keys_of(headings[: last + 1]))).encode()).hexdigest()


def by_headings(kind: ListKind, headings: Sequence[str]) -> list[str]:
    """The field of each column by what it is headed; of two for one field the first has it."""
    fields: list[str] = []
    for heading in headings[:COLUMNS_MOST]:
        name = kind.field_of(heading[:HEADING_READ])
        fields.append(name if name not in fields else OUT)
    return fields


def as_remembered(remembered: Remembered, headings: Sequence[str]) -> list[str]:
    """The field of each column as it was matched before."""
    return [remembered.fields.get(key, OUT) for key in keys_of(headings)]


def unclear(kind: ListKind, headings: Sequence[str], fields: Sequence[str]) -> list[int]:
    """The columns whose headings are not understood, or say what another says already."""
    return [
        place
        for place, heading in enumerate(headings[:COLUMNS_MOST])
        if fields[place] == OUT and not kind.leaves_out(heading[:HEADING_READ])
    ]


def called(headings: Sequence[str], place: int) -> str:
    """A column as a sentence names it."""
    heading = headings[place] if place < len(headings) else ""
    return f"“{heading[:HEADING_READ]}”" if heading else f"column {place + 1}"


def matching_faults(kind: ListKind, headings: Sequence[str], fields: Sequence[str]) -> dict[int | None, str]:
    """What is wrong with a matching, by the column's place; none is the whole of it."""
    faults: dict[int | None, str] = {}
    taken: dict[str, int] = {}
    for place, name in enumerate(fields):
        if name and name not in kind.headings:
            faults[place] = (
                f"“{name[:HEADING_READ]}” is no field. It is one of: {', '.join(map(kind.words, kind.headings))}."
            )
        elif name in taken:
            first = called(headings, taken[name])
            faults[place] = (
                f"{first} is the {kind.words(name)} already; only one column can be. Leave one of the two out."
            )
        elif name:
            taken[name] = place
    if kind.needed not in taken and not faults:
        faults[None] = f"No column is the {kind.words(kind.needed)} yet, and {kind.why_needed}. Choose which one is."
    return faults
