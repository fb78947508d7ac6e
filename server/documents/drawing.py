"""The few things a drawing is made of, and the ruler they stand on.

A `Picture` is strokes, blocks, shapes and words already placed; `templates/_pictures.html` writes it down as SVG.
Lengths are in the picture's own units, 480 of them across, so that text stays readable on a telephone.
This module must know nothing of what is drawn.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

WIDTH = 480.0
LEFT, RIGHT = 12.0, 468.0
LINE = 24.0
FAR_OFF = 1.5  # A limit further off than this many spans would flatten the rest to a line: it is only named.
ONE_LINE = 38  # letters that a name and its figures may have together before they need a line each
LETTERS_MOST = 50  # letters of a line, which ends in an ellipsis before it leaves the picture
NO_BREAK = "\N{NO-BREAK SPACE}"


class PictureError(ValueError):
    """Nothing honest can be drawn from what was given; the sentence says why."""


class Stroke(NamedTuple):
    """A straight line."""

    kind: Literal["axis", "tick", "limit", "interval", "stem", "fold", "level"]
    x1: float
    y1: float
    x2: float
    y2: float


class Curve(NamedTuple):
    """What was seen, as a line or as a band between extremes, or what was reckoned; `path` is SVG path data."""

    kind: Literal["trace", "band", "fitted"]
    path: str


class Block(NamedTuple):
    """An upright bar, `within` its limits or `beyond` them."""

    kind: Literal["within", "beyond"]
    x: float
    y: float
    width: float
    height: float


class Shape(NamedTuple):
    """A small mark with its middle at (x, y); `path` is SVG path data."""

    kind: Literal["open", "filled"]
    x: float
    y: float
    path: str


class Words(NamedTuple):
    """Text with its baseline at (x, y)."""

    kind: Literal["name", "figure", "tick", "limit", "number"]
    x: float
    y: float
    anchor: Literal["start", "middle", "end"]
    text: str


class Key(NamedTuple):
    """One line of the list under a picture: what a numbered shape stands for."""

    number: int
    shape: Shape
    day: str
    text: str


@dataclass(frozen=True, slots=True)
class Picture:
    """All that a macro needs; `key` begins every id in the drawing, so give each picture of a page its own."""

    key: str
    title: str
    description: str
    height: float
    strokes: tuple[Stroke, ...]
    blocks: tuple[Block, ...]
    shapes: tuple[Shape, ...]
    words: tuple[Words, ...]
    keys: tuple[Key, ...] = ()
    curves: tuple[Curve, ...] = ()
    width: float = WIDTH


class Scale(NamedTuple):
    """A straight ruler from values to places across the picture, or, from its foot to its top, up it."""

    low: float
    high: float
    first: float = LEFT
    last: float = RIGHT

    def at(self, value: float) -> float:
        share = (value - self.low) / (self.high - self.low)
        return round(self.first + share * (self.last - self.first), 2)

    def holds(self, value: float) -> bool:
        return self.low <= value <= self.high


def scale_for(values: Sequence[float]) -> Scale:
    """A ruler a little longer than its values; one value alone stands in the middle."""
    low, high = min(values), max(values)
    room = 0.06 * (high - low)
    if low + room == low or high - room == high:  # nothing between them, or less than a float can tell apart
        room = 0.1 * abs(low) or 1.0
    return Scale(low - room, high + room)


def ruler(scale: Scale, y: float, title: str) -> tuple[list[Stroke], list[Words]]:
    """The ruler's line at `y`, its ticks and figures below, and what it measures."""
    strokes = [Stroke("axis", scale.first, y, scale.last, y)]
    words = [Words("name", WIDTH / 2, y + 2 * LINE, "middle", in_a_line(title))]
    for x, text in marks(scale):
        strokes.append(Stroke("tick", x, y, x, y + 6))
        words.append(Words("tick", x, y + LINE, anchor_at(x), text))
    return strokes, words


def marks(scale: Scale) -> list[tuple[float, str]]:
    """Where a ruler's ticks are, and their figures."""
    step = _round_step((scale.high - scale.low) / 4)
    decimals = max(0, -math.floor(math.log10(step)))
    numbers = range(math.ceil(scale.low / step), math.floor(scale.high / step) + 1)
    return [(scale.at(number * step), figure(number * step, decimals)) for number in numbers]


