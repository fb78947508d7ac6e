"""The look holds what it promises: contrast in both themes, a strict content policy, fonts and htmx as described."""

import json
import re
from itertools import product
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
STATIC = ROOT / "static"
SHEET = (STATIC / "css" / "putback.css").read_text(encoding="utf-8")
TEMPLATES = sorted((ROOT / "templates").rglob("*.html"))


def tokens(opening: str) -> dict[str, str]:
    """The colours of the block that follows `opening` in the sheet."""
    block = SHEET[SHEET.index(opening) :].split("}")[0]
    return dict(re.findall(r"--([a-z-]+):\s*(#[0-9a-f]{6});", block))


LIGHT = tokens(":root {")
THEMES = {
    "light": LIGHT,
    "dark": LIGHT | tokens("@media (prefers-color-scheme: dark)"),
    "print": LIGHT | tokens("@media print"),
}


def luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour (WCAG 2.2, definition of relative luminance)."""
    shares = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (s / 12.92 if s <= 0.04045 else ((s + 0.055) / 1.055) ** 2.4 for s in shares)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio, 1 to 21 (WCAG 2.2, definition of contrast ratio)."""
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def test_black_on_white_is_the_widest_contrast() -> None:
    """The measure itself: 21 to 1, as WCAG 2.2 gives it."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)


@pytest.mark.parametrize("theme", THEMES)
def test_text_has_the_contrast_of_level_aa(theme: str) -> None:
    """Every ink on every paper reaches 4.5 to 1 (WCAG 2.2, 1.4.3), buttons included."""
    colours = THEMES[theme]
    pairs = [*product(("ink", "ink-soft", "accent"), ("paper", "paper-shade", "paper-bright"))]

    weak = [pair for pair in pairs if contrast(colours[pair[0]], colours[pair[1]]) < 4.5]

    assert weak == []


@pytest.mark.parametrize("theme", THEMES)
def test_the_edges_of_controls_can_be_seen(theme: str) -> None:
    """The line round a control reaches 3 to 1 (WCAG 2.2, 1.4.11)."""
    colours = THEMES[theme]

    weak = [paper for paper in ("paper", "paper-bright") if contrast(colours["rule-firm"], colours[paper]) < 3]

    assert weak == []


@pytest.mark.parametrize("template", TEMPLATES, ids=lambda path: str(path.relative_to(ROOT)))
def test_no_template_needs_an_inline_style_or_script(template: Path) -> None:
    """A content policy of 'self' forbids them, so they would fail without a word."""
    text = re.sub(r"\{[{%#].*?[}%#]\}", "", template.read_text(encoding="utf-8"), flags=re.DOTALL)

    assert not re.search(r"\sstyle\s*=|\son[a-z]+\s*=|<style|javascript:", text)
    assert not re.search(r"<script(?![^>]*\ssrc=)", text)


def test_htmx_shows_refused_and_stale_forms_and_evaluates_nothing() -> None:
    """Statuses 422 and 409 are swapped in; history, styles and eval follow the strict policy."""
    layout = (ROOT / "templates" / "layout.html").read_text(encoding="utf-8")
    found = re.search(r"name=\"htmx-config\" content='([^']+)'", layout)
    assert found

    config = json.loads(found[1])

    swapped = {rule["code"] for rule in config["responseHandling"] if rule["swap"]}
    assert {"409", "422"} <= swapped
    assert not any(
        config[name] for name in ("historyRestoreAsHxRequest", "includeIndicatorStyles", "allowEval", "allowScriptTags")
    )


def test_the_vendored_htmx_is_the_version_that_its_note_says() -> None:
    """The note beside a vendored file is only worth something while it is true."""
    folder = STATIC / "vendor" / "htmx"
    script = (folder / "htmx.min.js").read_text(encoding="utf-8")
    note = (folder / "README.md").read_text(encoding="utf-8")

    version = re.search(r'version:"([\d.]+)"', script)

    assert version
    assert f"Version: {version[1]}\n" in note
    assert "Zero-Clause BSD" in (folder / "LICENSE").read_text(encoding="utf-8")


def test_every_face_is_bundled_for_web_and_paper_with_its_licence() -> None:
    """The browser's face, its twin for the PDF engine, and the licence that travels with both."""
    fonts = STATIC / "fonts"

    faces = set(re.findall(r"fonts/([\w-]+)\.woff2", SHEET))

    assert faces
    for face in faces:
        assert (fonts / f"{face}.woff2").read_bytes()[:4] == b"wOF2"
        assert (fonts / f"{face}.ttf").read_bytes()[:4] == b"\x00\x01\x00\x00"
        licence = (fonts / f"{face.split('-')[0]}-OFL.txt").read_text(encoding="utf-8")
        assert "SIL OPEN FONT LICENSE Version 1.1" in licence
        assert f"{face.split('-')[1]}" in (fonts / "README.md").read_text(encoding="utf-8")
