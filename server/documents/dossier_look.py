"""A dossier beside the record that it would come into: what is new, what is the same, and each entry that differs.

Where the machine came from a dossier before, that one tells on which side an entry was changed since.
"""

import json
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from sqlmodel import Session, select

from server.documents.dossier_import import Dossier
from server.documents.record import PRIVATE_FIELDS, machine_record
from server.documents.record_names import Names, names_in
from server.documents.record_reading import record_from
from server.documents.record_rows import TABLES, rows_of
from server.documents.record_schema import RecordedMachine
from server.documents.sheet_changes import SPOKEN
from server.records.arriving import Arriving, Comparison, Differing, Held, Standing, compare
from server.records.commands.base import shown, words
from server.records.files import FileStore
from server.records.questions.addresses import tag_key
from server.records.questions.dossiers import last_import
from server.records.tables import Machine
from server.records.work import plain

VALUE_MOST = 400
SECTION_OF = {table: name for name, table in TABLES.items()}


@dataclass(frozen=True, slots=True)
class FieldLine:
    """One field as it is here, and as the dossier has it."""

    name: str
    here: str
    there: str


@dataclass(frozen=True, slots=True)
class DifferentEntry:
    """An entry that is here and says something else; `since` tells on which side it was changed since it came."""

    uuid: UUID
    name: str
    fields: tuple[FieldLine, ...]
    since: str
    only_there: bool


@dataclass(frozen=True, slots=True)
class Look:
    """What taking in a dossier would do. `seen` stands for all that was found; `tag_taken` asks for another tag.

    `told` says what the dossier is; `mods` are those that it brings, by name, and `new` all that is new, counted.
    """

    tag: str
    made: str
    is_new: bool
    tag_taken: bool
    told: tuple[str, ...]
    mods: tuple[str, ...]
    new: tuple[tuple[str, int], ...]
    same: int
    different: tuple[DifferentEntry, ...]
    only_here: tuple[str, ...]
    seen: str

    @property
    def nothing_new(self) -> bool:
        return not (self.is_new or self.new or self.different)


def look_at(session: Session, files: FileStore, dossier: Dossier) -> Look:
    """Hold a dossier against the record, which stays as it is."""
    comparison = compare(session, dossier.rows)
    record = json.loads(dossier.content)
    machine = session.exec(select(Machine).where(Machine.uuid == dossier.record.machine.uuid)).first()
    here = machine_record(session, machine, private=True) if machine and not machine.elsewhere else None
    names = names_in(here or {}) | names_in(record)
    base = _base(session, files, machine) if here else {}
    told = dossier.record.machine
    return Look(
        tag=told.tag,
        made=" ".join(filter(None, [told.maker, told.model, told.variant])),
        is_new=here is None,
        tag_taken=_tag_taken(session, told.tag, told.uuid),
        told=_what_it_is(dossier),
        mods=_mods_brought(dossier, comparison),
        new=_counted(comparison),
        same=len(comparison.of(Standing.SAME)),
        different=tuple(_different(one, names, base) for one in comparison.of(Standing.DIFFERENT)),
        only_here=_only_here(here, dossier) if here else (),
        seen=comparison.digest,
    )


def in_words(look: Look) -> list[str]:
    """The same as sentences, for a terminal."""
    standing = "new here" if look.is_new else "here already"
    same = "1 entry is" if look.same == 1 else f"{look.same:,} entries are"
    said = [f"{look.tag}, {look.made}, is {standing}. {same} the same.", *look.told]
    if look.new:
        said.append(f"New: {', '.join(f'{count:,} {words}' for words, count in look.new)}.")
    said += [f"{one.name} differs: {', '.join(field.name for field in one.fields)}." for one in look.different]
    if look.only_here:
        said.append(f"{len(look.only_here):,} entries are only here, and stay.")
    if look.tag_taken:
        said.append(f"Another machine here has the tag {look.tag}; give it another with --tag.")
    return said


