"""The demo's main board in colour, laid flat before it is seen askew: nothing is printed on it. Invented."""

from typing import Any

from PIL import Image, ImageDraw, ImageFilter

from seed_data.board_plan import (
    FINGERS,
    FITTINGS,
    HEIGHT,
    HOLE_RADIUS,
    HOLES,
    PLACES,
    TONGUE,
    WIDTH,
    WIRE,
    Fitting,
    Pen,
    Place,
    studs,
    traces,
    vias,
)

SCALE = 10  # pixels a millimetre, before it is seen askew
MARGIN = 14.0  # millimetres around the board
_LACQUER, _TRACE, _EDGE = (70, 86, 44), (100, 116, 60), (132, 122, 84)
_TINNED, _GLINT, _GOLD = (178, 178, 170), (226, 226, 220), (196, 160, 84)
_BLACK, _SHEEN, _SOCKET, _STEEL = (34, 34, 37), (58, 58, 62), (52, 49, 46), (164, 166, 168)
_BODIES = {"resistor": (206, 176, 132), "diode": (196, 96, 52), "disc": (190, 120, 54), "film": (168, 52, 40)}
_BANDS = {"0": (24, 22, 22), "1": (104, 60, 28), "2": (188, 40, 32), "3": (218, 116, 30), "4": (222, 196, 52),
          "7": (112, 68, 148), "gold": (176, 140, 62)}  # fmt: skip


def _sheet(mode: str, ground: Any) -> tuple[Image.Image, Pen]:
    size = (round((WIDTH + 2 * MARGIN) * SCALE), round((HEIGHT + 2 * MARGIN) * SCALE))
    image = Image.new(mode, size, ground)
    return image, Pen(ImageDraw.Draw(image), SCALE, (MARGIN * SCALE, MARGIN * SCALE))


def cover() -> Image.Image:
    """What hides the bench: the board without its holes, and the sockets beyond its edge."""
    image, pen = _sheet("L", 0)
    pen.box(0, 0, WIDTH, HEIGHT, 1.5, fill=255)
    pen.box(*TONGUE[:3], 1, 0.6, fill=255)
    for x, y in HOLES.values():
        pen.dot(x, y, HOLE_RADIUS, fill=0)
    for fitting in FITTINGS:
        pen.box(*fitting.box, 0.6, fill=255)
    return image


def flat_board() -> Image.Image:
    image, pen = _sheet("RGB", _EDGE)
    _copper(pen)
    shadows, dark = _sheet("L", 0)
    for place in PLACES:
        _shadow(dark, place)
    for fitting in FITTINGS:
        left, top, right, bottom = fitting.box
        dark.box(left + 1, top + 1, right + 1.6, bottom + 2, 0.6, fill=190)
    image.paste((16, 20, 10), mask=shadows.reduce(2).filter(ImageFilter.BoxBlur(3)).resize(image.size))
    for fitting in FITTINGS:
        _fitting(pen, fitting)
    for place in PLACES:
        body = _chip if place.body == "chip" else _small
        body(pen, place)
    _wire(pen)
    return image


def _wire(pen: Pen) -> None:
    pen.line([(x + 0.5, y + 0.8) for x, y in WIRE], 1.2, (30, 38, 18))
    pen.line(WIRE, 1.2, (40, 104, 60))
    pen.line([(x - 0.2, y - 0.2) for x, y in WIRE], 0.4, (104, 172, 112))
    for x, y in (WIRE[0], WIRE[-1]):
        pen.dot(x, y, 1.0, fill=_TINNED)
        pen.dot(x - 0.2, y - 0.2, 0.5, fill=_GLINT)


def _copper(pen: Pen) -> None:
    left, top, right, bottom = TONGUE
    pen.box(0.3, 0.3, WIDTH - 0.3, HEIGHT - 0.3, 1.3, fill=_LACQUER)
    pen.box(left + 0.3, top + 0.3, right - 0.3, bottom + 1, 0.5, fill=_LACQUER)
    for way, width in traces():
        pen.line(way, width, _TRACE)
    for x in FINGERS:
        pen.box(x - 0.8, top + 0.6, x + 0.8, bottom - 0.6, fill=_GOLD)
        pen.box(x - 0.5, top + 0.6, x - 0.2, bottom - 0.6, fill=(224, 196, 128))
    for x, y in vias():
        pen.dot(x, y, 0.6, fill=_TINNED)
        pen.dot(x, y, 0.25, fill=(60, 56, 48))
    for x, y in HOLES.values():
        pen.dot(x, y, HOLE_RADIUS + 1.4, fill=_TINNED)
        pen.dot(x - 0.2, y - 0.2, HOLE_RADIUS + 0.9, fill=_GLINT)
    for place in PLACES:
        for x, y in place.pads:
            pen.dot(x, y, 0.9, fill=_TINNED)
            pen.dot(x - 0.2, y - 0.25, 0.35, fill=_GLINT)


def _shadow(dark: Pen, place: Place) -> None:
    if place.body == "chip":
        half, depth = place.length / 2, place.spread / 2
        dark.box(place.x - half, place.y - depth, place.x + half + 1.2, place.y + depth + 1.8, fill=200)
    elif place.body == "can":
        dark.dot(place.x + 1.3, place.y + 1.7, 4.2, fill=200)
    else:
        dark.across(place, -3.2, -0.8, 4.2, 2.4, corner=1, fill=180)


