"""What is kept of an uploaded photograph: decoded whole before it is trusted, without its place, upright in views."""

import hashlib
import re
import time
import zlib
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from io import BytesIO

import numpy as np
import pillow_heif
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageChops, ImageCms, ImageFile, ImageOps, ImageStat

from server.records import pictures
from server.records.picture_formats import BadPicture, Stripped, strip_jpeg
from server.records.pictures import FINE, SCREEN, SMALL, Picture, fitted, take_in, view_at
from tests.records.photographs import ALL_KINDS, KINDS, PROFILE, SECRETS, drawing, exif, heic, jpeg, png, webp, written

MEDIA = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp", "HEIC": "image/heic"}
SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
NOISE = 8  # levels of 255 by which a pixel may differ on average, for all that a JPEG does


def opened(content: bytes) -> Image.Image:
    if content[4:8] == b"ftyp":
        sent = pillow_heif.open_heif(content)
        return sent.to_pillow() if any(sent.info["exif"] or b"") else Image.fromarray(np.asarray(sent))
    image = Image.open(BytesIO(content))
    image.load()
    return image


def unlike(one: Image.Image, other: Image.Image) -> float:
    """By how many levels two pictures differ, on average."""
    apart = ImageChops.difference(one.convert("RGB"), other.convert("RGB"))
    return max(ImageStat.Stat(apart).mean)


def refusal(content: bytes) -> str:
    with pytest.raises(BadPicture) as refused:
        take_in(content)
    return str(refused.value)


# ---- What is kept ----


@pytest.mark.parametrize("kind", ALL_KINDS)
def test_a_photograph_is_kept_by_what_it_is(kind: str) -> None:
    """Its kind and size from its bytes, its day from the camera, and the digest of what was sent."""
    sent = ALL_KINDS[kind]()

    picture = take_in(sent)

    assert MEDIA[kind] == picture.media_type
    assert (picture.width, picture.height) == (120, 80)
    assert picture.taken_on == date(2025, 3, 14)
    assert hashlib.sha256(sent).hexdigest() == picture.sent_sha256
    assert hashlib.sha256(picture.kept).hexdigest() == picture.sha256
    assert unlike(opened(picture.kept), drawing()) < NOISE


@pytest.mark.parametrize("orientation", [1, 6])
@pytest.mark.parametrize("kind", ALL_KINDS)
def test_the_place_and_the_camera_go(kind: str, orientation: int) -> None:
    """From the kept file and from the views, which say nothing at all."""
    picture = take_in(ALL_KINDS[kind](orientation))

    tags = dict(opened(picture.kept).getexif())
    assert tags == ({0x0112: 6} if orientation == 6 and kind != "HEIC" else {})
    for content in (picture.kept, *picture.views.values()):
        assert [secret for secret in SECRETS if secret in content] == []
    assert [dict(opened(view).getexif()) for view in picture.views.values()] == [{}, {}]


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_kept_has_the_pixels_that_were_sent(kind: str) -> None:
    sent = KINDS[kind](3)

    assert opened(sent).tobytes() == opened(take_in(sent).kept).tobytes()


@pytest.mark.parametrize("kind", ALL_KINDS)
@pytest.mark.parametrize("orientation", range(1, 9))
def test_views_are_upright(kind: str, orientation: int) -> None:
    """Turned and mirrored as Pillow's own reading of the file that was sent says."""
    if kind == "HEIC":
        sent = heic(image=ImageOps.exif_transpose(opened(jpeg(orientation))))
    else:
        sent = KINDS[kind](orientation)
    upright = ImageOps.exif_transpose(opened(jpeg(orientation)))

    picture = take_in(sent)

    assert (picture.width, picture.height) == upright.size
    for view in picture.views.values():
        assert opened(view).size == upright.size
        assert unlike(opened(view), upright) < NOISE


def test_a_heic_picture_that_its_container_turns_is_turned_once() -> None:
    """A phone writes both: how the container turns it, and the EXIF tag that says the same."""
    picture = take_in(heic(6))

    assert (picture.width, picture.height) == (80, 120)
    assert unlike(opened(picture.kept), drawing().transpose(Image.Transpose.ROTATE_270)) < NOISE
    assert dict(opened(picture.kept).getexif()) == {}


@pytest.mark.parametrize("kind", ALL_KINDS)
def test_what_is_kept_can_be_taken_in_again(kind: str) -> None:
    """So that its views can be made again when they are missing."""
    picture = take_in(ALL_KINDS[kind](6))
    again = take_in(picture.kept)

    assert (again.kept, again.views.keys()) == (picture.kept, picture.views.keys())
    assert again.views == picture.views


