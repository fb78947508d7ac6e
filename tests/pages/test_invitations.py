"""Invitations by link: shown once, for one person, until their last day, and never in the record."""

from datetime import timedelta

import pytest
from fastapi import FastAPI
from httpx2 import Response
from sqlmodel import select
from starlette.testclient import TestClient

from server.access.share_links import without_token
from server.records import checks, clock
from server.records.store import Store
from server.records.tables import Invitation, JournalEntry
from tests.pages.benchwork import assert_sound, set_up, words_of
from tests.pages.test_accounts import OTHER, opened, signed_in

TYPED = {"name": "ida", "signs_as": "Ida Quern", "password": OTHER, "again": OTHER}


@pytest.fixture
def ada(app: FastAPI, client: TestClient) -> TestClient:
    set_up(client)
    assert opened(client, "ada").is_redirect
    return signed_in(app, "ada")


def made(browser: TestClient, **more: str | list[str]) -> Response:
    typed = {"role": "member who reads", "signs_as": "Ida", "last_day": str(clock.today()), **more}
    return browser.post("/invitations", data=typed, follow_redirects=False)


def link_of(browser: TestClient, **more: str | list[str]) -> str:
    page = browser.get(made(browser, **more).headers["location"])
    assert_sound(page)
    return f"/invitation/{page.text.partition('/invitation/')[2][:32]}"


def test_whoever_is_invited_opens_their_account_and_is_signed_in(ada: TestClient, app: FastAPI) -> None:
    """With what the keeper chose, and not with what is sent along; the link works once."""
    assert_sound(ada.get("/invitations"))
    link, ida = link_of(ada, role="keeper of some machines", machines=["TM-03"]), TestClient(app)
    page = ida.get(link)
    assert_sound(page)
    assert page.headers["cache-control"] == "no-store"
    assert 'value="Ida"' in page.text
    assert "Invitation 1, for Ida: keeper of some machines" in words_of(ada.get("/people"))

    answer = ida.post(link, data=TYPED | {"role": "keeper"}, follow_redirects=False)

    assert answer.is_redirect
    assert ida.post("/machines/TM-03/boards/new", data={"name": "Drive", "kind": "drive"}).status_code == 200
    assert ida.get("/people").status_code == 403
    assert "Invitation 1" not in words_of(ada.get("/people"))
    for again in (TestClient(app).get(link), TestClient(app).post(link, data=TYPED | {"name": "oda"})):
        assert again.status_code == 404
        assert "This invitation lets nobody in" in words_of(again)


def test_its_link_is_shown_once_and_stands_nowhere(ada: TestClient, app: FastAPI) -> None:
    address = made(ada).headers["location"]
    token = ada.get(address).text.partition("/invitation/")[2][:32]
    assert "That link was shown already" in words_of(ada.get(address))
    store: Store = app.state.store
    with store.reading() as session:
        kept = str(session.exec(select(Invitation)).one().model_dump())
        told = str([(entry.words, entry.change) for entry in session.exec(select(JournalEntry))])
        assert list(checks.faults(session, store.files)) == []

    assert len(token) == 32
    assert token not in kept + told
    assert without_token(f"/invitation/{token}") == "/invitation/{token}"


def test_it_ends_when_it_is_withdrawn_and_after_its_last_day(
    ada: TestClient, app: FastAPI, monkeypatch: pytest.MonkeyPatch
) -> None:
    withdrawn, late = link_of(ada), link_of(ada)
    assert ada.post("/invitations/1/withdraw", follow_redirects=False).is_redirect
    assert ada.post("/invitations/1/withdraw").status_code == 422
    assert ada.post("/invitations/9/withdraw").status_code == 404
    stranger, today = TestClient(app), clock.today()

    assert stranger.post(withdrawn, data=TYPED).status_code == 404
    monkeypatch.setattr(clock, "today", lambda: today + timedelta(1))
    assert stranger.post(late, data=TYPED).status_code == 404
    monkeypatch.setattr(clock, "today", lambda: today)
    assert stranger.get(late).status_code == 200
    assert stranger.get("/invitation/none-such").status_code == 404


def test_what_will_not_do_is_told_and_nothing_typed_is_lost(ada: TestClient, app: FastAPI) -> None:
    early = made(ada, last_day="2001-01-01")
    beside = made(ada, machines=["TM-03"])
    taken = TestClient(app).post(link_of(ada), data=TYPED | {"name": "ADA", "password": "short", "again": "short"})
    differs = TestClient(app).post(link_of(ada), data=TYPED | {"name": "ADA"})

    assert [answer.status_code for answer in (early, beside, taken, differs)] == [422] * 4
    assert "Say a last day" in words_of(early)
    assert "is given no machines" in words_of(beside)
    assert "A password has at least 12 characters" in words_of(taken)
    assert "Somebody signs in as ADA already." in words_of(differs)
    assert 'value="Ida Quern"' in differs.text
    assert OTHER not in differs.text


def test_the_first_account_is_not_made_by_invitation(client: TestClient) -> None:
    answer = made(client)

    assert answer.status_code == 422
    assert "Open your own account first" in words_of(answer)
