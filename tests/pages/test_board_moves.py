"""Moving a board to another machine through the pages, and what both machines' pages say of it afterwards."""

import re

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.records.commands.mods import MoveMod, PlanMod
from server.records.commands.steps import AddStep
from server.records.store import Store
from tests.pages.benchwork import (
    HOSTILE,
    address_of,
    assert_sound,
    change_by_mod,
    enter_part,
    message_beside,
    post,
    queries,
    set_up,
    typed_in,
    words_of,
)

OLD, NEW = "/machines/TM-03", "/machines/TM-05"
MOVE = f"{OLD}/boards/main-board/move"
TYPED = {"to": "TM-05", "day": "2024-05-01", "signer": "Ada Wren", "note": "To see which is at fault."}


def fitted(store: Store, number: int = 1) -> None:
    move = {"machine": "TM-03", "mod": number, "state": "fitted", "day": "2024-03-02", "signer": "keeper"}
    store.carry_out(MoveMod.read(move), "keeper")


@pytest.fixture
def shelf(app: FastAPI, client: TestClient) -> TestClient:
    """Two machines with a main board each; R1 of TM-03 was changed by its mod 1."""
    set_up(client)
    enter_part(client, "R1", value="2k2", kind="resistor")
    change_by_mod(app.state.store)
    fitted(app.state.store)
    set_up(client, "TM-05")
    return client


def test_the_form_offers_the_other_machines(shelf: TestClient) -> None:
    page = shelf.get(MOVE)

    assert f'href="{MOVE}"' in shelf.get(f"{OLD}/boards/main-board").text
    assert re.findall(r'<option value="([^"]*)"', page.text) == ["", "TM-05"]
    assert_sound(page)


def test_alone_on_the_shelf_it_can_go_nowhere(client: TestClient) -> None:
    set_up(client)

    page = client.get(MOVE)

    assert "There is no other machine on the shelf" in words_of(page)
    assert 'href="/machines/new"' in page.text


@pytest.mark.parametrize("htmx", [False, True])
def test_a_board_moves_and_its_page_says_where_it_has_been(shelf: TestClient, htmx: bool) -> None:
    answer = post(shelf, MOVE, htmx, **TYPED)

    page = shelf.get(address_of(answer))
    assert address_of(answer) == f"{NEW}/boards/main-board-2"
    assert "In TM-03 from the start until 2024-05-01. " in words_of(page)
    assert "In TM-05 since 2024-05-01, signed Ada Wren. To see which is at fault." in words_of(page)
    assert "Came with it: mod 1 of TM-03, Test (fitted)." in words_of(page)
    assert shelf.get(f"{OLD}/boards/main-board").status_code == 404
    assert_sound(page)


def test_both_machines_say_what_came_and_what_left(shelf: TestClient) -> None:
    post(shelf, MOVE, **TYPED)
    old, new, mod = (shelf.get(address) for address in (OLD, NEW, f"{OLD}/mods/1"))

    assert "Main board left on 2024-05-01; it is in TM-05 now." in words_of(old)
    assert "Went with Main board to TM-05: mod 1, Test (fitted)." in words_of(old)
    assert "Came with Main board from TM-03: mod 1, Test (fitted)." in words_of(new)
    assert "Main board, which it has steps on, is in TM-05 since 2024-05-01" in words_of(mod)
    assert f'href="{NEW}/way-back?mod=TM-03/1"' in mod.text
    said = "Main board of TM-03 is in TM-05 since 2024-05-01, signed Ada Wren."
    assert all(said in words_of(shelf.get(f"{base}/history")) for base in (OLD, NEW))
    for page in (old, new, mod):
        assert_sound(page)


def test_days_before_and_after_show_it_in_one_machine_each(shelf: TestClient) -> None:
    post(shelf, MOVE, **TYPED)
    before, after = shelf.get(f"{OLD}/on/2024-04-30"), shelf.get(f"{NEW}/on/2024-05-01")

    assert "1 kΩ" in before.text
    assert "No position is recorded" in words_of(shelf.get(f"{OLD}/on/2024-05-01"))
    assert "Test mod 1 of TM-03, which came with a board" in words_of(after)
    beside = words_of(shelf.get(f"{NEW}/on/2024-01-01?against=2024-06-01"))
    assert "Main board came on 2024-05-01, with all that sits on it." in beside
    assert "1 of TM-03, Test it came – in force" in beside


def test_the_way_back_is_walked_in_the_machine_that_it_is_in(shelf: TestClient) -> None:
    """Each step is put back at its mod's own address, and leads back to this machine's way back."""
    post(shelf, MOVE, **TYPED)
    for _ in range(2):
        page = shelf.get(f"{NEW}/way-back")
        first = re.search(r'<a href="([^"]+)">Put back the first step', page.text)
        assert first
        form = shelf.get(first[1].replace("&amp;", "&"))
        typed = {name: typed_in(form, name) for name in ("opened_version", "back", "signer")}
        action = first[1].partition("?")[0]
        answer = post(shelf, action, **typed, day="2024-06-01", becomes="discarded", then_undone="true")
        assert action.startswith(f"{OLD}/mods/1/steps/")
        assert address_of(answer) == f"{NEW}/way-back"

    assert "Put back so far: 2 steps" in words_of(shelf.get(f"{NEW}/way-back"))
    assert "undone" in words_of(shelf.get(f"{OLD}/mods/1"))


