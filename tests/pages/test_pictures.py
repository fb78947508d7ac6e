"""Drawings say what the numbers say: places keep their order, limits cut bars, nothing leaves the paper."""

import math
from datetime import date
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from server.documents.drawing import LEFT, RIGHT, figure, scale_for, span
from server.documents.trial_pictures import Readings, dot_view
from server.pages.pictures import (
    Bound,
    Event,
    Picture,
    PictureError,
    Spread,
    spread_view,
    years_view,
)

TEMPLATES = Path(__file__).parents[2] / "templates"
SVG = {"svg": "http://www.w3.org/2000/svg"}
NB = "\N{NO-BREAK SPACE}"
HALF_OVER = Spread("as fitted", [3.0, 3.25, 3.5, 3.75, 4.0], [1, 2, 2, 1], 3.5, 3.1, 3.9)
ALONE = Spread("stock", [2.5, 3.5], [100], 3.0, 3.0, 3.0)


def spread_of(*spreads: Spread, bounds: tuple[Bound, ...] = ()) -> Picture:
    return spread_view("p", "pin current", "mA", spreads or (HALF_OVER,), bounds)


def on_paper(picture: Picture) -> bool:
    places = [(shape.x, shape.y) for shape in picture.shapes] + [(words.x, words.y) for words in picture.words]
    places += [place for line in picture.strokes for place in ((line.x1, line.y1), (line.x2, line.y2))]
    places += [place for bar in picture.blocks for place in ((bar.x, bar.y), (bar.x + bar.width, bar.y + bar.height))]
    return all(0 <= x <= picture.width and 0 <= y <= picture.height for x, y in places)


# ---- Figures and rulers ----


@pytest.mark.parametrize(
    ("value", "decimals", "shown"),
    [(-3.5, None, "−3.5"), (0.0, None, "0"), (-0.0, None, "0"), (4.9, 2, "4.90"), (-0.04, 1, "−0.0"), (12, 0, "12")],
)
def test_a_figure_has_a_true_minus_and_the_decimals_asked_for(value: float, decimals: int | None, shown: str) -> None:
    """A hyphen is not a minus sign, and nothing at all is shown without a sign."""
    assert shown == figure(value, decimals)


def test_an_interval_sets_how_fine_its_figures_are() -> None:
    """Two digits of half the interval are shown: more would pretend, fewer would hide."""
    assert f"4.904 (4.881 to 4.927){NB}mA" == span(4.9041, 4.8812, 4.9268, "mA")
    assert f"490 (420 to 560){NB}mA" == span(490.4, 420.2, 560.1, "mA")


@given(st.lists(st.floats(-1e9, 1e9), min_size=1, max_size=8))
@settings(max_examples=100)
def test_a_ruler_holds_its_values_in_their_order(values: list[float]) -> None:
    """Whatever the values, they stand between the ends of the ruler and never change places."""
    scale = scale_for(values)

    places = [scale.at(value) for value in sorted(values)]

    assert sorted(places) == places
    assert all(LEFT <= place <= RIGHT for place in places)


# ---- Spread ----


def test_the_bars_beyond_a_limit_are_told_apart() -> None:
    """Half of the draws lie above 3.5 mA, so half of the bars are beyond it."""
    picture = spread_of(bounds=(Bound("at_most", (3.5,)),))

    limit = next(stroke.x1 for stroke in picture.strokes if stroke.kind == "limit")

    assert [block.kind for block in picture.blocks] == ["within", "within", "beyond", "beyond"]
    assert all((block.x >= limit) == (block.kind == "beyond") for block in picture.blocks)
    assert f"about 50{NB}% of the draws lie beyond the limit" in picture.description


def test_a_limit_inside_a_bar_cuts_the_bar() -> None:
    """A bar is not given to one side of a limit when it stands on both."""
    picture = spread_of(bounds=(Bound("at_least", (3.125,)),))

    kinds = [block.kind for block in picture.blocks]

    assert kinds == ["beyond", "within", "within", "within", "within"]
    assert picture.blocks[0].height == picture.blocks[1].height
    assert f"about 8{NB}% of the draws" in picture.description


def test_a_window_has_two_limits() -> None:
    """Both ends of a window are drawn, in their order, and what lies outside either is beyond."""
    picture = spread_of(bounds=(Bound("between", (3.75, 3.25)),))

    limits = [stroke.x1 for stroke in picture.strokes if stroke.kind == "limit"]

    assert sorted(limits) == limits
    assert len(limits) == 2
    assert [block.kind for block in picture.blocks] == ["beyond", "within", "within", "beyond"]


@pytest.mark.parametrize(
    ("bound", "words", "told"),
    [
        (Bound("at_most", (40.0,)), "off to the right", "none of the draws lies beyond"),
        (Bound("at_least", (-40.0,)), "off to the left", "none of the draws lies beyond"),
        (Bound("at_most", (-40.0,)), "off to the left", "all or nearly all of the draws lie beyond"),
    ],
)
def test_a_limit_far_away_is_named_and_not_drawn(bound: Bound, words: str, told: str) -> None:
    """A limit ten spans off would flatten the spread to a line: the words say where it lies."""
    picture = spread_of(bounds=(bound,))

    assert not [stroke for stroke in picture.strokes if stroke.kind == "limit"]
    assert any(words in text.text for text in picture.words)
    assert told in picture.description


def test_a_value_without_spread_has_no_bars() -> None:
    """The histogram of one exact value has a width that means nothing, so only the value is marked."""
    picture = spread_of(ALONE, bounds=(Bound("at_most", (2.9,)),))

    assert picture.blocks == ()
    assert len(picture.shapes) == 1
    assert f"stock: 3{NB}mA, beyond the limit." == picture.description


