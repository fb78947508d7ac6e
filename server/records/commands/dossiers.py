"""Taking in what a dossier brings: all its rows in one act, or none of them.

The rows keep their UUIDs, and who made them when. What is here already and says something else stays as it is, unless
the keeper chose the dossier's version after looking at both; so the command names what was looked at, and is refused
where the record has changed since. Afterwards every rule holds that held before.
"""

from collections.abc import Callable, Iterable, Mapping
from datetime import date
from itertools import groupby
from typing import Annotated, Any, NamedTuple
from uuid import UUID

from pydantic import ConfigDict, Field
from sqlalchemy import UniqueConstraint
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, SQLModel, select

from server.records.arriving import MADE, Arriving, Comparison, Held, Standing, compare, needs, target_of
from server.records.commands.base import Command, Line, words
from server.records.commands.machines import check_tag
from server.records.errors import Invalid, Refused
from server.records.files import FileStore
from server.records.questions.addresses import free_slug, next_number, tag_key
from server.records.questions.dossiers import IMPORTED
from server.records.rules import RULES
from server.records.tables import DossierImport, Machine, Mod, TrialMod
from server.records.tables.base import Kept
from server.records.work import Entry, Work, handles

NAMED_MOST = 5
TAG_STEM = 35  # letters of a tag, with which a number still fits
_ORDER = {table.name: place for place, table in enumerate(SQLModel.metadata.sorted_tables)}


class ChangedSince(Refused):
    """The record is no longer what was looked at before; looked at again, the dossier can be taken in."""


class KeptFile(NamedTuple):
    """A file that the dossier brings, by its digest; it is read when it is needed."""

    sha256: str
    read: Callable[[], bytes]


class JournalThere(NamedTuple):
    """The last entry about the machine in the journal that it comes from."""

    seq: int | None
    hash: str


