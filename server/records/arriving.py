"""Rows of another installation's record, held against this one's by their UUIDs: what is new, the same, or different.

Integer keys mean nothing elsewhere, so an arriving row names those it leads to by UUID. What each installation gives
by itself (a machine's tag, a procedure's slug, the number of a trial) is no difference: it stays as it was given
here. Reads the record and writes nothing.
"""

import hashlib
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from itertools import islice
from typing import Any
from uuid import UUID

import rfc8785
from sqlalchemy import Table
from sqlmodel import Session, col, select

from server.records import tables
from server.records.tables import Machine, Mod, Trial, TrialMod
from server.records.tables.base import Kept
from server.records.work import plain

GIVEN_HERE = frozenset({"tag", "tag_key", "slug", "number", "place"})
MADE = frozenset({"created_at", "created_by"})
AT_ONCE = 500


@dataclass(frozen=True, slots=True)
class Arriving:
    """One row as another record has it.

    `columns` are its own; `leads_to` gives the rows that its other columns lead to, by the names of these columns: none
    where that row is not in the record it comes from. `mods` are those in force at a trial; `at_first` is what it is
    given where it is new, and is no difference where it is not.
    """

    table: type[Kept]
    uuid: UUID
    columns: Mapping[str, Any]
    leads_to: Mapping[str, UUID | None] = field(default_factory=dict)
    mods: frozenset[UUID] | None = None
    at_first: Mapping[str, Any] = field(default_factory=dict)


class Standing(StrEnum):
    """How an arriving row stands to the record."""

    NEW = "new"
    SAME = "the same"
    DIFFERENT = "different"


@dataclass(frozen=True, slots=True)
class Differing:
    """One column of which the record and the dossier hold different values; rows are told by their UUIDs."""

    column: str
    here: Any
    there: Any


@dataclass(frozen=True, slots=True)
class Held:
    """An arriving row beside the one that is here."""

    arriving: Arriving
    row: Kept | None
    standing: Standing
    differences: tuple[Differing, ...] = ()


@dataclass(frozen=True, slots=True)
class Comparison:
    """All that arrives, in its order, beside what is here."""

    held: tuple[Held, ...]

    def of(self, standing: Standing) -> list[Held]:
        return [one for one in self.held if one.standing is standing]

    @property
    def digest(self) -> str:
        """What was found, so that nothing else is written than what was looked at."""
        found = [
            [str(one.arriving.uuid), one.standing, [[d.column, str(d.here), str(d.there)] for d in one.differences]]
            for one in self.held
        ]
        return hashlib.sha256(rfc8785.dumps(found)).hexdigest()


def compare(session: Session, arrivals: Sequence[Arriving]) -> Comparison:
    """Hold each arriving row against the one of its UUID; a few queries for each table, however many rows."""
    here = _Here(session, arrivals)
    return Comparison(tuple(here.held(one) for one in arrivals))


def target_of(table: type[Kept], column: str) -> type[Kept]:
    """The table that a column's key leads to."""
    (key,) = _columns(table)[column].foreign_keys
    return _CLASSES[key.column.table.name]


def needs(table: type[Kept], column: str) -> bool:
    """Whether a row of this table cannot be without what this column leads to."""
    return not _columns(table)[column].nullable


def _columns(table: type[Kept]) -> Any:
    made: Table = table.__table__  # type: ignore[attr-defined]
    return made.columns


_CLASSES: dict[str, type[Kept]] = {
    str(table.__tablename__): table
    for table in (getattr(tables, name) for name in tables.__all__)
    if isinstance(table, type) and issubclass(table, Kept)
}


def _as_told(here: Any, there: Any) -> Any:
    """A list of plain mappings with those keys alone that the other record tells of."""
    if isinstance(here, list) and isinstance(there, list) and there and isinstance(there[0], dict):
        return [{name: one.get(name) for name in there[0]} if isinstance(one, dict) else one for one in here]
    return here


class _Here:
    """The rows of this record that arriving ones are held against."""

    def __init__(self, session: Session, arrivals: Sequence[Arriving]) -> None:
        self._session = session
        self._inside = {(one.table, one.uuid) for one in arrivals}
        self._rows = known_rows(session, self._inside)
        self._uuids = {(type(row), row.key): row.uuid for row in self._rows.values()}
        self._mods_at = self._mods_of_trials()

    def held(self, one: Arriving) -> Held:
        row = self._rows.get((one.table, one.uuid))
        by_name_alone = isinstance(row, Machine) and row.elsewhere and "model" in one.columns
        if row is None or by_name_alone:
            return Held(one, row, Standing.NEW)
        differences = tuple(self._differences(one, row))
        return Held(one, row, Standing.DIFFERENT if differences else Standing.SAME, differences)

    def _differences(self, one: Arriving, row: Kept) -> Iterator[Differing]:
        for name, there in one.columns.items():
            if name in GIVEN_HERE or name in MADE:
                continue
            if _as_told(here := getattr(row, name), there) != there:
                yield Differing(name, plain(here), plain(there))
        for name, leads_to in one.leads_to.items():
            target = target_of(one.table, name)
            here = self._uuid(target, getattr(row, name))
            # What leads out of the other record is not named in it, so it says nothing against a row that is here.
            if here != leads_to and not (leads_to is None and (target, here) not in self._inside):
                yield Differing(name, here and str(here), leads_to and str(leads_to))
        if one.mods is not None:
            mods = frozenset(mod for mod in self._mods_at[row.key] if (Mod, mod) in self._inside)
            if mods != one.mods:
                yield Differing("mods", sorted(map(str, mods)), sorted(map(str, one.mods)))

    def _uuid(self, table: type[Kept], key: int | None) -> UUID | None:
        if key is None:
            return None
        if (table, key) not in self._uuids:
            self._uuids[table, key] = self._session.get_one(table, key).uuid
        return self._uuids[table, key]

    def _mods_of_trials(self) -> dict[int, set[UUID]]:
        keys = [row.key for (table, _), row in self._rows.items() if table is Trial]
        found: dict[int, set[UUID]] = defaultdict(set)
        for some in in_pieces(keys):
            query = select(TrialMod.trial_id, Mod.uuid).join(Mod, col(Mod.id) == col(TrialMod.mod_id))
            for trial, mod in self._session.exec(query.where(col(TrialMod.trial_id).in_(some))):
                found[trial].add(mod)
        return found


def known_rows(session: Session, asked: Iterable[tuple[type[Kept], UUID]]) -> dict[tuple[type[Kept], UUID], Kept]:
    """The rows of this record that have these UUIDs in these tables."""
    by_table: dict[type[Kept], list[UUID]] = defaultdict(list)
    for table, uuid in asked:
        by_table[table].append(uuid)
    found: dict[tuple[type[Kept], UUID], Kept] = {}
    for table, uuids in by_table.items():
        for some in in_pieces(sorted(uuids)):
            for row in session.exec(select(table).where(col(table.uuid).in_(some))):
                found[table, row.uuid] = row
    return found


def in_pieces(values: Sequence[Any]) -> Iterator[list[Any]]:
    """A few at a time: a database takes only so many values in one question."""
    rest = iter(values)
    while some := list(islice(rest, AT_ONCE)):
        yield some
