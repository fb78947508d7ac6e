"""The page of two days side by side: what it says, and what it answers to days that will not do."""

from datetime import timedelta

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.records.commands.machines import ReviseMachine
from server.records.commands.mods import MoveMod, PlanMod
from server.records.commands.steps import AddStep, CarryOutStep
from tests.conftest import TODAY
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
    """The record knows nothing of it, and says so, of one day as of two."""
    to_come = (TODAY + timedelta(days=400)).isoformat()
    said = f"{to_come} is still to come: the record shows it as the machine stands today."

    page = changed.get(f"{BASE}/on/2024-01-01?against={to_come}")

    assert said in words_of(page)
    assert said in words_of(changed.get(f"{BASE}/on/{to_come}"))
    assert ["1 Test", "it came", "–", "in force"] in rows_of(page)


@pytest.mark.parametrize("typed", ["2024-02-30", "yesterday", "", "<script>"])
def test_a_day_that_is_none_is_asked_for_again(changed: TestClient, typed: str) -> None:
    """On the page of the day that is one, with what was typed still there."""
    page = changed.get(f"{BASE}/on/2024-01-01", params={"against": typed})

    assert page.status_code == 422
    assert "Write it as year-month-day" in message_beside(page, "against")
    assert typed == typed_in(page, "against")
    assert "What sat where" in words_of(page)
    assert_sound(page)


def test_a_first_day_left_empty_is_asked_for(changed: TestClient) -> None:
    page = changed.get(f"{BASE}/on", params={"day": "", "against": "2024-06-01"})

    assert page.status_code == 422
    assert "Write it as year-month-day" in message_beside(page, "day")
    assert (typed_in(page, "day"), typed_in(page, "against")) == ("", "2024-06-01")


def test_two_days_left_empty_are_asked_for(changed: TestClient) -> None:
    """The form comes back, on the day that it is, with a remark."""
    page = changed.get(f"{BASE}/on", params={"day": "", "against": ""})

    assert page.status_code == 422
    assert "Choose a day: either one alone, or two to set side by side." in message_beside(page, "day")
    assert f"at the end of {TODAY}" in words_of(page)
    assert_sound(page)


def test_a_day_alone_is_shown_where_the_other_was_left_empty(changed: TestClient) -> None:
    page = changed.get(f"{BASE}/on", params={"day": "2024-06-01", "against": ""})

    assert page.status_code == 200
    assert str(page.url).endswith("/on/2024-06-01")


def test_an_address_without_a_day_of_the_calendar_says_how_days_are_written(changed: TestClient) -> None:
    page = changed.get(f"{BASE}/on/2024-02-30")

    assert page.status_code == 404
    assert "There is no day in the calendar (they are written like 1981-09-30) “2024-02-30”." in words_of(page)


@pytest.mark.parametrize("address", [f"{BASE}/on/9999-12-31", f"{BASE}/on/2024-01-01?against=9999-12-31"])
def test_the_last_day_of_the_calendar_is_a_day_like_any_other(changed: TestClient, address: str) -> None:
    page = changed.get(address)

    assert page.status_code == 200
    assert "9999-12-31 is still to come" in words_of(page)
    assert "9999-12-30" not in page.text


def test_a_day_before_the_machine_came_in_is_said_to_be(app: FastAPI, changed: TestClient) -> None:
    """What it came with is all that the record can show of it."""
    revised = {"machine": "TM-03", "model": "Test machine", "acquired_on": "2023-05-01", "opened_version": 1}
    app.state.store.carry_out(ReviseMachine.read(revised), "keeper")
    said = "It came in on 2023-05-01; what is shown of a day before is what it came with."

    before, beside, after = (
        changed.get(f"{BASE}/on/{rest}") for rest in ("2023-04-30", "2023-04-30?against=2024-06-01", "2023-05-01")
    )

    assert [said in words_of(page) for page in (before, beside, after)] == [True, True, False]


def test_parts_that_are_called_the_same_are_told_apart_by_what_differs(app: FastAPI, changed: TestClient) -> None:
    """By their codes and their origin where these differ, else by their numbers."""
    enter_part(changed, "U3", kind="chip", type="AY-3-8912", date_code="8130", mounting="socketed")
    signed = {"machine": "TM-03", "day": "2024-05-01", "signer": "keeper"}
    app.state.store.carry_out(PlanMod.read({**signed, "title": "Another", "state": "planned"}), "keeper")
    for number, kind in ((1, "take out"), (2, "fit")):
        step = {"machine": "TM-03", "mod": 2, "kind": kind, "board": "main-board", "designator": "U3"}
        app.state.store.carry_out(AddStep.read(step), "keeper")
        fitted = {"type": "AY-3-8912", "origin": "period"} if kind == "fit" else {}
        app.state.store.carry_out(CarryOutStep.read({**signed, "mod": 2, "step": number, **fitted}), "keeper")

    page = changed.get(f"{BASE}/on/2024-04-01?against=2024-06-01")

    assert rows_of(page)[-1][1:3] == [
        "AY-3-8912 chip, origin original, date code 8130",
        "AY-3-8912 chip, origin period, no date code noted",
    ]


@pytest.mark.parametrize(
    "address", ["history", "on/2024-06-01", "on/2024-01-01?against=2024-06-01", "on?day=&against="]
)
def test_the_heading_comes_before_the_cautions_and_the_way_here_before_both(changed: TestClient, address: str) -> None:
    """As on every other page of a machine."""
    text = changed.get(f"{BASE}/{address}").text

    crumbs, heading, caution = (text.index(mark) for mark in ('class="crumbs"', "<h1", 'class="caution"'))
    assert crumbs < heading < caution
    assert text.count('class="caution"') == 1


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
