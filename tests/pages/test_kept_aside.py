"""What lies in bags: a bag opened by its number, what lies in it and what became of all that lay there."""

import re
from html import unescape

import pytest
from fastapi import FastAPI
from httpx2 import Response
from starlette.testclient import TestClient

from server.records.commands.machines import AddPosition
from server.records.commands.mods import PlanMod
from server.records.commands.steps import AddStep, CarryOutStep
from server.records.store import Store
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
        ({"type": ""}, "type", "Say what it is: its type, its marking or its value."),
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
    assert typed_in(answer, "type") == about.get("type", HOSTILE)
    assert_sound(answer)


def test_a_bag_is_opened_by_its_number(client: TestClient) -> None:
    """Typed on a telephone: the field is the page's first, asks for digits, and Enter goes straight to the bag."""
    put_aside(client, bag="12")
    form = client.get("/kept-aside").text

    answer = client.get("/kept-aside?bag=012", follow_redirects=False)

    assert (answer.status_code, answer.headers["location"]) == (303, "/kept-aside/12")
    content = form[form.index('id="content"') :]
    first = re.search(r"<(?:input|select|textarea|a)\b[^>]*>", content)
    assert first
    assert 'name="bag"' in first[0]
    assert 'inputmode="numeric"' in first[0]


def test_a_bag_that_never_was_is_said_plainly(client: TestClient) -> None:
    put_aside(client, bag="7")

    answer, page = client.get("/kept-aside?bag=8"), client.get("/kept-aside/8")

    assert (answer.status_code, page.status_code) == (422, 404)
    assert "No bag has the number 8." in message_beside(answer, "bag")
    assert typed_in(answer, "bag") == "8"
    assert_sound(answer)


@pytest.mark.parametrize("asked", ["x", "0", "-1", "9" * 30, "１", "%00", "1000000"])
def test_what_is_no_bag_s_number_says_so(client: TestClient, asked: str) -> None:
    answer = client.get(f"/kept-aside?bag={asked}")

    assert answer.status_code == 422
    assert "A bag has a number from 1 to 999,999." in message_beside(answer, "bag")
    assert client.get(f"/kept-aside/{asked}").status_code == 404


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


@pytest.mark.parametrize(
    ("show", "found"),
    [("", ["1", "2"]), ("in-bags", ["1"]), ("lent", ["2"]), ("gone", ["3"]), ("none-such", ["1", "2"])],
)
def test_parts_kept_aside_are_narrowed(client: TestClient, show: str, found: list[str]) -> None:
    parts = [put_aside(client) for _ in range(3)]
    post(client, f"{parts[1]}/lend", to_whom="Ida Quern", day="2023-06-01", due="2023-07-01")
    post(client, f"{parts[2]}/keep-aside", becomes="lost", day="2023-06-01")

    page = client.get(f"/kept-aside?show={show}")

    assert [row[0] for row in rows_of(page)] == found
    assert_sound(page)


def test_what_should_have_come_back_is_said_first(client: TestClient) -> None:
    late, open_ended, soon = (put_aside(client, type=name) for name in ("late", "open", "soon"))
    for part, due in ((late, "2023-07-01"), (open_ended, ""), (soon, "3023-07-01")):
        post(client, f"{part}/lend", to_whom="Ida Quern", day="2023-06-01", due=due)

    words = words_of(client.get("/kept-aside"))

    assert (
        "Overdue 2023-07-01 late of bag 1: Lent to Ida Quern since 2023-06-01, due back on 2023-07-01: overdue" in words
    )
    assert words.count("overdue") == 1
    assert "Overdue" not in words_of(client.get("/kept-aside?show=lent")).split("Lent 3 parts")[1]


def test_a_bag_says_what_lies_in_it_and_all_that_lay_in_it(client: TestClient, app: FastAPI) -> None:
    set_up(client)
    enter_part(client, "R1", value="330 Ω")
    change_by_mod(app.state.store)
    post(client, "/parts/1/lend", to_whom="Ida Quern", day="2024-03-02", due="2024-03-09", note="For **a test**.")

    page = client.get("/kept-aside/1")

    words = words_of(page)
    assert "Lent to Ida Quern since 2024-03-02, due back on 2024-03-09: overdue. The bag waits for it." in words
    assert "Came from R1 on Main board of TM-03 Since 2024-03-01 Place Drawer 4" in words
    assert "2024-03-01 330 Ω from R1 on Main board of TM-03, Drawer 4. Lent to Ida Quern since 2024-03-02" in words
    assert "<strong>a test</strong>" in page.text
    assert {f"/parts/1/{act}" for act in ("take-back", "keep-aside?becomes=lost")} <= set(links(page))
    assert "/parts/1/lend" not in links(page)
    assert_sound(page)


