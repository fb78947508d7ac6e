"""A list that was cut into cells, as a table: which line is its heading, and which column holds which field.

A title may stand above the heading; columns may come in any order. Where a person has matched the columns of such a
list before, they are matched so again. It knows nothing of what the cells must hold.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from server.records.errors import Invalid
from server.records.list_columns import (
    COLUMNS_MOST,
    HEADING_READ,
    OUT,
    Remembered,
    as_remembered,
    by_headings,
    called,
    matching_faults,
    signature,
    unclear,
)
from server.records.list_cut import DELIMITERS, HEADING_WITHIN, Line, cut
from server.records.list_kinds import PARTS, ListKind

Known = Mapping[str, Remembered]  # by the signature of the headings
NOTHING_KNOWN: Known = {}
SPOILT = {"#REF!", "#N/A", "#DIV/0!", "#NAME?", "#NULL!", "#NUM!", "#VALUE!"}  # ECMA-376-1, 18.17.3
VALUES_SHOWN = 3


@dataclass(frozen=True, slots=True)
class Table:
    """A list taken apart: the field of each column, how that was told, and the lines under the heading.

    `first_lines` are those among which the heading is. `day` is when a person matched the columns so, where they are
    remembered.
    """

    kind: ListKind
    delimiter: str
    heading_line: int
    headings: list[str]
    fields: list[str]
    lines: list[Line]
    first_lines: list[Line]
    matched: Literal["by headings", "as remembered", "by hand"] = "by headings"
    day: date | None = None

    @property
    def columns(self) -> dict[str, int]:
        return {name: place for place, name in enumerate(self.fields) if name}

    @property
    def delimiter_words(self) -> str:
        return DELIMITERS[self.delimiter]

    @property
    def signature(self) -> str:
        return signature(self.headings)

    @property
    def pairs(self) -> list[tuple[str, str]]:
        """Each column that is read: its heading, and the field it is taken for."""
        columns = self.columns
        ordered = [name for name in self.kind.headings if name in columns]
        return [
            (self.heading(columns[name]), self.kind.words(name)) for name in sorted(ordered, key=columns.__getitem__)
        ]

    @property
    def left_out(self) -> list[str]:
        """The columns that are not read; of one that says what another says already, which that is."""
        return [self._left(place) for place, heading in enumerate(self.headings) if heading and not self._field(place)]

    @property
    def asks(self) -> bool:
        """Whether a person should say which column is which: not all was understood, and nobody has said it before."""
        if self.matched != "by headings":
            return False
        places = unclear(self.kind, self.headings, self.fields)
        return self.kind.needed not in self.columns or any(self.headings[one] or self.values(one, 1) for one in places)

    def heading(self, place: int) -> str:
        return self.headings[place] or f"Column {place + 1}, without a heading"

    def values(self, place: int, most: int = VALUES_SHOWN) -> list[str]:
        """The first values that stand in a column."""
        found: list[str] = []
        for line in self.lines:
            if place < len(line.cells) and (value := " ".join(line.cells[place].split())):
                found.append(value)
                if len(found) == most:
                    break
        return found

    @property
    def could_be_headings(self) -> list[tuple[int, str]]:
        """The lines that a person can say is the heading: the number of each, and what stands in it."""
        return [(line.number, " · ".join(filter(None, _headings(line.cells)))) for line in self.first_lines]

    def matched_by_hand(self, fields: Sequence[str]) -> "Table":
        """The same list with its columns as a person says."""
        return replace(self, fields=list(fields), matched="by hand", day=None)

    def faults(self) -> dict[int | None, str]:
        return matching_faults(self.kind, self.headings, self.fields)

    def _field(self, place: int) -> str:
        return self.fields[place] if place < len(self.fields) else OUT

    def _left(self, place: int) -> str:
        heading = self.headings[place]
        name = self.kind.field_of(heading[:HEADING_READ])
        if self.matched == "by headings" and name in self.columns:
            return f"{heading} ({self.headings[self.columns[name]]} is taken for the {self.kind.words(name)} already)"
        return heading


def read_table(
    text: str, kind: ListKind = PARTS, known: Known = NOTHING_KNOWN, heading_line: int | None = None
) -> Table:
    """Find the heading, and which column is what; raises Invalid where there is no list.

    `heading_line` is the number of the line that a person says is the heading: of one of the first, or it is ignored.
    """
    found = cut(text, lambda lines: _sense(kind, known, lines))
    place = _heading_place(kind, known, found.lines[:HEADING_WITHIN])
    if heading_line is not None:
        within = found.lines[: min(HEADING_WITHIN, len(found.lines) - 1)]
        place = next((one for one, line in enumerate(within) if line.number == heading_line), place)
    headings = _headings(found.lines[place].cells)
    if len(found.lines) == place + 1:
        raise Invalid({"text": "There is a heading, but no row under it."})
    table = Table(
        kind=kind,
        delimiter=found.delimiter,
        heading_line=found.lines[place].number,
        headings=headings,
        fields=by_headings(kind, headings),
        lines=found.lines[place + 1 :],
        first_lines=found.lines[: min(HEADING_WITHIN, len(found.lines) - 1)],
    )
    before = known.get(signature(headings))
    return (
        replace(table, fields=as_remembered(before, headings), matched="as remembered", day=before.day)
        if before
        else table
    )


def expect_readable(table: Table) -> None:
    """Refuse a list whose columns do not say enough; raises Invalid."""
    if table.kind.needed not in table.columns:
        found = ", ".join(f"“{heading[:40]}”" for heading in table.headings[:12] if heading)
        raise Invalid({"text": f"{table.kind.missing} Found as the heading: {found or 'nothing'}."})


def fault_of_line(table: Table, line: Line) -> str:
    """Why a line as a whole cannot be trusted; empty where it can."""
    width = len(table.headings)
    if any(cell.strip() for cell in line.cells[width:]):
        return f"The line has {len(line.cells)} cells under {width} headings; look for a delimiter inside a cell."
    for name, place in table.columns.items():
        if place < len(line.cells) and line.cells[place].strip() in SPOILT:
            where = called(table.headings, place)
            return (
                f"{table.kind.words(name).capitalize()}: under {where} a formula came to {line.cells[place].strip()}."
            )
    return ""


def _headings(cells: Sequence[str]) -> list[str]:
    return [" ".join(cell.split()) for cell in cells]


def _sense(kind: ListKind, known: Known, lines: Sequence[Line]) -> tuple[bool, int, int, int]:
    """The delimiter under which the heading makes most sense; of equals, the one that cuts the lines most alike."""
    if not lines:
        return False, 0, 0, 0
    cells = lines[_heading_place(kind, known, lines)].cells
    remembered = known.get(signature(_headings(cells)))
    fields = _named(kind, cells) if remembered is None else {name for name in remembered.fields.values() if name}
    alike = 0 if fields else _widths(lines)[1]
    return kind.needed in fields, len(fields), alike, len(cells)


def _named(kind: ListKind, cells: Sequence[str]) -> set[str]:
    """The fields that a line's cells name."""
    return {name for cell in cells[:COLUMNS_MOST] if (name := kind.field_of(cell[:HEADING_READ]))}


def _widths(lines: Sequence[Line]) -> tuple[int, int]:
    """How many cells most lines have, beside those that have one, and how many lines have so many."""
    counted = Counter(len(line.cells) for line in lines if len(line.cells) > 1)
    return max(counted.items(), key=lambda pair: (pair[1], pair[0]), default=(1, 0))


def _heading_place(kind: ListKind, known: Known, lines: Sequence[Line]) -> int:
    """The first line whose columns were matched before, or that names the needed one; else the one that names most.

    Where none names any, it is the first line that is as long as most: a title may stand above it.
    """
    remembered = (place for place, line in enumerate(lines) if signature(_headings(line.cells)) in known)
    named = [_named(kind, line.cells) for line in lines]
    first = next(remembered, None) if known else None
    if first is None:
        first = next((place for place, names in enumerate(named) if kind.needed in names), None)
    if first is not None:
        return first
    if any(named):
        return max(range(len(lines)), key=lambda place: len(named[place]))
    width, _ = _widths(lines)
    return next((place for place, line in enumerate(lines) if len(line.cells) == width), 0)
