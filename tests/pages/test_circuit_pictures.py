"""Circuits as drawings: every element stands on the lines of its nodes, and thresholds lie where they are."""

import pytest

from server.documents.drawing import RIGHT
from server.pages.circuit_pictures import Post, Stretch, Swept, graph_view, sweep_view

POSTS = [Post("V1", "source", ["rail", "0"]), Post("D1", "diode", ["a", "rail"]), Post("T1", "npn", ["c", "a", "0"])]
VALUES = [12.0, 8.0, 4.0, 0.0]
NODE = Swept("out", [0.1, 6.0, 4.0, 0.0], [0.0, 5.0, 4.0, 0.0], [0.2, 7.0, 4.0, 0.0])
WINDOW = Stretch(1, (1.2, 1.1, 1.3), (7.7, 7.5, 7.9))


def test_an_element_has_a_dot_on_the_line_of_each_of_its_nodes() -> None:
    view = graph_view("g", POSTS, "0")

    lines = {stroke.y1 for stroke in view.strokes if stroke.kind == "axis"}
    dots = [shape for shape in view.shapes if shape.path.startswith("M-3.5")]
    assert len(lines) == 4
    assert len(dots) == 2 + 2 + 3
    assert {dot.y for dot in dots} == lines
    assert max(lines) == max(dot.y for dot in dots if dot.x == dots[0].x)  # the reference lies lowest


@pytest.mark.parametrize(("nodes", "outline"), [(["rail", "0"], "M0 7L"), (["0", "rail"], "M0 -7L7 6")])
def test_a_diode_points_to_its_cathode(nodes: list[str], outline: str) -> None:
    view = graph_view("g", [Post("D1", "diode", nodes)], "0")

    assert [shape for shape in view.shapes if shape.path.startswith(outline)]


@pytest.mark.parametrize("count", [1, 7, 8, 60])
def test_a_large_circuit_goes_on_in_further_rows(count: int) -> None:
    view = graph_view("g", [Post(f"R{n}", "resistor", [f"n{n}", "0"]) for n in range(count)], "0")

    assert all(0 <= x <= RIGHT for x in [*(one.x for one in view.shapes), *(one.x for one in view.words)])
    assert {f"R{n}" for n in range(count)} <= {one.text for one in view.words}
    assert view.height > max(shape.y for shape in view.shapes)


def test_a_sweep_marks_each_window_between_its_ends() -> None:
    view = sweep_view("s", "stock", ("V1", "V"), VALUES, [NODE], [WINDOW], (0.0, 12.0))

    (bar,) = view.blocks
    ends = sorted(stroke.x1 for stroke in view.strokes if stroke.kind == "limit")
    assert [bar.x, pytest.approx(bar.x + bar.width, abs=0.02)] == ends
    assert "Question 1: 1.2 to 7.7" in [one.text for one in view.words]
    assert [curve.kind for curve in view.curves] == ["band", "trace"]
    assert "As V1 falls from 12 to 0\N{NO-BREAK SPACE}V, out goes from 0.1 to 0" in view.description
    assert "Question 1: yes from 7.7 down to 1.2\N{NO-BREAK SPACE}V." in view.description


def test_no_dashed_line_crosses_the_words_of_a_question_below() -> None:
    """Those of the first question leave the second one's words out, and go on down to the axis."""
    second = Stretch(2, (9.0, 9.0, 9.0), (10.0, 10.0, 10.0))
    view = sweep_view("s", "stock", ("V1", "V"), VALUES, [NODE], [WINDOW, second], (0.0, 12.0))

    words = next(one for one in view.words if one.text.startswith("Question 2"))
    near = [one for one in view.strokes if one.kind == "limit" and one.x1 < words.x + 100]
    crossing = [one for one in near if one.y1 < words.y - 2 and one.y2 > words.y - 10]
    assert near
    assert not crossing
    assert len({one.y2 for one in near}) == 2


def test_where_no_answer_is_yes_the_sentence_says_so() -> None:
    view = sweep_view("s", "as fitted", ("V1", "V"), VALUES, [NODE], [], (0.0, 12.0))

    assert view.blocks == ()
    assert "Question" not in view.description
