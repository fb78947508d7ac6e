"""What is done with a part in a bag: lent, taken back, moved, let go; answered with the bag, or as it was typed."""

import pytest
from starlette.testclient import TestClient

from tests.pages.benchwork import (
    HOSTILE,
    address_of,
    assert_sound,
    enter_part,
    message_beside,
    post,
    rows_of,
    set_up,
    typed_in,
    words_of,
)

SPARE = {"kind": "chip", "type": "4116", "origin": "period", "day": "2023-05-05", "bag": "7", "place": "Drawer 4"}
LENT = {
    "to_whom": "Ida Quern",
    "day": "2023-06-01",
    "due": "2023-07-01",
    "signer": "Test keeper",
    "note": "For a test.",
}


@pytest.fixture
def part(client: TestClient) -> str:
    """The address of a part that lies in bag 7."""
    return address_of(post(client, "/kept-aside/new", **SPARE))


@pytest.fixture
def lent(client: TestClient, part: str) -> str:
    post(client, f"{part}/lend", **LENT)
    return part


@pytest.mark.parametrize("act", ["lend", "take-back", "keep-aside", "keep-aside?becomes=handed+over"])
def test_each_act_has_a_form_of_its_own(client: TestClient, lent: str, act: str) -> None:
    assert_sound(client.get(f"{lent}/{act}"))


@pytest.mark.parametrize("htmx", [False, True])
def test_a_part_is_lent_and_comes_back(client: TestClient, part: str, htmx: bool) -> None:
    lent = post(client, f"{part}/lend", htmx, **LENT)
    waiting = words_of(client.get(address_of(lent)))
    back = post(client, f"{part}/take-back", htmx, day="2023-06-20", condition="one pin bent", note="By post.")

    page = client.get(address_of(back))
    assert "Lent to Ida Quern since 2023-06-01, signed Test keeper, due back on 2023-07-01: overdue." in waiting
    assert "It came back on 2023-06-20." in words_of(page)
    assert "On 2023-06-20 its condition was noted anew: one pin bent." in words_of(page)
    assert "Lent to Ida Quern" in words_of(client.get(part))


def test_a_form_begins_with_the_day_and_who_signs(client: TestClient, part: str) -> None:
    page = client.get(f"{part}/lend")

    assert typed_in(page, "signer") == "Test keeper"
    assert typed_in(page, "day")


@pytest.mark.parametrize("htmx", [False, True])
@pytest.mark.parametrize(
    ("act", "typed", "field", "said"),
    [
        ("lend", {"to_whom": ""}, "to_whom", "cannot be left empty"),
        ("lend", {"day": "2023-05-04"}, "day", "It went into bag 7 on 2023-05-05"),
        ("lend", {"due": "2023-05-31"}, "due", "cannot be due before"),
    ],
)
def test_a_loan_that_will_not_do_comes_back_as_it_was_typed(
    client: TestClient, part: str, act: str, typed: dict[str, str], field: str, said: str, htmx: bool
) -> None:
    answer = post(client, f"{part}/{act}", htmx, **{**LENT, "note": HOSTILE, **typed})

    assert answer.status_code == 422
    assert ("<!doctype" in answer.text.lower()) != htmx
    assert said in message_beside(answer, field)
    assert typed_in(answer, field) == typed[field]
    assert typed_in(answer, "note") == HOSTILE
    assert_sound(answer)


@pytest.mark.parametrize("htmx", [False, True])
def test_what_comes_back_before_it_went_comes_back_as_it_was_typed(client: TestClient, lent: str, htmx: bool) -> None:
    answer = post(client, f"{lent}/take-back", htmx, day="2023-05-31", condition="worn")

    assert answer.status_code == 422
    assert "It was lent on 2023-06-01; that is later." in message_beside(answer, "day")
    assert typed_in(answer, "condition") == "worn"


def test_what_someone_else_lent_meanwhile_is_not_lent_again(client: TestClient, lent: str) -> None:
    """Rule 7: the second keeper's form was opened while it lay in its bag."""
    answer = post(client, f"{lent}/lend", **LENT | {"to_whom": "Bo"})

    assert answer.status_code == 422
    assert "is lent since 2023-06-01, and its bag waits for it. Take it back first." in words_of(answer)
    assert typed_in(answer, "to_whom") == "Bo"


def test_what_is_not_lent_is_not_taken_back(client: TestClient, part: str) -> None:
    answer = post(client, f"{part}/take-back", day="2023-06-20")

    assert answer.status_code == 422
    assert "That part is not lent" in words_of(answer)


