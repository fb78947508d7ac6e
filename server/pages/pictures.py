"""Numbers turned into drawings: a line's spread against its limits, readings before and after, a machine's years.

Pure functions: values in one unit go in, a `Picture` comes out, with a sentence that says the same. They must know
no record, no request and no template; the caller picks a unit in which the figures are short to read.
"""

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Literal, NamedTuple

from server.pages.drawing import (
    LEFT,
    LINE,
    NO_BREAK,
    RIGHT,
    WIDTH,
    Block,
    Picture,
    PictureError,
    Scale,
    Shape,
    Stroke,
    Words,
    figure,
    interval,
    listed,
    ruler,
    scale_for,
    shape,
    span,
    with_unit,
)
from server.pages.timeline import Event, years_view

__all__ = [
    "Bound",
    "Event",
    "Picture",
    "PictureError",
    "Readings",
    "Spread",
    "dot_view",
    "spread_view",
    "years_view",
]


class Spread(NamedTuple):
    """A line of a calculation in one case: its histogram, nominal value and 95 % interval, all in one unit."""

    case: str
    edges: Sequence[float]
    counts: Sequence[float]
    nominal: float
    low: float
    high: float

    @property
    def exact(self) -> bool:
        """Without a spread there are no bars: the histogram of one value has a width that means nothing."""
        return self.low == self.high


class Bound(NamedTuple):
    """A limit on a line: one value, or the two ends of `between`."""

    kind: Literal["at_least", "at_most", "between"]
    values: tuple[float, ...]


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


class _End(NamedTuple):
    """One end of a limit, and the side that it guards."""

    value: float
    side: Literal["least", "most"]

    def passed_by(self, value: float) -> bool:
        return value < self.value if self.side == "least" else value > self.value


# ---- The spread of a line against its limits ----

CASE_HEIGHT = 122.0
BAR_TOP, BAR_FOOT = 30.0, 88.0
FAR_OFF = 1.5  # A limit further off than this many spans would flatten the spread to a line: it is only named.


def spread_view(key: str, name: str, unit: str, spreads: Sequence[Spread], bounds: Sequence[Bound]) -> Picture:
    """Draw `name` in each case (stock, planned, fitted) over one ruler, the bars beyond a limit told apart.

    Each case is as tall as its own fullest bar. A limit too far away to draw is named at the side where it lies.

    Raises `PictureError` for no case, edges that do not rise, counts that do not match them, or no finite number.
    """
    if not spreads:
        raise PictureError(f"There is no result of {name} to draw yet.")
    for spread in spreads:
        _check_spread(spread)
    ends = [end for bound in bounds for end in _ends(bound)]
    scale = _spread_scale(spreads, ends)
    top = LINE * len(ends) + 4
    foot = top + CASE_HEIGHT * len(spreads)
    strokes, words = _limit_lines(ends, scale, unit, foot)
    blocks: list[Block] = []
    shapes: list[Shape] = []
    for row, spread in enumerate(spreads):
        y = top + row * CASE_HEIGHT
        blocks += _bars(spread, ends, scale, y + BAR_FOOT)
        strokes += [Stroke("axis", LEFT, y + BAR_FOOT, RIGHT, y + BAR_FOOT)]
        strokes += [] if spread.exact else interval(scale, spread.low, spread.high, y + BAR_FOOT + 16)
        shapes.append(shape("diamond", True, scale.at(spread.nominal), y + BAR_FOOT + 16))
        words += _heading(spread.case, span(spread.nominal, spread.low, spread.high, unit), y + 20)
    axis, figures = ruler(scale, foot, _measured(name, unit))
    return Picture(
        key=key,
        title=f"{name}: the spread of {listed([spread.case for spread in spreads])}",
        description=" ".join(_told_spread(spread, ends, unit) for spread in spreads),
        height=foot + 2 * LINE + 8,
        strokes=(*strokes, *axis),
        blocks=tuple(blocks),
        shapes=tuple(shapes),
        words=(*words, *figures),
    )


