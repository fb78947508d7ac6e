"""Boards and positions: entered, shown with the parts that sit there, revised, and never saved over unseen."""

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.records.parts_list import command_for
from tests.pages.benchwork import (
    HOSTILE,
    HTMX,
    address_of,
    assert_sound,
    change_by_mod,
    enter_part,
    message_beside,
    post,
    queries,
    rows_of,
    set_up,
    typed_in,
    words_of,
)

BOARDS = "/machines/TM-03/boards"


@pytest.fixture
def board(client: TestClient) -> str:
    return set_up(client)


@pytest.mark.parametrize("htmx", [False, True])
def test_a_board_is_added_and_shown(client: TestClient, htmx: bool) -> None:
    post(client, "/machines/new", tag="TM-03", model="Test machine")

    answer = post(client, f"{BOARDS}/new", htmx, name="Display board", kind="display board", revision="2")

    shown = client.get(address_of(answer))
    assert address_of(answer) == f"{BOARDS}/display-board"
    assert shown.status_code == 200
    assert "Revision 2" in words_of(shown)
    assert_sound(shown)


@pytest.mark.parametrize("htmx", [False, True])
def test_a_board_that_will_not_do_comes_back_as_it_was_typed(client: TestClient, htmx: bool) -> None:
    post(client, "/machines/new", tag="TM-03", model="Test machine")

    answer = post(client, f"{BOARDS}/new", htmx, name=" ", kind="supply", revision="2", note=HOSTILE)

    assert answer.status_code == 422
    assert ("<!doctype" in answer.text.lower()) != htmx
    assert "cannot be left empty" in message_beside(answer, "name")
    assert (typed_in(answer, "kind"), typed_in(answer, "revision")) == ("supply", "2")
    assert typed_in(answer, "note") == HOSTILE
    assert_sound(answer)
    undated = post(client, f"{BOARDS}/new", htmx, name="Supply", kind="supply", made="long ago")
    assert "Write it as a year" in message_beside(undated, "made")


def test_the_first_board_is_offered_as_the_main_board(client: TestClient) -> None:
    post(client, "/machines/new", tag="TM-03", model="Test machine")

    assert typed_in(client.get(f"{BOARDS}/new"), "kind") == "main board"


def test_a_board_is_revised(client: TestClient, board: str) -> None:
    form = client.get(f"{board}/edit")

    answer = post(
        client,
        f"{board}/edit",
        name="Main board",
        kind="main board",
        revision="3",
        opened_version=typed_in(form, "opened_version"),
    )

    assert_sound(form)
    assert "revision “3” noted" in words_of(client.get(answer.headers["location"]))


@pytest.mark.parametrize("htmx", [False, True])
def test_a_board_that_someone_else_saved_shows_both_versions(client: TestClient, board: str, htmx: bool) -> None:
    opened = typed_in(client.get(f"{board}/edit"), "opened_version")
    typed = {"name": "Main board", "kind": "main board", "opened_version": opened}
    post(client, f"{board}/edit", **typed, revision="theirs")

    answer = post(client, f"{board}/edit", htmx, **typed, revision="mine")

    assert answer.status_code == 409
    assert ["revision differs", "mine", "theirs"] in rows_of(answer)
    assert typed_in(answer, "revision") == "mine"
    assert typed_in(answer, "opened_version") == "2"
    again = post(client, f"{board}/edit", **{**typed, "opened_version": "2"}, revision="mine")
    assert again.status_code == 303


def test_a_board_shows_what_holds_it_and_what_it_holds(client: TestClient, board: str) -> None:
    added = post(client, f"{BOARDS}/new", name="Plug-in", kind="expansion", parent="main-board")

    assert "Holds Plug-in" in words_of(client.get(board))
    assert "Sits on Main board" in words_of(client.get(address_of(added)))


