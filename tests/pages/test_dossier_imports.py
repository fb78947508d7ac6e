"""A dossier brought from another record: its file, what it would do, the choice, and the machine that came."""

import re
from collections.abc import Iterator
from pathlib import Path
from uuid import UUID

import pytest
from fastapi import FastAPI
from httpx2 import Response
from sqlmodel import select
from starlette.testclient import TestClient

from server.records.commands.machines import EnterMachine, ReviseMachine
from server.records.store import Store
from server.records.tables import JournalEntry, Machine
from tests.documents.conftest import opened
from tests.documents.invented import KEEPER, TAG, Bench, tell
from tests.pages.benchwork import assert_sound, words_of
from tests.pages.test_imports import await_job
from tests.records.dossiers import write

BEGIN = "/dossiers/import"


@pytest.fixture(scope="module")
def elsewhere(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """Another record, that the machine is kept in."""
    store = opened(tmp_path_factory.mktemp("elsewhere"))
    yield tell(store)
    store.close()


@pytest.fixture(scope="module")
def dossier(elsewhere: Bench, tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return write(elsewhere.store, TAG, tmp_path_factory.mktemp("sent") / "dossier.zip").read_bytes()


def send(client: TestClient, content: bytes, **headers: str) -> Response:
    files = {"dossier": ("dossier.zip", content, "application/zip")}
    return client.post(BEGIN, files=files, headers=headers, follow_redirects=False)


def looked_at(client: TestClient, content: bytes) -> tuple[str, Response]:
    """The page that shows what a dossier would do, and its address."""
    answer = send(client, content)
    assert answer.status_code == 303
    read = await_job(client, answer.headers["location"])
    found = re.search(rf'href="({BEGIN}/[^"]+)"', read.text)
    assert found, words_of(read)
    return found[1], client.get(found[1])


def seen_in(page: Response) -> str:
    found = re.search(r'name="seen" value="(\w+)"', page.text)
    assert found
    return found[1]


def take(client: TestClient, content: bytes, **typed: str | list[str]) -> Response:
    address, page = looked_at(client, content)
    answer = client.post(address, data={"seen": seen_in(page), **typed}, follow_redirects=False)
    assert answer.status_code == 303
    return await_job(client, answer.headers["location"])


def store_of(app: FastAPI) -> Store:
    store: Store = app.state.store
    return store


def entries(app: FastAPI) -> list[JournalEntry]:
    with store_of(app).reading() as session:
        return list(session.exec(select(JournalEntry)))


def laid_aside(app: FastAPI) -> list[Path]:
    return list((store_of(app).files.root / "derived").glob("brought dossiers/*"))


def test_the_shelf_leads_there_and_the_page_says_what_it_does(client: TestClient) -> None:
    assert f'href="{BEGIN}"' in client.get("/").text
    page = client.get(BEGIN)

    assert page.status_code == 200
    assert_sound(page)
    assert "Only after that is anything written: all of it, or nothing." in words_of(page)


def test_a_machine_is_looked_at_and_taken_in(client: TestClient, app: FastAPI, dossier: bytes) -> None:
    address, page = looked_at(client, dossier)
    assert_sound(page)
    assert "This machine is new here. Nothing is written yet." in words_of(page)
    assert entries(app) == []

    answer = client.post(address, data={"seen": seen_in(page), "tag": ""}, follow_redirects=False)
    done = await_job(client, answer.headers["location"])

    assert f"Took in the dossier of 2026-01-02 of {TAG}" in words_of(done)
    assert f'href="/machines/{TAG}"' in done.text
    assert client.get(f"/machines/{TAG}").status_code == 200
    assert [entry.act for entry in entries(app)] == ["import dossier"]
    assert laid_aside(app) == []


def test_one_that_was_read_is_found_again_until_it_is_taken_in(client: TestClient, dossier: bytes) -> None:
    address, _ = looked_at(client, dossier)

    assert f'href="{address}"' in client.get("/dossiers/import").text
    assert take(client, dossier).status_code == 200
    again = client.get("/dossiers/import").text
    assert f'href="{address}"' in again
    assert again.count("is whole") == 1  # of the two that were read, the one that was taken in is gone


def test_its_earlier_history_came_along(client: TestClient, dossier: bytes) -> None:
    take(client, dossier)

    history = client.get(f"/machines/{TAG}/history")
    earlier = client.get(f"/machines/{TAG}/history/earlier")

    assert f'href="/machines/{TAG}/history/earlier"' in history.text
    assert_sound(earlier)
    assert f"Entered machine {TAG}" in words_of(client.get(f"/machines/{TAG}/history/earlier?page=99"))
    assert KEEPER in words_of(earlier)


def test_a_machine_that_was_always_here_has_no_earlier_history(client: TestClient, app: FastAPI) -> None:
    store_of(app).carry_out(EnterMachine(tag="ZZ-1", model="Other"), KEEPER)

    assert client.get("/machines/ZZ-1/history/earlier").status_code == 404
    assert "Before it came here" not in client.get("/machines/ZZ-1/history").text


def test_twice_brings_nothing(client: TestClient, dossier: bytes) -> None:
    take(client, dossier)

    _, page = looked_at(client, dossier)

    assert "Everything in it is here already." in words_of(page)
    assert 'name="seen"' not in page.text


@pytest.mark.parametrize(
    ("content", "said"),
    [(b"no zip", "This is no zip file, or it was cut short."), (b"", "This is no zip file, or it was cut short.")],
)
@pytest.mark.parametrize("htmx", [{}, {"HX-Request": "true"}], ids=["plain", "htmx"])
def test_what_is_no_dossier_is_told_beside_the_field(
    client: TestClient, app: FastAPI, content: bytes, said: str, htmx: dict[str, str]
) -> None:
    answer = send(client, content, **htmx)

    assert answer.status_code == 422
    assert said in words_of(answer)
    assert 'aria-invalid="true"' in answer.text
    assert laid_aside(app) == []


def test_without_a_file_it_asks_for_one(client: TestClient) -> None:
    answer = client.post(BEGIN, data={"x": "y"})

    assert answer.status_code == 422
    assert "Choose the file of a dossier." in words_of(answer)


def test_a_damaged_one_is_refused_when_it_was_read(client: TestClient, app: FastAPI, dossier: bytes) -> None:
    """Which byte is another shows only when all are read; the page of the work says so."""
    damaged = dossier.replace(b"%PDF-1.7", b"%PDF-1.6", 1)
    answer = send(client, damaged)

    page = await_job(client, answer.headers["location"])

    assert "cannot be read: the zip file is damaged there." in words_of(page)
    assert f'href="{BEGIN}"' in page.text
    assert entries(app) == []
    assert laid_aside(app) == []


@pytest.mark.parametrize("htmx", [{}, {"HX-Request": "true"}], ids=["plain", "htmx"])
@pytest.mark.parametrize("tag", ["", TAG, "no tag", "new"])
def test_a_tag_that_will_not_do_is_told_beside_the_field(
    client: TestClient, app: FastAPI, dossier: bytes, tag: str, htmx: dict[str, str]
) -> None:
    """And what was typed is still there."""
    store_of(app).carry_out(EnterMachine(tag=TAG, model="Other"), KEEPER)
    address, page = looked_at(client, dossier)

    answer = client.post(address, data={"seen": seen_in(page), "tag": tag}, headers=htmx)

    assert answer.status_code == 422
    assert 'aria-invalid="true"' in answer.text
    assert f'name="tag" type="text" value="{tag}"' in answer.text
    assert len(entries(app)) == 1


def test_with_another_tag_it_comes(client: TestClient, app: FastAPI, dossier: bytes) -> None:
    store_of(app).carry_out(EnterMachine(tag=TAG, model="Other"), KEEPER)

    page = take(client, dossier, tag="LK-40")

    assert 'href="/machines/LK-40"' in page.text
    assert client.get("/machines/LK-40").status_code == 200


def test_what_differs_is_shown_side_by_side(
    client: TestClient, elsewhere: Bench, dossier: bytes, tmp_path: Path
) -> None:
    """Ticked where only the other record changed it; what is not ticked stays."""
    take(client, dossier)
    machine = elsewhere.store
    with machine.reading() as session:
        version = session.exec(select(Machine.version).where(Machine.tag == TAG)).one()
        model = session.exec(select(Machine.model).where(Machine.tag == TAG)).one()
    machine.carry_out(ReviseMachine(machine=TAG, model=model, keeper="Ida Quern", opened_version=version), KEEPER)
    later = write(machine, TAG, tmp_path / "later.zip").read_bytes()

    address, page = looked_at(client, later)
    found = re.search(r'name="take" value="([^"]+)" checked', page.text)
    assert found
    assert "changed there since it came" in words_of(page)
    assert "Ida Quern" in words_of(page)
    client.post(address, data={"seen": seen_in(page)})
    kept = client.get(f"/machines/{TAG}").text

    done = take(client, later, take=[str(UUID(found[1])), "no-uuid"])

    assert "Ida Quern" not in kept
    assert "1 as the dossier has them" in words_of(done)
    assert "Ida Quern" in client.get(f"/machines/{TAG}").text


def test_where_the_record_went_on_it_is_shown_again(client: TestClient, app: FastAPI, dossier: bytes) -> None:
    """Nothing is written that was not looked at."""
    address, page = looked_at(client, dossier)
    take(client, dossier)

    answer = client.post(address, data={"seen": seen_in(page)}, follow_redirects=False)

    assert answer.status_code == 409
    assert len(entries(app)) == 1


@pytest.mark.parametrize("key", ["unknown-key", "a", "..%2f..%2fputback"])
def test_one_that_was_never_sent_is_not_found(client: TestClient, key: str) -> None:
    assert client.get(f"{BEGIN}/{key}").status_code == 404
    assert client.post(f"{BEGIN}/{key}", data={}).status_code == 404
