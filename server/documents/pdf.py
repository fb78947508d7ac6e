"""Archival PDFs: PDF/A-3a and PDF/UA-1, from a document template and plain data, with files attached byte for byte.

Only the bundled fonts are used and nothing is fetched, so the same data and day give the same bytes. A compiler is
made for each call, because one cannot be shared between threads.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path
from types import MappingProxyType
from typing import Any, cast

import typst

from server.documents.codes import qr_code
from server.documents.drawn import jpeg_in_svg, svg_of
from server.documents.glyphs import FONTS, STAND_IN, printable
from server.documents.mod_sheet import SheetData
from server.documents.prose import blocks

TEMPLATES = Path(__file__).parent.parent.parent / "templates" / "documents"
MARKDOWN = "_text"
TYPST_PAPERS = {"A4": "a4", "Letter": "us-letter"}
NO_PICTURES: Mapping[str, Any] = MappingProxyType({})
CODE_MODULE_MM = 0.5  # common practice, no source: a telephone reads it from a copy of a copy too


@dataclass(frozen=True, slots=True)
class Attached:
    """A file that travels inside the PDF. Its bytes are UTF-8 text."""

    name: str
    content: bytes
    media_type: str
    words: str


def mod_sheet_pdf(
    sheet: SheetData, record_json: bytes, paper: str = "A4", views: Mapping[str, bytes] = NO_PICTURES
) -> bytes:
    """The mod sheet on paper (A4 or Letter), with the record it was made from.

    `views` are the JPEG files of its photographs by the digests of what they are made of; of one that is not among them
    the sheet says that it cannot be shown.
    """
    record = Attached(f"{sheet.tag}-record.json", record_json, "application/json", f"The whole record of {sheet.tag}")
    code, modules = qr_code(sheet.check_at) if sheet.check_at else ("", 0)
    drawn = [one.picture for one in sheet.trials]
    bare = replace(sheet, trials=tuple(replace(one, picture=None) for one in sheet.trials))
    data = asdict(bare) | {
        "drawings": [{"svg": svg_of(picture), "alt": picture.title} if picture else None for picture in drawn],
        "short_digest": sheet.short_digest,
        "digest_in_fours": sheet.digest_in_fours,
        "paper": TYPST_PAPERS[paper],
        "code": code,
        "code_mm": modules * CODE_MODULE_MM,
    }
    pictures = {
        f"photograph-{one.sha256}": jpeg_in_svg(views[one.sha256], one.width, one.height)
        for one in sheet.shown
        if one.sha256 in views
    }
    return compiled("mod_sheet.typ", data, date.fromisoformat(sheet.day), [record], pictures)


def compiled(
    template: str,
    data: Mapping[str, Any],
    day: date,
    attached: Sequence[Attached] = (),
    pictures: Mapping[str, str] = NO_PICTURES,
) -> bytes:
    """A PDF from one of the document templates, dated to a day."""
    return typeset(template, inputs_of(data, day, attached, pictures), day)


def inputs_of(
    data: Mapping[str, Any],
    day: date,
    attached: Sequence[Attached] = (),
    pictures: Mapping[str, str] = NO_PICTURES,
) -> dict[str, str]:
    """What a template reads from sys.inputs.

    These are `data` (with `stands_in`, whether □ stands for anything in it), `day` and `attached`, each attached file's
    text from `attached-0` on, and pictures as SVG under their own names.
    """
    laid = laid_out(data)
    stands_in = STAND_IN in json.dumps(laid, ensure_ascii=False)
    files = [{"name": file.name, "type": file.media_type, "words": file.words} for file in attached]
    return {
        "data": json.dumps(laid | {"stands_in": stands_in}),
        "day": day.isoformat(),
        "attached": json.dumps(files),
        **{f"attached-{place}": file.content.decode("utf-8") for place, file in enumerate(attached)},
        **pictures,
    }


def typeset(template: str, inputs: Mapping[str, str], day: date) -> bytes:
    """The compiler alone, given what the template reads."""
    fonts = typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[FONTS])
    compiler = typst.Compiler(root=TEMPLATES, ignore_system_fonts=True, font_paths=fonts)
    midnight = int(datetime(day.year, day.month, day.day, tzinfo=UTC).timestamp())
    pdf = compiler.compile(
        TEMPLATES / template, format="pdf", pdf_standards=["a-3a", "ua-1"], sys_inputs=dict(inputs), timestamp=midnight
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
