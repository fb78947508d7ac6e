"""How a line of a saved capture is built: what parts its columns, its decimal sign, which columns hold numbers.

It looks at lines one by one and takes what most of them have; it reads no number. Raises `CaptureError` where no line
has two numbers.
"""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from server.engineering.captures import CaptureError

# NaN counts as a number here, so that a line with it is refused and not taken for one of the header's.
NUMBER = re.compile(r"\s*[+-]?(?:(?:\d+(?:[.,]\d*)?|\.\d+)(?:[eE][+-]?\d{1,4})?|nan|inf|infinity)\s*", re.I | re.A)


@dataclass(frozen=True, slots=True)
class Layout:
    """How a line of numbers is built: what parts it (None: spaces), its decimal sign, and where numbers stand."""

    delimiter: str | None
    comma_decimal: bool
    count: int
    numeric: tuple[int, ...]

    def cells(self, line: str) -> list[str]:
        if self.delimiter is None:
            return line.split()
        cells = line.split(self.delimiter)
        # A delimiter at the end of a line parts nothing.
        return cells[:-1] if len(cells) == self.count + 1 and not cells[-1].strip() else cells


def find_layout(lines: Sequence[str]) -> Layout:
    """The layout that most lines have."""
    found = Counter(layout for line in lines if (layout := _layout_of(line)))
    if not found:
        raise CaptureError(
            "There are no readings in the file: no line has two columns of plain numbers, a time and a voltage. "
            "Numbers go without units, and the time in seconds or a part of them, not as on a clock."
        )
    best = found.most_common(1)[0][0]
    alike = [layout for layout in found if (layout.delimiter, layout.count) == (best.delimiter, best.count)]
    comma = any(layout.comma_decimal for layout in alike)
    return Layout(best.delimiter, comma, best.count, best.numeric)


def _layout_of(line: str) -> Layout | None:
    # Spaces go before commas: `0,001 3,3` has decimal commas, and `0.001, 3.3` is no number before its space.
    for delimiter in (";", "\t", None, ","):
        cells = line.split(delimiter)
        if len(cells) > 2 and not cells[-1].strip():
            cells.pop()
        numeric = tuple(place for place, cell in enumerate(cells) if NUMBER.fullmatch(cell))
        if len(numeric) >= 2:
            comma = delimiter != "," and any("," in cells[place] for place in numeric)
            return Layout(delimiter, comma, len(cells), numeric)
    return None


def good_lines(layout: Layout) -> re.Pattern[bytes]:
    """Matches the lines, from the first on, that are blank or nothing but as many finite numbers as most have."""
    sign = b"," if layout.comma_decimal else b"[.]"
    space = b" *" if layout.delimiter == "\t" else b"[ \t]*"
    between = b"[ \t]+" if layout.delimiter is None else space + layout.delimiter.encode() + space
    number = b"[+-]?[0-9]+(?:" + sign + b"[0-9]*)?(?:[eE][+-]?[0-9]{1,4})?"
    line = space + number + b"(?:" + between + number + b"){%d}" % (layout.count - 1) + space
    # Atomic, so that a million lines need no memory of how each was matched.
    return re.compile(b"(?>(?:" + line + b"|[ \t]*)\n)*+")
