"""Matching a picture of a board to the first: points typed or pressed, and each refusal beside its field."""

import re

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from tests.pages.benchwork import (
    HOSTILE,
    HTMX,
    address_of,
    assert_sound,
    message_beside,
    post,
    typed_in,
    words_of,
)
from tests.pages.mapped import (
    BACK_POINTS,
    LAYOUT,
    MAP,
    SHOT,
    SHOT_POINTS,
    mapped_board,
    match,
    on_shot,
    two_pictures,
    typed_points,
)
from tests.records.conftest import Bench
from tests.records.map_scene import Row, point

MATCH = f"{MAP}/2/match"
BOTH_WAYS = pytest.mark.parametrize("htmx", [False, True], ids=["plain", "htmx"])
EMPTY = point("", "", "", "")


@pytest.fixture
def bench(app: FastAPI, client: TestClient) -> Bench:
    bench = mapped_board(app, client)
    two_pictures(bench)
    return bench


def with_point(number: int, row: Row) -> list[Row]:
    """The points that fit, but for one of them."""
    return [*SHOT_POINTS[:number], row, *SHOT_POINTS[number + 1 :]]


@BOTH_WAYS
def test_points_are_saved_and_judged(client: TestClient, bench: Bench, htmx: bool) -> None:  # noqa: ARG001
    """One of them is two pixels off, which the others tell; commas are taken, and empty rows left out."""
    x, y = on_shot(1200, 800)
    rows = [*SHOT_POINTS[:4], EMPTY, point("1200,0", "800", f"{x + 2:.1f}".replace(".", ","), y)]
    form = client.get(MATCH, headers=HTMX if htmx else {})
    answer = post(client, MATCH, htmx, **typed_points(rows))
    page = client.get(address_of(answer))

    assert ("<!doctype" in form.text.lower()) != htmx
    assert address_of(answer) == MATCH
    assert "Matched by 5 points; on the whole a point lies" in words_of(page)
    assert "It is not mirrored: both show the same side." in words_of(page)
    assert re.search(r"Point 5 .*? Off by [\d.]+ pixels; the others would put it [\d.]+ pixels away\.", words_of(page))
    assert [typed_in(page, f"points.4.{name}") for name in ("reference_x", "x")] == ["1200", "952"]
    assert typed_in(page, "opened_version") == "2"
    for one in (form, page):
        assert_sound(one)


def test_a_picture_from_the_solder_side_is_told(client: TestClient, bench: Bench) -> None:  # noqa: ARG001
    page = client.get(address_of(post(client, MATCH, **typed_points(BACK_POINTS))))

    assert "It shows the board from the solder side. This picture shows the board mirrored" in words_of(page)


def test_two_points_of_three_cannot_judge(client: TestClient, bench: Bench) -> None:  # noqa: ARG001
    page = client.get(address_of(post(client, MATCH, **typed_points(SHOT_POINTS[:3], match_kind="affine"))))

    assert "too few points to say how far a spot may be off" in words_of(page)
    assert "the others are too few to tell" in words_of(page)
    assert typed_in(page, "match_kind") == "affine"


def test_without_points_it_is_no_longer_matched(client: TestClient, bench: Bench) -> None:
    match(bench, SHOT_POINTS)
    page = client.get(address_of(post(client, MATCH, **typed_points([EMPTY] * 8, opened_version="2"))))

    assert "Matched by" not in words_of(page)
    assert "Picture 2, photograph, “The photograph”: not matched yet." in words_of(client.get(MAP))


@BOTH_WAYS
@pytest.mark.parametrize(
    ("rows", "field", "said"),
    [
        ([EMPTY] * 8, "points.0.reference_x", "No point was given, and a match needs at least 3."),
        (SHOT_POINTS[:2], "points.2.reference_x", "There are 2 points, and a match needs at least 3."),
        (SHOT_POINTS[:1], "points.1.reference_x", "There is 1 point, and a match needs at least 3."),
        (with_point(1, point(2300, 100, "", "")), "points.1.x", "Say where this point is in both pictures"),
        (with_point(1, point("", 100, 1, 2)), "points.1.reference_x", "Say where this point is in both pictures"),
        (with_point(2, point("left", 1, 2, 3)), "points.2.reference_x", "Write a number"),
        (with_point(2, point(1, 1, "1e999", 3)), "points.2.x", "number"),
        (
            with_point(2, point(2401, 1, 2, 3)),
            "points.2.reference_x",
            "Picture 1 is 2,400 pixels wide; 2401 lies outside",
        ),
        (with_point(2, point(1, -1, 2, 3)), "points.2.reference_y", "Picture 1 is 1,600 pixels high; -1 lies outside"),
        (with_point(2, point(1, 1, 2, 1501)), "points.2.y", "Picture 2 is 1,500 pixels high; 1501 lies outside"),
        (
            with_point(3, point(2300, 100, 1, 1)),
            "points.3.reference_x",
            "Points 2 and 4 are in the same place in the refer",
        ),
        (
            with_point(3, point(5, 5, *on_shot(2300, 100))),
            "points.3.x",
            "Points 2 and 4 are in the same place in this pic",
        ),
        (
            [point(x, x / 2, *on_shot(x, x / 2)) for x in (0, 400, 800, 1600)],
            "points.3.reference_x",
            "lie on one line in the reference picture",
        ),
    ],
)
def test_points_that_will_not_do_come_back_as_typed(
    client: TestClient, bench: Bench, htmx: bool, rows: list[Row], field: str, said: str
) -> None:
    before = bench.entries()
    answer = post(client, MATCH, htmx, **typed_points(rows))

    assert answer.status_code == 422
    assert ("<!doctype" in answer.text.lower()) != htmx
    assert said in message_beside(answer, field)
    number, column = re.findall(r"(\d)\.(\w+)", field)[0]
    assert f"Point {int(number) + 1}, {'across' if column.endswith('x') else 'down'} on " in words_of(answer)
    for n, row in enumerate(rows):
        for name, text in row.items():
            assert typed_in(answer, f"points.{n}.{name}") == str(text)
    assert bench.entries() == before
    assert_sound(answer)