def test_a_board_bears_its_own_cautions_and_its_machine_s(client: TestClient, board: str) -> None:
    """Rule 9: on the board's page, on its positions' pages and where its parts are entered."""
    enter_part(client, "U1")

    for address in (board, f"{board}/positions/U1", "/machines/TM-03/parts/new?board=main-board", "/parts/1"):
        words = words_of(client.get(address))
        assert "A display tube keeps a high voltage" in words
        assert "die from static" in words


def test_a_board_without_positions_says_what_to_do(client: TestClient, board: str) -> None:
    page = client.get(board)

    assert "No position is recorded yet." in words_of(page)
    assert 'href="/machines/TM-03/parts/import?board=main-board"' in page.text
    assert_sound(page)


def test_positions_stand_in_the_order_of_their_numbers_with_their_parts(client: TestClient, board: str) -> None:
    enter_part(client, "R10", value="1 kΩ")
    enter_part(client, "R2", value="330 Ω ±5 %", date_code="8342", mounting="socketed")
    post(client, f"{board}/positions/new", designator="R3", kind="resistor", mounting="wired", expected_value="4k7")

    page = client.get(board)

    assert rows_of(page) == [
        ["R2", "330 Ω ±5 %", "8342", "original", "socketed", "–"],
        ["R3", "nothing recorded", "–", "–", "wired", "4k7"],
        ["R10", "1 kΩ", "–", "original", "soldered", "–"],
    ]
    assert_sound(page)


def test_a_board_asks_as_many_questions_for_many_positions_as_for_one(
    client: TestClient, app: FastAPI, board: str
) -> None:
    enter_part(client, "R1")
    with queries(app.state.store) as for_one:
        client.get(board)
    for number in range(2, 30):
        enter_part(client, f"R{number}")

    with queries(app.state.store) as for_many:
        client.get(board)

    assert len(for_many) == len(for_one)


def test_positions_are_paged(client: TestClient, app: FastAPI, board: str) -> None:
    rows = "ref\n" + "\n".join(f"R{number}" for number in range(1, 131))
    store = app.state.store
    store.carry_out(command_for(store, "TM-03", "main-board", rows.encode()), "keeper")

    second = client.get(f"{board}?page=2")

    assert [row[0] for row in rows_of(second)] == [f"R{number}" for number in range(101, 131)]
    assert "Page 2 of 2" in words_of(second)


@pytest.mark.parametrize("htmx", [False, True])
def test_a_position_is_added_and_shown(client: TestClient, board: str, htmx: bool) -> None:
    answer = post(
        client,
        f"{board}/positions/new",
        htmx,
        designator="U 7+",
        kind="chip",
        mounting="socketed",
        expected_type="74LS00",
        pins="14",
    )

    shown = client.get(address_of(answer))
    words = words_of(shown)
    assert address_of(answer) == f"{board}/positions/U%207%2B"
    assert "Expected 74LS00" in words
    assert "Pins 14" in words
    assert "No part is recorded here yet." in words
    assert 'href="/machines/TM-03/parts/new?board=main-board&amp;designator=U+7%2B"' in shown.text
    assert_sound(shown)


@pytest.mark.parametrize("htmx", [False, True])
def test_a_position_that_will_not_do_comes_back_as_it_was_typed(client: TestClient, board: str, htmx: bool) -> None:
    enter_part(client, "R1")

    answer = post(
        client,
        f"{board}/positions/new",
        htmx,
        designator="r01",
        kind="resistor",
        mounting="soldered",
        expected_value="5 V",
        pins="many",
    )

    assert answer.status_code == 422
    assert ("<!doctype" in answer.text.lower()) != htmx
    assert message_beside(answer, "pins") == "Look again: Write a whole number."
    assert (typed_in(answer, "designator"), typed_in(answer, "expected_value")) == ("r01", "5 V")
    taken = post(client, f"{board}/positions/new", designator="r01", kind="resistor", mounting="soldered")
    assert "already has a position R1" in message_beside(taken, "designator")
    assert_sound(taken)


