"""Numbers turned into drawings: a line's spread against its limits, and a machine's years.

Pure functions: values in one unit go in, a `Picture` comes out, with a sentence that says the same. They must know
no record, no request and no template; the caller picks a unit in which the figures are short to read.
"""

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Literal, NamedTuple

from server.documents.drawing import (
    LEFT,
    LINE,
    NO_BREAK,
    RIGHT,
    Block,
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
from server.pages.timeline import Event, years_view

__all__ = [
    "Bound",
    "Event",
    "Picture",
    "PictureError",
    "Spread",
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


class _End(NamedTuple):
    """One end of a limit, and the side that it guards."""

    value: float
    side: Literal["least", "most"]

    def passed_by(self, value: float) -> bool:
        return value < self.value if self.side == "least" else value > self.value


# ---- The spread of a line against its limits ----

CASE_HEIGHT = 122.0
BAR_TOP, BAR_FOOT = 30.0, 88.0


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
        words += heading(spread.case, span(spread.nominal, spread.low, spread.high, unit), y + 20)
    axis, figures = ruler(scale, foot, measured(name, unit))
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
    return scale_for([*values, *near(values, [end.value for end in ends])])


def _limit_lines(ends: Sequence[_End], scale: Scale, unit: str, foot: float) -> tuple[list[Stroke], list[Words]]:
    strokes: list[Stroke] = []
    words: list[Words] = []
    for row, end in enumerate(ends):
        text = f"at {end.side} {with_unit(figure(end.value), unit)}"
        line, name = limit_line(scale, end.value, text, LINE * (row + 1) - 6, foot)
        strokes += line
        words.append(name)
    return strokes, words


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
