"""What a photograph says of itself: which way up it is and the day; of the rest, and of nonsense, nothing."""

import struct
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from server.records.exif import Tags, day_taken, orientation_block, read_tags

TAKEN = "2025:03:14 10:20:30"
TODAY = date(2025, 6, 1)


def block(order: str = "<", orientation: object = 6, taken: str = TAKEN) -> bytes:
    """What Pillow writes for these two tags and some others."""
    exif = Image.Exif()
    exif.endian = order
    exif[0x010F] = "Some maker"
    exif[0x0112] = orientation
    exif.get_ifd(0x8769)[0x9003] = taken
    exif.get_ifd(0x8825)[1] = "N"
    return exif.tobytes().removeprefix(b"Exif\0\0")


@pytest.mark.parametrize("order", ["<", ">"])
def test_both_tags_are_read_in_either_order_of_bytes(order: str) -> None:
    """As Pillow writes them, beside tags that are not read."""
    written = block(order)

    assert written[:2] == {"<": b"II", ">": b"MM"}[order]
    assert read_tags(written) == Tags(6, TAKEN)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_pillow_reads_the_block_that_is_written(orientation: int) -> None:
    """It holds the one tag and nothing else."""
    exif = Image.Exif()
    exif.load(orientation_block(orientation))

    assert dict(exif) == {0x0112: orientation}
    assert read_tags(orientation_block(orientation)) == Tags(orientation)


@pytest.mark.parametrize("orientation", [0, 9, 65535])
def test_an_orientation_that_there_is_none_of_is_upright(orientation: int) -> None:
    assert read_tags(block(orientation=orientation)) == Tags(1, TAKEN)


@pytest.mark.parametrize(
    "nonsense",
    [
        b"",
        b"II*\0",
        b"II*\0\xff\xff\xff\xff",
        b"XX*\0\x08\0\0\0",
        b"II*\0\x08\0\0\0\xff\xff",
        struct.pack("<4sLHHHLL", b"II*\0", 8, 1, 0x8769, 4, 1, 8),  # its second directory is its first
    ],
)
def test_a_block_that_cannot_be_read_says_nothing(nonsense: bytes) -> None:
    assert read_tags(nonsense) == Tags()


@given(st.sampled_from([b"II*\0", b"MM\0*", b""]), st.binary(max_size=200))
def test_no_block_upsets_the_reader(start: bytes, rest: bytes) -> None:
    """Whatever is in it, it says an orientation that there is and a text."""
    tags = read_tags(start + rest)

    assert 1 <= tags.orientation <= 8
    assert day_taken(tags, TODAY) is None or isinstance(day_taken(tags, TODAY), date)


@pytest.mark.parametrize(
    ("written", "day"),
    [
        (TAKEN, date(2025, 3, 14)),
        ("2025:06:02 00:00:00", date(2025, 6, 2)),  # a camera that lives ahead of this clock
        ("2025:06:03 00:00:00", None),
        ("1989:12:31 00:00:00", None),  # a clock that was never set
        ("1970:01:01 00:00:00", None),
        ("2025:02:30 00:00:00", None),
        ("0000:00:00 00:00:00", None),
        ("    :  :     :  :  ", None),
        ("2025-03-14 10:20:30", None),
        ("", None),
    ],
)
def test_a_day_is_one_of_the_calendar_and_not_to_come(written: str, day: date | None) -> None:
    """Of a day that cannot be, none is said, rather than a wrong one."""
    assert day == day_taken(Tags(taken=written), TODAY)
