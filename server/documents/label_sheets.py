"""Where labels lie on a sheet: arithmetic in millimetres, from the paper's upper left corner.

A sheet of `columns` × `rows` labels, each w × h, with gaps between them and margins before the first:

    x(column) = left + column · (w + gap_across)        y(row) = top + row · (h + gap_down)

Numbers and margins that are not given are derived: as many labels as fit, in the middle of the paper. It knows
nothing of what stands on a label. What does not fit raises `Invalid`, with the figures beside the field.
Papers: A4 is 210 mm × 297 mm (ISO 216:2007, table 1), Letter is 8.5 in × 11 in (ANSI/ASME Y14.1, size A).
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import floor

from server.records.errors import Invalid

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
LEAST = (40.0, 24.0)  # below this the words are too small to read at arm's length
ALONG_MOST = 20
SLACK = 0.01  # measures are typed to the tenth of a millimetre
EDGE = (2.2, 4.5)
CODE_SHARE, CODE_LEAST, CODE_MOST = 0.33, 12.5, 30.0
NUMBER_SHARE, NUMBER_MOST = 0.33, 13.0
LINES, LINE_SPACING, WORDS_MOST = 4, 1.3, 3.2
ROWS_MOST, WORDS_LEAST = 6, 2.3
GUTTER = 1.5


@dataclass(frozen=True, slots=True)
class LabelSheet:
    """One size of label on one size of paper."""

    paper: str
    width: float
    height: float
    columns: int
    rows: int
    left: float
    top: float
    gap_across: float
    gap_down: float

    @property
    def on_a_page(self) -> int:
        return self.columns * self.rows

    def places(self, count: int, first: int = 1) -> "Iterator[Place]":
        """Where so many labels lie, row by row, from the first free label of the first page on."""
        for index in range(first - 1, first - 1 + count):
            page, on_page = divmod(index, self.on_a_page)
            row, column = divmod(on_page, self.columns)
            x = self.left + column * (self.width + self.gap_across)
            y = self.top + row * (self.height + self.gap_down)
            yield Place(page, round(x, 3), round(y, 3))


@dataclass(frozen=True, slots=True)
class Place:
    """A label's upper left corner on a page; pages count from 0."""

    page: int
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Inside:
    """What of a label is for what, in millimetres: an edge kept free, a square code at the right, words at the left.

    Below the number there is `room` for rows of words: four, or up to `rows` smaller ones where words run over.
    """

    edge: float
    code: float
    words: float
    number: float
    room: float
    rows: int

    def pitch(self, rows: int) -> float:
        """From row to row, where there are so many."""
        return min(self.room / rows, LINE_SPACING * WORDS_MOST)


def sheet_of(
    paper: str,
    width: float,
    height: float,
    across: int | None = None,
    down: int | None = None,
    left: float | None = None,
    top: float | None = None,
    gap_across: float = 0.0,
    gap_down: float = 0.0,
) -> LabelSheet:
    """A sheet of so many labels across and down that fit their paper; millimetres. Raises Invalid where they do not."""
    if paper not in PAPERS:
        raise Invalid({"paper": f"Choose one of the papers offered: {', '.join(PAPERS)}."})
    side, end = PAPERS[paper]
    _check_measures(paper, {"width": width, "left": left, "gap_across": gap_across}, side)
    _check_measures(paper, {"height": height, "top": top, "gap_down": gap_down}, end)
    _check_least(width, height)
    columns, left = _along(_Side(paper, side, "across", "left", "width", "wide"), width, across, left, gap_across)
    rows, top = _along(_Side(paper, end, "down", "top", "height", "high"), height, down, top, gap_down)
    return LabelSheet(paper, width, height, columns, rows, left, top, gap_across, gap_down)


def first_free(sheet: LabelSheet, first: int) -> int:
    """The first label of a part-used sheet that is still there, counted row by row from 1."""
    if not 1 <= first <= sheet.on_a_page:
        raise Invalid(
            {"first": f"The sheet has {sheet.on_a_page} labels, {sheet.columns} across and {sheet.rows} down: "
             f"the first free one is from 1 to {sheet.on_a_page}."}
        )  # fmt: skip
    return first


def inside(sheet: LabelSheet) -> Inside:
    """How a label of this size is shared out."""
    edge = min(max(0.11 * sheet.height, EDGE[0]), EDGE[1])
    wide, high = sheet.width - 2 * edge, sheet.height - 2 * edge
    code = min(high, max(CODE_SHARE * wide, CODE_LEAST), CODE_MOST)
    number = min(NUMBER_SHARE * high, NUMBER_MOST)
    room = high - number
    rows = min(max(LINES, floor(room / (LINE_SPACING * WORDS_LEAST))), ROWS_MOST)
    return Inside(edge, code, wide - code - GUTTER, number, room, rows)


def mm(measure: float) -> str:
    """A measure as it is written: 70, 63.5."""
    return f"{measure:.2f}".rstrip("0").rstrip(".")


def _check_measures(paper: str, measures: dict[str, float | None], most: float) -> None:
    for name, measure in measures.items():
        if measure is not None and not 0 <= measure <= most:
            raise Invalid({name: f"From 0 to {mm(most)} mm will do on {paper}."})


def _check_least(width: float, height: float) -> None:
    for name, measure, least, way in (("width", width, LEAST[0], "wide"), ("height", height, LEAST[1], "high")):
        if measure < least:
            said = f"{mm(measure)} mm is too little for words and a code: a label is at least {mm(least)} mm {way}."
            raise Invalid({name: said})


@dataclass(frozen=True, slots=True)
class _Side:
    """One side of a paper, and the names of the fields that measure along it."""

    paper: str
    room: float
    counted: str
    margin: str
    size: str
    way: str


def _along(side: _Side, size: float, number: int | None, margin: float | None, gap: float) -> tuple[int, float]:
    """How many labels lie along a side of the paper, and the margin before the first."""
    if number is not None and not 1 <= number <= ALONG_MOST:
        raise Invalid({side.counted: f"From 1 to {ALONG_MOST} will do."})
    many = number or max(1, floor((side.room - (margin or 0.0) + gap + SLACK) / (size + gap)))
    taken = many * size + (many - 1) * gap
    if (margin or 0.0) + taken > side.room + SLACK:
        field = side.counted if number else side.margin if margin else side.size
        raise Invalid({field: _too_much(side, size, many, margin or 0.0, gap)})
    return many, margin if margin is not None else round(max(0.0, side.room - taken) / 2, 3)


def _too_much(side: _Side, size: float, many: int, margin: float, gap: float) -> str:
    """The sum that does not come out, with its figures."""
    parts = [f"{many} label{'s' if many > 1 else ''} of {mm(size)} mm"]
    parts += [f"{many - 1} gap{'s' if many > 2 else ''} of {mm(gap)} mm"] if gap and many > 1 else []
    parts += [f"a margin of {mm(margin)} mm"] if margin else []
    said = " and ".join(filter(None, [", ".join(parts[:-1]), parts[-1]]))
    takes = "takes" if many == len(parts) == 1 else "take"
    taken = mm(margin + many * size + (many - 1) * gap)
    return f"{said} {takes} {taken} mm {side.counted}; {side.paper} is {mm(side.room)} mm {side.way}."
