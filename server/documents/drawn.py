"""Pictures as SVG for a document: drawings by the same macro that pages use, and photographs inside a picture of one.

A document is compiled without a folder of files, so that a photograph travels as text (RFC 2397); the PDF has the very
bytes of its JPEG file.
"""

from base64 import b64encode
from functools import lru_cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from server.documents.drawing import Picture

TEMPLATES = Path(__file__).parent.parent.parent / "templates"


def svg_of(picture: Picture) -> str:
    """A drawing as an SVG file; its texts are not yet held against what the typefaces have."""
    return str(_macros().drawing(picture))


@lru_cache
def _macros() -> Any:
    environment = Environment(
        loader=FileSystemLoader(TEMPLATES), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    )  # fmt: skip
    return environment.get_template("_pictures.html").module


def jpeg_in_svg(jpeg: bytes, width: int, height: int) -> str:
    """A JPEG file of that many pixels as an SVG file that shows nothing else."""
    sized = f'width="{width}" height="{height}"'
    link = f"data:image/jpeg;base64,{b64encode(jpeg).decode('ascii')}"
    return f'<svg xmlns="http://www.w3.org/2000/svg" {sized}><image {sized} href="{link}"/></svg>'
