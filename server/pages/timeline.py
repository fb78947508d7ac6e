"""A machine's years on one line: dated events as numbered marks, long quiet spells folded.

Days and words go in, a `Picture` comes out. It must know no record: who calls decides which events matter.
"""

from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from itertools import pairwise
from typing import NamedTuple

from server.documents.drawing import (
    LEFT,
    LINE,
    RIGHT,
    Key,
    Picture,
    PictureError,
    Shape,
    Stroke,
    Words,
    anchor_at,
    shape,
)

FOLD = 56.0
ROOM = 60.0
APART = 26.0
LEVEL = 38.0
TALLEST_STACK = 266.0
QUIET = timedelta(days=4 * 365)
MARKS = {
    "made": ("square", True),
    "acquired": ("square", False),
    "symptom": ("cross", False),
    "fitted": ("up", True),
    "undone": ("down", False),
    "trial": ("circle", False),
    "handed over": ("diamond", False),
}


class Event(NamedTuple):
    """Something dated in a machine's life; `kind` is one of `MARKS`, any other gets a plain bar."""

    day: date
    words: str
    kind: str

    def drawn(self, x: float, y: float) -> Shape:
        outline, filled = MARKS.get(self.kind, ("bar", True))
        return shape(outline, filled, x, y)


class _Run(NamedTuple):
    """Whole years that lie close together, and the stretch of line they are given."""

    first: date
    last: date
    left: float
    right: float

    def at(self, day: date) -> float:
        share = (day - self.first) / (self.last - self.first)
        return round(self.left + share * (self.right - self.left), 2)


def years_view(key: str, name: str, events: Sequence[Event]) -> Picture:
    """Number the events along one line of years, with a list of what each number stands for.

    A spell of more than four years and a third of the whole without an event is folded, so that a machine of 1981 whose
    record begins forty years later can be drawn. Raises `PictureError` when nothing is dated.
    """
    if not events:
        raise PictureError(f"Nothing in the life of {name} has a day yet.")
    told = sorted(events, key=lambda event: event.day)
    runs = _runs([event.day for event in told])
    places = [next(run.at(event.day) for run in runs if event.day <= run.last) for event in told]
    levels = _levels(places)
    rise = min(LEVEL, TALLEST_STACK / max(*levels, 1))
    line = 50 + max(levels) * rise
    marks = [event.drawn(x, line - 20 - level * rise) for event, x, level in zip(told, places, levels, strict=True)]
    years = list(_years(runs, line + LINE))
    return Picture(
        key=key,
        title=f"The years of {name}",
        description=_told(told, runs),
        height=round(line + LINE + 10, 2),
        strokes=(
            *(Stroke("axis", run.left, line, run.right, line) for run in runs),
            *(Stroke("tick", year.x, line, year.x, line + 6) for year in years),
            *(Stroke("stem", mark.x, mark.y + 8, mark.x, line) for mark in marks),
            *_folds(runs, line),
        ),
        blocks=(),
        shapes=tuple(marks),
        words=(*years, *_numbers(marks)),
        keys=tuple(
            Key(number, event.drawn(0, 0), event.day.isoformat(), event.words)
            for number, event in enumerate(told, start=1)
        ),
    )


def _runs(days: Sequence[date]) -> list[_Run]:
    """Split at the long quiet spells; each run gets room to be seen, and the rest of the line by its length."""
    whole = days[-1] - days[0]
    breaks = [n for n, (a, b) in enumerate(pairwise(days), 1) if b - a > QUIET and (b - a) * 3 > whole]
    spells = [(days[a].year, days[b - 1].year) for a, b in pairwise([0, *breaks, len(days)])]
    years = sum(last + 1 - first for first, last in spells)
    spare = RIGHT - LEFT - ROOM * len(spells) - FOLD * (len(spells) - 1)
    runs: list[_Run] = []
    left = LEFT
    for first, last in spells:
        right = round(left + ROOM + spare * (last + 1 - first) / years, 2)
        runs.append(_Run(date(first, 1, 1), date(last, 12, 31), left, right))
        left = right + FOLD
    return runs


def _levels(places: Sequence[float]) -> list[int]:
    """Marks too close to tell apart stand on each other."""
    levels: list[int] = []
    for number, x in enumerate(places):
        taken = {levels[other] for other in range(number) if x - places[other] < APART}
        levels.append(next(level for level in range(len(places)) if level not in taken))
    return levels


def _years(runs: Sequence[_Run], y: float) -> Iterator[Words]:
    """A figure at the turn of a year, as many as have room."""
    for run in runs:
        reached = -ROOM
        for year in range(run.first.year, run.last.year + 1):
            x = run.at(date(year, 1, 1))
            if x - reached >= ROOM - 4:
                yield Words("tick", x, y, anchor_at(x), str(year))
                reached = x


def _folds(runs: Sequence[_Run], line: float) -> Iterator[Stroke]:
    for run in runs[:-1]:
        for x in (run.right + FOLD / 2 - 8, run.right + FOLD / 2):
            yield Stroke("fold", x, line + 8, x + 8, line - 8)


def _numbers(marks: Sequence[Shape]) -> Iterator[Words]:
    for number, mark in enumerate(marks, start=1):
        yield Words("number", mark.x, round(mark.y - 12, 2), "middle", str(number))


def _told(told: Sequence[Event], runs: Sequence[_Run]) -> str:
    first, last = told[0].day, told[-1].day
    if len(told) == 1:
        return f"One dated event, on {first}."
    sentence = f"{len(told)} dated events, from {first} to {last}."
    quiet = [f"{before.last.year} to {after.first.year}" for before, after in pairwise(runs)]
    return f"{sentence} Folded, as nothing is recorded: {', '.join(quiet)}." if quiet else sentence