def test_the_way_back_of_one_mod_that_came_is_asked_by_both_its_names(shelf: TestClient) -> None:
    """The old machine's page leads to the new one's."""
    post(shelf, MOVE, **TYPED)
    there = shelf.get(f"{NEW}/way-back?mod=TM-03/1")
    here = shelf.get(f"{OLD}/way-back?mod=1")

    assert "Way back of mod 1 of TM-03, Test" in words_of(there)
    assert "Mod 1 of TM-03, step 2, done 2024-03-01" in words_of(there)
    assert "Mod 1 went to TM-05 with its board: its way back is there." in words_of(here)
    assert 'href="/machines/TM-05/way-back?mod=TM-03%2F1"' in here.text
    assert shelf.get(f"{NEW}/way-back?mod=TM-99/1").status_code == 404


def test_the_sheets_and_records_of_both_can_be_had(shelf: TestClient) -> None:
    post(shelf, MOVE, **TYPED)

    for base, said in ((OLD, "which went to TM-05 on 2024-05-01."), (NEW, "which came from TM-03 on 2024-05-01.")):
        page = shelf.get(f"{base}/sheet")
        assert f"Mod 1 of TM-03, Test (fitted), is on Main board, {said}" in words_of(page)
        assert_sound(page)
        assert shelf.get(f"/api/v1{base}").status_code == 200
        assert shelf.get(f"{base}/sheet.pdf").content.startswith(b"%PDF")


def test_what_will_not_do_keeps_what_was_typed(shelf: TestClient) -> None:
    page = post(shelf, MOVE, **{**TYPED, "to": "", "day": "2024-02-30", "note": HOSTILE})

    assert page.status_code == 422
    assert "cannot be left empty" in message_beside(page, "to")
    assert "no day 2024-02-30" in message_beside(page, "day")
    assert typed_in(page, "note") == HOSTILE
    assert_sound(page)


def test_an_open_mod_holds_the_board(app: FastAPI, shelf: TestClient) -> None:
    """Said on top of the form."""
    planned = {"machine": "TM-03", "title": "More", "state": "planned", "day": "2024-04-01", "signer": "keeper"}
    app.state.store.carry_out(PlanMod.read(planned), "keeper")
    step = {"machine": "TM-03", "mod": 2, "kind": "take out", "board": "main-board", "designator": "R1"}
    app.state.store.carry_out(AddStep.read(step), "keeper")

    page = post(shelf, MOVE, **TYPED)

    assert page.status_code == 422
    assert "Mod 2 is planned and has steps on this board." in words_of(page)


def test_a_form_that_is_sent_twice_says_that_the_board_is_gone(shelf: TestClient) -> None:
    post(shelf, MOVE, **TYPED)

    assert post(shelf, MOVE, **TYPED).status_code == 404


def test_another_step_of_a_mod_that_came_is_written_on_its_board(shelf: TestClient) -> None:
    """The boards offered are those that came with it."""
    post(shelf, MOVE, **TYPED)
    form = shelf.get(f"{OLD}/mods/1/steps/new")

    answer = post(
        shelf, f"{OLD}/mods/1/steps/new", kind="adjust", board="main-board-2", designator="R1", trace_stated=""
    )

    assert '<option value="main-board-2"' in form.text
    assert '<option value="main-board">' not in form.text
    assert address_of(answer) == f"{OLD}/mods/1#steps"


def test_a_trial_there_names_the_mod_that_came(shelf: TestClient) -> None:
    post(shelf, MOVE, **TYPED)
    post(shelf, "/procedures/new", title="Hum", unit="mV", better="lower")
    trial = address_of(
        post(shelf, f"{NEW}/trials/new", procedure="hum", day="2024-06-01", readings="4 5", signer="keeper")
    )

    page = shelf.get(trial)

    assert "1 of TM-03, Test" in words_of(page)
    assert f'href="{OLD}/mods/1"' in page.text
    assert_sound(page)


def test_a_machine_asks_as_much_with_boards_that_moved_as_without(app: FastAPI, shelf: TestClient) -> None:
    """Of its own page, its sheet, its way back and a day."""
    pages = (NEW, f"{NEW}/sheet", f"{NEW}/way-back", f"{NEW}/on/2024-06-01", f"{NEW}/history")

    def count() -> list[int]:
        counted = []
        for address in pages:
            with queries(app.state.store) as asked:
                assert shelf.get(address).status_code == 200
            counted.append(len([one for one in asked if not one.startswith("BEGIN")]))
        return counted

    post(shelf, MOVE, **TYPED)
    few = count()
    for name in ("Drive", "Riser"):
        post(shelf, f"{OLD}/boards/new", name=name, kind="other")
        part = {"board": name.lower(), "value": "1k", "kind": "resistor"}
        enter_part(shelf, "R1", **part)
        step = {"machine": "TM-03", "mod": 2 if name == "Drive" else 3}
        planned = {"title": name, "state": "planned", "day": "2024-03-01", "signer": "keeper"}
        app.state.store.carry_out(PlanMod.read({"machine": "TM-03", **planned}), "keeper")
        taken = {**step, "kind": "take out", "board": name.lower(), "designator": "R1"}
        app.state.store.carry_out(AddStep.read(taken), "keeper")
        post(shelf, f"{OLD}/mods/{step['mod']}/steps/1/do", day="2024-03-01", signer="keeper", becomes="bag")
        fitted(app.state.store, int(str(step["mod"])))
        post(shelf, f"{OLD}/boards/{name.lower()}/move", **TYPED)

    assert few == count()