def _check_spread(spread: Spread) -> None:
    numbers = [*spread.edges, *spread.counts, spread.nominal, spread.low, spread.high]
    if not all(math.isfinite(number) for number in numbers):
        raise PictureError(f"The spread of “{spread.case}” holds something that is not a finite number.")
    if len(spread.edges) != len(spread.counts) + 1 or len(spread.counts) == 0:
        raise PictureError(f"The spread of “{spread.case}” needs one edge more than it has bars.")
    if any(right <= left for left, right in pairwise(spread.edges)):
        raise PictureError(f"The edges of “{spread.case}” must rise from bar to bar.")
    if min(spread.counts) < 0 or sum(spread.counts) <= 0:
        raise PictureError(f"The bars of “{spread.case}” must count something, and nothing below zero.")
    if spread.low > spread.high:
        raise PictureError(f"The interval of “{spread.case}” ends before it begins.")


def _ends(bound: Bound) -> list[_End]:
    if len(bound.values) != (2 if bound.kind == "between" else 1):
        raise PictureError("A limit has one value, and a window between two values has two.")
    if not all(math.isfinite(value) for value in bound.values):
        raise PictureError("A limit must be a finite number.")
    if bound.kind == "between":
        return [_End(min(bound.values), "least"), _End(max(bound.values), "most")]
    return [_End(bound.values[0], "least" if bound.kind == "at_least" else "most")]


def _spread_scale(spreads: Sequence[Spread], ends: Sequence[_End]) -> Scale:
    values = [value for spread in spreads for value in (spread.nominal, spread.low, spread.high)]
    values += [edge for spread in spreads if not spread.exact for edge in (spread.edges[0], spread.edges[-1])]
    room = FAR_OFF * (max(values) - min(values)) or max(map(abs, values))
    near = [end.value for end in ends if min(values) - room <= end.value <= max(values) + room]
    return scale_for([*values, *near])


def _limit_lines(ends: Sequence[_End], scale: Scale, unit: str, foot: float) -> tuple[list[Stroke], list[Words]]:
    strokes: list[Stroke] = []
    words: list[Words] = []
    for row, end in enumerate(ends):
        y = LINE * (row + 1) - 6
        text = f"at {end.side} {with_unit(figure(end.value), unit)}"
        if scale.holds(end.value):
            x = scale.at(end.value)
            strokes.append(Stroke("limit", x, y + 6, x, foot))
            words.append(Words("limit", x, y, _leaning(x), text))
        elif end.value > scale.high:
            words.append(Words("limit", RIGHT, y, "end", f"{text}, off to the right →"))
        else:
            words.append(Words("limit", LEFT, y, "start", f"← {text}, off to the left"))
    return strokes, words


def _leaning(x: float) -> Literal["start", "end"]:
    return "start" if x < WIDTH / 2 else "end"


def _pieces(spread: Spread, ends: Sequence[_End]) -> Iterator[tuple[float, float, float, bool]]:
    """Each bar cut where a limit crosses it: left, right, count per unit, beyond."""
    for (left, right), count in zip(pairwise(spread.edges), spread.counts, strict=True):
        cuts = sorted({left, right, *(end.value for end in ends if left < end.value < right)})
        for start, stop in pairwise(cuts):
            beyond = any(end.passed_by((start + stop) / 2) for end in ends)
            yield start, stop, count / (right - left), beyond


def _bars(spread: Spread, ends: Sequence[_End], scale: Scale, foot: float) -> Iterator[Block]:
    if spread.exact:
        return
    pieces = list(_pieces(spread, ends))
    fullest = max(density for _, _, density, _ in pieces)
    for left, right, density, beyond in pieces:
        if density > 0:
            x, height = scale.at(left), round(max(1.5, density / fullest * (BAR_FOOT - BAR_TOP)), 2)
            yield Block("beyond" if beyond else "within", x, foot - height, round(scale.at(right) - x, 2), height)


def _told_spread(spread: Spread, ends: Sequence[_End], unit: str) -> str:
    opening = f"{spread.case}: {span(spread.nominal, spread.low, spread.high, unit)}"
    if not ends:
        return f"{opening}."
    if spread.exact:
        beyond = any(end.passed_by(spread.nominal) for end in ends)
        return f"{opening}, {'beyond' if beyond else 'within'} the limit."
    mass = [((right - left) * density, beyond) for left, right, density, beyond in _pieces(spread, ends)]
    share = math.fsum(part for part, beyond in mass if beyond) / math.fsum(part for part, _ in mass)
    return f"{opening}; {_told_share(share)} beyond the limit."


