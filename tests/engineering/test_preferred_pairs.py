"""Pairs of preferred values: that none better is missed, their order, and what is refused."""

from itertools import combinations_with_replacement
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.engineering.preferred import PreferredValueError, combine, join, values_between
from server.engineering.quantities import Toleranced
from tests.effort import calls_in

_TARGETS = st.floats(2, 5e4, allow_nan=False).map(lambda value: float(f"{value:.4g}"))


def _every_pair_error(target: float, values: tuple[float, ...]) -> list[float]:
    pairs = list(combinations_with_replacement(values, 2))
    made = [a + b for a, b in pairs] + [a * b / (a + b) for a, b in pairs]
    return sorted(abs(value / target - 1) * 100 for value in made)


@settings(max_examples=60, deadline=None)
@given(_TARGETS, st.sampled_from(["E3", "E6", "E12"]), st.integers(1, 12))
def test_no_better_pair_exists(target: float, name: str, best: int) -> None:
    """The errors are the smallest of all pairs, counted one by one."""
    within = (1.0, 1e5)

    found = combine(target, name, within=within, best=best)

    every = _every_pair_error(target, values_between(name, *within))
    assert every[:best] == pytest.approx([abs(pair.error_percent) for pair in found], abs=1e-9)
    assert len({(pair.joined, pair.parts) for pair in found}) == best


@settings(max_examples=60, deadline=None)
@given(_TARGETS, st.sampled_from(["series", "parallel"]))
def test_a_pair_makes_the_value_it_claims(target: float, joined: Any) -> None:
    """By the circuit's own equation, and with limits that joining the parts one by one gives too."""
    for pair in combine(target, "E24", joined=joined, best=5):
        parts = [Toleranced(part, part * 0.95, part * 1.05, "Ω") for part in pair.parts]
        whole = join(parts, joined)

        assert pair.joined == joined
        assert whole.nominal == pytest.approx(pair.value, rel=1e-12)
        assert (whole.low, whole.high) == pytest.approx((pair.low, pair.high), rel=1e-9)
        assert pair.error_percent == pytest.approx((whole.nominal / target - 1) * 100, abs=1e-9)


def test_equal_pairs_stand_series_first_then_by_the_smaller_part() -> None:
    """510 ohm from E12 has two exact pairs: 120 + 390 stands before 180 + 330."""
    first, second, *_ = combine(510, "E12")

    assert (first.parts, second.parts) == ((120, 390), (180, 330))
    assert first.error_percent == second.error_percent == 0


def test_a_single_value_can_be_ranked_like_a_pair() -> None:
    """Count 1 gives the nearest values of the series, to set beside the pairs."""
    found = combine(350, "E24", count=1, best=3)

    assert [(value.joined, value.parts) for value in found] == [
        ("alone", (360,)),
        ("alone", (330,)),
        ("alone", (390,)),
    ]


def test_capacitors_add_in_parallel() -> None:
    """27 nF and 120 nF side by side are 147 nF, with nothing left over."""
    (found,) = combine(147e-9, "E12", kind="capacitor", best=1)

    assert found.joined == "parallel"
    assert found.parts == (27e-9, 120e-9)
    assert found.value == pytest.approx(147e-9)


def test_the_tolerance_of_a_pair_is_that_of_its_parts() -> None:
    """The series' usual one, or the one given; E3 has none to assume."""
    assert combine(75, "E12")[0].tolerance_percent == 10
    assert combine(75, "E12", tolerance_percent=1)[0].high == pytest.approx(75.75)
    assert combine(1500, "E3")[0].low is None
    assert combine(1500, "E3")[0].high is None


def test_standard_uncertainties_join_to_limits_that_hold_their_root_sum_of_squares() -> None:
    """Two of them on each side is wider than quadrature: never too hopeful."""
    part = Toleranced(100, 98, 102, "Ω", "standard")

    whole = join([part, part], "series")

    assert (whole.nominal, whole.low, whole.high, whole.spread) == (200, 196, 204, "limits")
    assert whole.high - whole.nominal > 2**0.5 * 2


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"count": 3}, "pairs"),
        ({"count": 0}, "pairs"),
        ({"joined": "knotted"}, "knotted"),
        ({"kind": "valve"}, "valve"),
        ({"tolerance_percent": -1.0}, "tolerance"),
        ({"tolerance_percent": float("nan")}, "tolerance"),
        ({"best": 0}, "Between 1 and 100"),
        ({"within": (2.3, 2.6)}, "No value of E12"),
        ({"target": 0.0}, "positive number"),
        ({"series": "E7"}, "E7"),
    ],
)
def test_a_search_that_cannot_be_made_is_refused(changed: dict[str, Any], says: str) -> None:
    """Each with the input at fault in its sentence."""
    with pytest.raises(PreferredValueError, match=says):
        combine(**{"target": 500.0, "series": "E12", **changed})


@pytest.mark.parametrize(
    ("parts", "says"),
    [
        ([], "no part"),
        ([Toleranced(1, 1, 1, "Ω"), Toleranced(1, 1, 1, "F")], "same unit"),
        ([Toleranced(1, 0, 2, "Ω")], "above zero"),
    ],
)
def test_parts_that_cannot_be_joined_are_refused(parts: list[Toleranced], says: str) -> None:
    """Nothing, different units, or a part that may be zero."""
    with pytest.raises(PreferredValueError, match=says):
        join(parts, "parallel")


def test_the_search_grows_with_the_values_and_not_with_their_pairs() -> None:
    """E192 over seven decades, both ways, has eight times the values of E24, and 64 times the pairs."""
    coarse = calls_in(lambda: combine(4321.9, "E24"))

    assert calls_in(lambda: combine(4321.9, "E192")) < 16 * coarse
