"""Photographs and files sent from a browser: one after the other with words on how far, and without a script."""

import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from tests.browser.conftest import DESK, PHONE, Opened
from tests.records.photographs import drawing, jpeg, png, written

MACHINE = "/machines/MR-07"
SYMPTOM = f"{MACHINE}/symptoms/1"
SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
LISTEN = """() => {
  const place = document.querySelector("[data-sending]");
  window.heard = [];
  const hear = () => heard.push(place.querySelector("[role=status]").textContent);
  new MutationObserver(hear).observe(place, {childList: true, subtree: true, characterData: true});
}"""
BOTH_WAYS = pytest.mark.parametrize("scripts", [True, False], ids=["script", "no script"])
SIZES = pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "telephone"])


@pytest.fixture
def files(tmp_path: Path) -> dict[str, Path]:
    """Two photographs, a drawing that is none, and one as a telephone's camera names it."""
    contents = {"1.jpg": jpeg(), "2.png": png(), "evil.jpg": SVG, "image.jpg": written("JPEG", drawing((300, 400)))}
    for name, content in contents.items():
        (tmp_path / name).write_bytes(content)
    return {name: tmp_path / name for name in contents}


def choose(page: Page, field: str, *chosen: Path) -> None:
    page.locator(f"input[name={field}]").set_input_files(chosen)


def unfold(page: Page, words: str) -> None:
    page.locator("summary", has_text=words).click()


@BOTH_WAYS
@SIZES
def test_several_photographs_are_kept(
    opened: Opened, demo_site_to_change: str, files: dict[str, Path], scripts: bool, viewport: dict[str, int]
) -> None:
    """Those that were chosen, and the one that the camera has just taken."""
    page = opened(demo_site_to_change, java_script_enabled=scripts, viewport=viewport)
    page.goto(SYMPTOM)
    unfold(page, "Add photographs")
    choose(page, "photographs", files["1.jpg"], files["2.png"])
    choose(page, "camera", files["image.jpg"])
    page.get_by_label("Caption").first.fill("Hum")

    page.get_by_role("button", name="Add the photographs").click()

    expect(page.locator(".photos img[alt='Hum']")).to_have_count(3)
    expect(page.locator("#notice")).to_contain_text("Added photograph")


@SIZES
def test_it_says_how_far_it_is_and_what_was_refused(
    opened: Opened, demo_site_to_change: str, files: dict[str, Path], viewport: dict[str, int]
) -> None:
    """File by file; those that were kept stay, and one way leads to them."""
    page = opened(demo_site_to_change, viewport=viewport)
    page.goto(SYMPTOM)
    unfold(page, "Add photographs")
    page.evaluate(LISTEN)
    choose(page, "photographs", files["1.jpg"], files["evil.jpg"], files["2.png"])

    page.get_by_role("button", name="Add the photographs").click()

    outcome = page.locator("[data-sending]").first
    expect(outcome).to_contain_text("2 files were kept. This file was not:")
    expect(outcome.get_by_role("listitem")).to_have_text(re.compile("^evil.jpg: This is no photograph of a kind that"))
    said = page.evaluate("() => window.heard")
    for number, name in enumerate(("1.jpg", "evil.jpg", "2.png"), 1):
        assert f"Sending {number} of 3: {name}." in said
    expect(page.get_by_role("button", name="Add the photographs")).to_be_enabled()
    page.get_by_role("link", name="Look at what was kept").click()
    expect(page.locator(".photos img")).to_have_count(2)


def test_a_line_that_breaks_off_costs_no_other(
    browser: Browser, demo_site_to_change: str, files: dict[str, Path]
) -> None:
    """The file in question is named, and the rest is kept."""
    page = browser.new_page(base_url=demo_site_to_change)
    page.goto(SYMPTOM)
    unfold(page, "Add files")
    times = iter(range(9))

    def first_fails(route: Route) -> None:
        route.abort("connectionreset") if next(times) == 0 else route.continue_()

    page.route("**/files/on/symptom/1", first_fails)
    choose(page, "files", files["1.jpg"], files["evil.jpg"])

    page.get_by_role("button", name="Add the files").click()

    outcome = page.locator("[data-sending]").last
    expect(outcome).to_contain_text("One file was kept. This file was not:")
    expect(outcome).to_contain_text("1.jpg: The server did not answer, so look whether it was kept")
    page.close()
