"""One command, one transaction, one journal entry; or nothing at all."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sqlalchemy import event, text
from sqlmodel import Session

from server.records import migrate, store, work
from server.records.commands.base import Command
from server.records.commands.machines import EnterMachine, ReviseBoard, ReviseMachine
from server.records.commands.steps import DropStep, MoveStep
from server.records.errors import Refused
from server.records.store import Store, open_engine, sqlite_url
from server.records.tables import Machine, Part, Step
from server.records.tables.base import Kept
from server.records.work import Entry, Work
from tests.records.conftest import KEEPER, TAG, Bench

Act = Callable[[Work], Entry]


class Rehearse(Command):
    """A command of these tests' own; what it does is set by each test."""


@pytest.fixture
def rehearse() -> Iterator[list[Act]]:
    acts: list[Act] = []
    work.HANDLERS[Rehearse] = lambda at_work, _: acts[-1](at_work)
    yield acts
    del work.HANDLERS[Rehearse]


def whole(kept: Store) -> dict[str, list[tuple[object, ...]]]:
    """Every row of every table."""
    with kept.reading() as session:
        return {
            table.name: [tuple(row) for row in session.execute(table.select())] for table in Kept.metadata.sorted_tables
        }


def test_a_command_writes_one_entry_signed_and_dated(store: Store) -> None:
    """The entry says who, which record, which machine and what; the row says who and when as well."""
    bench = Bench(store)
    done = bench.do(EnterMachine, tag=TAG, model="Merle 40")

    entry, machine = bench.last_entry(), bench.row(Machine, done.key)
    assert done.seq == 1 == bench.entries()
    assert (entry.who, entry.act, entry.words) == (KEEPER, "enter machine", f"Entered machine {TAG}: Merle 40.")
    assert entry.subject == entry.machine == machine.uuid == done.subject
    assert (machine.created_by, machine.created_at) == (entry.who, entry.at)


def test_a_handler_that_fails_leaves_nothing(bench: Bench, rehearse: list[Act]) -> None:
    """Neither rows nor an entry, though the rows were flushed already."""

    def fail(at_work: Work) -> Entry:
        at_work.add(Part(kind="other", origin="new"))
        at_work.session.get_one(Machine, 1).model = "Another"
        at_work.session.flush()
        raise ZeroDivisionError

    before = whole(bench.store)
    rehearse.append(fail)
    with pytest.raises(ZeroDivisionError):
        bench.do(Rehearse)

    assert before == whole(bench.store)


def test_a_rule_of_the_database_is_told_in_words(bench: Bench, rehearse: list[Act]) -> None:
    """What two writers ran into at once is a refusal, and leaves nothing."""

    def collide(at_work: Work) -> Entry:
        machine = at_work.add(Machine(tag="X", tag_key=TAG.lower(), model="The same tag"))
        return Entry("enter machine", machine, "")

    before = whole(bench.store)
    rehearse.append(collide)
    with pytest.raises(Refused, match="saved at the same moment"):
        bench.do(Rehearse)

    assert before == whole(bench.store)


def test_a_row_that_moved_on_is_not_written_over(bench: Bench, rehearse: list[Act]) -> None:
    """If ever the lock did not hold, the version in the row would: the write is refused and nothing is lost."""

    def meet_another(at_work: Work) -> Entry:
        machine = at_work.session.get_one(Machine, 1)
        at_work.session.execute(text("UPDATE machine SET version = version + 1"))
        machine.model = "Merle 41"
        return Entry("rehearse", machine, "Rehearsed.")

    before = whole(bench.store)
    rehearse.append(meet_another)
    with pytest.raises(Refused, match="saved at the same moment"):
        bench.do(Rehearse)

    assert before == whole(bench.store)


def test_a_command_that_changes_nothing_writes_no_entry(bench: Bench) -> None:
    """Saving a form as it stands is no event."""
    before = whole(bench.store)
    machine = {"maker": "Tarn & Fell", "model": "Merle 40", "made": "1982~", "hazards": ["mains inside"]}

    done = bench.do(ReviseMachine, opened_version=1, **machine)
    same = bench.do(ReviseBoard, board="supply", name="Supply", kind="supply", opened_version=1)

    assert (done.seq, same.seq, done.words) == (None, None, "Nothing was changed.")
    assert before == whole(bench.store)


def test_a_step_moved_to_where_it_is_writes_no_entry(bench: Bench) -> None:
    """Numbers that come back to what they were are no change, whatever happened on the way."""
    bench.plan()
    for sentence in ("first", "second"):
        bench.step("other", instruction=sentence)
    before = whole(bench.store)

    assert bench.do(MoveStep, mod=1, step=1, to=1).seq is None
    assert before == whole(bench.store)


