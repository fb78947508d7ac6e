"""A list's file as text, and as a table: a workbook's sheet is chosen, a text's encoding found out.

Of several sheets the first is taken in which columns are understood; hidden ones only where there is no other. A
person can name another sheet, and say what a column is (`Heading=field`), as a command line does.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from server.records.commands.lists import ColumnChoice
from server.records.errors import Invalid
from server.records.list_columns import OUT, called, matching_faults
from server.records.list_kinds import ListKind
from server.records.list_table import NOTHING_KNOWN, Known, Table, expect_readable, read_table
from server.records.list_text import decode, encoding_of
from server.records.list_words import folded
from server.records.list_workbook import PACKED, Sheet, sheets_of
from server.records.texts import printable

NAMED_MOST = 5
LEAVE_OUT = ("", "leave out", "left out", "none")


@dataclass(frozen=True, slots=True)
class Asked:
    """What a person says of a file: which sheet, and what columns are, as `Heading=field`."""

    sheet: str = ""
    columns: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Taken:
    """A file as text, what to say of how it was read, and of a workbook the sheet that was read and its others."""

    text: str
    words: str = ""
    sheet: str = ""
    others: tuple[Sheet, ...] = ()


AS_IT_STANDS = Asked()


def take(data: bytes, kind: ListKind, known: Known = NOTHING_KNOWN, name: str = "") -> Taken:
    """A file's text; of a workbook that of the sheet that is named, or seems meant. Raises Invalid."""
    if not data.startswith(PACKED):
        if name:
            raise Invalid({"sheet": "Only a workbook has sheets, and this file is none."})
        return Taken(decode(data), encoding_of(data).words)
    sheets = sheets_of(data)
    chosen = _named(sheets, name) if name else _meant(sheets, kind, known)
    others = tuple(sheet for sheet in sheets if sheet is not chosen)
    return Taken(chosen.text, words_of_sheet(chosen, others), chosen.name, others)


def take_table(data: bytes, kind: ListKind, known: Known = NOTHING_KNOWN, asked: Asked = AS_IT_STANDS) -> Table:
    """A whole file as a table, its columns as they are headed, as they were matched before, or as is asked."""
    table = read_table(take(data, kind, known, asked.sheet).text, kind, known)
    table = as_asked(table, asked.columns) if asked.columns else table
    expect_readable(table)
    return table


def words_of_sheet(sheet: Sheet, others: Sequence[Sheet]) -> str:
    """How a sheet was read, and which others there are."""
    names = [f"{other.name} (hidden)" if other.hidden else other.name for other in others]
    more = " and more" if len(names) > NAMED_MOST else ""
    left = f"Left out: {', '.join(names[:NAMED_MOST])}{more}." if names else ""
    hidden = ", which is hidden," if sheet.hidden else ""
    return " ".join(filter(None, [f"Read from the sheet “{sheet.name}”{hidden} of the workbook.", left, sheet.words]))


def as_asked(table: Table, asked: Sequence[str]) -> Table:
    """A table with its columns as `Heading=field` says; what is asked for goes before what a heading says by itself."""
    chosen: dict[int, str] = {}
    for one in asked:
        heading, mark, name = one.rpartition("=")
        if not mark:
            raise Invalid({"column": f"“{printable(one, 60)}” is no matching. Write it as Heading=field."})
        chosen[_place_of(table, heading)] = _field_named(table.kind, name)
    given = [name for name in chosen.values() if name != OUT]
    fields = [chosen.get(place, OUT if name in given else name) for place, name in enumerate(table.fields)]
    if faults := matching_faults(table.kind, table.headings, fields):
        place, sentence = next(iter(faults.items()))
        where = f"{called(table.headings, place)}: " if place is not None else ""
        raise Invalid({"column": f"{where}{sentence}"})
    return table.matched_by_hand(fields)


def chosen_columns(table: Table) -> list[ColumnChoice]:
    """What is to be remembered of a table that was matched by hand; nothing of another."""
    if table.matched != "by hand":
        return []
    pairs = zip(table.headings, table.fields, strict=False)
    return [ColumnChoice(heading=printable(heading, 60), field=name) for heading, name in pairs]


def _named(sheets: Sequence[Sheet], name: str) -> Sheet:
    found = next((sheet for sheet in sheets if sheet.name.casefold() == name.strip().casefold()), None)
    if found is None:
        there = ", ".join(f"“{sheet.name}”" for sheet in sheets[:12])
        raise Invalid({"sheet": f"The workbook has no sheet “{printable(name, 60)}” with anything in it, but {there}."})
    return found


def _meant(sheets: Sequence[Sheet], kind: ListKind, known: Known) -> Sheet:
    in_sight = [sheet for sheet in sheets if not sheet.hidden] or list(sheets)
    return next((sheet for sheet in in_sight if _is_understood(sheet, kind, known)), in_sight[0])


def _is_understood(sheet: Sheet, kind: ListKind, known: Known) -> bool:
    try:
        return kind.needed in read_table(sheet.text, kind, known).columns
    except Invalid:
        return False


def _place_of(table: Table, heading: str) -> int:
    wanted = folded(heading)
    places = [place for place, one in enumerate(table.headings) if one and folded(one) == wanted]
    if not places or places[0] >= len(table.fields):
        there = ", ".join(f"“{printable(one, 40)}”" for one in table.headings[:20] if one)
        raise Invalid({"column": f"No column is headed “{printable(heading, 60)}”. There are: {there or 'none'}."})
    return places[0]


def _field_named(kind: ListKind, name: str) -> str:
    if folded(name) in LEAVE_OUT:
        return OUT
    wanted = folded(name)
    by_name = (one for one in kind.headings if wanted in (folded(one), folded(kind.words(one))))
    found = next(by_name, None) or kind.field_of(name)
    if not found:
        there = ", ".join(map(kind.words, kind.headings))
        raise Invalid({"column": f"“{printable(name, 60)}” is no field. It is one of: {there}; or: leave out."})
    return found
