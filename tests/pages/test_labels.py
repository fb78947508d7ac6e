"""Choosing labels for bags, and printing them: what is asked for comes as a PDF, what will not do as the form."""

from io import BytesIO

import pikepdf
import pytest
from fastapi import FastAPI
from httpx2 import Response
from starlette.testclient import TestClient

from server.app import create_app
from server.pages.labels import SIZES, as_spans, wanted
from server.settings import Settings
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

SPARE = {"kind": "chip", "type": "4116", "origin": "period", "day": "2023-05-05"}


@pytest.fixture
def bags(client: TestClient, app: FastAPI) -> TestClient:
    """Spares in bags 1, 2, 3 and 9; R1 of TM-03 in bag 10. Bag 9 is empty again."""
    for bag in ("1", "2", "3", "9"):
        part = address_of(post(client, "/kept-aside/new", **SPARE, bag=bag))
    post(client, f"{part}/keep-aside", becomes="lost", day="2023-06-01")
    set_up(client)
    enter_part(client, "R1", value="330 Ω")
    change_by_mod(app.state.store)
    return client


def codes_of(answer: Response) -> list[str]:
    """What the codes say in words, in their order."""
    assert answer.status_code == 200, words_of(answer)
    assert answer.headers["content-type"] == "application/pdf"
    with pikepdf.open(BytesIO(answer.content)) as pdf:
        alts = [str(one.Alt) for one in pdf.objects if isinstance(one, pikepdf.Dictionary) and "/Alt" in one]
    return sorted(alt.partition(": ")[2] for alt in alts)


def pages_of(answer: Response) -> list[tuple[int, int]]:
    with pikepdf.open(BytesIO(answer.content)) as pdf:
        return [(round(float(page.mediabox[2])), round(float(page.mediabox[3]))) for page in pdf.pages]


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ("bags=3,1", [1, 3]),
        ("bags=1&bags=3", [1, 3]),
        ("bags=1-9", [1, 2, 3]),
        ("bags=2 – 3, 10", [10, 2, 3]),
        ("bags=", [1, 10, 2, 3]),
        ("", [1, 10, 2, 3]),
    ],
)
def test_chosen_bags_are_printed_with_the_address_of_the_request(
    bags: TestClient, asked: str, found: list[int]
) -> None:
    answer = bags.get(f"/kept-aside/labels.pdf?{asked}")

    assert codes_of(answer) == [f"http://testserver/kept-aside/{bag}" for bag in found]
    assert answer.headers["content-disposition"].startswith('inline; filename="labels-')


def test_a_machine_s_labels_are_those_of_the_bags_filled_from_it(bags: TestClient) -> None:
    """With all that lies in them."""
    post(bags, "/kept-aside/new", **SPARE, bag="10")

    answer = bags.get("/machines/TM-03/labels.pdf")

    assert codes_of(answer) == ["http://testserver/kept-aside/10"]
    assert answer.headers["content-disposition"].startswith('inline; filename="TM-03-labels-')
    assert "4116" in words_of(bags.get("/kept-aside/10"))


@pytest.mark.parametrize(
    ("asked", "field", "said"),
    [
        ("bags=9", "bags", "Nothing lies in bag 9, so there is no label for it."),
        ("bags=7,8,12", "bags", "Nothing lies in bag 7-8, 12"),
        ("bags=4-8", "bags", "Nothing lies in any of these bags"),
        ("bags=a", "bags", "Name bags by their numbers, such as 3, 4, 7-12."),
        ("bags=7-2", "bags", "A run of bags goes upwards: write 2-7, not 7-2."),
        ("bags=7-0", "bags", "Name bags by their numbers"),
        ("bags=0", "bags", "Name bags by their numbers"),
        ("size=none-such", "size", "Choose one of the sizes offered."),
        ("size=own", "width", "How many millimetres?"),
        ("width=70&height=none", "height", "Write a number."),
        ("width=70&height=37&across=4", "across", "4 labels of 70 mm take 280 mm across; A4 is 210 mm wide."),
        ("width=70&height=37&paper=A3", "paper", "Choose one of the papers offered"),
        ("width=nan&height=37", "width", "Write a finite number."),
        ("first=25", "first", "The sheet has 24 labels, 3 across and 8 down"),
        ("first=0", "first", "from 1 to 24"),
        ("first=x", "first", "Write a whole number."),
    ],
)
def test_what_will_not_do_comes_back_as_it_was_typed(bags: TestClient, asked: str, field: str, said: str) -> None:
    answer = bags.get(f"/kept-aside/labels.pdf?{asked}")

    assert answer.status_code == 422
    assert said in message_beside(answer, field)
    assert typed_in(answer, "bags") == (asked.removeprefix("bags=") if field == "bags" else "")
    assert_sound(answer)


