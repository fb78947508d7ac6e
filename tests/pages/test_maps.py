"""The page of a board's map: pictures on it and off it, pins that are looked for, and a mod's steps."""

import re
from html import unescape

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.records.commands.board_moves import MoveBoard
from server.records.commands.machines import EnterMachine
from server.records.commands.maps import AddBoardPicture, LeavePictureOut, PlacePin
from tests.pages.benchwork import HOSTILE, HTMX, address_of, assert_sound, post, queries, rows_of, typed_in, words_of
from tests.pages.mapped import (
    BACK_POINTS,
    BOARD,
    LAYOUT,
    MAP,
    SHOT_POINTS,
    mapped_board,
    match,
    on_back,
    on_shot,
    photograph,
    two_pictures,
)
from tests.records.conftest import MAIN, Bench

BOTH_WAYS = pytest.mark.parametrize("htmx", [False, True], ids=["plain", "htmx"])
FIND = f"{MAP}?picture=2&find=R2"


@pytest.fixture
def bench(app: FastAPI, client: TestClient) -> Bench:
    return mapped_board(app, client)


@pytest.fixture
def mapped(bench: Bench) -> Bench:
    """R1 and R2 are pinned on the layout, and a photograph is matched to it."""
    two_pictures(bench)
    match(bench, SHOT_POINTS)
    for designator, x, y in (("R1", 600, 400), ("R2", 1500, 900)):
        bench.do(PlacePin, board=MAIN, designator=designator, picture=1, x=x, y=y)
    return bench


def marks(text: str) -> dict[str, tuple[str, float, float]]:
    """The kind of each mark on the picture and where it is drawn, by its label."""
    pattern = r'<svg class="mark (\w+)" x="([^"]+)" y="([^"]+)".*?<text[^>]*>([^<]*)</text>'
    found = re.findall(pattern, text, re.DOTALL)
    return {unescape(label): (kind, float(x), float(y)) for kind, x, y, label in found}


def box(text: str) -> list[float]:
    """What is seen of the picture: left, top, width, height."""
    return [float(number) for number in re.findall(r'<svg class="map[^>]*viewBox="([^"]*)"', text)[0].split()]


# ---- Pictures on the map, and off it ----


def test_an_empty_map_says_what_to_do_first(client: TestClient, bench: Bench) -> None:
    page = client.get(MAP)

    assert "Put a layout drawing on the map" in words_of(page)
    assert 'href="/machines/TM-03/photographs/on/board/main-board"' in page.text
    assert f'href="{MAP}"' in client.get(BOARD).text
    assert_sound(page)
    photograph(bench, (60, 40))
    assert "Put it on the map as a layout" in words_of(client.get(MAP))


@BOTH_WAYS
def test_photographs_of_the_board_go_onto_its_map(client: TestClient, bench: Bench, htmx: bool) -> None:
    """The first is what the others are matched to."""
    photograph(bench, (60, 40), "Parts side")
    photograph(bench, (60, 41))
    first = post(client, f"{MAP}/pictures", htmx, photograph="1", kind="layout")
    second = post(client, f"{MAP}/pictures", htmx, photograph="2", kind="photograph")
    page = client.get(MAP)

    assert address_of(first) == MAP
    assert address_of(second) == f"{MAP}/2/match"
    assert "Picture 1, layout, “Parts side”: the others are matched to it." in words_of(page)
    assert "Picture 2, photograph: not matched yet." in words_of(page)
    assert "No position has a pin yet. Place the first" in words_of(page)
    assert_sound(page)


@BOTH_WAYS
@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"photograph": "9", "kind": "layout"}, "Main board has no photograph 9. Add it to the board first."),
        ({"photograph": "1", "kind": "layout"}, "That photograph is picture 1 of the map already."),
        ({"photograph": "x", "kind": "layout"}, "Write a whole number."),
        ({"photograph": "", "kind": HOSTILE}, "Choose one of the words offered: 'layout' or 'photograph'."),
    ],
)
def test_a_photograph_that_will_not_do(
    client: TestClient, mapped: Bench, htmx: bool, typed: dict[str, str], said: str
) -> None:
    before = mapped.entries()
    answer = post(client, f"{MAP}/pictures", htmx, **typed)

    assert answer.status_code == 422
    assert ("<!doctype" in answer.text.lower()) != htmx
    assert said in words_of(answer)
    field = re.search(r'href="#(f-\w+)"', answer.text)
    assert field
    assert f'id="{field[1]}"' in answer.text
    assert mapped.entries() == before
    assert_sound(answer)


