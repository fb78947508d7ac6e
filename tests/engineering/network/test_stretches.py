"""Stretches of a range: made, met, matched."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from server.engineering.network.stretches import Stretch, both, matched, stretches

CHANGES = st.lists(st.floats(0.01, 9.99), unique=True, max_size=6)


@given(CHANGES, st.booleans(), st.floats(0.0, 10.0))
def test_a_condition_holds_where_it_has_changed_an_even_number_of_times(
    changes: list[float], first: bool, at: float
) -> None:
    """Counted from the low end, where it held or did not."""
    found = stretches(changes, first, 0.0, 10.0)

    holds = first == (sum(change < at for change in changes) % 2 == 0)
    on_an_end = at in (0.0, 10.0, *changes)
    assert on_an_end or holds == any(stretch.low < at < stretch.high for stretch in found)


@given(CHANGES, CHANGES, st.booleans(), st.booleans(), st.floats(0.001, 9.999))
def test_two_conditions_hold_together_where_each_does(
    one: list[float], other: list[float], first: bool, second: bool, at: float
) -> None:
    """Inside both stretches."""
    a, b = stretches(one, first, 0.0, 10.0), stretches(other, second, 0.0, 10.0)

    def within(found: list[Stretch]) -> bool:
        return any(stretch.low < at < stretch.high for stretch in found)

    assert within(both(a, b)) == (within(a) and within(b)) or at in (*one, *other)


def test_a_stretch_is_open_only_where_both_are() -> None:
    """Where the looking ended, not where a condition did."""
    whole, part = stretches([], True, 0.0, 10.0), stretches([4.0], True, 0.0, 10.0)

    assert [Stretch(0.0, 10.0, True, True)] == whole
    assert [Stretch(0.0, 4.0, True, False)] == both(whole, part)


def test_draws_are_matched_in_order_where_they_have_as_many() -> None:
    """Else by what they have in common."""
    nominal = [Stretch(1, 2), Stretch(4, 6)]

    ends, unended, more, fewer = matched(
        nominal,
        [
            [Stretch(0.5, 1.5, open_low=True), Stretch(5, 7)],
            [Stretch(5, 5.5)],
            [Stretch(1, 2), Stretch(2.5, 3), Stretch(4, 5)],
            [],
        ],
    )

    assert (more, fewer) == (1, 2)
    assert ends[0][[0, 2]].tolist() == [[0.5, 1.5], [1, 2]]
    assert ends[1][:3].tolist() == [[5, 7], [5, 5.5], [4, 5]]
    assert np.isnan(ends[0][[1, 3]]).all()
    assert unended[0].tolist() == [[True, False], *[[False, False]] * 3]
