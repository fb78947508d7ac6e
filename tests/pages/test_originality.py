"""A machine's originality: counted, drawn as marks that need no colour, listed for a buyer without what is private."""

import re

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.pages.originality import counted, strips
from server.records.commands.parts import ImportParts
from server.records.questions.originality import Holds, Spot
from tests.pages.benchwork import (
    HOSTILE,
    assert_sound,
    change_by_mod,
    enter_part,
    post,
    queries,
    rows_of,
    set_up,
    words_of,
)

PAGE = "/machines/TM-03/originality"


@pytest.fixture
def board(client: TestClient, app: FastAPI) -> str:
    """Six positions, one changed by a mod, one of a later part."""
    address = set_up(client)
    for place, origin in (
        ("R1", "original"),
        ("R2", "original"),
        ("U1", "later"),
        ("U2", "unknown"),
        ("U10", "period"),
    ):
        enter_part(client, place, origin=origin, type="carbon film", pedigree="from the Quern sale")
    post(client, f"{address}/positions/new", designator="X1", kind="crystal", mounting="soldered")
    change_by_mod(app.state.store)
    return address


def test_the_positions_are_counted(client: TestClient, board: str) -> None:
    """For the machine and for its board, and the tab leads here."""
    page = client.get(PAGE)

    assert page.status_code == 200
    assert_sound(page)
    assert "6 positions: 1 original, 1 period, 1 later, 1 new, 1 empty, 1 unknown." in words_of(page)
    assert f'href="{board}/dating"' in page.text
    assert f'<a href="{PAGE}" aria-current="page">Originality</a>' in page.text


def test_boards_are_counted_side_by_side(client: TestClient, board: str) -> None:  # noqa: ARG001
    """With the machine beneath them."""
    post(client, "/machines/TM-03/boards/new", name="Supply", kind="supply")

    rows = {row[0]: row[1:] for row in rows_of(client.get(PAGE))}

    assert rows["Main board"] == ["1", "1", "1", "1", "1", "1", "6"]
    assert rows["Supply"] == ["0"] * 7
    assert rows["The machine"] == ["1", "1", "1", "1", "1", "1", "6"]


def test_a_mark_for_each_position_in_order_told_apart_by_shape(client: TestClient, board: str) -> None:  # noqa: ARG001
    """One picture a board with the same in words; each mark it points to is drawn once on the page."""
    page = client.get(PAGE)

    picture = re.search(r'role="img" aria-label="([^"]*)">(.*?)</figure>', page.text, re.DOTALL)
    assert picture
    assert "The positions of Main board in order. 6 positions:" in picture[1]
    assert re.findall(r'href="#spot-(\w+)"', picture[2]) == ["new", "original", "later", "unknown", "period", "empty"]
    drawn = re.findall(r'<symbol id="spot-(\w+)"[^>]*>(.*?)</symbol>', page.text)
    assert [name for name, _ in drawn] == [kind.value for kind in Holds]
    assert len({shape for _, shape in drawn}) == len(Holds)


def test_what_is_not_original_is_listed_with_where_its_original_is(client: TestClient, board: str) -> None:  # noqa: ARG001
    """What sits there, since when, by which mod, and the bag."""
    rows = {row[0]: row[1:] for row in rows_of(client.get(PAGE))}

    assert rows["R1 Main board"] == ["1 kΩ new", "carbon film in bag 1", "2024-03-01 by mod 1, Test"]
    assert rows["U1 Main board"] == ["carbon film later", "not known", "before it came in"]
    assert rows["U2 Main board"][1] == "not known; the part there may be it"
    assert rows["X1 Main board"] == ["nothing, and no part was ever recorded here", "not known", "–"]
    assert "R2 Main board" not in rows


