"""Which characters the bundled typefaces have, and what is printed in place of those they have not.

An archival PDF may not hold a character without a shape, so each is looked up first, in the fonts' own character maps
(OpenType 1.9, `cmap` table, format 4). Characters that steer and have no shape of their own are left out.
"""

import struct
import unicodedata
from functools import lru_cache
from pathlib import Path

FONTS = Path(__file__).parent.parent.parent / "static" / "fonts"
TEXT_FACES = ("FiraSans-Regular.ttf", "FiraSans-Italic.ttf", "FiraSans-SemiBold.ttf")
HEADING_FACE = "Vollkorn-SemiBold.ttf"
STAND_IN = "□"
LAST_CODE = 0xFFFE  # 0xFFFF only ends the list of segments


def printable(text: str) -> str:
    """The text with every character that cannot be printed replaced by □, and those without a shape left out."""
    return unicodedata.normalize("NFC", text).translate(_table_of_prints())


class _Prints(dict[int, str]):
    """What is printed for each code point; worked out when it is first met."""

    def __missing__(self, code: int) -> str:
        self[code] = printed = _printed(chr(code), covered())
        return printed


@lru_cache
def _table_of_prints() -> _Prints:
    return _Prints()


def _printed(character: str, known: frozenset[int]) -> str:
    if character == "\n" or (ord(character) in known and unicodedata.category(character) not in ("Cc", "Cf", "Co")):
        return character
    if character == "\t":
        return " "
    return "" if _shapeless(character) else STAND_IN


def _shapeless(character: str) -> bool:
    """Whether a character only steers others: controls, joiners, direction marks, variation selectors."""
    return unicodedata.category(character) in ("Cc", "Cf") or 0xFE00 <= ord(character) <= 0xFE0F


@lru_cache
def covered() -> frozenset[int]:
    """The code points that every face of the text has, or the face of headings, which stands in for all of them."""
    return frozenset.intersection(*(characters_of(FONTS / face) for face in TEXT_FACES)) | characters_of(
        FONTS / HEADING_FACE
    )


def characters_of(font: Path) -> frozenset[int]:
    """The code points for which a font has a glyph; raises ValueError for a font without a map of format 4."""
    data = font.read_bytes()
    cmap = _table(data, b"cmap")
    (count,) = struct.unpack_from(">H", data, cmap + 2)
    for place in range(count):
        (offset,) = struct.unpack_from(">I", data, cmap + 4 + 8 * place + 4)
        (form,) = struct.unpack_from(">H", data, cmap + offset)
        if form == 4:
            return frozenset(_format_4(data, cmap + offset))
    raise ValueError(f"{font.name} has no character map of format 4")


def _table(data: bytes, wanted: bytes) -> int:
    (count,) = struct.unpack_from(">H", data, 4)
    for place in range(count):
        tag, _, offset, _ = struct.unpack_from(">4sIII", data, 12 + 16 * place)
        if tag == wanted:
            return int(offset)
    raise ValueError("not a font: it has no character map")


def _format_4(data: bytes, start: int) -> list[int]:
    """Segments of code points: a glyph is named by a shift, or by an entry in an array after the segments."""
    (doubled,) = struct.unpack_from(">H", data, start + 6)
    segments = doubled // 2
    ends = struct.unpack_from(f">{segments}H", data, start + 14)
    starts = struct.unpack_from(f">{segments}H", data, start + 16 + doubled)
    shifts = struct.unpack_from(f">{segments}H", data, start + 16 + 2 * doubled)
    array = start + 16 + 3 * doubled
    found: list[int] = []
    for place, (first, last, shift) in enumerate(zip(starts, ends, shifts, strict=True)):
        at = array + 2 * place
        (offset,) = struct.unpack_from(">H", data, at)
        codes = range(first, min(last, LAST_CODE) + 1)
        found += [code for code in codes if _glyph(data, at, offset, code - first, shift + code)]
    return found


def _glyph(data: bytes, at: int, offset: int, step: int, shifted: int) -> int:
    if not offset:
        return shifted & 0xFFFF
    (glyph,) = struct.unpack_from(">H", data, at + offset + 2 * step)
    return int(glyph)
