"""What was told to be stored is stored, whatever befalls the program; what was not is not half there."""

import ctypes
import os
import random
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest
from sqlalchemy import Engine, event, text

from server.records import store as stores
from server.records.commands.files import AddFile
from server.records.commands.machines import EnterMachine, ReviseMachine
from server.records.store import DATABASE, Store, sqlite_url
from server.records.tables import JournalEntry
from tests.records.conftest import Bench, Copies

ROUNDS = 3
ROOT = Path(__file__).parents[2]
DROP_FROM_BOUNDING_SET, RIGHT_TO_WRITE_ANYWHERE = 24, 1  # PR_CAPBSET_DROP and CAP_DAC_OVERRIDE of Linux


@pytest.fixture
def bench(copies: Copies) -> Iterator[Bench]:
    """Of SQLite: PostgreSQL has these tests of its own."""
    with copies("sqlite", "entered") as store:
        yield Bench(store)


def folder_of(bench: Bench) -> Path:
    return Path(str(bench.store.engine.url.database)).parent


def writer_over(store: Store, *more: object) -> "subprocess.Popen[str]":
    words = [sys.executable, "-m", "tests.records.endless_writer", store.url, store.files.root, *more]
    return subprocess.Popen(
        [str(word) for word in words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=ROOT,
        preexec_fn=bound_by_the_file_modes,
    )


def bound_by_the_file_modes() -> None:
    """Also where the tests run as root, whom nothing is read-only for otherwise."""
    if os.geteuid() == 0:
        ctypes.CDLL(None).prctl(DROP_FROM_BOUNDING_SET, RIGHT_TO_WRITE_ANYWHERE, 0, 0, 0)


def numbers_in(said: str) -> list[int]:
    return [int(line) for line in said.splitlines(keepends=True) if line.endswith("\n")]


def killed_writer(store: Store, after: float) -> list[int]:
    """Start a writer, kill it some time after its first entry, and give the numbers that it told."""
    with writer_over(store) as writer:
        assert writer.stdout is not None
        first = writer.stdout.readline()
        time.sleep(after)
        writer.kill()
        return numbers_in(first + writer.stdout.read())


# ---- Killed ----


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_a_killed_writer_loses_nothing_that_it_was_told_is_stored(copies: Copies, kind: str) -> None:
    """Every number it printed is in the journal, at most one more is, and the record and its files are whole."""
    chance = random.Random(7)  # noqa: S311 (when to kill, not a secret)
    with copies(kind, "entered") as store:
        bench = Bench(store)
        for _ in range(ROUNDS if kind == "sqlite" else 1):
            before = bench.entries()
            told = killed_writer(store, after=chance.uniform(0.0, 0.4))
            store.engine.dispose()

            assert told == list(range(before + 1, before + 1 + len(told)))
            assert bench.entries() - before - len(told) in (0, 1)
            assert bench.faults() == []


def test_a_record_is_one_file_after_the_last_one_left(bench: Bench, tmp_path: Path) -> None:
    """The write-ahead log is folded in, also one that a killed writer left behind."""
    killed_writer(bench.store, after=0.1)
    entries = bench.entries()
    bench.store.close()
    shutil.copy(folder_of(bench) / DATABASE, tmp_path)

    with closing(Store(sqlite_url(tmp_path), bench.store.files.root)) as copied:
        assert entries == Bench(copied).entries()
        assert Bench(copied).faults() == []


# ---- Power cut ----


def test_every_write_waits_for_the_disk(bench: Bench) -> None:
    """The log is synced at each commit, not only now and then: `synchronous` is FULL (2) wherever is written."""
    with bench.store.engine.begin() as connection:
        assert connection.execute(text("PRAGMA synchronous")).scalar_one() == 2
        assert connection.execute(text("PRAGMA journal_mode")).scalar_one() == "wal"


@pytest.mark.parametrize("noise", [b"", b"\0", b"\xa5"], ids=["cut off", "noughts", "noise"])
def test_a_power_cut_loses_nothing_that_was_synced(bench: Bench, tmp_path: Path, noise: bytes) -> None:
    """Whatever of the log behind the last sync came to the disk, or came there as something else."""
    chance = random.Random(11)  # noqa: S311 (where to cut, not a secret)
    database = folder_of(bench) / DATABASE
    log = database.with_name(f"{DATABASE}-wal")
    at_commit = [(bench.entries(), 0)]
    for number in range(12):
        bench.do(EnterMachine, tag=f"TM-{number + 20}", model="Merle", provenance="p" * chance.randrange(9_000))
        at_commit.append((bench.entries(), log.stat().st_size))
    content = log.read_bytes()
    assert content

    for number, ((entries, synced), (_, following)) in enumerate(pairwise(at_commit)):
        place = tmp_path / str(number)
        place.mkdir()
        cut = chance.randrange(synced, following)
        shutil.copy(database, place)
        (place / log.name).write_bytes(content[:cut] + noise * (following - cut))
        with closing(Store(sqlite_url(place), bench.store.files.root)) as survived:
            assert Bench(survived).entries() == entries
            assert Bench(survived).faults() == []


# ---- Nowhere to write ----


def test_a_full_database_is_told_and_leaves_the_record_as_it_was(bench: Bench) -> None:
    """And it goes on once there is room."""
    room = {"PRAGMA max_page_count = 1"}

    def bound(engine: Engine) -> None:
        event.listen(engine, "checkout", lambda connection, *_: [connection.execute(one) for one in room])

    bound(bench.store.engine)
    said = bench.refuse(EnterMachine, tag="TM-08", model="Merle", provenance="p" * 9_000)
    assert "database or disk is full" in said[""]
    assert bench.faults() == []

    room.clear()
    room.add("PRAGMA max_page_count = 1000000")
    bench.do(EnterMachine, tag="TM-08", model="Merle", provenance="p" * 9_000)
    assert bench.faults() == []


@pytest.mark.parametrize("octets", [8_000, 400_000, 600_000], ids=["for a file", "for the log", "for the log, later"])
def test_a_full_disk_stops_the_writer_and_loses_nothing(bench: Bench, octets: int) -> None:
    """The system refuses to let a file grow: the writer is told in a sentence, and all before that is stored."""
    before = bench.entries()
    with writer_over(bench.store, octets) as writer:
        said, complaint = writer.communicate(timeout=120)
    told = numbers_in(said)

    assert writer.returncode == 1
    assert complaint.strip().splitlines()[-1].startswith(("The record could not be written", "The file could not be"))
    assert "Traceback" not in complaint
    assert told == list(range(before + 1, before + 1 + len(told)))
    assert bench.entries() - before == len(told)
    assert bench.faults() == []
    bench.do(EnterMachine, tag="TM-08", model="Merle")


def test_a_folder_that_cannot_be_written_is_told(bench: Bench) -> None:
    """Nothing is changed, and it can be written again when the folder can."""
    folder, before = folder_of(bench), bench.entries()
    bench.store.close()
    modes = {one: one.stat().st_mode for one in (*folder.rglob("*"), folder)}
    try:
        for one, mode in modes.items():
            one.chmod(mode & ~0o222)
        with writer_over(bench.store) as writer:
            said, complaint = writer.communicate(timeout=120)
    finally:
        for one, mode in modes.items():
            one.chmod(mode)

    assert (writer.returncode, said) == (1, "")
    assert complaint.startswith("The record could not be written (")
    assert (bench.entries(), bench.faults()) == (before, [])
    bench.do(EnterMachine, tag="TM-08", model="Merle")


def test_files_that_cannot_be_kept_leave_no_row(bench: Bench) -> None:
    """A file stands where their folder should."""
    bench.store.files.root.touch()
    said = bench.refuse(AddFile, on_kind="machine", on="", kind="other", file_name="dump.bin", content=b"dump")

    assert said[""].startswith("The file could not be kept (")
    assert bench.faults() == []


# ---- A clock that is wrong ----


def test_a_clock_that_goes_back_breaks_no_chain(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """Entries follow each other by their numbers and hashes; the moment is what the clock said."""
    moments = [datetime(2030, 1, 1, tzinfo=UTC) - timedelta(days=400 * number) for number in range(4)]
    for version, moment in enumerate(moments, start=1):
        monkeypatch.setattr(stores, "now", lambda moment=moment: moment)
        bench.do(ReviseMachine, model=f"Merle {version}", opened_version=version)

    with bench.store.reading() as session:
        last = [session.get_one(JournalEntry, bench.entries() - number).at for number in range(4)]
    assert last == moments[::-1]
    assert bench.faults() == []


# ---- Two servers ----


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_two_writers_lose_none_of_each_others_entries(copies: Copies, kind: str) -> None:
    """Both were told of theirs, no number was given twice, and the chain has one end; then both are killed."""
    with copies(kind, "entered") as store:
        bench = Bench(store)
        before = bench.entries()
        with writer_over(store) as first, writer_over(store) as second:
            assert first.stdout is not None
            assert second.stdout is not None
            said = [first.stdout.readline(), second.stdout.readline()]  # from here on both write
            time.sleep(0.5)
            first.kill()
            second.kill()
            told = [numbers_in(said[0] + first.stdout.read()), numbers_in(said[1] + second.stdout.read())]
        store.engine.dispose()

        together = told[0] + told[1]
        assert min(len(one) for one in told) > 0
        assert len(set(together)) == len(together)
        assert set(together) <= set(range(before + 1, bench.entries() + 1))
        assert bench.entries() - before - len(together) in (0, 1, 2)
        assert bench.faults() == []
