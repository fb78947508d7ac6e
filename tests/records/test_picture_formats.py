"""Files taken apart and put together: the picture stays byte for byte, and what nobody needs to know goes."""

import zlib
from io import BytesIO

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from server.records.picture_formats import BadPicture, Stripped, strip_jpeg, strip_png, strip_webp
from tests.effort import most_memory_in
from tests.records.photographs import DAY, KINDS, PROFILE, SECRETS, SIZE, drawing, jpeg, png, webp, written

STRIPS = {"JPEG": strip_jpeg, "PNG": strip_png, "WEBP": strip_webp}
GPS = 0x8825
HIDDEN = b"GPSLatitude 48 of the keeper's own house, where the machine stands."
TAIL = b"PK\x03\x04 <script>alert(1)</script> a second file behind the first"


def opened(content: bytes) -> Image.Image:
    image = Image.open(BytesIO(content))
    image.load()
    return image


def segment(marker: int, data: bytes) -> bytes:
    return bytes([0xFF, marker]) + (len(data) + 2).to_bytes(2) + data


def chunk(name: bytes, data: bytes) -> bytes:
    return len(data).to_bytes(4) + name + data + zlib.crc32(name + data).to_bytes(4)


# ---- What goes, and what stays ----


@pytest.mark.parametrize("orientation", [1, 6])
@pytest.mark.parametrize("kind", KINDS)
def test_only_the_orientation_is_left_of_what_it_said(kind: str, orientation: int) -> None:
    """No place, no serial number, no maker, no comment; what was read of it is told."""
    sent = KINDS[kind](orientation)
    assert GPS in opened(sent).getexif()

    stripped = STRIPS[kind](sent)

    assert dict(opened(stripped.kept).getexif()) == ({0x0112: 6} if orientation == 6 else {})
    assert [secret for secret in SECRETS if secret in stripped.kept] == []
    assert (stripped.tags.orientation, stripped.tags.taken) == (orientation, DAY)
    assert stripped.size == SIZE


@pytest.mark.parametrize("kind", KINDS)
def test_the_picture_and_its_colours_stay(kind: str) -> None:
    """The same pixels from the same bytes, and the colour profile whole."""
    sent = KINDS[kind](6)

    kept = opened(STRIPS[kind](sent).kept)

    assert opened(sent).tobytes() == kept.tobytes()
    assert kept.info["icc_profile"] == PROFILE


def test_the_compressed_data_is_not_touched() -> None:
    """From the first table of a JPEG on, and every IDAT chunk of a PNG."""
    photo, shot = jpeg(6), png(6)

    assert strip_jpeg(photo).kept.endswith(photo[photo.index(b"\xff\xdb") :])
    data = shot[shot.index(b"IDAT") - 4 :]
    assert strip_png(shot).kept.endswith(data)


def test_a_scan_in_several_parts_stays_whole() -> None:
    """A progressive JPEG has tables between its scans, restart markers in them and fill bytes before markers."""
    sent = jpeg(progressive=True, restart_marker_blocks=2)
    filled = sent.replace(b"\xff\xc4", b"\xff\xff\xff\xc4")

    assert sent.count(b"\xff\xda") > 2
    assert strip_jpeg(sent).kept.endswith(sent[sent.index(b"\xff\xdb") :])
    assert opened(strip_jpeg(filled).kept).tobytes() == opened(sent).tobytes()


@pytest.mark.parametrize("kind", KINDS)
def test_what_follows_the_picture_is_left_out(kind: str) -> None:
    """A file that is two files at once is kept as one."""
    sent = KINDS[kind]()

    assert STRIPS[kind](sent) == STRIPS[kind](sent + TAIL)


@pytest.mark.parametrize("kind", KINDS)
def test_what_was_kept_once_is_kept_as_it_is(kind: str) -> None:
    stripped = STRIPS[kind](KINDS[kind](8))

    assert stripped.kept == STRIPS[kind](stripped.kept).kept


def test_a_jpeg_loses_thumbnails_and_further_pictures() -> None:
    """In its JFIF header, in one of JFIF's extensions, in an index of more pictures, in any other segment."""
    jfif = b"JFIF\0\x01\x02\x01\0\x48\0\x48"
    hidden = [
        segment(0xE0, jfif + b"\x01\x01" + b"thumb"[:3]),
        segment(0xE0, b"JFXX\0\x10thumbnail"),
        segment(0xE2, b"MPF\0index"),
        segment(0xED, b"Photoshop 3.0\0caption"),
        segment(0xEF, b"anything"),
        segment(0xFE, b"comment"),
        segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0<x:xmpmeta"),
        b"rubbish between segments",
    ]
    plain = written("JPEG")
    bare = plain[:2] + plain[20:]  # without the header that Pillow wrote

    kept = strip_jpeg(bare[:2] + b"".join(hidden) + bare[2:]).kept

    assert kept == b"\xff\xd8" + segment(0xE0, jfif + b"\0\0") + bare[2:]


