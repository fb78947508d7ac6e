"""Every kind of page, at a desk and on a telephone, by day and by night: axe-core finds nothing, nothing sticks out."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from playwright.sync_api import Browser, Page
from starlette.testclient import TestClient

from server.app import create_app
from server.settings import Settings
from tests.browser.conftest import DESK, PHONE, complains
from tests.pages.walking import ROUTES, route_of, walk

AXE = Path(__file__).parent / "vendor" / "axe-core" / "axe.min.js"
A_PATTERN = 6
# No pages of their own: files, answers to programs, parts of a page, forms that go on to one, work soon over.
NO_PAGES = {
    "/understood",
    "/bench-sums/{slug}/attach",
    "/machines/{tag}/sheet.pdf",
    "/machines/{tag}/sheets/{n:int}.pdf",
    "/machines/{tag}/labels.pdf",
    "/lists/{name}.csv",
    "/machines/{tag}/lists/{name}.csv",
    "/machines/{tag}/dossier/{key}",
    "/sheets/{key}",
    "/kept-aside/labels.pdf",
    "/api/v1/machines/{tag}",
    "/api/v1/procedures",
    "/machines/{tag}/on",
    "/machines/{tag}/photographs/{n:int}/file",
    "/machines/{tag}/files/{n:int}/file",
    "/photographs/{sha256}/{most:int}",
    "/machines/{tag}/waveforms/{n:int}/file",
    "/jobs/{key}",
    "/healthz",
    # Pages that are there once somebody has an account: test_accounts.py looks at them.
    "/sign-in",
    "/invitations",
    "/invitation/{token}",
    "/account",
    "/account/codes",
    "/sign-in/code",
    "/people/{name}",
    # Pages that are there once a dossier was brought: test_dossier_imports.py looks at them.
    "/dossiers/import/{key}",
    "/machines/{tag}/history/earlier",
    "/shared/{token}",
    "/shared/{token}/sheet.pdf",
    "/robots.txt",
}
PATTERNS = sorted({route.path for route in ROUTES if "GET" in (route.methods or ())} - NO_PAGES)
FAULTS = {
    "404": "/machines/none-such",
    "422": "/kept-aside?bag=eleven",
    "404 of a digest": "/verify/0123456789ab",
    "422 of a digest": "/verify?digest=none",
    "422 of a day": "/machines/MR-07/on?day=&against=",
    "422 of a net": "/machines/MR-07/boards/main-board/nets/1?supply=none&pin=1",
    "422 of a sum": "/bench-sums/divider/attach?V_in=none",
    "404 of a share link": "/shared/none-such",
}

ALL_RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
COLOURS = {"runOnly": {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}}
RUN_AXE = """async (options) => {
  const found = await axe.run(document, {...options, resultTypes: ["violations"]});
  return found.violations.map((one) => `${one.impact} ${one.id}: ${one.nodes.map((node) => node.html).slice(0, 3)}`);
}"""
# What is wider than the page and does not scroll within a frame of its own.
OVERFLOW = """() => {
  const most = document.documentElement.clientWidth, all = document.documentElement.scrollWidth;
  const framed = (one) => one.parentElement.closest(".wide, pre, [tabindex='0'], svg");
  const beyond = (one) => one.getBoundingClientRect().right > most + 0.5 && one.checkVisibility() && !framed(one);
  const wide = [...document.querySelectorAll("body *")].filter(beyond).map((one) => one.outerHTML.slice(0, 120));
  return [...(all > most ? [`the page, ${all} wide,`] : []), ...wide.slice(0, 3)];
}"""
WRONG = """<html><body><h1>A</h1><h4>B</h4><input><p style="color: #999; background: #aaa">faint</p>
<div style="width: 700px">wide</div></body></html>"""


@pytest.fixture(scope="module")
def fullest(demo_folder: Path) -> dict[str, str]:
    """For each route the address of the demo whose page has the most on it."""
    settings = Settings(data=demo_folder, keeper="Test keeper", allowed_hosts=["testserver"], log_level="error")
    sizes: dict[str, tuple[int, str]] = {}
    with TestClient(create_app(settings)) as client:
        for visited in walk(client, a_pattern=A_PATTERN):
            pattern = str(route_of(visited.address))
            sizes[pattern] = max(sizes.get(pattern, (0, "")), (len(visited.answer.content), visited.address))
    return {pattern: address for pattern, (_, address) in sizes.items()}


@pytest.fixture(scope="module")
def reader(browser: Browser, demo_site: str) -> Iterator[Page]:
    """One browser for all pages, with axe-core in each."""
    context = browser.new_context(base_url=demo_site, viewport=DESK)  # type: ignore[arg-type]
    context.add_init_script(path=AXE)
    yield context.new_page()
    context.close()


def looks(page: Page, address: str) -> Iterator[str]:
    """Everything that is wrong with a page, in each of its four looks."""
    said: list[str] = []
    page.on("console", note := lambda one: said.append(f"console: {one.text}") if complains(one) else None)
    page.emulate_media(color_scheme="light")
    page.set_viewport_size(DESK)  # type: ignore[arg-type]
    page.goto(address)
    yield from found(page, "desk, light", ALL_RULES)
    page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    yield from found(page, "telephone, light", ALL_RULES)
    yield from (f"telephone: {one} sticks out" for one in page.evaluate(OVERFLOW))
    page.emulate_media(color_scheme="dark")
    yield from found(page, "telephone, dark", COLOURS)
    page.set_viewport_size(DESK)  # type: ignore[arg-type]
    yield from found(page, "desk, dark", COLOURS)
    page.remove_listener("console", note)
    yield from said


def found(page: Page, look: str, rules: dict[str, Any]) -> Iterator[str]:
    yield from (f"{look}: {violation}" for violation in page.evaluate(RUN_AXE, rules))


@pytest.mark.parametrize("pattern", PATTERNS)
def test_a_page_is_open_to_everyone(pattern: str, fullest: dict[str, str], reader: Page) -> None:
    """WCAG 2.2 AA by axe-core's rules, no sideways scrolling at 360 px, no complaint of the browser."""
    assert pattern in fullest, "no link of the demo leads to such a page; if it is none, say so in NO_PAGES"

    assert list(looks(reader, fullest[pattern])) == []


