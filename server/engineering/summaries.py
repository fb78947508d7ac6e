"""One run of repeated readings in figures: where they lie, how they scatter, how far their mean can be trusted.

    mean m, sample standard deviation s, standard uncertainty u = sqrt(s²/n + q²/12)

all in the readings' unit, for n readings of resolution q. The 95 % interval of the mean is m -/+ the half-width that
`student.py` gives for s²/n, n-1 and q²/12: never narrower for the rounding that it includes. A lone reading tells
nothing of the scatter: its interval is what the resolution allows, -/+ q/2, and a note says so.

Outliers are readings beyond the fences of a box plot, 1.5 interquartile ranges outside the quartiles, and more than one
resolution step outside them. About one honest reading in 140 lies there; they are shown and counted, never dropped.

JCGM 100:2008, 4.2 and F.2.2.1; J. W. Tukey, Exploratory Data Analysis (1977), ch. 2; both from memory.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.engineering.drift import Drift, mann_kendall
from server.engineering.ratios import Mean
from server.engineering.readings import Readings, Resolution, checked, resolution_of
from server.engineering.student import half_width_squared

DRIFT_LEVEL = 0.05
FENCE = 1.5


@dataclass(frozen=True, slots=True)
class Summary:
    """Figures of one run of readings, in the readings' unit.

    `spread` is the sample standard deviation, None for a lone reading. `interval_low` to `interval_high` holds the
    mean at 95 %. `drift` is None unless the readings drift noticeably over their order. `outliers` are places in the
    readings, counted from 0.
    """

    count: int
    mean: float
    spread: float | None
    standard_uncertainty: float
    interval_low: float
    interval_high: float
    median: float
    minimum: float
    maximum: float
    resolution: float
    drift: Drift | None
    outliers: tuple[int, ...]
    notes: tuple[str, ...]


def summarise(readings: Sequence[float] | Readings, resolution: float | None = None) -> Summary:
    """The figures of 1 to 1,000,000 readings in the order taken, and notes on what a reader should know.

    `resolution` is the step they were read to, in their unit, above 0; without it the smallest decimal step of the
    readings is used, and a note says so. Raises `ReadingsError` for readings that are not finite numbers.
    """
    values = checked(readings)
    return summary_of(values, resolution_of(values, resolution))


def summary_of(values: Readings, resolution: Resolution) -> Summary:
    """The figures of checked readings of a known resolution."""
    mean = mean_of(values, resolution)
    half = _half_interval(mean, resolution)
    drift = mann_kendall(values)
    noticed = drift if drift and drift.p < DRIFT_LEVEL else None
    outliers = _outliers(values, resolution)
    return Summary(
        count=values.size,
        mean=mean.value,
        spread=math.sqrt(mean.scatter * values.size) if values.size > 1 else None,
        standard_uncertainty=math.sqrt(mean.variance),
        interval_low=mean.value - half,
        interval_high=mean.value + half,
        median=float(np.median(values)),
        minimum=float(values.min()),
        maximum=float(values.max()),
        resolution=resolution.step,
        drift=noticed,
        outliers=outliers,
        notes=tuple(_notes(values, resolution, noticed, outliers)),
    )


def mean_of(values: Readings, resolution: Resolution, grain: float = 0.0) -> Mean:
    """The mean of checked readings with its two variances; a lone reading has no scatter and no freedom.

    Readings no further apart than `grain` count as alike, so that noise in the last bits never passes for scatter.
    """
    freedom = values.size - 1
    if values.max() - values.min() <= grain:
        return Mean(float(values[0]), 0.0, freedom, resolution.variance)
    return Mean(float(np.mean(values)), float(np.var(values, ddof=1)) / values.size, freedom, resolution.variance)


def _half_interval(mean: Mean, resolution: Resolution) -> float:
    """Half the width of the 95 % interval of one mean."""
    if not mean.freedom:
        return resolution.step / 2
    square = half_width_squared(np.array([mean.scatter]), np.array([mean.freedom]), np.array([mean.rounding]))
    return math.sqrt(square[0])


def _outliers(values: Readings, resolution: Resolution) -> tuple[int, ...]:
    low, high = np.quantile(values, [0.25, 0.75])
    reach = max(FENCE * (high - low), resolution.step)
    return tuple(np.flatnonzero((values < low - reach) | (values > high + reach)).tolist())


def _notes(values: Readings, resolution: Resolution, drift: Drift | None, outliers: tuple[int, ...]) -> list[str]:
    notes = [resolution.note] if resolution.note else []
    if values.size == 1:
        notes.append(
            "One reading tells nothing of how much readings scatter; the interval is only what its resolution allows."
        )
    elif values.min() == values.max():
        notes.append("All readings are alike; what is uncertain in them is the resolution they were read to.")
    if drift:
        notes.append(
            f"The readings drift: they are {drift.direction} over the order in which they were taken "
            f"(Mann-Kendall, p = {drift.p:.2g}), so the mean depends on when one starts and stops."
        )
    if outliers:
        share = "1 reading lies" if len(outliers) == 1 else f"{len(outliers):,} readings lie"
        notes.append(f"{share} far from the rest; shown and counted, not dropped.")
    return notes
