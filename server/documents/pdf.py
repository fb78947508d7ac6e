"""Archival PDFs: PDF/A-3a and PDF/UA-1, from a document template and plain data, with files attached byte for byte.

Only the bundled fonts are used and nothing is fetched, so the same data and day give the same bytes. A compiler is
made for each call, because one cannot be shared between threads.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, cast

import typst

from server.documents.codes import qr_code
from server.documents.glyphs import FONTS, STAND_IN, printable
from server.documents.mod_sheet import SheetData
from server.documents.prose import blocks

TEMPLATES = Path(__file__).parent.parent.parent / "templates" / "documents"
MARKDOWN = "_text"
TYPST_PAPERS = {"A4": "a4", "Letter": "us-letter"}
CODE_MODULE_MM = 0.5  # common practice, no source: a telephone reads it from a copy of a copy too


@dataclass(frozen=True, slots=True)
class Attached:
    """A file that travels inside the PDF. Its bytes are UTF-8 text."""

    name: str
    content: bytes
    media_type: str
    words: str


def mod_sheet_pdf(sheet: SheetData, record_json: bytes, paper: str = "A4") -> bytes:
    """The mod sheet on paper (A4 or Letter), with the record it was made from."""
    record = Attached(f"{sheet.tag}-record.json", record_json, "application/json", f"The whole record of {sheet.tag}")
    code, modules = qr_code(sheet.check_at) if sheet.check_at else ("", 0)
    data = asdict(sheet) | {
        "short_digest": sheet.short_digest,
        "digest_in_fours": sheet.digest_in_fours,
        "paper": TYPST_PAPERS[paper],
        "code": code,
        "code_mm": modules * CODE_MODULE_MM,
    }
    return compiled("mod_sheet.typ", data, date.fromisoformat(sheet.day), [record])


def compiled(template: str, data: Mapping[str, Any], day: date, attached: Sequence[Attached] = ()) -> bytes:
    """A PDF from one of the document templates, dated to a day.

    The template reads `data` (with `stands_in`, whether □ stands for anything in it), `day` and `attached` from
    sys.inputs, and each attached file's text from `attached-0` on.
    """
    laid = laid_out(data)
    stands_in = STAND_IN in json.dumps(laid, ensure_ascii=False)
    files = [{"name": file.name, "type": file.media_type, "words": file.words} for file in attached]
    inputs = {
        "data": json.dumps(laid | {"stands_in": stands_in}),
        "day": day.isoformat(),
        "attached": json.dumps(files),
        **{f"attached-{place}": file.content.decode("utf-8") for place, file in enumerate(attached)},
    }
    fonts = typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[FONTS])
    compiler = typst.Compiler(root=TEMPLATES, ignore_system_fonts=True, font_paths=fonts)
    midnight = int(datetime(day.year, day.month, day.day, tzinfo=UTC).timestamp())
    pdf = compiler.compile(
        TEMPLATES / template, format="pdf", pdf_standards=["a-3a", "ua-1"], sys_inputs=inputs, timestamp=midnight
    )
    return cast("bytes", pdf)  # one PDF is never a list of pages


def laid_out(value: Any, key: str = "") -> Any:
    """Data as a template takes it: Markdown as blocks, and no character that the fonts do not have."""
    match value:
        case str() if key.endswith(MARKDOWN):
            return laid_out(blocks(value))
        case str():
            return printable(value)
        case Mapping():
            return {name: laid_out(inner, name) for name, inner in value.items()}
        case list() | tuple():
            return [laid_out(inner) for inner in value]
        case _:
            return value
