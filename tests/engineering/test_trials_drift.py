"""The Mann-Kendall test: against counting every pair, and fast enough for the longest runs."""

from itertools import combinations, permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.engineering.drift import mann_kendall


def score(values: list[float]) -> int:
    """S by its definition: every pair looked at once."""
    return sum((later > earlier) - (later < earlier) for earlier, later in combinations(values, 2))


@settings(max_examples=100, deadline=None)
@given(st.lists(st.integers(0, 12).map(float), min_size=3, max_size=60))
def test_s_counts_rising_less_falling_pairs(values: list[float]) -> None:
    """Ties or none, the fast way agrees with the plain one."""
    drift = mann_kendall(np.array(values))

    if min(values) == max(values):
        assert drift is None
        return
    assert drift is not None
    assert score(values) == drift.s
    assert ("rising" if drift.s > 0 else "falling" if drift.s < 0 else "neither") == drift.direction
    assert 0 <= drift.p <= 1


def test_p_without_ties_is_that_of_all_orders() -> None:
    """Of the 720 orders of six readings, as many reach the score as p says."""
    values = [3.0, 1.0, 4.0, 2.0, 5.0, 6.0]
    reached = sum(abs(score(list(order))) >= abs(score(values)) for order in permutations(values))

    drift = mann_kendall(np.array(values))

    assert drift is not None
    assert reached / 720 == pytest.approx(drift.p)


def test_the_score_of_a_long_run_is_exact() -> None:
    """200,000 readings in falling order: every one of n(n-1)/2 pairs, which the plain count could not wait for."""
    count = 200_000

    drift = mann_kendall(np.arange(count, 0, -1.0))

    assert drift is not None
    assert -count * (count - 1) // 2 == drift.s
    assert drift.p == 0
