"""The component layout of the demo's main board, as a service manual prints one: one ink on paper. Invented."""

from functools import cache
from io import BytesIO
from pathlib import Path

from PIL import Image, ImageDraw, ImageFont

from seed_data.board_plan import (
    FINGERS,
    FITTINGS,
    HEIGHT,
    HOLE_RADIUS,
    HOLES,
    PLACES,
    SPANS,
    TONGUE,
    WIDTH,
    Pen,
    Place,
    Spot,
    studs,
    traces,
)

SIZE = (2000, 1400)
SCALE, CORNER = 9.0, (100.0, 170.0)  # pixels a millimetre, and where the board's upper left corner is
CAPTION = "MERLE 16 · Main board TB-3310, revision 2 · component layout, parts side"
DRAWN = "Drawn for the demonstration; there is no such machine"
_FINER = 2  # it is drawn so much larger, and reduced: smooth edges
_INK, _PAPER = (38, 62, 74), (250, 247, 238)
# How much paper shows through, 0 to 255.
_WHITE, _BOARD, _TRACE, _BODY = 255, 40, 62, 8
_FONT = Path(__file__).parent.parent / "static" / "fonts" / "FiraSans-SemiBold.ttf"


def layout_spot(x: float, y: float) -> Spot:
    """Where a spot of the board, in millimetres, is on the layout, in pixels."""
    return CORNER[0] + x * SCALE, CORNER[1] + y * SCALE


def draw_layout() -> bytes:
    """The layout as a PNG file."""
    image = Image.new("L", (SIZE[0] * _FINER, SIZE[1] * _FINER), _WHITE)
    pen = Pen(ImageDraw.Draw(image), SCALE * _FINER, (CORNER[0] * _FINER, CORNER[1] * _FINER))
    _board(pen)
    for place in PLACES:
        body = _chip if place.body == "chip" else _small
        body(pen, place)
        _write(pen, place.designator, (place.x + place.printed[0], place.y + place.printed[1]), 3.9)
    _words(pen)
    small = image.reduce(_FINER)
    small.putpalette(
        [low + (high - low) * step // 255 for step in range(256) for low, high in zip(_INK, _PAPER, strict=True)]
    )
    file = BytesIO()
    small.save(file, "PNG")
    return file.getvalue()


def _board(pen: Pen) -> None:
    left, top, right, bottom = TONGUE
    pen.box(0, 0, WIDTH, HEIGHT, 1.5, fill=_BOARD)
    pen.box(left, top, right, bottom + 1, 0.6, fill=_BOARD)
    for x in FINGERS:
        pen.box(x - 0.8, top + 0.8, x + 0.8, bottom - 0.6, fill=_TRACE, outline=_WHITE, width=2)
    for way, width in traces():
        pen.line(way, width, _TRACE)
    for x, y in HOLES.values():
        pen.dot(x, y, HOLE_RADIUS + 1.4, outline=_WHITE, width=3)
        pen.dot(x, y, HOLE_RADIUS, fill=_WHITE)
    for fitting in FITTINGS:
        pen.box(*fitting.box, 0.6, fill=_BODY, outline=_WHITE, width=4)
        if fitting.kind == "pins":
            for x, y in studs(fitting):
                pen.box(x - 0.45, y - 0.45, x + 0.45, y + 0.45, fill=_WHITE)
        _write(pen, fitting.words, fitting.printed, 2.9)


def _chip(pen: Pen, place: Place) -> None:
    half, depth = place.length / 2, place.spread / 2
    for number, (x, y) in enumerate(place.pads):
        pen.box(x - 0.7, y - 0.7, x + 0.7, y + 0.7, 0 if number == 0 else 0.7, fill=_WHITE)
    if place.socketed:
        pen.box(place.x - half - 0.6, place.y - depth - 1.3, place.x + half + 0.6, place.y + depth + 1.3,
                outline=_WHITE, width=3)  # fmt: skip
    left, top, bottom = place.x - half, place.y - depth + 1.1, place.y + depth - 1.1
    pen.box(left, top, place.x + half, bottom, 0.3, fill=_BODY, outline=_WHITE, width=4)
    (x0, y0), (x1, y1) = pen.at(left - 1.2, place.y - 1.2), pen.at(left + 1.2, place.y + 1.2)
    pen.draw.pieslice((x0, y0, x1, y1), -90, 90, fill=_BOARD, outline=_WHITE, width=4)


def _small(pen: Pen, place: Place) -> None:
    reach = SPANS[place.body] / 2
    pen.line(place.pads, 0.45, _WHITE)
    for x, y in place.pads:
        pen.dot(x, y, 0.8, fill=_WHITE)
    ink = {"fill": _BODY, "outline": _WHITE, "width": 4}
    if place.body == "resistor":
        pen.across(place, -3.4, -1.3, 3.4, 1.3, corner=0.5, **ink)
    elif place.body == "diode":
        pen.across(place, -2.2, -1.1, 2.2, 1.1, corner=0.2, **ink)
        pen.across(place, 1.0, -1.1, 1.6, 1.1, fill=_WHITE)
    elif place.body == "disc":
        pen.across(place, -3.2, -1.2, 3.2, 1.2, corner=1.2, **ink)
    elif place.body == "film":
        pen.across(place, -4.8, -1.9, 4.8, 1.9, corner=0.3, **ink)
    elif place.body == "crystal":
        pen.across(place, -5.6, -2.3, 5.6, 2.3, corner=2.3, **ink)
    else:
        pen.dot(place.x, place.y, 4.2, **ink)
        _write(pen, "+", (place.x - reach, place.y - 0.2), 3.6)


def _write(pen: Pen, words: str, spot: Spot, height: float) -> None:
    pen.draw.text(pen.at(*spot), words, _WHITE, _font(round(height * pen.scale)), "mm")


def _words(pen: Pen) -> None:
    pen.draw.text(pen.at(0, HEIGHT + 4), CAPTION, 0, _font(34 * _FINER), "la")
    pen.draw.text(pen.at(0, HEIGHT + 9), DRAWN, 0, _font(24 * _FINER), "la")
    pen.draw.text(pen.at(0, -13.5), "REAR", 0, _font(24 * _FINER), "la")
    for x in range(5):
        pen.box(WIDTH - 50 + 10 * x, HEIGHT + 5, WIDTH - 40 + 10 * x, HEIGHT + 6, fill=0 if x % 2 == 0 else _WHITE,
                outline=0, width=2)  # fmt: skip
    pen.draw.text(pen.at(WIDTH, HEIGHT + 7), "50 mm", 0, _font(24 * _FINER), "ra")


@cache
def _font(size: int) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(_FONT, size)
