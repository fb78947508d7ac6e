"""The page of a machine's share links: making one that is shown once, and withdrawing it."""

import re
from datetime import timedelta
from html import unescape
from urllib.parse import urlsplit

import pytest
from fastapi import FastAPI
from httpx2 import Response
from starlette.testclient import TestClient

from server.access.tokens import digest_of_token
from server.app import create_app
from server.pages.shown_once import WAITING_MOST, WAITS_S, ShownOnce
from server.records.tables import ShareLink
from server.settings import Settings
from tests.conftest import TODAY
from tests.pages.benchwork import (
    HOSTILE,
    HTMX,
    address_of,
    assert_sound,
    message_beside,
    post,
    queries,
    set_up,
    typed_in,
    words_of,
)
from tests.pages.walking import faults_of_record
from tests.records.conftest import Bench

SHARING = "/machines/TM-03/sharing"
LAST = str(TODAY + timedelta(30))
TYPED = {"to_whom": "Ida Quern", "length": "full", "lasts": "day", "expires_on": LAST}
ONCE = "Copy it now: it is shown this once."
OVER = "That link was shown already, and cannot be shown again."


@pytest.fixture(autouse=True)
def machine(client: TestClient) -> str:
    return set_up(client)


def make(client: TestClient, **typed: str) -> Response:
    """The page that shows the link which was made."""
    return client.get(address_of(post(client, SHARING, **TYPED | typed)))


def link_on(page: Response) -> str:
    found = re.search(r'<textarea id="new-link"[^>]*>([^<]*)</textarea>', page.text)
    assert found
    return unescape(found[1])


def shown_list(page: Response) -> str:
    return words_of(page).partition("Links that were made ")[2]


# ---- Making one ----


def test_the_sheet_leads_to_a_page_that_says_what_a_link_is(client: TestClient) -> None:
    """With what is usual filled in, and what to do first."""
    sheet = client.get("/machines/TM-03/sheet")
    page = client.get(SHARING)

    assert f'href="{SHARING}"' in sheet.text
    assert_sound(page)
    assert "to read, and nothing else of the record" in words_of(page)
    assert "No link was made for this machine yet. Say above whom one is for" in words_of(page)
    assert typed_in(page, "expires_on") == LAST
    assert re.findall(r'value="(\w+)" checked', page.text) == ["full", "day"]
    assert typed_in(page, "to_whom") == ""


@pytest.mark.parametrize("htmx", [False, True])
def test_a_link_is_made_and_shown_once(client: TestClient, app: FastAPI, htmx: bool) -> None:
    """The address that shows it does not hold it, and shows it to the first who asks alone."""
    answer = post(client, SHARING, htmx, **TYPED)
    where = address_of(answer)
    first, again = client.get(where), client.get(where)

    assert answer.status_code == (204 if htmx else 303)
    link = link_on(first)
    token = link.rpartition("/")[2]
    assert re.fullmatch(r"http://testserver/shared/[A-Za-z0-9_-]{32}", link)
    assert token not in where
    assert where.endswith("#new")
    assert (ONCE in words_of(first), OVER in words_of(first)) == (True, False)
    assert (ONCE in words_of(again), OVER in words_of(again)) == (False, True)
    assert token not in again.text
    assert first.headers["cache-control"] == "no-store"
    assert_sound(first)
    assert_sound(again)
    assert client.get(urlsplit(link).path).status_code == 200
    (row,) = Bench(app.state.store).rows(ShareLink)
    assert (row.digest, row.to_whom, str(row.expires_on)) == (digest_of_token(token), "Ida Quern", LAST)
    assert faults_of_record(client) == []


def test_the_journal_says_that_it_was_made_and_not_for_whom(client: TestClient) -> None:
    """On History and in the notice; the token stands in neither, and in no column that the journal keeps."""
    posted = post(client, SHARING, **TYPED)
    page = client.get(posted.headers["location"])
    token = link_on(page).rpartition("/")[2]
    history = client.get("/machines/TM-03/history")

    said = f"A share link was made for TM-03: link 1, its full mod sheet, open until the end of {LAST}."
    assert said in words_of(page)
    assert said in words_of(history)
    assert "Ida Quern" not in history.text
    assert token not in history.text


