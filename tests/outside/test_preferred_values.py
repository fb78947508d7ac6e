"""Preferred values against the tables of IEC 60063: `data/preferred_values.json` names the source beside each case.

The tables are those of the eseries 1.2.1 package, compared there with round(10**(i/n)); nearest values and pairs are an
exhaustive search with exact fractions from 1 ohm to 10 Mohm.
"""

import json
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from server.engineering.preferred import (
    SERIES_NAMES,
    PreferredValueError,
    combine,
    join,
    nearest,
    series,
    usual_tolerance,
)
from server.engineering.quantities import Toleranced

_DATA = json.loads(Path(__file__).with_name("data").joinpath("preferred_values.json").read_text("utf-8"))
_CASES: dict[str, dict[str, Any]] = {case["case_id"]: case for case in _DATA["cases"]}
_NEAREST = [name for name, case in _CASES.items() if "by_ratio" in case["expected"]]
_REFUSED = [name for name in _CASES if name.startswith("nearest_refuse")]
_PAIRS = [name for name, case in _CASES.items() if "best" in case["expected"]]


@pytest.mark.parametrize("name", SERIES_NAMES)
def test_a_series_is_the_table_of_the_standard(name: str) -> None:
    """Value by value, with their number and the tolerance that belongs to the series."""
    expected = _CASES[f"table_{name}"]["expected"]

    figures = series(name)

    assert tuple(expected["values"]) == figures
    assert expected["count"] == len(figures)
    usual = expected["usual_tolerance_percent"]
    assert usual_tolerance(name) == (None if isinstance(usual, str) else usual)


@pytest.mark.parametrize("name", SERIES_NAMES)
def test_a_series_departs_from_the_formula_only_where_the_standard_does(name: str) -> None:
    """The rounded powers of the n-th root of ten are the table but for the listed exceptions."""
    figures = series(name)
    first = figures[0]

    departures = [
        [formula, value]
        for place, value in enumerate(figures)
        if (formula := round(first * 10 ** (place / len(figures)))) != value
    ]

    assert _CASES[f"table_{name}"]["expected"]["formula_exceptions"] == departures


def test_a_coarse_series_lies_inside_the_finer_one_of_its_family() -> None:
    """E3 to E24 nest, E48 to E192 nest, and the two families do not (case nesting)."""
    nesting = _CASES["nesting"]

    tens = {name: {value * (10 if value < 100 else 1) for value in series(name)} for name in SERIES_NAMES}

    assert all(tens[inner] <= tens[outer] for inner, outer in nesting["expected"]["subset"])
    assert not any(tens[inner] <= tens[outer] for inner, outer in nesting["expected"]["not_subset"])
    assert nesting["common_E24_E96"] == sorted(tens["E24"] & tens["E96"])


@pytest.mark.parametrize("name", _NEAREST)
def test_the_nearest_value_by_ratio_and_by_difference(name: str) -> None:
    """Both, since they disagree between two values."""
    case = _CASES[name]
    wanted, in_series = float(case["inputs"]["value"]), case["inputs"]["series"]

    assert float(case["expected"]["by_ratio"]) == nearest(wanted, in_series)
    assert float(case["expected"]["by_difference"]) == nearest(wanted, in_series, how="difference")


def test_the_nearest_value_and_the_one_that_is_not_below() -> None:
    """eseries documentation: nearest to 319 in E24 is 330; at least 184 in E96 is 187."""
    assert nearest(319, "E24") == 330
    assert nearest(184, "E96", how="at_least") == 187


@pytest.mark.parametrize("name", _REFUSED)
def test_nothing_is_nearest_to_what_is_no_positive_number(name: str) -> None:
    """No ratio to zero, negative or non-finite."""
    with pytest.raises(PreferredValueError, match="positive number"):
        nearest(float(_CASES[name]["inputs"]["value"]), _CASES[name]["inputs"]["series"])


@pytest.mark.parametrize("name", _PAIRS)
def test_the_best_pairs_are_those_of_an_exhaustive_search(name: str) -> None:
    """The best one or more, their error, and the error of the next."""
    case = _CASES[name]
    inputs, expected = case["inputs"], case["expected"]

    found = combine(float(inputs["target"]), inputs["series"], count=inputs["count"], joined=inputs["joined"])

    best = found[: len(expected["best"])]
    assert [(pair["joined"], (pair["a"], pair["b"])) for pair in expected["best"]] == [
        (pair.joined, pair.parts) for pair in best
    ]
    assert [pair["value"] for pair in expected["best"]] == pytest.approx([pair.value for pair in best], rel=1e-9)
    assert expected["best_error_percent"] == pytest.approx(abs(best[0].error_percent), rel=1e-9, abs=1e-12)
    assert expected["next_error_percent"] == pytest.approx(abs(found[len(best)].error_percent), rel=1e-9)
    assert all(abs(a.error_percent) <= abs(b.error_percent) for a, b in pairwise(found))


def test_equal_tolerances_stay_equal_in_series() -> None:
    """Sum of limits (case pair_tolerance_series)."""
    whole = join([Toleranced(470, 446.5, 493.5, "Ω"), Toleranced(39, 37.05, 40.95, "Ω")], "series")

    assert pytest.approx((509, 483.55, 534.45), rel=1e-12) == (whole.nominal, whole.low, whole.high)


def test_mixed_tolerances_weigh_by_value_in_series() -> None:
    """(10 + 10)/1100 (case pair_tolerance_mixed)."""
    whole = join([Toleranced(1000, 990, 1010, "Ω"), Toleranced(100, 90, 110, "Ω")], "series")

    assert pytest.approx((1100, 1080, 1120), rel=1e-12) == (whole.nominal, whole.low, whole.high)


def test_limits_in_parallel_are_those_of_the_parts_at_their_limits() -> None:
    """Limits of a*b/(a+b) (case pair_tolerance_parallel)."""
    part = Toleranced(1000, 950, 1050, "Ω")

    whole = join([part, part], "parallel")

    assert pytest.approx((500, 475, 525), rel=1e-12) == (whole.nominal, whole.low, whole.high)