class ImportDossier(Command):
    """All rows of one machine's record, as it was `seen` beside what is here; `take` chooses the dossier's versions.

    `tag` is what the machine is called here, where its own tag is another machine's.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True)

    machine: UUID
    tag: Line = ""
    arrivals: tuple[Arriving, ...] = Field(min_length=1)
    seen: str
    take: frozenset[UUID] = frozenset()
    made_on: date | None = None
    record: Annotated[bytes, Field(repr=False)]
    journal: Annotated[bytes, Field(repr=False)] = b""
    journal_there: JournalThere = JournalThere(None, "")
    files: tuple[KeptFile, ...] = ()

    def keep_files(self, files: FileStore) -> None:
        for content in filter(None, (self.record, self.journal)):
            files.keep(content)
        for one in self.files:
            if files.keep(one.read()) != one.sha256:
                raise Refused("A file of the dossier is not what its record says. Nothing was changed.")


@handles(ImportDossier)
def import_dossier(work: Work, command: ImportDossier) -> Entry:
    comparison = compare(work.session, command.arrivals)
    if comparison.digest != command.seen:
        raise ChangedSince("The record was changed since you looked. Nothing was taken in; look at the dossier again.")
    taking = _Taking(work, command, comparison)
    taking.write()
    machine = work.session.exec(select(Machine).where(Machine.uuid == command.machine)).one()
    if not work.changes:
        return Entry(IMPORTED, machine, f"Everything in the dossier of {machine.tag} is here already.", machine)
    _check_rules(work)
    _note_import(work, command, machine, said_all=taking.says_all)
    return Entry(IMPORTED, machine, _words(machine, comparison, command), machine)


class _Taking:
    """One dossier on its way in: the new rows first, then what they lead to, then what was chosen of it."""

    def __init__(self, work: Work, command: ImportDossier, comparison: Comparison) -> None:
        self._work = work
        self._command = command
        self._comparison = comparison
        self._new = comparison.of(Standing.NEW)
        self._rows = {(one.arriving.table, one.arriving.uuid): one.row for one in comparison.held if one.row}
        self._fresh: set[UUID] = set()
        self._names = _GivenNames(work.session, command)

    def write(self) -> None:
        self._check_at_home()
        in_order = sorted(self._new, key=lambda one: _ORDER[_table_of(one)])
        for table, rows in groupby(in_order, key=_table_of):
            for held in rows:
                self._store(held)
            self._flush(words(table))
        for held in self._new:
            self._lead_on(held.arriving)
        for held in self._comparison.of(Standing.DIFFERENT):
            if held.arriving.uuid in self._command.take:
                self._change(held)
        self._flush("entry")

    @property
    def says_all(self) -> bool:
        """Whether the record now says of the machine what the dossier says, and nothing else."""
        machine = next(one for one in self._comparison.held if one.arriving.uuid == self._command.machine)
        same = all(_given_alike(one) for one in self._comparison.of(Standing.SAME))
        nothing_kept = not self._comparison.of(Standing.DIFFERENT)
        return machine.standing is Standing.NEW and nothing_kept and same and not self._names.changed

    def _check_at_home(self) -> None:
        for held in self._comparison.of(Standing.DIFFERENT):
            for one in held.differences:
                if one.column.endswith("_id") and needs(held.arriving.table, one.column):
                    kind = words(str(held.arriving.table.__tablename__))
                    where = words(one.column.removesuffix("_id"))
                    raise Refused(
                        f"A {kind} of the dossier is here already, with another {where}. Nothing was changed."
                    )

    def _store(self, held: Held) -> None:
        """A new row with what it cannot be without; where else it leads to is filled in when all are there."""
        one = held.arriving
        needed = {column: uuid for column, uuid in one.leads_to.items() if uuid and needs(one.table, column)}
        values = {**one.columns, **one.at_first, **{column: self._key(one, column) for column in needed}}
        if one.table is Machine:
            values["elsewhere"] = "model" not in one.columns
        if not any(uuid in self._fresh for uuid in needed.values()):  # else nothing can have its name or number yet
            values |= self._names.given(one.table, values)
        self._fresh.add(one.uuid)
        if held.row is None:
            self._rows[one.table, one.uuid] = self._work.bring(one.table(uuid=one.uuid, **values))
            return
        for name, value in values.items():  # a machine that was known by its name alone
            if name not in MADE:
                setattr(held.row, name, value)

    def _lead_on(self, one: Arriving) -> None:
        row = self._rows[one.table, one.uuid]
        for column, uuid in one.leads_to.items():
            if uuid and not needs(one.table, column):
                setattr(row, column, self._key(one, column))
        if one.mods is not None:
            self._note_mods(one.mods, row)

    def _key(self, one: Arriving, column: str) -> int | None:
        """The key of the row that a column of an arriving one leads to."""
        uuid = one.leads_to[column]
        return None if uuid is None else self._rows[target_of(one.table, column), uuid].key

    def _note_mods(self, mods: frozenset[UUID], trial: Kept) -> None:
        """Which mods were in force at a trial, of those that the dossier knows."""
        known = {row.key for (table, _), row in self._rows.items() if table is Mod}
        wanted = {self._rows[Mod, mod].key for mod in mods}
        for link in self._work.session.exec(select(TrialMod).where(TrialMod.trial_id == trial.key)).all():
            if link.mod_id in known - wanted:
                self._work.session.delete(link)
            wanted.discard(link.mod_id)
        for mod in sorted(wanted):
            self._work.session.add(TrialMod(trial_id=trial.key, mod_id=mod))

    def _change(self, held: Held) -> None:
        one, row = held.arriving, self._rows[held.arriving.table, held.arriving.uuid]
        for differing in held.differences:
            if one.mods is not None and differing.column == "mods":
                self._note_mods(one.mods, row)
            elif differing.column in one.leads_to:
                setattr(row, differing.column, self._key(one, differing.column))
            else:
                setattr(row, differing.column, one.columns[differing.column])

    def _flush(self, what: str) -> None:
        try:
            self._work.session.flush()
        except IntegrityError as clash:
            raise Refused(
                f"The dossier and this record each have a {what} where only one can be. Nothing was changed."
            ) from clash


class _GivenNames:
    """Tags, slugs and numbers of what comes in: its own, where nothing here has them."""

    def __init__(self, session: Session, command: ImportDossier) -> None:
        self._session = session
        self._command = command
        self.changed = False

    def given(self, table: type[Kept], values: Mapping[str, Any]) -> dict[str, Any]:
        if table is Machine:
            return self._tag(values)
        for constraint in _uniques(table):
            for name in {"number", "slug"} & constraint:
                return {name: self._free(table, name, values, constraint - {name})}
        return {}

    def _free(self, table: Any, name: str, values: Mapping[str, Any], owners: Iterable[str]) -> Any:
        wanted, column = values[name], getattr(table, name)
        among = [getattr(table, owner) == values[owner] for owner in owners]
        if self._session.exec(select(table.id).where(*among, column == wanted)).first() is None:
            return wanted
        self.changed = True
        if name == "number":
            return next_number(self._session, column, *among)
        return free_slug(wanted, set(self._session.exec(select(column).where(*among))))

    def _tag(self, values: Mapping[str, Any]) -> dict[str, str]:
        """The machine's own tag, or the one that was chosen for it; what is known by name alone has the next free."""
        if not values["elsewhere"]:
            wanted = self._command.tag or values["tag"]
            if self._command.tag:
                check_tag(self._session, wanted)
            elif self._taken(wanted):
                raise Invalid({"tag": f"Another machine here has the tag {wanted}. Choose another for this one."})
        else:
            candidates = (values["tag"], *(f"{values['tag'][:TAG_STEM]}-{number}" for number in range(2, 10_000)))
            wanted = next(candidate for candidate in candidates if not self._taken(candidate))
        self.changed = self.changed or wanted != values["tag"]
        return {"tag": wanted, "tag_key": tag_key(wanted)}

    def _taken(self, tag: str) -> bool:
        same = select(Machine.id).where(Machine.tag_key == tag_key(tag), Machine.uuid != self._command.machine)
        return self._session.exec(same).first() is not None


