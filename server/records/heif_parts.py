"""A HEIC file without what it says beside the picture: its metadata items are blanked where they lie, byte for byte.

So the picture itself stays as it came, and no place in the file moves. Items of the types `Exif`, `mime` (XMP) and
`uri `, and every outer box that a still picture does not need, are overwritten with noughts, or with an EXIF block
that says nothing. Decodes nothing: whether it is a picture is for `pictures` to find out. Boxes: from memory of
ISO/IEC 14496-12 (2022), 4.2 and 8.11; items of a HEIC file: from memory of ISO/IEC 23008-12 (2022), annex A.
"""

import struct
from collections.abc import Iterator
from dataclasses import dataclass

NEEDED = {b"ftyp", b"meta", b"mdat"}
METADATA = {b"Exif", b"mime", b"uri "}
# Where the TIFF header begins (0), the header, a directory without entries, and no other (Exif 2.32, 4.5).
EMPTY_EXIF = bytes(4) + b"II*\0\x08\0\0\0" + bytes(6)
BOXES_MOST = 10_000
ITEMS_MOST = 10_000


class UnknownLayout(ValueError):
    """The file is put together in a way in which its metadata cannot be found for certain."""


@dataclass(frozen=True, slots=True)
class Box:
    """A box: its type, and where what it holds begins and ends."""

    kind: bytes
    start: int
    end: int


def blanked(content: bytes) -> bytes:
    """The same file with its metadata blanked; raises UnknownLayout."""
    try:
        spans = list(_metadata(content))
        exif = next((start for start, end, kind in spans if kind == b"Exif" and end - start >= len(EMPTY_EXIF)), None)
    except (struct.error, IndexError, OverflowError) as fault:
        raise UnknownLayout("a box breaks off") from fault
    clean = bytearray(content)
    for start, end, _ in spans:
        if not 0 <= start <= end <= len(content):
            raise UnknownLayout("an item lies outside the file")
        clean[start:end] = bytes(end - start)
    if exif is not None:  # readers that look for a block find one that says nothing
        clean[exif : exif + len(EMPTY_EXIF)] = EMPTY_EXIF
    return bytes(clean)


def _metadata(content: bytes) -> Iterator[tuple[int, int, bytes]]:
    """Where each piece of metadata begins and ends, and of what kind it is."""
    for box in _boxes(content, 0, len(content)):
        if box.kind not in NEEDED:
            yield box.start, box.end, box.kind
        if box.kind == b"meta":
            yield from _items(content, box)


def _boxes(content: bytes, start: int, end: int) -> Iterator[Box]:
    for _ in range(BOXES_MOST):
        if start == end:
            return
        size, kind = struct.unpack_from(">I4s", content, start)
        head = 8
        if size == 1:
            (size,) = struct.unpack_from(">Q", content, start + 8)
            head = 16
        elif size == 0:  # to the end of the file
            size = end - start
        if size < head or start + size > end:
            raise UnknownLayout("a box is larger than what holds it")
        yield Box(kind, start + head, start + size)
        start += size
    raise UnknownLayout("there are too many boxes")


def _items(content: bytes, meta: Box) -> Iterator[tuple[int, int, bytes]]:
    within = {box.kind: box for box in _boxes(content, meta.start + 4, meta.end)}
    if b"iinf" not in within:
        return
    wanted = dict(_metadata_items(content, within[b"iinf"]))
    if not wanted:
        return
    if b"iloc" not in within:
        raise UnknownLayout("its items lie nowhere")
    inside = within[b"idat"].start if b"idat" in within else None
    for item, method, start, length in _extents(content, within[b"iloc"]):
        if item not in wanted:
            continue
        if method == 0:
            yield start, start + length, wanted[item]
        elif method == 1 and inside is not None:
            yield inside + start, inside + start + length, wanted[item]
        else:
            raise UnknownLayout("an item lies within another")


def _metadata_items(content: bytes, iinf: Box) -> Iterator[tuple[int, bytes]]:
    """The numbers of the items that hold metadata, with their kinds."""
    version = content[iinf.start]
    first = iinf.start + (6 if version == 0 else 8)
    for box in _boxes(content, first, iinf.end):
        if box.kind != b"infe":
            continue
        version = content[box.start]
        if version not in (2, 3):
            raise UnknownLayout("an item is described in an old way")
        number, kind = struct.unpack_from(">H2x4s" if version == 2 else ">I2x4s", content, box.start + 4)
        if kind in METADATA:
            yield number, kind


def _extents(content: bytes, iloc: Box) -> Iterator[tuple[int, int, int, int]]:
    """For each piece of each item: its number, how it is found, where it begins, how long it is."""
    reader = _Reader(content, iloc.start)
    version = reader.take(4) >> 24
    if version > 2:
        raise UnknownLayout("places are told in a new way")
    sizes = reader.take(2)
    offset_size, length_size, base_size, index_size = (sizes >> shift & 15 for shift in (12, 8, 4, 0))
    items = reader.take(2 if version < 2 else 4)
    if items > ITEMS_MOST:
        raise UnknownLayout("there are too many items")
    for _ in range(items):
        number = reader.take(2 if version < 2 else 4)
        method = reader.take(2) & 15 if version else 0
        reader.take(2)  # which file: this one
        base = reader.take(base_size)
        for _ in range(reader.take(2)):
            reader.take(index_size if version else 0)
            start, length = reader.take(offset_size), reader.take(length_size)
            yield number, method, base + start, length


class _Reader:
    """Whole numbers one after the other, the highest byte first."""

    def __init__(self, content: bytes, at: int) -> None:
        self.content, self.at = content, at

    def take(self, size: int) -> int:
        if self.at + size > len(self.content):
            raise UnknownLayout("a box breaks off")
        found = int.from_bytes(self.content[self.at : self.at + size])
        self.at += size
        return found
