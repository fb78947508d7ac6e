"""The copy of each day: made once, kept by a rule, told when it is late, and never in anybody's way."""

import os
import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import delete, text
from sqlmodel import SQLModel

from server.records import daily_copies
from server.records.commands.files import AddFile
from server.records.commands.machines import EnterMachine, ReviseMachine
from server.records.copied import copy_database
from server.records.daily_copies import DailyCopies, contradictions, copies_in, kept_days, late, make_copy
from server.records.errors import Damaged, RecordError
from server.records.restoring import restore
from server.records.store import DATABASE, Store, sqlite_url
from server.records.work import unheard
from tests.records.conftest import Bench, Copies, behind

TODAY = date(2026, 3, 18)
ENTRIES = SQLModel.metadata.tables["journal"]


@pytest.fixture
def bench(copies: Copies) -> Iterator[Bench]:
    with copies("sqlite", "entered") as store:
        yield Bench(store)


@pytest.fixture
def data(bench: Bench) -> Path:
    """The data folder of the record."""
    return Path(str(bench.store.engine.url.database)).parent


def warning(bench: Bench, data: Path, now: date) -> str:
    with bench.store.reading() as session:
        return late(session, data, now)


def contradicted(bench: Bench, data: Path) -> list[str]:
    with bench.store.reading() as session:
        return list(contradictions(session, data))


# ---- Which copies stay ----

AGES = st.sets(st.integers(0, 500), max_size=120)
NOWS = st.dates(date(2000, 1, 1), date(2100, 1, 1))


def days_of(ages: set[int], now: date) -> set[date]:
    return {now - timedelta(days=age) for age in ages}


@given(AGES, NOWS)
def test_every_copy_of_the_last_seven_days_stays(ages: set[int], now: date) -> None:
    days = days_of(ages, now)
    assert days_of({age for age in ages if age < 7}, now) <= kept_days(days, now) <= days


@given(AGES, NOWS)
def test_one_stays_of_each_week_and_month_that_has_some(ages: set[int], now: date) -> None:
    """Of the five weeks before those days, and of the twelve months before this one."""
    days, month = days_of(ages, now), now.year * 12 + now.month
    kept = kept_days(days, now)
    weeks = {day.isocalendar()[:2] for day in days if 7 <= (now - day).days < 7 + 28}
    months = {(day.year, day.month) for day in days if 0 < month - (day.year * 12 + day.month) < 12}

    assert weeks <= {day.isocalendar()[:2] for day in kept}
    assert months <= {(day.year, day.month) for day in kept}


@given(NOWS)
def test_a_copy_on_each_day_comes_to_about_two_dozen(now: date) -> None:
    """Seven days, five or six weeks and thirteen months that are begun, some of which are one."""
    kept = kept_days(days_of(set(range(1000)), now), now)

    assert 7 + 5 + 10 <= len(kept) <= 7 + 6 + 13
    assert (now - min(kept)).days < 400


@given(st.sets(st.integers(0, 500), min_size=1, max_size=120), NOWS)
def test_what_went_day_by_day_is_what_would_go_at_once(ages: set[int], now: date) -> None:
    """So nothing is dropped that the rule would want later."""
    days, there = days_of(ages, now), set[date]()
    for day in sorted(days):
        there = kept_days(there | {day}, day)

    assert kept_days(there, now) == kept_days(days, now)


@given(AGES, AGES, NOWS)
def test_a_clock_that_was_wrong_costs_no_copy_of_a_day_to_come(ages: set[int], ahead: set[int], now: date) -> None:
    days = days_of(ages | {-one for one in ahead}, now)
    assert {day for day in days if day >= now} <= kept_days(days, now)


def test_the_last_copy_stays_however_old() -> None:
    assert kept_days({date(2019, 5, 6), date(2019, 5, 7)}, TODAY) == {date(2019, 5, 7)}


# ---- Making it ----


def test_a_copy_is_made_once_a_day(data: Path) -> None:
    """And is the whole database, as one file."""
    made = make_copy(data, TODAY)

    assert made == data / "backups" / "putback-2026-03-18.sqlite3"
    assert make_copy(data, TODAY) is None
    assert copies_in(data) == {TODAY: made}


