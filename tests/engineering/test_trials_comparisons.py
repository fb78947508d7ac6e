"""Two runs of readings: verdict, ratio, percents, p and what is said when nothing can be claimed."""

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import stats

from server.engineering.trials import Comparison, ReadingsError, compare, overall

BEFORE, AFTER = [1459.0, 1459.0, 1459.0], [704.0, 709.0, 709.0]

readings = st.lists(st.integers(1, 500).map(lambda whole: whole / 10), min_size=2, max_size=8)


def bounds(comparison: Comparison) -> tuple[float, float]:
    """Both bounds of a ratio that has both."""
    assert comparison.ratio_low is not None
    assert comparison.ratio_high is not None
    return comparison.ratio_low, comparison.ratio_high


def test_ticks_before_and_after_are_told_as_speed_and_as_time() -> None:
    """Ticks of 1/60 s: 106 % faster, 51.5 % less time (common practice, no source)."""
    comparison = compare(BEFORE, AFTER, "lower", 1)

    assert comparison.verdict == "better"
    assert pytest.approx(707.33, abs=0.005) == comparison.after.mean
    assert pytest.approx(106, abs=0.5) == comparison.percent_faster
    assert pytest.approx(51.5, abs=0.05) == comparison.percent_less_time
    assert comparison.sentence == (
        "Better: 707.33 on average after, against 1459.00 before: 106 % faster, which is 51.5 % less time "
        "(ratio 2.063, 2.042 to 2.084 at 95 %; Welch's t test, p below 0.0001)."
    )


def test_welch_is_the_textbook_test_whatever_the_resolution() -> None:
    """t, degrees of freedom and p can be checked with any statistics program."""
    before, after = [4.1, 4.6, 3.9, 4.4], [3.8, 3.7, 4.0]
    expected = stats.ttest_ind(before, after, equal_var=False)

    comparison = compare(before, after, "lower", 0.1)

    assert expected.statistic == pytest.approx(comparison.welch_t)
    assert expected.df == pytest.approx(comparison.degrees_of_freedom)
    assert expected.pvalue == pytest.approx(comparison.p)


def test_the_same_readings_the_other_way_round_are_worse() -> None:
    """Slower is told as slower, and more time as more time."""
    comparison = compare(AFTER, BEFORE, "lower", 1)

    assert comparison.verdict == "worse"
    assert "51.5 % slower, which is 106 % more time" in comparison.sentence


def test_where_higher_is_better_the_ratio_turns_round() -> None:
    """Above 1 is better either way; a voltage is not faster."""
    comparison = compare([4.60, 4.62], [5.01, 5.00], "higher", 0.01)

    assert comparison.verdict == "better"
    assert pytest.approx(5.005 / 4.61) == comparison.ratio
    assert comparison.percent_faster is None
    assert comparison.percent_less_time is None
    assert "8.57 % higher" in comparison.sentence


def test_a_rate_can_be_faster() -> None:
    """Twice the loops a second is 100 % faster and half the time a loop."""
    comparison = compare([50, 50], [100, 100], "higher", 1, quantity="rate")

    assert comparison.percent_faster == 100
    assert comparison.percent_less_time == 50


def test_what_is_no_time_is_lower_rather_than_faster() -> None:
    """Ripple in millivolts."""
    comparison = compare([80, 81, 79], [20, 21, 19], "lower", 1, quantity="other")

    assert comparison.percent_faster is None
    assert "75 % lower" in comparison.sentence


def test_nearest_compares_distances_from_the_target() -> None:
    """A rail at 5.3 V brought to 5.05 V is better, though lower and higher mean nothing here."""
    comparison = compare([5.30, 5.31, 5.29], [4.95, 4.94, 4.96], "nearest", 0.01, target=5.0)

    assert comparison.verdict == "better"
    assert pytest.approx(0.30) == comparison.distance_before
    assert pytest.approx(0.05) == comparison.distance_after
    assert pytest.approx(6.0) == comparison.ratio
    assert pytest.approx(5.30) == comparison.before.mean
    assert comparison.percent_faster is None
    assert "6 times nearer" in comparison.sentence


def test_scatter_about_the_target_counts_as_distance() -> None:
    """A mean that is right only on average is no nearer."""
    comparison = compare([4.0, 6.0, 4.0, 6.0], [4.9, 4.9, 4.9, 4.9], "nearest", 0.1, target=5.0)

    assert comparison.verdict == "better"
    assert comparison.distance_before == 1


def test_distances_alike_but_for_the_last_bit_do_not_count_as_scatter() -> None:
    """|0.9 - 1.1| and |1.3 - 1.1| differ in binary, which is no evidence of anything."""
    comparison = compare([0.9, 1.3, 0.9], [0.8, 1.4, 0.8], "nearest", 0.1, target=1.1)

    assert comparison.p is None
    assert comparison.verdict == "worse"


def test_a_mean_right_on_the_target_has_no_ratio_but_a_verdict() -> None:
    """Nothing can be divided by no distance."""
    comparison = compare([5.5, 5.6, 5.5], [5.0, 5.0], "nearest", 0.01, target=5.0)

    assert comparison.ratio is None
    assert comparison.verdict == "better"
    assert any("ratio means nothing" in note for note in comparison.notes)


