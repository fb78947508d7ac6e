"""Fixtures that every test can ask for: a record of its own, the demo's, and the application over it."""

import os
import shutil
from collections.abc import Iterator
from contextlib import closing
from datetime import date
from pathlib import Path

import hypothesis
import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from seed_data.demo import fill
from server.app import configure_logs, create_app
from server.records import clock, migrate
from server.records.store import Store, sqlite_url
from server.settings import Settings
from tests.databases import Databases, postgres_programs, running_postgres

NOTHING_SKIPPED = os.environ.get("PUTBACK_NOTHING_SKIPPED") == "1"

# No deadline and no complaint of slowness: a busy machine is no fault of the program. The same examples every time
# where all must pass, so that a run can be repeated; new ones at the bench.
hypothesis.settings.register_profile(
    "putback",
    deadline=None,
    max_examples=60,
    derandomize=NOTHING_SKIPPED,
    suppress_health_check=[hypothesis.HealthCheck.too_slow],
)
hypothesis.settings.load_profile("putback")


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Where nothing may be skipped, a run that skipped something has failed, however well the rest went."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if NOTHING_SKIPPED and reporter and reporter.stats.get("skipped") and session.exitstatus == pytest.ExitCode.OK:
        reporter.write_line("")
        for report in reporter.stats["skipped"]:
            reporter.write_line(f"SKIPPED, which is a failure here: {report.nodeid}: {report.longrepr[-1]}", red=True)
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


TODAY = date.today()  # noqa: DTZ011 (the day on which the tests began)


@pytest.fixture(scope="session", autouse=True)
def one_day() -> Iterator[None]:
    """A run that goes past midnight ends on the day on which it began."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(clock, "today", lambda: TODAY)
        yield


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return Settings(
        data=tmp_path, keeper="Test keeper", allowed_hosts=["testserver"], log_level="error", database_url=""
    )


@pytest.fixture(scope="session")
def fresh_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A SQLite file with the newest tables and nothing in them. Migrated once for all tests, which copy it."""
    folder = tmp_path_factory.mktemp("fresh")
    store = Store(sqlite_url(folder))
    migrate.upgrade(store.engine)
    store.close()  # the last connection takes the write-ahead log into the file
    return folder / "putback.sqlite3"


@pytest.fixture
def app(settings: Settings, fresh_file: Path) -> FastAPI:
    shutil.copy(fresh_file, settings.data)
    return create_app(settings)


@pytest.fixture
def client(app: FastAPI) -> Iterator[TestClient]:
    with TestClient(app) as client:
        yield client


@pytest.fixture(scope="session")
def postgres() -> Iterator[str]:
    """A PostgreSQL server of this test run's own: its folder's socket, no network, gone afterwards."""
    if not postgres_programs():
        pytest.skip("PostgreSQL's programs are not on this machine")
    with running_postgres() as folder:
        yield folder


@pytest.fixture(scope="session")
def databases(postgres: str) -> Databases:
    """That server's databases."""
    return Databases(postgres)


@pytest.fixture(params=["sqlite", "postgresql"])
def database_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """An empty database: a SQLite file, then a PostgreSQL database, one test after the other."""
    if request.param == "sqlite":
        yield sqlite_url(tmp_path)
        return
    databases: Databases = request.getfixturevalue("databases")
    with databases.empty() as url:
        yield url


@pytest.fixture(params=["sqlite", "postgresql"])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    """A record that has been brought up to date, on each kind of database."""
    if request.param == "sqlite":
        shutil.copy(request.getfixturevalue("fresh_file"), tmp_path)
        with closing(Store(sqlite_url(tmp_path))) as store:
            yield store
        return
    databases: Databases = request.getfixturevalue("databases")
    databases.original("fresh", _migrate)
    with databases.copy("fresh") as url, closing(Store(url, tmp_path / "files")) as store:
        yield store


def _migrate(url: str) -> None:
    with closing(Store(url, Path("no-files"))) as store:
        migrate.upgrade(store.engine)


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder that holds the demo. To be read only; `demo_copy` is for writing."""
    folder = tmp_path_factory.mktemp("demo")
    configure_logs(Settings(log_level="error"))
    store = Store(sqlite_url(folder))
    migrate.upgrade(store.engine)
    fill(store, lambda _done, _total: None)
    store.close()
    return folder


@pytest.fixture
def demo_copy(demo_folder: Path, tmp_path: Path) -> Path:
    """A copy of the demo's folder that a test may write to."""
    return Path(shutil.copytree(demo_folder, tmp_path / "demo"))


@pytest.fixture
def demo_client(demo_folder: Path) -> Iterator[TestClient]:
    """The application over the demo, to be read only; what goes wrong in it comes back as a page, as for a reader."""
    settings = Settings(data=demo_folder, keeper="Test keeper", allowed_hosts=["testserver"], log_level="error")
    with TestClient(create_app(settings), raise_server_exceptions=False) as client:
        yield client
