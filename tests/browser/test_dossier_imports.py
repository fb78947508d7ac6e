"""A dossier brought into an empty record by hand: chosen, read, looked at, and taken in with the keyboard."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from server.records.store import Store, sqlite_url
from tests.browser.conftest import DESK
from tests.browser.test_accessibility import AXE, looks
from tests.records.dossiers import write

TAG = "MR-07"


@pytest.fixture(scope="module")
def dossier(demo_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's machine, as it leaves its record."""
    store = Store(sqlite_url(demo_folder))
    place = write(store, TAG, tmp_path_factory.mktemp("dossier") / "MR-07.zip", private=False)
    store.close()
    return place


@pytest.fixture
def reader(browser: Browser, empty_site: str) -> Iterator[Page]:
    context = browser.new_context(base_url=empty_site, viewport=DESK)  # type: ignore[arg-type]
    context.add_init_script(path=AXE)
    yield context.new_page()
    context.close()


def test_a_machine_comes_into_an_empty_record(reader: Page, dossier: Path) -> None:
    """Each page on the way is open to everyone, and the machine is there as it was."""
    reader.goto("/")
    reader.get_by_role("link", name="Take in its dossier").click()
    reader.get_by_label("The dossier’s file").set_input_files(dossier)
    reader.get_by_role("button", name="Read the dossier").click()
    reader.get_by_role("link", name="Look at what it brings").click()
    expect(reader.get_by_text("This machine is new here.")).to_be_visible()
    address = reader.url
    assert list(looks(reader, address)) == []

    reader.get_by_role("button", name="Take it in").focus()
    reader.keyboard.press("Enter")
    reader.get_by_role("link", name=f"Look at {TAG}").click()

    expect(reader.get_by_role("heading", level=1)).to_contain_text(TAG)
    reader.get_by_role("link", name="History").first.click()
    reader.get_by_role("link", name="What was done before").click()
    expect(reader.get_by_text(f"Entered machine {TAG}").or_(reader.locator("ol.log li").first)).to_be_visible()
    assert list(looks(reader, f"/machines/{TAG}/history/earlier")) == []
