"""Nearness to preferred values, by its definition and at its edges."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.engineering.errors import EngineeringError
from server.engineering.preferred import (
    SERIES_NAMES,
    PreferredValueError,
    is_preferred,
    nearest,
    series,
    usual_tolerance,
    values_between,
)

_VALUES = st.floats(1e-12, 1e9, allow_nan=False).map(lambda value: float(f"{value:.6g}"))
_NAMES = st.sampled_from(SERIES_NAMES)


def _decades_around(value: float, name: str) -> tuple[float, ...]:
    return values_between(name, value / 100, value * 100)


@settings(max_examples=100, deadline=None)
@given(_VALUES, _NAMES)
def test_no_value_has_a_smaller_ratio_than_the_nearest(value: float, name: str) -> None:
    """Against every value of four decades."""
    found = nearest(value, name)

    smallest = min(abs(math.log(other / value)) for other in _decades_around(value, name))
    assert abs(math.log(found / value)) == pytest.approx(smallest, abs=1e-12)
    assert is_preferred(found, name)


@settings(max_examples=100, deadline=None)
@given(_VALUES, _NAMES)
def test_no_value_has_a_smaller_difference_than_the_nearest(value: float, name: str) -> None:
    """Against every value of four decades."""
    found = nearest(value, name, how="difference")

    smallest = min(abs(other - value) for other in _decades_around(value, name))
    assert abs(found - value) == pytest.approx(smallest, abs=1e-12 * value)


@settings(max_examples=100, deadline=None)
@given(_VALUES, _NAMES)
def test_at_least_and_at_most_are_the_two_neighbours(value: float, name: str) -> None:
    """They hold the value between them and nothing else of the series."""
    below, above = nearest(value, name, how="at_most"), nearest(value, name, how="at_least")

    assert below <= value <= above
    assert set(values_between(name, below, above)) == {below, above}


@settings(max_examples=100, deadline=None)
@given(st.integers(-12, 9), st.integers(0, 191), _NAMES)
def test_a_preferred_value_is_its_own_nearest(decade: int, place: int, name: str) -> None:
    """Whichever nearness is asked for, without a rounding error."""
    figures = series(name)
    value = float(f"{figures[place % len(figures)]}e{decade}")

    assert value == nearest(value, name)
    assert value == nearest(value, name, how="difference")
    assert value == nearest(value, name, how="at_least")
    assert value == nearest(value, name, how="at_most")


def test_of_two_equally_near_the_lower_is_given() -> None:
    """3.6 lies midway between 3.3 and 3.9 by difference, though not in binary."""
    assert nearest(3.6, "E12", how="difference") == 3.3


@pytest.mark.parametrize("name", ["E5", "", "24", "E-24", "E240"])
def test_an_unknown_series_is_refused_with_the_ones_there_are(name: str) -> None:
    """The refusal carries the name and lists the choice."""
    with pytest.raises(PreferredValueError, match="E3, E6, E12, E24, E48, E96 or E192") as refusal:
        series(name)

    assert refusal.value.value == name
    assert isinstance(refusal.value, EngineeringError)


def test_a_series_may_be_written_small() -> None:
    """`e24` can mean nothing else."""
    assert series(" e24 ") == series("E24")
    assert usual_tolerance("e12") == 10


@pytest.mark.parametrize("value", [10.0, 5.0])
def test_an_unknown_nearness_is_refused(value: float) -> None:
    """Also for a value that stands in the series, where it would make no difference."""
    with pytest.raises(PreferredValueError, match="sideways"):
        nearest(value, "E24", how="sideways")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("value", "name", "expected"), [(4700, "E24", True), (4990, "E24", False), (4.99e-9, "E96", True)]
)
def test_membership_in_a_series_holds_in_every_decade(value: float, name: str, expected: bool) -> None:
    """499 is an E96 figure and no E24 one."""
    assert expected == is_preferred(value, name)


def test_a_range_includes_both_its_ends() -> None:
    """From 1 to 10 in E6 is one decade and the first of the next."""
    assert values_between("E6", 1, 10) == (1.0, 1.5, 2.2, 3.3, 4.7, 6.8, 10.0)


@pytest.mark.parametrize(("low", "high"), [(10, 1), (0, 1), (1, math.inf)])
def test_a_range_that_is_none_is_refused(low: float, high: float) -> None:
    """Reversed, starting at zero, or without an end."""
    with pytest.raises(PreferredValueError):
        values_between("E6", low, high)
