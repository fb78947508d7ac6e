"""How a board's picture is looked at: turned, mirrored, closer, and the marks on it."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.pages.map_view import CROWD, ZOOM_MOST, Spot, Turned, Way, aside, closer, map_view, seen

SIZE = (400, 300)
ways = st.builds(
    Way,
    turn=st.floats(0, 360),
    mirror=st.booleans(),
    zoom=st.integers(1, ZOOM_MOST),
    x=st.floats(0, SIZE[0]),
    y=st.floats(0, SIZE[1]),
)
places = st.tuples(st.floats(0, SIZE[0]), st.floats(0, SIZE[1]))


def spot(x: float, y: float, name: str = "U1") -> Spot:
    return Spot(name, x, y, 0.0, "pin", "", name, name)


@given(ways, places)
def test_what_is_seen_somewhere_lies_there(way: Way, place: tuple[float, float]) -> None:
    turned = Turned(*SIZE, way)

    assert turned.back(*turned.there(*place)) == pytest.approx(place, abs=1e-6)


@given(ways, places)
def test_the_whole_picture_lies_within_the_turned_one(way: Way, place: tuple[float, float]) -> None:
    turned = Turned(*SIZE, way)
    x, y = turned.there(*place)

    assert -1e-6 <= x <= turned.whole[0] + 1e-6
    assert -1e-6 <= y <= turned.whole[1] + 1e-6


@given(ways)
def test_nothing_outside_of_the_picture_is_looked_at(way: Way) -> None:
    turned = Turned(*SIZE, way)
    left, top, width, height = seen(turned)

    assert left >= -1e-6
    assert top >= -1e-6
    assert left + width <= turned.whole[0] + 1e-6
    assert top + height <= turned.whole[1] + 1e-6
    assert width * way.zoom == pytest.approx(turned.whole[0])


def test_a_quarter_turn_goes_clockwise() -> None:
    """The upper left corner of a picture comes to the upper right; its left edge lies on top."""
    turned = Turned(*SIZE, Way(turn=90))

    assert turned.whole == pytest.approx((300, 400))
    assert turned.there(0, 0) == pytest.approx((300, 0))
    assert turned.there(400, 0) == pytest.approx((300, 400))


def test_a_mirrored_picture_is_seen_from_the_other_side() -> None:
    turned = Turned(*SIZE, Way(mirror=True))

    assert turned.there(0, 0) == pytest.approx((400, 0))
    assert turned.there(400, 300) == pytest.approx((0, 300))


@given(ways, places)
def test_the_drawn_transform_is_the_reckoned_one(way: Way, place: tuple[float, float]) -> None:
    """The operations of the SVG attribute, carried out in their order from the right (SVG 2, 8.5)."""
    turned = Turned(*SIZE, way)
    x, y = place
    for name, numbers in reversed(re.findall(r"(\w+)\(([^)]*)\)", turned.transform)):
        first, *rest = (float(number) for number in numbers.split())
        if name == "translate":
            x, y = x + first, y + rest[0]
        elif name == "scale":
            x, y = x * first, y * rest[0]
        else:
            x, y = Turned(0, 0, Way(turn=first)).there(x, y)
    assert (x, y) == pytest.approx(turned.there(*place), abs=0.02)


def test_closer_keeps_the_middle_and_ends_somewhere() -> None:
    turned = Turned(*SIZE, Way(zoom=4, x=100, y=60))
    near = closer(turned, 2)

    assert near.zoom == 8
    assert (near.x, near.y) == pytest.approx((100, 60))
    assert closer(Turned(*SIZE, near), 4).zoom == ZOOM_MOST
    assert closer(turned, 1 / 8).zoom == 1


def test_a_look_aside_goes_where_the_eye_goes() -> None:
    """To the right of a picture that is turned half round is what lies to the left on it."""
    turned = Turned(*SIZE, Way(turn=180, zoom=4, x=200, y=150))

    assert aside(turned, 0.5, 0).x == pytest.approx(200 - 50)
    assert aside(turned, 0, 0.5).y == pytest.approx(150 - 37.5)


def test_labels_near_the_right_edge_stand_to_the_left() -> None:
    view = map_view("/p", SIZE, Way(), [spot(10, 10), spot(390, 10)], "")

    assert [mark.anchor for mark in view.marks] == ["start", "end"]


def test_a_crowd_is_told_by_what_is_seen() -> None:
    spots = [spot(x % 100, 10) for x in range(CROWD + 1)]

    assert map_view("/p", SIZE, Way(), spots, "").crowded
    assert not map_view("/p", SIZE, Way(), spots[1:], "").crowded
    assert not map_view("/p", SIZE, Way(zoom=8, x=390, y=290), spots, "").crowded


@pytest.mark.parametrize(
    ("way", "asked"),
    [
        (Way(), {}),
        (Way(turn=22.5, mirror=True), {"turn": "22.5", "mirror": "yes"}),
        (Way(zoom=4, x=100.4, y=60), {"zoom": "4", "x": "100", "y": "60"}),
    ],
)
def test_an_address_asks_for_what_is_unusual(way: Way, asked: dict[str, str]) -> None:
    assert way.asked() == asked
