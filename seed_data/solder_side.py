"""Drawn "photographs" for the demo: a corner of a board's solder side before a trace was cut, and after. Invented."""

from io import BytesIO
from random import Random

from PIL import Image, ImageChops, ImageDraw, ImageFilter

SIZE = (960, 720)
LACQUER, TRACE, SOLDER, BARE, SHADOW = (34, 74, 52), (58, 112, 74), (186, 188, 184), (150, 122, 70), (18, 34, 26)
PADS = [(180 + 90 * column, row) for row in (220, 480) for column in range(7)]
CUT_AT = 5  # which pad's trace is cut
SEED = 26
# How the camera was held, the second time a little lower: upper left first, then against the clock.
BEFORE_SEEN, AFTER_SEEN = (20, 14, 6, 700, 950, 712, 940, 24), (48, 40, 22, 706, 934, 690, 916, 18)


def before_cut(taken: str) -> bytes:
    """As a camera would send it, with the moment at which it was taken (EXIF: `1981:09:30 12:00:00`)."""
    return _photograph(taken, cut=False, seen=BEFORE_SEEN)


def after_cut(taken: str) -> bytes:
    """The same corner with the trace cut, and two thin wires soldered on."""
    return _photograph(taken, cut=True, seen=AFTER_SEEN)


def _photograph(taken: str, *, cut: bool, seen: tuple[int, ...]) -> bytes:
    chance = Random(SEED + cut)  # noqa: S311 (a drawing is no secret)
    scene = _scene(cut).transform(SIZE, Image.Transform.QUAD, seen, Image.Resampling.BICUBIC)
    grain = Image.frombytes("L", (SIZE[0] // 2, SIZE[1] // 2), chance.randbytes(SIZE[0] // 2 * (SIZE[1] // 2)))
    grain = grain.point(lambda level: level // 16).resize(SIZE, Image.Resampling.BICUBIC).convert("RGB")
    image = ImageChops.add(scene.filter(ImageFilter.GaussianBlur(1.2)), grain)
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = taken
    file = BytesIO()
    image.save(file, "JPEG", quality=46, exif=exif)
    return file.getvalue()


def _scene(cut: bool) -> Image.Image:
    scene = Image.new("RGB", SIZE, LACQUER)
    draw = ImageDraw.Draw(scene)
    for number, (x, y) in enumerate(PADS):
        end = (x + 40 * (number % 3 - 1), 40 if y < SIZE[1] // 2 else 690)
        draw.line((x, y, x, (y + end[1]) // 2, *end), fill=TRACE, width=20, joint="curve")
    for x, y in PADS:
        draw.ellipse((x - 27, y - 24, x + 27, y + 28), fill=SHADOW)
        draw.ellipse((x - 26, y - 26, x + 26, y + 26), fill=SOLDER)
        draw.ellipse((x - 12, y - 16, x + 4, y), fill=(232, 234, 230))
    if cut:
        _cut(draw, *PADS[CUT_AT])
    return scene


def _cut(draw: ImageDraw.ImageDraw, x: int, y: int) -> None:
    """Between the pad and the board's edge; a wire from either side of it."""
    place = y - 70
    draw.rectangle((x - 16, place - 9, x + 16, place + 9), fill=LACQUER)
    draw.line((x - 18, place + 12, x + 18, place - 12), fill=SHADOW, width=6)
    for at, colour, end in ((place - 34, (160, 44, 36), (900, 90)), (place + 34, (206, 196, 180), (910, 180))):
        draw.ellipse((x - 13, at - 13, x + 13, at + 13), fill=BARE)
        draw.ellipse((x - 10, at - 10, x + 10, at + 10), fill=SOLDER)
        draw.line((x, at, x + 120, at - 8, *end), fill=colour, width=9, joint="curve")