@pytest.mark.parametrize("address", FAULTS.values(), ids=FAULTS)
def test_a_page_that_refuses_is_open_to_everyone(address: str, reader: Page) -> None:
    """What went wrong is told as well as what went right."""
    faults = [said for said in looks(reader, address) if not re.search(r"status of 404", said)]

    assert faults == []


MAIN = "/machines/MR-07/boards/main-board"
ASKED_MORE = {
    "a pin held low": f"{MAIN}/nets/1?case=mod-7&pin=3&level=low&against=",
    "a map turned over, with a mod's steps": f"{MAIN}/map?picture=2&find=R2&turn=25&mirror=yes&mod=7",
    "a map on which nothing was found": f"{MAIN}/map?find=R77",
    "a map without a picture": "/machines/MR-07/boards/keyboard/map",
    "a pin on a turned picture": f"{MAIN}/map/2/place?designator=R2&turn=90",
    "a short sheet of some mods": "/machines/MR-07/sheet?chosen=yes&length=short&mods=1",
}


@pytest.mark.parametrize("address", ASKED_MORE.values(), ids=ASKED_MORE)
def test_a_page_that_was_asked_more_is_open_to_everyone(address: str, reader: Page) -> None:
    """What a form that only asks adds to its page."""
    assert list(looks(reader, address)) == []


@pytest.mark.parametrize("address", ["/", "/journal", "/kept-aside", "/procedures", "/machines/new", "/bench-sums"])
def test_an_empty_record_is_open_to_everyone(address: str, browser: Browser, empty_site: str) -> None:
    """What there is before there is anything."""
    context = browser.new_context(base_url=empty_site)
    context.add_init_script(path=AXE)

    faults = list(looks(context.new_page(), address))
    context.close()

    assert faults == []


def test_what_is_wrong_would_be_found(reader: Page) -> None:
    """The rules and the measure are at work: a page with known faults does not pass."""
    reader.set_viewport_size(PHONE)  # type: ignore[arg-type]
    reader.goto(f"data:text/html,{quote(WRONG)}")

    faults = " ".join(found(reader, "telephone", ALL_RULES))

    assert all(
        rule in faults for rule in ("heading-order", "label", "document-title", "html-has-lang", "color-contrast")
    )
    assert len(reader.evaluate(OVERFLOW)) == 2
