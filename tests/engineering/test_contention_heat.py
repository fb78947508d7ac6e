"""Heat in resistors where outputs meet; that of outputs is held against samples in `test_contention`."""

import pytest

from server.engineering.contention_heat import resistor_heat
from server.engineering.contention_result import Range
from server.engineering.quantities import exact, parse


def test_a_resistor_s_heat_has_outer_bounds() -> None:
    """I²R at both ends: least current and resistance, greatest current and resistance."""
    heat = resistor_heat(Range(0.01, 0.02, "A"), parse("100 Ω ±10 %"))

    assert (heat.low, heat.high) == pytest.approx((0.01**2 * 90, 0.02**2 * 110))


def test_a_current_of_either_sign_can_be_none() -> None:
    """Then there is no least heat, and the larger of both ends is the most."""
    heat = resistor_heat(Range(-0.02, 0.01, "A"), exact(100, "Ω"))

    assert (heat.low, heat.high) == pytest.approx((0.0, 0.04))


def test_a_current_without_a_bound_has_a_heat_without_one() -> None:
    """Said as such."""
    heat = resistor_heat(Range(0.01, None, "A"), exact(100, "Ω"))

    assert heat.high is None
    assert str(heat) == "10 mW or more (no figure for the most)"
