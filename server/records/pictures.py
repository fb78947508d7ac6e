"""What is done with the bytes of an uploaded photograph before anything of it is kept.

The kind of file is found from the bytes, never from a name. Its size is held against bounds before it is decoded, and
it is decoded whole before it is trusted: one at a time, because one may need some hundred megabytes. It is kept
without place data (see `picture_formats` and `heif_parts`) and otherwise as it came; only a HEIC file that is put
together in an unknown way becomes a JPEG. Two smaller JPEGs, upright and in sRGB, are made for pages. A JPEG that was
damaged in the middle and has its end is not told from a sound one: its decoder fills in what is missing. Knows no
record and no web.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import date
from io import BytesIO
from threading import Lock

import pillow_heif
from PIL import Image, ImageCms

from server.records import clock
from server.records.exif import Tags, day_taken, read_tags
from server.records.files import digest_of
from server.records.heif_parts import UnknownLayout, blanked
from server.records.picture_formats import (
    DAMAGED,
    EXIF,
    PNG_SIGNATURE,
    BadPicture,
    Stripped,
    is_profile,
    strip_jpeg,
    strip_png,
    strip_webp,
)

SMALL, SCREEN, FINE = 480, 1600, 4096  # pixels along the longest side; the last is made when it is asked for
PIXELS_MOST = 64_000_000
HEAVY_MOST = 32_000_000  # pixels of what takes twice the memory: WebP, and what can be seen through
SIDE_MOST = 20_000
VIEW_QUALITY = 82
CONVERTED_QUALITY = 92
JPEG, HEIC = "image/jpeg", "image/heic"
JPEG_START = b"\xff\xd8\xff"
HEIC_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"mif1"}
TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
SIDEWAYS = range(5, 9)  # orientations that swap width and height
_decoding = Lock()


@dataclass(frozen=True, slots=True)
class Picture:
    """A photograph as it is kept: the file, its size upright, the day it was taken, and the views made of it.

    `sha256` is the digest of the kept file, `sent_sha256` that of the file as it came; `views` are JPEG files by the
    length of their longest side.
    """

    kept: bytes
    media_type: str
    width: int
    height: int
    taken_on: date | None
    sha256: str
    sent_sha256: str
    views: dict[int, bytes]


def take_in(content: bytes) -> Picture:
    """What is kept of a file that was sent; raises BadPicture with a sentence that says why nothing is."""
    if not content:
        raise BadPicture("The file is empty.")
    media_type, decode = _kind(content)
    with _decoding, _foreign():
        stripped, image = decode(content, SCREEN)
        if media_type == HEIC and stripped.kept.startswith(JPEG_START):
            media_type = JPEG
        views = _views(image, stripped, (SCREEN, SMALL))
    width, height = _upright(stripped)
    today = clock.today()
    return Picture(
        kept=stripped.kept,
        media_type=media_type,
        width=width,
        height=height,
        taken_on=day_taken(stripped.tags, today),
        sha256=digest_of(stripped.kept),
        sent_sha256=digest_of(content),
        views=views,
    )


def view_at(content: bytes, most: int) -> bytes:
    """One view of a kept file, a JPEG whose longest side has at most so many pixels; raises BadPicture."""
    _, decode = _kind(content)
    with _decoding, _foreign():
        stripped, image = decode(content, most)
        return _views(image, stripped, (most,))[most]


def is_whole(view: bytes) -> bool:
    """Whether a view that was kept beside its file is still a picture."""
    try:
        with _foreign(), Image.open(BytesIO(view), formats=["JPEG"]) as image:
            image.load()
    except BadPicture:
        return False
    return True


def _upright(stripped: Stripped) -> tuple[int, int]:
    width, height = stripped.size
    return (height, width) if stripped.tags.orientation in SIDEWAYS else (width, height)


def fitted(width: int, height: int, most: int) -> tuple[int, int]:
    """The size of a view: nothing is made larger than it is, and nothing vanishes."""
    scale = min(1.0, most / max(width, height))
    return max(1, round(width * scale)), max(1, round(height * scale))


def view_name(most: int) -> str:
    """What a view is called beside the file that it is made of."""
    return f"{most}.jpg"


# ---- What it is ----

Decoder = Callable[[bytes, int], tuple[Stripped, Image.Image]]


def _kind(content: bytes) -> tuple[str, Decoder]:
    """The media type under which a file is kept, and how it is decoded."""
    if content.startswith(JPEG_START):
        return JPEG, lambda sent, most: _decoded("JPEG", strip_jpeg(sent), most)
    if content.startswith(PNG_SIGNATURE):
        return "image/png", lambda sent, most: _decoded("PNG", strip_png(sent), most)
    if content.startswith(b"RIFF") and content[8:12] == b"WEBP":
        return "image/webp", lambda sent, most: _decoded("WEBP", strip_webp(sent), most)
    if content[4:8] == b"ftyp" and content[8:12] in HEIC_BRANDS:
        return HEIC, lambda sent, _: _heic(sent)
    raise BadPicture("This is no photograph of a kind that can be kept: JPEG, PNG, WebP and HEIC files are taken.")


def _check_size(size: tuple[int, int]) -> None:
    width, height = size
    if width < 1 or height < 1:
        raise BadPicture(DAMAGED)
    if max(size) > SIDE_MOST or width * height > PIXELS_MOST:
        raise BadPicture(
            f"This is {width:,} × {height:,} pixels. A photograph has at most {PIXELS_MOST // 1_000_000} million "
            f"pixels, and at most {SIDE_MOST:,} on a side."
        )


def _check_heavy(size: tuple[int, int]) -> None:
    width, height = size
    if width * height > HEAVY_MOST:
        raise BadPicture(
            f"This is {width:,} × {height:,} pixels. A WebP picture, or one that can be seen through, has at most "
            f"{HEAVY_MOST // 1_000_000} million. Save it as a JPEG, and send that."
        )


@contextmanager
def _foreign() -> Iterator[None]:
    """Within it foreign data is decoded, and decoders fail in more ways than they write down."""
    try:
        yield
    except BadPicture:
        raise
    except Exception as fault:
        raise BadPicture(DAMAGED) from fault


def _decoded(kind: str, stripped: Stripped, most: int) -> tuple[Stripped, Image.Image]:
    """The picture in the file that will be kept: what was left out of it is never decoded.

    A JPEG is read to its end, but worked out no larger than the largest view, of `most` pixels, needs.
    """
    _check_size(stripped.size)
    with Image.open(BytesIO(stripped.kept), formats=[kind]) as image:
        if image.size != stripped.size:
            raise BadPicture(DAMAGED)
        if kind == "WEBP" or image.has_transparency_data:
            _check_heavy(image.size)
        image.draft(None, fitted(*image.size, most))
        image.load()
    return stripped, image


def _heic(content: bytes) -> tuple[Stripped, Image.Image]:
    """The main picture of a HEIC file, which its decoder turns upright; the file blanked of all but the picture.

    What is decoded is the blanked file, as it will be kept: a damaged one can call its picture metadata.
    """
    taken = read_tags(_exif(content)).taken
    try:
        kept = blanked(content)
    except UnknownLayout:
        image = _opaque(_resizable(_main_picture(content)))
        kept = _as_jpeg(image, CONVERTED_QUALITY, _profile(image))
    else:
        image = _opaque(_resizable(_main_picture(kept)))
    return Stripped(kept, image.size, Tags(taken=taken)), image


def _exif(heic: bytes) -> bytes:
    """What it says beside its main picture, which is not decoded for it."""
    return bytes(pillow_heif.open_heif(heic).info.get("exif") or b"").removeprefix(EXIF)


def _main_picture(content: bytes) -> Image.Image:
    """By itself, so that the decoder's own copy of it is let go."""
    sent = pillow_heif.open_heif(content)
    _check_size(sent.size)
    if sent.has_alpha:
        _check_heavy(sent.size)
    image = sent.to_pillow()
    _check_size(image.size)
    return image


