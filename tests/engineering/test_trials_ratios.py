"""Fieller's set: its ends are where the t test stops rejecting, and it holds the true ratio as often as it says."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from server.engineering.ratios import Mean, Pair, RatioSet

freedoms = st.integers(1, 30)
shares = st.floats(1e-4, 0.3)


def half_width(first: Mean, second: Mean, ratio: float) -> float:
    """The definition in plain scalar arithmetic, with the general t distribution."""
    a, b = first.scatter, ratio**2 * second.scatter
    rounding = first.rounding + ratio**2 * second.rounding
    freedom = (a + b) ** 2 / (a**2 / first.freedom + b**2 / second.freedom)
    raised = freedom * ((a + b + rounding) / (a + b)) ** 2
    plain, both = float(stats.t.ppf(0.975, freedom)), float(stats.t.ppf(0.975, raised))
    return max(plain * math.sqrt(a + b), both * math.sqrt(a + b + rounding))


@settings(max_examples=100, deadline=None)
@given(shares, shares, shares, freedoms, freedoms)
def test_the_ends_are_where_the_t_test_stops_rejecting(
    spread_first: float, spread_second: float, rounding: float, freedom_first: int, freedom_second: int
) -> None:
    """At each end |m1 - r m2| is exactly the half-width that the definition gives there."""
    first = Mean(7.0, (7 * spread_first) ** 2, freedom_first, rounding**2)
    second = Mean(3.0, (3 * spread_second) ** 2, freedom_second, rounding**2)

    ratios = Pair(first, second).ratios()

    ends = [end for end in (ratios.low, ratios.high, *(ratios.gap or ())) if end is not None]
    for end in ends:
        assert abs(7.0 - end * 3.0) == pytest.approx(half_width(first, second, end), rel=1e-6)
    if ratios.low is not None and ratios.high is not None:
        assert ratios.low < 7 / 3 < ratios.high


@pytest.mark.parametrize(
    ("spread_first", "spread_second", "kind"),
    [(0.1, 0.1, "between"), (0.1, 1.0, "gap"), (2.0, 2.0, "anything")],
)
def test_the_set_is_an_interval_a_gap_or_everything(spread_first: float, spread_second: float, kind: str) -> None:
    """The denominator must clear zero for an interval; the ratio 0 = m1/m2 decides between the other two."""
    first, second = Mean(1.0, spread_first**2, 100, 0.0), Mean(1.0, spread_second**2, 100, 0.0)

    ratios = Pair(first, second).ratios()

    assert (kind == "between") == (ratios.low is not None and ratios.high is not None)
    assert (kind == "gap") == (ratios.gap is not None)


def test_one_variance_for_both_gives_the_closed_form() -> None:
    """With constant degrees of freedom the ends are the roots of a quadratic (Fieller 1954, from memory)."""
    a, b, freedom = 0.04, 0.09, 12.0
    t2 = float(stats.t.ppf(0.975, freedom)) ** 2
    roots = np.sort(np.roots([9 - t2 * b, -2 * 5 * 3, 25 - t2 * a]))

    ratios = Pair(Mean(5.0, a, 12, 0.0), Mean(3.0, b, 12, 0.0), borrowed_freedom=freedom).ratios()

    assert list(roots) == pytest.approx([ratios.low, ratios.high], rel=1e-10)


def test_precise_means_keep_a_precise_interval() -> None:
    """A relative width of 1e-9 is found as well as one of a half."""
    ratios = Pair(Mean(2.0, 4e-20, 10, 0.0), Mean(1.0, 0.0, 10, 1e-40)).ratios()

    assert ratios.low is not None
    assert pytest.approx(2e-10 * float(stats.t.ppf(0.975, 10)), rel=1e-5) == 2 - ratios.low


def test_never_negative_quantities_shut_out_negative_ratios() -> None:
    """A gap from below zero becomes a lower bound; one above zero stays a gap."""
    assert RatioSet(low=2.0) == RatioSet(gap=(-1.0, 2.0)).not_negative()
    assert RatioSet(gap=(0.5, 2.0)) == RatioSet(gap=(0.5, 2.0)).not_negative()
    assert RatioSet(low=0.0, high=3.0) == RatioSet(low=-1.0, high=3.0).not_negative()


def test_the_interval_holds_the_true_ratio_as_often_as_it_says() -> None:
    """400 pairs of runs of unlike scatter: 95 % within three standard deviations of such a count (3.3 %)."""
    draw = np.random.default_rng(54)
    held = 0

    for _ in range(400):
        first, second = draw.normal(20, 1, 5), draw.normal(10, 0.2, 7)
        pair = Pair(
            Mean(first.mean(), first.var(ddof=1) / 5, 4, 0.0), Mean(second.mean(), second.var(ddof=1) / 7, 6, 0.0)
        )
        ratios = pair.ratios()
        held += (ratios.low or -math.inf) <= 2 <= (ratios.high or math.inf)

    assert pytest.approx(0.95, abs=0.033) == held / 400