def test_the_list_for_a_buyer_keeps_what_is_private(client: TestClient, board: str) -> None:  # noqa: ARG001
    """No storage place, no borrower, no giver; every position that is not original, and the bag that goes along."""
    post(client, "/parts/1/lend", to_whom="Ida Quern", day="2024-04-01")
    pages = [client.get(PAGE), client.get(f"{PAGE}/list")]

    assert [page.status_code for page in pages] == [200, 200]
    for page in pages:
        assert not [secret for secret in ("Drawer 4", "Ida", "Quern") if secret in page.text]
        assert "lent out since 2024-04-01; bag 1 waits for it" in words_of(page)
        assert_sound(page)
    assert len(rows_of(pages[1])) == 5
    assert "Test machine, TM-03, as of" in words_of(pages[1])


def test_an_empty_machine_says_what_to_do(client: TestClient) -> None:
    """Before a board, and before a position."""
    post(client, "/machines/new", tag="TM-03", model="Test machine")
    bare = [client.get(PAGE), client.get(f"{PAGE}/list")]
    post(client, "/machines/TM-03/boards/new", name="Main board", kind="main board")

    for page in (*bare, client.get(PAGE), client.get(f"{PAGE}/list")):
        assert page.status_code == 200
        assert "No position is recorded yet." in words_of(page)
        assert_sound(page)


def test_a_machine_that_is_all_original_says_so(client: TestClient) -> None:
    set_up(client)
    enter_part(client, "R1", value="1 kΩ")

    assert "Every position holds its original part." in words_of(client.get(PAGE))
    assert "Every position holds its original part." in words_of(client.get(f"{PAGE}/list"))


def test_hostile_names_stay_text(client: TestClient) -> None:
    """Of parts, designators and boards."""
    set_up(client, board=HOSTILE)
    post(client, "/machines/TM-03/parts/new", board="script-alert-x-script-onmouseover-x-7-7-etc", designator="U1",
         kind="chip", type=HOSTILE, origin="new", mounting="soldered", date_code=HOSTILE[:300])  # fmt: skip

    for page in (client.get(PAGE), client.get(f"{PAGE}/list")):
        assert page.status_code == 200
        assert_sound(page)


def test_three_thousand_parts_are_drawn_and_paged(client: TestClient, app: FastAPI) -> None:
    """One mark each; the table a hundred at a time, the list five hundred; as many questions as for a few."""
    set_up(client)
    enter_part(client, "C1", origin="new", value="100 nF")
    with queries(app.state.store) as few:
        client.get(PAGE)
    rows = [
        {"designator": f"U{n}", "kind": "chip", "type": "7432", "origin": "new" if n % 2 else "original",
         "date_code": f"81{n % 52 + 1:02}"} for n in range(3_000)
    ]  # fmt: skip
    app.state.store.carry_out(ImportParts.read({"machine": "TM-03", "board": "main-board", "rows": rows}), "keeper")

    with queries(app.state.store) as many:
        page = client.get(PAGE)
    listed = client.get(f"{PAGE}/list?page=2")

    assert len(few) == len(many)
    assert page.text.count('href="#spot-') == 3_001 + 6 + 100
    assert len(rows_of(page)) == 100
    assert "Page 1 of 16" in words_of(page)
    assert len(rows_of(listed)) == 500
    assert "Page 2 of 4 of this list." in words_of(listed)


def test_strips_are_cut_where_the_letters_change() -> None:
    """By what designators begin with; those without letters have a strip of their own."""
    spots = [Spot(n, name, Holds.NEW) for n, name in enumerate(["1", "C1", "C2", "R1", "Ω7"])]

    assert [(strip.letters, len(strip.spots)) for strip in strips(spots)] == [("", 1), ("C", 2), ("R", 1), ("Ω", 1)]


def test_counts_are_told_in_one_sentence() -> None:
    assert counted(dict.fromkeys(Holds, 0)) == "No position is recorded yet."
    assert counted(dict.fromkeys(Holds, 0) | {Holds.NEW: 1}) == "1 position: 1 new."
    assert counted(dict.fromkeys(Holds, 1000)).startswith("6,000 positions: 1,000 original, 1,000 period")
