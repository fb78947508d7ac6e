"""Figures of a solved circuit in the shape in which a sum's results are kept: a band becomes a line, held to its limit.

It knows bands and lines, and nothing of circuits.
"""

import math
from dataclasses import replace

from server.engineering import calculations as engine
from server.engineering import network as net
from server.engineering.quantities import Toleranced, convert

DRAWS = 200
LEAST_TOLD = 1e-9
ENDS = ("nominal", "low", "high", "least", "most")


def line_of(name: str, band: net.Band) -> engine.LineResult:
    """A band as a line of a sum. The mean is the middle of the interval, the uncertainty a quarter of it: bands keep
    no more of their draws."""
    nominal, low, high, least, most = (told(getattr(band, end)) for end in ENDS)
    return engine.LineResult(
        name=name,
        expression="",
        unit=band.unit,
        nominal=nominal,
        worst_low=least,
        worst_high=most,
        interval_low=low,
        interval_high=high,
        shares={},
        notes=(),
        histogram=engine.Histogram((least, most), (DRAWS,)),
        mean=(low + high) / 2,
        uncertainty=(high - low) / 4,
    )


def told(number: float) -> float:
    """What is smaller than the solution is good for is nothing."""
    return 0.0 if abs(number) < LEAST_TOLD else number


def named(line: engine.LineResult, label: str) -> engine.LineResult:
    return replace(line, label=label)


def without_sign(line: engine.LineResult) -> engine.LineResult:
    """What an element stands is the same either way."""
    worst = max(abs(line.worst_low), abs(line.worst_high))
    crossing = line.worst_low < 0 < line.worst_high
    least = 0.0 if crossing else min(abs(line.worst_low), abs(line.worst_high))
    return replace(line, nominal=abs(line.nominal), worst_low=least, worst_high=worst)


def held_against(limit: engine.Limit, unit: str) -> Toleranced:
    """What a limit allows, in the unit of the line that it holds."""
    if isinstance(limit.value, str):
        raise TypeError("a circuit's limits are amounts")
    return convert(limit.value, unit)


def plain_band(band: net.Band) -> list[float | None]:
    """Nominal, low, high, least, most; none for what has no end."""
    ends = (getattr(band, name) for name in ENDS)
    return [float(end) if math.isfinite(end) else None for end in ends]
