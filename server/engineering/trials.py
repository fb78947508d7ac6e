"""Repeated readings: the one door to summaries, comparisons, yes-or-no counts and readings as typed.

Numbers in, numbers out, in whatever unit the procedure has. Each part states its equations, ranges and sources:
`summaries`, `comparisons` (on `ratios`), `yes_no`, `drift`, `readings` and `readings_text`.
"""

from server.engineering.comparisons import Comparison, compare, geometric_mean, overall
from server.engineering.drift import Drift
from server.engineering.readings import ReadingsError
from server.engineering.readings_text import ReadingsTextError, read_readings
from server.engineering.summaries import Summary, summarise
from server.engineering.yes_no import Share, YesNoComparison, compare_yes_no

__all__ = [
    "Comparison",
    "Drift",
    "ReadingsError",
    "ReadingsTextError",
    "Share",
    "Summary",
    "YesNoComparison",
    "compare",
    "compare_yes_no",
    "geometric_mean",
    "overall",
    "read_readings",
    "summarise",
]
