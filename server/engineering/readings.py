"""Repeated readings as numbers: what is accepted, and how finely they were read.

Readings come in as any sequence of real numbers and leave as a one-dimensional float array of `n` values in the
procedure's own unit (which this module never learns). Accepted: 1 to 1,000,000 finite numbers, each 0 or between
1e-60 and 1e60 in size, so that no sum, square or ratio of squares overflows or vanishes.

The resolution `q` is the smallest step that the instrument, or the eye, could tell apart. Rounding to it adds a
rectangular uncertainty of standard deviation q/sqrt(12) to every reading alike (JCGM 100:2008, F.2.2.1, from memory);
it is not reduced by repeating, since the same value is rounded the same way each time.

Raises `ReadingsError`, naming the reading or the argument at fault.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from server.engineering.errors import EngineeringError

MOST_READINGS = 1_000_000
LARGEST, SMALLEST = 1e60, 1e-60
RANGE = "between 1e-60 and 1e60 in size"
# A double holds 15 to 17 digits: readings that need as many were computed, not read off anything.
MOST_DIGITS_READ = 14

Readings = NDArray[np.float64]


class ReadingsError(EngineeringError):
    """Readings, or what is said about them, that no honest figure can be made of.

    `field` names the argument at fault and `place` the reading in it, counted from 1.
    """

    def __init__(self, sentence: str, *, field: str, place: int | None = None, text: str | None = None) -> None:
        super().__init__(sentence, field=field, text=text)
        self.place = place


@dataclass(frozen=True, slots=True)
class Resolution:
    """The step the readings were read to, in their unit; `given` says whether someone stated it.

    `believable` is false when it was inferred from readings with more digits than an instrument shows.
    """

    step: float
    given: bool
    believable: bool = True

    @property
    def variance(self) -> float:
        """Variance of the rounding, q²/12, in the square of the readings' unit."""
        return self.step**2 / 12

    @property
    def note(self) -> str | None:
        """What a reader should know about where the resolution came from."""
        if self.given:
            return None
        if self.believable:
            return (
                f"No resolution was given; the smallest decimal step of the readings, {self.step:g}, was taken for it."
            )
        return (
            "No resolution was given, and the readings carry more digits than an instrument shows, so what the "
            "rounding adds is not known. Give the resolution of the instrument."
        )


def checked(readings: Sequence[float] | Readings, field: str = "readings") -> Readings:
    """The readings as a float array of shape (n,), or `ReadingsError` naming the first that cannot be used.

    `field` is the argument they came in by and begins the message: readings, before or after.
    """
    values = _as_numbers(readings, field)
    if not values.size:
        raise ReadingsError(f"{field.capitalize()}: there are no readings; give at least one.", field=field)
    if values.size > MOST_READINGS:
        raise ReadingsError(
            f"{field.capitalize()}: {values.size:,} readings are too many; at most {MOST_READINGS:,} can be taken.",
            field=field,
        )
    _refuse_first(values, ~np.isfinite(values), field, "is not a finite number")
    sizes = np.abs(values)
    outside = (sizes > LARGEST) | ((sizes < SMALLEST) & (sizes > 0))
    _refuse_first(values, outside, field, f"is not {RANGE}")
    return values


def _as_numbers(readings: Sequence[float] | Readings, field: str) -> Readings:
    try:
        raw = np.asarray(readings)
    except ValueError:
        raw = np.empty((0, 0))  # lists of unequal length inside
    if raw.ndim != 1:
        raise ReadingsError(f"{field.capitalize()}: the readings must be one plain list of numbers.", field=field)
    if raw.size and raw.dtype.kind not in "iuf":
        raise _not_numbers(readings, field)
    return raw.astype(np.float64)


def _not_numbers(readings: Sequence[float] | Readings, field: str) -> ReadingsError:
    for place, value in enumerate(readings, start=1):
        if isinstance(value, bool | np.bool_) or not isinstance(value, int | float | np.integer | np.floating):
            sentence = f"{field.capitalize()}: reading {place}, “{str(value)[:40]}”, is not a number."
            return ReadingsError(sentence, field=field, place=place, text=str(value))
    return ReadingsError(f"{field.capitalize()}: a reading is too large a number.", field=field)


def _refuse_first(values: Readings, faulty: NDArray[np.bool_], field: str, fault: str) -> None:
    if faulty.any():
        place = int(np.argmax(faulty)) + 1
        reading = f"{values[place - 1]:g}"
        raise ReadingsError(
            f"{field.capitalize()}: reading {place}, {reading}, {fault}.", field=field, place=place, text=reading
        )


def resolution_of(values: Readings, given: float | None) -> Resolution:
    """The resolution to use: the one given (above 0, in the readings' unit), or the smallest decimal step seen.

    Whole numbers count as read to 1, even where all of them end in zeros.
    """
    if given is None:
        return _inferred(values)
    if isinstance(given, bool) or not math.isfinite(given) or not SMALLEST <= given <= LARGEST:
        raise ReadingsError(
            f"The resolution must be a step above 0, not {given!r}: no reading is exact.", field="resolution"
        )
    return Resolution(float(given), given=True)


def _inferred(values: Readings) -> Resolution:
    largest = float(np.max(np.abs(values)))
    most = MOST_DIGITS_READ - 1 - (math.floor(math.log10(largest)) if largest else 0)
    decimals = _decimals(values, most)
    return Resolution(10.0**-decimals, given=False, believable=decimals <= max(most, 0))


def _decimals(values: Readings, enough: int) -> int:
    """Decimal places that write every reading exactly; the search stops once past `enough`."""
    decimals, rest = 0, values
    while rest.size:
        decimals = max(decimals, -_last_place(float(rest[0])))
        if decimals > enough:
            break
        # Dividing the whole number by the power of ten gives back the very float that was typed.
        rest = rest[1:][np.round(rest[1:], decimals) != rest[1:]]
    return decimals


def _last_place(value: float) -> int:
    exponent = Decimal(repr(value)).normalize().as_tuple().exponent
    return exponent if isinstance(exponent, int) else 0
