"""What is put into fields, addresses and uploads to see what the house makes of it."""

import io
import random
import zipfile
import zlib

from PIL import Image

DIGITS = 5_000
TEXTS = (
    "",
    " ",
    "0",
    "-1",
    "1e400",
    "-1e-400",
    "9" * DIGITS,
    "1." + "3" * DIGITS,
    "2147483648",
    "9223372036854775808",
    "NaN",
    "inf",
    "1/0",
    "2**99999",
    "(" * 3_000,
    "2025-02-30",
    "0000-00-00",
    "10000-01-01",
    "9999-12-31",
    "1970-13",
    "٣",
    "²",
    "\ud800",
    "a\udfffb",
    "\0",
    "a\0b",
    "a\r\nSet-Cookie: a=b",
    "\u202eabc\u2066",
    "\u200b",
    "é" * 50_000,
    "<script>alert(1)</script>",
    "{{ 7*7 }}",
    "' OR 1=1 --",
    "../../../etc/passwd",
    "%00",
    "[]",
    '{"a":',
    "null",
    "true",
    "4k7 ±5 %",
    "1 kΩ ±1e9 %",
    "5 V ± 1e308 %",
    "x" * 100_000,
    "https://example.org/",
    "\t",
    "\ufeff",
    "𝔘" * 300,
)
NUMBERS = ("0", "1", "2", "999999999", "2147483648", "9223372036854775808", "9" * DIGITS, "٣", "-1", "1.5", "%00")
NAMES = (
    "../../etc/passwd",
    "..\\..\\boot.ini",
    "a\r\nX: y.png",
    "n" * 5_000 + ".png",
    "",
    ".",
    "\u202egnp.exe",
    "a\0.png",
    "front.png",
    "list.csv",
    "list.xlsx",
    "dossier.zip",
    'a";filename="b.png',
)


def mended(text: str) -> str:
    """The same text as a header or a multipart body can hold it."""
    return text.encode("utf-8", "replace").decode("utf-8")


def _picture(kind: str) -> bytes:
    written = io.BytesIO()
    Image.new("RGB", (40, 30), "red").save(written, kind)
    return written.getvalue()


def _zip(*members: tuple[str, bytes]) -> bytes:
    written = io.BytesIO()
    with zipfile.ZipFile(written, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members:
            archive.writestr(name, content)
    return written.getvalue()


def _wide_png() -> bytes:
    """A PNG that says it is 60,000 by 60,000 pixels."""

    def chunk(kind: bytes, content: bytes) -> bytes:
        return len(content).to_bytes(4, "big") + kind + content + zlib.crc32(kind + content).to_bytes(4, "big")

    head = (60_000).to_bytes(4, "big") * 2 + bytes([8, 2, 0, 0, 0])
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(bytes(1000))) + chunk(b"IEND", b"")
    )


WORKBOOK = _zip(("[Content_Types].xml", b"<Types/>"), ("xl/workbook.xml", b"<workbook/>"))
CONTENTS = (
    b"",
    b"\0",
    b"\xff" * 4_000,
    _picture("PNG"),
    _picture("JPEG"),
    _wide_png(),
    b"%PDF-1.7\n1 0 obj\n<< /Type /Catalog >>\nendobj\ntrailer << /Root 1 0 R >>\n%%EOF",
    WORKBOOK,
    _zip(("bomb", bytes(30_000_000))),
    _zip(("xl/workbook.xml", bytes(30_000_000)), ("[Content_Types].xml", b"<Types/>")),
    _zip(("../../climbs", b"out"), ("bagit.txt", b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n")),
    b"Designator,Kind,Value\nR1,resistor,1k\n",
    b"Designator;Kind\r\n" + b";" * 50_000,
    b'"' * 3_000,
    b"Time,CH1\ns,V\n" + b"1e999,nan\n" * 50,
    "Datum\tMod\n٣\t\ud7ff\n".encode(),
    b"\xfe\xff\x00a\xd8\x00",
)


def a_text(chance: random.Random) -> str:
    return chance.choice(TEXTS)


def a_content(chance: random.Random) -> bytes:
    """Whole, cut short, turned in some octets, or noise."""
    content = chance.choice(CONTENTS)
    act = chance.randrange(4)
    if act == 0:
        return content[: chance.randrange(len(content) + 1)]
    if act == 1 and content:
        spoilt = bytearray(content)
        for _ in range(5):
            spoilt[chance.randrange(len(spoilt))] = chance.randrange(256)
        return bytes(spoilt)
    return content if act == 2 else chance.randbytes(chance.randrange(5_000))
