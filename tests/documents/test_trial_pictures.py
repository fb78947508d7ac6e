"""Readings drawn as dots say what the numbers say: none hides, nothing leaves the paper, the better side is named."""

import math
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.documents.drawing import LETTERS_MOST, Picture, PictureError
from server.documents.trial_pictures import Aim, Readings, dot_view, trials_picture, undrawn
from server.records.questions.comparisons import compare_trials
from server.records.tables import Procedure, Trial
from tests.pages.test_pictures import NB, on_paper

BEFORE, AFTER = Readings("before", [49.0, 49.4], 49.2, 48.0, 50.4), Readings("after", [50.1], 50.1, None, None)


def test_before_is_open_and_after_is_filled() -> None:
    """The two trials are told apart in black and white."""
    picture = dot_view(
        "p", "time", "s", [Readings("before", [9.0, 9.4], 9.2, 8.0, 10.4), Readings("after", [6.0], 6.0, None, None)]
    )

    circles = [shape.kind for shape in picture.shapes if "a5 5" in shape.path]

    assert circles == ["open", "open", "filled"]
    assert f"before: 2 readings, mean 9.2 (8.0 to 10.4){NB}s. after: 1 reading, 6{NB}s." == picture.description


def test_no_reading_is_hidden_behind_another() -> None:
    """Identical readings are piled: as many dots as readings, no two at one place."""
    picture = dot_view("p", "time", "s", [Readings("before", [5.0] * 7 + [5.001, 9.0], 5.4, None, None)])

    places = {(shape.x, shape.y) for shape in picture.shapes[:-1]}

    assert len(places) == 9


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=40), st.floats(0, 1e6))
@settings(max_examples=100)
def test_dots_stay_on_the_paper(readings: list[float], half: float) -> None:
    """However many readings, however wide the interval."""
    mean = sum(readings) / len(readings)

    picture = dot_view("p", "time", "s", [Readings("before", readings, mean, mean - half, mean + half)])

    assert on_paper(picture)


@pytest.mark.parametrize("readings", [[], [1.0, math.inf]])
def test_readings_that_cannot_be_drawn_are_refused(readings: list[float]) -> None:
    """No reading and an endless one are both refused, by the trial's name."""
    with pytest.raises(PictureError, match="before"):
        dot_view("p", "time", "s", [Readings("before", readings, 1.0, None, None)])


# ---- Which way is better ----


def trial(readings: list[float]) -> Trial:
    return Trial(machine_id=1, procedure_id=1, number=1, day=date(2026, 1, 2), readings=readings, created_by="K")


def compared(better: str, before: list[float], after: list[float], target: float | None = None) -> Picture:
    unit = "" if better in ("yes", "no") else "Hz"
    procedure = Procedure(slug="p", title="Clock", unit=unit, better=better, target=target, created_by="K")
    first, second = trial(before), trial(after)
    comparison = compare_trials(procedure, first, second)
    rows = [("before", first, comparison.before), ("after", second, comparison.after)]
    return trials_picture("p", procedure, rows)


@pytest.mark.parametrize(
    ("better", "arrow", "said"),
    [
        ("lower", "← lower is better", "Lower is better."),
        ("higher", "higher is better →", "Higher is better."),
        ("no", "← no is better", "No is better."),
        ("yes", "yes is better →", "Yes is better."),
    ],
)
def test_an_arrow_points_to_the_better_side(better: str, arrow: str, said: str) -> None:
    picture = compared(better, [0.0, 1.0, 1.0], [1.0, 0.0, 0.0])

    assert [words.text for words in picture.words if "←" in words.text or "→" in words.text] == [arrow]
    assert picture.description.endswith(said)
    assert on_paper(picture)


def test_a_target_is_a_dashed_line_through_all_trials() -> None:
    picture = compared("nearest", [49.0, 49.4, 49.2], [50.1, 50.3, 49.9], target=50.0)

    (line,) = (stroke for stroke in picture.strokes if stroke.kind == "limit")
    diamonds = [shape.x for shape in picture.shapes if shape.path.startswith("M0 -7L7 0")]

    assert line.x1 == line.x2
    assert diamonds[0] < line.x1 < diamonds[1]
    assert line.y1 < min(shape.y for shape in picture.shapes)
    assert line.y2 > max(shape.y for shape in picture.shapes)
    assert f"target 50{NB}Hz" in [words.text for words in picture.words]
    assert picture.description.endswith("Nearest to 50 Hz is better.")


def test_a_target_far_off_is_named_at_its_side() -> None:
    """It would push all readings into one corner."""
    picture = dot_view("p", "Clock", "Hz", [BEFORE, AFTER], Aim("nearest to 900 Hz is better", "target", 900.0))

    assert not [stroke for stroke in picture.strokes if stroke.kind == "limit"]
    assert f"target 900{NB}Hz, off to the right →" in [words.text for words in picture.words]


def test_observations_stand_at_yes_and_at_no_with_their_share() -> None:
    """Wilson's interval of 1 in 4 is 4.6 to 69.9 %: by the formula of E. B. Wilson (1927), worked out by hand."""
    picture = compared("yes", [0.0, 0.0, 1.0, 0.0], [1.0, 1.0, 1.0, 1.0])

    circles = [(shape.kind, shape.x) for shape in picture.shapes if "a5 5" in shape.path]
    no, yes = min(x for _, x in circles), max(x for _, x in circles)

    assert circles.count(("open", no)) == 3
    assert circles.count(("open", yes)) == 1
    assert circles.count(("filled", yes)) == 4
    assert f"before: 4 readings, yes 1 of 4 times, 25 (5 to 70){NB}%." in picture.description


@given(
    st.sampled_from(["lower", "higher", "nearest", "yes", "no"]),
    st.lists(st.integers(0, 1), min_size=1, max_size=30),
    st.lists(st.integers(0, 1), min_size=1, max_size=30),
    st.integers(-(10**9), 10**9),
)
@settings(max_examples=60, deadline=None)
def test_whatever_is_compared_stays_on_the_paper(better: str, before: list[int], after: list[int], goal: int) -> None:
    picture = compared(better, [float(one) for one in before], [float(one) for one in after], target=float(goal))

    assert on_paper(picture)
    assert len([shape for shape in picture.shapes if "a5 5" in shape.path]) == len(before) + len(after)


def test_more_readings_than_can_be_told_apart_are_owned_up_to() -> None:
    many = [float(number) for number in range(1_000)]
    picture = compared("lower", many, [5.0])

    assert len([shape for shape in picture.shapes if shape.kind == "open"]) == 300
    assert "before (300 of 1,000 drawn)" in picture.description
    assert undrawn(trial(many)).startswith("Of more than 300 readings, 300 are drawn")
    assert undrawn(trial(many[:300])) == ""


def test_a_name_too_long_for_the_picture_is_cut_there_and_told_whole() -> None:
    long = "Errors while loading a tape of the second kind at half the speed"
    picture = dot_view("p", long, "mV", [BEFORE._replace(label=long)])

    assert all(len(words.text) <= LETTERS_MOST for words in picture.words)
    assert [words.text for words in picture.words if words.text.endswith("…")] != []
    assert long in picture.title
    assert long in picture.description
