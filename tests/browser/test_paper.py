"""What goes along with a machine from the browser's own printer: its mod sheet, and what of it is original."""

import io
from typing import Literal

import pikepdf
import pytest

from tests.browser.conftest import Opened


@pytest.mark.parametrize("about", ["sheet", "originality", "originality/list", "boards/main-board/dating"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_prints(opened: Opened, demo_site: str, scheme: Literal["light", "dark"], about: str) -> None:
    """On a few pages, without what is only for the screen, dark on light whatever the screen's colours are."""
    page = opened(demo_site, color_scheme=scheme)
    page.goto(f"/machines/MR-07/{about}")
    page.emulate_media(media="print", color_scheme=scheme)

    ink, paper = page.evaluate(
        "[getComputedStyle(document.body).color, getComputedStyle(document.body).backgroundColor]"
    )
    printed = page.pdf(format="A4")

    with pikepdf.open(io.BytesIO(printed)) as document:
        assert 1 <= len(document.pages) <= 10
    assert not page.locator("nav").filter(visible=True).count()
    assert not page.locator("main a[href$='/edit'], main button").filter(visible=True).count()
    assert page.locator(".caution").first.is_visible()
    assert brightness(ink) < 100
    assert brightness(paper) > 240


def brightness(colour: str) -> float:
    """0 for black to 255 for white; what is not there lets the paper through."""
    numbers = [float(one) for one in colour.partition("(")[2].rstrip(")").split(",")]
    return 255.0 if len(numbers) == 4 and numbers[3] == 0 else sum(numbers[:3]) / 3