@pytest.mark.parametrize("htmx", [False, True])
def test_a_part_moves_to_another_place_in_its_bag(client: TestClient, part: str, htmx: bool) -> None:
    page = client.get(f"{part}/keep-aside")
    typed = {name: typed_in(page, name) for name in ("bag", "place", "from_bag", "condition")}

    answer = post(
        client, f"{part}/keep-aside", htmx, **{**typed, "bag": "", "place": "Shelf"}, becomes="bag", day="2024-01-01"
    )

    assert (typed["bag"], typed["place"], typed["from_bag"]) == ("7", "", "7")
    assert address_of(answer) == "/kept-aside/7"
    words = words_of(client.get(part))
    assert "2024-01-01 In bag 7, Shelf. Now." in words
    assert "2023-05-05 In bag 7, Drawer 4. Until 2024-01-01." in words
    assert "On 2024-01-01 its bag moved to Shelf." in words_of(client.get("/kept-aside/7"))


def test_a_part_that_moves_to_another_bag_is_followed_there(client: TestClient, part: str) -> None:
    answer = post(client, f"{part}/keep-aside", becomes="bag", bag="9", day="2024-01-01", from_bag="7")

    assert address_of(answer) == "/kept-aside/9"


@pytest.mark.parametrize("becomes", ["discarded", "lost", "handed over"])
def test_a_part_is_let_go(client: TestClient, part: str, becomes: str) -> None:
    form = client.get(f"{part}/keep-aside", params={"becomes": becomes})

    answer = post(
        client, f"{part}/keep-aside", becomes=becomes, day="2024-01-01", from_bag="7", note="It was worn out."
    )

    assert f'value="{becomes}" checked' in form.text
    assert f"On 2024-01-01 {becomes}." in words_of(client.get(address_of(answer)))
    page = client.get(part)
    assert f"Now {becomes} on 2024-01-01" in words_of(page)
    assert f"{becomes}. It was worn out." in words_of(page)
    assert "/keep-aside" not in page.text
    assert rows_of(client.get("/kept-aside")) == []
    assert_sound(page)


def test_what_is_lent_can_only_be_lost_or_handed_over(client: TestClient, lent: str) -> None:
    form = client.get(f"{lent}/keep-aside?becomes=discarded")
    refused = post(client, f"{lent}/keep-aside", becomes="discarded", day="2023-06-10", from_bag="7")
    done = post(client, f"{lent}/keep-aside", becomes="handed over", day="2023-06-10", from_bag="7")

    assert 'value="discarded"' not in form.text
    assert refused.status_code == 422
    assert "Take it back first." in words_of(refused)
    assert "It did not come back. On 2023-06-10 handed over." in words_of(client.get(address_of(done)))


@pytest.mark.parametrize("htmx", [False, True])
def test_a_move_that_will_not_do_comes_back_as_it_was_typed(client: TestClient, part: str, htmx: bool) -> None:
    answer = post(
        client, f"{part}/keep-aside", htmx, becomes="lost", day="2023-05-04", from_bag="7", bag="", condition="worn"
    )

    assert answer.status_code == 422
    assert ("<!doctype" in answer.text.lower()) != htmx
    assert "went into bag 7 on 2023-05-05" in message_beside(answer, "day")
    assert (typed_in(answer, "day"), typed_in(answer, "condition")) == ("2023-05-04", "worn")
    assert_sound(answer)


def test_a_move_of_what_someone_else_moved_is_refused(client: TestClient, part: str) -> None:
    """Rule 7: the second keeper saw it in bag 7, where it no longer lies."""
    typed = {"becomes": "bag", "from_bag": "7", "place": "Shelf"}
    post(client, f"{part}/keep-aside", **typed, day="2024-01-01", bag="9")

    answer = post(client, f"{part}/keep-aside", **typed, day="2024-01-02", bag="5")

    assert answer.status_code == 422
    assert "Someone else moved it to bag 9 meanwhile." in message_beside(answer, "bag")


@pytest.mark.parametrize("act", ["lend", "keep-aside"])
def test_a_part_in_a_machine_is_not_to_be_had_here(client: TestClient, act: str) -> None:
    set_up(client)
    enter_part(client, "R1", value="330 Ω")

    answer = post(client, f"/parts/1/{act}", becomes="lost", day="2024-01-01", to_whom="Ida Quern")

    assert answer.status_code == 422
    assert "Only a part that lies in a bag can be" in words_of(answer)
    assert "It lies in no bag now" in words_of(client.get(f"/parts/1/{act}"))


# ---- What was gone is found again ----


@pytest.fixture
def lost(client: TestClient, part: str) -> str:
    post(client, f"{part}/keep-aside", becomes="lost", day="2024-01-01", from_bag="7")
    return part


