"""The main board of the demo's machine as it lies before you: what sits where, in millimetres. All of it is invented.

x runs to the right and y down from the board's upper left corner, the rear edge with its sockets at the top.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

from PIL import ImageDraw

Spot = tuple[float, float]
Body = Literal["chip", "resistor", "diode", "disc", "film", "can", "crystal"]

WIDTH, HEIGHT = 200.0, 120.0
TONGUE = (14.0, -9.0, 74.0, 0.0)  # the edge connector, beyond the rear edge
FINGERS = [16.8 + 2.54 * number for number in range(22)]
HOLES = {"rear left": (6.0, 6.0), "rear right": (194.0, 6.0), "front right": (194.0, 114.0), "front left": (6.0, 114.0)}
HOLE_RADIUS = 1.8
PITCH = 2.54
SPANS: dict[Body, float] = {"resistor": 12.7, "diode": 10.16, "disc": 5.08, "film": 7.62, "can": 3.5, "crystal": 4.9}


@dataclass(frozen=True, slots=True)
class Place:
    """A position and its footprint around (x, y); `printed` is where the drawing writes its designator, from there."""

    designator: str
    body: Body
    x: float
    y: float
    printed: Spot = (0.0, 4.4)
    pins: int = 2
    wide: bool = False
    socketed: bool = False
    upright: bool = False
    bands: str = ""

    @property
    def spread(self) -> float:
        """Between the two rows of a chip."""
        return 15.24 if self.wide else 7.62

    @property
    def length(self) -> float:
        """Of a chip's body, notch to end."""
        return self.pins / 2 * PITCH

    @property
    def pads(self) -> list[Spot]:
        """By number. A chip lies with its notch to the left, so that pin 1 is the lower left one."""
        if self.body == "chip":
            row = [PITCH * (number - (self.pins / 2 - 1) / 2) for number in range(self.pins // 2)]
            half = self.spread / 2
            return [(self.x + x, self.y + half) for x in row] + [(self.x + x, self.y - half) for x in reversed(row)]
        half = SPANS[self.body] / 2
        ends = [(0.0, -half), (0.0, half)] if self.upright else [(-half, 0.0), (half, 0.0)]
        return [(self.x + x, self.y + y) for x, y in ends]


def _chip(designator: str, pins: int, x: float, y: float, *, socketed: bool = False, wide: bool = False) -> Place:
    """Its designator is printed near the notch, or below one that is too short for that."""
    printed = (0.0, 7.4) if pins == 8 else (5.0 - pins / 4 * PITCH, 0.0)
    return Place(designator, "chip", x, y, printed, pins, wide, socketed)


def _resistor(designator: str, x: float, y: float, bands: str, *, upright: bool = False) -> Place:
    return Place(designator, "resistor", x, y, (5.6, 0.0) if upright else (0.0, 4.2), upright=upright, bands=bands)


PLACES = (
    _chip("U1", 40, 52, 62, socketed=True, wide=True),
    _chip("U2", 24, 36, 96, socketed=True, wide=True),
    _chip("U3", 24, 76, 96, socketed=True, wide=True),
    _chip("U4", 16, 108, 52, socketed=True),
    _chip("U5", 16, 108, 66, socketed=True),
    _chip("U6", 16, 108, 80, socketed=True),
    _chip("U7", 14, 144, 38),
    _chip("U8", 16, 78, 23),
    _chip("U9", 28, 150, 86, socketed=True, wide=True),
    _chip("U10", 20, 40, 23),
    _chip("U11", 14, 144, 52),
    _chip("U12", 16, 108, 38),
    _chip("U13", 8, 176, 70),
    _resistor("R1", 36, 42, "102"),
    _resistor("R2", 60, 42, "472"),
    _resistor("R3", 144, 64, "103"),
    _resistor("R4", 176, 56, "221"),
    _resistor("R12", 154, 22, "103"),
    _resistor("R20", 172, 110, "471"),
    Place("C1", "disc", 86, 60, upright=True, printed=(4.6, 0.0)),
    Place("C2", "disc", 126, 66, upright=True, printed=(4.6, 0.0)),
    Place("C9", "film", 172, 30, printed=(0.0, 4.8)),
    Place("C10", "can", 181, 91, printed=(0.0, 7.0)),
    Place("D1", "diode", 184, 22),
    Place("X1", "crystal", 170, 44, printed=(0.0, 5.2)),
)
AT = {place.designator: place for place in PLACES}


@dataclass(frozen=True, slots=True)
class Fitting:
    """A socket, a can or a row of pins that is no position of the parts list; `words` are printed at its side."""

    kind: Literal["screen", "socket", "pins"]
    box: tuple[float, float, float, float]
    words: str
    printed: Spot


FITTINGS = (
    Fitting("screen", (92, 1.5, 122, 20), "AERIAL", (107, 23.4)),
    Fitting("socket", (126, -3, 141, 12), "MONITOR", (133.5, 15)),
    Fitting("socket", (145, -2, 154, 11), "EAR", (149.5, 14)),
    Fitting("socket", (157, -2, 166, 11), "MIC", (161.5, 14)),
    Fitting("socket", (171, -2, 184, 11), "POWER", (177.5, 14)),
    Fitting("pins", (94, 107.5, 150, 112.5), "KEYBOARD", (122, 104.6)),
    Fitting("pins", (191, 68, 196, 78.2), "SPEAKER", (191.5, 81)),
    Fitting("pins", (182, 107.5, 187.1, 112.6), "LAMP", (184.5, 104.6)),
)


def studs(fitting: Fitting) -> list[Spot]:
    """The pins of a row of pins."""
    left, top, right, bottom = fitting.box
    if right - left > bottom - top:
        return [(left + 1.27 + PITCH * number, (top + bottom) / 2) for number in range(int((right - left) / PITCH))]
    return [((left + right) / 2, top + 1.27 + PITCH * number) for number in range(int((bottom - top) / PITCH))]


# Bundles of traces on the parts side: the first one's way, how many there are, and how far the next lies from it.
_BUSES: tuple[tuple[list[Spot], int, Spot], ...] = (
    ([(16.8, 0), (16.8, 8), (28.57, 19.19)], 10, (2.54, 0)),
    ([(28.57, 26.81), (28.57, 34), (22, 40.5), (22, 49), (27.87, 54.38)], 9, (2.54, 0)),
    ([(62, 0), (62, 8), (69.11, 19.19)], 5, (2.54, 0)),
    ([(69.11, 26.81), (69.11, 33), (63, 39), (63, 47), (63.43, 54.38)], 5, (2.54, 0)),
    ([(27.87, 69.62), (27.87, 79), (22.03, 84), (22.03, 88.38)], 12, (2.54, 0)),
    ([(58.35, 69.62), (58.35, 77), (62.03, 81), (62.03, 88.38)], 8, (2.54, 0)),
    ([(83, 71), (90, 71), (94, 67), (94, 44), (97, 42)], 6, (0.9, 0.9)),
    ([(99.11, 41.81), (99.11, 48.19)], 8, (2.54, 0)),
    ([(99.11, 55.81), (99.11, 62.19)], 8, (2.54, 0)),
    ([(99.11, 69.81), (99.11, 76.19)], 8, (2.54, 0)),
    ([(117, 84), (121, 88), (130, 88), (133.49, 93.62)], 4, (0.9, 0.9)),
    ([(133.49, 93.62), (133.49, 98), (126, 105), (126, 110)], 10, (2.54, 0)),
    ([(136.38, 41.81), (136.38, 48.19)], 7, (2.54, 0)),
    ([(121, 32), (132, 32), (136, 34.19)], 3, (0.9, 0.9)),
    ([(151.62, 55.81), (158, 60), (158, 71), (154, 78.38)], 4, (1.6, 0)),
    ([(166.51, 93.62), (170, 90), (170, 78), (172.19, 73.81)], 2, (1.6, 0)),
    ([(148, 27), (148, 33), (141.46, 34.19)], 2, (2.2, 0)),
)
_RAILS: tuple[list[Spot], ...] = (
    [(177.5, 12), (177.5, 17), (189.5, 17), (189.5, 96), (183.5, 102), (96, 102), (92, 98), (92, 28)],
    [(92, 28), (16, 28.8), (10, 34.8), (10, 106), (14, 112), (86, 112)],
    [(92, 44), (96, 44)],
    [(124, 28), (124, 100)],
)
# What the factory put right by hand: a green wire across the board.
WIRE: list[Spot] = [
    (90, 57),
    (89.4, 72),
    (91.5, 82),
    (97, 90.5),
    (105, 94.5),
    (118, 97),
    (125, 96),
    (129, 91),
    (129, 84),
]


def traces() -> Iterator[tuple[list[Spot], float]]:
    """Each trace's way and its width."""
    for way in _RAILS:
        yield way, 2.2
    for way, count, (across, down) in _BUSES:
        for number in range(count):
            yield [(x + across * number, y + down * number) for x, y in way], 0.5
    for place in PLACES:
        if place.body != "chip":
            for x, y in place.pads:
                yield [(x, y), (x + 1.5, y - 2.5), (x + 1.5, y - 4.5)], 0.6


def vias() -> Iterator[Spot]:
    """Where a trace goes through to the other side: the ends of those that end at no pad."""
    for way, count, (across, down) in _BUSES:
        for x, y in (way[0], way[-1]):
            if round(x, 2) == round(x, 1):
                yield from ((x + across * number, y + down * number) for number in range(count) if y > 0)


class Pen:
    """Draws in millimetres of the board on a picture of so many pixels a millimetre."""

    def __init__(self, draw: ImageDraw.ImageDraw, scale: float, corner: Spot) -> None:
        self.draw, self.scale, self.corner = draw, scale, corner

    def at(self, x: float, y: float) -> Spot:
        return self.corner[0] + x * self.scale, self.corner[1] + y * self.scale

    def box(self, left: float, top: float, right: float, bottom: float, corner: float = 0.0, **ink: Any) -> None:
        self.draw.rounded_rectangle((*self.at(left, top), *self.at(right, bottom)), corner * self.scale, **ink)

    def dot(self, x: float, y: float, radius: float, **ink: Any) -> None:
        self.draw.ellipse((*self.at(x - radius, y - radius), *self.at(x + radius, y + radius)), **ink)

    def line(self, way: list[Spot], width: float, ink: Any) -> None:
        self.draw.line([self.at(*spot) for spot in way], ink, max(1, round(width * self.scale)), "curve")

    def across(self, place: Place, left: float, top: float, right: float, bottom: float, **ink: Any) -> None:
        """A box around a place's middle, turned as the place is."""
        box = (top, left, bottom, right) if place.upright else (left, top, right, bottom)
        self.box(place.x + box[0], place.y + box[1], place.x + box[2], place.y + box[3], **ink)