def test_a_daily_copy_is_restored_with_the_files_that_it_names(bench: Bench, data: Path, tmp_path: Path) -> None:
    """They lie where they were, in the files folder beside the copies, whatever was added since."""
    add_file(bench, b"first")
    made, entries = make_copy(data, TODAY), bench.entries()
    add_file(bench, b"second")
    assert made
    restored = restore(made, tmp_path / "there", unheard)

    with closing(Store(sqlite_url(tmp_path / "there"))) as store:
        there = Bench(store)
        assert (restored.made_on, restored.files, there.entries()) == ("2026-03-18", 1, entries)
        assert there.faults() == []


def test_a_daily_copy_whose_files_are_gone_is_not_restored(bench: Bench, data: Path, tmp_path: Path) -> None:
    add_file(bench, b"first")
    made = make_copy(data, TODAY)
    assert made
    next(bench.store.files.root.glob("??/*")).unlink()

    with pytest.raises(Damaged, match="is not whole, and nothing was restored"):
        restore(made, tmp_path / "there", unheard)
    assert not (tmp_path / "there").exists()


def add_file(bench: Bench, content: bytes) -> None:
    bench.do(AddFile, on_kind="machine", on="", kind="other", file_name="dump.bin", content=content)


@pytest.mark.parametrize("spoil", [lambda file: file.write_bytes(b"no database" * 999), lambda file: file.touch()])
def test_a_spoilt_daily_copy_is_not_restored(tmp_path: Path, spoil: Callable[[Path], object]) -> None:
    spoil(tmp_path / "putback-2026-03-18.sqlite3")

    with pytest.raises(RecordError):
        restore(tmp_path / "putback-2026-03-18.sqlite3", tmp_path / "there", unheard)
    assert not (tmp_path / "there").exists()


def test_old_copies_go_and_other_files_stay(data: Path) -> None:
    """Also what a program left that was stopped half-way."""
    folder = data / "backups"
    folder.mkdir()
    for age in range(1, 60):
        (folder / f"putback-{TODAY - timedelta(days=age)}.sqlite3").touch()
    (folder / ".putback-2026-03-01.sqlite3.0f").touch()
    for name in ("my own.sqlite3", "putback-2026-99-99.sqlite3"):
        (folder / name).touch()
    had = set(copies_in(data))
    make_copy(data, TODAY)

    assert set(copies_in(data)) == kept_days(had | {TODAY}, TODAY)
    others = {one.name for one in folder.iterdir()} - {one.name for one in copies_in(data).values()}
    assert others == {"my own.sqlite3", "putback-2026-99-99.sqlite3", ".turn"}


