"""Parts: entered one after another at the bench, found again in their machine, revised, and followed over time."""

import pytest
from fastapi import FastAPI
from hypothesis import given
from hypothesis import settings as effort
from hypothesis import strategies as st
from starlette.testclient import TestClient

from server.pages.understood import understood
from server.records.words import PartKind
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

PARTS = "/machines/TM-03/parts"


@pytest.fixture(autouse=True)
def board(client: TestClient) -> str:
    return set_up(client)


def test_a_part_is_entered_and_looked_at(client: TestClient) -> None:
    answer = enter_part(client, "R1", value="4k7 J", date_code="8342", maker_mark="XYZ", then="look")

    page = client.get(answer.headers["location"])
    words = words_of(page)
    assert address_of(answer) == "/parts/1"
    assert "Entered 4k7 J resistor at R1 on Main board of TM-03." in words
    assert "4k7 J resistor at R1, TM-03" in words
    assert "Understood as 4.7 kΩ ±5 %, from the letter code 4k7J." in words
    assert "The sums take it from 4.465 kΩ to 4.935 kΩ." in words
    assert "Date code 8342, as printed" in words
    assert "At R1 on Main board of TM-03. Now." in words
    assert_sound(page)


@pytest.mark.parametrize("htmx", [False, True])
def test_after_a_part_the_next_position_is_offered(client: TestClient, htmx: bool) -> None:
    """Board, origin and mounting stay; the designator counts on; the kind comes from the designator again."""
    typed = {"board": "main-board", "kind": "", "origin": "later", "mounting": "socketed", "then": "next"}

    answer = post(client, f"{PARTS}/new", htmx, **typed, designator="U9", type="74LS00")

    following = client.get(address_of(answer), headers=HTMX if htmx else {})
    assert following.status_code == 200
    assert typed_in(following, "designator") == "U10"
    assert typed_in(following, "board") == "main-board"
    assert (typed_in(following, "origin"), typed_in(following, "mounting")) == ("later", "socketed")
    assert typed_in(following, "kind") == ""
    assert_sound(following)


def test_the_next_position_is_the_next_empty_one_of_the_board(client: TestClient, board: str) -> None:
    for designator in ("R2", "R20", "R100"):
        post(client, f"{board}/positions/new", designator=designator, kind="resistor", mounting="wired")
    enter_part(client, "R20")

    following = client.get(address_of(enter_part(client, "R2", then="next")))

    assert typed_in(following, "designator") == "R100"
    assert typed_in(following, "kind") == "resistor"
    assert "R100 is on the board, wired." in words_of(following)


def test_a_designator_that_is_taken_is_not_offered(client: TestClient) -> None:
    enter_part(client, "R2")

    following = client.get(address_of(enter_part(client, "R1", then="next")))

    assert typed_in(following, "designator") == ""


@pytest.mark.parametrize("htmx", [False, True])
def test_a_part_that_will_not_do_comes_back_as_it_was_typed(client: TestClient, htmx: bool) -> None:
    typed = {"board": "main-board", "designator": "R1", "kind": "", "origin": "original", "mounting": ""}

    answer = post(client, f"{PARTS}/new", htmx, **typed, value="5 V", type=HOSTILE, note="kept")

    assert answer.status_code == 422
    assert ("<!doctype" in answer.text.lower()) != htmx
    assert message_beside(answer, "value")
    assert (typed_in(answer, "value"), typed_in(answer, "type")) == ("5 V", HOSTILE)
    assert (typed_in(answer, "kind"), typed_in(answer, "mounting"), typed_in(answer, "note")) == ("", "", "kept")
    assert "<details open>" in answer.text
    assert_sound(answer)


