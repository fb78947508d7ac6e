"""What was told to be stored is stored, whenever the program is killed; what was not is not half there."""

import random
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from server.records.store import Store, sqlite_url
from tests.records.conftest import Bench, Copies

ROUNDS = 4
ROOT = Path(__file__).parents[2]


def killed_writer(url: str, after: float) -> list[int]:
    """Start a writer, kill it some time after its first entry, and give the numbers that it told."""
    words = [sys.executable, "-m", "tests.records.endless_writer", url]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True, cwd=ROOT) as writer:
        assert writer.stdout is not None
        told = [writer.stdout.readline()]
        time.sleep(after)
        writer.kill()
        told += writer.stdout.readlines()
    return [int(line) for line in told if line.endswith("\n")]


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_a_killed_writer_loses_nothing_that_it_was_told_is_stored(copies: Copies, kind: str) -> None:
    """Every number it printed is in the journal, at most one more is, and the record is whole."""
    chance = random.Random(7)  # noqa: S311 (when to kill, not a secret)
    with copies(kind, "entered") as store:
        bench = Bench(store)
        for _ in range(ROUNDS if kind == "sqlite" else 1):
            before = bench.entries()
            told = killed_writer(store.url, after=chance.uniform(0.0, 0.4))
            store.engine.dispose()

            assert told == list(range(before + 1, before + 1 + len(told)))
            assert bench.entries() - before - len(told) in (0, 1)
            assert bench.faults() == []


def test_a_record_is_one_file_after_the_last_one_left(copies: Copies, tmp_path: Path) -> None:
    """The write-ahead log is folded in, also one that a killed writer left behind."""
    with copies("sqlite", "entered") as store:
        killed_writer(store.url, after=0.1)
        entries = Bench(store).entries()
        store.close()
        file = Path(str(store.engine.url.database))
        (tmp_path / file.name).write_bytes(file.read_bytes())

    with closing(Store(sqlite_url(tmp_path))) as copied:
        assert entries == Bench(copied).entries()
        assert Bench(copied).faults() == []
