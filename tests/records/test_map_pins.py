"""Pins: placed, moved, taken off and pointed out, refused beside their fields; and what a map shows of them."""

import pytest
from sqlalchemy import event

from server.records.commands.machines import AddPosition
from server.records.commands.maps import PlacePin, PointOutPosition, TakePinOff
from server.records.commands.parts import EnterPart
from server.records.errors import Stale
from server.records.mapping import carried
from server.records.questions.addresses import find_board, find_machine
from server.records.questions.maps import map_of
from server.records.tables import MapPin, Position
from tests.records.conftest import MAIN, TAG, Bench
from tests.records.map_scene import HIGH, WIDE, mapped, pictures, pin, shown, words


@pytest.fixture
def pictured(bench: Bench) -> Bench:
    pictures(bench)
    return bench


def test_a_pin_is_placed_and_moved(pictured: Bench) -> None:
    """On whichever picture shows the position best."""
    pin(pictured, "r2", "30,5", 20)
    assert words(pictured) == "R2 on Main board of TM-03 is pinned at 30.5, 20 on picture 1."
    pin(pictured, "R2", 40, 25, 2, opened_version=1)
    assert words(pictured) == (
        "R2 on Main board of TM-03 was pinned at 30.5, 20 on picture 1 and is at 40, 25 on picture 2 now."
    )
    before = pictured.entries()
    pin(pictured, "R2", 40, 25, 2, opened_version=2)

    assert before == pictured.entries()
    (row,) = pictured.rows(MapPin)
    assert (row.x, row.y, row.version) == (40, 25, 2)
    assert pictured.faults() == []


BAD_PINS: list[tuple[dict[str, object], dict[str, str]]] = [
    ({"x": 120.5}, {"x": "Picture 1 is 120 pixels wide; 120.5 lies outside it."}),
    (
        {"x": -1, "y": 81},
        {
            "x": "Picture 1 is 120 pixels wide; -1 lies outside it.",
            "y": "Picture 1 is 80 pixels high; 81 lies outside it.",
        },
    ),
    ({"x": ""}, {"x": "Write a number."}),
    ({"x": "left"}, {"x": "Write a number."}),
    ({"y": "nan"}, {"y": "Write a finite number."}),
    ({"picture": 9}, {"picture": "Main board has no picture 9 on its map."}),
    ({"picture": "x"}, {"picture": "Write a whole number."}),
]


@pytest.mark.parametrize(("typed", "messages"), BAD_PINS)
@pytest.mark.parametrize("bench", ["sqlite"], indirect=True)
def test_a_pin_that_will_not_do_is_told_beside_its_field(
    pictured: Bench, typed: dict[str, object], messages: dict[str, str]
) -> None:
    """Placed at a position or pointed out for a new one."""
    spot = {"board": MAIN, "picture": 1, "x": 10, "y": 10} | typed

    assert pictured.refuse(PlacePin, designator="R2", **spot) == messages
    assert pictured.refuse(PointOutPosition, designator="C9", mounting="soldered", **spot) == messages
    assert (pictured.rows(MapPin), len(pictured.rows(Position))) == ([], 4)


def test_only_a_position_is_pinned(pictured: Bench) -> None:
    spot = {"board": MAIN, "picture": 1, "x": 10, "y": 10}

    assert pictured.refuse(PlacePin, designator="R99", **spot) == {"designator": "There is no position “R99”."}
    assert pictured.refuse(PlacePin, designator="", **spot) == {"designator": "This cannot be left empty."}


def test_the_edge_of_a_picture_is_in_it(pictured: Bench) -> None:
    pin(pictured, "R2", 0, HIGH)
    pin(pictured, "R7", WIDE, 0)

    assert len(pictured.rows(MapPin)) == 2


def test_a_pin_that_somebody_placed_meanwhile_is_shown(pictured: Bench) -> None:
    """Placed where there was none, and moved where another had moved it."""
    pin(pictured, "R2", 30, 20)
    pin(pictured, "R2", 31, 20, opened_version=1)
    for opened in (0, 1):
        with pytest.raises(Stale) as stale:
            pin(pictured, "R2", 50, 20, 2, opened_version=opened)

        assert stale.value.current_version == 2
        rows = [(row.field, row.yours, row.theirs) for row in stale.value.rows]
        assert rows == [("picture", "2", "1"), ("x", "50.0", "31.0"), ("y", "20.0", "20.0")]
    assert [row.x for row in pictured.rows(MapPin)] == [31]


def test_a_pin_that_somebody_took_off_is_not_placed_again_unseen(pictured: Bench) -> None:
    """The keeper is told, and can place it anew."""
    with pytest.raises(Stale) as stale:
        pin(pictured, "R2", 50, 20, opened_version=3)

    assert stale.value.current_version == 0
    assert [(row.field, row.yours, row.theirs) for row in stale.value.rows] == [
        ("picture", "1", ""),
        ("x", "50.0", ""),
        ("y", "20.0", ""),
    ]
    pin(pictured, "R2", 50, 20, opened_version=0)


