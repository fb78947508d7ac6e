"""The order to work lines in."""

import pytest

from server.engineering.calculations import Calculation, Input, Line
from server.engineering.errors import CircularLines, UnknownName
from server.engineering.line_order import plan
from server.engineering.quantities import exact


def _plan_of(**lines: str) -> Calculation:
    inputs = (Input("x", exact(1.0)), Input("y", exact(2.0)))
    return Calculation(inputs, tuple(Line(name, expression) for name, expression in lines.items()))


def test_a_line_comes_after_those_that_it_uses() -> None:
    """However they are written."""
    found = plan(_plan_of(c="a + b", a="x", b="a * y", d="1"))

    assert all(found.order.index(first) < found.order.index(then) for first, then in ("ab", "bc", "ac"))


def test_a_line_hangs_on_inputs_through_other_lines() -> None:
    """In the order of the inputs."""
    found = plan(_plan_of(c="b", b="y + a", a="x"))

    assert found.uses["c"] == ("x", "y")
    assert found.uses["a"] == ("x",)


def test_only_what_a_line_needs_is_run_for_it() -> None:
    """Itself last."""
    found = plan(_plan_of(a="x", b="a", other="y", c="b"))

    assert found.needed("c") == ("a", "b", "c")
    assert {"a", "other"} == set(found.needed("a", "other"))


def test_a_circle_is_told_all_the_way_round() -> None:
    """A line that only leads into it is left out."""
    with pytest.raises(CircularLines, match="b → c → b"):
        plan(_plan_of(a="b", b="c", c="b + x"))


def test_an_unknown_name_is_pointed_at() -> None:
    """By its place in the expression, not inside another name."""
    with pytest.raises(UnknownName) as refusal:
        plan(_plan_of(ab="x", a="ab + b"))

    assert (refusal.value.name, refusal.value.position) == ("b", 5)
