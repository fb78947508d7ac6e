"""A copy of the SQLite file for each day on which the record is served, in the data folder's `backups/`.

The database alone: the files that it names lie under their digests in the files folder, and none is ever overwritten.
Which copies stay is a rule of days alone (`kept_days`). A copy that cannot be made is told and tried again; it never
stops whoever serves the record.
"""

import re
import sqlite3
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing, contextmanager, suppress
from datetime import date, timedelta
from itertools import groupby
from pathlib import Path
from threading import Event, Thread

import structlog
from sqlmodel import Session, func, select

from server.records import clock
from server.records.copied import copy_database, told_by
from server.records.errors import Damaged
from server.records.files import sync_folder, written_beside
from server.records.store import DATABASE
from server.records.tables import JournalEntry

log = structlog.get_logger("putback.copies")
COPIES = "backups"
NAME = re.compile(r"putback-(\d{4}-\d\d-\d\d)\.sqlite3", re.ASCII)
TURN = ".turn"
DAYS, WEEKS, MONTHS = 7, 5, 12
LATE_AFTER_DAYS = 3
LOOK_AGAIN_S = 600.0
LEAVE_WAIT_S = 10.0
WHAT_TO_DO = (
    "See that the folder `backups` in the data folder can be written and that the disk has room, "
    "or make a copy elsewhere with `putback backup`."
)


def kept_days(days: Iterable[date], now: date) -> set[date]:
    """Of the days that have a copy, those that keep it: of 7 days all, then of 5 weeks and of 12 months the first each.

    Weeks and months are the calendar's, so that the first of one stays the first as days go by. A day that is yet to
    come (a clock was wrong) keeps its copy, and so does the last day there is.
    """
    had = sorted(set(days))
    weekly = _firsts(had, lambda day: day.isocalendar()[:2])
    monthly = _firsts(had, lambda day: (day.year, day.month))
    since = {"day": now - timedelta(days=DAYS), "week": now - timedelta(days=DAYS + 7 * WEEKS)}
    months = now.year * 12 + now.month - MONTHS
    return {
        day
        for day in had
        if day > since["day"]
        or (day in weekly and day > since["week"])
        or (day in monthly and day.year * 12 + day.month >= months)
    } | set(had[-1:])


def _firsts(had: list[date], period: Callable[[date], tuple[int, ...]]) -> set[date]:
    return {next(of_one) for _, of_one in groupby(had, period)}


def copies_in(data: Path) -> dict[date, Path]:
    """The daily copies of a data folder by their days."""
    found = {}
    with suppress(OSError):
        for place in (data / COPIES).iterdir():
            with suppress(ValueError):
                if match := NAME.fullmatch(place.name):
                    found[date.fromisoformat(match[1])] = place
    return found


def make_copy(data: Path, day: date) -> Path | None:
    """This day's copy where there is none yet, and nothing where another program is at it; then the old ones go.

    Raises Damaged, OSError and sqlite3.Error; the copies that there are stay.
    """
    folder = data / COPIES
    place = folder / f"putback-{day}.sqlite3"
    folder.mkdir(exist_ok=True)
    with _turn(folder) as mine:
        if not mine or place.exists():
            return None
        for left in folder.glob(".putback-*"):  # by a program that was stopped half-way
            left.unlink()
        with written_beside(place) as beside:
            copy_database(data / DATABASE, beside)
        sync_folder(folder)
        there = copies_in(data)
        for old in there.keys() - kept_days(there, day):
            there[old].unlink()
    return place


def contradictions(session: Session, data: Path) -> Iterator[str]:
    """The journal only grows, so it holds where the last daily copy's ended."""
    there = copies_in(data)
    if not there:
        return
    last = max(there)
    try:
        told = told_by(there[last])
    except Damaged as damage:
        yield f"The daily copy of {last}: {damage}"
        return
    here = session.exec(select(JournalEntry.hash).where(JournalEntry.seq == told.seq)).first()
    if told.seq and here != told.hash:
        yield (
            f"The daily copy of {last} ends with another journal entry {told.seq} than the record has: "
            "since then entries were taken out or written anew, or an older copy was put in its place."
        )


def late(session: Session, data: Path, now: date) -> str:
    """A sentence where the last daily copy is too old; empty where it is not."""
    if there := copies_in(data):
        age = (now - max(there)).days
        if age <= LATE_AFTER_DAYS:
            return ""
        return (
            f"The last daily copy of this record is {age:,} days old, of {max(there)}. "
            f"Copies are made while the record is served. {WHAT_TO_DO}"
        )
    begun = session.exec(select(func.min(JournalEntry.at))).one()
    if begun is None or (now - begun.astimezone().date()).days <= LATE_AFTER_DAYS:
        return ""
    return f"There is no daily copy of this record. Copies are made while the record is served. {WHAT_TO_DO}"


class DailyCopies:
    """Makes the copies of one data folder, in a thread of its own."""

    def __init__(self, data: Path, now: Callable[[], date] = clock.today) -> None:
        self._data = data
        self._now = now
        self._leave = Event()
        self._thread: Thread | None = None
        self.failure = ""

    def start(self) -> None:
        self._thread = Thread(target=self._go_on, name="daily copies", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        self._leave.set()
        if self._thread:
            self._thread.join(LEAVE_WAIT_S)

    def make_todays(self) -> None:
        """Whatever comes of it is told, and never raised."""
        try:
            made = make_copy(self._data, self._now())
        except Exception as fault:  # a thread of its own has nobody else to tell
            said = fault.strerror if isinstance(fault, OSError) else str(fault)
            log.warning("no daily copy", fault=said)
            self.failure = f"Today's copy of the record could not be made ({str(said).rstrip('.')}). {WHAT_TO_DO}"
        else:
            self.failure = ""
            if made:
                log.info("daily copy", place=str(made))

    def warning(self, session: Session) -> str:
        """What a keeper should know of the copies; empty where all is well."""
        return self.failure or late(session, self._data, self._now())

    def _go_on(self) -> None:
        self.make_todays()
        while not self._leave.wait(LOOK_AGAIN_S):
            self.make_todays()


@contextmanager
def _turn(folder: Path) -> Iterator[bool]:
    """Whether nobody else is at the copies; the system lets go of a lock whose program was killed."""
    with closing(sqlite3.connect(folder / TURN, timeout=0, isolation_level=None)) as lock:
        try:
            lock.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError as fault:
            if "locked" not in str(fault):
                raise
            yield False
        else:
            yield True
