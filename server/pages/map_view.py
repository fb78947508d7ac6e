"""A board's picture as it lies on the bench: turned, mirrored, seen closer, with a mark for every position on it.

Everything is reckoned here and drawn by a template: the picture in a group that is turned, the marks outside of it at
turned places, so that their labels stay upright. Lengths are pixels of the upright picture; `em` is the size of a
label, chosen so that it can be read where the picture is as wide as a page. It knows no request and no record.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

ZOOM_MOST = 16
CROWD = 150
NEAR = 3  # from here on the usual view shows less than there is
_WIDE = 62.0
_NEAR_THE_EDGE = 0.88

MarkState = Literal["pin", "found", "step", "done"]


@dataclass(frozen=True, slots=True)
class Spot:
    """A place on the upright picture and how sure it is: the radius of a circle, 0 where it was pointed out itself.

    `label` is what is written beside it.
    """

    name: str
    x: float
    y: float
    radius: float
    state: MarkState
    address: str
    title: str
    label: str


@dataclass(frozen=True, slots=True)
class Mark:
    """A spot where it lies in the view, with its label to one side."""

    spot: Spot
    x: float
    y: float
    anchor: Literal["start", "end"]


@dataclass(frozen=True, slots=True)
class Way:
    """How the picture is looked at: turned clockwise by degrees, mirrored, so many times closer, and around what."""

    turn: float = 0.0
    mirror: bool = False
    zoom: int = 1
    x: float | None = None
    y: float | None = None

    def asked(self) -> dict[str, str]:
        """The way as an address asks for it; what is as usual is left out."""
        words: dict[str, str] = {}
        if self.turn:
            words["turn"] = f"{self.turn:g}"
        if self.mirror:
            words["mirror"] = "yes"
        if self.zoom > 1 and self.x is not None and self.y is not None:
            words |= {"zoom": str(self.zoom), "x": f"{self.x:.0f}", "y": f"{self.y:.0f}"}
        return words


@dataclass(frozen=True, slots=True)
class MapView:
    """A picture of a board, ready to be drawn. `box` is what is seen of the turned picture: x, y, width and height.

    `fine` is a view for looking closer, where the picture has more to show than the usual one.
    """

    href: str
    fine: str
    width: int
    height: int
    whole: tuple[float, float]
    box: tuple[float, float, float, float]
    transform: str
    em: float
    marks: list[Mark]
    crowded: bool
    description: str


class Turned:
    """The turned and mirrored picture: places of the upright one go to places in the view, and back."""

    def __init__(self, width: int, height: int, way: Way) -> None:
        self.width, self.height, self.way = width, height, way
        angle = math.radians(way.turn)
        self._cos, self._sin = math.cos(angle), math.sin(angle)
        self._hand = -1.0 if way.mirror else 1.0
        self.whole = (
            abs(width * self._cos) + abs(height * self._sin),
            abs(width * self._sin) + abs(height * self._cos),
        )

    @property
    def transform(self) -> str:
        """The same as an SVG transform."""
        turned = f"translate({self.whole[0] / 2:.2f} {self.whole[1] / 2:.2f}) rotate({self.way.turn:g})"
        return f"{turned} scale({self._hand:g} 1) translate({-self.width / 2:g} {-self.height / 2:g})"

    def there(self, x: float, y: float) -> tuple[float, float]:
        """Where a place of the upright picture is seen."""
        across, down = self._hand * (x - self.width / 2), y - self.height / 2
        return (
            self.whole[0] / 2 + across * self._cos - down * self._sin,
            self.whole[1] / 2 + across * self._sin + down * self._cos,
        )

    def back(self, x: float, y: float) -> tuple[float, float]:
        """Which place of the upright picture is seen there."""
        across, down = x - self.whole[0] / 2, y - self.whole[1] / 2
        return (
            self.width / 2 + self._hand * (across * self._cos + down * self._sin),
            self.height / 2 - across * self._sin + down * self._cos,
        )


def map_view(
    href: str, size: tuple[int, int], way: Way, spots: Iterable[Spot], description: str, fine: str = ""
) -> MapView:
    """The picture seen that way, with a mark for each spot."""
    turned = Turned(*size, way)
    box = seen(turned)
    em = box[2] / _WIDE
    marks = [_mark(spot, turned, box) for spot in spots]
    within = sum(box[0] <= mark.x <= box[0] + box[2] and box[1] <= mark.y <= box[1] + box[3] for mark in marks)
    return MapView(
        href=fine if fine and way.zoom >= NEAR else href,
        fine=fine,
        width=size[0],
        height=size[1],
        whole=turned.whole,
        box=box,
        transform=turned.transform,
        em=em,
        marks=marks,
        crowded=within > CROWD,
        description=description,
    )


def seen(turned: Turned) -> tuple[float, float, float, float]:
    """The part of the turned picture that is seen, held within it."""
    way = turned.way
    width, height = turned.whole[0] / way.zoom, turned.whole[1] / way.zoom
    middle = turned.there(turned.width / 2 if way.x is None else way.x, turned.height / 2 if way.y is None else way.y)
    left = min(max(middle[0] - width / 2, 0.0), turned.whole[0] - width)
    top = min(max(middle[1] - height / 2, 0.0), turned.whole[1] - height)
    return left, top, width, height


def closer(turned: Turned, times: float) -> Way:
    """The same place, seen so many times closer, or from further off."""
    return _around(turned, *_middle(turned), max(1, min(ZOOM_MOST, round(turned.way.zoom * times))))


def aside(turned: Turned, across: float, down: float) -> Way:
    """A look at what lies to the side, by shares of what is seen."""
    left, top, width, height = seen(turned)
    return _around(turned, left + width * (0.5 + across), top + height * (0.5 + down), turned.way.zoom)


def _middle(turned: Turned) -> tuple[float, float]:
    left, top, width, height = seen(turned)
    return left + width / 2, top + height / 2


def _around(turned: Turned, x: float, y: float, zoom: int) -> Way:
    x, y = turned.back(min(max(x, 0.0), turned.whole[0]), min(max(y, 0.0), turned.whole[1]))
    return Way(turned.way.turn, turned.way.mirror, zoom, x, y)


def _mark(spot: Spot, turned: Turned, box: tuple[float, float, float, float]) -> Mark:
    x, y = turned.there(spot.x, spot.y)
    return Mark(spot, x, y, "end" if x > box[0] + _NEAR_THE_EDGE * box[2] else "start")
