"""The journal: a chain of hashes that anyone can recompute, that only grows, and that tells what was tampered with."""

import hashlib
import json
from datetime import UTC, date, datetime
from typing import Any
from uuid import UUID

import pytest
from sqlalchemy import Executable, Table, delete, insert, text, update
from sqlalchemy.exc import DBAPIError
from sqlmodel import SQLModel, col, select

from server.records import journal
from server.records.commands.machines import ReviseMachine
from server.records.commands.mods import Expect
from server.records.commands.trials import WriteProcedure
from server.records.questions.journal import Told, runs
from server.records.store import Store
from server.records.tables import JournalEntry
from tests.records.conftest import KEEPER, Bench, behind

TABLES = SQLModel.metadata.tables
ENTRIES, MACHINES, PARTS = TABLES["journal"], TABLES["machine"], TABLES["part"]


def entries(store: Store) -> list[JournalEntry]:
    with store.reading() as session:
        return list(session.exec(select(JournalEntry).order_by(col(JournalEntry.seq))))


def entry_at(seq: int, /, **changed: Any) -> Executable:
    return update(ENTRIES).where(ENTRIES.c.seq == seq).values(changed)


# ---- The chain ----


def hash_by_hand(entry: JournalEntry, previous: str) -> str:
    """SHA-256 over the canonical JSON, made without the library that the house uses.

    RFC 8785 leaves no spaces, escapes as little as JSON allows and sorts keys. For keys in ASCII and whole numbers,
    which is all that these entries hold, `json.dumps` does the same with these settings.
    """
    content = {
        "act": entry.act,
        "at": entry.at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%f+00:00"),
        "change": entry.change,
        "machine": str(entry.machine) if entry.machine else None,
        "previous": previous,
        "seq": entry.seq,
        "subject": str(entry.subject),
        "who": entry.who,
        "words": entry.words,
    }
    canonical = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(canonical.encode()).hexdigest()


def test_the_chain_can_be_recomputed_by_anyone(bench: Bench) -> None:
    """From the first entry on, each hash covers what the entry says and the hash before it."""
    awkward = 'Quotes " and \\, a tab\t, a line\nand 🙂'
    bench.do(ReviseMachine, model="Merle “Ω”", provenance=awkward, opened_version=1)
    previous = "0" * 64
    for number, entry in enumerate(entries(bench.store), start=1):
        assert (number, previous) == (entry.seq, entry.previous)
        previous = hash_by_hand(entry, previous)
        assert previous == entry.hash


def test_fractions_are_hashed_as_they_are_read_back(bench: Bench) -> None:
    """RFC 8785 writes 1.0 as 1 and 1e-7 as such, whatever the database made of it."""
    for bound in ("1.0", "1e-7", "123456789012345678", "-0.0", "0.1"):
        bench.do(WriteProcedure, title="Level", better="nearest", target=bound)

    assert bench.faults() == []


# ---- The database only lets it grow ----


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE journal SET words = 'nothing' WHERE seq = 2",
        "UPDATE journal SET seq = seq + 100",
        "DELETE FROM journal WHERE seq = 2",
        "DELETE FROM journal",
        {"sqlite": "INSERT OR REPLACE INTO journal SELECT * FROM journal", "postgresql": "TRUNCATE journal"},
    ],
)
def test_the_database_refuses_to_change_the_journal(bench: Bench, statement: str | dict[str, str]) -> None:
    """Even for whoever can write to it, and by the ways that each has around a trigger."""
    asked = statement if isinstance(statement, str) else statement[bench.store.engine.dialect.name]
    with pytest.raises(DBAPIError, match="the journal only grows"), bench.store.engine.begin() as connection:
        connection.execute(text(asked))

    assert bench.faults() == []