@pytest.mark.parametrize("htmx", [False, True])
@pytest.mark.parametrize(
    ("typed", "field", "said"),
    [
        ({"to_whom": ""}, "to_whom", "This cannot be left empty."),
        ({"expires_on": ""}, "expires_on", "Say until which day it opens the sheet"),
        ({"expires_on": str(TODAY - timedelta(1))}, "expires_on", f"The first day that will do is {TODAY}."),
        ({"expires_on": "some day"}, "expires_on", "Write the day as year-month-day"),
        ({"length": "endless"}, "length", "Choose one of the words offered"),
        ({"lasts": "long"}, "lasts", "Choose one of the words offered"),
    ],
)
def test_a_link_that_will_not_do_comes_back_with_its_message(
    client: TestClient, app: FastAPI, htmx: bool, typed: dict[str, str], field: str, said: str
) -> None:
    answer = post(client, SHARING, htmx, **TYPED | typed)

    assert answer.status_code == 422
    assert ("<!doctype" in answer.text) is not htmx
    assert said in message_beside(answer, field)
    assert typed_in(answer, "to_whom") == typed.get("to_whom", "Ida Quern")
    assert ONCE not in words_of(answer)
    assert Bench(app.state.store).rows(ShareLink) == []
    assert_sound(answer)


def test_a_digest_or_machine_of_the_sender_s_own_counts_for_nothing(client: TestClient, app: FastAPI) -> None:
    """Otherwise whoever sends the form would know a token that the page does not."""
    link = link_on(make(client, digest="0" * 64, machine="TM-99", number="7"))

    (row,) = Bench(app.state.store).rows(ShareLink)
    assert row.digest == digest_of_token(link.rpartition("/")[2])
    assert row.number == 1


def test_hostile_words_are_shown_and_never_obeyed(client: TestClient) -> None:
    page = make(client, to_whom=HOSTILE)

    assert "<script>alert" not in page.text
    assert "{{ 7*7 }}" in unescape(page.text)
    assert_sound(page)


@pytest.mark.parametrize("made", ["", "none-such", "x" * 5000, "%00", "<script>"])
def test_a_key_that_is_none_shows_nothing(client: TestClient, made: str) -> None:
    page = client.get(SHARING, params={"made": made})

    assert page.status_code == 200
    assert 'id="new-link"' not in page.text
    assert (OVER in words_of(page)) is bool(made)


# ---- Where it leads ----


def test_a_link_of_this_machine_alone_is_said_to_be_one(settings: Settings) -> None:
    """Before it is made, and beside it."""
    with TestClient(create_app(settings.model_copy(update={"allowed_hosts": ["127.0.0.1"]}))) as client:
        client.base_url = "http://127.0.0.1:8181"
        before, made = client.get(SHARING), make(client)

    assert "Links begin with http://127.0.0.1:8181 and open on this computer only" in words_of(before)
    assert link_on(made).startswith("http://127.0.0.1:8181/shared/")
    assert "It opens on this computer only, because it begins with http://127.0.0.1:8181." in words_of(made)


def test_a_link_begins_with_the_public_address(settings: Settings) -> None:
    """Whatever address the keeper uses."""
    public = settings.model_copy(update={"public_url": "https://records.example.org/club"})
    with TestClient(create_app(public)) as client:
        page = make(client)

    assert link_on(page).startswith("https://records.example.org/club/shared/")
    assert "this computer only" not in words_of(page)


# ---- The list, and withdrawing ----


def test_the_list_says_whom_each_is_for_and_how_it_stands(client: TestClient, app: FastAPI) -> None:
    """The latest first; what is closed has no button."""
    make(client, to_whom="Over Reader")
    make(client, to_whom="Former Reader")
    make(client, to_whom="Lasting Reader", length="short", lasts="never")
    post(client, f"{SHARING}/2/withdraw")
    with app.state.store.engine.begin() as connection:
        table = ShareLink.__table__  # type: ignore[attr-defined]
        connection.execute(table.update().where(table.c.number == 1).values(expires_on=TODAY - timedelta(1)))
    page = client.get(SHARING)

    words = shown_list(page)
    said = [
        "Link 3, for Lasting Reader: the short sheet. Made by Test keeper. Open until it is withdrawn.",
        "Link 2, for Former Reader: the full sheet. Made by Test keeper. "
        f"Withdrawn on {TODAY} by Test keeper. It opens nothing.",
        "Link 1, for Over Reader: the full sheet. Made by Test keeper. "
        f"Over: it opened the sheet until the end of {TODAY - timedelta(1)}.",
    ]
    assert [words.index(one) for one in said] == sorted(words.index(one) for one in said)
    assert re.findall(r"Withdraw link \d+", words) == ["Withdraw link 3"]
    assert "A link that is withdrawn opens nothing from then on, and for good" in words


