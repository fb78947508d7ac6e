"""One run of readings in figures: what is worked out, what is inferred, what is refused."""

import math
import subprocess
import sys
from decimal import Decimal
from typing import cast

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from server.engineering import trials
from server.engineering.readings import MOST_READINGS
from server.engineering.trials import ReadingsError, summarise

TICKS = [704.0, 709.0, 709.0]


def test_a_summary_gives_the_plain_figures() -> None:
    """Count, mean, sample deviation, median and extremes, in the readings' unit (common practice, no source)."""
    summary = summarise(TICKS, 1)

    assert summary.count == 3
    assert pytest.approx(707.333, abs=1e-3) == summary.mean
    assert pytest.approx(math.sqrt(25 / 3)) == summary.spread
    assert summary.median == 709
    assert summary.minimum == 704
    assert summary.maximum == 709
    assert summary.notes == ()


def test_the_uncertainty_of_the_mean_joins_scatter_and_resolution() -> None:
    """u² = s²/n + q²/12."""
    summary = summarise(TICKS, 1)

    assert pytest.approx(math.sqrt(25 / 9 + 1 / 12)) == summary.standard_uncertainty


def test_without_a_coarse_resolution_the_interval_is_students() -> None:
    """With rounding that adds nothing, the interval of the mean is the textbook one."""
    low, high = stats.t.interval(0.95, 2, loc=np.mean(TICKS), scale=stats.sem(TICKS))

    summary = summarise(TICKS, 1e-9)

    assert low == pytest.approx(summary.interval_low)
    assert high == pytest.approx(summary.interval_high)


@pytest.mark.parametrize("resolution", [0.01, 1, 5, 20, 1000])
def test_rounding_never_makes_an_interval_narrower(resolution: float) -> None:
    """Degrees of freedom rise with the rounding; the interval does not shrink for it."""
    plain = summarise(TICKS, 1e-9)

    rounded = summarise(TICKS, resolution)

    assert rounded.interval_high - rounded.interval_low >= plain.interval_high - plain.interval_low


def test_identical_readings_keep_the_uncertainty_of_their_resolution() -> None:
    """No scatter, and still q/sqrt(12) each way; the summary says why."""
    summary = summarise([12.3] * 5, 0.1)

    assert summary.spread == 0
    assert summary.mean == 12.3
    assert pytest.approx(0.1 / math.sqrt(12)) == summary.standard_uncertainty
    assert pytest.approx(12.3 - 1.959964 * 0.1 / math.sqrt(12)) == summary.interval_low
    assert "resolution they were read to" in summary.notes[0]


def test_a_lone_reading_has_no_spread_and_says_so() -> None:
    """Its interval is half a step either way."""
    summary = summarise([20.0], 2)

    assert summary.spread is None
    assert summary.interval_low == 19
    assert summary.interval_high == 21
    assert "One reading" in summary.notes[0]


@pytest.mark.parametrize(
    ("readings", "step"),
    [
        ([1459, 1459, 1459], 1),
        ([1500, 1400], 1),
        ([0, 0], 1),
        ([12.3, 12.0], 0.1),
        ([12.3, 12.35, 12.0], 0.01),
        ([-0.002, 4.0], 0.001),
        ([1.5e-6, 2e-6], 1e-7),
        ([1e30, 3e30], 1),
    ],
)
def test_without_a_resolution_the_smallest_decimal_step_is_taken_and_told(readings: list[float], step: float) -> None:
    """Whole numbers count as read to 1, even where they end in zeros."""
    summary = summarise(readings)

    assert step == pytest.approx(summary.resolution)
    assert f"{step:g}" in summary.notes[0]


@settings(max_examples=100, deadline=None)
@given(st.lists(st.decimals(-10_000, 10_000, places=4).map(float), min_size=1, max_size=30))
def test_the_inferred_step_is_the_finest_that_any_reading_needs(readings: list[float]) -> None:
    """The vectorised search agrees with writing every reading out."""
    exponents = [cast(int, Decimal(repr(value)).normalize().as_tuple().exponent) for value in readings]

    summary = summarise(readings)

    assert 10.0 ** min(0, *exponents) == summary.resolution


def test_readings_with_a_computers_digits_ask_for_the_resolution() -> None:
    """1459 ticks of 1/60 s have no decimal step that an instrument was read to."""
    summary = summarise([1459 / 60, 1458 / 60])

    assert "Give the resolution" in summary.notes[0]


def test_a_drift_over_the_order_is_noticed() -> None:
    """A supply that warms up: rising readings are named as such, with p."""
    summary = summarise([12.1, 12.2, 12.4, 12.3, 12.6, 12.8, 12.9, 13.0], 0.1)

    assert summary.drift is not None
    assert summary.drift.direction == "rising"
    assert any("drift" in note for note in summary.notes)


