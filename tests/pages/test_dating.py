"""The date codes of a board and of a part: told, drawn, chosen and overruled; never saved over unseen."""

import re

import pytest
from starlette.testclient import TestClient

from tests.pages.benchwork import (
    HOSTILE,
    address_of,
    assert_sound,
    enter_part,
    post,
    rows_of,
    set_up,
    typed_in,
    words_of,
)

JUDGING = ("fake", "genuine", "forged", "fraud", "authentic")


@pytest.fixture
def board(client: TestClient) -> str:
    """A board of 1981 with codes of each sort: one that counts, later, unreadable, to come, chosen by nobody."""
    address = set_up(client)
    post(
        client, "/machines/TM-03/edit", model="Test machine", made="1981~", acquired_on="2020-05-01", opened_version="1"
    )
    for place, code, origin in (
        ("U1", "8109", "original"),
        ("U2", "8438", "original"),
        ("U3", "8167", "original"),
        ("U4", "2731", "original"),
        ("U5", "8820", "later"),
        ("U6", "7404", "original"),
        ("R1", "", "original"),
    ):
        enter_part(client, place, date_code=code, origin=origin, type="74LS00")
    return address


def test_the_page_says_what_the_codes_allow(client: TestClient, board: str) -> None:
    """The day, the part that sets it, the machine's years, what does not belong and why, and what has no code."""
    page = client.get(f"{board}/dating")

    words = words_of(page)
    assert page.status_code == 200
    assert_sound(page)
    assert "The codes allow a board built from 1981-02-23 on." in words
    assert "If U1 is original, the board was not built before 1981-02-23: week 9 of 1981" in words
    assert "1981~ held here to be between 1980-01-01 and 1982-12-31" in words
    assert "The code of U2 is 8438. U2 is later than the machine, which was made by 1982-12-31" in words
    assert "1 part has no date code noted, and tells nothing here. Which R1." in words
    assert not [word for word in JUDGING if word in words.lower()]


def test_every_code_is_told_with_what_is_made_of_it(client: TestClient, board: str) -> None:
    """All that it can mean in few words, and why it counts, is left out, or tells nothing."""
    told = {row[0]: row[2:4] for row in rows_of(client.get(f"{board}/dating"))}

    assert told["U1"][0] == (
        "week 9 of 1981 1981-02-23 to 1981-03-04 , 2 readings September 1981 1981-09-01 to 1981-09-30"
    )
    assert told["U1"][1].startswith("Counts. Held to be original.")
    assert told["U2"][1].startswith("Does not belong. U2 is later than the machine")
    assert told["U3"][1].startswith("Tells nothing. “8167” cannot be read as a date.")
    assert told["U4"][1].startswith("Tells nothing. Every reading of “2731” is still to come by 2020-05-01")
    assert told["U5"][1].startswith("Left out. Its origin is later")
    assert "7404 is also the type number of a 7400-family logic chip" in told["U6"][0]


def test_the_spread_is_drawn_and_told(client: TestClient, board: str) -> None:
    """With the sentence that stands for the picture."""
    page = client.get(f"{board}/dating")

    assert page.text.count('role="img"') == 1
    assert "not before 1981-02-23" in page.text
    assert "2 codes count, their days beginning from 1974-01-21 to 1981-02-23." in words_of(page)


def test_a_board_without_codes_says_what_to_do(client: TestClient) -> None:
    """Nothing is drawn of nothing."""
    address = set_up(client)
    blank = client.get(f"{address}/dating")
    enter_part(client, "R1", value="1 kΩ")
    undated = client.get(f"{address}/dating")

    assert "No part is recorded on this board yet." in words_of(blank)
    assert "No code tells when the board can first have been built." in words_of(undated)
    assert 'role="img"' not in blank.text + undated.text
    assert_sound(blank)
    assert_sound(undated)


def test_the_board_and_the_part_lead_to_their_codes(client: TestClient, board: str) -> None:
    """With the result in a sentence."""
    of_board, of_part = client.get(board), client.get("/parts/1")

    assert "The codes allow a board built from 1981-02-23 on. 1 part does not belong. What the codes say" in words_of(
        of_board
    )
    assert f'href="{board}/dating"' in of_board.text
    assert "1981-02-23 to 1981-03-01 week 9 of 1981, year before week, in ISO weeks" in words_of(of_part)
    assert 'href="/parts/1/dating"' in of_part.text
    assert_sound(of_part)


@pytest.mark.parametrize("htmx", [False, True])
def test_a_reading_is_chosen(client: TestClient, board: str, htmx: bool) -> None:
    """The board's day moves with it."""
    form = client.get("/parts/1/dating")

    answer = post(client, "/parts/1/reading", htmx, reading="1981-09-01/1981-09-30", opened_version="1")

    page = client.get(address_of(answer))
    assert_sound(form)
    assert_sound(page)
    assert 'value="1981-09-01/1981-09-30" checked' in page.text
    assert "Chosen by the keeper." in words_of(page)
    assert "The codes allow a board built from 1981-09-01 on." in words_of(client.get(f"{board}/dating"))


@pytest.mark.parametrize("htmx", [False, True])
def test_what_is_no_reading_comes_back(client: TestClient, board: str, htmx: bool) -> None:  # noqa: ARG001
    """With a message beside the choice."""
    answer = post(client, "/parts/1/reading", htmx, reading=HOSTILE, opened_version="1")

    assert answer.status_code == 422
    assert ("<!doctype" in answer.text.lower()) != htmx
    assert "That is no reading of “8109”." in words_of(answer)
    assert_sound(answer)


