"""Choosing what is on a mod sheet, as its page offers it."""

import io

import pikepdf
import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from tests.documents.invented import PRIVATE_WORDS, TAG, tell
from tests.pages.benchwork import address_of, assert_sound, post, words_of

SHEET, PDF = f"/machines/{TAG}/sheet", f"/machines/{TAG}/sheet.pdf"
CHOSEN = "chosen=yes&length=short&paper=Letter&mods=1"


@pytest.fixture(autouse=True)
def _told(app: FastAPI) -> None:
    tell(app.state.store)


def test_at_first_everything_is_chosen(client: TestClient) -> None:
    page = client.get(SHEET)

    assert page.text.count('name="mods"') == 3
    assert page.text.count(" checked>") == 5
    assert f'href="{PDF}"' in page.text
    assert_sound(page)


def test_the_page_and_the_pdf_are_as_chosen(client: TestClient) -> None:
    page = client.get(f"{SHEET}?{CHOSEN}")
    pdf = client.get(f"{PDF}?{CHOSEN}")

    words = words_of(page)
    assert "This is the short mod sheet." in words
    assert "Mods left out of this sheet" in words
    assert "2. Reset on its own line 3. Faster clock" in words
    assert "What the sums say" not in words
    assert "mods=1&amp;length=short&amp;paper=Letter&amp;photographs=with" in page.text
    with pikepdf.open(io.BytesIO(pdf.content)) as opened:
        assert len(opened.pages) == 1
        assert float(opened.pages[0].mediabox[2]) == 612
    assert_sound(page)


@pytest.mark.parametrize("asked", ["length=short", "paper=Letter"])
def test_what_an_address_asks_for_alone_is_taken_and_signed_as_well(client: TestClient, asked: str) -> None:
    page = client.get(f"{SHEET}?{asked}")

    assert f"{asked}" in page.text.split("Take the PDF")[0].rpartition("href=")[2]
    assert f'name="{asked.split("=")[0]}" value="{asked.split("=")[1]}"' in page.text.split('id="sign"')[1]


def test_a_private_pdf_is_named_as_one(client: TestClient) -> None:
    names = [client.get(f"{PDF}{query}").headers["content-disposition"] for query in ("", "?private=yes")]

    assert ["private" in name for name in names] == [False, True]
    assert client.get(PDF).headers["cache-control"] == "no-store"


def test_a_choice_refused_while_signing_is_told_once(client: TestClient) -> None:
    page = post(client, SHEET, signer="Ada Wren", day="2026-01-02", chosen="yes", mods="9")

    assert page.status_code == 422
    assert page.text.count('class="error-summary"') == 1
    assert 'href="#choice-mods"' in page.text


def test_what_was_chosen_is_signed(client: TestClient) -> None:
    page = client.get(f"{SHEET}?{CHOSEN}")
    seen = page.text.split('name="seen" value="')[1][:64]
    typed = {"seen": seen, "signer": "Ada Wren", "day": "2026-01-02", "chosen": "yes", "length": "short", "mods": "1"}
    address_of(post(client, SHEET, **typed))

    pdf = client.get(f"/machines/{TAG}/sheets/1.pdf")
    with pikepdf.open(io.BytesIO(pdf.content)) as opened:
        assert len(opened.pages) == 1


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ("chosen=yes&mods=9", f"{TAG} has no mod 9 that was begun"),
        ("chosen=yes&mods=%3Cscript%3E", f"{TAG} has no mod <script> that was begun"),
        ("length=endless", "Choose one of the words offered"),
        ("paper=A3", "Choose one of the words offered"),
    ],
)
@pytest.mark.parametrize("address", [SHEET, PDF])
def test_a_choice_that_will_not_do_is_said_so_beside_it(
    client: TestClient, address: str, asked: str, said: str
) -> None:
    page = client.get(f"{address}?{asked}")

    assert page.status_code == 422
    assert said in words_of(page)
    assert "What the sums say" in words_of(page)
    assert_sound(page)


def test_a_private_sheet_is_shown_but_not_signed(client: TestClient) -> None:
    page = client.get(f"{SHEET}?chosen=yes&mods=1&private=yes")
    refused = post(client, SHEET, signer="Ada Wren", day="2026-01-02", private="yes")

    assert [word for word in PRIVATE_WORDS if word not in words_of(page)] == []
    assert "Not to be handed on" in words_of(page)
    assert 'name="signer"' not in page.text
    assert refused.status_code == 422
    assert "for your own file, and is not signed" in words_of(refused)