@pytest.mark.parametrize("htmx", [False, True])
def test_a_lost_part_is_found_again_from_its_own_page(client: TestClient, lost: str, htmx: bool) -> None:
    assert f'href="{lost}/find-again"' in client.get(lost).text
    form = client.get(f"{lost}/find-again")
    answer = post(client, f"{lost}/find-again", htmx, day="2024-02-01", bag="no. 9", note="Behind the bench.")

    bag, page = client.get(address_of(answer)), client.get(lost)
    assert "It was lost on 2024-01-01." in words_of(form)
    assert typed_in(form, "signer") == "Test keeper"
    assert address_of(answer) == "/kept-aside/9"
    assert "again on 2024-02-01, lost since 2024-01-01; it lies in bag 9. Behind the bench." in words_of(page)
    assert "On 2024-01-01 it was gone; it was found again on 2024-02-01, and put into bag 9." in words_of(
        client.get("/kept-aside/7")
    )
    assert f"{lost}/find-again" not in page.text
    for shown in (form, bag, page):
        assert_sound(shown)


@pytest.mark.parametrize("htmx", [False, True])
def test_a_finding_that_will_not_do_comes_back_as_it_was_typed(client: TestClient, lost: str, htmx: bool) -> None:
    typed = {"day": "2023-12-31", "bag": "9", "place": "Shelf", "condition": "worn", "note": HOSTILE}

    answer = post(client, f"{lost}/find-again", htmx, **typed)

    assert answer.status_code == 422
    assert ("<!doctype" in answer.text.lower()) != htmx
    assert "It was lost on 2024-01-01; that is later." in message_beside(answer, "day")
    assert "Found on: It was lost" in words_of(answer)
    assert typed == {name: typed_in(answer, name) for name in typed}
    assert_sound(answer)


def test_what_someone_else_found_meanwhile_is_not_found_again(client: TestClient, lost: str) -> None:
    """Rule 7: the second keeper's form was opened while it was lost."""
    post(client, f"{lost}/find-again", day="2024-02-01")

    answer = post(client, f"{lost}/find-again", day="2024-02-02")

    assert answer.status_code == 422
    assert "that one is not gone" in words_of(answer)
    assert "Only a part that was lost or discarded can be found again." in words_of(client.get(f"{lost}/find-again"))


# ---- Where its bag lies, and since when ----


@pytest.mark.usefixtures("part")
def test_a_bag_that_lies_elsewhere_is_refused_beside_the_place(client: TestClient) -> None:
    other = address_of(post(client, "/kept-aside/new", **SPARE | {"bag": "8", "place": "Shelf"}))

    answer = post(client, f"{other}/keep-aside", becomes="bag", bag="bag 7", place="Shelf", day="2024-01-01")
    spare = post(client, "/kept-aside/new", **SPARE | {"place": "Shelf"})

    for refused in (answer, spare):
        assert refused.status_code == 422
        assert "Bag 7 lies in Drawer 4, and a bag is in one place only." in message_beside(refused, "place")
    assert typed_in(answer, "bag") == "bag 7"


def test_a_bag_s_number_may_be_written_as_it_is_said(client: TestClient, part: str) -> None:
    """In the field of a spare, of a move, and of the search."""
    answer = post(client, "/kept-aside/new", **SPARE | {"bag": "Bag no 12"})
    moved = post(client, f"{part}/keep-aside", becomes="bag", bag="no. 12", day="2024-01-01", from_bag="7")
    found = client.get("/kept-aside", params={"bag": "bag 12"})

    assert "Now in bag 12, Drawer 4" in words_of(client.get(address_of(answer)))
    assert address_of(moved) == "/kept-aside/12"
    assert found.url.path == "/kept-aside/12"


def test_what_is_lent_is_told_as_lent_and_its_bag_as_waiting(client: TestClient, lent: str) -> None:
    page = words_of(client.get(f"{lent}/take-back"))

    assert "Its bag 7, Drawer 4, waits for it; lent to Ida Quern since 2023-06-01" in page
    assert "It lies in bag 7" not in page


def test_a_bag_says_since_when_a_part_is_in_it(client: TestClient, lent: str) -> None:
    """Since it went in, whatever its condition became while it was lent."""
    post(client, f"{lent}/take-back", day="2023-06-20", condition="one pin bent")

    assert "Since 2023-05-05" in words_of(client.get("/kept-aside/7"))
    assert rows_of(client.get("/kept-aside"))[0][4:] == ["2023-05-05", "one pin bent"]
    assert "It lies in bag 7, Drawer 4 since 2023-05-05; one pin bent." in words_of(client.get(f"{lent}/lend"))


@pytest.mark.parametrize(
    ("act", "label"), [("lend", "Lent on"), ("take-back", "Back on"), ("keep-aside", "On"), ("find-again", "Found on")]
)
def test_the_summary_calls_the_day_as_its_field_does(client: TestClient, part: str, act: str, label: str) -> None:
    answer = post(client, f"{part}/{act}", day="", to_whom="Ida Quern", becomes="lost")

    assert f"{label}: Write the day as year-month-day" in words_of(answer)
    assert f"{label} needed" in words_of(answer)