@pytest.mark.parametrize("htmx", [False, True])
def test_a_keeper_overrules_with_a_note(client: TestClient, board: str, htmx: bool) -> None:
    """The board is dated without the part, which is told with the note."""
    answer = post(client, "/parts/1/dating", htmx, dating="does not count", note=HOSTILE, opened_version="1")

    page = client.get(address_of(answer))
    of_board = client.get(f"{board}/dating")
    assert f"The keeper holds that it does not count: {HOSTILE}." in words_of(page)
    assert "The codes allow a board built from 1974-01-21 on." in words_of(of_board)
    assert typed_in(page, "note") == HOSTILE
    assert_sound(page)
    assert_sound(of_board)
    assert "It is held that it does not count" in words_of(client.get("/parts/1"))


@pytest.mark.parametrize("htmx", [False, True])
def test_overruling_needs_its_note(client: TestClient, board: str, htmx: bool) -> None:  # noqa: ARG001
    """What was ticked stays ticked."""
    answer = post(client, "/parts/1/dating", htmx, dating="counts", note=" ", opened_version="1")

    assert answer.status_code == 422
    assert ("<!doctype" in answer.text.lower()) != htmx
    assert "Say why: whoever reads the record later has only this to go by." in words_of(answer)
    assert 'value="counts" checked' in answer.text
    assert_sound(answer)


def test_a_word_on_a_part_that_was_changed_meanwhile_shows_both_versions(client: TestClient, board: str) -> None:  # noqa: ARG001
    """And saves when it is sent again."""
    post(client, "/parts/1/reading", reading="1981-09-01/1981-09-30", opened_version="1")

    stale = post(client, "/parts/1/dating", dating="does not count", note="Misread", opened_version="1")
    version = typed_in(stale, "opened_version")
    again = post(client, "/parts/1/dating", dating="does not count", note="Misread", opened_version="2")

    assert stale.status_code == 409
    assert "Someone else saved this record while you were writing." in words_of(stale)
    assert version == "2"
    assert again.status_code == 303
    assert_sound(stale)


def test_a_part_on_no_board_has_its_readings_all_the_same(client: TestClient) -> None:
    """But none to tell of."""
    post(client, "/kept-aside/new", kind="chip", type="7404", origin="new", date_code="8109", day="2025-01-10")

    page = client.get("/parts/1/dating")

    assert page.status_code == 200
    assert "Which reading is right" in words_of(page)
    assert "Whether it tells of its board" not in words_of(page)
    assert_sound(page)


def test_what_is_not_there_is_not_found(client: TestClient, board: str) -> None:
    assert client.get(f"{board}x/dating").status_code == 404
    assert client.get("/parts/99/dating").status_code == 404
    assert post(client, "/parts/99/dating", dating="counts").status_code == 404


def test_as_many_readings_are_shown_as_are_said(client: TestClient) -> None:
    """And why a week can have ten days: two rules for weeks, of which neither is known to be the maker's."""
    board = set_up(client)
    enter_part(client, "U10", date_code="8126", type="74LS245")

    page = client.get(f"{board}/dating")

    words = words_of(page)
    assert "U10 has 2 readings; the earliest is used" in words
    assert rows_of(page)[0][2] == "week 26 of 1981 1981-06-22 to 1981-07-01 , 2 readings"
    assert "A week is told with the days of two readings together, by ISO 8601 and as counted from 1 January" in words


def test_a_part_held_to_count_that_is_later_than_the_machine_is_remarked(client: TestClient, board: str) -> None:
    """Wherever the day is told: on the board's codes, on the board, and on the part. It judges nothing."""
    post(client, "/parts/2/dating", dating="counts", note="Seen in a photograph of 1983", opened_version="1")
    said = (
        "The codes allow a board built from 1984-09-16 on. The machine was made by 1982-12-31, which is earlier than "
        "that: look again at its date, and at U2, which counts only because the keeper holds so."
    )

    pages = {address: words_of(client.get(address)) for address in (f"{board}/dating", board, "/parts/2/dating")}

    assert said.partition(". ")[2] in pages[f"{board}/dating"]
    assert said in pages[board]
    assert said in pages["/parts/2/dating"]
    assert not [word for word in JUDGING if any(word in page.lower() for page in pages.values())]


@pytest.mark.parametrize(("kind", "code", "told"), [("chip", "8049", True), ("capacitor", "8049", False)])
def test_only_a_chip_can_bear_a_chip_s_type_number(client: TestClient, kind: str, code: str, told: bool) -> None:
    """On no other part can its figures be one."""
    board = set_up(client)
    enter_part(client, "X1", date_code=code, kind=kind, type="", value="")

    pages = [words_of(client.get(address)) for address in (f"{board}/dating", "/parts/1", "/parts/1/dating")]

    assert [told] * 3 == ["is also the type number" in page for page in pages]


def test_what_a_code_means_stands_beside_it(client: TestClient, board: str) -> None:
    """Before what part it is on: a telephone shows the first columns only."""
    headings = re.findall(r'<th scope="col">(.*?)</th>', client.get(f"{board}/dating").text)

    assert headings == ["Position", "Code", "Can mean", "Made of it", "Part"]