@pytest.mark.parametrize("readings", [[3.1, 2.9, 3.3, 3.0, 3.2, 2.8, 3.1], [1, 2, 3], [5, 5, 5, 5, 5], [1, 2]])
def test_no_drift_is_claimed_from_noise_or_too_few_readings(readings: list[float]) -> None:
    """Three readings in a row rise by chance one time in six; that is no drift."""
    summary = summarise(readings)

    assert summary.drift is None


def test_an_outlier_is_shown_and_counted_but_not_dropped() -> None:
    """Its place is given and the mean still includes it."""
    readings = [10.1, 10.2, 10.0, 10.1, 14.9, 10.2]

    summary = summarise(readings, 0.1)

    assert summary.outliers == (4,)
    assert pytest.approx(sum(readings) / 6) == summary.mean
    assert "not dropped" in summary.notes[-1]


@pytest.mark.parametrize(("last", "outliers"), [(21.9, ()), (22.1, (8,))])
def test_an_outlier_lies_beyond_one_and_a_half_interquartile_ranges(last: float, outliers: tuple[int, ...]) -> None:
    """Quartiles 12 and 16 whatever the last reading is, so the upper fence is at 22."""
    readings = [10.0, 11.0, 12.0, 13.0, 14.0, 15.0, 16.0, 17.0, last]

    summary = summarise(readings, 0.1)

    assert outliers == summary.outliers


def test_one_step_of_the_resolution_is_no_outlier() -> None:
    """Where most readings agree, the last digit changing is not news."""
    summary = summarise([709, 709, 709, 709, 708], 1)

    assert summary.outliers == ()


@pytest.mark.parametrize(
    ("readings", "place"),
    [([1.0, math.nan], 2), ([math.inf], 1), ([1.0, 2.0, -math.inf], 3), ([1.0, 1e61], 2), ([1e-61], 1)],
)
def test_a_reading_that_no_sum_can_hold_is_refused_by_its_place(readings: list[float], place: int) -> None:
    """NaN, infinities and sizes outside 1e-60 to 1e60."""
    with pytest.raises(ReadingsError, match=f"reading {place}") as refusal:
        summarise(readings)

    assert place == refusal.value.place
    assert refusal.value.field == "readings"


@pytest.mark.parametrize(
    ("readings", "place"),
    [([1.0, "2"], 2), ([None, 1.0], 1), ([True, False], 1), ([1j, 1.0], 1), ([1.0, [2.0]], None), ("12", None)],
)
def test_what_is_not_a_list_of_numbers_is_refused(readings: list[float], place: int | None) -> None:
    """Text, missing values, yes/no and nested lists are not quietly turned into numbers."""
    with pytest.raises(ReadingsError) as refusal:
        summarise(readings)

    assert place == refusal.value.place


def test_too_many_and_no_readings_are_refused() -> None:
    """From 1 to 1,000,000."""
    with pytest.raises(ReadingsError, match="1,000,001"):
        summarise(np.zeros(MOST_READINGS + 1))
    with pytest.raises(ReadingsError, match="no readings"):
        summarise([])


@pytest.mark.parametrize("resolution", [0, -1, math.nan, math.inf, True])
def test_a_resolution_must_be_a_step_above_zero(resolution: float) -> None:
    """Readings cannot be declared exact."""
    with pytest.raises(ReadingsError, match="resolution") as refusal:
        summarise([1.0], resolution)

    assert refusal.value.field == "resolution"


@pytest.mark.parametrize("scale", [1e-50, 1e-3, 1e50])
def test_the_unit_chosen_changes_nothing_but_the_figures(scale: float) -> None:
    """In a unit a thousand times smaller every figure is a thousand times larger, and that is all."""
    plain = summarise(TICKS, 1)

    scaled = summarise([reading * scale for reading in TICKS], scale)

    assert plain.spread is not None
    assert [plain.mean * scale, plain.spread * scale, plain.interval_low * scale] == pytest.approx(
        [scaled.mean, scaled.spread, scaled.interval_low], rel=1e-9
    )


def test_every_public_name_is_there_and_in_order() -> None:
    """The face is complete and sorted."""
    assert sorted(trials.__all__) == trials.__all__
    assert all(hasattr(trials, name) for name in trials.__all__)


def test_importing_the_face_does_not_import_scipy() -> None:
    """Pages that never compare anything should not wait for it."""
    program = "import sys, server.engineering.trials; sys.exit('scipy' in sys.modules)"

    result = subprocess.run([sys.executable, "-c", program], check=False)

    assert result.returncode == 0
