"""The dossier's page: what it is, what goes into it, how far it is, and the file."""

import io
import os
import re
import time
import zipfile
from pathlib import Path

import pytest
from fastapi import FastAPI
from httpx2 import Response
from starlette.testclient import TestClient

from server.pages.jobs import jobs_of
from tests.pages.benchwork import assert_sound, set_up, words_of
from tests.pages.test_imports import await_job

DOSSIER = "/machines/TM-03/dossier"


@pytest.fixture(autouse=True)
def machine(client: TestClient) -> str:
    return set_up(client)


def write(client: TestClient, **typed: str) -> Response:
    """The page of the finished work."""
    answer = client.post(DOSSIER, data=typed, follow_redirects=False)
    assert answer.status_code == 303
    return await_job(client, answer.headers["location"])


def download(client: TestClient, page: Response) -> Response:
    found = re.search(r'href="(/machines/TM-03/dossier/[^"]+)"', page.text)
    assert found
    return client.get(found[1])


def test_the_page_says_what_is_in_it_and_leaves_private_things_out(client: TestClient) -> None:
    page = client.get(DOSSIER)

    assert page.status_code == 200
    assert_sound(page)
    assert "RFC 8493" in words_of(page)
    assert not re.search(r'name="private"[^>]*checked', page.text)


def test_it_is_written_and_taken(client: TestClient) -> None:
    page = write(client)
    taken = download(client, page)

    assert "The dossier of TM-03 is whole" in words_of(page)
    assert taken.status_code == 200
    assert taken.headers["content-type"] == "application/zip"
    assert re.match(r'attachment; filename="TM-03-\d{4}-\d\d-\d\d\.zip"', taken.headers["content-disposition"])
    names = zipfile.ZipFile(io.BytesIO(taken.content)).namelist()
    assert {name.partition("/")[2] for name in names} >= {"bagit.txt", "data/record.json", "data/mod-sheet.pdf"}


def test_one_that_was_written_is_found_again_on_its_page(client: TestClient, app: FastAPI) -> None:
    """By whoever asked for it."""
    written = download(client, write(client))

    page = client.get(DOSSIER)
    assert "From the last day" in words_of(page)
    assert "The dossier of TM-03 is whole" in words_of(page)
    assert_sound(page)
    assert download(client, page).content == written.content
    assert jobs_of(app).begun_on(DOSSIER, "somebody else") == []
    assert "From the last day" not in words_of(client.get("/sheets"))


@pytest.mark.parametrize("key", ["unknown-key", "a", "x" * 80, "..%2f..%2fputback"])
def test_a_file_that_is_none_of_these_is_not_found(client: TestClient, key: str) -> None:
    assert client.get(f"{DOSSIER}/{key}").status_code == 404


def test_an_unknown_machine_has_none(client: TestClient) -> None:
    assert client.get("/machines/XX-99/dossier").status_code == 404
    assert client.post("/machines/XX-99/dossier", data={}).status_code == 404


def test_yesterday_s_are_forgotten_when_another_is_written(client: TestClient, app: FastAPI) -> None:
    """And today's stay, also those of others."""
    page = write(client)
    (place,) = (app.state.store.files.root / "derived/dossiers").glob("*.zip")
    other = write(client)
    old = time.time() - 25 * 3600
    os.utime(place, (old, old))
    half: Path = place.with_name(".half.zip.123")
    half.write_bytes(b"half")
    os.utime(half, (old, old))

    write(client)

    assert download(client, page).status_code == 404
    assert download(client, other).status_code == 200
    assert not half.exists()
