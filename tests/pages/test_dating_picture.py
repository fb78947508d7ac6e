"""The picture of date codes: a row a part, piles where they are many, nothing off the paper, the same in words."""

from datetime import date, timedelta
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.documents.drawing import OUTLINES, Picture, PictureError
from server.pages.dating_picture import MARKS, ROWS_MOST, Dated, dates_view
from tests.pages.test_pictures import on_paper

MADE = (date(1981, 1, 1), date(1982, 12, 31))


def week(label: str, day: date, place: str = "counts") -> Dated:
    return Dated(label, day, day + timedelta(days=6), place)


def marks(picture: Picture, outline: str) -> int:
    return sum(shape.path == OUTLINES[outline] for shape in picture.shapes)


def test_the_picture_says_in_words_what_it_shows() -> None:
    """With the figures, for whoever cannot see it."""
    parts = [
        week("U2", date(1981, 6, 22)),
        week("U1", date(1981, 1, 12)),
        week("U3", date(1984, 9, 17), "does not belong"),
        week("U4", date(1983, 1, 3), "left out"),
    ]

    picture = dates_view("p", "Main board", parts, date(1981, 6, 22), MADE)

    assert picture.description == (
        "2 codes count, their days beginning from 1981-01-12 to 1981-06-22. The board was not built before 1981-06-22. "
        "Not belonging: U3. Left out: U4."
    )
    assert [words.text for words in picture.words if words.kind == "name"] == ["U1", "U2", "U4", "U3"]
    assert (marks(picture, "circle"), marks(picture, "cross")) == (3, 1)


def test_later_days_lie_further_to_the_right() -> None:
    """And the line of the board's earliest day stands at the newest part that counts."""
    picture = dates_view("p", "B", [week("U1", date(1981, 1, 12)), week("U2", date(1981, 6, 22))], date(1981, 6, 22))

    first, second = picture.shapes
    limit = next(stroke for stroke in picture.strokes if stroke.kind == "limit")
    assert first.x < second.x
    assert second.x == limit.x1


def test_many_parts_are_piled_by_quarter() -> None:
    """One mark for each all the same."""
    parts = [week(f"U{n}", date(1981, 1, 5) + timedelta(weeks=n % 50)) for n in range(ROWS_MOST + 200)]

    picture = dates_view("p", "Main board", parts, date(1981, 12, 14))

    assert len(picture.shapes) == len(parts)
    assert not [words for words in picture.words if words.kind == "name"]
    assert on_paper(picture)
    assert picture.height < 300


def test_a_machine_known_only_by_its_decades_is_not_drawn() -> None:
    """It would press the parts together."""
    near = dates_view("p", "B", [week("U1", date(1981, 1, 12))], date(1981, 1, 12), MADE)
    far = dates_view("p", "B", [week("U1", date(1981, 1, 12))], date(1981, 1, 12), (date(1900, 1, 1), date.max))

    assert "the machine was made" in [words.text for words in near.words]
    assert "the machine was made" not in [words.text for words in far.words]


def test_nothing_readable_is_no_picture() -> None:
    with pytest.raises(PictureError, match="No code on Main board can be read"):
        dates_view("p", "Main board", [], None)


DAYS = st.dates(date(1955, 1, 1), date(2040, 1, 1))


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.tuples(DAYS, st.integers(0, 12_000), st.sampled_from(sorted(MARKS))), min_size=1, max_size=40),
    st.one_of(st.none(), DAYS),
    st.one_of(st.none(), st.tuples(DAYS, st.integers(0, 4000))),
)
def test_nothing_leaves_the_paper(
    given: list[tuple[date, int, str]], not_before: date | None, made: tuple[date, int] | None
) -> None:
    """Whatever the days, and no figure stands on another of its line."""
    parts = [Dated(f"U{n}", day, day + timedelta(days), place) for n, (day, days, place) in enumerate(given)]
    span = (made[0], made[0] + timedelta(made[1])) if made else None

    picture = dates_view("p", "Main board", parts, not_before, span)

    assert on_paper(picture)
    assert len(picture.shapes) == len(parts)
    ticks = sorted(words.x for words in picture.words if words.kind == "tick")
    assert all(right - left >= 48 for left, right in pairwise(ticks))
