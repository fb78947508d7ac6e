"""Two servers over one record: who is let in, and what is written, at one holds at the other."""

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path

import httpx2
import pytest

from server.records import checks
from server.records.store import FILES, Store, sqlite_url

PASSWORD = "seven quiet lamps"  # noqa: S105
ACCOUNT = {"name": "ada", "signs_as": "Ada", "role": "keeper", "password": PASSWORD, "again": PASSWORD}


@contextmanager
def served(folder: Path, url: str) -> Iterator[httpx2.Client]:
    """A browser at a server of its own process."""
    words = [sys.executable, "-m", "server", "serve", "--data", str(folder), "--port", "0"]
    settings = {"PUTBACK_LOG_LEVEL": "error", "PUTBACK_DATABASE_URL": url, "PUTBACK_DAILY_COPIES": "no"}
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True, env=os.environ | settings) as program:
        assert program.stdout
        try:
            said = next(filter(None, (re.search(r"http://127\.0\.0\.1:\d+", line) for line in program.stdout)))
            with httpx2.Client(base_url=said[0], timeout=30) as browser:
                yield browser
        finally:
            program.terminate()


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest) -> Iterator[str]:
    """The setting that names the database; empty for the file in the data folder."""
    if request.param == "sqlite":
        yield ""
        return
    with request.getfixturevalue("databases").empty() as url:
        yield url.replace("+psycopg", "")


def test_what_one_server_was_told_the_other_knows(tmp_path: Path, url: str) -> None:
    with ExitStack() as stack:
        first, second = (stack.enter_context(served(tmp_path, url)) for _ in range(2))
        assert second.get("/").status_code == 200

        assert first.post("/people/new", data=ACCOUNT).status_code == 303
        assert second.get("/").headers["location"].startswith("/sign-in"), "the other server lets everybody in still"
        assert first.post("/sign-in", data={"name": "ada", "password": PASSWORD}).status_code == 303
        second.cookies.update(dict(first.cookies.items()))
        assert second.get("/account").status_code == 200, "who signed in at one is a stranger at the other"

        for number in range(6):
            server = (first, second)[number % 2]
            typed = {"tag": f"TM-{number}", "model": "Merle", "hazards": "mains inside"}
            assert server.post("/machines/new", data=typed).status_code == 303
        assert all(f"TM-{number}" in second.get("/").text for number in range(6))

        first.post("/sign-out")
        assert second.get("/account").status_code == 303, "who signed out at one is signed in at the other"

    with closing(Store(url or sqlite_url(tmp_path), tmp_path / FILES)) as store, store.reading() as session:
        assert list(checks.faults(session, store.files)) == []
