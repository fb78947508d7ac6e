"""Share links in a browser: made and withdrawn by the keyboard alone, and open to everyone who follows one."""

import io
import re
import shutil
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Literal

import pikepdf
import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import Opened, serving
from tests.browser.test_accessibility import AXE, looks
from tests.browser.test_keyboard import stops
from tests.conftest import TODAY

SHARING = "/machines/MR-07/sharing"


@pytest.fixture(scope="module")
def site(demo_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The demo, for these tests to make links in."""
    folder = tmp_path_factory.mktemp("sharing") / "demo"
    shutil.copytree(demo_folder, folder)
    with serving(folder) as address:
        yield address


@pytest.fixture
def checked(browser: Browser, site: str) -> Iterator[Page]:
    """A page with axe-core in it."""
    context = browser.new_context(base_url=site)
    context.add_init_script(path=AXE)
    yield context.new_page()
    context.close()


def make(page: Page, whom: str = "Ida Quern", sheet: str = "full") -> str:
    """Make a link and read it."""
    page.goto(SHARING)
    page.get_by_label("Whom it is for").fill(whom)
    page.get_by_label(sheet).check()
    page.get_by_role("button", name="Make the link").click()
    return page.get_by_label("Link to send").input_value()


def test_a_link_is_made_followed_and_withdrawn_by_the_keyboard(opened: Opened, site: str) -> None:
    """What is wrong is met on the way; the link can be reached and taken whole."""
    page = opened(site)
    page.goto(SHARING)
    list(stops(page, "Make the link"))
    page.keyboard.press("Enter")
    expect(page.locator(".error-summary")).to_be_focused()
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.get_by_label("Whom it is for")).to_be_focused()
    page.keyboard.type("Ida Quern")
    page.keyboard.press("Enter")

    link = page.get_by_label("Link to send")
    expect(link).to_be_in_viewport()
    link.focus()
    page.keyboard.press("Control+A")
    taken = page.evaluate("document.getSelection().toString()")
    assert taken == link.input_value()
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="See what it opens")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page).to_have_url(taken)
    expect(page.get_by_role("heading", level=1)).to_contain_text("MR-07")

    page.goto(SHARING)
    withdraw = page.get_by_role("button", name=re.compile("Withdraw link")).first
    withdraw.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("status")).to_contain_text("was withdrawn.")


def test_a_double_click_makes_one_link(opened: Opened, site: str) -> None:
    """The second press is no second wish."""
    page = opened(site)
    page.goto(SHARING)
    page.get_by_label("Whom it is for").fill("Twice Pressed")
    page.get_by_role("button", name="Make the link").dblclick()
    expect(page.get_by_label("Link to send")).to_be_visible()

    expect(page.locator("ol.log > li").filter(has_text="Twice Pressed")).to_have_count(1)


@pytest.mark.parametrize("sheet", ["full", "short"])
def test_what_a_link_opens_is_open_to_everyone(checked: Page, site: str, sheet: str) -> None:
    """WCAG 2.2 AA by axe-core's rules in all four looks, no sideways scrolling, no complaint of the browser."""
    address = make(checked, sheet=sheet)

    assert address.startswith(site)
    assert list(looks(checked, address)) == []


def test_the_page_that_shows_a_link_is_open_to_everyone(checked: Page, monkeypatch: pytest.MonkeyPatch) -> None:
    """With an open link, one that is over, one that was withdrawn; each look asks for the page anew."""
    made: list[str] = []
    monkeypatch.setattr("server.pages.shown_once.ShownOnce.take", lambda _self, _key: made[0])
    made.append("x" * 32)
    make(checked, "To be withdrawn")
    checked.get_by_role("button", name=re.compile("Withdraw link")).first.click()
    expect(checked.get_by_role("status")).to_contain_text("was withdrawn.")
    make(checked, "W" * 120)
    expect(checked.get_by_text("It opens on this computer only,")).to_be_visible()

    assert list(looks(checked, f"{SHARING}?made=key")) == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_what_a_link_opens_prints_as_a_sheet(opened: Opened, site: str, scheme: Literal["light", "dark"]) -> None:
    """Without what is only for the screen."""
    page = opened(site, color_scheme=scheme)
    page.goto(make(page))
    page.emulate_media(media="print")
    printed = page.pdf(format="A4")

    with pikepdf.open(io.BytesIO(printed)) as document:
        assert 1 <= len(document.pages) <= 10
    assert not page.get_by_role("link", name="Take the sheet as PDF").is_visible()
    assert page.locator(".caution").first.is_visible()
    assert page.get_by_text("Signature:").is_visible()


def test_a_last_day_can_be_typed(opened: Opened, site: str) -> None:
    """And stands on the page that the link opens."""
    last = TODAY + timedelta(3)
    page = opened(site)
    page.goto(SHARING)
    page.get_by_label("Whom it is for").fill("Ida Quern")
    page.get_by_label("Last day", exact=True).fill(str(last))
    page.get_by_role("button", name="Make the link").click()
    page.goto(page.get_by_label("Link to send").input_value())

    expect(page.get_by_role("main")).to_contain_text(f"until the end of {last}")
