"""The files that photographs come in, taken apart and put together again without what nobody needs to know.

Place data, the camera's serial number, comments, embedded thumbnails and everything after the picture's end are left
out; the picture's own data and its colour profile stay byte for byte, and which way up it is stays. Decodes nothing:
that a file that was put together here holds a picture is for `pictures` to find out.

JPEG: ITU-T T.81 (1992), annex B; JFIF 1.02; Adobe's segment from memory of ITU-T T.872 (2012). PNG: W3C Portable
Network Graphics, third edition (2025), sections 5 and 11. WebP: RFC 9649 (2024), section 2. Colour profiles, and how a
JPEG holds them: from memory of ICC.1:2022, section 7.2 and annex B.
"""

import re
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

from server.records.exif import UPRIGHT, Tags, orientation_block, read_tags

PIECES_MOST = 100_000  # a picture of 100 MB has some thousands
PROFILE_MOST = 4_000_000  # bytes; those of cameras and screens have some thousands
EXIF = b"Exif\0\0"
CUT_SHORT = "The file breaks off before the picture's end. Copy it again, or take it from the camera once more."
DAMAGED = "The file is damaged: it cannot be read as a picture."
SCANS_MOST = 100  # a camera writes one, a program some ten; each is worked through over the whole picture
ENDLESS = (
    f"This JPEG is built up in more than {SCANS_MOST} scans, as no camera does. Save it as a plain JPEG, and send that."
)
MOVES = "This is a moving picture. Send a photograph that stands still."


class BadPicture(ValueError):
    """Why a file cannot be kept as a photograph, in one sentence for the keeper."""


@dataclass(frozen=True, slots=True)
class Stripped:
    """A file with nothing in it but the picture, the picture's size as it is stored, and what its EXIF data said."""

    kept: bytes
    size: tuple[int, int]
    tags: Tags


PROFILE_HEADER_LONG = 128


def is_profile(profile: bytes) -> bool:
    """Whether this is a colour profile and nothing else: as long as it says itself, with the mark in its place."""
    return (
        PROFILE_HEADER_LONG <= int.from_bytes(profile[:4]) == len(profile) <= PROFILE_MOST and profile[36:40] == b"acsp"
    )


# ---- JPEG: segments, each behind a marker ----

SOI, EOI, SOS, COM, TEM = 0xD8, 0xD9, 0xDA, 0xFE, 0x01
APP0, APP1, APP2, APP14, APP15 = 0xE0, 0xE1, 0xE2, 0xEE, 0xEF
FRAMES = {*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC}
PROFILE_START = b"ICC_PROFILE\0"
RESERVED = range(0xF0, 0xFE)
MARKER = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")  # within a scan FF00 is data, FFD0 to FFD7 restart it, FFFF fills
JFIF_LONG, ADOBE_LONG = 18, 16  # with the marker


def strip_jpeg(content: bytes) -> Stripped:
    """A JPEG file without its comments and application segments, but for JFIF, Adobe and colour profile."""
    tags, size = None, None
    head, rest, scans = [b"\xff\xd8"], [], 0
    for marker, segment in _segments(content):
        scans += marker == SOS
        if scans > SCANS_MOST:
            raise BadPicture(ENDLESS)
        if marker in FRAMES and size is None:
            size = (int.from_bytes(segment[7:9]), int.from_bytes(segment[5:7]))
        if marker == APP1 and segment.startswith(EXIF, 4):
            tags = tags or read_tags(segment[4 + len(EXIF) :])
        elif marker == APP0:
            head += _plain_jfif(segment) if len(head) == 1 else []
        elif marker == APP14:
            rest += _plain_adobe(segment)
        elif _may_be_needed(marker, segment):
            rest.append(segment)
    rest = _with_whole_profile(rest)
    tags = tags or Tags()
    if tags.orientation != UPRIGHT:
        block = EXIF + orientation_block(tags.orientation)
        head.append(b"\xff\xe1" + (len(block) + 2).to_bytes(2) + block)
    return Stripped(b"".join(head + rest), size or (0, 0), tags)


