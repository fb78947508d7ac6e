"""What a sheet's cells do not say themselves: which are merged, and which hold a formula that was never worked out.

Read from the sheet's own text (ECMA-376-1, 18.3.1.4, 18.3.1.40 and 18.3.1.55) as spreadsheet programs write it; what is
spelled otherwise is passed over. Nothing in it is expanded or followed.
"""

import re
from dataclasses import dataclass

from server.records.errors import Invalid

MERGED = re.compile(rb'<mergeCell\b[^<>]*?\bref="([A-Z]{1,3})([0-9]{1,7}):[A-Z]{1,3}([0-9]{1,7})"')
UNWORKED = re.compile(rb"<c\b[^<>]*>\s*<f\b[^<>]*(?:/>|>[^<]*</f>)\s*(?:<v\s*/>|<v>\s*</v>)?\s*</c>")
FILLED_MOST = 200_000  # cells; a list of ten thousand rows has fewer
TOO_MANY = "The workbook merges more cells than a list has. Save the sheet as CSV."


@dataclass(frozen=True, slots=True)
class Marks:
    """Merged cells that span rows, each by its column and its first and last row, counted from 0; formulas unworked."""

    merged: list[tuple[int, int, int]]
    unworked: int


def marks_in(sheet: bytes) -> Marks:
    found = ((_column(letters), int(first) - 1, int(last) - 1) for letters, first, last in MERGED.findall(sheet))
    return Marks([one for one in found if one[2] > one[1] >= 0], sum(1 for _ in UNWORKED.finditer(sheet)))


def fill_merged(rows: list[list[str]], marks: Marks) -> int:
    """Write what a merged cell holds into each row that it spans and that says anything else; how many cells did."""
    filled, left = 0, FILLED_MOST
    for column, first, last in marks.merged:
        if first >= len(rows) or column >= len(rows[first]) or not rows[first][column]:
            continue
        spanned = [row for row in rows[first + 1 : last + 1] if any(row)]
        left -= last - first
        if left < 0:
            raise Invalid({"file": TOO_MANY})
        for row in spanned:
            row.extend([""] * (column + 1 - len(row)))
            row[column] = row[column] or rows[first][column]
        filled += bool(spanned)
    return filled


def _column(letters: bytes) -> int:
    """The place of a column by its letters: A is 0, AA 26."""
    place = 0
    for letter in letters:
        place = place * 26 + letter - 64
    return place - 1
