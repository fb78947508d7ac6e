"""Two trials of one procedure held against each other, in the procedure's own sense of better.

What can honestly be said is the engineering core's to say; here it is only told what the procedure means.
"""

import re
from typing import Literal

from server.engineering.errors import EngineeringError
from server.engineering.quantities import same_dimension
from server.engineering.trials import Comparison, YesNoComparison, compare, compare_yes_no
from server.records.questions.trials import counts, yes_or_no
from server.records.tables import Procedure, Trial
from server.records.words import Better

AIMS: dict[str, Literal["lower", "higher", "nearest"]] = {
    Better.LOWER: "lower",
    Better.HIGHER: "higher",
    Better.NEAREST: "nearest",
}
# What a count stands for, where that is a time: “one count is 1/60 s”, “a tick lasts 20 ms”, “16.7 ms”.
COUNT_IN_UNITS = re.compile(r"(?:^|=|\b(?:is|lasts|takes|equals))\s*(?:about\s+)?\d[\d.,/]*\s*([^\W\d_]+)\W*")


def compare_trials(procedure: Procedure, before: Trial, after: Trial) -> Comparison | YesNoComparison:
    """The comparison of two trials of this procedure."""
    if yes_or_no(procedure):
        return compare_yes_no(counts(before), counts(after))
    return compare(
        before.readings,
        after.readings,
        AIMS[procedure.better],
        procedure.resolution,
        procedure.target if procedure.better == Better.NEAREST else None,
        quantity=quantity_of(procedure),
    )


def quantity_of(procedure: Procedure) -> Literal["time", "rate", "other"]:
    """Whether “percent faster” means something: only for a time that should fall and a rate that should rise."""
    if procedure.better == Better.LOWER and _measures(procedure, "s"):
        return "time"
    if procedure.better == Better.HIGHER and _measures(procedure, "Hz"):
        return "rate"
    return "other"


def judged(procedure: Procedure, comparison: Comparison | YesNoComparison) -> str:
    """Better, worse, no difference shown, or cannot say: in the sense of the procedure."""
    if isinstance(comparison, Comparison):
        return comparison.verdict
    if comparison.verdict == "no difference shown":
        return comparison.verdict
    welcome = "more often" if procedure.better == Better.YES else "less often"
    return "better" if comparison.verdict == welcome else "worse"


def leans_better(procedure: Procedure, comparison: Comparison | YesNoComparison) -> bool:
    """Whether what was read after is better at all, be it by chance or not."""
    if isinstance(comparison, YesNoComparison):
        before, after = comparison.before.share, comparison.after.share
        return after > before if procedure.better == Better.YES else after < before
    if comparison.distance_before is not None and comparison.distance_after is not None:
        return comparison.distance_after < comparison.distance_before
    before, after = comparison.before.mean, comparison.after.mean
    return after > before if procedure.better == Better.HIGHER else after < before


def _measures(procedure: Procedure, unit: str) -> bool:
    stands_for = COUNT_IN_UNITS.search(procedure.unit_meaning)
    return _alike(procedure.unit, unit) or (stands_for is not None and _alike(stands_for[1], unit))


def _alike(text: str, unit: str) -> bool:
    try:
        return same_dimension(text, unit)
    except EngineeringError:
        return False
