"""What two preferred values make together: the best series and parallel pairs for a target.

    resistors in series, capacitors in parallel:   v = a + b
    resistors in parallel, capacitors in series:   v = a * b / (a + b)

Every value, target and bound is in one unit of the caller's choice (ohm and farad for the ranges that are searched
by default). Knows nothing of boards or stores. Raises `PreferredValueError`. For each first value only the few
partners around the one that would be exact are looked at, which is enough to hold every pair of the best ones:
with one value fixed the result rises with the other. Source: elementary circuit theory; IEC 60063:2015 for values.
"""

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from heapq import nsmallest
from math import inf
from typing import Literal

from server.engineering.preferred_series import (
    PreferredValueError,
    check_positive,
    usual_tolerance,
    values_between,
)
from server.engineering.quantities import Toleranced

Joined = Literal["series", "parallel"]
Wanted = Literal["series", "parallel", "either"]
PartKind = Literal["resistor", "capacitor"]

# What a restorer's drawer holds: ohm and farad.
_RANGES: dict[PartKind, tuple[float, float]] = {"resistor": (1.0, 10e6), "capacitor": (1e-12, 10e-3)}


@dataclass(frozen=True)
class Combination:
    """One way to make a target from preferred values.

    `parts` rise; `value` is what they make, in their unit; `error_percent` is signed, of the target;
    `tolerance_percent` is that of the whole (None where the series has no single usual one).
    """

    joined: Literal["alone", "series", "parallel"]
    parts: tuple[float, ...]
    value: float
    error_percent: float
    tolerance_percent: float | None

    @property
    def low(self) -> float | None:
        """The least value that the tolerance allows, in the unit of the parts."""
        return None if self.tolerance_percent is None else self.value * (1 - self.tolerance_percent / 100)

    @property
    def high(self) -> float | None:
        """The greatest value that the tolerance allows, in the unit of the parts."""
        return None if self.tolerance_percent is None else self.value * (1 + self.tolerance_percent / 100)


def combine(
    target: float,
    series: str,
    count: int = 2,
    joined: Wanted = "either",
    *,
    kind: PartKind = "resistor",
    tolerance_percent: float | None = None,
    within: tuple[float, float] | None = None,
    best: int = 10,
) -> list[Combination]:
    """The `best` combinations of `count` values of a series that come closest to a target, best first.

    In: target above zero (ohm or farad); count 1 (single values) or 2 (pairs); `tolerance_percent` of each part
    (the series' usual one by default: like parts keep their tolerance in series and in parallel); `within`, the least
    and greatest value to use (1 ohm to 10 Mohm, 1 pF to 10 mF). Ranked by the size of the error; equal ones series
    first, then by the smaller part. Raises `PreferredValueError`. Source: the module's equations.
    """
    check_positive(target)
    _check_search(count, joined, kind, tolerance_percent, best)
    grid = values_between(series, *(within or _RANGES[kind]))
    if not grid:
        raise PreferredValueError(f"No value of {series} lies in the range to search.", within)
    part_tolerance = usual_tolerance(series) if tolerance_percent is None else tolerance_percent
    found = _singles(target, grid, best) if count == 1 else _pairs(target, grid, joined, kind, best)
    ranked = nsmallest(best, set(found))
    return [Combination(way, parts, value, error, part_tolerance) for _, _, parts, way, value, error in ranked]


def join(parts: Sequence[Toleranced], joined: Joined, kind: PartKind = "resistor") -> Toleranced:
    """What toleranced parts make together, from the limits of each.

    In: at least one part, all in one unit and above zero. Out: the same unit, `spread` "limits": the whole rises with
    every part, so its limits are reached when all stand at theirs (for standard uncertainties: at two of them, which
    is wider than their root sum of squares). Raises `PreferredValueError`. Source: the module's equations.
    """
    if not parts:
        raise PreferredValueError("There is no part to join.", parts)
    if len({part.unit for part in parts}) > 1:
        raise PreferredValueError("Only parts in the same unit can be joined.", parts)
    if any(part.low <= 0 for part in parts):
        raise PreferredValueError("Only parts whose value is surely above zero can be joined.", parts)
    adds = _adds(joined, kind)
    nominal, low, high = (
        _together(values, adds) for values in zip(*((part.nominal, part.low, part.high) for part in parts), strict=True)
    )
    return Toleranced(nominal, low, high, parts[0].unit, "limits")


_Found = tuple[float, bool, tuple[float, ...], Literal["alone", "series", "parallel"], float, float]


def _found(
    target: float, way: Literal["alone", "series", "parallel"], parts: tuple[float, ...], value: float
) -> _Found:
    # Rounded, so that pairs which are equal on paper stay equal and the order is the same on every machine.
    error = round((value / target - 1) * 100, 11) + 0.0
    return abs(error), way == "parallel", parts, way, value, error


def _singles(target: float, grid: Sequence[float], best: int) -> Iterator[_Found]:
    for value in _around(grid, target, best):
        yield _found(target, "alone", (value,), value)


def _pairs(target: float, grid: Sequence[float], joined: Wanted, kind: PartKind, best: int) -> Iterator[_Found]:
    ways: tuple[Joined, ...] = ("series", "parallel") if joined == "either" else (joined,)
    for way in ways:
        adds = _adds(way, kind)
        for one in grid:
            for other in _around(grid, _exact_partner(target, one, adds), best):
                parts = (min(one, other), max(one, other))
                yield _found(target, way, parts, _together(parts, adds))


def _around(grid: Sequence[float], wanted: float, best: int) -> Sequence[float]:
    place = bisect_left(grid, wanted)
    return grid[max(0, place - best) : place + best]


def _exact_partner(target: float, one: float, adds: bool) -> float:
    if adds:
        return target - one
    return inf if one <= target else 1 / (1 / target - 1 / one)


def _adds(joined: Joined, kind: PartKind) -> bool:
    return joined == ("series" if kind == "resistor" else "parallel")


def _together(values: Sequence[float], adds: bool) -> float:
    return sum(values) if adds else 1 / sum(1 / value for value in values)


def _check_search(count: int, joined: str, kind: str, tolerance_percent: float | None, best: int) -> None:
    if count not in (1, 2):
        raise PreferredValueError("Single values and pairs are searched, not sets of more.", count)
    if joined not in ("series", "parallel", "either"):
        raise PreferredValueError(f"Parts are joined in series or parallel, not “{joined}”.", joined)
    if kind not in _RANGES:
        raise PreferredValueError(f"Pairs of resistors or capacitors are searched, not of “{kind}”.", kind)
    if tolerance_percent is not None and not 0 <= tolerance_percent < 100:
        raise PreferredValueError("A tolerance lies from 0 to below 100 %.", tolerance_percent)
    if not 1 <= best <= 100:
        raise PreferredValueError("Between 1 and 100 combinations can be asked for.", best)
