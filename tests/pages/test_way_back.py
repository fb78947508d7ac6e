"""The way back as a page: what it says before the first step, of each step, and at its end."""

import re
from datetime import date
from typing import Any

import pytest
from fastapi import FastAPI
from httpx2 import Response
from sqlalchemy import column, update
from sqlmodel import SQLModel
from starlette.testclient import TestClient

from server.records.commands.base import Command
from server.records.commands.board_moves import MoveBoard
from server.records.commands.mods import MoveMod, PlanMod
from server.records.commands.steps import AddStep, CarryOutStep, UndoStep
from server.records.store import Store
from tests.pages.benchwork import address_of, assert_sound, change_by_mod, enter_part, post, set_up, words_of
from tests.records.conftest import behind

BASE = "/machines/TM-03"
BACK = f"{BASE}/way-back"
DAY_OF_WORK = date(2024, 3, 1)
DAY = {"day": "2024-03-01", "signer": "keeper"}


@pytest.fixture
def store(app: FastAPI, client: TestClient) -> Store:
    """R1 was changed by mod 1; U1 sits beside it."""
    set_up(client)
    enter_part(client, "R1", value="330 Ω")
    enter_part(client, "U1", type="74LS00")
    store: Store = app.state.store
    change_by_mod(store)
    return store


def do(store: Store, command: type[Command], **given: object) -> None:
    store.carry_out(command.read({"machine": "TM-03", **given}), "keeper")


def work(store: Store, mod: int, *kinds: str, at: str = "U1", **about: Any) -> None:
    """Plan a mod and carry its steps out."""
    do(store, PlanMod, title=f"Mod {mod}", state="planned", **DAY)
    for number, kind in enumerate(kinds, start=1):
        do(store, AddStep, mod=mod, kind=kind, board="main-board", designator=at, **about)
        do(store, CarryOutStep, mod=mod, step=number, **DAY)


def walk(client: TestClient, address: str = BACK) -> Response:
    """Put back the first step until there is none; the page as it is then."""
    while True:
        page = client.get(address)
        if not (first := re.search(r'<a href="([^"]+/undo[^"]*)">Put back the first step', page.text)):
            return page
        typed = {"opened_version": "", "becomes": "bag", "back": "all", **DAY, "day": "2024-06-01"}
        assert address_of(post(client, first[1].replace("&amp;", "&"), **typed)) == BACK


def test_each_step_says_what_to_do_and_what_it_needs(store: Store, client: TestClient) -> None:
    work(store, 2, "lift pin", pin="3")

    page = client.get(BACK)

    assert_sound(page)
    words = words_of(page)
    assert "3 steps, the last done first." in words
    assert "bend the pin down once and solder it: pin 3 at U1 on Main board" in words
    assert "A lifted pin does not bend twice" in words
    assert "put 330 Ω resistor back at R1 on Main board" in words
    assert "Needs: 330 Ω resistor from bag 1." in words


def test_the_form_says_the_reverse(store: Store, client: TestClient) -> None:
    work(store, 2, "add link", pin="3")

    page = client.get(f"{BASE}/mods/2/steps/1/undo")

    assert "Take the link off: pin 3 at U1 on Main board" in words_of(page)


@pytest.mark.usefixtures("store")
def test_what_stands_in_the_way_is_said_before_the_first_step(client: TestClient) -> None:
    """It is the last step of two that needs the part which is gone."""
    part = re.findall(r'href="/parts/(\d+)"', client.get("/kept-aside/1").text)[0]
    address_of(post(client, f"/parts/{part}/keep-aside", **DAY, becomes="lost"))

    words = words_of(client.get(BACK))

    assert words.index("Before you begin") < words.index("Put back the first step")
    assert "the part is lost; a like one has to be found" in words


def test_only_the_mods_that_are_asked_for_and_what_lies_on_them(store: Store, client: TestClient) -> None:
    work(store, 2, "lift pin", pin="3")
    work(store, 3, "add link", pin="3")

    alone, pair = (words_of(client.get(f"{BACK}?{asked}")) for asked in ("mod=2", "mod=1&mod=3"))

    assert "Way back of mod 2, Mod 2" in alone
    assert "2 steps" in alone
    assert "Comes off too: it lies on mod 2, step 1 at U1." in alone
    assert "Way back of mods 1, 3" in pair
    assert "3 steps" in pair


def test_what_cannot_be_undone_is_told_apart(store: Store, client: TestClient) -> None:
    work(store, 2, "drill or cut case", at="", trace_reason="The jack needs a hole")

    words = words_of(client.get(BACK))

    assert "What cannot be undone drill or cut case: what was drilled or cut stays so." in words