# ---- Whoever gets around that is found: entries ----


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("words", "Something else."),
        ("who", "Somebody else"),
        ("act", "another act"),
        ("at", datetime(2001, 1, 1, tzinfo=UTC)),
        ("subject", UUID(int=0)),
        ("machine", None),
        ("change", []),
        ("change", {"of": "no known shape"}),
        ("change", [17, {"table": "machine"}, {"table": 1, "uuid": 2, "after": 3}]),
        ("change", [{"table": "machine", "uuid": "x", "after": {"number": 2**60}}]),
        ("hash", "f" * 64),
        ("previous", "f" * 64),
    ],
)
def test_an_entry_that_was_changed_is_named(bench: Bench, column: str, value: object) -> None:
    """Whatever part of it, and however odd it is now."""
    behind(bench.store, entry_at(3, **{column: value}))

    assert "Journal entry 3 was changed after it was written." in bench.faults()


def test_one_that_was_changed_and_hashed_anew_breaks_the_chain_behind_it(bench: Bench) -> None:
    """To hide it, every later entry would have to be forged as well."""
    forged = entries(bench.store)[2]
    forged.words = "Something else."
    behind(bench.store, entry_at(3, words=forged.words, hash=journal.digest(forged)))

    assert bench.faults() == ["Journal entry 4 does not follow from the entry before it."]


@pytest.mark.parametrize(
    ("seqs", "sentence"),
    [([1], "Journal entry 1 is missing."), ([3, 4], "Journal entries 3 to 4 are missing.")],
)
def test_entries_that_were_removed_are_named(bench: Bench, seqs: list[int], sentence: str) -> None:
    """By the gap that they leave."""
    behind(bench.store, delete(ENTRIES).where(ENTRIES.c.seq.in_(seqs)))

    assert sentence in bench.faults()


def test_the_last_entry_is_missed_by_what_it_did(bench: Bench) -> None:
    """No gap tells of it, but the rows stand there without an entry."""
    behind(bench.store, delete(ENTRIES).where(ENTRIES.c.seq == bench.entries()))

    assert bench.faults() == ["position 4 stands in the record without a journal entry."]


def test_entries_that_changed_places_are_named(bench: Bench) -> None:
    """Each holds its own number in its hash."""
    behind(bench.store, entry_at(3, seq=99), entry_at(4, seq=3), entry_at(99, seq=4))

    changed = [f"Journal entry {seq} was changed after it was written." for seq in (3, 4)]
    assert {*changed, "Journal entry 3 does not follow from the entry before it."} <= set(bench.faults())


def appended(bench: Bench, **changed: Any) -> JournalEntry:
    last = bench.last_entry()
    entry = JournalEntry(**last.model_dump() | {"seq": last.seq + 1, "previous": last.hash} | changed)
    entry.hash = journal.digest(entry)
    return entry


def test_an_entry_appended_from_outside_is_named_by_its_hash(bench: Bench) -> None:
    """Whoever cannot make the hash is found at once."""
    values = appended(bench).model_dump() | {"hash": "e" * 64}
    behind(bench.store, insert(ENTRIES).values(values))

    assert bench.faults() == [f"Journal entry {bench.entries()} was changed after it was written."]


def test_a_well_made_entry_from_outside_is_named_by_what_never_happened(bench: Bench) -> None:
    """It tells of a row that is not there, and of a change that the row does not show."""
    machine = str(bench.rows_of(MACHINES)[0].uuid)
    change = [
        {"table": "part", "uuid": str(UUID(int=5)), "after": {"id": 5, "kind": "chip"}},
        {"table": "machine", "uuid": machine, "set": {"model": ["Merle 40", "Merle 99"]}},
    ]
    behind(bench.store, insert(ENTRIES).values(appended(bench, change=change).model_dump()))

    assert bench.faults() == [
        "machine 1 differs from what the journal says of it: model.",
        f"part {UUID(int=5)} is in the journal and missing from the record.",
    ]


# ---- Whoever gets around that is found: rows ----