def _round_step(wanted: float) -> float:
    """The nearest of 1, 2, 5 times a power of ten that is not below what is wanted."""
    power: float = 10.0 ** math.floor(math.log10(wanted))
    return next(factor * power for factor in (1, 2, 5, 10) if factor * power >= wanted * (1 - 1e-9))


def near(values: Sequence[float], limits: Sequence[float]) -> list[float]:
    """Those of the limits that can stand on one ruler with the values."""
    room = FAR_OFF * (max(values) - min(values)) or max(map(abs, values))
    return [limit for limit in limits if min(values) - room <= limit <= max(values) + room]


def limit_line(scale: Scale, value: float, text: str, y: float, foot: float) -> tuple[list[Stroke], Words]:
    """A limit as a line down to `foot` under its name, or, where the ruler ends before it, named at that side."""
    if scale.holds(value):
        x = scale.at(value)
        anchor: Literal["start", "end"] = "start" if x < WIDTH / 2 else "end"
        return [Stroke("limit", x, y + 6, x, foot)], Words("limit", x, y, anchor, in_a_line(text))
    if value > scale.high:
        return [], Words("limit", RIGHT, y, "end", f"{in_a_line(text)}, off to the right →")
    return [], Words("limit", LEFT, y, "start", f"← {in_a_line(text)}, off to the left")


def interval(scale: Scale, low: float, high: float, y: float) -> list[Stroke]:
    """A bar from `low` to `high` with a stop at either end."""
    left, right = scale.at(low), scale.at(high)
    stops = [Stroke("interval", x, y - 6, x, y + 6) for x in (left, right)]
    return [Stroke("interval", left, y, right, y), *stops]


def figure(value: float, decimals: int | None = None) -> str:
    """A number as print shows it, with a true minus sign; without decimals, as many as it needs up to six digits."""
    text = f"{value:.6g}" if decimals is None else f"{value:.{decimals}f}"
    return ("0" if float(text) == 0 and decimals is None else text).replace("-", "−")


def with_unit(text: str, unit: str) -> str:
    """A figure and its unit, never parted by the end of a line; a bare number where there is no unit."""
    return f"{text}{NO_BREAK}{unit}" if unit else text


def span(middle: float, low: float, high: float, unit: str) -> str:
    """`4.90 (4.21 to 5.60) mA`: the figures are as fine as two digits of half the interval."""
    if low == high:
        return with_unit(figure(middle), unit)
    fine = max(0, 1 - math.floor(math.log10((high - low) / 2)))
    return with_unit(f"{figure(middle, fine)} ({figure(low, fine)} to {figure(high, fine)})", unit)


def heading(name: str, figures: str, y: float) -> list[Words]:
    """The name and the figures on one line, or on two where they would meet."""
    if len(name) + len(figures) <= ONE_LINE:
        return [Words("name", LEFT, y, "start", name), Words("figure", RIGHT, y, "end", figures)]
    return [
        Words("name", LEFT, y, "start", in_a_line(name)),
        Words("figure", LEFT, y + LINE, "start", in_a_line(figures)),
    ]


def measured(name: str, unit: str) -> str:
    """What a ruler measures."""
    return f"{name}, {unit}" if unit else name


def in_a_line(text: str) -> str:
    """So much of it as the picture is wide; what is drawn is told whole beside it."""
    return text if len(text) <= LETTERS_MOST else f"{text[: LETTERS_MOST - 1].rstrip()}…"


def anchor_at(x: float) -> Literal["start", "middle", "end"]:
    """Words near a side lean inwards, so that none is cut off."""
    if x < 30:
        return "start"
    return "end" if x > WIDTH - 30 else "middle"


OUTLINES = {
    "circle": "M-5 0a5 5 0 1 0 10 0a5 5 0 1 0 -10 0z",
    "square": "M-5.5 -5.5h11v11h-11z",
    "diamond": "M0 -7L7 0L0 7L-7 0z",
    "up": "M0 -7L7 6H-7z",
    "down": "M0 7L7 -6H-7z",
    "cross": "M-5.5 -5.5L5.5 5.5M5.5 -5.5L-5.5 5.5",
    "bar": "M-2 -7h4v14h-4z",
}


def shape(outline: str, filled: bool, x: float, y: float) -> Shape:
    """One of `OUTLINES`, told from its open or filled twin without any colour."""
    return Shape("filled" if filled else "open", x, round(y, 2), OUTLINES[outline])


def listed(names: Sequence[str]) -> str:
    """`stock, as planned and as fitted`."""
    return " and ".join(filter(None, [", ".join(names[:-1]), names[-1]]))
