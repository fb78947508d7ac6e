"""A list of mods as people keep it, read into mods that can be stored, each bad line with its reason.

    take_table(bytes), read_table(text)  -> Table     (list_file, list_table) which column is what, and lines of cells
    read_mods(table)                     -> [ModRow]  each with its ListedMod, or the reasons why there is none
    check_mods(machine, rows)            -> [ModRow]  as above, held against what the record has already

A line is a mod, with one of its steps where it tells of one; lines with the same number, or the same title, are further
steps of the same mod. `command_for` is for those who want all of a file or nothing. Nothing here writes to the record
or knows of pages.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from sqlmodel import Session

from server.records.commands.base import Command, Line, OptionalDay, words
from server.records.commands.listed_mods import ListedMod, ListedStep
from server.records.commands.mod_list_checks import Usual, faults, same
from server.records.commands.mod_lists import MODS_MOST, ImportMods
from server.records.errors import Invalid
from server.records.list_cut import Line as ListLine
from server.records.list_cut import too_many
from server.records.list_days import day_in
from server.records.list_file import AS_IT_STANDS, Asked, chosen_columns, take_table
from server.records.list_kinds import MODS
from server.records.list_table import Table, expect_readable, fault_of_line
from server.records.list_words import folded
from server.records.mod_words import MOD_OFFERED, MOD_WORDS, NO_HAZARD
from server.records.questions.addresses import find_machine
from server.records.questions.column_matchings import remembered
from server.records.questions.mod_ground import ground_of, title_key
from server.records.store import Store
from server.records.tables import Machine
from server.records.texts import printable

PROSE = ("purpose", "reasoning", "outcome", "instruction")
OF_THE_MOD = ("title", "purpose", "reasoning", "outcome", "hazards", "aim", "state", "day", "signer")
OF_A_STEP = ("kind", "designator", "pin", "planned_type", "planned_value", "instruction", "trace_reason", "done_on")
LINE_ENDS = re.compile(r"\s*[\t\n\x0b\x0c]\s*")  # what else a line has between its words stays as it is
NAMED_MOST = 20
SHOWN = 60


class UsualOnes(Command):
    """What is typed for the mods of a list that do not say it themselves."""

    day: OptionalDay = None
    signer: Line = ""


@dataclass(frozen=True, slots=True)
class BadLine:
    """A line that will not do, and why."""

    line: int
    title: str
    reason: str


@dataclass(frozen=True, slots=True)
class ModRow:
    """One mod of the list with the lines that tell of it: as it would be stored, or what is wrong with it.

    `there` is the number of the mod in the record of which the list says nothing else.
    """

    lines: list[int]
    title: str
    mod: ListedMod | None
    bad: list[BadLine] = field(default_factory=list)
    there: int | None = None

    @property
    def is_new(self) -> bool:
        return self.mod is not None and self.there is None


Cells = dict[str, str]


@dataclass(slots=True)
class _Told:
    """What the lines of one mod say."""

    title: str
    lines: list[tuple[ListLine, Cells]] = field(default_factory=list)
    bad: list[BadLine] = field(default_factory=list)


def read_mods(table: Table) -> list[ModRow]:
    """Every mod that the list tells of, in its order; a line that tells of none comes with its reason."""
    expect_readable(table)
    told = [_read(one) for one in _told(table)]
    if len(told) > MODS_MOST:
        raise Invalid({"text": too_many()})
    return told


def check_mods(session: Session, machine: Machine, rows: Sequence[ModRow], usual: Usual) -> list[ModRow]:
    """The same mods, with a reason for each that cannot come in, and the number of each that is there already."""
    ground = ground_of(session, machine)
    checked = []
    for row in rows:
        if row.mod is None:
            checked.append(row)
        elif number := same(ground, row.mod):
            checked.append(replace(row, there=number))
        elif found := faults(ground, row.mod, usual):
            bad = [BadLine(row.lines[0], row.title, " ".join(found))]
            checked.append(replace(row, mod=None, bad=bad))
        else:
            checked.append(row)
    return checked


def usual_of(day: str, signer: str) -> Usual:
    """What was typed for the mods that do not say it themselves; raises Invalid."""
    typed = UsualOnes.read({"day": day, "signer": signer})
    return Usual(typed.day, typed.signer)


def command_for(
    store: Store, machine: str, data: bytes, usual: Usual, asked: Asked = AS_IT_STANDS
) -> tuple[ImportMods | None, int]:
    """The command that enters a whole file, and how many of its mods are there already; none where all are.

    Raises Invalid that names the bad lines, if there are any.
    """
    with store.reading() as session:
        found = find_machine(session, machine)
        table = take_table(data, MODS, remembered(session, MODS), asked)
        rows = check_mods(session, found, read_mods(table), usual)
    bad = [line for row in rows for line in row.bad]
    if bad:
        named = [f"Line {one.line:,}{f' ({one.title})' if one.title else ''}: {one.reason}" for one in bad]
        more = [f"And {len(bad) - NAMED_MOST:,} more."] if len(bad) > NAMED_MOST else []
        raise Invalid({"text": "\n".join([*named[:NAMED_MOST], *more])})
    there = sum(row.there is not None for row in rows)
    new = [row.mod for row in rows if row.mod and row.is_new]
    return (command_of(found, new, usual, table) if new else None), there


def command_of(machine: Machine, mods: Sequence[ListedMod], usual: Usual, table: Table) -> ImportMods:
    """The command that enters these mods of a list."""
    return ImportMods(
        machine=machine.tag, day=usual.day, signer=usual.signer, rows=list(mods), matching=chosen_columns(table)
    )


# ---- Which lines tell of one mod ----


def _told(table: Table) -> list[_Told]:
    every: list[_Told] = []
    by_number: dict[str, _Told] = {}
    by_title: dict[str, _Told] = {}
    for line in table.lines:
        cells = {name: _cell(line, name, place) for name, place in table.columns.items()}
        number, title = cells.pop("number", "").casefold(), cells["title"]
        known = by_number.get(number) if number else by_title.get(title_key(title)) if title else None
        one = known or _Told(title)
        if known is None:
            every.append(one)
        if reason := fault_of_line(table, line) or _odd(one, number, title):
            one.bad.append(BadLine(line.number, title[:SHOWN], reason))
        if number:
            by_number.setdefault(number, one)
        if title:
            by_title.setdefault(title_key(title), one)
        one.lines.append((line, cells))
    return every


def _odd(one: _Told, number: str, title: str) -> str:
    """What is wrong with how a line says which mod it tells of."""
    if not one.title:
        return "No title says which mod this line tells of."
    if number and title and title_key(title) != title_key(one.title):
        return f"Number {printable(number, SHOWN)} is “{one.title[:SHOWN]}” in line {one.lines[0][0].number:,}."
    return ""


def _cell(line: ListLine, name: str, place: int) -> str:
    text = line.cells[place] if place < len(line.cells) else ""
    return text.strip() if name in PROSE else LINE_ENDS.sub(" ", text.strip())


# ---- What they say ----


def _read(told: _Told) -> ModRow:
    lines = [line.number for line, _ in told.lines]
    bad = list(told.bad)
    first, cells = told.lines[0]
    steps = []
    mod: ListedMod | None = None
    if not bad:
        bad += [BadLine(line.number, told.title[:SHOWN], said) for line, said in _contradictions(told)]
        for line, said in told.lines:
            try:
                steps += _step(said)
            except Invalid as fault:
                bad.append(_bad(line, told, fault))
        try:
            mod = _mod(cells, steps)
        except Invalid as fault:
            bad.insert(0, _bad(first, told, fault))
    return ModRow(lines, told.title[:SHOWN], None if bad else mod, bad)


def _bad(line: ListLine, told: _Told, fault: Invalid) -> BadLine:
    said = (f"{words(name).capitalize()}: {sentence}" for name, sentence in fault.messages.items())
    return BadLine(line.number, told.title[:SHOWN], " ".join(said))


def _contradictions(told: _Told) -> Iterator[tuple[ListLine, str]]:
    """Lines after the first that say something else of the mod itself, or nothing more."""
    first, said_first = told.lines[0]
    for line, said in told.lines[1:]:
        others = [name for name in OF_THE_MOD[1:] if said.get(name) and said[name] != said_first.get(name)]
        if others:
            named = " and another ".join(words(name) for name in others)
            yield line, f"It gives another {named} than line {first.number:,}, which tells of the same mod."
        elif not _tells_of_step(said):
            yield line, f"It says nothing that line {first.number:,}, which tells of the same mod, does not say."


def _tells_of_step(cells: Mapping[str, str]) -> bool:
    return any(cells.get(name) for name in OF_A_STEP)


def _mod(cells: Cells, steps: Sequence[ListedStep]) -> ListedMod:
    said: dict[str, object] = {name: cells[name] for name in OF_THE_MOD if cells.get(name)}
    if "hazards" in said:
        said["hazards"] = _hazards(cells["hazards"])
    for name in ("state", "aim"):
        if name in said:
            said[name] = _worded(name, cells[name])
    if "day" in said:
        said["day"] = _day("day", cells["day"])
    return ListedMod.read(said | ({"steps": list(steps)} if steps else {}))


def _step(cells: Cells) -> list[ListedStep]:
    if not _tells_of_step(cells):
        return []
    said = {name: cells[name] for name in (*OF_A_STEP, "board") if cells.get(name)}
    if "kind" in said:
        said["kind"] = _worded("kind", said["kind"])
    if "done_on" in said:
        said["done_on"] = _day("done_on", said["done_on"])
    return [ListedStep.read(said)]


def _hazards(written: str) -> list[str]:
    pieces = [piece for piece in re.split(r"[,;/\n]+", written) if piece.strip()]
    return list(dict.fromkeys(_worded("hazards", piece) for piece in pieces if folded(piece) not in NO_HAZARD))


def _worded(name: str, written: str) -> str:
    """The record's own word for what is written."""
    word = MOD_WORDS[name].get(folded(written))
    if word is None:
        raise Invalid({name: f"“{written.strip()[:40]}” is none of: {', '.join(MOD_OFFERED[name])}."})
    return word


def _day(name: str, written: str) -> str:
    try:
        return day_in(written)
    except ValueError as fault:
        raise Invalid({name: str(fault)}) from None
