"""What lies in bags: found by its number, moved, let go, and never in two places."""

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

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

SPARE = {"kind": "chip", "type": "4116", "origin": "period", "day": "2023-05-05", "bag": "", "place": "Drawer 4"}


def put_aside(client: TestClient, **about: str) -> str:
    """Put a spare into a bag; its address."""
    return address_of(post(client, "/kept-aside/new", **{**SPARE, **about}))


def test_an_empty_house_says_how_parts_come_into_bags(client: TestClient) -> None:
    page = client.get("/kept-aside")

    assert "No part lies in a bag." in words_of(page)
    assert 'href="/kept-aside/new"' in page.text
    assert_sound(page)


@pytest.mark.parametrize("htmx", [False, True])
def test_a_spare_goes_straight_into_the_next_bag(client: TestClient, htmx: bool) -> None:
    form = client.get("/kept-aside/new")

    answers = [post(client, "/kept-aside/new", htmx, **SPARE, pedigree=name) for name in ("donor A", "donor B")]

    page = client.get(address_of(answers[1]))
    assert "Now in bag 2, Drawer 4" in words_of(page)
    assert rows_of(client.get("/kept-aside")) == [
        ["1", "4116", "donor A", "Drawer 4", "2023-05-05", "–"],
        ["2", "4116", "donor B", "Drawer 4", "2023-05-05", "–"],
    ]
    for answer in (form, page):
        assert_sound(answer)


@pytest.mark.parametrize("htmx", [False, True])
@pytest.mark.parametrize(
    ("about", "field", "said"),
    [
        ({"day": ""}, "day", "year-month-day"),
        ({"day": "2023-02-30"}, "day", "There is no day 2023-02-30"),
        ({"bag": "0"}, "bag", "from 1 to 999,999"),
        ({"bag": "1000000"}, "bag", "from 1 to 999,999"),
        ({"bag": "seven"}, "bag", "Write a whole number."),
        ({"value": "16 apples"}, "value", ""),
    ],
)
def test_a_spare_that_will_not_do_comes_back_as_it_was_typed(
    client: TestClient, about: dict[str, str], field: str, said: str, htmx: bool
) -> None:
    answer = post(client, "/kept-aside/new", htmx, **{**SPARE, "type": HOSTILE, **about})

    assert answer.status_code == 422
    assert ("<!doctype" in answer.text.lower()) != htmx
    assert said in message_beside(answer, field)
    assert typed_in(answer, field) == about[field]
    assert typed_in(answer, "type") == HOSTILE
    assert_sound(answer)


def test_a_bag_is_found_by_its_number(client: TestClient) -> None:
    put_aside(client, bag="7", type="one")
    put_aside(client, bag="12", type="two")

    found, empty = client.get("/kept-aside?bag=7"), client.get("/kept-aside?bag=8")

    assert [row[1] for row in rows_of(found)] == ["one"]
    assert typed_in(found, "bag") == "7"
    assert "Bag 8 is empty." in words_of(empty)
    assert_sound(found)
    assert_sound(empty)


@pytest.mark.parametrize("asked", ["x", "0", "-1", "9" * 30, "１", "%00", "1000000"])
def test_what_is_no_bag_s_number_says_so(client: TestClient, asked: str) -> None:
    answer = client.get(f"/kept-aside?bag={asked}")

    assert answer.status_code == 422
    assert "A bag has a number from 1 to 999,999." in message_beside(answer, "bag")


def test_a_part_taken_out_of_a_machine_lies_among_them_with_its_position(client: TestClient, app: FastAPI) -> None:
    set_up(client)
    enter_part(client, "R1", value="330 Ω")
    change_by_mod(app.state.store)

    page = client.get("/kept-aside")

    assert [row[:4] for row in rows_of(page)] == [["1", "330 Ω", "R1 on Main board of TM-03", "Drawer 4"]]
    assert 'href="/machines/TM-03/boards/main-board/positions/R1"' in page.text


