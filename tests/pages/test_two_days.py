"""The page of two days side by side: what it says, and what it answers to days that will not do."""

from datetime import date, timedelta

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.records.commands.mods import MoveMod
from tests.pages.benchwork import (
    HTMX,
    assert_sound,
    change_by_mod,
    enter_part,
    message_beside,
    queries,
    rows_of,
    set_up,
    typed_in,
    words_of,
)

BASE = "/machines/TM-03"


@pytest.fixture
def changed(app: FastAPI, client: TestClient) -> TestClient:
    """A machine whose R1 was changed by mod 1 on 2024-03-01."""
    set_up(client)
    enter_part(client, "R1", value="2k2", kind="resistor")
    change_by_mod(app.state.store)
    fitted = {"machine": "TM-03", "mod": 1, "state": "fitted", "day": "2024-03-02", "signer": "keeper"}
    app.state.store.carry_out(MoveMod.read(fitted), "keeper")
    return client


def test_two_days_are_chosen_in_the_history_and_on_a_day(changed: TestClient) -> None:
    """Both forms lead to the same page."""
    history = changed.get(f"{BASE}/history")
    chosen = changed.get(f"{BASE}/on", params={"day": "2024-01-01", "against": "2024-06-01"})
    beside = changed.get(f"{BASE}/on/2024-01-01", params={"against": "2024-06-01"})

    assert "Beside another day" in words_of(history)
    assert "Set beside another day" in words_of(changed.get(f"{BASE}/on/2024-01-01"))
    assert words_of(chosen) == words_of(beside)
    assert str(chosen.url).endswith("/on/2024-01-01?against=2024-06-01")


def test_it_says_what_came_and_what_holds_another_part(changed: TestClient) -> None:
    page = changed.get(f"{BASE}/on/2024-01-01?against=2024-06-01")

    assert rows_of(page) == [
        ["1 Test", "it came", "–", "in force"],
        ["R1 on Main board", "2k2 resistor", "1 kΩ resistor", "1 Test"],
    ]
    assert (typed_in(page, "day"), typed_in(page, "against")) == ("2024-01-01", "2024-06-01")
    assert_sound(page)


def test_it_is_quicker_with_htmx(changed: TestClient) -> None:
    page = changed.get(f"{BASE}/on/2024-01-01?against=2024-06-01", headers=HTMX)

    assert "<!doctype" not in page.text.lower()
    assert "it came" in page.text


def test_days_that_do_not_differ_are_said_to(changed: TestClient) -> None:
    page = changed.get(f"{BASE}/on/2023-01-01?against=2024-01-01")

    assert "Nothing that is recorded differs between the end of 2023-01-01 and the end of 2024-01-01." in words_of(page)
    assert rows_of(page) == []
    assert_sound(page)


def test_the_wrong_order_is_said_and_put_right(changed: TestClient) -> None:
    page = changed.get(f"{BASE}/on/2024-06-01?against=2024-01-01")

    assert "The later day was named first. Here they stand in the order of time." in words_of(page)
    assert rows_of(page) == rows_of(changed.get(f"{BASE}/on/2024-01-01?against=2024-06-01"))


def test_one_day_beside_itself_is_said_to_be_one(changed: TestClient) -> None:
    page = changed.get(f"{BASE}/on/2024-06-01?against=2024-06-01")

    assert "Both are the same day, so nothing can differ." in words_of(page)


def test_a_day_to_come_is_the_machine_as_it_stands(changed: TestClient) -> None:
    """The record knows nothing of it, and says so."""
    to_come = (date.today() + timedelta(days=400)).isoformat()  # noqa: DTZ011

    page = changed.get(f"{BASE}/on/2024-01-01?against={to_come}")

    assert f"{to_come} is still to come: the record shows it as the machine stands today." in words_of(page)
    assert ["1 Test", "it came", "–", "in force"] in rows_of(page)


@pytest.mark.parametrize("typed", ["2024-02-30", "yesterday", "", "<script>"])
def test_a_day_that_is_none_is_asked_for_again(changed: TestClient, typed: str) -> None:
    """On the page of the day that is one, with what was typed still there."""
    page = changed.get(f"{BASE}/on/2024-01-01", params={"against": typed})

    assert page.status_code == 422
    assert "Write the other day as year-month-day" in message_beside(page, "against")
    assert typed == typed_in(page, "against")
    assert "What sat where" in words_of(page)
    assert_sound(page)


def test_a_first_day_left_empty_is_asked_for(changed: TestClient) -> None:
    page = changed.get(f"{BASE}/on", params={"day": "", "against": "2024-06-01"})

    assert page.status_code == 422
    assert "Write the other day as year-month-day" in message_beside(page, "against")


def test_it_asks_as_much_of_two_parts_as_of_many(app: FastAPI, changed: TestClient) -> None:
    address = f"{BASE}/on/2024-01-01?against=2024-06-01"
    with queries(app.state.store) as few:
        changed.get(address)
    for number in range(2, 9):
        enter_part(changed, f"R{number}", value="1k", kind="resistor", fitted_on="2024-04-01")

    with queries(app.state.store) as many:
        page = changed.get(address)

    assert len(few) == len(many)
    assert len(rows_of(page)) == 9
