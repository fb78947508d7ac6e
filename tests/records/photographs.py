"""Photographs for the tests, drawn here and written by Pillow, with everything in them that must not be kept."""

from collections.abc import Callable
from io import BytesIO
from typing import Any

import pillow_heif
from PIL import Image, ImageCms, ImageDraw
from PIL.PngImagePlugin import PngInfo

SECRETS = (b"SN-90125", b"a comment of the camera", b"<x:xmpmeta", b"Some maker")
PROFILE = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
DAY = "2025:03:14 10:20:30"
SIZE = (120, 80)


def drawing(size: tuple[int, int] = SIZE, mode: str = "RGB") -> Image.Image:
    """No half of it is like another, so that a turn or a flip is seen."""
    image = Image.new("RGB", size, "#3a5f7d")
    draw, (width, height) = ImageDraw.Draw(image), size
    draw.rectangle((0, 0, width // 2, height // 4), fill="#d8402a")
    draw.ellipse((width // 2, height // 2, width - 4, height - 4), fill="#e8d48a")
    return image.convert(mode)


def exif(orientation: int = 1, taken: str = DAY) -> Image.Exif:
    """A place, a serial number and a maker beside the two tags that are read."""
    tags = Image.Exif()
    tags[0x010F] = "Some maker"
    tags[0x0112] = orientation
    tags.get_ifd(0x8769).update({0x9003: taken, 0xA431: "SN-90125"})
    tags.get_ifd(0x8825).update({1: "N", 2: (51.0, 28.0, 40.0), 3: "W", 4: (0.0, 0.0, 5.0)})
    return tags


def written(kind: str, image: Image.Image | None = None, **more: Any) -> bytes:
    file = BytesIO()
    (image or drawing()).save(file, kind, **more)
    return file.getvalue()


def jpeg(orientation: int = 1, taken: str = DAY, **more: Any) -> bytes:
    told: dict[str, Any] = {
        "exif": exif(orientation, taken),
        "icc_profile": PROFILE,
        "xmp": SECRETS[2],
        "comment": SECRETS[1],
    }
    return written("JPEG", **(told | more))


def png(orientation: int = 1, taken: str = DAY, **more: Any) -> bytes:
    texts = PngInfo()
    texts.add_text("Comment", SECRETS[1].decode())
    texts.add_itxt("XML:com.adobe.xmp", SECRETS[2].decode(), zip=False)
    told: dict[str, Any] = {"exif": exif(orientation, taken), "icc_profile": PROFILE, "pnginfo": texts}
    return written("PNG", **(told | more))


def webp(orientation: int = 1, taken: str = DAY, **more: Any) -> bytes:
    told: dict[str, Any] = {
        "exif": exif(orientation, taken),
        "icc_profile": PROFILE,
        "xmp": SECRETS[2],
        "lossless": True,
    }
    return written("WEBP", **(told | more))


def heic(orientation: int = 1, taken: str = DAY, **more: Any) -> bytes:
    """Pillow-heif turns the picture by the container's own means, as phones do."""
    file = BytesIO()
    told = {"exif": exif(orientation, taken).tobytes(), "xmp": SECRETS[2]}
    pillow_heif.from_pillow(more.pop("image", None) or drawing()).save(file, **(told | more))
    return file.getvalue()


KINDS: dict[str, Callable[..., bytes]] = {"JPEG": jpeg, "PNG": png, "WEBP": webp}
ALL_KINDS = KINDS | {"HEIC": heic}