def test_another_machine_s_bag_is_not_among_a_machine_s_labels(bags: TestClient) -> None:
    answer = bags.get("/machines/TM-03/labels.pdf?bags=1,10")

    assert "Nothing from TM-03 lies in bag 1" in message_beside(answer, "bags")
    assert bags.get("/machines/none-such/labels.pdf").status_code == 404


@pytest.mark.parametrize(
    ("asked", "pages"),
    [
        ("", [(595, 842)]),
        ("first=22", [(595, 842)] * 2),
        ("size=letter-66.7x25.4", [(612, 792)]),
        ("size=own&paper=Letter&width=100&height=130,5&across=1&down=1", [(612, 792)] * 4),
        ("width=100&height=140&gap_down=5", [(595, 842)]),
    ],
)
def test_labels_come_on_the_paper_that_was_chosen(bags: TestClient, asked: str, pages: list[tuple[int, int]]) -> None:
    assert pages_of(bags.get(f"/kept-aside/labels.pdf?{asked}")) == pages


@pytest.mark.parametrize(("at", "every"), [("/kept-aside", "1-3, 10"), ("/machines/TM-03", "10")])
def test_the_page_begins_with_every_bag_in_which_something_lies(bags: TestClient, at: str, every: str) -> None:
    page = bags.get(f"{at}/labels")
    chosen = bags.get(f"{at}/labels?bags=10")

    assert typed_in(page, "bags") == every
    assert typed_in(chosen, "bags") == "10"
    assert typed_in(page, "size") == next(iter(SIZES))
    assert f'action="{at}/labels.pdf"' in page.text
    assert_sound(page)


@pytest.mark.parametrize(("host", "warned"), [("http://127.0.0.1:8181", True), ("http://testserver", False)])
def test_the_page_says_what_address_the_codes_hold(settings: Settings, host: str, warned: bool) -> None:
    """And when no phone can open it."""
    settings.allowed_hosts.append("127.0.0.1")
    with TestClient(create_app(settings), base_url=host) as client:
        post(client, "/kept-aside/new", **SPARE)
        page = client.get("/kept-aside/labels")

    assert f"opened at: {host}" in words_of(page)
    assert ("Only this computer answers there" in words_of(page)) == warned


@pytest.mark.parametrize("at", ["/kept-aside", "/machines/TM-03"])
def test_where_nothing_lies_in_a_bag_there_is_nothing_to_label(client: TestClient, at: str) -> None:
    set_up(client)

    page = client.get(f"{at}/labels")

    assert "there is nothing to label" in words_of(page)
    assert client.get(f"{at}/labels.pdf").status_code == 422
    assert_sound(page)


def test_hostile_text_prints_as_text(bags: TestClient) -> None:
    post(bags, "/kept-aside/new", **{**SPARE, "type": HOSTILE, "marking": HOSTILE, "pedigree": HOSTILE, "bag": "20"})

    assert codes_of(bags.get("/kept-aside/labels.pdf?bags=20")) == ["http://testserver/kept-aside/20"]


def test_labels_ask_the_same_questions_of_many_bags_as_of_one(client: TestClient, app: FastAPI) -> None:
    post(client, "/kept-aside/new", **SPARE)
    with queries(app.state.store) as few:
        client.get("/kept-aside/labels.pdf")
    for _ in range(10):
        post(client, "/kept-aside/new", **SPARE)

    with queries(app.state.store) as many:
        client.get("/kept-aside/labels.pdf")

    assert len(many) == len(few)


def test_sizes_are_offered_by_measure_alone() -> None:
    """A name of a size says what the sheet is."""
    for words, sheet in SIZES.values():
        said = f"{sheet.width:g} × {sheet.height:g} mm, {sheet.columns} × {sheet.rows} on {sheet.paper}"
        assert words == said


@pytest.mark.parametrize(
    ("bags_there", "spans"), [([], ""), ([7], "7"), ([3, 1, 2, 2], "1-3"), ([1, 3, 4, 9], "1, 3-4, 9")]
)
def test_bags_are_named_by_runs(bags_there: list[int], spans: str) -> None:
    assert as_spans(bags_there) == spans
    assert [bag for bag in range(1, 12) if spans and bag in wanted(spans)] == sorted(set(bags_there))
