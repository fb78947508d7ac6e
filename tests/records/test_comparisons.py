"""What a procedure means for a comparison: when faster is a word for it, and which way is better."""

from datetime import date

import pytest

from server.engineering.trials import Comparison, YesNoComparison
from server.records.questions.comparisons import compare_trials, judged, leans_better, quantity_of
from server.records.tables import Procedure, Trial


def procedure(better: str, unit: str = "", meaning: str = "", target: float | None = None) -> Procedure:
    return Procedure(slug="p", title="P", better=better, unit=unit, unit_meaning=meaning, target=target, resolution=1.0)


def trial(*readings: float) -> Trial:
    return Trial(machine_id=1, procedure_id=1, number=1, day=date(2024, 3, 1), readings=list(readings))


@pytest.mark.parametrize(
    ("better", "unit", "meaning", "quantity"),
    [
        ("lower", "ms", "", "time"),
        ("lower", "min", "", "time"),
        ("lower", "frames", "one frame is 1/50 s", "time"),
        ("lower", "ticks", "16.7 ms", "time"),
        ("lower", "ticks", "a tick lasts about 20 ms", "time"),
        ("higher", "kHz", "", "rate"),
        ("lower", "mA", "", "other"),
        ("higher", "ms", "", "other"),
        ("lower", "kHz", "", "other"),
        ("lower", "errors", "errors in 10 min of loading", "other"),
        ("lower", "", "errors reported in one load of tape B", "other"),
        ("nearest", "ms", "", "other"),
    ],
)
def test_faster_is_said_of_times_that_fall_and_rates_that_rise(
    better: str, unit: str, meaning: str, quantity: str
) -> None:
    """Half the milliamperes are not twice as fast."""
    assert quantity_of(procedure(better, unit, meaning)) == quantity


def test_percent_is_left_out_where_it_would_mislead() -> None:
    """The same readings as a time and as a current."""
    before, after = trial(500, 501, 502), trial(250, 251, 249)

    time, current = (compare_trials(procedure("lower", unit), before, after) for unit in ("ms", "mA"))

    assert isinstance(time, Comparison)
    assert isinstance(current, Comparison)
    assert time.percent_faster == pytest.approx(100.4)
    assert current.percent_faster is None
    assert current.ratio == time.ratio


@pytest.mark.parametrize(
    ("better", "target", "word"), [("lower", None, "better"), ("higher", None, "worse"), ("nearest", 500.0, "worse")]
)
def test_figures_are_judged_as_the_procedure_asks(better: str, target: float | None, word: str) -> None:
    """The same fall is good or bad news."""
    asked = procedure(better, "ms", target=target)

    comparison = compare_trials(asked, trial(500, 501, 502), trial(400, 401, 402))

    assert judged(asked, comparison) == word
    assert leans_better(asked, comparison) == (word == "better")


def test_a_target_left_over_is_not_aimed_at() -> None:
    """It was typed while nearest was best; lower is best now."""
    asked = procedure("lower", "ms", target=500.0)

    comparison = compare_trials(asked, trial(500, 501, 502), trial(400, 401, 402))

    assert judged(asked, comparison) == "better"


@pytest.mark.parametrize(("better", "word"), [("yes", "worse"), ("no", "better")])
def test_observations_are_judged_as_the_procedure_asks(better: str, word: str) -> None:
    """A crash that is seen less often is good news, a picture is not."""
    asked = procedure(better)

    comparison = compare_trials(asked, trial(*[1] * 8), trial(*[0] * 8))

    assert isinstance(comparison, YesNoComparison)
    assert judged(asked, comparison) == word
    assert leans_better(asked, comparison) == (word == "better")


def test_observations_that_differ_by_chance_show_nothing() -> None:
    """One in two is not more often than none in two."""
    asked = procedure("no")

    assert judged(asked, compare_trials(asked, trial(1, 0), trial(0, 0))) == "no difference shown"