def test_nine_points_are_too_many(client: TestClient, bench: Bench) -> None:  # noqa: ARG001
    """A form that somebody made has more rows than the page shows; none of them is lost."""
    answer = post(client, MATCH, **typed_points([*SHOT_POINTS, *(point(n, 9 * n, n, n) for n in range(1, 5))]))

    assert answer.status_code == 422
    assert "There are 9 points; 8 are the most." in message_beside(answer, "points.8.reference_x")
    assert typed_in(answer, "points.8.y") == "4"


@pytest.mark.parametrize("typed", [{"match_kind": HOSTILE}, {"match_kind": "bent"}])
def test_a_kind_that_is_none_is_refused(client: TestClient, bench: Bench, typed: dict[str, str]) -> None:  # noqa: ARG001
    answer = post(client, MATCH, **typed_points(SHOT_POINTS, **typed))

    assert answer.status_code == 422
    assert "Choose one of the words offered" in message_beside(answer, "match_kind")


@BOTH_WAYS
def test_points_that_someone_else_saved_show_both_versions(client: TestClient, bench: Bench, htmx: bool) -> None:
    match(bench, SHOT_POINTS[:4])
    mine = with_point(0, point(101, 100, *on_shot(101, 100)))
    answer = post(client, MATCH, htmx, **typed_points(mine))

    assert answer.status_code == 409
    assert "Someone else saved this record while you were writing." in words_of(answer)
    assert typed_in(answer, "points.0.reference_x") == "101"
    assert typed_in(answer, "opened_version") == "2"
    assert_sound(answer)
    address_of(post(client, MATCH, **typed_points(mine, opened_version="2")))


# ---- Pressed without a script ----


@BOTH_WAYS
def test_a_press_goes_into_the_first_row_that_waits(client: TestClient, bench: Bench, htmx: bool) -> None:
    """On the pixel of the picture that was pressed, within half of one that is shown; nothing is written."""
    before = bench.entries()
    first = post(
        client, MATCH, htmx, **typed_points([SHOT_POINTS[0]]), **{"on_reference.x": "1533", "on_reference.y": "66"}
    )
    rows = {f"points.{n}.{name}": typed_in(first, f"points.{n}.{name}") for n in (0, 1) for name in EMPTY}
    second = post(client, MATCH, htmx, **rows, opened_version="1", **{"on_picture.x": "1420", "on_picture.y": "156"})

    assert (first.status_code, second.status_code, bench.entries()) == (200, 200, before)
    assert float(typed_in(first, "points.1.reference_x")) == pytest.approx(2300, abs=1.5)
    assert float(typed_in(first, "points.1.reference_y")) == pytest.approx(100, abs=1.5)
    assert typed_in(first, "points.1.x") == ""
    assert typed_in(first, "points.0.y") == str(SHOT_POINTS[0]["y"])
    assert float(typed_in(second, "points.1.x")) == pytest.approx(1775, abs=1.25)
    assert float(typed_in(second, "points.1.y")) == pytest.approx(195, abs=1.25)
    assert typed_in(second, "points.1.reference_x") == rows["points.1.reference_x"]
    assert_sound(second)


def test_what_is_pressed_is_the_whole_picture_in_a_known_size(client: TestClient, bench: Bench) -> None:  # noqa: ARG001
    text = client.get(MATCH).text
    shown = re.findall(r'<input type="image" name="(\w+)"[^>]* width="(\d+)" height="(\d+)"', text)

    assert shown == [("on_reference", "1600", "1067"), ("on_picture", "1600", "1200")]
    assert [round(1600 * high / wide) for wide, high in (LAYOUT, SHOT)] == [1067, 1200]


@pytest.mark.parametrize("pressed", ["99999", "-1", "x", ""])
def test_a_press_that_is_none_does_no_harm(client: TestClient, bench: Bench, pressed: str) -> None:  # noqa: ARG001
    typed = typed_points(SHOT_POINTS[:2]) | {"on_reference.x": pressed, "on_reference.y": pressed}
    answer = post(client, MATCH, **typed)

    assert answer.status_code == (200 if pressed == "99999" else 422)
    assert typed_in(answer, "points.2.reference_x") == ("2400.0" if pressed == "99999" else "")


def test_a_ninth_press_is_said_to_be_too_many(client: TestClient, bench: Bench) -> None:  # noqa: ARG001
    rows = [point(n, n, n, n) for n in range(8)]
    answer = post(client, MATCH, **typed_points(rows), **{"on_picture.x": "5", "on_picture.y": "5"})

    assert "Every point has a spot on this picture" in words_of(answer)
    assert typed_in(answer, "points.7.x") == "7"