@pytest.mark.parametrize("htmx", [False, True])
def test_a_link_is_withdrawn(client: TestClient, htmx: bool) -> None:
    link = urlsplit(link_on(make(client))).path
    answer = post(client, f"{SHARING}/1/withdraw", htmx)
    page = client.get(address_of(answer))

    assert answer.status_code == (204 if htmx else 303)
    assert f"Withdrawn on {TODAY} by Test keeper." in words_of(page)
    assert client.get(link).status_code == 404
    assert faults_of_record(client) == []


@pytest.mark.parametrize("htmx", [False, True])
def test_who_withdraws_what_somebody_withdrew_meanwhile_is_told_so(client: TestClient, htmx: bool) -> None:
    """On the same page, with the list as it is now."""
    make(client)
    post(client, f"{SHARING}/1/withdraw")
    answer = post(client, f"{SHARING}/1/withdraw", htmx)

    assert answer.status_code == 422
    assert ("<!doctype" in answer.text) is not htmx
    assert f"Link 1 was withdrawn on {TODAY} already, by Test keeper." in words_of(answer)
    assert "Withdraw link 1" not in words_of(answer)
    assert_sound(answer)


@pytest.mark.parametrize("address", ["/machines/XX-99/sharing", "/machines/XX-99/sharing/1/withdraw"])
def test_an_unknown_machine_shares_nothing(client: TestClient, address: str) -> None:
    assert post(client, address, **TYPED).status_code == 404


@pytest.mark.parametrize("number", ["9", "99999999999999999999", "x"])
def test_an_unknown_link_cannot_be_withdrawn(client: TestClient, number: str) -> None:
    assert post(client, f"{SHARING}/{number}/withdraw").status_code == 404


def test_a_page_of_another_site_makes_no_link(client: TestClient, app: FastAPI) -> None:
    """Nor withdraws one."""
    make(client)
    headers = {"Sec-Fetch-Site": "cross-site"}
    answers = [client.post(address, data=TYPED, headers=headers) for address in (SHARING, f"{SHARING}/1/withdraw")]

    assert [answer.status_code for answer in answers] == [403, 403]
    (row,) = Bench(app.state.store).rows(ShareLink)
    assert row.withdrawn_on is None


def test_many_links_are_paged_and_ask_no_more(client: TestClient, app: FastAPI) -> None:
    with queries(app.state.store) as few:
        client.get(SHARING)
    for number in range(52):
        post(client, SHARING, **TYPED | {"to_whom": f"Reader {number}"})
    with queries(app.state.store) as many:
        first = client.get(SHARING)

    assert len(first.text.split('class="log"')[1].split("<li>")) == 51
    assert f'href="{SHARING}?page=2"' in first.text
    assert "Link 1, for Reader 0" in words_of(client.get(f"{SHARING}?page=2"))
    assert len(many) == len(few)


def test_htmx_gets_the_page_without_the_frame(client: TestClient) -> None:
    assert "<!doctype" not in client.get(SHARING, headers=HTMX).text


# ---- What waits to be shown ----


def test_a_secret_is_given_out_once_and_forgotten_in_time() -> None:
    """Each by its own key, within minutes, and no more of them than a few."""
    at = [0.0]
    waiting = ShownOnce(lambda: at[0])
    first, second = waiting.keep("one"), waiting.keep("two")
    taken = [waiting.take(first), waiting.take(first), waiting.take("none")]
    at[0] = WAITS_S + 1.0
    late = waiting.take(second)
    keys = [waiting.keep(str(number)) for number in range(WAITING_MOST + 1)]

    assert (taken, late) == (["one", None, None], None)
    assert [waiting.take(key) for key in keys] == [None, *map(str, range(1, WAITING_MOST + 1))]
