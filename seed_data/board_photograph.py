"""A drawn "photograph" of the demo's main board: nothing printed on it, seen askew on a workbench. Invented."""

from functools import cache
from io import BytesIO
from random import Random

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageChops, ImageDraw, ImageFilter

from seed_data.board_flat import MARGIN, SCALE, cover, flat_board
from seed_data.board_plan import HEIGHT, WIDTH, Spot

SIZE = (2400, 1800)
# Where the corners of the board are in the picture: rear left, rear right, front right, front left.
CORNERS = ((292.0, 486.0), (2066.0, 262.0), (2254.0, 1394.0), (236.0, 1578.0))
SEED = 33
_BENCH = (152, 120, 86)


def photograph_spot(x: float, y: float) -> Spot:
    """Where a spot of the board, in millimetres, is in the photograph, in pixels."""
    across, down, along = _seen() @ (x, y, 1.0)
    return float(across / along), float(down / along)


def draw_photograph(taken: str) -> bytes:
    """As a camera would send it, with the moment at which it was taken (EXIF: `1981:09:30 12:00:00`)."""
    chance = Random(SEED)  # noqa: S311 (a drawing is no secret)
    hides, bench = _askew(cover()), _bench(chance)
    shadow = ImageChops.offset(hides.reduce(4).filter(ImageFilter.GaussianBlur(7)), 7, 9).resize(SIZE)
    bench.paste((26, 20, 16), mask=shadow.point(lambda level: level * 4 // 5))
    bench.paste(_askew(flat_board()), mask=hides)
    image = _lit(bench, chance)
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = taken
    file = BytesIO()
    image.save(file, "JPEG", quality=85, exif=exif)
    return file.getvalue()


# ---- How it is seen ----


@cache
def _seen() -> NDArray[np.float64]:
    """The projective map that takes the board's corners, in millimetres, to those in the picture."""
    rows, places = [], []
    corners = ((0.0, 0.0), (WIDTH, 0.0), (WIDTH, HEIGHT), (0.0, HEIGHT))
    for (x, y), (across, down) in zip(corners, CORNERS, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -across * x, -across * y], [0, 0, 0, x, y, 1, -down * x, -down * y]]
        places += [across, down]
    found = np.linalg.solve(np.array(rows), np.array(places))
    return np.append(found, 1.0).reshape(3, 3)


def _askew(flat: Image.Image) -> Image.Image:
    """A flat drawing as the camera sees it; Pillow asks for the way back, from a pixel's middle to one."""
    drawn = np.array([[SCALE, 0, MARGIN * SCALE], [0, SCALE, MARGIN * SCALE], [0, 0, 1]])
    back = drawn @ np.linalg.inv(_seen())
    back /= back[2, 2]
    ways = tuple(float(value) for value in back.flatten()[:8])
    return flat.transform(SIZE, Image.Transform.PERSPECTIVE, ways, Image.Resampling.BILINEAR)


def _bench(chance: Random) -> Image.Image:
    """A worn board of wood: streaks along it, and two joints."""
    streaks = Image.frombytes("L", (12, 450), chance.randbytes(12 * 450)).filter(ImageFilter.GaussianBlur(1))
    grain = streaks.resize(SIZE, Image.Resampling.BICUBIC)
    bench = Image.new("RGB", SIZE, _BENCH)
    bench.paste((112, 84, 58), mask=grain.point(lambda level: level * 2 // 3))
    draw = ImageDraw.Draw(bench)
    for y, end in ((140, 96), (1690, 1748)):
        draw.line((0, y, SIZE[0], end), (58, 42, 30), 7)
        draw.line((0, y + 6, SIZE[0], end + 6), (170, 138, 102), 3)
    return bench


def _lit(scene: Image.Image, chance: Random) -> Image.Image:
    """Light from the upper left, a lens not quite sharp, and a grain over all."""
    down_it = Image.linear_gradient("L").resize(SIZE)
    across_it = Image.linear_gradient("L").transpose(Image.Transpose.ROTATE_90).resize(SIZE)
    light = ImageChops.add(down_it, across_it, 2).point(lambda level: 255 - level // 5)
    corners = Image.radial_gradient("L").resize(SIZE).point(lambda level: 255 - max(0, level - 110) // 3)
    shade = ImageChops.multiply(light, corners)
    scene = ImageChops.multiply(scene, Image.merge("RGB", (shade, shade, shade))).filter(ImageFilter.GaussianBlur(0.9))
    across, down = SIZE[0] // 2, SIZE[1] // 2
    noise = Image.frombytes("L", (across, down), chance.randbytes(across * down)).point(lambda level: level // 17)
    noise = noise.resize(SIZE, Image.Resampling.BILINEAR)
    return ImageChops.add(scene, Image.merge("RGB", (noise, noise, noise)), 1, -4)