def test_views_have_the_size_of_a_page_and_of_a_list() -> None:
    """And nothing is made larger than it was."""
    picture = take_in(written("JPEG", drawing((2400, 1200))))

    assert {most: opened(view).size for most, view in picture.views.items()} == {SCREEN: (1600, 800), SMALL: (480, 240)}
    assert fitted(2400, 1200, SMALL) == (480, 240)
    assert fitted(120, 80, SMALL) == (120, 80)
    assert fitted(20_000, 3, SMALL) == (480, 1)


@pytest.mark.parametrize("size", [(3333, 2221), (4001, 1063), (6401, 411)])
def test_views_of_a_large_photograph_have_the_size_that_a_page_gives_them(size: tuple[int, int]) -> None:
    """Although a JPEG is worked out at a fraction of its size, which is rounded."""
    picture = take_in(written("JPEG", drawing(size)))

    assert {most: opened(view).size for most, view in picture.views.items()} == {
        most: fitted(*size, most) for most in (SCREEN, SMALL)
    }
    assert unlike(opened(picture.views[SMALL]), drawing(size).resize(fitted(*size, SMALL))) < NOISE


def test_a_second_kind_of_day_is_not_believed() -> None:
    """A clock that was never set has no day to give."""
    assert take_in(jpeg(taken="1980:01:01 00:00:00")).taken_on is None


# ---- Colours ----


@pytest.mark.parametrize("mode", ["L", "CMYK"])
def test_a_jpeg_in_greys_or_inks_is_shown_as_it_looks(mode: str) -> None:
    sent = written("JPEG", drawing(mode=mode), quality=95)

    picture = take_in(sent)

    assert opened(picture.kept).mode == mode
    assert unlike(opened(picture.views[SMALL]), opened(sent)) < NOISE


def test_sixteen_bits_of_grey_are_shown_in_eight() -> None:
    """From black to white, where a plain conversion would show nearly all of it white."""
    grey = drawing(mode="L")
    deep = Image.frombytes("I;16", grey.size, b"".join(bytes([17, level]) for level in grey.tobytes()))

    picture = take_in(written("PNG", deep))

    assert opened(picture.kept).mode == "I;16"
    assert unlike(opened(picture.views[SMALL]), grey) < NOISE


@pytest.mark.parametrize("mode", ["1", "P", "LA", "RGBA"])
def test_other_kinds_of_png_are_shown(mode: str) -> None:
    image = drawing().quantize(16) if mode == "P" else drawing(mode=mode)

    assert unlike(opened(take_in(written("PNG", image)).views[SMALL]), image) < 2 * NOISE


@pytest.mark.parametrize(
    ("kind", "clear"),
    [
        ("PNG", Image.new("RGBA", (40, 40), (0, 0, 0, 0))),
        ("WEBP", Image.new("RGBA", (40, 40), (0, 0, 0, 0))),
        ("PNG", Image.new("LA", (40, 40), (0, 0))),
        ("HEIC", Image.new("RGBA", (40, 40), (0, 0, 0, 0))),
    ],
)
def test_what_can_be_seen_through_is_seen_on_white(kind: str, clear: Image.Image) -> None:
    picture = take_in(heic(image=clear) if kind == "HEIC" else written(kind, clear))

    assert opened(picture.views[SMALL]).convert("L").getextrema() == (255, 255)


def test_a_colour_that_stands_for_nothing_is_seen_on_white() -> None:
    """A palette and a PNG of plain colours can each name one."""
    for mode, black in (("P", 0), ("RGB", (0, 0, 0)), ("L", 0), ("I;16", 0)):
        sent = written("PNG", Image.new(mode, (40, 40), 0), transparency=black)

        view = opened(take_in(sent).views[SMALL])
        assert view.convert("L").getextrema() == ((0, 0) if mode == "I;16" else (255, 255))


def test_views_are_in_the_colours_of_a_screen() -> None:
    """A picture with a profile of its own is converted: here one whose red is the green of others."""
    swapped = PROFILE.replace(b"rXYZ", b"....").replace(b"gXYZ", b"rXYZ").replace(b"....", b"gXYZ")
    red, green, blue = drawing().split()

    picture = take_in(jpeg(icc_profile=swapped, quality=95))

    view = opened(picture.views[SMALL])
    assert opened(picture.kept).info["icc_profile"] == swapped
    assert unlike(view, Image.merge("RGB", (green, red, blue))) < NOISE
    assert "icc_profile" not in view.info


@pytest.mark.parametrize(
    "profile", [b"no profile at all", ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()]
)
def test_a_profile_that_fits_no_picture_of_its_kind_says_nothing(profile: bytes) -> None:
    assert unlike(opened(take_in(jpeg(icc_profile=profile)).views[SMALL]), drawing()) < NOISE


# ---- What is refused ----


