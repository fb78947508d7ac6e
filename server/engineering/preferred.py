"""Preferred values: the series, the value nearest to a wanted one, and pairs that come closer.

This is the face of the subject; the tables are in `preferred_series`, the pairs in `preferred_pairs`. Plain numbers
in the caller's unit, above zero, 1e-30 to 1e30. Raises `PreferredValueError`. Source: IEC 60063:2015.
"""

from bisect import bisect_right
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from server.engineering.preferred_pairs import Combination, combine, join
from server.engineering.preferred_series import (
    SERIES_NAMES,
    PreferredValueError,
    check_positive,
    is_preferred,
    usual_tolerance,
    values_between,
)
from server.engineering.preferred_series import series as series

__all__ = [
    "SERIES_NAMES",
    "Combination",
    "PreferredValueError",
    "combine",
    "is_preferred",
    "join",
    "nearest",
    "series",
    "usual_tolerance",
    "values_between",
]

Nearness = Literal["ratio", "difference", "at_least", "at_most"]
_figures_of = series


def nearest(value: float, series: str, how: Nearness = "ratio") -> float:
    """The value of a series that is nearest to a wanted one, in the same unit.

    `how`: "ratio" (the smallest factor between the two, as resistors are used), "difference" (the smallest gap),
    "at_least" or "at_most". Of two equally near the lower is given. The comparison is exact, in the decimal figures
    of `value` as they are printed. Raises `PreferredValueError` for zero, negative, NaN, infinite values, an unknown
    series or an unknown `how`. Source: IEC 60063:2015 for the values; the nearness is by definition.
    """
    check_positive(value)
    table = _figures_of(series)
    wanted = Decimal(repr(float(value)))
    decade = wanted.adjusted() - (len(str(table[0])) - 1)
    figures = Fraction(wanted) / Fraction(10) ** decade
    rising = (*table, table[0] * 10)
    place = bisect_right(rising, figures)
    lower, upper = rising[place - 1], rising[place]
    upper_is_nearer = _upper_is_nearer(figures, lower, upper, how)
    chosen = upper if upper_is_nearer and figures != lower else lower
    return float(f"{chosen}e{decade}")


def _upper_is_nearer(figures: Fraction, lower: int, upper: int, how: str) -> bool:
    match how:
        case "ratio":
            return figures * figures > lower * upper
        case "difference":
            return figures - lower > upper - figures
        case "at_least":
            return True
        case "at_most":
            return False
    raise PreferredValueError(f"Nearness goes by ratio, difference, at_least or at_most, not by “{how}”.", how)
