"""Repeated readings against certified and published values: `data/statistics.json` names the source beside each case.

NIST StRD certified sets, the NIST/SEMATECH e-Handbook's two-sample example, R's `sleep` example and Fisher tests,
Wilson intervals from memory of Newcombe (1998), and Mann-Kendall, Fieller and resolution values derived from their
definitions.
"""

import json
import math
from itertools import cycle, islice
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from server.engineering.drift import mann_kendall
from server.engineering.trials import ReadingsError, compare, compare_yes_no, geometric_mean, summarise

_DATA = json.loads(Path(__file__).with_name("data").joinpath("statistics.json").read_text("utf-8"))
_CASES: dict[str, dict[str, Any]] = {case["case_id"]: case for case in _DATA["cases"]}

# Readings taken as all but exact, where the outside value knows no resolution.
EXACT = 1e-9


def _named(start: str) -> list[str]:
    return [name for name in _CASES if name.startswith(start)]


def _univariate(inputs: dict[str, Any]) -> list[float]:
    if "values" in inputs:
        return [float(value) for value in inputs["values"]]
    base = inputs["rule"].split()[1].removesuffix(".2,")
    return [float(f"{base}.{tenths}") for tenths in [2, *islice(cycle([1, 3]), inputs["n"] - 1)]]


def _treatments(inputs: dict[str, Any]) -> list[list[float]]:
    if "values" in inputs:
        return [[float(value) for value in values] for values in inputs["values"].values()]
    whole = int(inputs["base"])
    middles = [4, 3, 5, 3, 5, 3, 5, 3, 5]
    return [
        [
            float(f"{whole}.{tenths}")
            for tenths in [middle, *islice(cycle([middle - 1, middle + 1]), inputs["each"] - 1)]
        ]
        for middle in middles
    ]


@pytest.mark.parametrize("name", _named("strd_univariate"))
def test_mean_and_spread_are_the_certified_ones(name: str) -> None:
    """NIST StRD univariate sets, up to those made to upset naive sums."""
    case = _CASES[name]

    summary = summarise(_univariate(case["inputs"]))

    assert float(case["expected"]["mean"]) == pytest.approx(summary.mean, rel=case["tolerance"]["mean_rel"])
    assert float(case["expected"]["sd"]) == pytest.approx(summary.spread, rel=case["tolerance"]["sd_rel"])


# The last bit of a double is this much of the differences in these data, so F of their means cannot be had closer.
_REPRESENTED = {"strd_anova_AtmWtAg": 1e-8, "strd_anova_SmLs04": 1e-8, "strd_anova_SmLs05": 1e-8}


@pytest.mark.parametrize("name", _named("strd_anova"))
def test_summaries_of_treatments_rebuild_the_certified_analysis_of_variance(name: str) -> None:
    """F and the residual deviation of the NIST StRD sets follow from our means and spreads alone."""
    case = _CASES[name]
    tolerance = max(case["tolerance"]["F_rel"], _REPRESENTED.get(name, 0.0))

    summaries = [summarise(values) for values in _treatments(case["inputs"])]

    total = sum(one.count for one in summaries)
    reference = summaries[0].mean
    shift = sum(one.count * (one.mean - reference) for one in summaries) / total
    between = sum(one.count * (one.mean - reference - shift) ** 2 for one in summaries) / (len(summaries) - 1)
    within = sum((one.count - 1) * (one.spread or 0.0) ** 2 for one in summaries) / (total - len(summaries))
    assert case["inputs"]["n"] == total
    assert float(case["expected"]["F"]) == pytest.approx(between / within, rel=tolerance)
    assert float(case["expected"]["residual_sd"]) == pytest.approx(math.sqrt(within), rel=tolerance)


def test_welch_t_of_two_equal_groups_squares_to_the_certified_f() -> None:
    """With as many readings a side, Welch's t is the pooled one, and its square the F of NIST StRD AtmWtAg."""
    case = _CASES["strd_anova_AtmWtAg"]
    first, second = _treatments(case["inputs"])

    t = compare(first, second, "lower", EXACT).welch_t

    assert t is not None
    assert float(case["expected"]["F"]) == pytest.approx(t**2, rel=_REPRESENTED["strd_anova_AtmWtAg"])


