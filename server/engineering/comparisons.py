"""Two runs of readings of one procedure, and what can honestly be said of the difference.

The ratio is written so that above 1 is better: mean before / mean after where lower is better, after / before where
higher is, and, where nearest to a target is, mean distance from the target before / after. Distances |x - target| take
in both how far off the mean is and how much the readings scatter; the tests are then made on the distances.

Percent faster is 100 (ratio - 1), percent less time 100 (1 - 1/ratio): half the time is 100 % faster and 50 % less.
Both are given for times and rates only, and they and the ratio only where both means are above 0.

The 95 % interval of the ratio (`ratios.py`) includes the resolution's q/sqrt(12) a side; the verdict is that of the
interval. Welch's t, its degrees of freedom and p are the textbook ones, of the scatter alone, so that anyone can check
them; they do not exist when neither side scatters or a side has a lone reading. A lone reading beside several
borrows their scatter and says so. With one reading a side the bounds are what the resolution allows, and no
difference can be claimed.

B. L. Welch, Biometrika 34 (1947) 28-35; P. J. Fleming and J. J. Wallace, CACM 29 (1986) 218-221 (geometric mean);
both from memory. Raises `ReadingsError` for readings that are not finite numbers, a bad resolution, and a target
missing or uncalled for.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal, get_args

import numpy as np

from server.engineering.comparison_words import Figures, sentence_of
from server.engineering.ratios import Mean, Pair, RatioSet
from server.engineering.readings import Readings, ReadingsError, Resolution, checked, resolution_of
from server.engineering.student import CONFIDENCE
from server.engineering.summaries import Summary, mean_of, summary_of

Better = Literal["lower", "higher", "nearest"]
Quantity = Literal["time", "rate", "other"]
Verdict = Literal["better", "worse", "no difference shown", "cannot say"]


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two runs of readings compared; `ratio` above 1 means better after, None where a ratio means nothing.

    The ratios that the readings do not exclude at 95 % run from `ratio_low` to `ratio_high`, None standing for no bound
    on that side. When they are all numbers but a gap, both are None and `ratio_gap` holds the gap. The distances are
    the mean ones from the target, where there is one.
    """

    before: Summary
    after: Summary
    better: Better
    target: float | None
    distance_before: float | None
    distance_after: float | None
    resolution: float
    ratio: float | None
    ratio_low: float | None
    ratio_high: float | None
    ratio_gap: tuple[float, float] | None
    percent_faster: float | None
    percent_less_time: float | None
    welch_t: float | None
    degrees_of_freedom: float | None
    p: float | None
    verdict: Verdict
    sentence: str
    notes: tuple[str, ...]


def compare(
    before: Sequence[float] | Readings,
    after: Sequence[float] | Readings,
    better: Better,
    resolution: float | None = None,
    target: float | None = None,
    *,
    quantity: Quantity | None = None,
) -> Comparison:
    """Compare 1 to 1,000,000 readings before with as many after, all in one unit, as are `resolution` and `target`.

    `quantity` says whether "faster" means something: readings where lower is better are taken for times unless it
    says otherwise, all others for neither times nor rates.
    """
    first, second = checked(before, "before"), checked(after, "after")
    _check_aim(better, target)
    step = resolution_of(np.concatenate([first, second]), resolution)
    pair = _pair(first, second, step, target)
    never_negative = target is not None or bool(min(first.min(), second.min()) >= 0)
    t, freedom, p = _welch(pair, first.size, second.size)
    figures = _figures(pair, better, step, target, _percents_mean(better, quantity), never_negative, p)
    summaries = summary_of(first, step), summary_of(second, step)
    return Comparison(
        before=summaries[0],
        after=summaries[1],
        better=better,
        target=target,
        distance_before=None if target is None else figures.before,
        distance_after=None if target is None else figures.after,
        resolution=step.step,
        ratio=figures.ratio,
        ratio_low=figures.ratios.low,
        ratio_high=figures.ratios.high,
        ratio_gap=figures.ratios.gap,
        percent_faster=figures.percent_faster,
        percent_less_time=figures.percent_less_time,
        welch_t=t,
        degrees_of_freedom=freedom,
        p=p,
        verdict=figures.verdict,
        sentence=sentence_of(figures),
        notes=tuple(_notes(pair, step, figures, summaries)),
    )


def overall(comparisons: Sequence[Comparison]) -> float:
    """The geometric mean of the comparisons' ratios: above 1 is better on the whole."""
    return geometric_mean([math.nan if one.ratio is None else one.ratio for one in comparisons])


def geometric_mean(ratios: Sequence[float]) -> float:
    """exp of the mean logarithm of ratios above 0; `ReadingsError` where one is not, or there are none."""
    if not ratios:
        raise ReadingsError("There are no ratios to take the mean of.", field="comparisons")
    for place, ratio in enumerate(ratios, start=1):
        if not (math.isfinite(ratio) and ratio > 0):
            raise ReadingsError(
                f"Comparison {place} has no ratio above 0, so there is no overall one.",
                field="comparisons",
                place=place,
            )
    return math.exp(math.fsum(map(math.log, ratios)) / len(ratios))


def _check_aim(better: Better, target: float | None) -> None:
    if better not in get_args(Better):
        raise ReadingsError(f"Better must be lower, higher or nearest, not {better!r}.", field="better")
    if (better == "nearest") != (target is not None):
        need = (
            "Give the target that readings should be nearest to."
            if target is None
            else f"A target is for readings that should be nearest to it, not for those where {better} is better."
        )
        raise ReadingsError(need, field="target")
    if target is not None:
        checked([target], "target")


