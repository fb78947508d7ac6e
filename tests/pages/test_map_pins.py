"""Pinning positions on a board's map, and making them by pointing: typed, pressed, refused and stale."""

import re

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.records.commands.maps import PlacePin
from tests.pages.benchwork import (
    HOSTILE,
    HTMX,
    address_of,
    assert_sound,
    message_beside,
    post,
    rows_of,
    typed_in,
    words_of,
)
from tests.pages.mapped import BOARD, MAP, SHOT_POINTS, mapped_board, match, on_shot, two_pictures
from tests.records.conftest import MAIN, Bench

PLACE, POINT_OUT = f"{MAP}/1/place", f"{MAP}/1/point-out"
BOTH_WAYS = pytest.mark.parametrize("htmx", [False, True], ids=["plain", "htmx"])
CHIP = {"kind": "chip", "mounting": "socketed", "expected_type": "74LS04"}


@pytest.fixture
def bench(app: FastAPI, client: TestClient) -> Bench:
    bench = mapped_board(app, client)
    two_pictures(bench)
    match(bench, SHOT_POINTS)
    return bench


def pin(bench: Bench, designator: str, x: float, y: float, opened_version: int = 0) -> None:
    place = {"designator": designator, "picture": 1, "x": x, "y": y, "opened_version": opened_version}
    bench.do(PlacePin, board=MAIN, **place)


def typed(designator: str, x: str, y: str, opened_version: str = "0") -> dict[str, str]:
    return {"designator": designator, "x": x, "y": y, "opened_version": opened_version}


# ---- Placing ----


@BOTH_WAYS
def test_the_tray_is_placed_one_after_the_other(client: TestClient, bench: Bench, htmx: bool) -> None:
    """And then the map is shown."""
    pin(bench, "R4", 50, 50)
    form = client.get(PLACE, headers=HTMX if htmx else {})
    addresses = [
        address_of(post(client, PLACE, htmx, **typed(name, "600,5", "400", "0"), turn="90", mirror="yes"))
        for name in ("R2", "R3", "R1")
    ]

    assert ("<!doctype" in form.text.lower()) != htmx
    assert "Press where R1 sits, then save. 3 positions wait in the tray." in words_of(form)
    assert typed_in(form, "designator") == "R1"
    turned = "turn=90&mirror=yes"
    following = [f"{PLACE}?designator={name}&{turned}#pin-picture" for name in ("R3", "R1")]
    assert addresses == [*following, f"{MAP}?picture=1&{turned}"]
    assert [row[2] for row in rows_of(client.get(MAP))] == ["600, 400"] * 3 + ["50, 50"]
    assert_sound(form)


@BOTH_WAYS
@pytest.mark.parametrize(
    ("given", "field", "said"),
    [
        (typed("R1", "2401", "5"), "x", "Picture 1 is 2,400 pixels wide; 2401 lies outside it."),
        (typed("R1", "5", "-0.5"), "y", "Picture 1 is 1,600 pixels high; -0.5 lies outside it."),
        (typed("R1", "", "5"), "x", "Write a number."),
        (typed("R1", "left", "5"), "x", "Write a number"),
        (typed("R1", "nan", "5"), "x", "number"),
        (typed("", "5", "5"), "designator", "This cannot be left empty."),
        (typed("R77", "5", "5"), "designator", "There is no position “R77”"),
        (typed(HOSTILE, "5", "5"), "designator", "There is no position"),
    ],
)
def test_a_pin_that_will_not_do_comes_back_as_typed(
    client: TestClient, bench: Bench, htmx: bool, given: dict[str, str], field: str, said: str
) -> None:
    before = bench.entries()
    answer = post(client, PLACE, htmx, **given)

    assert answer.status_code == 422
    assert ("<!doctype" in answer.text.lower()) != htmx
    assert said in message_beside(answer, field)
    assert {name: typed_in(answer, name) for name in given} == given
    assert bench.entries() == before
    assert_sound(answer)