def test_twelve_pictures_are_the_most(client: TestClient, bench: Bench) -> None:
    for number in range(1, 14):
        photograph(bench, (60, 40 + number))
    for number in range(1, 13):
        bench.do(AddBoardPicture, board=MAIN, photograph=number, kind="photograph")

    answer = post(client, f"{MAP}/pictures", photograph="13", kind="layout")

    assert answer.status_code == 422
    assert "Main board has 12 pictures on its map; 12 are the most." in words_of(answer)


@BOTH_WAYS
def test_a_picture_is_left_out_once_nothing_stands_on_it(
    client: TestClient,
    mapped: Bench,  # noqa: ARG001
    htmx: bool,
) -> None:
    version = {"opened_version": "1"}
    pinned = post(client, f"{MAP}/1/leave-out", htmx, **version)
    stale = post(client, f"{MAP}/2/leave-out", htmx, **version)
    gone = post(client, f"{MAP}/2/leave-out", htmx, opened_version="2")
    page = client.get(MAP)

    assert pinned.status_code == 422
    assert "Pins were placed on picture 1: R1, R2. Take them off it first." in words_of(pinned)
    assert stale.status_code == 409
    assert "Someone else changed this while you were looking." in words_of(stale)
    assert address_of(gone) == MAP
    assert "Picture 2," not in words_of(page)
    assert "Photographs of Main board that are not on the map: The photograph" in words_of(page)
    for answer in (pinned, stale):
        assert_sound(answer)


def test_the_reference_picture_goes_last(client: TestClient, bench: Bench) -> None:
    two_pictures(bench)
    answer = post(client, f"{MAP}/1/leave-out", opened_version="1")

    assert answer.status_code == 422
    assert "Picture 1 is the one that the others are matched to. Leave those out first." in words_of(answer)
    bench.do(LeavePictureOut, board=MAIN, picture=2, opened_version=1)
    assert address_of(post(client, f"{MAP}/1/leave-out", opened_version="1")) == MAP
    assert "Put a layout drawing on the map" in words_of(client.get(MAP))


@BOTH_WAYS
def test_a_pin_is_taken_off_unless_someone_moved_it(client: TestClient, mapped: Bench, htmx: bool) -> None:
    mapped.do(PlacePin, board=MAIN, designator="R1", picture=1, x=610, y=400, opened_version=1)
    take_off = f"{MAP}/pins/r1/take-off"
    stale, unsaid = (post(client, take_off, htmx, opened_version=version) for version in ("1", "none"))
    gone = post(client, take_off, htmx, opened_version="2")
    again = post(client, take_off, htmx, opened_version="2")

    assert (stale.status_code, unsaid.status_code, again.status_code) == (409, 422, 422)
    assert "Someone else changed this" in words_of(stale)
    assert address_of(gone) == MAP
    assert "There is no pin “R1”" in words_of(again)
    assert "R1, 1 kΩ resistor: place it" in words_of(client.get(MAP))


# ---- What the page shows ----


@BOTH_WAYS
def test_pins_are_carried_to_the_photograph(client: TestClient, mapped: Bench, htmx: bool) -> None:  # noqa: ARG001
    page = client.get(f"{MAP}?picture=2", headers=HTMX if htmx else {})
    drawn = marks(page.text)

    assert ("<!doctype" in page.text.lower()) != htmx
    assert drawn["R2"][0] == "pin"
    assert drawn["R2"][1:] == pytest.approx(on_shot(1500, 900), abs=0.1)
    row = rows_of(page)[1]
    assert row[2].startswith("1175, 795, within ")
    assert [*row[:2], *row[3:]] == ["R2", "2 kΩ resistor", "picture 1", "Show · Move or take off"]
    assert "Picture 2, photograph, “The photograph”: matched by 5 points; on the whole" in words_of(page)
    assert "R3, 3 kΩ resistor: place it" in words_of(page)
    assert_sound(page)