def test_a_pin_that_is_taken_off_leaves_the_position_in_the_tray(pictured: Bench) -> None:
    pin(pictured, "R2", 30, 20)
    assert "R2" not in [line.designator for line in shown(pictured).tray.rows]
    with pytest.raises(Stale):
        pictured.do(TakePinOff, board=MAIN, designator="R2", opened_version=2)

    pictured.do(TakePinOff, board=MAIN, designator="r2", opened_version=1)

    assert words(pictured) == "The pin of R2 on Main board of TM-03 was taken off."
    assert (pictured.rows(MapPin), shown(pictured).pins) == ([], ())
    assert "R2" in [line.designator for line in shown(pictured).tray.rows]
    assert pictured.faults() == []


def test_a_position_is_pointed_out_in_one_entry(pictured: Bench) -> None:
    """With what the service literature says of it, and its pin."""
    before = pictured.entries()
    typed = {"kind": "capacitor", "expected_value": "100 nF", "mounting": "soldered", "note": "Beside the clip"}

    pictured.do(PointOutPosition, board=MAIN, designator="C9", picture=2, x="33,5", y=44, **typed)

    assert pictured.entries() == before + 1
    assert words(pictured) == "Added position C9 on Main board of TM-03, pinned at 33.5, 44 on picture 2."
    position = pictured.rows(Position)[-1]
    assert {name: getattr(position, name) for name in typed} == typed
    (row,) = pictured.rows(MapPin)
    assert (row.position_id, row.x, row.y) == (position.id, 33.5, 44)
    assert pictured.faults() == []


def test_a_position_that_will_not_do_is_not_pinned_either(pictured: Bench) -> None:
    """What is wrong with the place and with the position is told together."""
    spot = {"board": MAIN, "picture": 1, "x": 500, "y": 10}
    typed = {"mounting": "soldered", "kind": "resistor"}

    assert pictured.refuse(PointOutPosition, designator="R2", **spot, **typed) == {
        "x": "Picture 1 is 120 pixels wide; 500 lies outside it.",
        "designator": "Main board already has a position R2.",
    }
    refused = pictured.refuse(
        PointOutPosition, designator="R5", **spot | {"x": 5}, **typed, expected_value="many", pins=0
    )
    assert list(refused) == ["expected_value", "pins"]
    assert "mounting" in pictured.refuse(PointOutPosition, designator="R5", **spot)
    assert (pictured.rows(MapPin), len(pictured.rows(Position))) == ([], 4)


# ---- What the map shows ----


def test_pins_say_what_is_expected_and_what_is_there(bench: Bench) -> None:
    """In the order of their designators."""
    mapped(bench)
    pin(bench, "R9", 60, 60)
    bench.do(EnterPart, board=MAIN, designator="R10", kind="resistor", value="47 Ω", origin="original")

    seen = shown(bench)

    told = [(line.designator, line.kind, line.expected, line.there, line.plane.number) for line in seen.pins]
    assert told == [
        ("R2", "resistor", "", "360 Ω ±5 % resistor", 1),
        ("R7", "resistor", "", "1 kΩ ±5 % resistor", 2),
        ("R9", "resistor", "10 kΩ", "", 1),
    ]
    assert [(line.designator, line.there) for line in seen.tray.rows] == [
        ("R10", "47 Ω resistor"),
        ("U7", "7414 chip"),
    ]
    assert (seen.pins[1].x, seen.pins[1].y, seen.pins[1].version) == (40, 30, 1)


def test_what_was_taken_out_is_not_there(bench: Bench) -> None:
    """The part that took its place is."""
    bench.replace_r2()
    mapped(bench)

    assert shown(bench).pins[0].there == "330 Ω ±1 % resistor"


def test_a_pin_is_seen_on_every_picture(bench: Bench) -> None:
    """By the matching points: R2 is at 30, 20 on the layout and R7 at 40, 40."""
    mapped(bench)
    seen = shown(bench)

    found = [carried(seen.pins, picture.plane) for picture in seen.pictures]

    places = [[(round(one.x, 6), round(one.y, 6)) for one in of if one] for of in found]
    assert places == [[(30, 20), (40, 40)], [(35, 20), (40, 30)], [(90, 20), (80, 40)]]
    assert [[one.radius == 0 for one in of if one] for of in found] == [[True, False], [False, True], [False, False]]


def test_the_tray_comes_page_by_page(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("server.records.questions.maps.IN_THE_TRAY", 3)

    pages = [shown(bench, page=page).tray for page in (1, 2, 9)]

    assert [[line.designator for line in page.rows] for page in pages] == [["R2", "R7", "R9"], ["U7"], ["U7"]]
    assert {(page.last, page.total) for page in pages} == {(2, 4)}


def test_a_map_takes_as_many_queries_with_many_pins_as_with_few(bench: Bench) -> None:
    mapped(bench)
    few = queries_of(bench)
    for number in range(20, 40):
        bench.do(AddPosition, board=MAIN, designator=f"C{number}", mounting="soldered")
        pin(bench, f"C{number}", number, number)

    assert few == queries_of(bench)
    assert len(shown(bench).pins) == 22


def queries_of(bench: Bench) -> int:
    """Of the map alone."""
    asked: list[str] = []
    with bench.store.reading() as session:
        board = find_board(session, find_machine(session, TAG), MAIN)
        event.listen(bench.store.engine, "before_cursor_execute", note := lambda *told: asked.append(told[2]))
        map_of(session, board)
        event.remove(bench.store.engine, "before_cursor_execute", note)
    return len(asked)