@pytest.mark.parametrize(
    ("about", "field", "said"),
    [
        ({"designator": ""}, "designator", "cannot be left empty"),
        ({"designator": "A/B"}, "designator", "part of an address"),
        ({"designator": "U1"}, "designator", "U1 already holds a 74LS00 chip"),
        ({"designator": "U2", "kind": "gizmo"}, "kind", "Choose one of the words"),
        ({"designator": "U2", "origin": ""}, "origin", "Choose one of the words"),
        ({"designator": "U2", "fitted_on": "1981"}, "fitted_on", "year-month-day"),
        ({"designator": "U2", "type": "x" * 301}, "type", "301 characters"),
        ({"designator": "U2", "type": "a\x00b"}, "type", "control character"),
        ({"designator": "U3", "mounting": "wired"}, "mounting", "U3 is on the board as socketed"),
    ],
)
def test_each_fault_is_told_beside_its_field(
    client: TestClient, board: str, about: dict[str, str], field: str, said: str
) -> None:
    enter_part(client, "U1", type="74LS00")
    post(client, f"{board}/positions/new", designator="U3", kind="chip", mounting="socketed")

    answer = enter_part(client, **about)

    assert answer.status_code == 422
    assert said in message_beside(answer, field)


def test_a_position_that_a_mod_emptied_is_filled_by_a_mod(client: TestClient, app: FastAPI) -> None:
    """Its page no longer offers to enter a part, and what is entered all the same is refused."""
    from server.records.commands.steps import UndoStep

    enter_part(client, "R1", value="330 Ω")
    change_by_mod(app.state.store)
    undo = {"machine": "TM-03", "mod": 1, "step": 2, "day": "2024-04-01", "signer": "keeper"}
    app.state.store.carry_out(UndoStep.read(undo), "keeper")

    page = client.get("/machines/TM-03/boards/main-board/positions/R1")
    refused = enter_part(client, "R1", value="1 kΩ", fitted_on="2024-04-01")

    assert "Enter the part that sits here" not in page.text
    assert "took out what sat at R1" in message_beside(refused, "designator")


def test_a_machine_without_boards_says_what_to_do(client: TestClient) -> None:
    post(client, "/machines/new", tag="BARE", model="Bare")

    for address in ("/machines/BARE/parts", "/machines/BARE/parts/new", "/machines/BARE/parts/import"):
        page = client.get(address)
        assert 'href="/machines/BARE/boards/new"' in page.text
        assert_sound(page)


def test_parts_are_listed_by_board_and_position(client: TestClient) -> None:
    post(client, "/machines/TM-03/boards/new", name="A board", kind="supply")
    enter_part(client, "R10", value="1 kΩ", origin="later")
    enter_part(client, "R2", value="330 Ω", date_code="8342", maker_mark="XYZ")
    enter_part(client, "C1", board="a-board", value="100 nF")

    page = client.get(PARTS)

    assert rows_of(page) == [
        ["100 nF", "capacitor", "A board", "C1", "–", "–", "original"],
        ["330 Ω", "resistor", "Main board", "R2", "8342", "XYZ", "original"],
        ["1 kΩ", "resistor", "Main board", "R10", "–", "–", "later"],
    ]
    assert_sound(page)


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ("q=r1", ["R1"]),
        ("q=ABC", ["R1", "C1"]),
        ("q=abc+film", ["R1"]),
        ("q=83%2542", ["C1"]),
        ("q=_", []),
        ("q=%00", ["R1", "C1", "U1"]),
        ("kind=capacitor", ["C1"]),
        ("origin=later", ["U1"]),
        ("kind=resistor&origin=later", []),
        ("kind=gizmo&origin=none", ["R1", "C1", "U1"]),
    ],
)
def test_a_list_is_narrowed_by_words_kind_and_origin(client: TestClient, query: str, found: list[str]) -> None:
    enter_part(client, "R1", type="carbon film", maker_mark="abc")
    enter_part(client, "C1", maker_mark="ABC", date_code="83%42")
    enter_part(client, "U1", origin="later", mounting="socketed")

    page = client.get(f"{PARTS}?{query}")

    assert page.status_code == 200
    assert sorted(found) == sorted(row[3] for row in rows_of(page))
    assert_sound(page)


