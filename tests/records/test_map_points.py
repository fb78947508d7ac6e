"""Matching points: kept as the rows now are, refused beside their fields, and told of to whoever comes second."""

import pytest

from server.records.commands.maps import MatchPictures, PlacePin, TakePinOff
from server.records.errors import Stale
from server.records.tables import BoardPicture, MatchPoint
from tests.records.conftest import MAIN, Bench
from tests.records.map_scene import BACK, FRONT, Row, match, pictures, point, shown, words


@pytest.fixture
def pictured(bench: Bench) -> Bench:
    pictures(bench)
    return bench


def test_a_picture_is_matched_by_its_points(pictured: Bench) -> None:
    """From one side and from the other, with what the points leave."""
    match(pictured, 2, FRONT)
    assert words(pictured) == "Picture 2 of Main board of TM-03: matched to picture 1 by 4 points."
    match(pictured, 3, BACK, match_kind="affine")
    assert words(pictured) == (
        "Picture 3 of Main board of TM-03: match kind “affine” noted; matched to picture 1 by 4 points."
    )

    front, back = (one.match for one in shown(pictured).pictures[1:])
    assert front is not None
    assert back is not None
    assert (front.kind, front.mirrored, len(front.residuals)) == ("similarity", False, 4)
    assert (back.kind, back.mirrored) == ("affine", True)
    assert front.residual_rms == pytest.approx(0, abs=1e-9)
    assert [row.version for row in pictured.rows(BoardPicture)] == [1, 2, 2]
    assert pictured.faults() == []


def test_points_that_stay_are_the_records_they_were(pictured: Bench) -> None:
    """Moved, added and taken away, as the rows now are."""
    match(pictured, 2, FRONT)
    kept = [row.uuid for row in pictured.rows(MatchPoint)]

    match(pictured, 2, [FRONT[0], point(60, 20, 50, 20.5), FRONT[2]], 2)
    fewer = pictured.rows(MatchPoint)
    match(pictured, 2, [*FRONT, point(60, 40, 50, 30)], 3)
    more = pictured.rows(MatchPoint)

    assert [row.uuid for row in fewer] == kept[:3]
    assert [(row.place, row.x, row.y) for row in fewer] == [(0, 25, 15), (1, 50, 20.5), (2, 75, 45)]
    assert [row.uuid for row in more][:3] == kept[:3]
    assert [row.place for row in more] == [0, 1, 2, 3, 4]
    assert pictured.faults() == []


def test_without_points_a_picture_is_no_longer_matched(pictured: Bench) -> None:
    """Empty rows are none."""
    match(pictured, 2, FRONT)

    match(pictured, 2, [point("", " ", "", ""), {}], 2)

    assert words(pictured) == "Picture 2 of Main board of TM-03: no longer matched."
    assert (pictured.rows(MatchPoint), shown(pictured).pictures[1].match) == ([], None)


def test_points_that_pins_rest_on_stay(pictured: Bench) -> None:
    """Without them the pins placed on that picture would be gone from all others."""
    match(pictured, 2, FRONT)
    pictured.do(PlacePin, board=MAIN, designator="R2", picture=2, x=30, y=20)

    said = pictured.refuse(MatchPictures, board=MAIN, picture=2, opened_version=2, points=[])
    assert said[""] == "Pins were placed on picture 2: R2. Take them off it first."

    pictured.do(TakePinOff, board=MAIN, designator="R2", opened_version=1)
    match(pictured, 2, [], 2)
    assert shown(pictured).pictures[1].match is None


def test_saved_as_it_was_nothing_changes(pictured: Bench) -> None:
    match(pictured, 2, FRONT)
    before = pictured.entries()

    match(pictured, 2, FRONT, 2)

    assert before == pictured.entries()


def test_numbers_are_typed_with_a_comma_too_and_empty_rows_are_skipped(pictured: Bench) -> None:
    typed = [point("10,5", "10", "25,25", "15"), point("", "", "", ""), FRONT[1], {}, FRONT[2]]

    match(pictured, 2, typed)

    rows = [(row.place, row.reference_x, row.x) for row in pictured.rows(MatchPoint)]
    assert rows == [(0, 10.5, 25.25), (1, 110, 75), (2, 110, 75)]


def test_the_reference_is_matched_to_nothing(pictured: Bench) -> None:
    refused = pictured.refuse(MatchPictures, board=MAIN, picture=1, points=FRONT, opened_version=1)

    assert refused == {"": "Picture 1 is the reference picture; the others are matched to it."}