# ---- The views ----


def _views(image: Image.Image, stripped: Stripped, sizes: tuple[int, ...]) -> dict[int, bytes]:
    """The largest, which stands first, and from it the others."""
    larger = _opaque(_resized(_resizable(image), fitted(*stripped.size, sizes[0])))
    larger = _in_srgb(larger, _profile(image))
    if stripped.tags.orientation in TURNS:
        larger = larger.transpose(TURNS[stripped.tags.orientation])
    upright = _upright(stripped)
    return {most: _as_jpeg(_resized(larger, fitted(*upright, most)), VIEW_QUALITY) for most in sizes}


def _resized(image: Image.Image, size: tuple[int, int]) -> Image.Image:
    return image.resize(size, Image.Resampling.LANCZOS, reducing_gap=2.0)


def _profile(image: Image.Image) -> bytes | None:
    profile = image.info.get("icc_profile")
    return profile if profile and is_profile(profile) else None


def _resizable(image: Image.Image) -> Image.Image:
    """Eight bits a channel and no palette."""
    if image.mode.startswith("I"):  # 16 bits of grey; a plain conversion would cut them off at 255
        image = image.point(lambda value: value * (1 / 256))
        image.info.pop("transparency", None)
        return image.convert("L")
    if image.has_transparency_data:
        return image if image.mode in ("LA", "RGBA") else image.convert("RGBA")
    return image if image.mode in ("L", "RGB", "CMYK") else image.convert("RGB")


def _opaque(image: Image.Image) -> Image.Image:
    """What can be seen through is seen on white."""
    if image.mode not in ("LA", "RGBA"):
        return image
    ground = Image.new("RGB", image.size, "white")
    ground.paste(image, mask=image)
    ground.info.update(image.info)
    return ground


def _in_srgb(image: Image.Image, profile: bytes | None) -> Image.Image:
    """The colours as a screen shows them; a profile that fits no picture of this kind says nothing."""
    if profile:
        with suppress(ImageCms.PyCMSError, OSError):
            source, screen = ImageCms.ImageCmsProfile(BytesIO(profile)), ImageCms.createProfile("sRGB")
            image = ImageCms.profileToProfile(image, source, screen, outputMode="RGB") or image
    return image if image.mode in ("L", "RGB") else image.convert("RGB")


def _as_jpeg(image: Image.Image, quality: int, profile: bytes | None = None) -> bytes:
    file = BytesIO()
    image.save(file, "JPEG", quality=quality, icc_profile=profile, comment=b"")
    return file.getvalue()
