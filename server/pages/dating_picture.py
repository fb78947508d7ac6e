"""The days that a board's date codes allow, drawn: a row a part, or piles by quarter where the parts are many.

Days and labels go in, a `Picture` comes out, with a sentence that says the same. It must know no record.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import date
from itertools import count
from typing import NamedTuple

from server.documents.drawing import (
    LINE,
    RIGHT,
    Picture,
    PictureError,
    Scale,
    Shape,
    Stroke,
    Words,
    anchor_at,
    interval,
    listed,
    shape,
)

ROWS_MOST = 24
NAMES_WIDE = 84.0
ROW = 28.0
TOP = 40.0
PILE = 120.0
TICKS_MOST = 5
NAMED_MOST = 6
MARKS = {"counts": ("circle", True), "does not belong": ("cross", False), "left out": ("circle", False)}
STEPS = (1, 2, 5, 10, 20, 50, 100, 200, 500)
# A machine known no better than this tells little, and would press the parts together.
MADE_MOST_YEARS = 8

Span = tuple[date, date]


class Dated(NamedTuple):
    """A part by its label: the first and last day that its code allows, and what is made of it, one of `MARKS`."""

    label: str
    earliest: date
    latest: date
    place: str


def dates_view(
    key: str, name: str, parts: Sequence[Dated], not_before: date | None, made: Span | None = None
) -> Picture:
    """Draw what each code allows, the day before which the board was not built, and when its machine was made.

    Raises `PictureError` where no code can be read.
    """
    if not parts:
        raise PictureError(f"No code on {name} can be read as a date, so there is nothing to draw.")
    ordered = sorted(parts, key=lambda part: (part.earliest, part.latest))
    shown_made = made if made and made[1].year - made[0].year <= MADE_MOST_YEARS else None
    in_rows = len(ordered) <= ROWS_MOST
    scale = _scale(ordered, not_before, shown_made, NAMES_WIDE if in_rows else 12.0)
    top = TOP + (LINE + 12 if shown_made else 0)
    strokes, shapes, words = _rows(ordered, scale, top) if in_rows else _piles(ordered, scale, top)
    foot = top + (ROW * len(ordered) if in_rows else PILE) + 8
    lines, said = _lines(scale, not_before, shown_made, foot)
    axis, years = _years(scale, foot)
    return Picture(
        key=key,
        title=f"The date codes of {name}",
        description=_told(ordered, not_before),
        height=foot + LINE + 12,
        strokes=(*lines, *axis, *strokes),
        blocks=(),
        shapes=tuple(shapes),
        words=(*years, *words, *said),
    )


def _scale(parts: Sequence[Dated], not_before: date | None, made: Span | None, first: float) -> Scale:
    """Whole years, as many as hold everything."""
    days = [*(part.earliest for part in parts), *(part.latest for part in parts), *(made or ())]
    days += [not_before] if not_before else []
    low, high = min(days).year, max(days).year + 1
    return Scale(date(low, 1, 1).toordinal(), date(high, 1, 1).toordinal(), first)


Drawn = tuple[list[Stroke], list[Shape], list[Words]]


def _rows(parts: Sequence[Dated], scale: Scale, top: float) -> Drawn:
    """A row a part: its label, a bar over its days, and its mark at the first of them."""
    strokes: list[Stroke] = []
    shapes: list[Shape] = []
    words: list[Words] = []
    for number, part in enumerate(parts):
        y = top + ROW * number + ROW / 2
        left, right = scale.at(part.earliest.toordinal()), scale.at(part.latest.toordinal())
        strokes.append(Stroke("interval", left, y, max(right, left + 2), y))
        shapes.append(shape(*MARKS[part.place], left, y))
        words.append(Words("name", 12.0, y + 6, "start", part.label))
    return strokes, shapes, words


def _piles(parts: Sequence[Dated], scale: Scale, top: float) -> Drawn:
    """One mark a part over the quarter in which its days begin, on each other where they are many."""
    levels: dict[date, count[int]] = defaultdict(count)
    placed = [(part, _quarter(part.earliest), next(levels[_quarter(part.earliest)])) for part in parts]
    rise = min(12.0, (PILE - 12) / max(1, *(level for _, _, level in placed)))
    floor = top + PILE
    shapes = [
        shape(*MARKS[part.place], scale.at(quarter.toordinal()) + 4, floor - level * rise)
        for part, quarter, level in placed
    ]
    return [], shapes, []


def _quarter(day: date) -> date:
    return date(day.year, (day.month - 1) // 3 * 3 + 1, 1)


def _lines(scale: Scale, not_before: date | None, made: Span | None, foot: float) -> tuple[list[Stroke], list[Words]]:
    """The day that the codes allow at the earliest, and the machine's years above them."""
    strokes: list[Stroke] = []
    words: list[Words] = []
    if not_before:
        x = scale.at(not_before.toordinal())
        side = "start" if x < (scale.first + scale.last) / 2 else "end"
        strokes.append(Stroke("limit", x, 26.0, x, foot))
        words.append(Words("limit", x, 20.0, "start" if side == "start" else "end", f"not before {not_before}"))
    if made:
        low, high = (scale.at(day.toordinal()) for day in made)
        strokes += interval(Scale(0, 1, low, high), 0, 1, TOP + LINE + 6)
        middle = min(max((low + high) / 2, 110.0), RIGHT - 90)
        words.append(Words("figure", middle, TOP + 16, "middle", "the machine was made"))
    return strokes, words


def _years(scale: Scale, y: float) -> tuple[list[Stroke], list[Words]]:
    """The line of years, a figure at the turn of as many as have room."""
    first, last = (date.fromordinal(round(end)).year for end in (scale.low, scale.high))
    step = next(step for step in STEPS if (last - first) / step <= TICKS_MOST)
    strokes = [Stroke("axis", scale.first, y, scale.last, y)]
    words: list[Words] = []
    for year, x in _turns(scale, first, last, step):
        strokes.append(Stroke("tick", x, y, x, y + 6))
        words.append(Words("tick", x, y + LINE, anchor_at(x), str(year)))
    return strokes, words


def _turns(scale: Scale, first: int, last: int, step: int) -> Iterator[tuple[int, float]]:
    for year in range(first + -first % step, last + 1, step):
        yield year, scale.at(date(year, 1, 1).toordinal())


def _told(parts: Sequence[Dated], not_before: date | None) -> str:
    """The same in words, with the figures."""
    counted = [part for part in parts if part.place == "counts"]
    said = []
    if counted:
        first, last = counted[0].earliest, counted[-1].earliest
        number = "1 code counts" if len(counted) == 1 else f"{len(counted)} codes count"
        said.append(
            f"{number}, their days beginning from {first} to {last}."
            if first != last
            else f"{number}, from {first} on."
        )
    if not_before:
        said.append(f"The board was not built before {not_before}.")
    for place, words in (("does not belong", "Not belonging"), ("left out", "Left out")):
        labels = [part.label for part in parts if part.place == place]
        if labels:
            said.append(f"{words}: {_named(labels)}.")
    return " ".join(said)


def _named(labels: Sequence[str]) -> str:
    if len(labels) <= NAMED_MOST:
        return listed(labels)
    return f"{', '.join(labels[:NAMED_MOST])} and {len(labels) - NAMED_MOST} more"