def test_a_file_without_anything_in_it_is_refused() -> None:
    assert refusal(b"") == "The file is empty."


@pytest.mark.parametrize(
    "sent", [SVG, b"%PDF-1.7", written("GIF"), written("BMP"), b"<html>", b"\0" * 64, b"RIFF\0\0\0\0WAVEfmt "]
)
def test_what_is_no_photograph_is_told_what_is_one(sent: bytes) -> None:
    assert "JPEG, PNG, WebP and HEIC files are taken" in refusal(sent)


def png_header(width: int, height: int, colours: bytes = b"\x01\0") -> bytes:
    """A PNG file that says it is so large, in a few bytes."""
    parts = [
        (b"IHDR", width.to_bytes(4) + height.to_bytes(4) + colours + b"\0\0\0"),
        (b"IDAT", zlib.compress(b"\0")),
        (b"IEND", b""),
    ]
    chunks = [len(data).to_bytes(4) + name + data + zlib.crc32(name + data).to_bytes(4) for name, data in parts]
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunks)


def jpeg_header(width: int, height: int) -> bytes:
    sent = bytearray(written("JPEG"))
    at = sent.index(b"\xff\xc0") + 5
    sent[at : at + 4] = height.to_bytes(2) + width.to_bytes(2)
    return bytes(sent)


def webp_header(width: int, height: int) -> bytes:
    sent = bytearray(webp())
    sent[24:30] = (width - 1).to_bytes(3, "little") + (height - 1).to_bytes(3, "little")
    return bytes(sent)


Header = Callable[[int, int], bytes]
HEADERS: list[Header] = [png_header, jpeg_header, webp_header]


