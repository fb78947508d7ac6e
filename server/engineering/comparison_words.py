"""What a comparison says in plain words, with as many digits as the uncertainty lets stand.

Knows no unit: figures are in the readings' own, which the page shows beside the sentence.
"""

import math
from dataclasses import dataclass
from typing import Literal

from server.engineering.ratios import RatioSet


@dataclass(frozen=True, slots=True)
class Figures:
    """What goes into the sentence; `before` and `after` are means, or mean distances from the target."""

    before: float
    after: float
    uncertainty: float
    better: Literal["lower", "higher", "nearest"]
    target: float | None
    verdict: Literal["better", "worse", "no difference shown", "cannot say"]
    ratio: float | None
    ratios: RatioSet
    percent_faster: float | None
    percent_less_time: float | None
    p: float | None


def sentence_of(figures: Figures) -> str:
    """One or two plain sentences: the verdict, both sides, how much, and how sure."""
    verdict = figures.verdict[0].upper() + figures.verdict[1:]
    parts = [f"{verdict}: {_sides(figures)}"]
    if figures.ratio is not None and figures.ratio != 1:
        parts.append(_how_much(figures, figures.ratio))
    sentence = "; ".join([*parts, *_how_sure(figures)]) + "."
    return sentence + _caveat(figures)


def _sides(figures: Figures) -> str:
    after, before = (shown(value, figures.uncertainty) for value in (figures.after, figures.before))
    if figures.target is not None:
        return f"on average {after} from the target of {figures.target:g} after, against {before} before"
    return f"on average {after} after, against {before} before"


def _how_much(figures: Figures, ratio: float) -> str:
    if figures.percent_faster is not None and figures.percent_less_time is not None:
        faster, less = figures.percent_faster, figures.percent_less_time
        if ratio > 1:
            return f"{percent(faster)} faster, which is {percent(less)} less time"
        return f"{percent(-faster)} slower, which is {percent(-less)} more time"
    if figures.target is not None:
        return f"{times(ratio)} times nearer" if ratio > 1 else f"{times(1 / ratio)} times farther off"
    change = 100 * (figures.after / figures.before - 1)
    return f"{percent(abs(change))} {'higher' if change > 0 else 'lower'}"


def _how_sure(figures: Figures) -> list[str]:
    if figures.ratio is None:
        return [] if figures.p is None else [f"Welch's t test, p {chance(figures.p)}"]
    test = "" if figures.p is None else f"; Welch's t test, p {chance(figures.p)}"
    return [f"ratio {times(figures.ratio)}, {_bounds(figures)}{test}"]


def _bounds(figures: Figures) -> str:
    low, high, gap = figures.ratios.low, figures.ratios.high, figures.ratios.gap
    sure = "the resolution allows" if figures.verdict == "cannot say" else "at 95 %"
    if gap is not None:
        return f"{sure} anything but {times(gap[0])} to {times(gap[1])}"
    if low is None and high is None:
        return f"{sure} anything at all"
    if high is None:
        return f"{sure} {times(low or 0.0)} or more"
    return f"{sure} {times(low or 0.0)} to {times(high)}"


def _caveat(figures: Figures) -> str:
    if figures.verdict == "no difference shown":
        return " That does not prove that nothing changed."
    if figures.verdict == "cannot say":
        return " How much such readings scatter is not known, so no difference can be claimed."
    return ""


def shown(value: float, uncertainty: float) -> str:
    """A value to the second significant digit of its uncertainty."""
    if not uncertainty > 0:
        return f"{value:g}"
    decimals = 1 - math.floor(math.log10(uncertainty))
    return f"{round(value, decimals):.{max(decimals, 0)}f}" if abs(decimals) < 15 else f"{value:.6g}"


def percent(value: float) -> str:
    """A percentage to three significant digits, whole from a hundred."""
    return f"{value:.0f} %" if abs(value) >= 100 else f"{value:.3g} %"


def times(ratio: float) -> str:
    """A ratio to three or four significant digits."""
    return f"{ratio:.4g}" if abs(ratio) >= 1 else f"{ratio:.3g}"


def chance(p: float) -> str:
    """A p-value with its sign, as it goes into a sentence."""
    return "below 0.0001" if p < 0.0001 else f"= {p:.2g}"
