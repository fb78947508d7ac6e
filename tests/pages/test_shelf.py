"""The shelf says when the record's daily copies are late or cannot be made, and nothing of them otherwise."""

from datetime import date, timedelta
from pathlib import Path

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.app import create_app
from server.records import clock
from server.records.commands.machines import EnterMachine
from server.records.daily_copies import DailyCopies, make_copy
from server.settings import Settings
from tests.pages.benchwork import words_of


def on_shelf(client: TestClient) -> str:
    page = client.get("/")
    assert page.status_code == 200
    return words_of(page)


@pytest.mark.parametrize(("age", "told"), [(2, False), (5, True)])
def test_a_late_copy_is_told(client: TestClient, settings: Settings, age: int, told: bool) -> None:
    """With what to do about it; with machines on the shelf and without."""
    make_copy(settings.data, clock.today() - timedelta(days=age))

    said = on_shelf(client)
    assert ("The last daily copy of this record is 5 days old" in said) is told
    assert ("or make a copy elsewhere with `putback backup`" in said) is told


def test_a_copy_that_could_not_be_made_is_told_at_once(app: FastAPI, client: TestClient, settings: Settings) -> None:
    """The page is served all the same."""
    app.state.store.carry_out(EnterMachine(tag="TM-03", model="Merle 40"), "Ada Wren")
    (settings.data / "backups").touch()
    copies: DailyCopies = app.state.copies
    copies.make_todays()

    said = on_shelf(client)
    assert "Today's copy of the record could not be made (File exists)." in said
    assert "TM-03" in said


def test_who_makes_copies_otherwise_hears_of_none(app: FastAPI, settings: Settings) -> None:
    make_copy(settings.data, date(2026, 1, 2))
    app.state.store.close()
    without = create_app(settings.model_copy(update={"daily_copies": "no"}))

    with TestClient(without) as client:
        assert "copy" not in on_shelf(client)


def test_a_club_in_postgresql_has_its_own_copies(database_url: str, tmp_path: Path) -> None:
    """`pg_dump` and not this program makes them."""
    url = database_url if database_url.startswith("postgresql") else ""
    app = create_app(Settings(data=tmp_path, database_url=url, log_level="error"))

    assert (app.state.copies is None) is bool(url)
    app.state.store.close()
