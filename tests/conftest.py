"""Fixtures that every test can ask for: a record of its own, and the application over it."""

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

import psycopg
import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.app import create_app
from server.records import migrate
from server.records.store import Store, sqlite_url
from server.settings import Settings

POSTGRES_BIN = Path("/usr/lib/postgresql")


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return Settings(
        data=tmp_path, keeper="Test keeper", allowed_hosts=["testserver"], log_level="error", database_url=""
    )


@pytest.fixture
def app(settings: Settings) -> FastAPI:
    return create_app(settings)


@pytest.fixture
def client(app: FastAPI) -> Iterator[TestClient]:
    with TestClient(app) as client:
        yield client


@pytest.fixture(scope="session")
def postgres() -> Iterator[str]:
    """A PostgreSQL server of this test run's own: its folder's socket, no network, gone afterwards."""
    programs = sorted(POSTGRES_BIN.glob("*/bin/initdb"), key=lambda found: int(found.parent.parent.name))
    if not programs:
        pytest.skip("PostgreSQL's programs are not on this machine")
    bin_folder = programs[-1].parent
    folder = Path(tempfile.mkdtemp(prefix="putback-pg-"))
    as_owner: list[str] = []
    if os.geteuid() == 0:  # PostgreSQL refuses to run as root
        shutil.chown(folder, "postgres")
        as_owner = ["runuser", "-u", "postgres", "--"]
    data, log = folder / "data", folder / "log"
    initdb = [bin_folder / "initdb", "-D", data, "-A", "trust", "-U", "app", "-E", "UTF8", "--locale=C.UTF-8", "--no-sync"]
    subprocess.run([*as_owner, *initdb], check=True, capture_output=True)
    options = f"-c listen_addresses='' -c unix_socket_directories={folder} -c fsync=off"
    control = [*as_owner, bin_folder / "pg_ctl", "-D", data]
    subprocess.run([*control, "-w", "-l", log, "-o", options, "start"], check=True, capture_output=True)
    yield str(folder)
    subprocess.run([*control, "-m", "immediate", "stop"], check=True, capture_output=True)
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(params=["sqlite", "postgresql"])
def database_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """An empty database: a SQLite file, then a PostgreSQL database, one test after the other."""
    if request.param == "sqlite":
        yield sqlite_url(tmp_path)
        return
    folder = request.getfixturevalue("postgres")
    name = f"t{uuid4().hex}"
    with psycopg.connect(f"host={folder} user=app dbname=postgres", autocommit=True) as connection:
        connection.execute(f'CREATE DATABASE "{name}"')
        yield f"postgresql+psycopg://app@/{name}?host={folder}"
        connection.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


@pytest.fixture
def store(database_url: str) -> Iterator[Store]:
    """A record that has been brought up to date, on each kind of database."""
    store = Store(database_url)
    migrate.upgrade(store.engine)
    yield store
    store.close()