def test_an_entry_holds_every_row_over_several_flushes(bench: Bench, rehearse: list[Act]) -> None:
    """Added, changed after it was added, changed twice, changed and changed back, removed, added and removed."""

    def act(at_work: Work) -> Entry:
        session = at_work.session
        part = at_work.add(Part(kind="other", origin="new", note="first"))
        part.note = "second"
        machine = session.get_one(Machine, 1)
        for model in ("Merle 41", "Merle 42"):
            machine.model = model
            session.flush()
        chip = session.get_one(Part, 3)
        for kind in ("7404", "7414"):
            chip.type = kind
            session.flush()
        passing = at_work.add(Part(kind="other", origin="new"))
        session.delete(session.get_one(Step, 1))
        session.delete(passing)
        return Entry("rehearse", machine, "Rehearsed.", machine)

    bench.plan()
    step = bench.step("other", instruction="Look at it.")
    rehearse.append(act)
    bench.do(Rehearse)

    told = {(row["table"], kind): row[kind] for row in bench.last_entry().change for kind in row.keys() & KINDS}
    assert told.keys() == {("part", "after"), ("machine", "set"), ("step", "before")}
    assert told["part", "after"]["note"] == "second"
    assert told["machine", "set"] == {"model": ["Merle 40", "Merle 42"]}
    assert told["step", "before"]["instruction"] == "Look at it."
    assert str(step.subject) in {row["uuid"] for row in bench.last_entry().change}


KINDS = {"after", "set", "before"}


def test_steps_behind_a_dropped_one_are_renumbered_in_the_same_entry(bench: Bench) -> None:
    """And those before it are left alone: a form open on them is not stale for it."""
    bench.plan()
    for sentence in ("first", "second", "third"):
        bench.step("other", instruction=sentence)

    bench.do(DropStep, mod=1, step=2)

    steps = bench.rows(Step)
    assert [(step.number, step.instruction) for step in steps] == [(1, "first"), (2, "third")]
    assert steps[0].version == 1
    assert [sorted(row.keys() & KINDS) for row in bench.last_entry().change] == [["before"], ["set"]]
    assert bench.faults() == []


def test_reading_sees_one_state_and_writes_nothing(bench: Bench) -> None:
    """A page that takes a while to read is not surprised by what was saved meanwhile."""
    with bench.store.reading() as session:
        before = session.get_one(Machine, 1).model
        bench.do(ReviseMachine, model="Merle 41", opened_version=1)
        session.expire_all()
        during = session.get_one(Machine, 1)
        during.model = "written by a reader"

    assert (before, bench.row(Machine, 1).model) == ("Merle 40", "Merle 41")


def test_a_database_that_fails_is_told_in_words(bench: Bench) -> None:
    """A full disk or a lost connection is no page of code."""

    def fail(_: object, cursor: object, statement: str, *__: object) -> None:
        if statement.startswith("INSERT INTO journal"):
            raise cursor.connection.OperationalError("disk is full")  # type: ignore[attr-defined]

    before = whole(bench.store)
    with pytest.raises(Refused, match=r"could not be written \(disk is full\)"):
        _while_listening(bench.store, fail, lambda: bench.do(ReviseMachine, model="Merle 41", opened_version=1))

    assert before == whole(bench.store)


def _while_listening(kept: Store, heard: Callable[..., None], act: Callable[[], object]) -> None:
    event.listen(kept.engine, "before_cursor_execute", heard)
    try:
        act()
    finally:
        event.remove(kept.engine, "before_cursor_execute", heard)


def test_whoever_waits_too_long_for_the_record_is_told(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """Somebody else's write that never ends does not hang this one."""
    monkeypatch.setattr(store, "WRITE_LOCK_WAIT_S", 0.2)
    impatient = Bench(Store(bench.store.url, bench.store.files.root))
    writing = bench.store.engine.execution_options(putback_writes=True)

    with Session(writing) as session:
        store.take_turn(session.connection())
        session.execute(text("SELECT 1"))
        messages = impatient.refuse(ReviseMachine, model="Merle 41", opened_version=1)
    impatient.store.close()

    assert messages[""].startswith("Someone else is still writing to the record.")


@pytest.mark.parametrize("name", ["plain", "with space", "what?a=b", "50%20off", "a#b", "mül:ler@home", "日本"])
def test_a_data_folder_may_have_any_name(tmp_path: Path, name: str) -> None:
    """The record is in that folder, and not where a mark in its name seemed to point."""
    folder = tmp_path / name
    folder.mkdir()
    kept = Store(sqlite_url(folder))
    migrate.upgrade(kept.engine)
    kept.close()

    assert [file.name for file in folder.iterdir()] == ["putback.sqlite3"]


def test_sqlite_keeps_a_write_ahead_log_and_holds_foreign_keys(tmp_path: Path) -> None:
    """Readers and a writer do not wait for each other; a commit is on the disk before it is told."""
    kept = Store(sqlite_url(tmp_path))
    migrate.upgrade(kept.engine)

    with kept.reading() as session:
        found = [session.execute(text(f"PRAGMA {name}")).scalar_one() for name in PRAGMAS]
    kept.close()
    assert found == list(PRAGMAS.values())


PRAGMAS = {"journal_mode": "wal", "foreign_keys": 1, "synchronous": 2, "trusted_schema": 0}


def test_another_kind_of_database_is_refused() -> None:
    """Only SQLite and PostgreSQL are known."""
    with pytest.raises(ValueError, match="PostgreSQL"):
        open_engine("mysql://localhost/records")