def test_a_narrowed_list_stays_narrowed_on_its_next_page(client: TestClient, app: FastAPI) -> None:
    from server.records.parts_list import command_for

    rows = "ref,type\n" + "\n".join(f"R{number},film & foil" for number in range(1, 131)) + "\nC1,ceramic\n"
    store = app.state.store
    store.carry_out(command_for(store, "TM-03", "main-board", rows.encode()), "keeper")

    first = client.get(PARTS, params={"q": "film & foil", "kind": "resistor"})

    assert 'href="/machines/TM-03/parts?q=film+%26+foil&amp;kind=resistor&amp;page=2"' in first.text
    second = client.get(f"{PARTS}?q=film+%26+foil&kind=resistor&page=2")
    assert [row[3] for row in rows_of(second)] == [f"R{number}" for number in range(101, 131)]
    assert typed_in(second, "q") == "film & foil"


def test_a_list_of_parts_asks_as_many_questions_for_many_as_for_one(client: TestClient, app: FastAPI) -> None:
    enter_part(client, "R1")
    with queries(app.state.store) as for_one:
        client.get(PARTS)
    for number in range(2, 30):
        enter_part(client, f"R{number}")

    with queries(app.state.store) as for_many:
        client.get(PARTS)

    assert len(for_many) == len(for_one)


@pytest.mark.parametrize("htmx", [False, True])
def test_a_part_is_revised(client: TestClient, htmx: bool) -> None:
    enter_part(client, "R1", value="330 Ω")
    form = client.get("/parts/1/edit")
    typed = {"kind": "resistor", "origin": "period", "opened_version": typed_in(form, "opened_version")}

    bad = post(client, "/parts/1/edit", htmx, **typed, value="lots")
    good = post(client, "/parts/1/edit", htmx, **typed, value="360 Ω")
    stale = post(client, "/parts/1/edit", htmx, **typed, value="390 Ω")

    assert typed_in(form, "value") == "330 Ω"
    assert bad.status_code == 422
    assert typed_in(bad, "value") == "lots"
    assert message_beside(bad, "value")
    assert "value from “330 Ω” to “360 Ω”" in words_of(client.get(address_of(good)))
    assert stale.status_code == 409
    assert ["value differs", "390 Ω", "360 Ω"] in rows_of(stale)
    for answer in (form, bad, stale):
        assert_sound(answer)


def test_a_part_tells_where_it_has_been(client: TestClient, app: FastAPI) -> None:
    """At its position, taken out by a step, in its bag with the position that it came from."""
    enter_part(client, "R1", value="330 Ω", fitted_on="1999-01-01")
    change_by_mod(app.state.store)

    old, new = client.get("/parts/1"), client.get("/parts/2")

    words = words_of(old)
    assert "Now in bag 1, Drawer 4" in words
    assert "2024-03-01 In bag 1, Drawer 4; it came from R1 on Main board of TM-03. Now." in words
    assert "1999-01-01 At R1 on Main board of TM-03. Until 2024-03-01. Taken out by step 1 of mod 1" in words
    assert "Put there by step 2 of mod 1" in words_of(new)
    assert_sound(old)
    assert_sound(new)


def test_a_value_without_a_tolerance_says_so(client: TestClient) -> None:
    enter_part(client, "R1", value="330 Ω")

    assert "Understood as 330 Ω. The sums take it as exact." in words_of(client.get("/parts/1"))


@pytest.mark.parametrize("address", ["/parts/0", "/parts/7", "/parts/x", "/parts/-1", f"/parts/{'9' * 5000}"])
def test_a_part_that_is_not_there_is_not_found(client: TestClient, address: str) -> None:
    answer = client.get(address)

    assert answer.status_code == 404
    assert "There is no part" in words_of(answer)


