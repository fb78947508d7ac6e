"""A scope's trace as a drawing: volts over time, its levels, and the fitted decay where there is one.

Pure functions, as in `pictures`: values in short units go in, a `Picture` comes out. They must know no record.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

from server.documents.drawing import (
    LEFT,
    LINE,
    RIGHT,
    Curve,
    Picture,
    PictureError,
    Scale,
    Stroke,
    Words,
    figure,
    marks,
    ruler,
    scale_for,
    with_unit,
)

TOP, FOOT = LINE + 8, 300.0
ROOM_BELOW = 0.07
A_LETTER = 11.0  # a figure's width, each of its letters, in the larger type of a telephone


class Trace(NamedTuple):
    """Samples of one curve: times and volts, in the picture's units."""

    time: Sequence[float]
    volts: Sequence[float]


class Band(NamedTuple):
    """Runs of samples: the times between them, one more than they are, and between which volts each goes."""

    time: Sequence[float]
    lowest: Sequence[float]
    highest: Sequence[float]

    @property
    def volts(self) -> Sequence[float]:
        return [*self.lowest, *self.highest]


class LevelLine(NamedTuple):
    """A level that the trace has, and its name; of two, the lower one's stands beneath its line."""

    name: str
    volts: float


def trace_view(
    key: str,
    units: tuple[str, str],
    trace: Trace | Band,
    levels: Sequence[LevelLine],
    fitted: Trace | None,
    told: Sequence[str],
) -> Picture:
    """Draw a trace, with a line at each level and the fitted decay dashed over it; `units` are of time and of volts.

    `told` are sentences with the figures that the picture shows, added to what it says of its two axes.
    A band is a column for each run, from its lowest to its highest sample. Raises `PictureError` for fewer than two
    samples, or no finite number.
    """
    _check(trace, 2 * len(trace.time) - 2 if isinstance(trace, Band) else len(trace.time))
    if fitted:
        _check(fitted, len(fitted.time))
    volts = [*trace.volts, *(fitted.volts if fitted else ()), *(level.volts for level in levels)]
    up = _height_for(volts)
    left = LEFT + A_LETTER * max(len(text) for _, text in marks(up))
    across = Scale(trace.time[0], trace.time[-1], left, RIGHT)
    axis, figures = ruler(across, FOOT, f"Time, {units[0]}")
    ticks, volt_figures = _upright(up, left, units[1])
    strokes, names = _level_lines(levels, up, left)
    curves = [_band(trace, across, up) if isinstance(trace, Band) else Curve("trace", _path(trace, across, up))]
    curves += [Curve("fitted", _path(fitted, across, up))] if fitted else []
    return Picture(
        key=key,
        title="Voltage over time" + (", with the fitted decay" if fitted else ""),
        description=" ".join([_told_axes(units, trace), *told]),
        height=FOOT + 2 * LINE + 8,
        strokes=(*axis, *ticks, *strokes),
        blocks=(),
        shapes=(),
        words=(*figures, *volt_figures, *names),
        curves=tuple(curves),
    )


def _height_for(volts: Sequence[float]) -> Scale:
    """A ruler from foot to top; below the lowest level there is room for its name."""
    low, high, *_ = scale_for(volts)
    return Scale(low - ROOM_BELOW * (high - low), high, FOOT, TOP)


def _check(curve: Trace | Band, volts: int) -> None:
    if len(curve.time) < 2 or len(curve.volts) != volts:
        raise PictureError("A trace needs two samples, each with its time and its voltage.")
    if not all(map(math.isfinite, (*curve.time, *curve.volts))) or curve.time[-1] <= curve.time[0]:
        raise PictureError("A trace is of finite numbers over a time that goes on.")


def _upright(up: Scale, left: float, unit: str) -> tuple[list[Stroke], list[Words]]:
    """The ruler of volts at the left of the trace, its figures beside it."""
    strokes = [Stroke("axis", left, TOP, left, FOOT)]
    words = [Words("name", LEFT, LINE - 6, "start", f"Voltage, {unit}")]
    for y, text in marks(up):
        strokes.append(Stroke("tick", left - 6, y, left, y))
        words.append(Words("tick", left - 9, y + 5, "end", text))
    return strokes, words


def _level_lines(levels: Sequence[LevelLine], up: Scale, left: float) -> tuple[list[Stroke], list[Words]]:
    strokes = [Stroke("level", left, up.at(level.volts), RIGHT, up.at(level.volts)) for level in levels]
    words = [
        Words("limit", RIGHT, up.at(level.volts) + (LINE - 5 if below else -6), "end", level.name)
        for below, level in enumerate(sorted(levels, key=lambda level: level.volts, reverse=True))
    ]
    return strokes, words


def _path(curve: Trace, across: Scale, up: Scale) -> str:
    points = [f"{across.at(time):.1f} {up.at(volts):.1f}" for time, volts in zip(curve.time, curve.volts, strict=True)]
    return f"M{'L'.join(points)}"


def _band(band: Band, across: Scale, up: Scale) -> Curve:
    """Along the tops of the columns, and back along their feet."""
    edges = [f"{across.at(time):.1f}" for time in band.time]
    tops, feet = ([f"{up.at(volts):.1f}" for volts in ends] for ends in (band.highest, band.lowest))
    there = "".join(f"V{y}H{x}" for y, x in zip(tops, edges[1:], strict=True))
    back = "".join(f"V{y}H{x}" for y, x in zip(reversed(feet), reversed(edges[:-1]), strict=True))
    return Curve("band", f"M{edges[0]} {tops[0]}{there}{back}Z")


def _told_axes(units: tuple[str, str], trace: Trace | Band) -> str:
    start, stop, low, high = (
        figure(float(f"{value:.4g}")) for value in (trace.time[0], trace.time[-1], min(trace.volts), max(trace.volts))
    )
    over = f"From {start} to {with_unit(stop, units[0])}"
    if low == high:
        return f"{over}, at {with_unit(high, units[1])} throughout."
    return f"{over}, between {low} and {with_unit(high, units[1])}."