def test_two_programs_are_never_at_it_at_once(data: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The second goes on without; the lock of one that was killed is nobody's."""
    copying, done = threading.Event(), threading.Event()

    def slowly(source: Path, place: Path) -> None:
        copying.set()
        assert done.wait(20)
        copy_database(source, place)

    monkeypatch.setattr(daily_copies, "copy_database", slowly)
    first = threading.Thread(target=make_copy, args=(data, TODAY))
    first.start()
    assert copying.wait(20)

    assert make_copy(data, TODAY) is None
    done.set()
    first.join()
    assert list(copies_in(data)) == [TODAY]


# ---- When it cannot be made ----


def fill_disk(*_: object) -> None:
    raise OSError(28, "No space left on device")


def test_a_full_disk_is_told_and_tried_again(bench: Bench, data: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No half of a copy stays, the old ones do, and the server goes on."""
    before = TODAY - timedelta(days=60), TODAY - timedelta(days=61)
    for day in before:
        make_copy(data, day)
    copies = DailyCopies(data, lambda: TODAY)
    with monkeypatch.context() as full:
        full.setattr(os, "fsync", fill_disk)
        copies.make_todays()
    with bench.store.reading() as session:
        said = copies.warning(session)

    assert said.startswith("Today's copy of the record could not be made (No space left on device). See that")
    assert set(copies_in(data)) >= set(before[:1])
    assert TODAY not in copies_in(data)
    copies.make_todays()
    with bench.store.reading() as session:
        assert copies.warning(session) == ""


def test_a_folder_that_cannot_be_is_told(bench: Bench, data: Path) -> None:
    """Here a file stands in its place."""
    (data / "backups").touch()
    copies = DailyCopies(data, lambda: TODAY)
    copies.make_todays()

    with bench.store.reading() as session:
        assert copies.warning(session).startswith("Today's copy of the record could not be made (File exists).")


def test_a_damaged_record_does_not_take_the_place_of_its_copies(data: Path) -> None:
    """The copies from before the damage are what is needed then."""
    make_copy(data, TODAY - timedelta(days=90))
    file = data / DATABASE
    file.write_bytes(file.read_bytes()[:20_000])
    copies = DailyCopies(data, lambda: TODAY)
    copies.make_todays()

    assert "malformed" in copies.failure or "damaged" in copies.failure
    assert list(copies_in(data)) == [TODAY - timedelta(days=90)]


def test_the_thread_makes_todays_at_once_and_the_next_days_later(data: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    days, made = iter([TODAY, TODAY, TODAY + timedelta(days=1)]), threading.Event()

    def now() -> date:
        day = next(days, None)
        if day is None:
            made.set()
        return day or TODAY + timedelta(days=1)

    monkeypatch.setattr(daily_copies, "LOOK_AGAIN_S", 0.01)
    copies = DailyCopies(data, now)
    copies.start()
    assert made.wait(20)
    copies.stop()

    assert sorted(copies_in(data)) == [TODAY, TODAY + timedelta(days=1)]


# ---- When it is late ----


@pytest.mark.parametrize(("age", "told"), [(0, False), (3, False), (4, True), (-2, False)])
def test_a_copy_that_is_more_than_three_days_old_is_told(bench: Bench, data: Path, age: int, told: bool) -> None:
    make_copy(data, TODAY - timedelta(days=age))

    said = warning(bench, data, TODAY)
    assert bool(said) is told
    assert not told or said.startswith("The last daily copy of this record is 4 days old, of 2026-03-14. Copies are")


@pytest.mark.parametrize(("age", "told"), [(0, False), (3, False), (4, True)])
def test_a_record_without_a_copy_is_told_once_it_is_older_than_that(
    bench: Bench, data: Path, age: int, told: bool
) -> None:
    begun = bench.last_entry().at.astimezone().date()
    said = warning(bench, data, begun + timedelta(days=age))

    assert bool(said) is told
    assert not told or said.startswith("There is no daily copy of this record.")


def test_an_empty_record_needs_no_copy_yet(copies: Copies) -> None:
    with copies("sqlite", "empty") as store:
        assert warning(Bench(store), Path("nowhere"), TODAY) == ""


# ---- The journal only grows ----


def test_a_record_goes_on_from_its_last_copy(bench: Bench, data: Path) -> None:
    make_copy(data, TODAY)
    bench.do(ReviseMachine, model="Merle 41", opened_version=1)

    assert contradicted(bench, data) == []


def test_entries_that_were_taken_out_without_a_trace_are_told_by_the_copy(bench: Bench, data: Path) -> None:
    """With the rows that they wrote: the rest is a chain that holds."""
    bench.do(EnterMachine, tag="TM-08", model="Merle 80")
    make_copy(data, TODAY)
    last = bench.entries()
    behind(bench.store, delete(ENTRIES).where(ENTRIES.c.seq == last), text("DELETE FROM machine WHERE tag = 'TM-08'"))

    assert bench.faults() == []
    (said,) = contradicted(bench, data)
    assert said.startswith(f"The daily copy of 2026-03-18 ends with another journal entry {last} than the record has")


def test_a_copy_that_cannot_be_read_is_told(bench: Bench, data: Path) -> None:
    made = make_copy(data, TODAY)
    assert made
    made.write_bytes(b"no database" * 999)

    (said,) = contradicted(bench, data)
    assert said.startswith("The daily copy of 2026-03-18: ")


def test_a_copy_is_read_where_nothing_can_be_written(data: Path) -> None:
    """It needs no log beside it."""
    made = make_copy(data, TODAY)
    assert made
    with closing(sqlite3.connect(made)) as copy:
        assert copy.execute("PRAGMA journal_mode").fetchone() == ("delete",)
