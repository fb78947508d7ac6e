"""A HEIC file's metadata is blanked where it lies, however its parts are put together, and nothing else is."""

import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.records.heif_parts import UnknownLayout, blanked
from tests.records.photographs import SECRETS, heic

FTYP = b"heic\0\0\0\0mif1"
HDLR = b"\0\0\0\0\0\0\0\0pict" + bytes(13)


def box(kind: bytes, content: bytes) -> bytes:
    return struct.pack(">I4s", 8 + len(content), kind) + content


def full(kind: bytes, version: int, content: bytes) -> bytes:
    return box(kind, struct.pack(">I", version << 24) + content)


def infe(number: int, kind: bytes, version: int = 2) -> bytes:
    head = struct.pack(">HH" if version == 2 else ">IH", number, 0)
    return full(b"infe", version, head + kind + b"\0")


def made(*, iinf: int = 0, iloc: int = 0, infe_version: int = 2, inside: bool = False, method: int = 0) -> bytes:
    """A file with a picture's item, 8 bytes long, and one of metadata, 6 bytes, in the versions that are asked for."""
    items = infe(1, b"hvc1", infe_version) + infe(2, b"Exif", infe_version)
    count = struct.pack(">H" if iinf == 0 else ">I", 2)

    def meta(first: int, second: int) -> bytes:
        places = b"\x44\x00" + struct.pack(">H" if iloc < 2 else ">I", 2)
        for number, start, length in ((1, first, 8), (2, second, 6)):
            where = (1 if inside else method) if number == 2 else 0
            places += struct.pack(">H" if iloc < 2 else ">I", number)
            places += struct.pack(">H", where) if iloc else b""
            places += struct.pack(">HHII", 0, 1, start, length)
        held = full(b"hdlr", 0, HDLR) + full(b"iinf", iinf, count + items) + full(b"iloc", iloc, places)
        return full(b"meta", 0, held + (box(b"idat", b"inside") if inside else b""))

    start = len(box(b"ftyp", FTYP) + meta(0, 0)) + 8
    return box(b"ftyp", FTYP) + meta(start, 0 if inside else start + 8) + box(b"mdat", b"picture!secret")


@pytest.mark.parametrize("iloc", [0, 1, 2])
@pytest.mark.parametrize("iinf", [0, 1])
@pytest.mark.parametrize("infe_version", [2, 3])
def test_metadata_is_blanked_in_every_version(iloc: int, iinf: int, infe_version: int) -> None:
    content = made(iloc=iloc, iinf=iinf, infe_version=infe_version)

    assert blanked(content) == content.replace(b"secret", bytes(6))


def test_metadata_within_the_items_data_is_blanked() -> None:
    content = made(iloc=1, inside=True)

    assert blanked(content) == content.replace(b"inside", bytes(6))


def test_outer_boxes_that_no_still_picture_needs_are_blanked() -> None:
    """Somebody's own, free room, a film beside the picture; one that reaches to the end of the file too."""
    content = (
        made() + box(b"uuid", b"x" * 16 + b"where") + box(b"free", b"more") + struct.pack(">I4s", 0, b"moov") + b"film"
    )

    clean = blanked(content)

    assert len(clean) == len(content)
    assert not any(words in clean for words in (b"where", b"more", b"film", b"secret"))
    assert b"picture!" in clean


def test_blanking_twice_changes_nothing() -> None:
    assert blanked(blanked(made())) == blanked(made())


def test_what_a_camera_s_file_says_goes() -> None:
    clean = blanked(heic(6))

    assert [secret for secret in SECRETS if secret in clean] == []


@pytest.mark.parametrize(
    "content",
    [
        made()[:-3],
        made() + b"trailing",
        made(iloc=1, method=2),
        made(iloc=3),
        made(infe_version=3).replace(b"infe\x03", b"infe\x01"),
        made().replace(b"iloc", b"xloc"),
        box(b"ftyp", FTYP) + struct.pack(">I4s", 4, b"meta"),
        box(b"ftyp", FTYP) + box(b"free", b"") * 10_001,
    ],
    ids=["cut", "trailing", "in an item", "new places", "old items", "no places", "a box too small", "endless"],
)
def test_what_cannot_be_known_for_certain_is_not_blanked(content: bytes) -> None:
    """The picture is then kept as a JPEG."""
    with pytest.raises(UnknownLayout):
        blanked(content)


@given(st.data())
def test_any_change_of_a_byte_is_borne(data: st.DataObject) -> None:
    content = bytearray(made(iloc=data.draw(st.integers(0, 2))))
    content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    try:
        assert len(blanked(bytes(content))) == len(content)
    except UnknownLayout as unknown:
        assert str(unknown)  # noqa: PT017 (it may be refused, and must then say so)