def _what_it_is(dossier: Dossier) -> tuple[str, ...]:
    """When and by whom it was written last, and whether what is private is in it."""
    made = f"Written on {dossier.made_on}." if dossier.made_on else "It does not say when it was written."
    last = json.loads(dossier.journal)[-1:] if dossier.journal else []
    by = [f"The last to write about this machine was {last[0]['who']}, on {str(last[0]['at'])[:10]}."] if last else []
    is_private = dossier.record.machine.model_fields_set & PRIVATE_FIELDS[RecordedMachine]
    told = (
        "With what is private: prices, from whom it came, where bags lie." if is_private else "Without what is private."
    )
    return made, *by, told


def _mods_brought(dossier: Dossier, comparison: Comparison) -> tuple[str, ...]:
    new = {one.arriving.uuid for one in comparison.of(Standing.NEW)}
    return tuple(f"{mod.number}. {mod.title}" for mod in dossier.record.mods if mod.uuid in new)


def _tag_taken(session: Session, tag: str, uuid: UUID) -> bool:
    taken = select(Machine.id).where(Machine.tag_key == tag_key(tag), Machine.uuid != uuid)
    mine = select(Machine.id).where(Machine.uuid == uuid, Machine.elsewhere == False)  # noqa: E712 (a column)
    return session.exec(taken).first() is not None and session.exec(mine).first() is None


def _counted(comparison: Comparison) -> tuple[tuple[str, int], ...]:
    """How many entries of each kind are new, in the order of a record."""
    count = Counter(SECTION_OF[one.arriving.table] for one in comparison.of(Standing.NEW) if _is_told(one))
    return tuple(
        (_spoken(section, count[section]), count[section]) for section in SECTION_OF.values() if count[section]
    )


def _is_told(held: Held) -> bool:
    """The machine itself is named above; others are known by their names alone."""
    return held.arriving.table is not Machine


def _spoken(section: str, many: int) -> str:
    one, several = SPOKEN.get(section, (words(section).removesuffix("s"), words(section)))
    return one if many == 1 else several


def _different(held: Held, names: Names, base: Mapping[UUID, Arriving]) -> DifferentEntry:
    one = held.arriving
    fields = tuple(
        FieldLine(words(d.column.removesuffix("_id")), _said(d.here, names), _said(d.there, names))
        for d in held.differences
    )
    name = names.get(str(one.uuid)) or f"An entry of “{words(SECTION_OF.get(one.table, 'machine'))}”"
    since, only_there = _since(held.differences, base.get(one.uuid))
    return DifferentEntry(one.uuid, name, fields, since, only_there)


def _said(value: Any, names: Names) -> str:
    said = [names.get(str(one), shown(one)) for one in (value if isinstance(value, list) else [value])]
    text = "; ".join(said)
    return text if len(text) <= VALUE_MOST else f"{text[:VALUE_MOST]}…"


def _since(differences: Sequence[Differing], base: Arriving | None) -> tuple[str, bool]:
    """On which side it was changed since the machine came, and whether on the dossier's alone."""
    if base is None:
        return "", False
    before = {name: plain(value) for name, value in base.columns.items()}
    before |= {name: uuid and str(uuid) for name, uuid in base.leads_to.items()}
    before["mods"] = sorted(map(str, base.mods or ()))
    here = any(before.get(one.column) != one.here for one in differences)
    there = any(before.get(one.column) != one.there for one in differences)
    if here and there:
        return "changed here and there since it came", False
    return ("changed here since it came", False) if here else ("changed there since it came", True)


def _base(session: Session, files: FileStore, machine: Machine | None) -> dict[UUID, Arriving]:
    """The rows as the machine's last dossier brought them."""
    brought = last_import(session, machine) if machine else None
    if brought is None:
        return {}
    return {row.uuid: row for row in rows_of(record_from(files.read(brought.sha256)))}


def _only_here(here: Mapping[str, Any], dossier: Dossier) -> tuple[str, ...]:
    """What the machine has here and the dossier does not tell of."""
    known = {str(row.uuid) for row in dossier.rows}
    return tuple(name for uuid, name in names_in(here).items() if len(uuid) == 36 and uuid not in known)
