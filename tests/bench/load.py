"""A club at work: 50 people reading and 5 writing at once for a minute, on SQLite and on PostgreSQL.

Each looks at a page, thinks for about a second, and goes on. Every write that was acknowledged has to be in the journal
afterwards, and the record whole. The figures of one person alone, of the same run, stand beside those of the club.
"""

import asyncio
import os
import random
import re
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from time import perf_counter

import httpx2
from sqlmodel import select

from server.app import configure_logs
from server.records import checks, migrate
from server.records.store import FILES, Store, sqlite_url
from server.records.tables import JournalEntry
from server.settings import Settings
from tests.bench import machine_page
from tests.databases import Databases, postgres_programs, running_postgres

READERS, WRITERS, ALONE = 50, 5, 100
SECONDS = float(os.environ.get("PUTBACK_LOAD_SECONDS", "60"))
THINKS_S = 1.0
TAG = "BIG-1"
PAGES = ("/", f"/machines/{TAG}", f"/machines/{TAG}/parts", f"/machines/{TAG}/history", "/kept-aside", "/journal")


@dataclass(slots=True)
class Seen:
    """What the people met: how long each answer took, and the numbers of the entries that they were told of."""

    reads: list[float] = field(default_factory=list)
    writes: list[float] = field(default_factory=list)
    written: list[int] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)


def main() -> None:
    configure_logs(Settings(log_level="error"))
    with tempfile.TemporaryDirectory() as folder:
        _measure("SQLite", sqlite_url(Path(folder)), Path(folder))
    if postgres_programs() is None:
        print("PostgreSQL: its programs are not on this machine")
        return
    with (
        running_postgres("max_connections=200") as server,
        tempfile.TemporaryDirectory() as folder,
        Databases(server).empty() as url,
    ):
        _measure("PostgreSQL", url, Path(folder))


def _measure(kind: str, url: str, folder: Path) -> None:
    with closing(Store(url, folder / FILES)) as store:
        migrate.upgrade(store.engine)
        machine_page.fill(store)
    with _served(url, folder) as address:
        alone = asyncio.run(_alone(address))
        together = asyncio.run(_together(address))
    _tell(kind, alone, together, *_held(url, folder, alone.written + together.written))


@contextmanager
def _served(url: str, folder: Path) -> Iterator[str]:
    """The program as people run it, in a process of its own."""
    words = [sys.executable, "-m", "server", "serve", "--data", str(folder), "--port", "0"]
    settings = {"PUTBACK_LOG_LEVEL": "error", "PUTBACK_DAILY_COPIES": "no"}
    if url.startswith("postgresql"):
        settings["PUTBACK_DATABASE_URL"] = url.replace("+psycopg", "")
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True, env=os.environ | settings) as program:
        assert program.stdout
        try:
            said = next(filter(None, (re.search(r"http://127\.0\.0\.1:\d+", line) for line in program.stdout)))
            yield said[0]
        finally:
            program.terminate()


async def _alone(address: str) -> Seen:
    seen = Seen()
    async with httpx2.AsyncClient(base_url=address, timeout=60) as client:
        for number in range(ALONE):
            await _read(client, PAGES[number % len(PAGES)], seen)
        for number in range(ALONE // 5):
            await _write(client, f"R9{number:04}", seen)
    return seen


async def _together(address: str) -> Seen:
    seen, until = Seen(), perf_counter() + SECONDS
    # Connections are let go before the server does: a browser would ask again where it let go first, this client fails.
    limits = httpx2.Limits(max_connections=None, keepalive_expiry=3)
    async with httpx2.AsyncClient(base_url=address, timeout=60, limits=limits) as client:
        readers = [_reader(client, seen, until, random.Random(n)) for n in range(READERS)]  # noqa: S311
        writers = [_writer(client, seen, until, n) for n in range(WRITERS)]
        await asyncio.gather(*readers, *writers)
    return seen


async def _reader(client: httpx2.AsyncClient, seen: Seen, until: float, chance: random.Random) -> None:
    await asyncio.sleep(chance.uniform(0, THINKS_S))
    while perf_counter() < until:
        await _read(client, chance.choice(PAGES), seen)
        await asyncio.sleep(chance.uniform(0.5, 1.5) * THINKS_S)


async def _writer(client: httpx2.AsyncClient, seen: Seen, until: float, writer: int) -> None:
    number = 0
    while perf_counter() < until:
        number += 1
        await _write(client, f"R{writer + 1}{number:04}", seen)
        await asyncio.sleep(THINKS_S)


async def _read(client: httpx2.AsyncClient, page: str, seen: Seen) -> None:
    started = perf_counter()
    answer = await client.get(page)
    seen.reads.append(perf_counter() - started)
    if answer.status_code != 200:
        seen.errors.append(f"{page} answered {answer.status_code}")


async def _write(client: httpx2.AsyncClient, designator: str, seen: Seen) -> None:
    part = {"board": "main-board", "designator": designator, "kind": "", "origin": "original", "mounting": ""}
    started = perf_counter()
    answer = await client.post(f"/machines/{TAG}/parts/new", data=part | {"value": "4k7"}, follow_redirects=False)
    seen.writes.append(perf_counter() - started)
    found = re.search(r"written=(\d+)", answer.headers.get("location", ""))
    if answer.status_code == 303 and found:
        seen.written.append(int(found[1]))
    else:
        seen.errors.append(f"{designator} was answered {answer.status_code}")


def _held(url: str, folder: Path, written: list[int]) -> tuple[int, list[str]]:
    """How many acknowledged writes the journal does not hold, and what a check of the record finds."""
    with closing(Store(url, folder / FILES)) as store, store.reading() as session:
        there = set(session.exec(select(JournalEntry.seq)))
        return len(set(written) - there) + len(written) - len(set(written)), list(checks.faults(session, store.files))


def _tell(kind: str, alone: Seen, together: Seen, lost: int, faults: list[str]) -> None:
    print(f"{kind}: {READERS} reading and {WRITERS} writing for {SECONDS:.0f} s, each thinking {THINKS_S:.0f} s")
    for what in ("reads", "writes"):
        one, all_of_them = sorted(getattr(alone, what)), sorted(getattr(together, what))
        figures = [_at(one, 0.5), _at(one, 0.95), _at(all_of_them, 0.5), _at(all_of_them, 0.95)]
        told = "alone {:.0f} ms (95 %: {:.0f}), together {:.0f} ms (95 %: {:.0f})".format(*figures)
        print(f"  {len(all_of_them):,} {what}: median {told}, ratio {figures[2] / figures[0]:.1f}")
    errors = [*alone.errors, *together.errors]
    print(f"  errors {len(errors)} {errors[:3]}, lost writes {lost}, faults found {len(faults)} {faults[:2]}")


def _at(times: list[float], share: float) -> float:
    return times[min(len(times) - 1, int(len(times) * share))] * 1e3 if times else float("nan")