def test_a_circle_is_named_and_offers_no_first_step(store: Store, client: TestClient) -> None:
    """It can only have come from elsewhere."""
    enter_part(client, "U2", type="74LS00")
    for mod, places in ((2, ("U1", "U2")), (3, ("U2", "U1"))):
        do(store, PlanMod, title=f"Mod {mod}", state="planned", **DAY)
        for number, place in enumerate(places, start=1):
            step = {"kind": "lift pin", "board": "main-board", "designator": place, "pin": "3"}
            do(store, AddStep, mod=mod, **step)
            do(store, CarryOutStep, mod=mod, step=number, **DAY)
    behind(store, update(SQLModel.metadata.tables["step"]).where(column("id") == 6).values(done_order=0))

    page = client.get(BACK)

    assert "these steps wait for each other" in words_of(page)
    assert "Put back the first step" not in page.text


@pytest.mark.usefixtures("store")
def test_walked_to_its_end_it_says_so(client: TestClient) -> None:
    assert "Nothing stands that would have to be put back." not in words_of(client.get(BACK))

    end = walk(client)

    assert_sound(end)
    assert "Put back so far: 2 steps, the last on 2024-06-01." in words_of(end)
    assert "All that was done and can be undone is put back." in words_of(end)
    assert f'href="{BASE}/originality"' in end.text


def test_half_way_only_the_begun_mod_is_counted(store: Store, client: TestClient) -> None:
    """An old mod that was put back as a whole is no part of this walk."""
    for step in (2, 1):
        do(store, UndoStep, mod=1, step=step, **DAY)
    work(store, 2, "lift pin", "add link", pin="3")

    fresh = words_of(client.get(BACK))
    do(store, UndoStep, mod=2, step=2, **DAY)

    assert "Put back so far" not in fresh
    assert "Put back so far: 1 step, the last on 2024-03-01. 1 still stands." in words_of(client.get(BACK))
    assert "Put back half-way" in words_of(client.get(f"{BASE}/mods/2"))


def test_a_long_way_back_shows_its_beginning(store: Store, client: TestClient) -> None:
    do(store, PlanMod, title="Much", state="planned", **DAY)
    for number in range(1, 105):
        do(store, AddStep, mod=2, kind="adjust", board="", instruction=f"Turn {number}")
    table = SQLModel.metadata.tables["step"]
    behind(store, update(table).where(column("mod_id") == 2).values(done_on=DAY_OF_WORK, done_order=table.c.id))

    page = client.get(BACK)

    assert len(re.findall(r"turn it back to the setting", page.text)) == 100
    assert "6 more follow; they are shown here as these are put back." in words_of(page)


def test_a_board_that_is_away_has_its_way_back_there(store: Store, client: TestClient) -> None:
    set_up(client, "TM-05")
    do(store, MoveMod, mod=1, state="fitted", **DAY)
    do(store, MoveBoard, board="main-board", to="TM-05", day="2024-05-01", signer="keeper")

    page = client.get(BACK)

    assert "Main board is in TM-05 now: what lies on it comes off there." in words_of(page)
    assert 'href="/machines/TM-05/way-back"' in page.text


def test_the_boards_old_address_says_where_it_is(store: Store, client: TestClient) -> None:
    set_up(client, "TM-05")
    do(store, MoveMod, mod=1, state="fitted", **DAY)
    do(store, MoveBoard, board="main-board", to="TM-05", day="2024-05-01", signer="keeper")

    page = client.get(f"{BASE}/boards/main-board")

    assert page.status_code == 404
    assert "That board left TM-03 and is in TM-05 now." in words_of(page)
    assert 'href="/machines/TM-05/boards/main-board-2"' in page.text


def test_a_like_part_is_told_from_the_one_that_was_taken_out(store: Store, client: TestClient) -> None:
    """On the mod's page, and on the sheet that a buyer reads."""
    do(store, PlanMod, title="Away with it", state="planned", **DAY)
    do(store, AddStep, mod=2, kind="take out", board="main-board", designator="R1")
    do(store, CarryOutStep, mod=2, step=1, becomes="discarded", **DAY)
    do(store, UndoStep, mod=2, step=1, value="1.1 kΩ", **DAY)

    assert "with 1.1 kΩ in the place of what was taken out" in words_of(client.get(f"{BASE}/mods/2"))
    assert "with 1.1 kΩ resistor (new) in its place" in words_of(client.get(f"{BASE}/sheet"))