@BOTH_WAYS
@pytest.mark.parametrize("opened", ["0", "1"])
def test_a_pin_that_someone_else_placed_shows_both_versions(
    client: TestClient, bench: Bench, htmx: bool, opened: str
) -> None:
    """Placed or moved meanwhile; saving again puts this one on the record."""
    pin(bench, "R1", 10, 20)
    if opened == "1":
        pin(bench, "R1", 30, 40, 1)
    now = str(int(opened) + 1)
    answer = post(client, PLACE, htmx, **typed("R1", "100", "200", opened))
    page = words_of(answer)

    assert answer.status_code == 409
    assert "Someone else saved this record" in page
    there = {"0": "10", "1": "30"}[opened]
    assert any(row[1:] == ["100", there] or row[1:] == ["100.0", f"{there}.0"] for row in rows_of(answer))
    assert (typed_in(answer, "x"), typed_in(answer, "opened_version")) == ("100", now)
    assert_sound(answer)
    address_of(post(client, PLACE, **typed("R1", "100", "200", now)))
    assert ["R1", "1 kΩ resistor", "100, 200", "picture 1", "Show · Move or take off"] in rows_of(client.get(MAP))


@BOTH_WAYS
def test_a_pin_that_is_gone_is_told(client: TestClient, bench: Bench, htmx: bool) -> None:  # noqa: ARG001
    answer = post(client, PLACE, htmx, **typed("R1", "100", "200", "3"))

    assert answer.status_code == 409
    assert typed_in(answer, "opened_version") == "0"


def test_a_pin_is_moved_to_another_picture(client: TestClient, bench: Bench) -> None:
    """Its form draws it where it is carried to, and asks for the spot anew: saved as it is, nothing was pointed out."""
    pin(bench, "R1", 600, 400)
    form = client.get(f"{MAP}/2/place?designator=r1")
    untouched = post(client, f"{MAP}/2/place", **typed("R1", "", "", "1"))
    at_home = client.get(f"{MAP}/1/place?designator=r1")
    address_of(post(client, f"{MAP}/2/place", **typed("R1", "501", "419", "1")))

    assert [typed_in(form, axis) for axis in "xy"] == ["", ""]
    assert [typed_in(at_home, axis) for axis in "xy"] == ["600.0", "400.0"]
    assert untouched.status_code == 422
    drawn = re.search(r'class="mark pin" x="([^"]+)" y="([^"]+)"', form.text)
    assert drawn
    assert [float(place) for place in drawn.groups()] == pytest.approx(on_shot(600, 400), abs=0.1)
    assert typed_in(form, "opened_version") == "1"
    assert "R1 goes back to the tray, and its pin is forgotten." in words_of(form)
    assert ["R1", "1 kΩ resistor", "501, 419", "picture 2", "Show · Move or take off"] in rows_of(
        client.get(f"{MAP}?picture=2")
    )
    assert_sound(form)


def test_when_every_position_has_a_pin_the_form_asks_whose_is_moved(client: TestClient, bench: Bench) -> None:
    for n in range(1, 5):
        pin(bench, f"R{n}", 10 * n, 10)
    form = client.get(PLACE)

    assert "Every position has a pin; say whose is to be moved." in words_of(form)
    assert typed_in(form, "designator") == ""
    assert "Empty: every position of this board has a pin." in words_of(client.get(MAP))


@BOTH_WAYS
def test_a_press_without_a_script_pins_it_there(client: TestClient, bench: Bench, htmx: bool) -> None:  # noqa: ARG001
    """On the pixel of the picture that was pressed, within half of one that is shown."""
    pressed = {"at.x": "400", "at.y": "267"}
    answer = post(client, PLACE, htmx, **typed("R1", "", "", "0"), **pressed)
    form = client.get(f"{PLACE}?designator=R1")

    assert address_of(answer) == f"{PLACE}?designator=R2#pin-picture"
    assert (float(typed_in(form, "x")), float(typed_in(form, "y"))) == pytest.approx((600, 400), abs=1.5)


def test_a_press_at_the_very_corner_lies_within_the_picture(client: TestClient, bench: Bench) -> None:  # noqa: ARG001
    for name, press in (("R1", ("1599", "1066")), ("R2", ("0", "1"))):
        address_of(post(client, PLACE, **typed(name, "", "", "0"), **{"at.x": press[0], "at.y": press[1]}))


