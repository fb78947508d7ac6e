"""Tokens for programs: they open `/api/v1` for what they are for, in their owner's name, until their last day."""

from collections.abc import Callable
from datetime import date, timedelta

import pytest
from fastapi import FastAPI
from httpx2 import Response
from sqlmodel import select
from starlette.testclient import TestClient

from server.records import clock
from server.records.store import Store
from server.records.tables import ApiToken, JournalEntry
from tests.pages.benchwork import set_up, words_of
from tests.pages.test_accounts import opened, signed_in, who_wrote

READ, RECORD = "read", "record trials"
MACHINE, PROCEDURES, TRIALS = "/api/v1/machines/TM-03", "/api/v1/procedures", "/api/v1/machines/TM-03/trials"
TRIAL = {"procedure": "timing", "day": "2024-04-01", "readings": [704, 709, 709]}


@pytest.fixture
def ada(app: FastAPI, client: TestClient) -> TestClient:
    """The first keeper, signed in to a record with two machines and a procedure."""
    set_up(client)
    set_up(client, "TM-08")
    client.post("/procedures/new", data={"title": "Timing", "unit": "ms", "resolution": "1", "better": "lower"})
    assert opened(client, "ada").status_code == 303
    return signed_in(app, "ada")


def made(browser: TestClient, *scopes: str, last_day: str = "") -> Response:
    typed = {"name": "logger", "scopes": list(scopes), "last_day": last_day or str(clock.today())}
    return browser.post("/account/tokens", data=typed, follow_redirects=False)


def token_of(browser: TestClient, *scopes: str) -> str:
    page = browser.get(made(browser, *scopes).headers["location"])
    return page.text.partition('id="new-token"')[2].partition(">")[2].partition("<")[0]


@pytest.fixture
def program(app: FastAPI) -> Callable[[str], TestClient]:
    return lambda token: TestClient(app, headers={"Authorization": f"Bearer {token}"})


def test_a_token_is_shown_once_and_kept_as_a_digest(ada: TestClient, app: FastAPI) -> None:
    address = made(ada, READ).headers["location"]
    first, second = ada.get(address), ada.get(address)
    token = first.text.partition('id="new-token"')[2].partition(">")[2].partition("<")[0]
    store: Store = app.state.store
    with store.reading() as session:
        kept = session.exec(select(ApiToken)).one()
        told = str([(entry.words, entry.change) for entry in session.exec(select(JournalEntry))])

    assert len(token) == 32
    assert token not in second.text
    assert "That token was shown already" in words_of(second)
    assert token not in str(kept.model_dump())
    assert kept.digest not in told
    assert first.headers["cache-control"] == "no-store"


def test_each_token_does_what_it_is_for(ada: TestClient, app: FastAPI, program: Callable[[str], TestClient]) -> None:
    reads, records = program(token_of(ada, READ)), program(token_of(ada, RECORD))

    assert [reads.get(at).status_code for at in (MACHINE, PROCEDURES)] == [200, 200]
    assert [records.get(at).status_code for at in (MACHINE, PROCEDURES)] == [403, 403]
    refused = reads.post(TRIALS, json=TRIAL)
    assert (refused.status_code, refused.json()["detail"][:30]) == (403, "This token is not for that. Ma")
    assert records.post(TRIALS, json=TRIAL).status_code == 201
    assert who_wrote(app) == "Ada"
    both = program(token_of(ada, RECORD, READ))
    assert (both.get(MACHINE).status_code, both.post(TRIALS, json=TRIAL).status_code) == (200, 201)


