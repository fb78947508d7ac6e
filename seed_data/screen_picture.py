"""A drawn "photograph" for the demo: a dim room, a glass screen seen a little askew, stripes all over it. Invented."""

from io import BytesIO
from random import Random

from PIL import Image, ImageChops, ImageDraw, ImageFilter

SIZE = (960, 720)
ROOM, FRAME, GLASS, GLOW = (24, 22, 26), (52, 50, 48), (14, 24, 20), (170, 214, 176)
# Of the picture, in the drawing: the upper left one first, then against the clock.
CORNERS = (52, 18, 14, 708, 942, 672, 920, 30)
SEED = 16


def stripes(taken: str) -> bytes:
    """The picture as a camera would send it, with the moment at which it was taken (EXIF: `1981:09:30 12:00:00`)."""
    chance = Random(SEED)  # noqa: S311 (a drawing is no secret)
    scene = _scene(chance).transform(SIZE, Image.Transform.QUAD, CORNERS, Image.Resampling.BICUBIC)
    grain = Image.frombytes("L", (SIZE[0] // 3, SIZE[1] // 3), chance.randbytes(SIZE[0] // 3 * (SIZE[1] // 3)))
    grain = grain.point(lambda level: level // 13).resize(SIZE, Image.Resampling.BICUBIC).convert("RGB")
    seen = ImageChops.add(scene.filter(ImageFilter.GaussianBlur(1.4)), grain)
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = taken
    file = BytesIO()
    seen.save(file, "JPEG", quality=46, exif=exif)
    return file.getvalue()


def _scene(chance: Random) -> Image.Image:
    scene = Image.new("RGB", SIZE, ROOM)
    draw = ImageDraw.Draw(scene)
    draw.rounded_rectangle((110, 70, 850, 640), 46, fill=FRAME)
    draw.rounded_rectangle((160, 116, 800, 590), 60, fill=GLASS)
    lit = Image.new("L", SIZE)
    _stripes(ImageDraw.Draw(lit), chance)
    glow = lit.filter(ImageFilter.GaussianBlur(9)).point(lambda level: level // 2)
    for light in (lit, glow):
        scene.paste(Image.new("RGB", SIZE, GLOW), mask=light)
    return scene


def _stripes(draw: ImageDraw.ImageDraw, chance: Random) -> None:
    """Bands of bytes as a memory holds them before anything was written: alike along each column, no two columns so."""
    for x in range(196, 760, 12):
        held = chance.choice((0x00, 0x00, 0xFF, 0xFF, 0xF0, 0x7F))
        for y in range(146, 556, 10):
            bits = held if chance.random() < 0.97 else chance.randrange(256)
            if bits >> (y // 10) % 8 & 1:
                draw.rectangle((x, y, x + 9, y + 6), fill=chance.randrange(150, 230))