def _told_share(share: float) -> str:
    """A histogram gives a share only roughly, and a few draws out of many are not none."""
    if share == 0:
        return "none of the draws lies"
    if share < 0.01:
        return f"fewer than 1{NO_BREAK}% of the draws lie"
    if share > 0.99:
        return "all or nearly all of the draws lie"
    return f"about {round(100 * share)}{NO_BREAK}% of the draws lie"


# ---- Readings before and after ----

DOT = 11.0
TALLEST_PILE = 66.0
ONE_LINE = 38  # letters that a name and its figures may have together before they need a line each


def dot_view(key: str, name: str, unit: str, rows: Sequence[Readings]) -> Picture:
    """Draw every reading of each trial as a dot, with the mean and its 95 % interval beneath.

    The first row (before) has open dots, the later ones filled dots. Readings that would overlap are piled.

    Raises `PictureError` for no row, a row without readings, or no finite number.
    """
    if not rows:
        raise PictureError(f"There is no trial of {name} to draw yet.")
    for row in rows:
        _check_readings(row)
    scale = scale_for([value for row in rows for value in row.numbers])
    strokes: list[Stroke] = []
    shapes: list[Shape] = []
    words: list[Words] = []
    y = 0.0
    for number, row in enumerate(rows):
        heading = _heading(row.label, _mean_words(row, unit), y + 20)
        piles = _piles([scale.at(reading) for reading in row.readings])
        tallest = max(level for _, level in piles)
        rise = min(DOT, TALLEST_PILE / max(tallest, 1))
        floor = heading[-1].y + 20 + tallest * rise
        words += heading
        shapes += [shape("circle", number > 0, x, floor - level * rise) for x, level in piles]
        if row.low is not None and row.high is not None:
            strokes += interval(scale, row.low, row.high, floor + 19)
        shapes.append(shape("diamond", True, scale.at(row.mean), floor + 19))
        y = floor + 42
    axis, figures = ruler(scale, y, _measured(name, unit))
    return Picture(
        key=key,
        title=f"{name}: readings of {listed([row.label for row in rows])}",
        description=" ".join(f"{row.label}: {_counted(row)}, {_mean_words(row, unit)}." for row in rows),
        height=round(y + 2 * LINE + 8, 2),
        strokes=(*strokes, *axis),
        blocks=(),
        shapes=tuple(shapes),
        words=(*words, *figures),
    )


def _check_readings(row: Readings) -> None:
    if len(row.readings) == 0:
        raise PictureError(f"“{row.label}” has no readings to draw.")
    if not all(math.isfinite(value) for value in row.numbers):
        raise PictureError(f"“{row.label}” holds something that is not a finite number.")


def _piles(places: Sequence[float]) -> list[tuple[float, int]]:
    """Dots that would overlap climb on each other: (x, how many lie beneath)."""
    piled: list[tuple[float, int]] = []
    for x in sorted(places):
        taken = {level for other, level in piled if x - other < DOT}
        piled.append((x, next(level for level in range(len(places)) if level not in taken)))
    return piled


def _counted(row: Readings) -> str:
    return "1 reading" if len(row.readings) == 1 else f"{len(row.readings)} readings"


def _mean_words(row: Readings, unit: str) -> str:
    if row.words:
        return row.words
    if row.low is None or row.high is None:
        alone = with_unit(figure(row.mean), unit)
        return alone if len(row.readings) == 1 else f"mean {alone}"
    return f"mean {span(row.mean, row.low, row.high, unit)}"


# ---- Shared ----


def _heading(name: str, figures: str, y: float) -> list[Words]:
    """The name and the figures on one line, or on two where they would meet."""
    if len(name) + len(figures) <= ONE_LINE:
        return [Words("name", LEFT, y, "start", name), Words("figure", RIGHT, y, "end", figures)]
    return [Words("name", LEFT, y, "start", name), Words("figure", LEFT, y + LINE, "start", figures)]


def _measured(name: str, unit: str) -> str:
    return f"{name}, {unit}" if unit else name