def test_a_token_reaches_no_page(ada: TestClient, program: Callable[[str], TestClient]) -> None:
    """Neither to look nor to write, and what it is sent along with counts for nothing."""
    script = program(token_of(ada, READ, RECORD))

    for address in ("/", "/machines/TM-03", "/account", "/people"):
        assert script.get(address, follow_redirects=False).status_code == 303
    assert script.post("/machines/new", data={"tag": "TM-09"}, follow_redirects=False).headers["location"] == "/sign-in"
    forged = ada.get(MACHINE, headers={"Authorization": f"Bearer {'x' * 32}"})
    assert (forged.status_code, forged.headers["www-authenticate"]) == (401, "Bearer")
    assert ada.get(MACHINE, headers={"Authorization": f"Bearer {token_of(ada, RECORD)}"}).status_code == 403
    assert ada.get(MACHINE).status_code == 200


def test_a_token_does_no_more_than_its_owner(
    ada: TestClient, app: FastAPI, program: Callable[[str], TestClient]
) -> None:
    """Whatever they may do at the moment that it is used."""
    opened(ada, "ida", "keeper of some machines", machines=["TM-03"])
    script = program(token_of(signed_in(app, "ida"), RECORD))

    own, other = script.post(TRIALS, json=TRIAL), script.post(TRIALS.replace("TM-03", "TM-08"), json=TRIAL)
    member = {"signs_as": "Ida", "role": "member who reads", "opened_version": "1"}
    assert ada.post("/people/ida", data=member, follow_redirects=False).status_code == 303

    assert (own.status_code, other.status_code) == (201, 403)
    assert script.post(TRIALS, json=TRIAL).status_code == 403


def test_a_token_ends(
    ada: TestClient, app: FastAPI, program: Callable[[str], TestClient], monkeypatch: pytest.MonkeyPatch
) -> None:
    """After its last day, when it is withdrawn by its owner, and for good with the account."""
    opened(ada, "ida")
    ida = signed_in(app, "ida")
    script, withdrawn = program(token_of(ida, READ)), program(token_of(ada, READ))
    assert ida.post("/account/tokens/2/withdraw").status_code == 404
    assert withdrawn.get(MACHINE).status_code == 200
    assert ada.post("/account/tokens/2/withdraw", follow_redirects=False).status_code == 303
    assert withdrawn.get(MACHINE).status_code == 401

    today = clock.today()
    monkeypatch.setattr(clock, "today", lambda: today + timedelta(1))
    assert script.get(MACHINE).status_code == 401
    monkeypatch.setattr(clock, "today", lambda: today)
    assert script.get(MACHINE).status_code == 200
    for version, act in enumerate(("close", "reopen"), start=1):
        assert ada.post(f"/people/ida/{act}", data={"opened_version": str(version)}, follow_redirects=False).is_redirect
        assert script.get(MACHINE).status_code == 401


@pytest.mark.parametrize(
    ("scopes", "last_day", "said"),
    [
        ([], "", "Choose what it may do."),
        (["everything"], "", "Choose what it may do."),
        ([READ], "soon", "Write the day as year-month-day"),
        ([READ], "2001-01-01", "2001-01-01 is over."),
        ([READ], str(date.max), "A token lasts a year at most."),
    ],
)
def test_what_will_not_do_is_told(ada: TestClient, scopes: list[str], last_day: str, said: str) -> None:
    answer = made(ada, *scopes, last_day=last_day)

    assert answer.status_code == 422
    assert said in words_of(answer)
    assert 'value="logger"' in answer.text


def test_another_site_s_page_cannot_write_with_a_cookie(ada: TestClient) -> None:
    """A program sends neither of these headers; a browser sends them whether it has a cookie or not."""
    answer = ada.post(TRIALS, json=TRIAL, headers={"Sec-Fetch-Site": "cross-site"})

    assert answer.status_code == 403
    assert ada.post(TRIALS, json=TRIAL, headers={"Origin": "https://example.org"}).status_code == 403
    assert ada.post(TRIALS, json=TRIAL).status_code == 201


def test_when_it_was_last_used_is_told(ada: TestClient, program: Callable[[str], TestClient]) -> None:
    token = token_of(ada, READ)
    never = '<span class="quiet">never</span>'
    assert never in ada.get("/account").text
    program(token).get(MACHINE)

    assert never not in ada.get("/account").text
