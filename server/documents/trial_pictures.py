"""The readings of trials as a drawing: each one a mark, each trial's mean with its 95 % interval, before above after.

Numbers in one unit go in, a `Picture` comes out, the same for a page and for paper. It knows trials and procedures that
were read already, and no request. Before has open dots and after filled ones, so that black and white is enough.
"""

import math
from collections.abc import Sequence
from typing import Literal, NamedTuple

from server.documents.drawing import (
    LEFT,
    LINE,
    RIGHT,
    Picture,
    PictureError,
    Scale,
    Shape,
    Stroke,
    Words,
    figure,
    heading,
    interval,
    limit_line,
    listed,
    measured,
    near,
    ruler,
    scale_for,
    shape,
    span,
    with_unit,
)
from server.engineering.trials import Summary
from server.engineering.yes_no import Share
from server.records.questions.trials import better_words, in_print, yes_or_no
from server.records.tables import Procedure, Trial
from server.records.words import Better

DOT = 11.0
TALLEST_PILE = 66.0
DOTS_DRAWN = 300
PERCENT = 100.0


class Readings(NamedTuple):
    """One trial: its readings, their mean, and the 95 % interval of the mean where there is one.

    `words` are the mean and its interval as the page tells them, where it does.
    """

    label: str
    readings: Sequence[float]
    mean: float
    low: float | None
    high: float | None
    words: str = ""

    @property
    def numbers(self) -> list[float]:
        return [*self.readings, self.mean, *(end for end in (self.low, self.high) if end is not None)]


class Aim(NamedTuple):
    """Which way along the ruler is better, in words too, or how near to what `target`."""

    words: str
    way: Literal["left", "right", "target"]
    target: float | None = None


def dot_view(key: str, name: str, unit: str, rows: Sequence[Readings], aim: Aim | None = None) -> Picture:
    """Draw every reading of each trial as a dot, with the mean and its 95 % interval beneath.

    The first row (before) has open dots, the later ones filled dots. Readings that would overlap are piled. A target is
    a dashed line; otherwise an arrow beneath the ruler says which way is better.

    Raises `PictureError` for no row, a row without readings, or no finite number.
    """
    if not rows:
        raise PictureError(f"There is no trial of {name} to draw yet.")
    for row in rows:
        _check_readings(row)
    scale = _scale(rows, aim)
    strokes: list[Stroke] = []
    shapes: list[Shape] = []
    words: list[Words] = []
    y = LINE if aim and aim.target is not None else 0.0
    for number, row in enumerate(rows):
        marks, lines, told, y = _row(row, unit, scale, y, filled=number > 0)
        shapes += marks
        strokes += lines
        words += told
    axis, figures = ruler(scale, y, measured(name, unit))
    lines, told = _aimed(aim, scale, unit, y) if aim else ([], [])
    return Picture(
        key=key,
        title=f"{name}: readings of {listed([row.label for row in rows])}",
        description=" ".join([f"{row.label}: {_counted(row)}, {_mean_words(row, unit)}." for row in rows] + _said(aim)),
        height=round(y + 2 * LINE + 8 + (LINE if aim and aim.target is None else 0), 2),
        strokes=(*lines, *strokes, *axis),
        blocks=(),
        shapes=tuple(shapes),
        words=(*words, *figures, *told),
    )


def _check_readings(row: Readings) -> None:
    if len(row.readings) == 0:
        raise PictureError(f"“{row.label}” has no readings to draw.")
    if not all(math.isfinite(value) for value in row.numbers):
        raise PictureError(f"“{row.label}” holds something that is not a finite number.")


def _scale(rows: Sequence[Readings], aim: Aim | None) -> Scale:
    values = [value for row in rows for value in row.numbers]
    return scale_for([*values, *near(values, [aim.target] if aim and aim.target is not None else [])])


def _row(
    row: Readings, unit: str, scale: Scale, y: float, *, filled: bool
) -> tuple[list[Shape], list[Stroke], list[Words], float]:
    """One trial from `y` down: its marks, lines and words, and where the next begins."""
    words = heading(row.label, _mean_words(row, unit), y + 20)
    piles = _piles([scale.at(reading) for reading in row.readings])
    tallest = max(level for _, level in piles)
    rise = min(DOT, TALLEST_PILE / max(tallest, 1))
    floor = words[-1].y + 20 + tallest * rise
    shapes = [shape("circle", filled, x, floor - level * rise) for x, level in piles]
    strokes = interval(scale, row.low, row.high, floor + 19) if row.low is not None and row.high is not None else []
    shapes.append(shape("diamond", True, scale.at(row.mean), floor + 19))
    return shapes, strokes, words, floor + 42