def test_a_few_draws_out_of_many_are_not_none() -> None:
    """One draw in a thousand beyond a limit is told, where a rounded 0 % would hide it."""
    picture = spread_of(Spread("stock", [0, 1, 2], [999, 1], 0.5, 0.1, 0.9), bounds=(Bound("at_most", (1.0,)),))

    assert f"fewer than 1{NB}%" in picture.description


def test_uneven_bars_keep_their_areas() -> None:
    """A bar twice as wide with the same count is half as tall."""
    picture = spread_of(Spread("stock", [0, 1, 3], [5, 5], 1.0, 0.1, 2.9))

    narrow, wide = picture.blocks

    assert narrow.height == pytest.approx(2 * wide.height)


@pytest.mark.parametrize(
    ("spread", "sentence"),
    [
        (HALF_OVER._replace(nominal=math.nan), "not a finite number"),
        (HALF_OVER._replace(counts=[1, 2]), "one edge more"),
        (HALF_OVER._replace(edges=[3.0, 3.5, 3.25, 3.75, 4.0]), "must rise"),
        (HALF_OVER._replace(counts=[0, 0, 0, 0]), "count something"),
        (HALF_OVER._replace(counts=[1, -1, 1, 1]), "nothing below zero"),
        (HALF_OVER._replace(low=3.9, high=3.1), "ends before it begins"),
    ],
)
def test_a_spread_that_cannot_be_drawn_is_refused(spread: Spread, sentence: str) -> None:
    """Refusing beats drawing something that is not so."""
    with pytest.raises(PictureError, match=sentence):
        spread_of(spread)


@pytest.mark.parametrize(
    "bound", [Bound("between", (1.0,)), Bound("at_most", (1.0, 2.0)), Bound("at_least", (math.inf,))]
)
def test_a_limit_that_is_none_is_refused(bound: Bound) -> None:
    """A window has two ends, a limit one, and both are numbers."""
    with pytest.raises(PictureError):
        spread_of(bounds=(bound,))


# ---- Years ----

LIFE = [
    Event(date(2024, 5, 30), "Mod 2 fitted", "fitted"),
    Event(date(1981, 3, 1), "Made", "made"),
    Event(date(2023, 3, 4), "Came in", "acquired"),
    Event(date(2023, 3, 6), "Symptom 1", "symptom"),
]


def test_events_are_numbered_by_their_days() -> None:
    """The list under the line tells the story in its order, whatever order it was given in."""
    picture = years_view("p", "TM-03", LIFE)

    assert [key.text for key in picture.keys] == ["Made", "Came in", "Symptom 1", "Mod 2 fitted"]
    assert [key.day for key in picture.keys] == ["1981-03-01", "2023-03-04", "2023-03-06", "2024-05-30"]
    xs = [shape.x for shape in picture.shapes]
    assert sorted(xs) == xs


def test_a_long_quiet_spell_is_folded_and_told() -> None:
    """Forty years without a word do not push the two that matter into a corner."""
    picture = years_view("p", "TM-03", LIFE)

    assert sum(stroke.kind == "fold" for stroke in picture.strokes) == 2
    assert "Folded, as nothing is recorded: 1981 to 2023." in picture.description
    assert picture.shapes[3].x - picture.shapes[1].x > 150


def test_events_days_apart_stand_on_each_other() -> None:
    """Two marks that would overlap are given two heights."""
    picture = years_view("p", "TM-03", LIFE)

    assert picture.shapes[2].y < picture.shapes[1].y


@given(
    st.lists(
        st.builds(Event, st.dates(date(1960, 1, 1), date(2060, 1, 1)), st.just("x"), st.just("trial")),
        min_size=1,
        max_size=40,
    )
)
@settings(max_examples=100)
def test_a_life_of_any_shape_stays_on_the_paper_in_order(events: list[Event]) -> None:
    """However the days fall, the marks keep their order and the paper."""
    picture = years_view("p", "TM-03", events)

    xs = [shape.x for shape in picture.shapes]
    assert sorted(xs) == xs
    assert on_paper(picture)
    assert len(events) == len({(shape.x, shape.y) for shape in picture.shapes})


def test_a_life_without_a_day_is_refused() -> None:
    """There is nothing to draw, and the sentence says so."""
    with pytest.raises(PictureError, match="Nothing in the life of TM-03"):
        years_view("p", "TM-03", [])


# ---- As written down ----


@pytest.mark.parametrize(
    ("macro", "picture"),
    [
        ("spread_picture", spread_of(HALF_OVER, ALONE, bounds=(Bound("at_most", (3.5,)),))),
        ("dot_plot", dot_view("p", "time", "s", [Readings("<before>", [1.0, 2.0], 1.5, 0.5, 2.5)])),
        ("years_line", years_view("p", "TM-03", LIFE)),
    ],
)
def test_a_drawing_is_named_and_needs_no_inline_style(macro: str, picture: Picture) -> None:
    """A screen reader hears the title; a strict content policy finds nothing to forbid; the markup is well formed."""
    environment = Environment(loader=FileSystemLoader(TEMPLATES), autoescape=True, undefined=StrictUndefined)

    written = getattr(environment.get_template("_pictures.html").module, macro)(picture)

    figure_element = ET.fromstring(written)  # noqa: S314 (our own markup)
    svg = figure_element.find("svg:svg", SVG)
    assert svg is not None
    assert svg.get("role") == "img"
    assert picture.title == svg.findtext(f"svg:title[@id='{svg.get('aria-labelledby')}']", None, SVG)
    assert picture.description == (figure_element.findtext("figcaption") or "").rstrip()
    assert not [element for element in figure_element.iter() if "style" in element.attrib]
