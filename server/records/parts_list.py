"""A parts list as people keep it, read into rows that can be stored, each bad row with its reason.

    take_table(bytes)        -> Table       (list_file) a file's text, cut into cells, and which column is what
    read_table(text)         -> Table       (list_table) the same of text
    read_rows(table)         -> [ListRow]   each with its ListedPart or a reason
    check_rows(board, rows)  -> [ListRow]   as above, held against what the board already has

`rows_of` and `command_for` are for those who want all of a file or nothing. One line may stand for several positions
(`R1, R4-R6`); each becomes a row. Nothing here writes to the record or knows of pages.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from sqlmodel import Session

from server.engineering.errors import EngineeringError
from server.records.commands.base import words
from server.records.commands.parts import ROWS_MOST, ImportParts, ListedPart, list_faults
from server.records.errors import Invalid
from server.records.list_cut import Line, too_many
from server.records.list_file import AS_IT_STANDS, Asked, chosen_columns, take_table
from server.records.list_kinds import PARTS
from server.records.list_table import Table, expect_readable, fault_of_line, read_table
from server.records.list_words import OFFERED, WORDS, folded, kind_of_designator
from server.records.questions.addresses import find_board, find_machine
from server.records.questions.column_matchings import remembered
from server.records.store import Store
from server.records.tables import Board
from server.records.values import read_value
from server.records.words import PartKind

__all__ = ["ListRow", "Table", "check_rows", "command_for", "read_rows", "read_table", "rows_of"]

GROUP_MOST = 500
NAMED_MOST = 20
MEASURED = {PartKind.RESISTOR, PartKind.CAPACITOR, PartKind.CRYSTAL}  # their value is never a type
# Both ends of a range carry their letters (R4-R6): “J1-2” is one designator with a hyphen in it.
DESIGNATOR = re.compile(r"[^\W\d_]+\d+\w*")
RANGE = re.compile(r"([^\W\d_]+)(\d{1,5})\s*(?:-|–|\.\.|…|to)\s*([^\W\d_]+)(\d{1,5})", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class ListRow:
    """One position of the list: what it says, as it would be stored, or the reason why it cannot be.

    `as_type` is the value that was taken as the type, where that was so.
    """

    line: int
    designator: str
    part: ListedPart | None
    reason: str = ""
    as_type: str = ""


def read_rows(table: Table) -> list[ListRow]:
    """Every position that the list names, in its order."""
    expect_readable(table)
    rows: list[ListRow] = []
    for line in table.lines:
        rows += _rows_of_line(table, line)
        if len(rows) > ROWS_MOST:
            raise Invalid({"text": too_many()})
    return rows


def check_rows(session: Session, board: Board, rows: Sequence[ListRow]) -> list[ListRow]:
    """The same rows, with a reason for each that cannot stand on this board."""
    readable = [(place, row.part) for place, row in enumerate(rows) if row.part]
    called = [f"line {rows[place].line}" for place, _ in readable]
    faults = list_faults(session, board, [part for _, part in readable], called)
    checked = list(rows)
    for number, reason in faults.items():
        place = readable[number][0]
        checked[place] = replace(rows[place], part=None, reason=reason)
    return checked


def rows_of(data: bytes) -> list[ListedPart]:
    """Every row of a file; raises Invalid that names the bad lines, if there are any."""
    return _all_good(read_rows(take_table(data, PARTS)))


def command_for(store: Store, machine: str, board: str, data: bytes, asked: Asked = AS_IT_STANDS) -> ImportParts:
    """The command that enters a whole file onto a board; raises Invalid that names the bad lines, if there are any."""
    with store.reading() as session:
        there = find_board(session, find_machine(session, machine), board)
        table = take_table(data, PARTS, remembered(session, PARTS), asked)
        rows = check_rows(session, there, read_rows(table))
    return ImportParts(machine=machine, board=board, rows=_all_good(rows), matching=chosen_columns(table))


def _all_good(rows: Sequence[ListRow]) -> list[ListedPart]:
    bad = [row for row in rows if row.part is None]
    if bad:
        named = [f"Line {row.line:,}{f' ({row.designator})' if row.designator else ''}: {row.reason}" for row in bad]
        more = [f"And {len(bad) - NAMED_MOST:,} more."] if len(bad) > NAMED_MOST else []
        raise Invalid({"text": "\n".join([*named[:NAMED_MOST], *more])})
    return [row.part for row in rows if row.part]


def _rows_of_line(table: Table, line: Line) -> list[ListRow]:
    cells = {name: _cell(line, name, place) for name, place in table.columns.items()}
    written = cells.pop("designator")
    if reason := fault_of_line(table, line):
        return [ListRow(line.number, written, None, reason)]
    try:
        return [_row(line.number, designator, cells) for designator in _designators(written)]
    except ValueError as fault:
        return [ListRow(line.number, written, None, str(fault))]


def _cell(line: Line, name: str, place: int) -> str:
    text = line.cells[place] if place < len(line.cells) else ""
    return text.strip() if name == "note" else " ".join(text.split())


def _designators(written: str) -> list[str]:
    """`R1, R4-R6` is R1, R4, R5 and R6."""
    found: list[str] = []
    for piece in filter(None, re.split(r"\s*[,;]\s*", written)):
        words_of_piece = piece.split()
        several = all(DESIGNATOR.fullmatch(word) or RANGE.fullmatch(word) for word in words_of_piece)
        for word in words_of_piece if several else [piece]:
            found += _range(word)
    if not found:
        raise ValueError("No designator says where this part sits.")
    if len(found) > GROUP_MOST:
        raise ValueError(f"One line names {len(found):,} positions; at most {GROUP_MOST} can stand in one.")
    return found


def _range(word: str) -> list[str]:
    match = RANGE.fullmatch(word)
    if not match or match[1].casefold() != match[3].casefold():
        return [word]
    first, last = int(match[2]), int(match[4])
    if not first <= last < first + GROUP_MOST:
        raise ValueError(f"{word} is no range of up to {GROUP_MOST} positions.")
    return [f"{match[1]}{number}" for number in range(first, last + 1)]


def _row(line: int, designator: str, cells: dict[str, str]) -> ListRow:
    try:
        typed = _worded({name: cell for name, cell in cells.items() if cell})
        typed.setdefault("kind", kind_of_designator(designator).value)
        _join_tolerance(typed)
        as_type = _value_as_type(typed)
        return ListRow(line, designator, ListedPart.read({"designator": designator, **typed}), as_type=as_type)
    except Invalid as fault:
        reason = " ".join(f"{words(name).capitalize()}: {sentence}" for name, sentence in fault.messages.items())
        return ListRow(line, designator, None, reason)


def _worded(typed: dict[str, str]) -> dict[str, str]:
    """Cells that hold one of a few words, in the record's own word."""
    for name in OFFERED.keys() & typed.keys():
        word = WORDS[name].get(folded(typed[name]))
        if word is None:
            offered = ", ".join(OFFERED[name])
            raise Invalid({name: f"“{typed[name][:40]}” is none of: {offered}."})
        typed[name] = word
    return typed


def _join_tolerance(typed: dict[str, str]) -> None:
    """A tolerance in a column of its own belongs to the value."""
    tolerance = typed.pop("tolerance", "")
    if tolerance and (value := typed.get("value")):
        signed = tolerance if tolerance[0] in "±+-" or tolerance.isalpha() else f"±{tolerance}"
        typed["value"] = f"{value} {signed}"


def _value_as_type(typed: dict[str, str]) -> str:
    """Lists often write a chip's or a transistor's type where others have a value: `74LS00`, `7805`."""
    value = typed.get("value", "")
    if not value or "type" in typed or typed["kind"] in MEASURED or _has_unit(value, typed["kind"]):
        return ""
    typed["type"] = typed.pop("value")
    return value


def _has_unit(value: str, kind: str) -> bool:
    try:
        return bool(read_value(value, kind).unit)
    except EngineeringError:
        return False
