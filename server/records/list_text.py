"""The bytes of a parts list as text: which encoding it is in, found out and said in words, never guessed silently.

UTF-8 and UTF-16 are told for certain. Older encodings are told by the signs that parts lists hold (µF, Ω, ±5, °C),
which each of them keeps at another byte; where the text has none, Windows-1252 is taken for Western text and
charset-normalizer asked about the rest. What is not text is refused. It knows nothing of rows and columns.
"""

import codecs
import re
from dataclasses import dataclass

import charset_normalizer

from server.records.errors import Invalid

BYTE_ORDER_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig", "UTF-8"),
    (codecs.BOM_UTF32_LE, "utf-32", "UTF-32"),
    (codecs.BOM_UTF32_BE, "utf-32", "UTF-32"),
    (codecs.BOM_UTF16_LE, "utf-16", "UTF-16"),
    (codecs.BOM_UTF16_BE, "utf-16", "UTF-16"),
)
NO_TEXT = (
    (b"PK\x03\x04", "This is a packed file, as workbooks are. Save the sheet as CSV first, then choose that file."),
    (b"\xd0\xcf\x11\xe0", "This is a workbook or document. Save the sheet as CSV first, then choose that file."),
    (b"%PDF", "This is a PDF. Copy its table into a sheet, save that as CSV, then choose that file."),
    (b"\x89PNG", "This is a picture, not a list."),
    (b"\xff\xd8\xff", "This is a photograph, not a list."),
)
BINARY = "This file is not text, so it cannot be read as a list. Save the sheet as CSV and choose that file."
BROKEN = "This file begins as {name}, but byte {place:,} is none. It was damaged on its way; save it again."
UNCERTAIN = (
    "The file is not in UTF-8; it was read as {name}. Look below whether µ, Ω, ± and accented letters came out right. "
    "If they did not, save the file as UTF-8 and choose it again."
)

OLDER = (("cp1252", "Windows-1252"), ("mac_roman", "Mac Roman"), ("cp437", "code page 437"))
SIGNS = re.compile(r"\d ?[kKMG]?Ω(?!\w)|µ[FHAVWs]|± ?\d|\d ?°C")
OTHER_ALPHABET = re.compile(rb"[\x80-\xff]{3}")  # Western accents hardly ever stand three in a row
OTHER_CONTROLS = bytes(set(range(32)) - set(b"\t\n\r\x0b\x0c\x1a"))
CONTROLS_MOST = 0.01
SAMPLE = 20_000


@dataclass(frozen=True, slots=True)
class Encoding:
    """How bytes become text; `words` says it where the keeper should look whether it is right."""

    codec: str
    name: str
    words: str = ""


def decode(data: bytes) -> str:
    """The list as text; raises Invalid where the file is no text."""
    encoding = encoding_of(data)
    try:
        return data.decode(encoding.codec)
    except UnicodeDecodeError as fault:
        raise Invalid({"file": BROKEN.format(name=encoding.name, place=fault.start + 1)}) from None


def encoding_of(data: bytes) -> Encoding:
    """Which encoding a list is in; raises Invalid where it is in none."""
    for beginning, sentence in NO_TEXT:
        if data.startswith(beginning):
            raise Invalid({"file": sentence})
    for mark, codec, name in BYTE_ORDER_MARKS:
        if data.startswith(mark):
            return Encoding(codec, name)
    if wide := _utf16_without_mark(data):
        return Encoding(wide, "UTF-16")
    if b"\0" in data or len(data) - len(data.translate(None, OTHER_CONTROLS)) > CONTROLS_MOST * len(data):
        raise Invalid({"file": BINARY})
    if _is_utf8(data):
        return Encoding("utf-8", "UTF-8")
    codec, name = _older(data)
    return Encoding(codec, name, UNCERTAIN.format(name=name))


def _is_utf8(data: bytes) -> bool:
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


def _utf16_without_mark(data: bytes) -> str:
    """Western text in UTF-16 has a zero in nearly every other byte, always on the same side."""
    even, odd = data[:SAMPLE:2].count(0), data[1:SAMPLE:2].count(0)
    most = len(data[:SAMPLE]) // 2
    if not data or len(data) % 2 or max(even, odd) < 0.7 * most or min(even, odd) > 0:
        return ""
    return "utf-16-le" if odd > even else "utf-16-be"


def _older(data: bytes) -> tuple[str, str]:
    found = {codec: len(SIGNS.findall(data.decode(codec, "replace"))) for codec, _ in OLDER}
    best = max(found, key=lambda codec: found[codec])
    names = dict(OLDER)
    if found[best]:
        return best, names[best]
    if not OTHER_ALPHABET.search(data) and _decodes(data, "cp1252"):
        return "cp1252", names["cp1252"]
    likely = charset_normalizer.from_bytes(data[:SAMPLE]).best()
    if likely is None or not _decodes(data, likely.encoding):
        raise Invalid({"file": BINARY})
    return likely.encoding, likely.encoding.replace("_", " ")


def _decodes(data: bytes, codec: str) -> bool:
    try:
        data.decode(codec)
    except UnicodeDecodeError:
        return False
    return True
