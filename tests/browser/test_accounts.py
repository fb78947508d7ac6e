"""People let in by hand, with the keyboard: the first account, signing in, one's own account and everybody's."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import DESK
from tests.browser.test_accessibility import AXE, looks

PASSWORD = "seven quiet lamps"  # noqa: S105


@pytest.fixture
def reader(browser: Browser, empty_site: str) -> Iterator[Page]:
    context = browser.new_context(base_url=empty_site, viewport=DESK)  # type: ignore[arg-type]
    context.add_init_script(path=AXE)
    yield context.new_page()
    context.close()


def test_the_first_keeper_closes_the_door_and_comes_in(reader: Page) -> None:
    """Each page on the way is open to everyone."""
    for address in ("/sign-in", "/people", "/people/new"):
        assert list(looks(reader, address)) == []
    reader.goto("/people")
    reader.get_by_role("link", name="Open the first account").click()
    reader.get_by_label("Name to sign in with").fill("ada")
    reader.get_by_label("Signs as").fill("Ada Wren")
    reader.get_by_label("Password").first.fill(PASSWORD)
    reader.get_by_label("The password again").fill(PASSWORD)
    reader.get_by_role("button", name="Open the account").click()

    expect(reader.get_by_role("heading", level=1)).to_have_text("Sign in")
    reader.get_by_label("Name").focus()
    reader.keyboard.type("ada")
    reader.keyboard.press("Tab")
    reader.keyboard.type(PASSWORD)
    reader.keyboard.press("Enter")

    expect(reader.get_by_role("heading", level=1)).to_have_text("People")
    expect(reader.get_by_role("banner")).to_contain_text("Ada Wren")
    for address in ("/", "/people", "/people/ada", "/invitations", "/account", "/account/codes"):
        assert list(looks(reader, address)) == []
    reader.get_by_role("button", name="Sign out").click()
    assert list(looks(reader, "/sign-in")) == []