@pytest.mark.parametrize("header", HEADERS)
@pytest.mark.parametrize(("width", "height"), [(50_000, 50_000), (20_001, 1), (1, 20_001), (8_001, 8_000)])
def test_a_picture_beyond_the_bounds_is_refused_before_it_is_decoded(
    header: Header, width: int, height: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With its size in the sentence."""
    decoded: list[object] = []
    monkeypatch.setattr(ImageFile.ImageFile, "load", lambda picture: decoded.append(picture))

    said = refusal(header(width, height))

    assert said.startswith(f"This is {width:,} × {height:,} pixels. A photograph has at most 64 million pixels")
    assert decoded == []


def test_a_heic_picture_beyond_the_bounds_is_refused() -> None:
    """Its size stands in a box of the container."""
    sent = heic()
    at = sent.index(b"ispe") + 8

    said = refusal(sent[:at] + (50_000).to_bytes(4) * 2 + sent[at + 8 :])

    assert re.search(r"50,000 × 50,000 pixels|damaged", said)


def test_a_heic_picture_beyond_the_bounds_is_never_decoded(monkeypatch: pytest.MonkeyPatch) -> None:
    """What its container says of its size is held against the bounds first."""
    monkeypatch.setattr(pictures, "PIXELS_MOST", 120 * 80 - 1)
    monkeypatch.setattr(pillow_heif.HeifFile, "to_pillow", lambda _: pytest.fail("it was decoded"))

    assert "120 × 80 pixels" in refusal(heic())


def test_a_heic_file_in_an_unknown_layout_becomes_a_jpeg() -> None:
    """So that nothing that it says is kept; boxes of a film or of somebody's own are blanked."""
    sent = heic()
    behind = take_in(sent + b"<svg>alert</svg>")
    beside = take_in(sent + (24).to_bytes(4) + b"uuid" + b"0123456789abcdef")

    assert (behind.media_type, behind.kept[:3]) == ("image/jpeg", b"\xff\xd8\xff")
    assert (beside.media_type, b"0123456789abcdef" in beside.kept) == ("image/heic", False)


HEAVY = "A WebP picture, or one that can be seen through, has at most 32 million. Save it as a JPEG, and send that."


@pytest.mark.parametrize("colours", [4, 6])
def test_a_large_picture_that_can_be_seen_through_is_refused_before_it_is_decoded(colours: int) -> None:
    sent = png_header(6_000, 5_334, b"\x08" + bytes([colours]))

    assert refusal(sent) == f"This is 6,000 × 5,334 pixels. {HEAVY}"
    assert "damaged" in refusal(png_header(6_000, 5_333, b"\x08" + bytes([colours])))


def test_a_large_webp_is_refused_before_it_is_decoded() -> None:
    """Its decoder holds the whole picture several times."""
    assert refusal(written("WEBP", Image.new("RGB", (8_000, 4_001)), method=0)).endswith(HEAVY)


def test_a_large_heic_that_can_be_seen_through_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """One as large that cannot is kept."""
    monkeypatch.setattr(pictures, "HEAVY_MOST", 120 * 80 - 1)

    assert "can be seen through, has at most" in refusal(heic(image=drawing(mode="RGBA")))
    assert take_in(heic()).width == 120


def test_pictures_are_decoded_one_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """However many are sent at once: each may need some hundred megabytes."""
    sent, under_way, seen = jpeg(), list[int](), list[int]()

    def watched(content: bytes) -> Stripped:
        under_way.append(1)
        seen.append(len(under_way))
        time.sleep(0.02)
        under_way.pop()
        return strip_jpeg(content)

    monkeypatch.setattr(pictures, "strip_jpeg", watched)
    with ThreadPoolExecutor(4) as threads:
        kept = list(threads.map(take_in, [sent] * 4))

    assert seen == [1] * 4
    assert len({one.sha256 for one in kept}) == 1


@pytest.mark.parametrize("sent", [png_header(0, 0), png_header(0, 10), jpeg_header(0, 0), jpeg_header(10, 0)])
def test_a_picture_without_a_size_is_refused(sent: bytes) -> None:
    assert "damaged" in refusal(sent)


@pytest.mark.parametrize("sent", [png_header(1_000, 1_000), webp_header(1_000, 1_000)])
def test_a_picture_that_is_not_the_size_it_says_is_refused(sent: bytes) -> None:
    assert "damaged" in refusal(sent)


@pytest.mark.parametrize("kind", ALL_KINDS)
@given(data=st.data())
def test_a_file_that_breaks_off_is_refused(kind: str, data: st.DataObject) -> None:
    """Wherever it does, a word of it is said."""
    sent = ALL_KINDS[kind]()
    cut = data.draw(st.integers(12, len(sent) - 1))

    assert re.search("breaks off|damaged", refusal(sent[:cut]))


def test_a_png_whose_data_ends_early_is_refused() -> None:
    """Every chunk is whole, and yet half of the picture is missing."""
    sent = written("PNG")
    start = sent.index(b"IDAT") - 4
    half = zlib.compress(zlib.decompress(sent[start + 8 : sent.index(b"IEND") - 8])[:100])
    chunk = len(half).to_bytes(4) + b"IDAT" + half + zlib.crc32(b"IDAT" + half).to_bytes(4)

    assert "damaged" in refusal(sent[:start] + chunk + sent[sent.index(b"IEND") - 4 :])


@pytest.mark.parametrize(
    "start", [b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"RIFF\x40\0\0\0WEBP", b"\0\0\0\x18ftypheic", b""]
)
@given(rest=st.binary(max_size=300))
def test_no_bytes_upset_the_decoding(start: bytes, rest: bytes) -> None:
    """Whatever they are, they are no photograph, and a sentence says so."""
    assert refusal(start + rest).endswith(".")


@pytest.mark.parametrize("kind", ALL_KINDS)
@given(data=st.data())
def test_no_damage_upsets_the_decoding(kind: str, data: st.DataObject) -> None:
    """A real file of which a few bytes were changed is kept, without its place, or refused."""
    sent = bytearray(ALL_KINDS[kind](6))
    for _ in range(data.draw(st.integers(1, 4))):
        sent[data.draw(st.integers(0, len(sent) - 1))] = data.draw(st.integers(0, 255))

    try:
        picture = take_in(bytes(sent))
    except BadPicture as refused:
        assert str(refused).endswith(".")  # noqa: PT017 (it may be refused, and must then say so)
    else:
        assert isinstance(picture, Picture)
        assert 0x8825 not in opened(picture.kept).getexif()


def test_a_picture_that_is_said_to_be_metadata_is_refused() -> None:
    """What is kept has to be a picture still once its metadata is blanked."""
    sent = heic()
    picture, metadata = (sent.index(start) - 4 for start in (b"(\x01\xaf", b"\0\0\0\x06Exif"))
    assert sent.count(metadata_at := (metadata + 4).to_bytes(4)) == 1

    assert "damaged" in refusal(sent.replace(metadata_at, picture.to_bytes(4)))


def test_a_script_behind_a_photograph_is_not_kept() -> None:
    """A file that is a photograph and a page at once is kept as the photograph."""
    for make in (jpeg, png, webp):
        assert take_in(make() + SVG).kept == take_in(make()).kept


def test_a_view_for_looking_closer_has_more_to_show() -> None:
    """Upright like the others, and never larger than the picture."""
    sent = written("JPEG", drawing((5_000, 2_500)), exif=exif(6))
    kept = take_in(sent).kept

    assert opened(view_at(kept, FINE)).size == (2_048, 4_096)
    assert opened(view_at(kept, SCREEN)).size == (800, 1_600)
    assert opened(view_at(png(), FINE)).size == (120, 80)
    with pytest.raises(BadPicture):
        view_at(kept[:200], FINE)