def test_summaries_are_those_of_the_handbook_example() -> None:
    """Counts, means, deviations and standard errors as printed in the NIST/SEMATECH e-Handbook, 1.3.5.3."""
    case = _CASES["nist_ehandbook_1_3_5_3_auto83b"]
    inputs, expected = case["inputs"], case["expected"]

    for side, readings in (("1", inputs["us_mpg"]), ("2", inputs["japan_mpg"])):
        summary = summarise(readings, EXACT)

        assert expected["n" + side] == summary.count
        assert expected["mean" + side] == f"{summary.mean:.5f}"
        assert expected["sd" + side] == f"{summary.spread:.5f}"
        assert expected["se" + side] == f"{summary.standard_uncertainty:.5f}"


def test_welch_test_of_the_handbook_data() -> None:
    """t, degrees of freedom and p of unequal groups (249 and 79 readings)."""
    inputs, expected = _CASES["nist_ehandbook_1_3_5_3_auto83b"]["inputs"], _CASES["auto83b_welch"]["expected"]

    comparison = compare(inputs["us_mpg"], inputs["japan_mpg"], "higher")

    assert expected["t"] == pytest.approx(comparison.welch_t, rel=1e-9)
    assert expected["df"] == pytest.approx(comparison.degrees_of_freedom, rel=1e-9)
    assert expected["p"] == pytest.approx(comparison.p, rel=1e-8)
    assert comparison.verdict == "better"


def test_welch_test_of_the_sleep_data() -> None:
    """R prints t = -1.8608, df = 17.776, p = 0.07939 for t.test(extra ~ group): no difference is shown."""
    case = _CASES["r_sleep_welch"]
    expected = case["expected"]

    comparison = compare(case["inputs"]["group1"], case["inputs"]["group2"], "higher")

    assert expected["full"]["t"] == pytest.approx(comparison.welch_t, rel=1e-12)
    assert expected["full"]["df"] == pytest.approx(comparison.degrees_of_freedom, rel=1e-12)
    assert expected["full"]["p"] == pytest.approx(comparison.p, rel=1e-11)
    assert expected["p"] == f"{comparison.p:.5f}"
    assert comparison.verdict == "no difference shown"


@pytest.mark.parametrize("name", _named("fisher_exact"))
def test_fisher_p_is_that_of_r(name: str) -> None:
    """R's fisher.test, two-sided, on tables from 10 to 2,090 observations."""
    (yes_before, no_before), (yes_after, no_after) = _CASES[name]["inputs"]["table"]

    comparison = compare_yes_no((yes_before, yes_before + no_before), (yes_after, yes_after + no_after))

    assert _CASES[name]["expected"]["p_two_sided"] == pytest.approx(comparison.p, rel=1e-9)


@pytest.mark.parametrize("name", _named("wilson"))
def test_wilson_interval_is_the_published_one(name: str) -> None:
    """Printed digits from memory of Newcombe, Statistics in Medicine 17 (1998), where there are any."""
    inputs, expected = _CASES[name]["inputs"], _CASES[name]["expected"]

    share = compare_yes_no((inputs["successes"], inputs["trials"]), (1, 2)).before

    assert expected["low"] == pytest.approx(share.low, abs=1e-9)
    assert expected["high"] == pytest.approx(share.high, abs=1e-9)
    if "published_4dp" in expected:
        assert expected["published_4dp"] == [f"{share.low:.4f}", f"{share.high:.4f}"]


@pytest.mark.parametrize("name", _named("mann_kendall"))
def test_mann_kendall_is_as_defined(name: str) -> None:
    """S, its variance with ties, z with continuity correction; p exact without ties."""
    expected = _CASES[name]["expected"]

    drift = mann_kendall(np.array(_CASES[name]["inputs"]["values"], dtype=float))

    if expected["var_S"] == 0:
        assert drift is None
        return
    assert drift is not None
    assert expected["S"] == drift.s
    assert expected["var_S"] == pytest.approx(drift.variance, abs=1e-9)
    assert expected["z"] == pytest.approx(drift.z, abs=1e-9)
    if "p_two_sided_exact" in expected or name == "mann_kendall_ties":
        p = expected.get("p_two_sided_exact", expected["p_two_sided_normal"])
        assert p == pytest.approx(drift.p, abs=1e-9)