def links(answer: Response) -> list[str]:
    return [unescape(href) for href in re.findall(r'href="([^"]*)"', answer.text)]


def test_an_empty_bag_keeps_its_history(client: TestClient) -> None:
    part = put_aside(client, bag="7")
    post(client, f"{part}/keep-aside", becomes="bag", bag="9", day="2023-06-01")

    page = client.get("/kept-aside/7")

    assert "Nothing lies in bag 7 now." in words_of(page)
    assert "On 2023-06-01 moved to bag 9." in words_of(page)
    assert typed_in(client.get("/kept-aside/new?bag=7"), "bag") == "7"
    assert_sound(page)


def test_a_part_moved_to_another_machine_is_told_with_both(client: TestClient, app: FastAPI) -> None:
    """On the bag's page and on the part's."""
    for tag in ("TM-03", "TM-04"):
        set_up(client, tag)
    enter_part(client, "R1", value="330 Ω")
    change_by_mod(app.state.store)
    fit_in_another_machine(app.state.store, part=1)

    bag, part = client.get("/kept-aside/1"), client.get("/parts/1")

    fitted = "On 2024-04-01 fitted at R5 on Main board of TM-04. It moved from TM-03 to TM-04."
    assert fitted in words_of(bag)
    assert (
        "Moved to another machine from R1 on Main board of TM-03 to R5 on Main board of TM-04, 2024-04-01"
        in words_of(part)
    )
    assert_sound(part)


def fit_in_another_machine(store: Store, part: int) -> None:
    on = {"machine": "TM-04", "board": "main-board", "designator": "R5"}
    day = {"machine": "TM-04", "day": "2024-04-01", "signer": "keeper"}
    store.carry_out(AddPosition.read({**on, "mounting": "soldered"}), "keeper")
    store.carry_out(PlanMod.read({**day, "title": "Test", "state": "planned"}), "keeper")
    store.carry_out(AddStep.read({**on, "mod": 1, "kind": "fit"}), "keeper")
    store.carry_out(CarryOutStep.read({**day, "mod": 1, "step": 1, "bagged_part": part}), "keeper")


def test_a_bag_and_the_list_ask_the_same_questions_of_many_as_of_one(client: TestClient, app: FastAPI) -> None:
    asked = ("/kept-aside/7", "/kept-aside?show=lent", "/kept-aside?show=gone", "/parts/1")

    def put_and_lend(times: int) -> None:
        for _ in range(times):
            part, lost = (put_aside(client, bag="7") for _ in range(2))
            post(client, f"{part}/lend", to_whom="Ida Quern", day="2023-06-01", due="2023-07-01")
            post(client, f"{lost}/keep-aside", becomes="lost", day="2023-06-01")

    def counted(address: str) -> int:
        with queries(app.state.store) as run:
            assert client.get(address).status_code == 200
        return len(run)

    put_and_lend(1)
    few = {address: counted(address) for address in asked}
    put_and_lend(20)

    assert {address: counted(address) for address in asked} == few


def test_hostile_text_is_shown_as_text(client: TestClient) -> None:
    part = put_aside(client, type=HOSTILE, place=HOSTILE, condition=HOSTILE, pedigree=HOSTILE)

    post(client, f"{part}/lend", to_whom=HOSTILE, day="2023-06-01", note=HOSTILE, signer=HOSTILE)

    for address in (part, "/kept-aside", "/kept-aside?show=lent", "/kept-aside/1"):
        page = client.get(address)
        assert "<script>alert" not in page.text
        assert HOSTILE in words_of(page)
        assert_sound(page)


def test_a_page_for_htmx_is_its_content_alone(client: TestClient) -> None:
    assert "<!doctype" not in client.get("/kept-aside", headers=HTMX).text.lower()
