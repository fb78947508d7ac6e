"""Whether a line keeps to a limit, and the sentence that says so.

    holds     within the limit over the whole worst case
    at risk   within it at the nominal values, not over the tolerance
    fails     beyond it at the nominal values already

A value equal to its limit is within it, to one part in 10^9. Numbers in a sentence have four digits, or as many as
tell them from the limit. It knows results and limits, and nothing of how they were come by.
"""

from collections.abc import Sequence
from typing import NamedTuple

from server.engineering.sheet import Kind, Limit, LimitResult, LineResult, Verdict
from server.engineering.showing import figure
from server.engineering.toleranced import Toleranced

_EVEN = 1e-9


class Margins(NamedTuple):
    """What is left to the limit at the nominal values and at worst, in the line's unit; negative is beyond it."""

    nominal: float
    worst: float


def margins(kind: Kind, line: LineResult, against: Toleranced) -> Margins:
    """The margins of a line to a limit that does not vary."""
    to_low = Margins(line.nominal - _low(kind, against), line.worst_low - _low(kind, against))
    to_high = Margins(_high(kind, against) - line.nominal, _high(kind, against) - line.worst_high)
    return Margins(min(to_low.nominal, to_high.nominal), min(to_low.worst, to_high.worst))


def judge(limit: Limit, line: LineResult, against: Toleranced, left: Margins, other: str = "") -> LimitResult:
    """The verdict on a line. `other` is what a varying value on the other side is called, empty if it does not vary."""
    sizes = (line.nominal, line.worst_low, line.worst_high, against.low, against.high)
    room = _EVEN * max(abs(size) for size in sizes)
    verdict: Verdict = "holds" if left.worst >= -room else "at risk" if left.nominal >= -room else "fails"
    words = _of_two(limit.kind, line, against, left, other) if other else _of_one(limit.kind, line, against, verdict)
    return LimitResult(limit, verdict, words, left.worst, against)


def _low(kind: Kind, against: Toleranced) -> float:
    return {"at_least": against.nominal, "between": against.low, "at_most": float("-inf")}[kind]


def _high(kind: Kind, against: Toleranced) -> float:
    return {"at_most": against.nominal, "between": against.high, "at_least": float("inf")}[kind]


def _of_one(kind: Kind, line: LineResult, against: Toleranced, verdict: Verdict) -> str:
    """`Current is 10.87 mA, and at worst 11.4 mA: over the 10 mA allowed`."""
    ends = [against.low, against.high] if kind == "between" else [against.nominal]
    worst = {
        "at_most": [line.worst_high],
        "at_least": [line.worst_low],
        "between": [line.worst_low, line.worst_high],
    }[kind]
    sentence = f"{line.label or line.name} is {_figure(line.nominal, line.unit, ends)}"
    if line.worst_low != line.worst_high:
        joint = "but" if verdict == "at risk" else "and"
        sentence += f", {joint} at worst {' to '.join(_figure(number, line.unit, ends) for number in worst)}"
    return f"{sentence}: {_outcome(kind, verdict)} the {_limit_words(kind, ends, line.unit)}"


def _outcome(kind: Kind, verdict: Verdict) -> str:
    good, bad = {
        "at_most": ("within", "over"),
        "at_least": ("no less than", "under"),
        "between": ("within", "outside"),
    }[kind]
    return good if verdict == "holds" else bad


def _limit_words(kind: Kind, ends: Sequence[float], unit: str) -> str:
    return f"{' to '.join(figure(end, unit, 12) for end in ends)} {'needed' if kind == 'at_least' else 'allowed'}"


def _of_two(kind: Kind, line: LineResult, against: Toleranced, left: Margins, other: str) -> str:
    """`Output is 2.6 V where Threshold is 2.4 V: at worst 100 mV under it`; both vary, so the margin is what counts."""
    good, bad = ("within", "over") if kind == "at_most" else ("above", "under")
    amount = "K" if line.unit == "°C" else line.unit
    return (
        f"{line.label or line.name} is {_figure(line.nominal, line.unit, [against.nominal])} "
        f"where {other} is {figure(against.nominal, line.unit)}: "
        f"at worst {figure(abs(left.worst), amount)} {good if left.worst >= 0 else bad} it"
    )


def _figure(number: float, unit: str, ends: Sequence[float]) -> str:
    """Four digits, or as many as tell the number from the ends it is held against."""
    for digits in range(4, 12):
        rounded = float(figure(number, "", digits))  # as it will be shown: a half is rounded there as it is written
        if all((rounded > end, rounded < end) == (number > end, number < end) for end in ends):
            return figure(number, unit, digits)
    return figure(number, unit, 12)
