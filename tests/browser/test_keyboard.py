"""With the keyboard alone: past the masthead, through a form, to what is wrong with it, and on."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Opened

STOPS_MOST = 60
# What has the focus, and whether that can be seen: an outline of its own, on the screen.
FOCUS = """() => {
  const one = document.activeElement, box = one.getBoundingClientRect(), style = getComputedStyle(one);
  const outlined = style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2;
  const onScreen = box.width > 0 && box.bottom > 0 && box.right > 0 && box.top < innerHeight;
  return [one.getAttribute("name") || one.textContent.trim(), outlined && onScreen];
}"""


def stops(page: Page, until: str) -> Iterator[tuple[str, bool]]:
    """Tab on and on, until something of this name has the focus: each stop, and whether it could be seen."""
    for _ in range(STOPS_MOST):
        page.keyboard.press("Tab")
        name, seen = page.evaluate(FOCUS)
        yield name, seen
        if name == until:
            return
    raise AssertionError(f"{until} was not reached")


def test_the_first_stop_skips_the_masthead(opened: Opened, demo_site: str) -> None:
    """Its link is out of sight until it is reached, and leads into the content."""
    page = opened(demo_site)
    page.goto("/")

    reached = list(stops(page, "Skip to the content"))
    page.keyboard.press("Enter")

    assert reached == [("Skip to the content", True)]
    assert page.evaluate("document.activeElement.id") == "content"


@pytest.mark.parametrize(
    "address", ["/machines/new", "/machines/MR-07/parts/new", "/machines/MR-07/mods/1/steps/2/another"]
)
def test_every_stop_on_the_way_through_a_form_can_be_seen(opened: Opened, demo_site: str, address: str) -> None:
    """From the top of the page to its last link, and each field has one stop."""
    page = opened(demo_site)
    page.goto(address)

    reached = list(stops(page, "Cancel"))

    fields = page.locator("main form [name]:not([type=hidden]):visible").evaluate_all(
        "all => [...new Set(all.filter((one) => one.type !== 'radio' || one.checked).map((one) => one.name))]"
    )
    seen = {name for name, seen in reached if seen}
    assert {name for name, _ in reached} - seen == set()  # a day has stops within it that the browser marks itself
    assert set(fields) - seen == set()


def test_enter_sends_a_form_and_the_focus_lands_on_what_is_wrong(opened: Opened, empty_site: str) -> None:
    """The summary has the focus, its link leads to the field, and Enter sends the form again."""
    page = opened(empty_site)
    page.goto("/machines/new")
    list(stops(page, "tag"))
    page.keyboard.type("TM-03")
    page.keyboard.press("Enter")
    expect(page.locator(".error-summary")).to_be_focused()

    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Model: This cannot be left empty.")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.get_by_label("Model")).to_be_focused()
    page.keyboard.type("Larkspur 8")
    page.keyboard.press("Enter")

    expect(page.get_by_role("heading", level=1)).to_contain_text("TM-03")


def test_wide_tables_scroll_by_the_keyboard(opened: Opened, demo_site: str) -> None:
    """On a telephone's width a table that is wider than the page can be reached and moved."""
    page = opened(demo_site, viewport={"width": 360, "height": 780})
    page.goto("/machines/MR-07/boards/main-board")
    table = page.get_by_role("region", name="Positions on Main board")
    table.focus()

    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")

    expect(table).to_be_focused()
    page.wait_for_function("document.activeElement.scrollLeft > 0")
