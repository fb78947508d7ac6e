"""Tables as they are laid out: a row stands on one line, and a telephone shows what is asked of a table first."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page

from tests.browser.conftest import DESK, PHONE

# How far apart the first lines of a row's cells begin, at the most, over all rows of a page.
STAGGER = """() => {
  const top = (cell) => {
    const words = document.createRange();
    words.selectNodeContents(cell);
    return Math.min(...[...words.getClientRects()].filter((box) => box.height && box.width).map((box) => box.bottom));
  };
  const spread = (row) => {
    const tops = [...row.cells].filter((cell) => cell.textContent.trim()).map(top);
    return Math.max(...tops) - Math.min(...tops);
  };
  return Math.max(...[...document.querySelectorAll("tbody tr")].map(spread));
}"""
READ_TO = """() => Math.max(...[...document.querySelectorAll("table.codes tbody tr")].map(
  (row) => row.cells[2].getBoundingClientRect().right))"""
LINE = 12  # px, half a line: small letters beside larger ones differ by less


@pytest.fixture
def reader(browser: Browser, demo_site: str) -> Iterator[Page]:
    context = browser.new_context(base_url=demo_site)
    yield context.new_page()
    context.close()


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "telephone"])
@pytest.mark.parametrize(
    "address",
    ["/machines/MR-07/on/2025-03-20?against=2026-06-15", "/machines/MR-07/on/2025-03-20", "/kept-aside?show=gone"],
)
def test_a_row_stands_on_the_first_line_of_its_links(reader: Page, address: str, size: dict[str, int]) -> None:
    """However many lines each takes."""
    reader.set_viewport_size(size)  # type: ignore[arg-type]
    reader.goto(address)

    assert reader.evaluate(STAGGER) < LINE


def test_a_telephone_shows_what_a_code_means(reader: Page) -> None:
    """Without scrolling the table sideways."""
    reader.set_viewport_size(PHONE)  # type: ignore[arg-type]
    reader.goto("/machines/MR-07/boards/main-board/dating")

    assert reader.evaluate(READ_TO) <= PHONE["width"]
