"""A net drawn as a line: what drives it above, what listens and what is passive below, each with its name.

Labels stand like stairs, so that none crosses another's stem, however many there are. Shapes tell roles apart: filled
triangles drive, open ones listen, diamonds do either, bars are passive, crosses are off the net. It knows pins in a
case, and no record, request or template.
"""

from collections.abc import Sequence
from typing import Literal, NamedTuple

from server.documents.drawing import LEFT, LINE, RIGHT, Picture, Shape, Stroke, Words, shape
from server.records.questions.net_cases import NetAt, PinAt
from server.records.signal_parts import Parts
from server.records.words import PinRole

MOST_A_SIDE = 12
LABEL_MOST = 32
_FIRST, _LAST = LEFT + 16, LEFT + 190
_TOP = 16.0
_OUTLINES: dict[PinRole, tuple[str, bool]] = {
    PinRole.TOTEM_POLE: ("down", True),
    PinRole.OPEN_COLLECTOR: ("down", True),
    PinRole.EITHER_WAY: ("diamond", False),
    PinRole.INPUT: ("down", False),
    PinRole.PASSIVE: ("bar", True),
}
_DOES = {
    PinRole.TOTEM_POLE: "drives",
    PinRole.OPEN_COLLECTOR: "pulls down only",
    PinRole.EITHER_WAY: "either way",
    PinRole.INPUT: "listens",
}


class _Pin(NamedTuple):
    label: str
    outline: str
    filled: bool
    off: bool


def net_view(name: str, at: NetAt, parts: Parts) -> Picture:
    """The picture of a net in one case."""
    drawn = [(pin, _drawn(pin, row, parts)) for row, pin in enumerate(at.pins)]
    above = _cut([one for pin, one in drawn if pin.line.role not in (PinRole.INPUT, PinRole.PASSIVE)])
    below = _cut([one for pin, one in drawn if pin.line.role in (PinRole.INPUT, PinRole.PASSIVE)])
    y = _TOP + LINE * max(len(above), 1) + 28
    height = y + 28 + LINE * max(len(below), 1) + 8
    strokes, shapes, words = [Stroke("interval", LEFT, y, RIGHT, y)], list[Shape](), list[Words]()
    for side, pins in ((-1, above), (1, below)):
        for number, pin in enumerate(pins):
            x = _x(number, len(pins)) + (24 if side > 0 else 0)  # not under a stem from above
            _hang(strokes, shapes, words, pin, x, y, side * (34 + LINE * (len(pins) - 1 - number)))
    words.append(Words("name", RIGHT, y - 8, "end", _short(name, 20)))
    told = _told(name, at, parts)
    return Picture("net", told, told, height, tuple(strokes), (), tuple(shapes), tuple(words))


def _drawn(pin: PinAt, row: int, parts: Parts) -> _Pin:
    off = row in parts.off
    outline, filled = ("cross", False) if off else _OUTLINES[pin.line.role]
    return _Pin(_short(f"{pin.line.name}, {_does(pin, row, parts)}", LABEL_MOST), outline, filled, off)


def _does(pin: PinAt, row: int, parts: Parts) -> str:
    if row in parts.off:
        return "off the net"
    if pin.line.role is PinRole.PASSIVE:
        return f"{pin.here.value} to {pin.line.entry.other_end}".strip()
    if pin.line.entry.drives:
        return f"always {pin.line.entry.drives}"
    through = parts.series.get(row, "").startswith("through") and pin.line.series
    return _DOES[pin.line.role] + (f" by {through.designator}" if through else "")


def _cut(pins: list[_Pin]) -> list[_Pin]:
    """As many as can be read; the last one says how many more there are."""
    if len(pins) <= MOST_A_SIDE:
        return pins
    more = len(pins) - MOST_A_SIDE + 1
    return [*pins[: MOST_A_SIDE - 1], _Pin(f"and {more} more", "circle", False, False)]


def _x(number: int, of: int) -> float:
    return round(_FIRST + (_LAST - _FIRST) * number / max(of - 1, 1), 2) if of > 1 else _FIRST


def _hang(
    strokes: list[Stroke], shapes: list[Shape], words: list[Words], pin: _Pin, x: float, y: float, reach: float
) -> None:
    """One pin on its stem, `reach` above or below the line; the stem of one that is off does not touch it."""
    kind: Literal["limit", "stem"] = "limit" if pin.off else "stem"
    side = -1 if reach < 0 else 1
    strokes.append(Stroke(kind, x, y + reach, x, y + side * (20 if pin.off else 0)))
    shapes.append(shape(pin.outline, pin.filled, x, y + side * 12))
    words.append(Words("figure", x + 10, y + reach + (4 if reach < 0 else 10), "start", pin.label))


def _told(name: str, at: NetAt, parts: Parts) -> str:
    """The same in a sentence: `KEY 2, now: U7 pin 6 drives; U9 pin 14 either way; U11 pin 9 listens`."""
    said = [f"{pin.line.name} {_does(pin, row, parts)}" for row, pin in enumerate(at.pins)]
    shown = said[: 2 * MOST_A_SIDE]
    more = [f"and {len(said) - len(shown)} more"] if len(said) > len(shown) else []
    return f"{name}, {at.case.words}: {'; '.join([*shown, *more])}."


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most - 1]}…"


def keys_used(pins: Sequence[PinAt], parts: Parts) -> str:
    """What the shapes of this picture mean, in words."""
    roles = {pin.line.role for row, pin in enumerate(pins) if row not in parts.off}
    said = []
    if roles & {PinRole.TOTEM_POLE, PinRole.OPEN_COLLECTOR}:
        said.append("Filled triangle: drives.")
    if PinRole.EITHER_WAY in roles:
        said.append("Diamond: drives or listens.")
    if PinRole.INPUT in roles:
        said.append("Open triangle: listens.")
    if PinRole.PASSIVE in roles:
        said.append("Bar: passive.")
    if parts.off:
        said.append("Cross: off the net.")
    return " ".join(said)