def _fitting(pen: Pen, fitting: Fitting) -> None:
    left, top, right, bottom = fitting.box
    if fitting.kind == "screen":
        pen.box(*fitting.box, 0.6, fill=_STEEL, outline=(112, 114, 116), width=4)
        pen.box(left + 1, top + 1, right - 1, bottom - 1, 0.4, outline=_GLINT, width=3)
        for x in (left + 7, right - 7):
            pen.dot(x, top + 9, 1.6, fill=(70, 70, 72))
    elif fitting.kind == "socket":
        pen.box(*fitting.box, 0.6, fill=_BLACK)
        pen.box(left, top, right, top + 1.4, 0.4, fill=_STEEL)
        pen.box(left + 0.6, top + 1.8, right - 0.6, top + 2.3, fill=_SHEEN)
    else:
        pen.box(*fitting.box, 0.3, fill=(222, 216, 198), outline=(170, 164, 146), width=3)
        for x, y in studs(fitting):
            pen.box(x - 0.4, y - 0.4, x + 0.4, y + 0.4, fill=(150, 146, 134))
            pen.box(x - 0.2, y - 0.3, x + 0.1, y, fill=_GLINT)


def _chip(pen: Pen, place: Place) -> None:
    half, depth = place.length / 2, place.spread / 2
    if place.socketed:
        pen.box(place.x - half - 0.6, place.y - depth - 1.3, place.x + half + 0.6, place.y + depth + 1.3, 0.3,
                fill=_SOCKET, outline=(74, 70, 66), width=3)  # fmt: skip
    for x, y in place.pads:
        top, glint = (y - 0.2, y) if y < place.y else (y - 1.6, y - 1)
        pen.box(x - 0.7, top, x + 0.7, top + 1.8, fill=_TINNED)
        pen.box(x - 0.45, glint, x - 0.1, glint + 1, fill=_GLINT)
    left, top, right, bottom = place.x - half, place.y - depth + 1.1, place.x + half, place.y + depth - 1.1
    pen.box(left, top, right, bottom, 0.3, fill=_SHEEN)
    pen.box(left + 0.4, top + 0.5, right - 0.2, bottom - 0.2, 0.3, fill=_BLACK)
    (x0, y0), (x1, y1) = pen.at(left - 1.2, place.y - 1.2), pen.at(left + 1.2, place.y + 1.2)
    pen.draw.pieslice((x0, y0, x1, y1), -90, 90, fill=(14, 14, 15), outline=_SHEEN, width=3)
    pen.dot(left + 2.2, bottom - 1.6, 0.5, fill=(22, 22, 24))


def _small(pen: Pen, place: Place) -> None:
    pen.line(place.pads, 0.6, _TINNED)
    if place.body == "resistor":
        _resistor(pen, place)
    elif place.body == "diode":
        pen.across(place, -2.2, -1.0, 2.2, 1.0, corner=0.7, fill=_BODIES["diode"])
        pen.across(place, -2.0, -0.7, 2.0, -0.3, corner=0.2, fill=(226, 148, 104))
        pen.across(place, 1.1, -1.0, 1.6, 1.0, fill=(26, 24, 24))
    elif place.body == "disc":
        pen.across(place, -3.2, -1.2, 3.2, 1.2, corner=1.2, fill=_BODIES["disc"])
        pen.across(place, -2.4, -0.8, 2.0, -0.3, corner=0.25, fill=(222, 164, 104))
    elif place.body == "film":
        pen.across(place, -4.8, -1.9, 4.8, 1.9, corner=0.5, fill=_BODIES["film"])
        pen.across(place, -4.2, -1.5, 4.2, -0.8, corner=0.3, fill=(206, 96, 80))
    elif place.body == "crystal":
        pen.across(place, -5.6, -2.3, 5.6, 2.3, corner=2.3, fill=(120, 122, 124))
        pen.across(place, -5.0, -1.8, 5.0, 1.8, corner=1.8, fill=_STEEL)
        pen.across(place, -4.2, -1.4, 3.6, -0.7, corner=0.3, fill=_GLINT)
    else:
        pen.dot(place.x, place.y, 4.2, fill=(38, 52, 92))
        pen.dot(place.x, place.y, 3.4, fill=(170, 172, 174))
        for way in ([(-2.2, -2.2), (2.2, 2.2)], [(-2.2, 2.2), (2.2, -2.2)]):
            pen.line([(place.x + x, place.y + y) for x, y in way], 0.35, (112, 114, 116))


def _resistor(pen: Pen, place: Place) -> None:
    pen.across(place, -3.4, -1.0, 3.4, 1.0, corner=0.9, fill=_BODIES["resistor"])
    pen.across(place, -3.4, -1.3, -1.9, 1.3, corner=0.9, fill=_BODIES["resistor"])
    pen.across(place, 1.9, -1.3, 3.4, 1.3, corner=0.9, fill=_BODIES["resistor"])
    for across, band in zip((-2.7, -1.2, 0.0, 2.4), (*place.bands, "gold"), strict=True):
        half = 1.3 if abs(across) > 2 else 1.0
        pen.across(place, across - 0.3, -half, across + 0.3, half, fill=_BANDS[band])
    pen.across(place, -3.0, -0.7, 3.0, -0.45, fill=(232, 214, 184))