def test_a_picture_that_is_chosen_by_the_keyboard_points_at_nothing(client: TestClient, bench: Bench) -> None:  # noqa: ARG001
    """What is typed counts; a browser sends the first pixel with it."""
    enter = {"at.x": "0", "at.y": "0"}
    refused = post(client, PLACE, **typed("R1", "", "", "0"), **enter)
    address_of(post(client, PLACE, **typed("R1", "700", "300", "0"), **enter))

    assert refused.status_code == 422
    assert "Write a number." in message_beside(refused, "x")
    assert ["R1", "1 kΩ resistor", "700, 300", "picture 1", "Show · Move or take off"] in rows_of(client.get(MAP))


def test_the_picture_is_pressed_as_the_board_lies(client: TestClient, bench: Bench) -> None:
    pin(bench, "R2", 600, 400)
    form = client.get(f"{PLACE}?designator=R1&turn=90&mirror=yes&zoom=4&x=1&y=1")
    again = post(client, PLACE, **typed("R1", "9999", "5"), turn="90", mirror="yes")

    for page in (form, again):
        assert 'viewBox="0.0 0.0 1600.0 2400.0"' in page.text
        assert "rotate(90) scale(-1 1)" in page.text
        assert (typed_in(page, "turn"), typed_in(page, "mirror")) == ("90", "yes")
    assert re.findall(r'<svg class="mark pin" x="([\d.]+)" y="([\d.]+)"', form.text) == [("1200.0", "1800.0")]
    assert_sound(form)


# ---- Made by pointing ----


@BOTH_WAYS
def test_a_position_is_made_by_pointing(client: TestClient, bench: Bench, htmx: bool) -> None:  # noqa: ARG001
    form = client.get(POINT_OUT, headers=HTMX if htmx else {})
    made = post(client, POINT_OUT, htmx, designator="U7", x="700", y="300,5", **CHIP)

    assert "Press where it sits, say what it is called, and save." in words_of(form)
    assert address_of(made) == f"{MAP}?picture=1&find=U7"
    assert "socketed" in words_of(client.get(f"{BOARD}/positions/U7"))
    assert ["U7", "nothing recorded", "700, 300", "picture 1", "Show · Move or take off"] in rows_of(client.get(MAP))
    assert_sound(form)


def test_a_press_without_a_script_asks_for_the_rest(client: TestClient, bench: Bench) -> None:
    before = bench.entries()
    answer = post(client, POINT_OUT, designator="U7", x="", y="", **CHIP, **{"at.x": "400", "at.y": "267"})

    assert (answer.status_code, bench.entries()) == (200, before)
    assert (float(typed_in(answer, "x")), float(typed_in(answer, "y"))) == pytest.approx((600, 400), abs=1.5)
    assert typed_in(answer, "expected_type") == "74LS04"


@BOTH_WAYS
@pytest.mark.parametrize(
    ("given", "field", "said"),
    [
        ({"designator": "R1"}, "designator", "R1"),
        ({"designator": ""}, "designator", "This cannot be left empty."),
        ({"x": "2401"}, "x", "Picture 1 is 2,400 pixels wide; 2401 lies outside it."),
        ({"y": ""}, "y", "Write a number."),
        ({"kind": HOSTILE}, "kind", "Choose one of the words offered"),
        ({"pins": "many"}, "pins", "whole number"),
    ],
)
def test_a_position_that_will_not_do_comes_back_as_typed(
    client: TestClient, bench: Bench, htmx: bool, given: dict[str, str], field: str, said: str
) -> None:
    """Neither a position nor a pin is left behind."""
    before = bench.entries()
    sent = {"designator": "U7", "x": "700", "y": "300", **CHIP, "note": HOSTILE} | given
    answer = post(client, POINT_OUT, htmx, **sent)

    assert answer.status_code == 422
    assert ("<!doctype" in answer.text.lower()) != htmx
    assert said in message_beside(answer, field)
    kept = {name: typed_in(answer, name) for name in sent if name != "kind" or field != "kind"}
    assert kept == {name: text for name, text in sent.items() if name in kept}
    assert bench.entries() == before
    assert_sound(answer)


def test_a_place_and_a_designator_that_will_not_do_are_told_at_once(client: TestClient, bench: Bench) -> None:  # noqa: ARG001
    answer = post(client, POINT_OUT, designator="R1", x="-5", y="3", **CHIP)

    assert answer.status_code == 422
    assert message_beside(answer, "x")
    assert message_beside(answer, "designator")