def test_bags_are_paged_with_the_same_questions_for_many_as_for_one(client: TestClient, app: FastAPI) -> None:
    put_aside(client)
    with queries(app.state.store) as for_one:
        client.get("/kept-aside")
    for _ in range(54):
        put_aside(client)

    with queries(app.state.store) as for_many:
        client.get("/kept-aside")

    assert len(for_many) == len(for_one)
    assert [row[0] for row in rows_of(client.get("/kept-aside?page=2"))] == ["51", "52", "53", "54", "55"]


@pytest.mark.parametrize("htmx", [False, True])
def test_a_part_moves_to_another_place_in_its_bag(client: TestClient, htmx: bool) -> None:
    part = put_aside(client, bag="7")
    page = client.get(part)
    typed = {name: typed_in(page, name) for name in ("bag", "place", "from_bag", "condition")}

    answer = post(
        client, f"{part}/keep-aside", htmx, **{**typed, "bag": "", "place": "Shelf"}, becomes="bag", day="2024-01-01"
    )

    words = words_of(client.get(address_of(answer)))
    assert (typed["bag"], typed["place"], typed["from_bag"]) == ("7", "Drawer 4", "7")
    assert "2024-01-01 In bag 7, Shelf. Now." in words
    assert "2023-05-05 In bag 7, Drawer 4. Until 2024-01-01." in words


@pytest.mark.parametrize("becomes", ["discarded", "lost", "handed over"])
def test_a_part_is_let_go(client: TestClient, becomes: str) -> None:
    part = put_aside(client)

    answer = post(client, f"{part}/keep-aside", becomes=becomes, day="2024-01-01", from_bag="1")

    page = client.get(address_of(answer))
    assert f"Now {becomes} on 2024-01-01" in words_of(page)
    assert "Move it, or let it go" not in words_of(page)
    assert rows_of(client.get("/kept-aside")) == []
    assert_sound(page)


@pytest.mark.parametrize("htmx", [False, True])
def test_a_move_that_will_not_do_comes_back_as_it_was_typed(client: TestClient, htmx: bool) -> None:
    part = put_aside(client)

    answer = post(
        client, f"{part}/keep-aside", htmx, becomes="lost", day="2023-05-04", from_bag="1", bag="", condition="worn"
    )

    assert answer.status_code == 422
    assert ("<!doctype" in answer.text.lower()) != htmx
    assert "went into bag 1 on 2023-05-05" in message_beside(answer, "day")
    assert (typed_in(answer, "day"), typed_in(answer, "condition")) == ("2023-05-04", "worn")
    assert_sound(answer)


def test_a_move_of_what_someone_else_moved_is_refused(client: TestClient) -> None:
    """Rule 7: the second keeper saw it in bag 1, where it no longer lies."""
    part = put_aside(client)
    typed = {"becomes": "bag", "from_bag": "1", "place": "Shelf"}
    post(client, f"{part}/keep-aside", **typed, day="2024-01-01", bag="9")

    answer = post(client, f"{part}/keep-aside", **typed, day="2024-01-02", bag="5")

    assert answer.status_code == 422
    assert "Someone else moved it to bag 9 meanwhile." in message_beside(answer, "bag")


def test_a_part_in_a_machine_cannot_be_moved_from_here(client: TestClient) -> None:
    set_up(client)
    enter_part(client, "R1", value="330 Ω")

    answer = post(client, "/parts/1/keep-aside", becomes="lost", day="2024-01-01")

    assert answer.status_code == 422
    assert "Only a part that lies in a bag can be moved here." in words_of(answer)


def test_hostile_text_is_shown_as_text(client: TestClient) -> None:
    part = put_aside(client, type=HOSTILE, place=HOSTILE, condition=HOSTILE, pedigree=HOSTILE)

    for address in (part, "/kept-aside"):
        page = client.get(address)
        assert "<script>alert" not in page.text
        assert HOSTILE in words_of(page)
        assert_sound(page)


def test_a_page_for_htmx_is_its_content_alone(client: TestClient) -> None:
    assert "<!doctype" not in client.get("/kept-aside", headers=HTMX).text.lower()