@pytest.mark.parametrize("find", ["R2", "r2", " R 02 "])
def test_a_designator_is_found_and_ringed(client: TestClient, mapped: Bench, find: str) -> None:  # noqa: ARG001
    """The view is four times closer, with the pin in its middle."""
    page = client.get(MAP, params={"picture": "2", "find": find})
    left, top, width, height = box(page.text)

    assert marks(page.text)["R2"][0] == "found"
    assert (left + width / 2, top + height / 2) == pytest.approx(on_shot(1500, 900), abs=0.5)
    assert width == pytest.approx(500)
    assert '<circle class="ring"' in page.text
    assert typed_in(page, "find") == find.strip()
    assert_sound(page)


def test_what_was_found_stays_ringed_while_one_looks_around(client: TestClient, mapped: Bench) -> None:  # noqa: ARG001
    page = client.get(FIND)
    addresses = dict(re.findall(r'<a href="([^"]*)" data-act="(\w+)"', page.text))
    looks = {act: client.get(unescape(address)) for address, act in addresses.items()}
    seen = {act: box(look.text) for act, look in looks.items()}

    assert all('<circle class="ring"' in look.text for look in looks.values())
    assert seen["closer"][2] == pytest.approx(250)
    assert seen["further"][2] == pytest.approx(1000)
    assert seen["whole"] == pytest.approx([0, 0, 2000, 1500])
    assert seen["right"][0] == pytest.approx(box(page.text)[0] + 125, abs=1)
    assert seen["up"][1] == pytest.approx(box(page.text)[1] - 93.75, abs=1)


@pytest.mark.parametrize(
    ("find", "said"),
    [
        ("R3", "R3 waits in the tray to be placed."),
        ("R77", "R77 is no position of this board."),
        (HOSTILE, f"{HOSTILE} is no position of this board."),
        ("\0", "is no position of this board."),
        ("9" * 2000, "is no position of this board."),
    ],
)
def test_what_is_not_found_is_told_why(client: TestClient, mapped: Bench, find: str, said: str) -> None:  # noqa: ARG001
    page = client.get(MAP, params={"find": find})

    assert page.status_code == 200
    assert " ".join(said.split()) in words_of(page)
    assert box(page.text) == pytest.approx([0, 0, *LAYOUT])
    assert_sound(page)


def test_a_pin_that_cannot_be_carried_is_told(client: TestClient, mapped: Bench) -> None:
    match(mapped, [], opened_version=2)
    page = client.get(FIND)

    assert "R2 has its pin on another picture only: follow Show beside it in the table." in words_of(page)
    assert f'href="{MAP}?picture=1&amp;find=R2#map"' in page.text
    assert "This picture is not matched to the reference picture" in words_of(page)
    assert ["R2", "2 kΩ resistor", "on picture 1 only", "picture 1", "Show · Move or take off"] in rows_of(page)
    assert marks(page.text) == {}


def test_a_closer_look_shows_a_finer_view(client: TestClient, mapped: Bench) -> None:  # noqa: ARG001
    """Where the picture has more pixels than the usual view; a script fetches it when it is needed."""
    far, near = (client.get(f"{MAP}?zoom={zoom}").text for zoom in (1, 4))

    assert re.search(r'<image href="/photographs/\w+/1600" data-fine="/photographs/\w+/4096"', far)
    assert re.search(r'<image href="/photographs/\w+/4096"', near)
    fine = re.findall(r'<image href="(/photographs/\w+/4096)"', near)[0]
    assert client.get(fine).status_code == 200


def test_three_points_do_not_tell_how_sure_they_are(client: TestClient, mapped: Bench) -> None:
    match(mapped, SHOT_POINTS[:3], opened_version=2, match_kind="affine")
    page = client.get(f"{MAP}?picture=2")

    assert "1175, 795, how sure is not known" in words_of(page)
    assert "too few points tell how far off they may be" in words_of(page)
    assert 'class="doubt"' not in page.text


