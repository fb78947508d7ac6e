"""A record with an invented machine in it, told once: the tests of documents only read it."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from server.records import migrate
from server.records.store import Store, sqlite_url
from tests.documents.invented import Bench, hostile, tell


def opened(folder: Path) -> Store:
    store = Store(sqlite_url(folder))
    migrate.upgrade(store.engine)
    return store


@pytest.fixture(scope="session")
def told(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """A machine with four mods, trials, a sum, and parts kept aside."""
    store = opened(tmp_path_factory.mktemp("told"))
    yield tell(store)
    store.close()


@pytest.fixture(scope="session")
def awkward(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """A machine whose every text is hostile."""
    store = opened(tmp_path_factory.mktemp("awkward"))
    yield hostile(store)
    store.close()


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[Store]:
    """A record without a machine."""
    store = opened(tmp_path)
    yield store
    store.close()
