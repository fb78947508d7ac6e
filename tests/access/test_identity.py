"""Who signs: without accounts, the keeper that the settings name."""

from sqlmodel import select
from starlette.testclient import TestClient

from server.app import create_app
from server.records.tables import JournalEntry
from server.settings import Settings


def test_an_entry_is_signed_by_the_keeper_of_the_settings(settings: Settings) -> None:
    """Whatever a visitor claims to be."""
    app = create_app(settings.model_copy(update={"keeper": "Ada Wren"}))
    form = {"tag": "TM-03", "model": "Merle 40", "who": "Somebody", "created_by": "Somebody", "keeper": "Somebody"}

    with TestClient(app) as client:
        client.post("/machines/new", data=form, headers={"X-Forwarded-User": "Somebody"})
        with app.state.store.reading() as session:
            signed = session.exec(select(JournalEntry.who)).all()

    assert signed == ["Ada Wren"]
