"""Signing a sheet on its page, the sheet as it was signed, and checking it by its digest."""

import io
import json
import re
from collections.abc import Callable

import pikepdf
import pytest
from fastapi import FastAPI
from httpx2 import Response
from sqlalchemy import event, update
from sqlmodel import SQLModel
from starlette.testclient import TestClient

from server.records.commands.machines import AddPosition, ReviseMachine
from server.records.commands.parts import EnterPart, RevisePart
from server.records.commands.trials import WriteProcedure
from server.records.questions.signed_sheets import with_digest
from server.records.tables import SignedSheet
from tests.documents.invented import HOSTILE, PRIVATE_WORDS, TAG, Bench, enter, hostile, tell
from tests.pages.benchwork import assert_sound, words_of
from tests.pages.walking import faults_of_record
from tests.records.conftest import behind

SHEET = f"/machines/{TAG}/sheet"
SIGNED = {"signer": "Ida Quern", "day": "2026-01-02"}


@pytest.fixture
def bench(app: FastAPI) -> Bench:
    bench = Bench(app.state.store)
    enter(bench)
    return bench


def seen_on(client: TestClient, address: str = SHEET) -> str:
    found = re.search(r'name="seen" value="([0-9a-f]{64})"', client.get(address).text)
    assert found
    return found[1]


def sign(client: TestClient, address: str = SHEET, **typed: str) -> Response:
    return client.post(address, data={"seen": seen_on(client, address)} | SIGNED | typed)


def digest_of(bench: Bench, number: int = 1) -> str:
    with bench.store.reading() as session:
        return next(sheet.sha256 for sheet, _ in with_digest(session, "") if sheet.number == number)


@pytest.mark.usefixtures("bench")
def test_the_form_holds_the_keeper_and_today(client: TestClient) -> None:
    page = client.get(SHEET)

    assert_sound(page)
    assert re.search(r'name="signer"[^>]*value="Ada Wren"', page.text)
    assert re.search(r'name="day"[^>]*value="\d{4}-\d\d-\d\d"', page.text)
    assert "No sheet of this machine was signed yet." in words_of(page)


def test_a_sheet_is_signed_and_can_be_taken_again(client: TestClient, bench: Bench) -> None:
    """The page says so, lists it, and gives the same bytes however the record goes on."""
    page = sign(client)
    digest = digest_of(bench)
    first = client.get(f"/machines/{TAG}/sheets/1.pdf")
    bench.do(ReviseMachine, model="Plover 81", opened_version=1)
    again = client.get(f"/machines/{TAG}/sheets/1.pdf")

    assert page.status_code == 200
    assert_sound(page)
    assert f"Mod sheet 1 of {TAG} was signed by Ida Quern, digest {digest[:4]} {digest[4:8]}" in words_of(page)
    assert "Mod sheet 1, signed by Ida Quern." in words_of(page)
    assert first.headers["content-type"] == "application/pdf"
    assert first.headers["content-disposition"] == f'inline; filename="{TAG}-mod-sheet-1-2026-01-02.pdf"'
    assert first.content == again.content
    with pikepdf.open(io.BytesIO(first.content)) as pdf:
        record = json.loads(pdf.attachments[f"{TAG}-record.json"].get_file().read_bytes())
    assert record["machine"]["model"] == "Plover 80"
    assert faults_of_record(client) == []


@pytest.mark.usefixtures("bench")
def test_a_form_that_is_sent_twice_signs_once(client: TestClient) -> None:
    seen = seen_on(client)
    sign(client)
    again = client.post(SHEET, data={"seen": seen, **SIGNED})

    assert again.status_code == 422
    assert_sound(again)
    assert "This record was signed on 2026-01-02 already: it is mod sheet 1, by Ida Quern." in words_of(again)


def test_nothing_is_signed_that_was_not_seen(client: TestClient, bench: Bench) -> None:
    """The sheet comes back as it is now, with what was typed, and can then be signed."""
    seen = seen_on(client)
    bench.do(ReviseMachine, model="Plover 81", opened_version=1)
    refused = client.post(SHEET, data={"seen": seen, **SIGNED})

    assert refused.status_code == 422
    assert "was changed while you looked at its sheet" in words_of(refused)
    assert "Plover 81" in words_of(refused)
    assert re.search(r'name="signer"[^>]*value="Ida Quern"', refused.text)
    shown = re.search(r'name="seen" value="([0-9a-f]{64})"', refused.text)
    assert shown
    assert client.post(SHEET, data={"seen": shown[1], **SIGNED}).status_code == 200