def test_what_tells_the_colours_of_a_jpeg_stays() -> None:
    """Adobe's segment says that inks are stored upside down."""
    sent = written("JPEG", drawing(mode="CMYK"))

    kept = strip_jpeg(sent).kept

    assert b"Adobe" in kept
    assert opened(sent).tobytes() == opened(kept).tobytes()


def with_segments(sent: bytes, *segments: bytes) -> bytes:
    """Behind the JFIF header that Pillow writes."""
    return sent[:20] + b"".join(segments) + sent[20:]


def test_nothing_hides_behind_what_tells_the_colours() -> None:
    """Adobe's segment ends after its twelve bytes; one that is shorter tells nothing."""
    adobe = b"Adobe\0\x64\0\0\0\0\1"
    plain = written("JPEG")

    hidden = with_segments(plain, segment(0xEE, adobe + HIDDEN), segment(0xEE, b"Adobe"))

    assert strip_jpeg(hidden).kept == with_segments(plain, segment(0xEE, adobe))


def profile_segments(*parts: bytes, count: int | None = None) -> list[bytes]:
    whole = [b"ICC_PROFILE\0" + bytes([number, count or len(parts)]) + part for number, part in enumerate(parts, 1)]
    return [segment(0xE2, part) for part in whole]


def test_a_profile_in_several_segments_is_kept_as_it_is() -> None:
    """In whichever order they stand."""
    first, second, third = profile_segments(PROFILE[:100], PROFILE[100:200], PROFILE[200:])
    sent = with_segments(written("JPEG"), second, third, first)

    assert strip_jpeg(sent).kept == sent
    assert opened(sent).info["icc_profile"] == PROFILE


NO_PROFILES = [
    b"",
    HIDDEN,
    PROFILE + HIDDEN,
    PROFILE[:-1],
    PROFILE[:36] + b"GPS " + PROFILE[40:],
    len(HIDDEN).to_bytes(4) + HIDDEN[4:],
    (44).to_bytes(4) + bytes(32) + b"acsp" + bytes(4),
]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("profile", NO_PROFILES)
def test_what_only_begins_like_a_colour_profile_goes(kind: str, profile: bytes) -> None:
    """It is as long as it says itself and has its mark, or it is not kept; the picture is."""
    sent = KINDS[kind](icc_profile=profile)

    kept = STRIPS[kind](sent).kept

    assert kept == STRIPS[kind](KINDS[kind](icc_profile=None)).kept
    assert "icc_profile" not in opened(kept).info


@pytest.mark.parametrize(
    "segments",
    [
        profile_segments(PROFILE, HIDDEN),
        profile_segments(PROFILE, PROFILE),
        profile_segments(PROFILE, count=2),
        profile_segments(PROFILE)[:1] * 2,
        profile_segments(*[b""] * 255) * 2,
        [segment(0xE2, b"ICC_PROFILE\0")],
        [segment(0xE2, b"ICC_PROFILE\0\1")],
    ],
)
def test_segments_that_join_to_no_profile_go(segments: list[bytes]) -> None:
    plain = written("JPEG")

    assert strip_jpeg(with_segments(plain, *segments)).kept == plain


def test_nothing_hides_around_the_profile_of_a_png() -> None:
    """Not in its name, and not behind the packed profile."""
    sent = written("PNG")
    hiding = chunk(b"iCCP", b"GPSLatitude 48\0\0" + zlib.compress(PROFILE) + b"GPSLongitude 2")

    kept = strip_png(sent[:33] + hiding + sent[33:]).kept

    assert b"GPS" not in kept
    assert opened(kept).info["icc_profile"] == PROFILE


@pytest.mark.parametrize("name", [b"gAMA", b"cHRM", b"pHYs", b"bKGD", b"sRGB", b"sBIT", b"cICP", b"cLLI", b"mDCV"])
def test_a_chunk_that_is_longer_than_what_it_tells_goes(name: bytes) -> None:
    sent = written("PNG")

    assert strip_png(sent[:33] + chunk(name, HIDDEN) + sent[33:]).kept == sent


def test_a_profile_that_never_ends_is_not_unpacked() -> None:
    """A few kilobytes may unpack to gigabytes."""
    sent, endless = written("PNG"), zlib.compress(bytes(100_000_000), 9)
    kept: list[bytes] = []

    most = most_memory_in(
        lambda: kept.append(strip_png(sent[:33] + chunk(b"iCCP", b"a\0\0" + endless) + sent[33:]).kept)
    )

    assert kept == [sent]
    assert most < 20_000_000


def test_nothing_hides_in_the_header_of_a_webp() -> None:
    """It has ten bytes, and says that there is a profile only where there is one."""
    plain, hidden = webp(icc_profile=None), HIDDEN[:20]
    at = plain.index(b"VP8X") + 4
    header = (10 + 20).to_bytes(4, "little") + bytes([plain[at + 4] | 0x20]) + plain[at + 5 : at + 14] + hidden
    longer = plain[:4] + (len(plain) - 8 + 20).to_bytes(4, "little") + plain[8:at] + header + plain[at + 14 :]

    assert strip_webp(longer).kept == strip_webp(plain).kept