@pytest.mark.parametrize("name", _named("quantisation"))
def test_a_lone_reading_is_as_uncertain_as_its_rounding(name: str) -> None:
    """u = q/sqrt(12), JCGM 100:2008 F.2.2.1 from memory, and half a step either way."""
    case = _CASES[name]

    summary = summarise([10.0], float(case["inputs"]["q"]))

    assert float(case["expected"]["u"]) == pytest.approx(summary.standard_uncertainty, rel=1e-12)
    assert float(case["expected"]["half_width"]) == pytest.approx(summary.interval_high - 10, rel=1e-12)
    assert float(case["expected"]["half_width"]) == pytest.approx(10 - summary.interval_low, rel=1e-12)


def test_fieller_interval_is_the_set_that_the_t_test_does_not_reject() -> None:
    """The limits with Welch-Satterthwaite degrees of freedom at the limit, where the resolution adds nothing."""
    case = _CASES["fieller_bench_clear"]
    expected = case["expected"]

    comparison = compare(case["inputs"]["before"], case["inputs"]["after"], "lower", EXACT)

    limits = [comparison.ratio_low, comparison.ratio_high]
    assert expected["ci_welch_satterthwaite_at_limit"] == pytest.approx(limits, rel=1e-8)
    assert expected["ratio"] == pytest.approx(comparison.ratio, rel=1e-12)
    assert expected["percent_faster"] == pytest.approx(comparison.percent_faster, rel=1e-12)
    assert expected["percent_less_time"] == pytest.approx(comparison.percent_less_time, rel=1e-12)


def test_identical_readings_do_not_claim_to_be_exact() -> None:
    """The interval holds the exact one of two rectangular roundings and stays close to it."""
    case = _CASES["identical_readings_resolution"]
    inputs, expected = case["inputs"], case["expected"]

    comparison = compare(inputs["before"], inputs["after"], "lower", inputs["resolution"])

    assert comparison.ratio_low is not None
    assert comparison.ratio_high is not None
    exact_low, exact_high = expected["interval_95_exact_two_rectangulars"]
    hard_low, hard_high = expected["hard_limits"]
    assert hard_low < comparison.ratio_low < exact_low
    assert exact_high < comparison.ratio_high < hard_high
    assert expected["ratio"] == pytest.approx(comparison.ratio, rel=1e-12)
    assert comparison.p is None
    assert expected["u_ratio_first_order"] == pytest.approx(
        (comparison.ratio_high - comparison.ratio_low) / (2 * 1.959964), rel=1e-3
    )


@pytest.mark.parametrize("name", _named("faster_vs_less"))
def test_percent_faster_and_percent_less_time_are_told_apart(name: str) -> None:
    """Speed is 1/time (definition): half the time is 100 % faster and 50 % less time."""
    inputs, expected = _CASES[name]["inputs"], _CASES[name]["expected"]

    comparison = compare([inputs["time_before"]], [inputs["time_after"]], "lower")

    assert expected["percent_faster"] == pytest.approx(comparison.percent_faster, abs=1e-9)
    assert expected["percent_less_time"] == pytest.approx(comparison.percent_less_time, abs=1e-9)


@pytest.mark.parametrize("name", ["geomean_cancel", "geomean_mixed", "geomean_one"])
def test_geometric_mean_of_inverse_ratios_is_the_inverse(name: str) -> None:
    """Fleming and Wallace, CACM 29 (1986), from memory."""
    ratios, expected = _CASES[name]["inputs"]["ratios"], _CASES[name]["expected"]

    mean, inverse = geometric_mean(ratios), geometric_mean([1 / ratio for ratio in ratios])

    assert expected["geometric_mean"] == pytest.approx(mean, rel=1e-12)
    assert expected["of_inverse_ratios"] == pytest.approx(inverse, rel=1e-12)


def test_a_ratio_of_zero_has_no_geometric_mean() -> None:
    """It is refused, and the ratio at fault named."""
    with pytest.raises(ReadingsError, match="Comparison 2"):
        geometric_mean(_CASES["geomean_refuse"]["inputs"]["ratios"])