def test_what_is_written_elsewhere_is_no_hindrance(client: TestClient, bench: Bench) -> None:
    seen = seen_on(client)
    bench.do(WriteProcedure, title="Not of this machine")

    assert client.post(SHEET, data={"seen": seen, **SIGNED}).status_code == 200


@pytest.mark.usefixtures("bench")
@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"signer": " "}, "This cannot be left empty."),
        ({"day": "2999-01-01"}, "is still to come"),
        ({"day": "31.12."}, "Write the day as year-month-day"),
        ({"seen": ""}, "was changed while you looked"),
        ({"signer": "a\0b"}, "control character"),
    ],
)
def test_what_will_not_do_is_said_beside_its_field(client: TestClient, typed: dict[str, str], said: str) -> None:
    before = client.get("/journal").text.count("<li>")
    answer = sign(client, **typed)

    assert answer.status_code == 422
    assert_sound(answer)
    assert said in words_of(answer)
    assert client.get("/journal").text.count("<li>") == before


def test_a_signer_of_any_letters_is_printed_as_text(client: TestClient, app: FastAPI) -> None:
    bench = hostile(app.state.store)
    signer = HOSTILE[:80]
    page = sign(client, "/machines/HX-1/sheet", signer=signer)
    checked = client.get(f"/verify/{digest_of(bench)}")

    assert page.status_code == checked.status_code == 200
    for answer in (page, checked):
        assert "<script>alert" not in answer.text
        assert '#panic("x") $x^2$ <script>alert(1)</script> {{ 7*7 }}' in words_of(answer)


@pytest.mark.usefixtures("bench")
@pytest.mark.parametrize("number", ["0", "2", "99999999999999", "x", "-1"])
def test_a_sheet_that_was_not_signed_is_not_found(client: TestClient, number: str) -> None:
    sign(client)
    assert client.get(f"/machines/{TAG}/sheets/{number}.pdf").status_code == 404


def test_a_sheet_whose_file_is_damaged_is_said_to_be(client: TestClient, bench: Bench) -> None:
    sign(client)
    with bench.store.reading() as session:
        sheet = session.get_one(SignedSheet, 1)
    for digest in (sheet.sha256, sheet.pdf_sha256):
        bench.store.files.path(digest).write_bytes(b"something else")
    checked = client.get(f"/verify/{sheet.sha256}")

    assert client.get(f"/machines/{TAG}/sheets/1.pdf").status_code == 500
    assert checked.status_code == 200
    assert "What has changed cannot be said" in words_of(checked)


# ---- Checking ----


def test_a_sheet_is_checked_the_day_it_is_signed(client: TestClient, bench: Bench) -> None:
    """Who, when, of which machine; its own entry in the journal is no change."""
    sign(client)
    page = client.get(f"/verify/{digest_of(bench)}")

    assert page.status_code == 200
    assert_sound(page)
    words = words_of(page)
    assert f"Mod sheet 1 of {TAG}" in words
    assert "A sheet with this digest was signed here, by Ida Quern on 2026-01-02." in words
    assert "Nothing. The record of PL-01 says today what it said then." in words
    assert "mains" in words.lower()
    assert f'href="/machines/{TAG}/sheets/1.pdf"' in page.text


def test_what_has_changed_since_is_said_entry_by_entry(client: TestClient, bench: Bench) -> None:
    """In the words of people, and nothing private."""
    sign(client)
    bench.do(RevisePart, part=1, kind="resistor", origin="original", value="390 Ω", opened_version=1)
    bench.do(EnterPart, board="main-board", designator="R22", kind="resistor", value="1 kΩ", origin="new")
    bench.do(ReviseMachine, model="Plover 80", price="another price", acquired_from="someone", opened_version=1)
    words = words_of(client.get(f"/verify/{digest_of(bench)}"))

    assert "Part R7 on Main board (360 Ω ±5 % resistor): value from “360 Ω ±5 %” to “390 Ω”." in words
    assert "Part R22 on Main board (1 kΩ resistor) was added." in words
    assert "The machine: " in words
    assert not [private for private in ("another price", "someone", *PRIVATE_WORDS) if private in words]