def test_a_plain_webp_has_no_room_for_exif_data() -> None:
    """What stands there turns nothing, in a browser or here."""
    plain = written("WEBP", lossless=True)
    whole = webp(6)
    exif = whole[whole.index(b"EXIF") :]
    odd = plain[:4] + (len(plain) - 8 + len(exif)).to_bytes(4, "little") + plain[8:] + exif

    stripped = strip_webp(odd)

    assert (stripped.kept, stripped.tags.orientation) == (plain, 1)


@pytest.mark.parametrize("more", [{}, {"lossless": True}, {"exif": b"", "icc_profile": PROFILE}])
def test_the_size_of_a_webp_is_read_in_each_of_its_forms(more: dict[str, object]) -> None:
    sent = written("WEBP", drawing((123, 77)), **more)

    assert strip_webp(sent).size == (123, 77)


# ---- What is refused ----


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_what_moves_is_refused(kind: str) -> None:
    """A photograph stands still: to keep one frame of it would be to alter it."""
    sent = written(kind, save_all=True, append_images=[drawing().rotate(90)], duration=100)

    with pytest.raises(BadPicture, match="stands still"):
        STRIPS[kind](sent)


@pytest.mark.parametrize("kind", KINDS)
@given(data=st.data())
def test_a_file_that_breaks_off_is_refused(kind: str, data: st.DataObject) -> None:
    """Wherever it does."""
    sent = KINDS[kind]()
    cut = data.draw(st.integers(12, len(sent) - 1))

    with pytest.raises(BadPicture, match="breaks off"):
        STRIPS[kind](sent[:cut])


def test_a_png_that_needs_what_is_not_known_is_refused() -> None:
    """A chunk that may not be left out says so in its name."""
    sent = written("PNG")

    with pytest.raises(BadPicture, match="damaged"):
        strip_png(sent[:33] + chunk(b"CgBI", b"1234") + sent[33:])


@pytest.mark.parametrize(
    ("kind", "pieces"),
    [
        ("JPEG", b"\xff\xd8" + b"\xff\xdb\0\x02" * 200_000),
        ("PNG", b"\x89PNG\r\n\x1a\n" + chunk(b"IDAT", b"") * 200_000),
        ("WEBP", b"RIFF" + (1_600_004).to_bytes(4, "little") + b"WEBP" + b"junk\0\0\0\0" * 200_000),
    ],
)
def test_a_file_of_countless_pieces_is_refused(kind: str, pieces: bytes) -> None:
    with pytest.raises(BadPicture, match="damaged"):
        STRIPS[kind](pieces)


def scans(count: int) -> bytes:
    """A progressive JPEG whose last scan comes again and again."""
    sent = jpeg(progressive=True)
    last, end = sent.rindex(b"\xff\xda"), sent.rindex(b"\xff\xd9")
    return sent[:last] + sent[last:end] * (count - sent.count(b"\xff\xda") + 1) + sent[end:]


def test_a_jpeg_of_countless_scans_is_refused() -> None:
    """Each costs as much as the whole picture to decode, and next to nothing to send."""
    assert strip_jpeg(scans(100)).kept.count(b"\xff\xda") == 100
    with pytest.raises(BadPicture, match="more than 100 scans"):
        strip_jpeg(scans(101))


STARTS = {"JPEG": b"\xff\xd8", "PNG": b"\x89PNG\r\n\x1a\n", "WEBP": b"RIFF\x40\0\0\0WEBPVP8X"}


@pytest.mark.parametrize("kind", KINDS)
@given(rest=st.binary(max_size=200))
def test_no_bytes_upset_the_reading(kind: str, rest: bytes) -> None:
    """They are put together again, or refused in a sentence."""
    assert_stripped_or_refused(kind, STARTS[kind] + rest)


@pytest.mark.parametrize("kind", KINDS)
@given(data=st.data())
def test_no_damage_upsets_the_reading(kind: str, data: st.DataObject) -> None:
    """A real file of which a few bytes were changed."""
    sent = bytearray(KINDS[kind](6))
    for _ in range(data.draw(st.integers(1, 4))):
        sent[data.draw(st.integers(12, min(len(sent), 900) - 1))] = data.draw(st.integers(0, 255))

    assert_stripped_or_refused(kind, bytes(sent))


def assert_stripped_or_refused(kind: str, content: bytes) -> None:
    try:
        stripped = STRIPS[kind](content)
    except BadPicture as refusal:
        assert str(refusal).endswith(".")  # noqa: PT017 (it may be refused, and must then say so)
    else:
        assert isinstance(stripped, Stripped)
        assert STRIPS[kind](stripped.kept).kept == stripped.kept
