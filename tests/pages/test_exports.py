"""Lists taken out for a spreadsheet: whole, by heading, nothing private unless asked for, and to be entered again."""

import csv
import io

import pytest
from fastapi import FastAPI
from sqlmodel import select
from starlette.testclient import TestClient

from server.documents.lists import MARK
from server.records.questions.whole_lists import OF_A_MACHINE, OF_ALL
from server.records.tables import Part
from tests.pages.benchwork import HOSTILE, address_of, assert_sound, enter_part, post, set_up, words_of
from tests.pages.taking import press
from tests.pages.test_imports import await_job

BASE = "/machines/TM-03"


@pytest.fixture(autouse=True)
def board(client: TestClient) -> str:
    address = set_up(client)
    assert enter_part(client, "R2", kind="resistor", value="330 Ω ±5 %", origin="original").status_code == 303
    assert enter_part(client, "U1", kind="chip", type="7400", note="=HYPERLINK(1)").status_code == 303
    return address


def read(client: TestClient, address: str) -> list[dict[str, str]]:
    answer = client.get(address)
    assert answer.status_code == 200, address
    assert answer.headers["content-type"] == "text/csv; charset=utf-8"
    assert answer.headers["content-disposition"].startswith("attachment")
    return list(csv.DictReader(io.StringIO(answer.text.removeprefix(MARK), newline="")))


@pytest.mark.parametrize("name", OF_A_MACHINE)
def test_every_list_of_a_machine_can_be_taken(client: TestClient, name: str) -> None:
    answer = client.get(f"{BASE}/lists/{name}.csv")

    assert answer.status_code == 200
    assert answer.text.removeprefix(MARK).splitlines()[0].split(",") == list(OF_A_MACHINE[name].columns)


@pytest.mark.parametrize("name", OF_ALL)
def test_every_list_over_all_machines_can_be_taken(client: TestClient, name: str) -> None:
    answer = client.get(f"/lists/{name}.csv")

    assert answer.status_code == 200
    assert answer.text.removeprefix(MARK).splitlines()[0].split(",") == list(OF_ALL[name].columns)


def test_the_parts_are_told_by_heading_in_the_order_of_the_page(client: TestClient) -> None:
    rows = read(client, f"{BASE}/lists/parts.csv")

    assert [(row["board"], row["designator"], row["value"], row["origin"]) for row in rows] == [
        ("Main board", "R2", "330 Ω ±5 %", "original"),
        ("Main board", "U1", "", "original"),
    ]
    assert rows[1]["note"] == "'=HYPERLINK(1)"


def test_parts_that_were_taken_out_can_be_entered_again(client: TestClient, app: FastAPI) -> None:
    """On another machine: the list is read as a parts list."""
    assert post(client, "/machines/new", tag="TM-04", model="Merle 40").status_code == 303
    assert post(client, "/machines/TM-04/boards/new", name="Main board", kind="main board").status_code == 303
    content = client.get(f"{BASE}/lists/parts.csv").content

    answer = client.post(
        "/machines/TM-04/parts/import",
        data={"board": "main-board", "text": "", "do": "look", "good": ""},
        files={"file": ("parts.csv", content, "text/csv")},
    )

    assert answer.status_code == 200
    assert "2 rows" in words_of(answer)
    with app.state.store.reading() as session:
        assert len(session.exec(select(Part)).all()) == 2
    await_job(client, address_of(press(client, answer, "/machines/TM-04/parts/import", "store")))
    assert client.get("/machines/TM-04/lists/parts.csv").content == content


def test_the_parts_of_one_board_can_be_taken_alone(client: TestClient) -> None:
    address_of(post(client, f"{BASE}/boards/new", name="Supply", kind="supply"))
    page = client.get(f"{BASE}/lists")
    alone = {slug: client.get(f"{BASE}/lists/parts.csv?board={slug}") for slug in ("main-board", "supply")}

    for slug, answer in alone.items():
        assert f'href="{BASE}/lists/parts.csv?board={slug}"' in page.text
        assert f"TM-03-{slug}-parts.csv" in answer.headers["content-disposition"]
    assert alone["main-board"].text == client.get(f"{BASE}/lists/parts.csv").text
    assert len(alone["supply"].text.splitlines()) == 1
    assert client.get(f"{BASE}/lists/parts.csv?board=none").status_code == 404
    assert client.get(f"{BASE}/lists/mods.csv?board=supply").status_code == 404


def test_what_is_private_is_there_only_when_asked_for(client: TestClient) -> None:
    post(client, "/machines/new", tag="TM-05", model="Merle 40", price="ninety guineas", acquired_from="a friend")
    plain = client.get("/lists/machines.csv").text
    private = client.get("/lists/machines.csv?private=yes").text

    assert "ninety guineas" not in plain
    assert "a friend" not in plain
    assert "ninety guineas" in private
    assert "a friend" in private


def test_both_pages_lead_to_their_lists(client: TestClient) -> None:
    for address, lists in (("/lists", OF_ALL), (f"{BASE}/lists", OF_A_MACHINE)):
        page = client.get(address)
        assert page.status_code == 200
        assert_sound(page)
        assert all(f'href="{address}/{name}.csv"' in page.text for name in lists)


@pytest.mark.parametrize("name", ["none", "parts", HOSTILE])
def test_a_list_that_is_none_of_these_is_not_found(client: TestClient, name: str) -> None:
    assert client.get(f"/lists/{name.replace('/', '')}.csv").status_code == 404
    assert client.get("/machines/XX-99/lists/parts.csv").status_code == 404