@pytest.mark.parametrize(("turn", "mirror"), [("90", ""), ("180", "yes"), ("-90", ""), ("22,5", "yes")])
def test_a_picture_is_turned_as_the_board_lies(client: TestClient, mapped: Bench, turn: str, mirror: str) -> None:  # noqa: ARG001
    """Labels stay upright: nothing is turned but the picture and the places of the marks."""
    page = client.get(MAP, params={"turn": turn, "mirror": mirror, "find": "R1"})
    places = {
        ("90", ""): (1600 - 400, 600),
        ("180", "yes"): (600, 1600 - 400),
        ("-90", ""): (400, 2400 - 600),
    }
    kind, x, y = marks(page.text)["R1"]

    assert kind == "found"
    if (turn, mirror) in places:
        assert (x, y) == pytest.approx(places[turn, mirror], abs=0.1)
    assert len(re.findall(r"rotate\(", page.text)) == 1
    assert typed_in(page, "turn") == f"{float(turn.replace(',', '.')) % 360:g}"
    assert typed_in(page, "mirror") == mirror
    kept = re.findall(r'href="[^"]*/place\?designator=R3([^"]*)"', page.text)
    assert f"turn={float(turn.replace(',', '.')) % 360:g}" in kept[0]
    assert_sound(page)


def test_the_solder_side_is_told_and_pins_lie_mirrored_on_it(client: TestClient, mapped: Bench) -> None:
    match(mapped, BACK_POINTS, opened_version=2)
    page = client.get(f"{MAP}?picture=2")

    assert "matched by 5 points, seen from the other side;" in words_of(page)
    assert marks(page.text)["R1"][1:] == pytest.approx(on_back(600, 400), abs=0.1)


@pytest.mark.parametrize(
    "asked",
    [
        {"turn": "abc"},
        {"turn": "1e999"},
        {"turn": "nan", "mirror": "x" * 500},
        {"zoom": "999999999999", "x": "1e400", "y": "-1"},
        {"zoom": "16", "x": "-1e5", "y": "999999"},
        {"zoom": "0"},
        {"zoom": "-3", "x": "٣"},
        {"picture": "77"},
        {"picture": "-1", "page": "0", "tray": "x"},
        {"page": "999999999", "tray": "999999999"},
        {"find": "<script>"},
        {"mod": HOSTILE},
        {"mod": "99999999999999"},
    ],
)
def test_an_address_that_cannot_be_read_is_as_usual(client: TestClient, mapped: Bench, asked: dict[str, str]) -> None:  # noqa: ARG001
    page = client.get(MAP, params=asked)

    assert page.status_code == 200
    assert {"R1", "R2"} == set(marks(page.text))
    assert all(edge >= 0 for edge in box(page.text))
    assert "Map of Main board" in words_of(page)
    assert_sound(page)


@pytest.mark.parametrize("turn", ["a quarter", "1e999", "90°"])
def test_a_turn_that_cannot_be_read_is_said_so_beside_it(client: TestClient, mapped: Bench, turn: str) -> None:  # noqa: ARG001
    page = client.get(MAP, params={"turn": turn})

    assert "Say it as a number of degrees, such as 90." in words_of(page)
    assert typed_in(page, "turn") == turn
    assert_sound(page)


@pytest.mark.parametrize("address", [f"{MAP}/9/place", f"{MAP}/9/match", f"{MAP}/1/match", f"{MAP}/9/point-out"])
def test_a_picture_that_is_not_there_is_a_404(client: TestClient, mapped: Bench, address: str) -> None:  # noqa: ARG001
    assert client.get(address).status_code == 404
    assert post(client, address).status_code == 404
    assert post(client, f"{MAP}/9/leave-out", opened_version="1").status_code == 404
    assert post(client, f"{MAP}/pins/R77/take-off", opened_version="1").status_code == 404


# ---- A mod's steps ----


