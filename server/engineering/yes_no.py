"""Yes-or-no observations before and after: how often, between which bounds, and whether that changed.

For k yes in n: the share k/n with the Wilson score interval at 95 %; the two counts are compared by Fisher's exact
test, two-sided. Each occasion is taken to be independent of the others and alike in its chance.
E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209-212; R. A. Fisher, J. R. Stat. Soc. 98 (1935) 39-54; both from memory.

Raises `ReadingsError` for counts that are not whole numbers, are negative, exceed their total, or total 0 or above
1,000,000.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from server.engineering.comparison_words import chance
from server.engineering.readings import MOST_READINGS, ReadingsError

LEVEL = 0.05


@dataclass(frozen=True, slots=True)
class Share:
    """`yes` out of `total` occasions; `share`, `low` and `high` (Wilson, 95 %) are between 0 and 1."""

    yes: int
    total: int
    share: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class YesNoComparison:
    """Shares before and after, Fisher's two-sided p, and what can honestly be said of the difference."""

    before: Share
    after: Share
    p: float
    verdict: Literal["more often", "less often", "no difference shown"]
    sentence: str


def compare_yes_no(before: tuple[int, int], after: tuple[int, int]) -> YesNoComparison:
    """Compare (yes, total) before with (yes, total) after; whether a yes is welcome is for the reader to say."""
    from scipy import stats

    first, second = _share(before, "before"), _share(after, "after")
    table = np.array([[first.yes, first.total - first.yes], [second.yes, second.total - second.yes]])
    p = min(float(stats.fisher_exact(table).pvalue), 1.0)
    verdict = _verdict(first, second, p)
    return YesNoComparison(first, second, p, verdict, _sentence(first, second, p, verdict))


def _share(counts: tuple[int, int], field: str) -> Share:
    from scipy import stats

    yes, total = counts
    if any(isinstance(count, bool) or not isinstance(count, int) for count in counts):
        raise ReadingsError(
            f"{field.capitalize()}: give whole numbers, how often yes and out of how many.", field=field
        )
    if not 1 <= total <= MOST_READINGS:
        raise ReadingsError(
            f"{field.capitalize()}: {total:,} occasions; there must be from 1 to {MOST_READINGS:,}.", field=field
        )
    if not 0 <= yes <= total:
        raise ReadingsError(f"{field.capitalize()}: {yes:,} yes out of {total:,} cannot be.", field=field)
    bounds = stats.binomtest(yes, total).proportion_ci(0.95, method="wilson")
    return Share(yes, total, yes / total, float(bounds.low), float(bounds.high))


def _verdict(before: Share, after: Share, p: float) -> Literal["more often", "less often", "no difference shown"]:
    if p >= LEVEL:
        return "no difference shown"
    return "more often" if after.share > before.share else "less often"


def _sentence(before: Share, after: Share, p: float, verdict: str) -> str:
    sides = f"yes {_words(after)} after, against {_words(before)} before"
    sentence = f"{verdict.capitalize()}: {sides} (Fisher's exact test, p {chance(p)})."
    if verdict == "no difference shown":
        return sentence + " That does not prove that nothing changed."
    return sentence


def _words(share: Share) -> str:
    return f"{share.yes:,} of {share.total:,} times ({100 * share.low:.0f} to {100 * share.high:.0f} % at 95 %)"