@pytest.mark.parametrize("htmx", [False, True])
def test_a_position_is_revised_on_its_own_page(client: TestClient, board: str, htmx: bool) -> None:
    enter_part(client, "R1", value="330 Ω")
    page = client.get(f"{board}/positions/r1")
    typed = {"kind": "resistor", "mounting": "soldered", "opened_version": typed_in(page, "opened_version")}

    bad = post(client, f"{board}/positions/R1", htmx, **typed, expected_value="wide")
    good = post(client, f"{board}/positions/R1", htmx, **typed, expected_value="330 Ω ±5 %")
    stale = post(client, f"{board}/positions/R1", htmx, **typed, expected_value="360 Ω")

    assert bad.status_code == 422
    assert message_beside(bad, "expected_value")
    assert "Expected 330 Ω ±5 %" in words_of(client.get(address_of(good)))
    assert stale.status_code == 409
    assert ["expected value differs", "360 Ω", "330 Ω ±5 %"] in rows_of(stale)
    assert "<details open>" in stale.text
    for answer in (page, bad, stale):
        assert_sound(answer)


def test_a_position_tells_which_parts_sat_there_and_which_step_changed_them(
    client: TestClient, app: FastAPI, board: str
) -> None:
    enter_part(client, "R1", value="330 Ω", fitted_on="1999-01-01")
    change_by_mod(app.state.store)

    page = client.get(f"{board}/positions/R1")

    words = words_of(page)
    assert "2024-03-01 1 kΩ resistor, new. There now. fitted by step 2 of mod 1" in words
    assert "1999-01-01 330 Ω resistor, original. Taken out 2024-03-01. taken out by step 1 of mod 1" in words
    assert "Enter the part that sits here" not in words
    assert_sound(page)


@pytest.mark.parametrize(
    "address",
    [
        "/machines/no/boards/new",
        f"{BOARDS}/no",
        f"{BOARDS}/no/edit",
        f"{BOARDS}/no/positions/new",
        f"{BOARDS}/main-board/positions/U99",
        f"{BOARDS}/main-board/positions/%2e%2e",
    ],
)
def test_what_is_not_there_is_not_found(client: TestClient, board: str, address: str) -> None:
    answer = client.get(address)

    assert board
    assert answer.status_code == 404
    assert "There is no" in words_of(answer)


def test_hostile_text_is_shown_as_text(client: TestClient, board: str) -> None:
    """On a board, a position and their lists, whatever was typed is words."""
    added = post(client, f"{BOARDS}/new", name=HOSTILE, kind="other", note=HOSTILE, revision=HOSTILE)
    hostile = address_of(added)
    post(client, f"{hostile}/positions/new", designator="U1 <b>", kind="chip", mounting="wired", expected_type=HOSTILE)

    for address in (hostile, f"{hostile}/edit", f"{hostile}/positions/U1%20%3Cb%3E", board):
        page = client.get(address)
        assert page.status_code == 200
        assert "<script>alert" not in page.text
        assert "<b>" not in page.text
        assert_sound(page)


def test_a_page_for_htmx_is_its_content_alone(client: TestClient, board: str) -> None:
    page = client.get(board, headers=HTMX)

    assert "<!doctype" not in page.text.lower()
    assert page.headers["vary"] == "HX-Request"


def test_a_board_that_went_on_within_a_day_was_there_for_less_than_one(client: TestClient) -> None:
    """Where it has been says neither that it came nor that it left at a day's distance."""
    set_up(client)
    for tag in ("TM-05", "TM-07"):
        post(client, "/machines/new", tag=tag, model="Test machine")
    moved = {"day": "2024-05-01", "signer": "Ada Wren"}
    there = address_of(post(client, "/machines/TM-03/boards/main-board/move", to="TM-05", **moved))
    there = address_of(post(client, f"{there}/move", to="TM-07", **moved))

    words = words_of(client.get(there))

    assert "In TM-03 from the start until 2024-05-01." in words
    assert "In TM-05 on 2024-05-01, for less than a day, signed Ada Wren." in words
    assert "In TM-07 since 2024-05-01, signed Ada Wren." in words