@pytest.mark.parametrize(
    ("value", "designator", "said"),
    [
        ("2k2 5%", "R1", "Understood as 2.2 kΩ ±5 %. The sums take it from 2.09 kΩ to 2.31 kΩ."),
        ("yellow violet red gold", "R1", "Understood as 4.7 kΩ ±5 %, from yellow violet red gold."),
        ("104K", "C1", "Understood as 100 nF ±10 %, from the three-digit code 104K in picofarads."),
        ("12.5 MHz ±50 ppm", "X1", "Understood as 12.5 MHz ±0.005 %."),
    ],
)
def test_a_value_is_read_as_it_is_marked_and_its_page_says_how(
    client: TestClient, value: str, designator: str, said: str
) -> None:
    enter_part(client, designator, value=value)

    assert said in words_of(client.get("/parts/1"))


@pytest.mark.parametrize("htmx", [False, True])
def test_a_marking_of_two_meanings_is_refused_with_both(client: TestClient, htmx: bool) -> None:
    """A plain 220 may be the code for 22 ohms; the keeper says which, and loses nothing typed."""
    typed = {"board": "main-board", "kind": "", "origin": "original", "mounting": "", "value": "220"}

    answer = post(client, f"{PARTS}/new", htmx, designator="R1", **typed)

    message = message_beside(answer, "value")
    assert answer.status_code == 422
    assert "22 Ω, no tolerance marked, from the three-digit code 220" in message
    assert "220 Ω, no tolerance marked, from 220 as a plain number of ohms" in message
    assert "write the value with its unit" in message
    assert typed_in(answer, "value") == "220"


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"value": "4k7J", "kind": "resistor"}, "Understood as 4.7 kΩ ±5 %, from the letter code 4k7J."),
        ({"value": "104K", "kind": "", "designator": "C9"}, "Understood as 100 nF ±10 %, from the three-digit"),
        ({"expected_value": "330 Ω", "kind": "resistor"}, "Understood as 330 Ω. The sums take it as exact."),
        ({"value": "100 nF", "part_kind": "capacitor"}, "Understood as 100 nF."),
        ({"value": "5 V", "kind": "resistor"}, "The sums cannot read it: V is a voltage (V), and a resistance"),
        ({"value": "<b>", "kind": "resistor"}, "The sums cannot read it: "),
        ({"value": "", "kind": "resistor"}, ""),
    ],
)
def test_a_value_is_answered_while_it_is_typed(client: TestClient, typed: dict[str, str], said: str) -> None:
    answer = client.get("/understood", params=typed, headers=HTMX)

    assert answer.status_code == 200
    assert words_of(answer).startswith(said)
    assert "<b>" not in answer.text
    assert bool(answer.text) == bool(said)


def test_the_forms_ask_for_the_line_under_the_value(client: TestClient) -> None:
    """Every field that the line names stands in the form, so nothing is asked in vain."""
    page = client.get(f"{PARTS}/new")

    assert 'hx-include="#f-value, #f-kind, #f-designator"' in page.text
    assert all(f'id="f-{name}"' in page.text for name in ("value", "kind", "designator"))


def test_hostile_text_in_every_field_is_shown_as_text(client: TestClient) -> None:
    fields = ("type", "marking", "rating", "maker_mark", "date_code", "condition", "pedigree", "note")
    enter_part(client, "U1 & <b>'\"", **dict.fromkeys(fields, HOSTILE))

    for address in ("/parts/1", "/parts/1/edit", PARTS, "/machines/TM-03/boards/main-board", "/machines/TM-03/history"):
        page = client.get(address)
        assert page.status_code in (200, 404)
        assert "<script>alert" not in page.text
        assert "<b>" not in page.text
    assert HOSTILE in words_of(client.get("/parts/1"))


@effort(max_examples=60, deadline=None)
@given(text=st.text(max_size=40), kind=st.sampled_from(list(PartKind)))
def test_any_value_is_understood_or_said_to_be_unreadable(text: str, kind: PartKind) -> None:
    """The page never fails over a value, and never shows limits without the value between them."""
    said = understood(text, kind.value)

    assert bool(said.words or said.problem) == bool(text)
    assert bool(said.low) == bool(said.high)
    assert not (said.words and said.problem)