def _piles(places: Sequence[float]) -> list[tuple[float, int]]:
    """Dots that would overlap climb on each other: (x, how many lie beneath)."""
    piled: list[tuple[float, int]] = []
    for x in sorted(places):
        taken = {level for other, level in piled if x - other < DOT}
        piled.append((x, next(level for level in range(len(places)) if level not in taken)))
    return piled


def _aimed(aim: Aim, scale: Scale, unit: str, foot: float) -> tuple[list[Stroke], list[Words]]:
    """The target as a line, or an arrow to the better side on a line of its own under the ruler's name."""
    if aim.target is not None:
        strokes, name = limit_line(scale, aim.target, f"target {with_unit(figure(aim.target), unit)}", LINE - 6, foot)
        return strokes, [name]
    if aim.way == "left":
        return [], [Words("figure", LEFT, foot + 3 * LINE, "start", f"← {aim.words}")]
    return [], [Words("figure", RIGHT, foot + 3 * LINE, "end", f"{aim.words} →")]


def _said(aim: Aim | None) -> list[str]:
    return [f"{aim.words[:1].upper()}{aim.words[1:]}."] if aim else []


def _counted(row: Readings) -> str:
    return "1 reading" if len(row.readings) == 1 else f"{len(row.readings)} readings"


def _mean_words(row: Readings, unit: str) -> str:
    if row.words:
        return row.words
    if row.low is None or row.high is None:
        alone = with_unit(figure(row.mean), unit)
        return alone if len(row.readings) == 1 else f"mean {alone}"
    return f"mean {span(row.mean, row.low, row.high, unit)}"


# ---- Trials of a procedure ----

Row = tuple[str, Trial, Summary | Share]


def trials_picture(key: str, procedure: Procedure, rows: Sequence[Row]) -> Picture:
    """Trials of one procedure, each with its label and what its readings come to.

    Observations stand at no and at yes, as shares of 0 and 100 %; a lone reading has no interval.
    """
    name, unit = procedure.title, procedure.unit
    if yes_or_no(procedure):
        name, unit = f"{name}, how often yes", "%"
    return dot_view(key, name, unit, [_readings(*row, unit) for row in rows], _aim(procedure))


def undrawn(*trials: Trial) -> str:
    """What the picture leaves out; empty when it shows every reading."""
    if all(len(trial.readings) <= DOTS_DRAWN for trial in trials):
        return ""
    return f"Of more than {DOTS_DRAWN} readings, {DOTS_DRAWN} are drawn, evenly by size. The figures are of all."


def _aim(procedure: Procedure) -> Aim | None:
    words = better_words(procedure).removeprefix("an observation, and ")
    match procedure.better:
        case Better.LOWER | Better.NO:
            return Aim(words, "left")
        case Better.HIGHER | Better.YES:
            return Aim(words, "right")
    return Aim(words, "target", procedure.target) if procedure.target is not None else None


def _readings(label: str, trial: Trial, said: Summary | Share, unit: str) -> Readings:
    named = _named(label, trial)
    if isinstance(said, Share):
        mean, low, high = (PERCENT * share for share in (said.share, said.low, said.high))
        seen = [PERCENT if reading else 0.0 for reading in trial.readings]
        return Readings(named, _drawn(seen), mean, low, high, _share_words(said))
    if said.count == 1:
        return Readings(named, trial.readings, said.mean, None, None)
    low, high = said.interval_low, said.interval_high
    return Readings(named, _drawn(trial.readings), said.mean, low, high, _mean_at(said, unit))


def _share_words(share: Share) -> str:
    mean, low, high = (f"{PERCENT * part:.0f}" for part in (share.share, share.low, share.high))
    return f"yes {share.yes:,} of {share.total:,} times, {with_unit(f'{mean} ({low} to {high})', '%')}"


def _mean_at(summary: Summary, unit: str) -> str:
    """The mean with its interval, in the very digits of the text beside the picture."""
    u = summary.standard_uncertainty
    mean, low, high = (in_print(end, u) for end in (summary.mean, summary.interval_low, summary.interval_high))
    return f"mean {with_unit(f'{mean} ({low} to {high})', unit)}"


def _named(label: str, trial: Trial) -> str:
    """The label, which owns up to it where the picture does not hold every reading."""
    count = len(trial.readings)
    return label if count <= DOTS_DRAWN else f"{label} ({DOTS_DRAWN} of {count:,} drawn)"


def _drawn(readings: Sequence[float]) -> list[float]:
    """All readings, or so many of them, evenly by size with the least and the most, that a picture can hold."""
    if len(readings) <= DOTS_DRAWN:
        return list(readings)
    ordered, last = sorted(readings), len(readings) - 1
    return [ordered[round(place * last / (DOTS_DRAWN - 1))] for place in range(DOTS_DRAWN)]
