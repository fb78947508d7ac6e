"""A drawn "photograph" for the demo: a home computer that never was, on a bench, from above. Invented."""

from io import BytesIO
from random import Random

from PIL import Image, ImageChops, ImageDraw, ImageFilter

SIZE = (960, 720)
BENCH, SHADOW, CASE, EDGE = (96, 72, 54), (52, 40, 30), (204, 190, 152), (170, 154, 116)
KEY, MARKED, LAMP = ((112, 98, 74), (134, 120, 94)), ((62, 96, 92), (84, 122, 116)), (206, 150, 40)
ROWS = ((0, 13), (22, 13), (34, 12), (56, 11))  # where each row of keys begins, and how many it has
SEEN = (34, 8, 8, 700, 948, 716, 918, 26)  # upper left first, then against the clock
SEED = 41


def as_it_came(taken: str) -> bytes:
    """As a camera would send it, with the moment at which it was taken (EXIF: `1981:09:30 12:00:00`)."""
    chance = Random(SEED)  # noqa: S311 (a drawing is no secret)
    scene = _scene(chance).transform(SIZE, Image.Transform.QUAD, SEEN, Image.Resampling.BICUBIC)
    grain = Image.frombytes("L", (SIZE[0] // 2, SIZE[1] // 2), chance.randbytes(SIZE[0] // 2 * (SIZE[1] // 2)))
    grain = grain.point(lambda level: level // 18).resize(SIZE, Image.Resampling.BICUBIC).convert("RGB")
    image = ImageChops.add(scene.filter(ImageFilter.GaussianBlur(1.3)), grain)
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = taken
    file = BytesIO()
    image.save(file, "JPEG", quality=46, exif=exif)
    return file.getvalue()


def _scene(chance: Random) -> Image.Image:
    scene = Image.new("RGB", SIZE, BENCH)
    draw = ImageDraw.Draw(scene)
    for y in range(0, SIZE[1], 9):  # the bench's grain
        shade = chance.randrange(-6, 7)
        draw.line((0, y, SIZE[0], y + 5), fill=tuple(part + shade for part in BENCH), width=3)
    draw.rounded_rectangle((96, 150, 880, 600), 26, fill=SHADOW)
    draw.rounded_rectangle((84, 136, 868, 584), 26, fill=EDGE)
    draw.rounded_rectangle((90, 140, 862, 572), 22, fill=CASE)
    for x in range(132, 470, 16):  # vents
        draw.rounded_rectangle((x, 168, x + 7, 236), 3, fill=EDGE)
    draw.ellipse((800, 186, 816, 202), fill=LAMP)
    for number, (begin, many) in enumerate(ROWS):
        _keys(draw, 130 + begin, 300 + 50 * number, many)
    draw.rounded_rectangle((280, 506, 620, 546), 6, fill=KEY[0])
    return scene


def _keys(draw: ImageDraw.ImageDraw, left: int, top: int, many: int) -> None:
    for key in range(many):
        x = left + 50 * key
        side, face = MARKED if key == many - 1 and many % 2 else KEY
        draw.rounded_rectangle((x, top, x + 42, top + 42), 6, fill=side)
        draw.rounded_rectangle((x + 7, top + 4, x + 35, top + 30), 5, fill=face)