def test_a_digest_is_found_however_it_is_typed(client: TestClient, bench: Bench) -> None:
    """In fours, in capitals, shortened, with its address; from the form as from an address."""
    sign(client)
    digest = digest_of(bench)
    fours = " ".join(digest[start : start + 4] for start in range(0, 64, 4))
    for typed in (
        digest,
        fours,
        fours.upper(),
        digest[:12],
        f"putback:sheet:{digest}",
        f"https://x.example/verify/{digest}",
    ):
        answer = client.get("/verify", params={"digest": typed})
        assert answer.status_code == 200
        assert "was signed here, by Ida Quern" in words_of(answer)
    assert client.get(f"/verify/{fours.upper()}").status_code == 200


@pytest.mark.usefixtures("bench")
@pytest.mark.parametrize("typed", ["0" * 64, "0" * 12, "abcd ef01 2345"])
def test_an_unknown_digest_is_said_to_be_so(client: TestClient, typed: str) -> None:
    sign(client)
    for answer in (client.get(f"/verify/{typed}"), client.get("/verify", params={"digest": typed})):
        assert answer.status_code == 404
        assert_sound(answer)
        assert "No sheet with this digest was signed here. Look whether each letter is right; or the sheet" in words_of(
            answer
        )


@pytest.mark.parametrize(
    "typed", ["", "0" * 11, "0" * 65, "xyz", "a\0" * 40, "<script>alert(1)</script>", "é" * 64, "%"]
)
def test_what_is_no_digest_comes_back_with_the_reason(client: TestClient, typed: str) -> None:
    answer = client.get("/verify", params={"digest": typed})

    assert answer.status_code == 422
    assert_sound(answer)
    assert ("Type the digest" if not typed else "the letters a to f") in words_of(answer)
    assert "<script>alert" not in answer.text


def test_an_address_that_is_no_digest_is_not_found(client: TestClient) -> None:
    assert client.get("/verify/none-such").status_code == 404


def test_a_beginning_of_several_digests_asks_for_more(client: TestClient, bench: Bench) -> None:
    """Two sheets can bear the same digest only where the rows were written from elsewhere, as here."""
    sign(client)
    sign(client, day="2026-01-03")
    digest = digest_of(bench)
    rows = SQLModel.metadata.tables["signed_sheet"]
    alike = digest[:63] + ("0" if digest[63] != "0" else "1")
    behind(bench.store, update(rows).where(rows.c.id == 2).values(sha256=alike))

    assert "Several sheets begin with these letters." in words_of(client.get(f"/verify/{digest[:20]}"))
    assert client.get(f"/verify/{digest}").status_code == 200


@pytest.mark.usefixtures("bench")
def test_the_page_can_be_found(client: TestClient) -> None:
    """From the journal and from the sheet; htmx gets it without its frame."""
    assert 'href="/verify"' in client.get("/journal").text
    assert 'href="/verify"' in client.get(SHEET).text
    page = client.get("/verify")
    assert_sound(page)
    assert "<!doctype" not in client.get("/verify", headers={"HX-Request": "true"}).text.lower()


@pytest.fixture
def counted(app: FastAPI, client: TestClient) -> Callable[[str], int]:
    """How many statements a page runs."""
    seen: list[str] = []

    def note(*asked: object) -> None:
        seen.append(str(asked[2]))

    event.listen(app.state.store.engine, "before_cursor_execute", note)

    def count(path: str) -> int:
        seen.clear()
        assert client.get(path).status_code == 200
        return len(seen)

    return count


def test_no_page_asks_more_for_more_sheets_and_changes(
    client: TestClient, bench: Bench, counted: Callable[[str], int]
) -> None:
    sign(client)
    digest = digest_of(bench)
    few = [counted(SHEET), counted(f"/verify/{digest}")]
    for number in range(2, 8):
        bench.do(AddPosition, board="main-board", designator=f"R{100 + number}", mounting="soldered")
        sign(client, day=f"2026-01-0{number}")

    assert few == [counted(SHEET), counted(f"/verify/{digest}")]


def test_signing_a_whole_story_leaves_the_record_whole(client: TestClient, app: FastAPI) -> None:
    bench = tell(app.state.store)
    sign(client)

    assert faults_of_record(client) == []
    assert "says today what it said then" in words_of(client.get(f"/verify/{digest_of(bench)}"))
