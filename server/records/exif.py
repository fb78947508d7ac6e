"""The two EXIF tags of a photograph that are read, and the smallest EXIF block: it says which way up a picture is.

A block is a small TIFF file: eight bytes of header, then directories of twelve-byte entries (from memory of CIPA
DC-008, Exif 2.32, sections 4.5 and 4.6). What cannot be read says nothing: a photograph is not refused for it. Knows
no picture.
"""

import re
import struct
from dataclasses import dataclass
from datetime import date, timedelta

ORDERS = {b"II*\0": "<", b"MM\0*": ">"}
ORIENTATION, TAGS_OF_EXIF, TAKEN = 0x0112, 0x8769, 0x9003
SHORT = 3
UPRIGHT = 1
ORIENTATIONS = range(1, 9)
TEXT_LONG = len("1981:09:30 12:00:00")
FIRST_DAY = date(1990, 1, 1)  # a clock that was never set says 1970 or 1980


@dataclass(frozen=True, slots=True)
class Tags:
    """Which way up the picture is (1 to 8, as the standard counts) and when it was taken, as it is written there."""

    orientation: int = UPRIGHT
    taken: str = ""


def read_tags(block: bytes) -> Tags:
    """What a block says; of one that is no block, nothing."""
    order = ORDERS.get(block[:4])
    if order is None:
        return Tags()
    try:
        (first,) = struct.unpack_from(f"{order}L", block, 4)
        entries = _entries(block, order, first)
    except struct.error:
        return Tags()
    return Tags(_orientation(entries, order), _taken(block, order, entries))


def orientation_block(orientation: int) -> bytes:
    """A block that says nothing else."""
    return b"II*\0" + struct.pack("<LHHHLHHL", 8, 1, ORIENTATION, SHORT, 1, orientation, 0, 0)


def day_taken(tags: Tags, today: date) -> date | None:
    """The day on which a photograph was taken, where a camera that knew it says so.

    A day more than today, because the camera may live ahead of this machine's clock.
    """
    found = re.match(r"(\d{4}):(\d\d):(\d\d)\b", tags.taken, re.ASCII)
    try:
        day = date(*map(int, found.groups())) if found else None
    except ValueError:
        return None
    return day if day and FIRST_DAY <= day <= today + timedelta(days=1) else None


def _entries(block: bytes, order: str, at: int) -> dict[int, bytes]:
    """The entries of one directory by their tags: two bytes of type, four of count, four of value or its place."""
    (count,) = struct.unpack_from(f"{order}H", block, at)
    return dict(struct.unpack_from(f"{order}H10s", block, at + 2 + 12 * number) for number in range(count))


def _orientation(entries: dict[int, bytes], order: str) -> int:
    kind, value = struct.unpack(f"{order}H4xH2x", entries.get(ORIENTATION, bytes(10)))
    return value if kind == SHORT and value in ORIENTATIONS else UPRIGHT


def _taken(block: bytes, order: str, entries: dict[int, bytes]) -> str:
    """The text of DateTimeOriginal, which stands in a directory of its own."""
    try:
        (directory,) = struct.unpack(f"{order}6xL", entries[TAGS_OF_EXIF])
        (place,) = struct.unpack(f"{order}6xL", _entries(block, order, directory)[TAKEN])
    except (KeyError, struct.error):
        return ""
    return block[place : place + TEXT_LONG].decode("ascii", "replace")
