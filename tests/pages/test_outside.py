"""For those who hold a share link alone: no way into the record, nothing for an index, one answer to a closed link."""

import re
from collections.abc import Iterator
from datetime import timedelta

import pytest
from fastapi import FastAPI
from sqlalchemy import update
from starlette.testclient import TestClient

from server.access.guards import SECURITY_HEADERS
from server.access.share_links import shared_path
from server.access.tokens import new_token
from server.app import create_app
from server.pages.outside import is_outside
from server.pages.templating import prose
from server.records.commands.share_links import WithdrawShareLink
from server.settings import Settings
from tests.conftest import TODAY
from tests.documents.invented import TAG, Bench
from tests.pages.benchwork import HTMX, assert_sound, words_of
from tests.pages.shared_scene import FURNITURE, led_to, share, table, tell_in_private
from tests.records.conftest import behind

CLOSED = "This link opens nothing"
HEADERS = {
    "x-robots-tag": "noindex, nofollow",
    "referrer-policy": "no-referrer",
    "cache-control": "private, no-store",
}


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> FastAPI:
    """The machine and its story, in a house that others know by a name."""
    settings = Settings(
        data=tmp_path_factory.mktemp("outside"), keeper="K", allowed_hosts=["testserver", "[::1]"], log_level="error",
        database_url="", public_url="https://Records.example.org",
    )  # fmt: skip
    return create_app(settings)


@pytest.fixture(scope="module")
def bench(house: FastAPI) -> Bench:
    return tell_in_private(house.state.store)


@pytest.fixture(scope="module")
def reader(house: FastAPI) -> Iterator[TestClient]:
    with TestClient(house, raise_server_exceptions=False) as client:
        yield client


# ---- No way into the record ----


@pytest.mark.parametrize("length", ["full", "short"])
def test_a_shared_page_leads_to_its_own_pdf_and_nowhere_else(reader: TestClient, bench: Bench, length: str) -> None:
    """No section, no form, no script, no page of the machine."""
    address = share(bench, length=length)
    page = reader.get(address)

    assert led_to(page) == {f"{address}/sheet.pdf", *FURNITURE}
    assert not re.search(r"<(nav|form|script|button|iframe|input)\b", page.text)


OWN = ["127.0.0.1", "localhost", "::1", "records.example.org"]
INWARD = [
    "/machines/PL-01/mods/1",
    "machines/PL-01",
    "../machines/PL-01",
    "?page=2",
    "#sign",
    "//records.example.org/",
    "http://127.0.0.1:8181/machines/PL-01",
    "HTTPS://Records.Example.org/machines/PL-01",
    "http://records.example.org./",
    "http://[::1]:8181/",
    "http://keeper@localhost/",
    "http:/machines/PL-01",
    "http:machines",
    "http://[no/",
    "ftp://elsewhere.example/",
    "javascript:alert(1)",
]


@pytest.mark.parametrize("address", INWARD)
def test_a_link_in_the_keeper_s_words_loses_its_way_inward(address: str) -> None:
    """Its words stay."""
    shown = prose(f"See [the first mod](<{address}>).", OWN)

    assert "href" not in shown
    assert "the first mod" in shown


@pytest.mark.parametrize("address", ["https://elsewhere.example/sheet.pdf", "mailto:ada@elsewhere.example"])
def test_a_link_that_leads_elsewhere_stays(address: str) -> None:
    assert f'href="{address}"' in prose(f"[data sheet]({address})", OWN)


def test_links_in_the_record_s_texts_lead_elsewhere_alone(reader: TestClient, bench: Bench) -> None:
    """By the hosts that the house answers to and the one that others know it by; the keeper's own page has them all."""
    inward = ["/machines/PL-01", "http://testserver/journal", "http://[::1]/", "https://records.example.org/kept-aside"]
    elsewhere = "https://elsewhere.example/"
    text = " ".join(f"[word](<{address}>)" for address in [*inward, elsewhere])
    address = share(bench)
    behind(bench.store, update(table("machine")).values(provenance=text))
    shared, own = reader.get(address), reader.get(f"/machines/{TAG}/sheet")
    behind(bench.store, update(table("machine")).values(provenance=""))

    assert led_to(shared) == {f"{address}/sheet.pdf", elsewhere, *FURNITURE}
    assert {*inward, elsewhere} <= led_to(own)


# ---- For no index ----


@pytest.mark.parametrize("method", ["GET", "HEAD"])
@pytest.mark.parametrize("about", ["", "/sheet.pdf"])
def test_an_answer_asks_not_to_be_kept_indexed_or_told_of(
    reader: TestClient, bench: Bench, method: str, about: str
) -> None:
    answer = reader.request(method, f"{share(bench)}{about}")

    assert answer.status_code == 200
    assert HEADERS.items() <= dict(answer.headers).items()
    assert {name.lower() for name in SECURITY_HEADERS} <= dict(answer.headers).keys()
    assert (answer.content == b"") is (method == "HEAD")


