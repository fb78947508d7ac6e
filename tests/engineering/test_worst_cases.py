"""The worst case: corners, what lies inside, and more inputs than corners can be tried for."""

import math
from collections.abc import Mapping

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.engineering.propagation import Array, Box, draw
from server.engineering.worst_cases import Extremes, Model, worst_case


def _even(low: float, high: float) -> Box:
    return Box((low + high) / 2, low, high, is_normal=False)


def _extremes(model: Model, boxes: Mapping[str, Box], count: int = 20_000) -> Extremes:
    drawn = {name: draw(name, box, count, 3) for name, box in boxes.items()}
    return worst_case(model, boxes, drawn, np.asarray(model(drawn), dtype=np.float64))


ENDS = st.tuples(st.floats(min_value=0.1, max_value=10), st.floats(min_value=0.01, max_value=5))


@given(ENDS, ENDS, ENDS)
@settings(max_examples=40, deadline=None)
def test_a_rising_and_falling_line_is_worst_at_two_corners(
    a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]
) -> None:
    """a b / c: highest at high, high, low and lowest at the opposite corner."""
    boxes = {name: _even(low, low + width) for name, (low, width) in {"a": a, "b": b, "c": c}.items()}

    found = _extremes(lambda v: v["a"] * v["b"] / v["c"], boxes, 500)

    low = boxes["a"].low * boxes["b"].low / boxes["c"].high
    high = boxes["a"].high * boxes["b"].high / boxes["c"].low
    assert (low, high) == pytest.approx((found.low, found.high), rel=1e-12)
    assert not found.inside_beats_corners
    assert found.all_corners


def test_the_worst_case_contains_every_draw() -> None:
    """Whatever the line does between its corners."""
    boxes = {"x": _even(0, 6), "y": Box(0.0, -1.0, 1.0, is_normal=True)}
    drawn = {name: draw(name, box, 20_000, 3) for name, box in boxes.items()}
    results: Array = np.sin(drawn["x"]) * np.exp(drawn["y"])

    found = worst_case(lambda v: np.sin(v["x"]) * np.exp(v["y"]), boxes, drawn, results)

    assert found.low <= results.min()
    assert found.high >= results.max()
    assert found.beyond_limits


def test_a_peak_inside_in_one_input_is_met_at_the_corners_of_the_others() -> None:
    """Power into a matched load is greatest at RL = RS, for the highest V and the lowest RS: V²/4RS."""
    boxes = {"V": _even(9, 11), "RS": _even(90, 110), "RL": _even(50, 200)}

    found = _extremes(lambda v: v["V"] ** 2 * v["RL"] / (v["RS"] + v["RL"]) ** 2, boxes)

    assert pytest.approx(found.high, rel=1e-6) == 11**2 / (4 * 90)
    assert found.inside_beats_corners


def test_a_narrow_peak_that_no_draw_meets_is_climbed() -> None:
    """Few draws; the search goes on from the best of them."""
    found = _extremes(lambda v: 1 / (1 + ((v["x"] - 0.3) * 40) ** 2), {"x": _even(0, 1)}, 100)

    assert pytest.approx(found.high, rel=1e-4) == 1.0


def test_more_inputs_than_corners_are_searched_from_all_lows_and_all_highs() -> None:
    """Twenty inputs, half of them divided by: the exact worst corner, and word that it was searched."""
    boxes = {f"x{i}": _even(1 + i / 10, 2 + i / 10) for i in range(20)}

    def ratio(values: Mapping[str, float | Array]) -> float | Array:
        product: float | Array = 1.0
        for i in range(20):
            product = product * values[f"x{i}"] if i % 2 else product / values[f"x{i}"]
        return product

    found = _extremes(ratio, boxes)

    high = math.prod(2 + i / 10 if i % 2 else 1 / (1 + i / 10) for i in range(20))
    assert high == pytest.approx(found.high, rel=1e-9)
    assert not found.all_corners
    assert not found.inside_beats_corners


def test_twelve_inputs_are_tried_at_every_corner() -> None:
    """A line that is worst where neighbours differ, which no search along one input at a time would find."""
    boxes = {f"x{i}": _even(-1, 1) for i in range(12)}

    found = _extremes(lambda v: sum(v[f"x{i}"] * v[f"x{i + 1}"] for i in range(11)), boxes, 500)

    assert pytest.approx((found.low, found.high)) == (-11.0, 11.0)
    assert found.all_corners


def test_a_line_that_does_not_vary_is_its_own_worst_case() -> None:
    """Clipped to zero over the whole box."""
    found = _extremes(lambda v: np.maximum(0.0, v["x"] - 5.0), {"x": _even(0, 1)})

    assert (found.low, found.high) == (0.0, 0.0)
