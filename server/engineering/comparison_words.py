"""What a comparison says in plain words, with as many digits as the uncertainty lets stand.

Knows no unit: figures are in the readings' own, which the page shows beside the sentence.
"""

from dataclasses import dataclass
from typing import Literal

from server.engineering.ratios import RatioSet


@dataclass(frozen=True, slots=True)
class Figures:
    """What goes into the sentence; `before` and `after` are means, or mean distances from the target.

    `uncertainty` is that of the surer mean, in the readings' unit; None shows the figures as they were read. `unknown`
    is what keeps the verdict open: how much readings scatter, or how finely they were read.
    """

    before: float
    after: float
    uncertainty: float | None
    target: float | None
    verdict: Literal["better", "worse", "no difference shown", "cannot say"]
    unknown: Literal["scatter", "resolution"] | None
    ratio: float | None
    ratios: RatioSet
    percent_faster: float | None
    percent_less_time: float | None
    p: float | None


_OPENING = {
    None: "",
    "scatter": ", with one reading a side",
    "resolution": ", with neither scatter nor resolution known",
}
_CAVEAT = {
    "better": "",
    "worse": "",
    "no difference shown": " That does not prove that nothing changed.",
    "cannot say": " Repeated readings on both sides, and the resolution they are read to, would tell.",
}


def sentence_of(figures: Figures) -> str:
    """The verdict, both sides, how much and how sure, in one or two plain sentences."""
    opening = figures.verdict.capitalize() + _OPENING[figures.unknown]
    change = "" if figures.verdict == "no difference shown" else _change(figures)
    sure = "; ".join([*_ratio(figures), *_test(figures)])
    return f"{opening}: {_sides(figures)}{change}{f' ({sure})' if sure else ''}.{_CAVEAT[figures.verdict]}"


def _sides(figures: Figures) -> str:
    after, before = (shown(value, figures.uncertainty) for value in (figures.after, figures.before))
    on_average = "" if figures.unknown == "scatter" else " on average"
    off = "" if figures.target is None else f" from the target of {figures.target:g}"
    return f"{after}{off}{on_average} after, against {before} before"


def _change(figures: Figures) -> str:
    ratio, faster, less = figures.ratio, figures.percent_faster, figures.percent_less_time
    if ratio is None or ratio == 1:
        return ""
    if faster is not None and less is not None:
        if ratio > 1:
            return f": {percent(faster)} faster, which is {percent(less)} less time"
        return f": {percent(-faster)} slower, which is {percent(-less)} more time"
    if figures.target is not None:
        return f": {_figures(ratio)} times nearer" if ratio > 1 else f": {_figures(1 / ratio)} times farther off"
    change = 100 * (figures.after / figures.before - 1)
    return f": {percent(abs(change))} {'higher' if change > 0 else 'lower'}"


def _ratio(figures: Figures) -> list[str]:
    if figures.ratio is None:
        return []
    low, high = figures.ratios.low, figures.ratios.high
    half = None if low is None or high is None else (high - low) / 2
    if figures.unknown == "resolution":
        return [f"ratio {_figures(figures.ratio)}"]
    ratio = _figures(figures.ratio) if half is None else shown(figures.ratio, half)
    if figures.unknown == "scatter":
        return [f"ratio {ratio}; the resolution allows {_bounds(figures.ratios, half)}"]
    return [f"ratio {ratio}, {_bounds(figures.ratios, half)} at 95 %"]


def _bounds(ratios: RatioSet, half: float | None) -> str:
    if ratios.gap is not None:
        return f"anything but {_figures(ratios.gap[0])} to {_figures(ratios.gap[1])}"
    if ratios.low is not None and ratios.high is not None:
        return f"{shown(ratios.low, half)} to {shown(ratios.high, half)}"
    return f"at least {_figures(ratios.low)}" if ratios.low else "unbounded"


def _test(figures: Figures) -> list[str]:
    return [] if figures.p is None else [f"Welch's t test, p {chance(figures.p)}"]


def shown(value: float, uncertainty: float | None) -> str:
    """A value to the second significant digit of its uncertainty, or as it is without one."""
    if not uncertainty:
        return f"{value:.10g}"
    decimals = 1 - int(f"{uncertainty:.1e}".partition("e")[2])  # of the rounded one: 0.0999 is told as 0.10
    if abs(decimals) > 15 or abs(value) >= 1e15:
        return f"{value:.10g}"
    return f"{round(value, decimals) + 0.0:.{max(decimals, 0)}f}"


def percent(value: float) -> str:
    """A percentage to three significant digits, whole from a hundred."""
    return f"{value:.0f} %" if 99.95 <= abs(value) < 1e6 else f"{value:.3g} %"


def chance(p: float) -> str:
    """A p-value with its sign, as it goes into a sentence."""
    return "below 0.0001" if p < 0.0001 else f"= {p:.2g}"


def _figures(ratio: float) -> str:
    return f"{ratio:.3g}"