def _segments(content: bytes) -> Iterator[tuple[int, bytes]]:
    """Each marker up to the end of the picture, with its segment; a scan goes with its header."""
    at = 2
    for _ in range(PIECES_MOST):
        start = _next_marker(content, at)
        marker = content[start + 1]
        if marker in (SOI, TEM):
            at = start + 2
            continue
        if marker == EOI:
            yield marker, b"\xff\xd9"
            return
        length = int.from_bytes(content[start + 2 : start + 4])
        at = start + 2 + length
        if length < 2 or at > len(content):
            raise BadPicture(CUT_SHORT)
        if marker == SOS:
            at = _next_marker(content, at)
        yield marker, content[start:at]
    raise BadPicture(DAMAGED)


def _next_marker(content: bytes, at: int) -> int:
    found = MARKER.search(content, at)
    if found is None:
        raise BadPicture(CUT_SHORT)
    return found.start()


def _plain_jfif(segment: bytes) -> list[bytes]:
    """The JFIF header without its thumbnail."""
    if not segment.startswith(b"JFIF\0", 4) or len(segment) < JFIF_LONG:
        return []
    return [segment[:2] + (JFIF_LONG - 2).to_bytes(2) + segment[4 : JFIF_LONG - 2] + b"\0\0"]


def _plain_adobe(segment: bytes) -> list[bytes]:
    """Adobe's segment, which says how the colours are stored, without what stands behind that."""
    if not segment.startswith(b"Adobe", 4) or len(segment) < ADOBE_LONG:
        return []
    return [segment[:2] + (ADOBE_LONG - 2).to_bytes(2) + segment[4:ADOBE_LONG]]


def _may_be_needed(marker: int, segment: bytes) -> bool:
    if APP0 <= marker <= APP15:
        return marker == APP2 and segment.startswith(PROFILE_START, 4)
    return marker != COM and marker not in RESERVED


def _with_whole_profile(segments: list[bytes]) -> list[bytes]:
    """The segments, without those of a colour profile that is none once they are joined.

    Behind the segment's start stand its number, which counts from one, and how many there are.
    """
    numbered = sorted(segment[4 + len(PROFILE_START) :] for segment in segments if segment[1] == APP2)
    count = len(numbered)
    in_order = all(part[:2] == bytes([number % 256, count % 256]) for number, part in enumerate(numbered, 1))
    if in_order and is_profile(b"".join(part[2:] for part in numbered)):
        return segments
    return [segment for segment in segments if segment[1] != APP2]


# ---- PNG: chunks, each with its length before it and a sum behind it ----

PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"
PNG_NEEDED = {b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS"}
PNG_TELLING = {  # what else a picture looks different without, and how many bytes each may have
    b"bKGD": 6,
    b"cHRM": 32,
    b"cICP": 4,
    b"cLLI": 8,
    b"gAMA": 4,
    b"mDCV": 24,
    b"pHYs": 9,
    b"sBIT": 4,
    b"sRGB": 1,
}
MAY_BE_LEFT_OUT = 0x20  # bit 5 of the first letter (section 5.4)


def strip_png(content: bytes) -> Stripped:
    """A PNG file without its texts, times and whatever else a program may leave out."""
    tags, size = None, (0, 0)
    kept = []
    for name, chunk in _chunks(content):
        if name == b"acTL":
            raise BadPicture(MOVES)
        if name == b"eXIf":
            tags = tags or read_tags(chunk[8:-4])
        elif name == b"iCCP":
            kept += _plain_iccp(chunk[8:-4])
        elif name in PNG_NEEDED or len(chunk) - 12 <= PNG_TELLING.get(name, -1):
            kept.append(chunk)
        elif not name[0] & MAY_BE_LEFT_OUT:
            raise BadPicture(DAMAGED)
        if name == b"IHDR":
            size = (int.from_bytes(chunk[8:12]), int.from_bytes(chunk[12:16]))
    tags = tags or Tags()
    if tags.orientation != UPRIGHT:
        kept.insert(1, _png_chunk(b"eXIf", orientation_block(tags.orientation)))
    return Stripped(PNG_SIGNATURE + b"".join(kept), size, tags)


def _chunks(content: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Each chunk's name with the whole chunk, up to the end of the picture."""
    at = len(PNG_SIGNATURE)
    for _ in range(PIECES_MOST):
        end = at + 12 + int.from_bytes(content[at : at + 4])
        if end > len(content):
            raise BadPicture(CUT_SHORT)
        name = content[at + 4 : at + 8]
        yield name, content[at:end]
        if name == b"IEND":
            return
        at = end
    raise BadPicture(DAMAGED)


def _plain_iccp(data: bytes) -> list[bytes]:
    """A colour profile packed anew, under a name that says nothing and with nothing behind it."""
    packed = data[data.find(b"\0") + 2 :]
    try:
        profile = zlib.decompressobj().decompress(packed, PROFILE_MOST + 1)
    except zlib.error:
        return []
    return [_png_chunk(b"iCCP", b"profile\0\0" + zlib.compress(profile))] if is_profile(profile) else []


def _png_chunk(name: bytes, data: bytes) -> bytes:
    return len(data).to_bytes(4) + name + data + zlib.crc32(name + data).to_bytes(4)


# ---- WebP: a RIFF file of chunks, padded to even lengths ----

EXTENDED = b"VP8X"
WEBP_NEEDED = {EXTENDED, b"ICCP", b"ALPH", b"VP8 ", b"VP8L"}
HAS_PROFILE, HAS_EXIF, HAS_XMP, HAS_MOTION = 0x20, 0x08, 0x04, 0x02
EXTENDED_LONG = 10


def strip_webp(content: bytes) -> Stripped:
    """A WebP file without its EXIF and XMP data, and without a colour profile that is none."""
    tags = None
    kept: dict[bytes, bytes] = {}
    for name, data in _riff_chunks(content):
        if name in (b"ANIM", b"ANMF"):
            raise BadPicture(MOVES)
        if name == b"EXIF":
            tags = tags or read_tags(data.removeprefix(EXIF))
        elif name in WEBP_NEEDED:
            kept.setdefault(name, data)
    tags, size = tags or Tags(), _webp_size(kept)
    if EXTENDED not in kept or not is_profile(kept.get(b"ICCP", b"")):
        kept.pop(b"ICCP", None)
    if EXTENDED not in kept:  # a plain file has no room for EXIF data: what stood there turned nothing
        return Stripped(_riff(kept), size, Tags(taken=tags.taken))
    flags = kept[EXTENDED][0] & ~(HAS_EXIF | HAS_XMP)
    if flags & HAS_MOTION:
        raise BadPicture(MOVES)
    if b"ICCP" not in kept:
        flags &= ~HAS_PROFILE
    if tags.orientation != UPRIGHT:
        flags |= HAS_EXIF
        kept[b"EXIF"] = orientation_block(tags.orientation)
    kept[EXTENDED] = bytes([flags]) + kept[EXTENDED][1:EXTENDED_LONG]
    return Stripped(_riff(kept), size, tags)


def _riff_chunks(content: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Each chunk's name and data, up to the length that the file's header gives."""
    end, at = 8 + int.from_bytes(content[4:8], "little"), 12
    if end > len(content):
        raise BadPicture(CUT_SHORT)
    for _ in range(PIECES_MOST):
        if at + 8 > end:
            return
        name, length = content[at : at + 4], int.from_bytes(content[at + 4 : at + 8], "little")
        if at + 8 + length > end:
            raise BadPicture(CUT_SHORT)
        yield name, content[at + 8 : at + 8 + length]
        at += 8 + length + length % 2
    raise BadPicture(DAMAGED)


def _webp_size(chunks: dict[bytes, bytes]) -> tuple[int, int]:
    """Width and height from whichever header tells them; nothing by nothing where none does."""
    extended, lossy, lossless = (chunks.get(name, b"") for name in (EXTENDED, b"VP8 ", b"VP8L"))
    if EXTENDED in chunks:
        if len(extended) < EXTENDED_LONG:
            raise BadPicture(DAMAGED)
        return 1 + int.from_bytes(extended[4:7], "little"), 1 + int.from_bytes(extended[7:10], "little")
    if lossy:
        return int.from_bytes(lossy[6:8], "little") & 0x3FFF, int.from_bytes(lossy[8:10], "little") & 0x3FFF
    if lossless:
        bits = int.from_bytes(lossless[1:5], "little")
        return 1 + (bits & 0x3FFF), 1 + (bits >> 14 & 0x3FFF)
    return 0, 0


def _riff(chunks: dict[bytes, bytes]) -> bytes:
    body = b"WEBP" + b"".join(
        name + len(data).to_bytes(4, "little") + data + bytes(len(data) % 2) for name, data in chunks.items()
    )
    return b"RIFF" + len(body).to_bytes(4, "little") + body
