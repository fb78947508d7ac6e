"""The preferred numbers of resistors and capacitors, as the standard prints them.

    value = digits * 10**n        digits from one decade: two figures in E3 to E24, three in E48 to E192

The tables are the standard's own and not the rounded powers of the n-th root of ten: E24 and the series inside it
differ from the formula in eight places and E192 in one (920). E3, E6 and E12 are every second value of the next;
E48 and E96 are so of E192. Plain numbers in whatever unit the caller means.
Raises `PreferredValueError`. Source: IEC 60063:2015; tests/outside/test_preferred_values.py holds the full tables.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from functools import lru_cache
from math import isfinite, log10

from server.engineering.errors import EngineeringError

# fmt: off
_E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)
_E192 = (
    100, 101, 102, 104, 105, 106, 107, 109, 110, 111, 113, 114, 115, 117, 118, 120,
    121, 123, 124, 126, 127, 129, 130, 132, 133, 135, 137, 138, 140, 142, 143, 145,
    147, 149, 150, 152, 154, 156, 158, 160, 162, 164, 165, 167, 169, 172, 174, 176,
    178, 180, 182, 184, 187, 189, 191, 193, 196, 198, 200, 203, 205, 208, 210, 213,
    215, 218, 221, 223, 226, 229, 232, 234, 237, 240, 243, 246, 249, 252, 255, 258,
    261, 264, 267, 271, 274, 277, 280, 284, 287, 291, 294, 298, 301, 305, 309, 312,
    316, 320, 324, 328, 332, 336, 340, 344, 348, 352, 357, 361, 365, 370, 374, 379,
    383, 388, 392, 397, 402, 407, 412, 417, 422, 427, 432, 437, 442, 448, 453, 459,
    464, 470, 475, 481, 487, 493, 499, 505, 511, 517, 523, 530, 536, 542, 549, 556,
    562, 569, 576, 583, 590, 597, 604, 612, 619, 626, 634, 642, 649, 657, 665, 673,
    681, 690, 698, 706, 715, 723, 732, 741, 750, 759, 768, 777, 787, 796, 806, 816,
    825, 835, 845, 856, 866, 876, 887, 898, 909, 920, 931, 942, 953, 965, 976, 988,
)
# fmt: on
_TABLES: dict[str, tuple[int, ...]] = {
    "E3": _E24[::8],
    "E6": _E24[::4],
    "E12": _E24[::2],
    "E24": _E24,
    "E48": _E192[::4],
    "E96": _E192[::2],
    "E192": _E192,
}
# The standard ties no single tolerance to E3: its parts are looser than 20 %, often lopsided.
_USUAL_TOLERANCE: dict[str, float | None] = {
    "E3": None,
    "E6": 20.0,
    "E12": 10.0,
    "E24": 5.0,
    "E48": 2.0,
    "E96": 1.0,
    "E192": 0.5,
}
SERIES_NAMES: tuple[str, ...] = tuple(_TABLES)


class PreferredValueError(EngineeringError):
    """A series, a target or a joining that cannot be worked with; carries the value at fault as `value`."""

    def __init__(self, sentence: str, value: object, *, field: str | None = None) -> None:
        super().__init__(sentence, field=field)
        self.value = value


def series(name: str) -> tuple[int, ...]:
    """The significant figures of one decade, rising: `series("E6")` is (10, 15, 22, 33, 47, 68).

    In: a name from E3, E6, E12, E24, E48, E96, E192 (either case). Out: whole numbers without a unit, 10 to 99 up to
    E24 and 100 to 999 above. Raises `PreferredValueError` for another name. Source: IEC 60063:2015.
    """
    return _TABLES[_known(name)]


def usual_tolerance(name: str) -> float | None:
    """The tolerance in percent that parts of a series usually have; None for E3, which has no single one.

    Raises `PreferredValueError` for an unknown name. Source: IEC 60063:2015 (E6 to E192: 20, 10, 5, 2, 1, 0.5 %).
    """
    return _USUAL_TOLERANCE[_known(name)]


def is_preferred(value: float, name: str) -> bool:
    """Whether a value (any unit, above zero, to nine figures) stands in a series.

    Raises `PreferredValueError` for an unknown name or a value that is not a positive number.
    """
    check_positive(value)
    table = series(name)
    scaled = round(float(f"{value:.8e}".split("e")[0]) * table[0], 6)
    return scaled in table


@lru_cache(maxsize=64)
def values_between(name: str, low: float, high: float) -> tuple[float, ...]:
    """Every value of a series from `low` to `high`, both included, rising, in the unit of the two bounds.

    Raises `PreferredValueError` for an unknown name, or bounds that are not positive numbers in order.
    """
    check_positive(low)
    check_positive(high)
    if low > high:
        raise PreferredValueError(f"The range from {low:g} to {high:g} is the wrong way round.", (low, high))
    table = series(name)
    shift = len(str(table[0])) - 1
    decades = range(int(log10(low)) - 1 - shift, int(log10(high)) + 2 - shift)
    rising = [float(f"{figures}e{decade}") for decade in decades for figures in table]
    return tuple(rising[bisect_left(rising, low) : bisect_right(rising, high)])


def check_positive(value: float) -> None:
    """Refuse what has no nearest value: zero, negative, not a number, or outside 1e-30 to 1e30."""
    if not isfinite(value) or not 1e-30 <= value <= 1e30:
        raise PreferredValueError(
            f"A preferred value can be found for a positive number only, and {value:g} is not one.", value
        )


def _known(name: str) -> str:
    known = name.strip().upper()
    if known not in _TABLES:
        raise PreferredValueError(f"There is no series “{name}”: choose {_listed(SERIES_NAMES)}.", name)
    return known


def _listed(names: Sequence[str]) -> str:
    return f"{', '.join(names[:-1])} or {names[-1]}"