def test_the_steps_of_a_mod_are_marked_in_their_order(client: TestClient, mapped: Bench) -> None:
    """Done or not, each with its number; what was dropped is not to choose."""
    mapped.plan("Faster clock")
    for kind, designator, pin in (
        ("take out", "R1", ""),
        ("fit", "R1", ""),
        ("lift pin", "R2", "1"),
        ("fit", "R4", ""),
    ):
        mapped.step(kind, designator, pin=pin)
    mapped.carry_out(1, place="Bag", bag="1")
    mapped.plan("Dropped")
    mapped.step("take out", "R1", mod=2)
    mapped.move("dropped", "2025-02-03", mod=2)
    page, done = client.get(f"{MAP}?mod=1&picture=2"), client.get(f"{MAP}?mod=1&find=R2&page=1")
    drawn = marks(page.text)

    assert drawn["R1, steps 1, 2"][0] == "step"
    assert drawn["R2, step 3"][0] == "step"
    listed = re.findall(r'<li value="(\d+)"( class="cleared")?>', page.text)
    assert listed == [("1", ' class="cleared"'), ("2", ""), ("3", ""), ("4", "")]
    assert words_of(page).count("(no pin on this picture)") == 1
    assert "; done" in words_of(page)
    assert re.findall(r'<option value="([^"]*)"( selected)?>mod', page.text) == [("1", " selected")]
    assert "step 1, done:" in page.text
    assert marks(done.text)["R2, step 3"][0] == "found"
    mapped.carry_out(2, value="1 kΩ")
    assert marks(client.get(f"{MAP}?mod=1").text)["R1, steps 1, 2"][0] == "done"
    for answer in (page, done):
        assert_sound(answer)


# ---- Much, and elsewhere ----


def test_pins_and_the_tray_are_paged_each_by_itself(app: FastAPI, client: TestClient) -> None:
    bench = mapped_board(app, client, positions=320)
    two_pictures(bench)
    for n in range(1, 211):
        bench.do(PlacePin, board=MAIN, designator=f"R{n}", picture=1, x=n * 10, y=700)
    first = client.get(f"{MAP}?turn=90")
    second = client.get(f"{MAP}?turn=90&page=2&tray=3")

    assert [len(rows_of(page)) for page in (first, second)] == [200, 10]
    assert [page.text.count(">place it<") for page in (first, second)] == [50, 10]
    assert f"{MAP}?turn=90&amp;page=2" in first.text
    assert f"{MAP}?turn=90&amp;tray=2" in first.text
    assert f"{MAP}?turn=90&amp;tray=3&amp;page=1" in second.text
    assert f"{MAP}?turn=90&amp;page=2&amp;tray=2" in second.text
    assert len(marks(second.text)) == 210
    assert 'class="map crowded"' in first.text
    assert "R300 waits in the tray" in words_of(client.get(f"{MAP}?find=R300"))
    for page in (first, second):
        assert_sound(page)


def test_no_look_at_a_map_asks_more_for_more_pins(app: FastAPI, client: TestClient, mapped: Bench) -> None:
    store = app.state.store
    with queries(store) as before:
        client.get(f"{FIND}&mod=1")
    for designator in ("R3", "R4"):
        mapped.do(PlacePin, board=MAIN, designator=designator, picture=2, x=100, y=100)
    with queries(store) as after:
        client.get(f"{FIND}&mod=1")

    assert len(before) == len(after)


def test_a_board_that_moved_takes_its_map_along(client: TestClient, mapped: Bench) -> None:
    mapped.do(EnterMachine, tag="TM-09", model="Merle 40")
    mapped.do(MoveBoard, board=MAIN, to="TM-09", day="2025-09-01", signer="Tester")
    there = MAP.replace("TM-03", "TM-09")
    page = client.get(f"{there}?picture=2&find=R2")

    assert marks(page.text)["R2"][1:] == pytest.approx(on_shot(1500, 900), abs=0.1)
    assert client.get(MAP).status_code == 404
    placed = post(client, f"{there}/2/place", designator="R3", x="100", y="100", opened_version="0")
    assert address_of(placed) == f"{there}/2/place?designator=R4#pin-picture"
    image = re.findall(r'<image href="([^"]*)"', page.text)[0]
    assert client.get(image).headers["content-type"] == "image/jpeg"
    assert_sound(page)