@pytest.mark.parametrize(
    ("table", "column", "value"),
    [
        ("machine", "model", "Merle 99"),
        ("machine", "hazards", []),
        ("machine", "created_by", "Somebody else"),
        ("machine", "created_at", datetime(2001, 1, 1, tzinfo=UTC)),
        ("board", "parent_id", 2),
        ("part", "gone_on", date(2001, 1, 1)),
        ("expectation", "bound", None),
    ],
)
def test_a_row_changed_behind_the_journals_back_is_named(bench: Bench, table: str, column: str, value: object) -> None:
    """With the column; a nought is not the same as nothing."""
    bench.plan()
    bench.do(WriteProcedure, title="Timing")
    bench.do(Expect, mod=1, sentence="It stays above nothing", procedure="timing", sense="rises above", bound="0")
    changed = TABLES[table]
    behind(bench.store, update(changed).where(changed.c.id == 1).values({column: value}))

    assert bench.faults() == [f"{table} 1 differs from what the journal says of it: {column}."]


def test_a_row_removed_behind_the_journals_back_is_named(bench: Bench) -> None:
    """And what pointed to it, where the database can tell."""
    uuid = bench.rows_of(PARTS)[0].uuid
    behind(bench.store, delete(PARTS).where(PARTS.c.id == 1))

    assert f"part {uuid} is in the journal and missing from the record." in bench.faults()


def test_a_row_slipped_in_behind_the_journals_back_is_named(bench: Bench) -> None:
    """Though it looks as all others do."""
    row = dict(bench.rows_of(PARTS)[0]._mapping) | {"id": 99, "uuid": UUID(int=9)}
    behind(bench.store, insert(PARTS).values(row))

    assert bench.faults() == [
        "part 99 stands in the record without a journal entry.",
        "Part 99 is in no place that is recorded.",
    ]


@pytest.mark.parametrize("bench", ["sqlite"], indirect=True)
@pytest.mark.parametrize(
    ("statement", "sentence"),
    [
        ("UPDATE journal SET change = 'no JSON' WHERE seq = 3", "Journal entry 3 cannot be read: it was changed"),
        ("UPDATE journal SET at = 'some time' WHERE seq = 3", "Journal entry 3 cannot be read: it was changed"),
        ("UPDATE machine SET hazards = 'no JSON'", "machine 1 cannot be read: it was changed"),
        ("UPDATE placement SET fitted_on = 'some day' WHERE id = 2", "placement 2 cannot be read: it was changed"),
        ("UPDATE part SET uuid = 'none' WHERE id = 3", "part 3 cannot be read: it was changed"),
    ],
)
def test_what_cannot_be_read_is_named_and_the_rest_is_checked(bench: Bench, statement: str, sentence: str) -> None:
    """SQLite stores any text in any column; the check goes on behind it."""
    part = update(PARTS).where(PARTS.c.id == 1).values(value="1 Ω")
    behind(bench.store, text(statement), part)

    found = bench.faults()
    assert [said for said in found if said.startswith(sentence)]
    assert "part 1 differs from what the journal says of it: value." in found


def test_many_missing_rows_are_counted(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """A list of thousands would tell no more than its length."""
    monkeypatch.setattr("server.records.checks.NAMED_MOST", 2)
    behind(bench.store, *(delete(table) for table in TABLES.values() if isinstance(table, Table) and "id" in table.c))

    found = bench.faults()
    assert len([said for said in found if "missing from the record" in said]) == 2
    assert [said for said in found if said.startswith("And ") and said.endswith(" more rows are missing.")]


def test_long_rows_of_one_act_are_folded() -> None:
    """Of a few each is told; another person's are not among them."""

    def entry(seq: int, act: str, who: str = KEEPER) -> Told:
        return Told(seq, datetime(2025, 1, 1, tzinfo=UTC), who, act, "words", "hash")

    pins = [entry(seq, "place pin") for seq in range(20, 10, -1)]
    told = [entry(21, "plan mod"), *pins, entry(10, "place pin", "Another"), *(entry(n, "add step") for n in (9, 8, 7))]

    found = [(run.first.seq, [one.seq for one in run.more]) for run in runs(told)]

    assert found == [(21, []), (20, list(range(19, 10, -1))), (10, []), (9, []), (8, []), (7, [])]
    assert runs([]) == []