def test_one_reading_a_side_gives_what_the_resolution_allows_and_no_p() -> None:
    """(1459 -/+ 0.5) / (709 +/- 0.5); how readings scatter is unknown, so nothing is claimed."""
    comparison = compare([1459], [709], "lower", 1)

    assert comparison.verdict == "cannot say"
    assert pytest.approx(bounds(comparison)) == (1458.5 / 709.5, 1459.5 / 708.5)
    assert comparison.p is None
    assert comparison.welch_t is None
    assert comparison.degrees_of_freedom is None
    assert comparison.sentence.startswith("Cannot say, with one reading a side: 709 after, against 1459 before")


def test_a_lone_reading_within_its_resolution_of_zero_bounds_the_ratio_on_one_side() -> None:
    """0.4 read to 1 may be 0, and the ratio as large as one likes."""
    comparison = compare([1], [0.4], "lower", 1)

    assert pytest.approx(0.5 / 0.9) == comparison.ratio_low
    assert comparison.ratio_high is None


@pytest.mark.parametrize(("lone", "verdict"), [(10.505, "no difference shown"), (10.513, "better")])
def test_a_lone_reading_borrows_the_scatter_of_the_other_side_and_says_so(lone: float, verdict: str) -> None:
    """As Student's t test of one reading against several, whose p passes 0.05 between these two readings."""
    several = [10.0, 10.2, 9.9, 10.1]
    p = float(stats.ttest_ind([lone], several).pvalue)

    before, after = compare([lone], several, "lower", 1e-9), compare(several, [lone], "higher", 1e-9)

    assert (p < 0.05) == (verdict == "better")
    assert before.verdict == verdict
    assert after.verdict == verdict
    assert before.p is None
    assert any("single reading" in note for note in before.notes)


def test_identical_readings_are_told_apart_by_their_resolution_alone() -> None:
    """Alike on both sides shows no difference; a step apart is 2.4 times the uncertainty sqrt(2) q/sqrt(12)."""
    alike = compare([10.0] * 4, [10.0] * 4, "lower", 0.1)
    a_step_apart = compare([10.0] * 4, [9.9] * 4, "lower", 0.1)
    half_a_step_apart = compare([10.0] * 4, [9.95] * 4, "lower", 0.1)

    assert alike.ratio == 1
    assert alike.verdict == "no difference shown"
    assert a_step_apart.verdict == "better"
    assert any("resolution alone" in note for note in a_step_apart.notes)
    assert half_a_step_apart.verdict == "no difference shown"


def test_a_difference_finer_than_the_resolution_is_not_claimed() -> None:
    """Scatter alone would claim it; the verdict does not, and a note says why."""
    comparison = compare([10.1, 10.2, 10.1, 10.2], [10.0, 10.0, 10.1, 10.0], "lower", 0.5)

    assert comparison.p is not None
    assert comparison.p < 0.05
    assert comparison.verdict == "no difference shown"
    assert any("too coarse" in note for note in comparison.notes)


def test_no_difference_shown_is_not_told_as_no_difference() -> None:
    """The sentence says what was not proved."""
    comparison = compare([10, 11, 9], [10, 9, 12], "higher", 1)

    assert comparison.verdict == "no difference shown"
    assert comparison.sentence.endswith("That does not prove that nothing changed.")
    assert "higher" not in comparison.sentence


def test_identical_readings_of_unknown_resolution_cannot_be_judged() -> None:
    """With neither scatter nor resolution, no interval stands."""
    comparison = compare([1459 / 60] * 3, [707 / 60] * 3, "lower")

    assert comparison.verdict == "cannot say"
    assert comparison.ratio_low is None
    assert comparison.ratio_high is None
    assert any("Give the resolution" in note for note in comparison.notes)


def test_the_resolution_is_inferred_from_both_sides_together() -> None:
    """Readings of one procedure are read to one step."""
    comparison = compare([12.0, 12.0], [11.5, 11.0], "lower")

    assert comparison.resolution == 0.1
    assert comparison.before.resolution == 0.1


def test_means_not_above_zero_have_a_verdict_but_no_ratio() -> None:
    """From -3.5 to 5.5 is a rise, not a multiple."""
    comparison = compare([-3, -4], [5, 6], "higher", 1)

    assert comparison.verdict == "better"
    assert comparison.ratio is None
    assert comparison.percent_faster is None


def test_a_denominator_hardly_different_from_zero_leaves_the_ratio_open_above() -> None:
    """Readings that are never negative: at least so much, and no upper bound."""
    comparison = compare([30, 31, 29], [0, 3, 1], "lower", 1)

    assert comparison.ratio_low is not None
    assert comparison.ratio_low > 1
    assert comparison.ratio_high is None
    assert f"at least {comparison.ratio_low:.3g} at 95 %" in comparison.sentence


def test_distances_from_a_negative_target_are_never_negative() -> None:
    """A -12 V rail: the readings are below zero, the ratio of distances is not."""
    comparison = compare([-12.5, -12.6, -12.4], [-12.0, -12.1, -12.0], "nearest", 0.01, target=-12.0)

    assert comparison.ratio_gap is None
    assert comparison.ratio_low is not None
    assert comparison.ratio_low > 1