EMPTY: Row = {}
LINE = [point(10 * n, 10 * n, 20 * n, 5 * n * n) for n in range(1, 5)]
TURNED = [
    {"reference_x": row["x"], "reference_y": row["y"], "x": row["reference_x"], "y": row["reference_y"]} for row in LINE
]
# The second and third are the wrong way about, as two pictures of one flat board cannot show them.
CROSSED = [
    row | {"x": other["x"], "y": other["y"]}
    for row, other in zip(FRONT, (FRONT[0], FRONT[2], FRONT[1], FRONT[3]), strict=True)
]
# A fit to these would lay the whole board on a line.
CRUSHED = [row | {"x": x, "y": y} for row, (x, y) in zip(FRONT, ((20, 20), (50, 60), (30, 20), (56, 60)), strict=True)]
BAD_POINTS: list[tuple[list[Row], str, dict[str, str]]] = [
    (
        [*FRONT[:3], point(121, 10, 20, 10)],
        "",
        {"points.3.reference_x": "Picture 1 is 120 pixels wide; 121 lies outside it."},
    ),
    (
        [*FRONT[:3], point(10, 80.5, 20, 10)],
        "",
        {"points.3.reference_y": "Picture 1 is 80 pixels high; 80.5 lies outside it."},
    ),
    ([*FRONT[:3], point(10, 70, -0.5, 45)], "", {"points.3.x": "Picture 2 is 120 pixels wide; -0.5 lies outside it."}),
    ([*FRONT[:3], point(10, 70, 25, 1e30)], "", {"points.3.y": "Picture 2 is 80 pixels high; 1e+30 lies outside it."}),
    (
        [*FRONT, point(10, "", 25, "")],
        "",
        dict.fromkeys(
            ["points.4.reference_y", "points.4.y"], "Say where this point is in both pictures, or empty its row."
        ),
    ),
    ([*FRONT, point("ten", 10, 25, 1)], "", {"points.4.reference_x": "Write a number."}),
    ([*FRONT, point(10, 10, "inf", 1)], "", {"points.4.x": "Write a finite number."}),
    ([*FRONT, point(10, 10, "nan", 1)], "", {"points.4.x": "Write a finite number."}),
    ([*FRONT, point(30, 30, 25, 1) | {"z": 1}], "", {"points.4.z": "There is no such field here."}),
    (FRONT[:1], "", {"points.1.reference_x": "There is 1 point, and a match needs at least 3."}),
    ([EMPTY, *FRONT[:2]], "", {"points.0.reference_x": "There are 2 points, and a match needs at least 3."}),
    (
        FRONT[:3],
        "projective",
        {"points.3.reference_x": "There are 3 points, and a match of the kind projective needs at least 4."},
    ),
    (
        [*FRONT, EMPTY, *FRONT, FRONT[0]],
        "",
        {"points.9.reference_x": "There are 9 points; 8 are the most."},
    ),
    (
        [EMPTY, *FRONT[:3], FRONT[0] | {"x": 90}],
        "",
        {
            "points.4.reference_x": "Points 2 and 5 are in the same place in the reference picture. "
            "Each point is a spot of its own."
        },
    ),
    (
        [*FRONT[:3], point(10, 70, 75, 45)],
        "affine",
        {"points.3.x": "Points 3 and 4 are in the same place in this picture. Each point is a spot of its own."},
    ),
    *(
        (
            points,
            kind,
            {
                f"points.3.{column}": f"All points lie on one line in {where}, or nearly so, and cannot tell whether "
                "the picture is mirrored. Add one that lies well off it."
            },
        )
        for points, column, where in (
            (LINE, "reference_x", "the reference picture"),
            (TURNED, "x", "this picture"),
        )
        for kind in ("", "similarity")
    ),
    (
        LINE,
        "affine",
        {
            "points.3.reference_x": "Points 1, 2, 3 and 4 lie on one line in the reference picture, or nearly so. "
            "Add a point that lies well off it."
        },
    ),
    (
        [*LINE[:3], EMPTY, point(100, 10, 70, 70)],
        "projective",
        {
            "points.2.reference_x": "Points 1, 2 and 3 lie on one line in the reference picture, or nearly so. "
            "Add a point that lies well off it."
        },
    ),
    (
        CRUSHED,
        "affine",
        {"points.3.x": "The points do not go together. Look whether each row is the same spot in both pictures."},
    ),
    (FRONT, "bent", {"match_kind": "Choose one of the words offered: '', 'similarity', 'affine' or 'projective'."}),
]


@pytest.mark.parametrize(("points", "kind", "messages"), BAD_POINTS)
@pytest.mark.parametrize("bench", ["sqlite"], indirect=True)
def test_points_that_will_not_do_are_told_beside_their_fields(
    pictured: Bench, points: list[Row], kind: str, messages: dict[str, str]
) -> None:
    """With the numbers of the rows as they were typed; nothing is stored."""
    typed = {"board": MAIN, "picture": 2, "points": points, "match_kind": kind, "opened_version": 1}

    assert pictured.refuse(MatchPictures, **typed) == messages
    assert pictured.rows(MatchPoint) == []


@pytest.mark.parametrize("bench", ["sqlite"], indirect=True)
def test_points_that_do_not_go_together_are_refused(pictured: Bench) -> None:
    """As where two were taken for one another: those that the others leave behind the camera are named."""
    typed = {"board": MAIN, "picture": 2, "opened_version": 1}

    crossed = pictured.refuse(MatchPictures, **typed, points=CROSSED, match_kind="projective")

    ((field, sentence),) = crossed.items()
    assert field.startswith("points.")
    assert "the same spot in both" in sentence


def test_the_second_to_match_a_picture_is_shown_both(pictured: Bench) -> None:
    match(pictured, 2, FRONT)

    with pytest.raises(Stale) as stale:
        match(pictured, 2, [*FRONT[:2], EMPTY, FRONT[3]], match_kind="affine")

    assert {row.field: (row.yours, row.theirs) for row in stale.value.rows} == {
        "match kind": ("affine", ""),
        "points": (
            "10 · 10 · 25 · 15; 110 · 10 · 75 · 15; 10 · 70 · 25 · 45",
            "10 · 10 · 25 · 15; 110 · 10 · 75 · 15; 110 · 70 · 75 · 45; 10 · 70 · 25 · 45",
        ),
    }
