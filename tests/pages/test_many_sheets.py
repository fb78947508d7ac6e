"""The page that writes the mod sheets of several machines."""

import io
import re
import zipfile

import pytest
from fastapi import FastAPI
from httpx2 import Response
from starlette.testclient import TestClient

from server.records.commands.machines import EnterMachine
from tests.documents.invented import TAG, Bench, tell
from tests.pages.benchwork import HTMX, assert_sound, post, words_of
from tests.pages.test_imports import await_job

SHEETS = "/sheets"


@pytest.fixture
def machines(app: FastAPI) -> None:
    tell(app.state.store)
    Bench(app.state.store).do(EnterMachine, tag="PL-02", model="Plover 80")


def names_in(client: TestClient, page: Response) -> list[str]:
    found = re.search(r'href="(/sheets/[^"]+)"', page.text)
    assert found
    taken = client.get(found[1])
    assert taken.headers["content-type"] == "application/zip"
    assert re.match(r'attachment; filename="mod-sheets-\d{4}-\d\d-\d\d\.zip"', taken.headers["content-disposition"])
    return [re.sub(r"\d{4}-\d\d-\d\d", "DAY", name) for name in zipfile.ZipFile(io.BytesIO(taken.content)).namelist()]


@pytest.mark.usefixtures("machines")
@pytest.mark.parametrize(
    ("typed", "names"),
    [
        ({}, ["0001-PL-01-DAY-mod-sheet.pdf", "0002-PL-02-DAY-mod-sheet.pdf"]),
        ({"tags": "pl-02", "length": "short"}, ["0001-PL-02-DAY-mod-sheet.pdf"]),
    ],
)
def test_sheets_are_written_and_taken(client: TestClient, typed: dict[str, str], names: list[str]) -> None:
    answer = client.post(SHEETS, data=typed, follow_redirects=False)
    page = await_job(client, answer.headers["location"])

    assert "written." in words_of(page)
    assert names_in(client, page) == names


@pytest.mark.usefixtures("machines")
@pytest.mark.parametrize("headers", [{}, HTMX])
def test_the_page_offers_every_machine(client: TestClient, headers: dict[str, str]) -> None:
    page = client.get(SHEETS, headers=headers)

    assert page.text.count('name="tags"') == 2
    assert f'value="{TAG}"' in page.text
    assert_sound(page)


@pytest.mark.usefixtures("machines")
@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"tags": "XX-99"}, "There is no machine “XX-99”."),
        ({"length": "endless"}, "Choose one of the words offered"),
        ({"paper": "A3"}, "Choose one of the words offered"),
    ],
)
def test_a_choice_that_will_not_do_is_told_beside_it(client: TestClient, typed: dict[str, str], said: str) -> None:
    page = post(client, SHEETS, **typed)

    assert page.status_code == 422
    assert said in words_of(page)
    assert_sound(page)


@pytest.mark.parametrize("key", ["unknown-key", "a", "x" * 80, "..%2f..%2fputback"])
def test_a_file_that_is_none_of_these_is_not_found(client: TestClient, key: str) -> None:
    assert client.get(f"{SHEETS}/{key}").status_code == 404


def test_an_empty_shelf_has_no_sheets(client: TestClient) -> None:
    page = post(client, SHEETS)

    assert page.status_code == 422
    assert "No machine is on the shelf yet" in words_of(page)