def test_readings_on_both_sides_of_zero_leave_a_gap_or_nothing_excluded() -> None:
    """Fieller's complement: every ratio but those in the gap, negative ones included."""
    gap = compare([30, 31, 29], [-1, 3, 1], "lower", 1)
    nothing = compare([1, -1, 2], [0.5, 3, -2, 1], "lower", 0.1)

    assert gap.ratio_gap is not None
    assert gap.ratio_gap[0] < 0 < 1 < gap.ratio_gap[1]
    assert gap.ratio_low is None
    assert gap.ratio_high is None
    assert "anything but" in gap.sentence
    assert nothing.ratio_low is None
    assert nothing.ratio_high is None
    assert nothing.ratio_gap is None
    assert "unbounded" in nothing.sentence


def test_a_drifting_side_is_noted() -> None:
    """What changed may be the warming up."""
    comparison = compare([5, 5, 5], [4.1, 4.2, 4.3, 4.4, 4.5, 4.6], "lower", 0.1)

    assert any("readings after drift" in note for note in comparison.notes)


@settings(max_examples=100, deadline=None)
@given(readings, readings)
def test_the_verdict_is_that_of_the_interval(before: list[float], after: list[float]) -> None:
    """A difference is claimed exactly when the interval of the ratio leaves out 1."""
    comparison = compare(before, after, "lower", 0.1)

    low = comparison.ratio_low if comparison.ratio_low is not None else -math.inf
    high = comparison.ratio_high if comparison.ratio_high is not None else math.inf
    gap = comparison.ratio_gap or (1, 1)
    assume(min(abs(low - 1), abs(high - 1)) > 1e-9)
    assert (comparison.verdict != "no difference shown") == (not low <= 1 <= high or gap[0] < 1 < gap[1])
    assert comparison.verdict != "better" or (comparison.ratio or 0) > 1


@settings(max_examples=60, deadline=None)
@given(readings, readings)
def test_turned_round_the_ratio_and_its_bounds_are_inverted(before: list[float], after: list[float]) -> None:
    """Lower and higher are the same question asked from either end."""
    lower, higher = compare(before, after, "lower", 0.1), compare(before, after, "higher", 0.1)

    assert lower.ratio is not None
    assert 1 / lower.ratio == pytest.approx(higher.ratio)
    if lower.ratio_low and lower.ratio_high and higher.ratio_low:
        assert [1 / lower.ratio_high, 1 / lower.ratio_low] == pytest.approx([higher.ratio_low, higher.ratio_high])


@settings(max_examples=60, deadline=None)
@given(readings, readings, st.sampled_from([0.1, 0.5, 2.0]))
def test_a_coarser_resolution_never_makes_the_ratio_surer(
    before: list[float], after: list[float], resolution: float
) -> None:
    """Every ratio that fine readings leave possible, coarser ones leave possible too."""
    fine, coarse = compare(before, after, "lower", 1e-6), compare(before, after, "lower", resolution)

    slack = 1 + 1e-9
    if coarse.ratio_low is not None:
        assert fine.ratio_low is not None
        assert coarse.ratio_low <= fine.ratio_low * slack
    if coarse.ratio_high is not None:
        assert fine.ratio_high is not None
        assert coarse.ratio_high * slack >= fine.ratio_high


@pytest.mark.parametrize(
    ("better", "target", "field"),
    [
        ("nearest", None, "target"),
        ("lower", 5.0, "target"),
        ("nearest", math.nan, "target"),
        ("smaller", None, "better"),
    ],
)
def test_an_aim_that_makes_no_sense_is_refused(better: str, target: float | None, field: str) -> None:
    """A target goes with nearest, and with nothing else."""
    with pytest.raises(ReadingsError) as refusal:
        compare([1, 2], [2, 3], better, target=target)  # type: ignore[arg-type]

    assert field == refusal.value.field


def test_the_side_at_fault_is_named() -> None:
    """A page can put the message beside the right box."""
    with pytest.raises(ReadingsError, match="After: reading 2") as refusal:
        compare([1.0], [1.0, math.nan], "lower")

    assert refusal.value.field == "after"


def test_the_overall_ratio_is_the_geometric_mean() -> None:
    """Twice as good and half as good are as good, in any order (Fleming and Wallace 1986, from memory)."""
    twice, half = compare([10, 10], [5, 5], "lower", 1), compare([5, 5], [10, 10], "lower", 1)

    assert pytest.approx(1.0) == overall([twice, half])
    assert pytest.approx(2 ** (1 / 3)) == overall([twice, half, twice])


def test_no_overall_ratio_without_a_ratio_in_each() -> None:
    """The comparison without one is named; so is having none at all."""
    twice, none = compare([10, 10], [5, 5], "lower", 1), compare([-1, -1], [5, 5], "lower", 1)

    with pytest.raises(ReadingsError, match="Comparison 2"):
        overall([twice, none])
    with pytest.raises(ReadingsError, match="no ratios"):
        overall([])