def _pair(before: Readings, after: Readings, step: Resolution, target: float | None) -> Pair:
    """What is compared, as means; a lone reading beside several takes their scatter for its own."""
    first, second = _judged(before, step, target), _judged(after, step, target)
    if first.freedom and not second.freedom:
        return Pair(first, replace(second, scatter=first.scatter * before.size), borrowed_freedom=first.freedom)
    if second.freedom and not first.freedom:
        return Pair(replace(first, scatter=second.scatter * after.size), second, borrowed_freedom=second.freedom)
    return Pair(first, second)


def _judged(values: Readings, step: Resolution, target: float | None) -> Mean:
    """The mean of the readings themselves, or of their distances from the target."""
    if target is None:
        return mean_of(values, step)
    # The distances are differences of two floats, each good to half its last bit.
    grain = 2 * float(np.spacing(max(np.abs(values).max(), abs(target))))
    return mean_of(np.abs(values - target), step, grain)


def _alone(pair: Pair) -> bool:
    """Whether each side is a lone reading."""
    return not pair.first.freedom and not pair.second.freedom


def _ratio(pair: Pair, better: Better, step: Resolution, never_negative: bool) -> tuple[float | None, RatioSet]:
    first, second = (pair.second, pair.first) if better == "higher" else (pair.first, pair.second)
    if first.value <= 0 or second.value <= 0:
        return None, RatioSet()
    ratio = first.value / second.value
    if _alone(pair):
        return ratio, _allowed_by_resolution(first.value, second.value, step.step / 2)
    if _unknown(pair, step):
        return ratio, RatioSet()
    ratios = Pair(first, second, pair.borrowed_freedom).ratios()
    return ratio, ratios.not_negative() if never_negative else ratios


def _allowed_by_resolution(first: float, second: float, half: float) -> RatioSet:
    """Between which bounds the ratio of two lone readings above 0 lies, each anywhere within half a step."""
    low = max(first - half, 0.0) / (second + half)
    return RatioSet(low, (first + half) / (second - half) if second > half else None)


def _percents_mean(better: Better, quantity: Quantity | None) -> bool:
    """Whether "faster" and "less time" mean something for what was read."""
    return (quantity or ("time" if better == "lower" else "other")) != "other"


def _welch(pair: Pair, before: int, after: int) -> tuple[float | None, float | None, float | None]:
    """Welch's t (before less after), degrees of freedom and two-sided p, of the scatter alone."""
    if min(before, after) < 2 or pair.first.scatter + pair.second.scatter == 0:
        return None, None, None
    from scipy import stats

    error = math.sqrt(pair.first.scatter + pair.second.scatter)
    test = stats.ttest_ind_from_stats(
        (pair.first.value - pair.second.value) / error,
        math.sqrt(pair.first.scatter * before) / error,
        before,
        0.0,
        math.sqrt(pair.second.scatter * after) / error,
        after,
        equal_var=False,
    )
    return float(test.statistic), pair.freedom(), float(test.pvalue)


def _figures(
    pair: Pair,
    better: Better,
    step: Resolution,
    target: float | None,
    percents: bool,
    never_negative: bool,
    p: float | None,
) -> Figures:
    ratio, ratios = _ratio(pair, better, step, never_negative)
    unknown = _unknown(pair, step)
    return Figures(
        before=pair.first.value,
        after=pair.second.value,
        uncertainty=None if unknown else math.sqrt(min(pair.first.variance, pair.second.variance)),
        target=target,
        verdict="cannot say" if unknown else _verdict(pair, better),
        unknown=unknown,
        ratio=ratio,
        ratios=ratios,
        percent_faster=100 * (ratio - 1) if ratio and percents else None,
        percent_less_time=100 * (1 - 1 / ratio) if ratio and percents else None,
        p=p,
    )


def _unknown(pair: Pair, step: Resolution) -> Literal["scatter", "resolution"] | None:
    """What is not known and keeps the verdict open."""
    if _alone(pair):
        return "scatter"
    return None if step.believable or pair.first.scatter or pair.second.scatter else "resolution"


def _verdict(pair: Pair, better: Better) -> Verdict:
    if not pair.differ():
        return "no difference shown"
    return "better" if (pair.second.value > pair.first.value) == (better == "higher") else "worse"


def _notes(pair: Pair, step: Resolution, figures: Figures, summaries: tuple[Summary, Summary]) -> list[str]:
    notes = [step.note] if step.note else []
    if pair.borrowed_freedom is not None:
        notes.append("One side has a single reading; it is taken to scatter as the readings of the other side do.")
    elif not figures.unknown and not (pair.first.scatter or pair.second.scatter):
        notes.append("Neither side scatters; the bounds are those of the resolution alone.")
    if figures.verdict == "no difference shown" and figures.p is not None and figures.p < 1 - CONFIDENCE:
        notes.append("The scatter alone would show a difference, but the resolution is too coarse for it.")
    if figures.ratio is None:
        notes.append("A ratio means nothing here, as a mean is not above 0.")
    for side, summary in zip(("before", "after"), summaries, strict=True):
        if summary.drift:
            notes.append(f"The readings {side} drift; runs that have settled would compare better.")
    return notes