def _table_of(held: Held) -> str:
    return str(held.arriving.table.__tablename__)


def _uniques(table: type[Kept]) -> list[set[str]]:
    """The sets of columns of which no two rows have the same."""
    made = table.__table__  # type: ignore[attr-defined]
    sets = [{column.name for column in one.columns} for one in made.constraints if isinstance(one, UniqueConstraint)]
    return sets + [{column.name} for column in made.columns if column.unique]


def _given_alike(held: Held) -> bool:
    names = {"tag", "slug", "number"} & held.arriving.columns.keys()
    return all(getattr(held.row, name) == held.arriving.columns[name] for name in names)


def _check_rules(work: Work) -> None:
    """What the dossier brings breaks no rule that held before."""
    faults = {fault for rule in RULES for fault in rule(work.session)}
    if not faults:
        return
    # As it was before this act; a session of the writing engine would wait for the lock that this one holds.
    engine = work.session.get_bind().engine.execution_options(putback_writes=False)
    with Session(engine, autoflush=False) as before:
        new = sorted(faults - {fault for rule in RULES for fault in rule(before)})
    if new:
        raise Refused(f"What the dossier brings does not go together with this record: {' '.join(new[:NAMED_MOST])}")


def _note_import(work: Work, command: ImportDossier, machine: Machine, *, said_all: bool) -> None:
    work.add(
        DossierImport(
            machine_id=machine.key,
            number=next_number(work.session, DossierImport.number, DossierImport.machine_id == machine.id),
            made_on=command.made_on,
            sha256=work.files.keep(command.record),
            journal_sha256=work.files.keep(command.journal) if command.journal else "",
            journal_seq=command.journal_there.seq,
            journal_hash=command.journal_there.hash,
            said_all=said_all,
        )
    )


def _words(machine: Machine, comparison: Comparison, command: ImportDossier) -> str:
    new = len(comparison.of(Standing.NEW))
    different = comparison.of(Standing.DIFFERENT)
    taken = sum(one.arriving.uuid in command.take for one in different)
    made = f" of {command.made_on}" if command.made_on else ""
    said = [f"{new:,} new {'entry' if new == 1 else 'entries'}"]
    said += [f"{taken:,} as the dossier has them"] if taken else []
    said += [f"{len(different) - taken:,} left as they were here"] if len(different) > taken else []
    return f"Took in the dossier{made} of {machine.tag}: {', '.join(said)}."