def test_the_page_asks_so_itself(reader: TestClient, bench: Bench) -> None:
    """For those who look at no header."""
    page = reader.get(share(bench))

    assert '<meta name="robots" content="noindex, nofollow">' in page.text
    assert '<meta name="referrer" content="no-referrer">' in page.text


@pytest.mark.parametrize("method", ["GET", "HEAD"])
def test_robots_are_asked_to_stay_away_from_everything(reader: TestClient, method: str) -> None:
    answer = reader.request(method, "/robots.txt")

    assert (answer.status_code, answer.headers["content-type"]) == (200, "text/plain; charset=utf-8")
    assert answer.text == ("User-agent: *\nDisallow: /\n" if method == "GET" else "")


# ---- A link that opens nothing ----


def closed_link(bench: Bench, how: str) -> str:
    """Where a link leads that opens nothing, for this reason."""
    address = share(bench, lasts="never")
    links, newest = table("share_link"), len_of(bench)
    match how:
        case "withdrawn":
            bench.do(WithdrawShareLink, number=newest)
        case "over":
            changed = update(links).where(links.c.number == newest).values(expires_on=TODAY - timedelta(1))
            behind(bench.store, changed)
        case "cut short":
            return address[:-1]
        case "unknown":
            return shared_path(new_token())
    return address


def len_of(bench: Bench) -> int:
    with bench.store.reading() as session:
        return len(session.connection().execute(table("share_link").select()).all())


@pytest.mark.parametrize("how", ["withdrawn", "over", "cut short", "unknown"])
def test_a_closed_link_says_what_to_do_and_not_why(reader: TestClient, bench: Bench, how: str) -> None:
    """The same page whatever the reason, so that it tells nothing of the machine, nor that there is one."""
    address = closed_link(bench, how)
    answers = [reader.get(one) for one in (address, f"{address}/sheet.pdf", shared_path("x"))]

    assert [answer.status_code for answer in answers] == [404] * 3
    assert len({answer.text for answer in answers}) == 1
    assert f"{CLOSED} It may have been withdrawn" in words_of(answers[0])
    assert "Ask the keeper who sent it to you for another one." in words_of(answers[0])
    assert led_to(answers[0]) == FURNITURE
    assert TAG not in answers[0].text
    assert all(HEADERS.items() <= dict(answer.headers).items() for answer in answers)
    assert reader.head(address).status_code == 404
    assert_sound(answers[0])


ODD = ["/shared", "/shared/", "/shared/a/b/c", "/shared/%00", "/shared/%ED%A0%80", "/shared/" + "x" * 5000, "/SHARED/x"]


@pytest.mark.parametrize("path", [*ODD, "/shared/none?written=1"])
def test_an_odd_address_is_a_closed_link_too(reader: TestClient, path: str) -> None:
    page = reader.get(path)

    assert page.status_code == 404
    assert CLOSED in page.text
    assert led_to(page) == FURNITURE


@pytest.mark.parametrize("path", ["/", "/sharedness", "/machines/shared", "/machines/shared/sharing"])
def test_the_house_s_own_pages_are_not_outside(path: str) -> None:
    assert not is_outside(path)


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH"])
def test_nothing_can_be_written_there(reader: TestClient, bench: Bench, method: str) -> None:
    """And the refusal leads nowhere either."""
    answer = reader.request(method, share(bench))

    assert answer.status_code == 405
    assert led_to(answer) == FURNITURE


def test_a_fault_of_the_program_leads_nowhere_either(
    reader: TestClient, bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    address = share(bench)
    monkeypatch.delattr("server.pages.shared.drawn_up")
    answer = reader.get(address)

    assert answer.status_code == 500
    assert "The fault is the program's, not yours." in words_of(answer)
    assert led_to(answer) == FURNITURE


# ---- The door ----


def test_the_guards_stand_before_it_too(reader: TestClient, bench: Bench) -> None:
    """A foreign host is refused; another site's page may lead here, and may send nothing."""
    address = share(bench)

    assert reader.get(address, headers={"Host": "evil.example"}).status_code == 400
    assert reader.get(address, headers={"Sec-Fetch-Site": "cross-site"}).status_code == 200
    assert reader.post(address, headers={"Sec-Fetch-Site": "cross-site"}).status_code == 403
    assert reader.get(address).headers["content-security-policy"] == SECURITY_HEADERS["Content-Security-Policy"]


def test_a_page_for_outside_is_whole_whatever_the_headers_say(reader: TestClient, bench: Bench) -> None:
    assert reader.get(share(bench), headers=HTMX).text.startswith("<!doctype html>")
