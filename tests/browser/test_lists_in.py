"""Lists on their way in at a real browser: every step open to everyone, by the keyboard, with a script and without."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import DESK, PHONE, Opened
from tests.browser.hands import Hands
from tests.browser.test_accessibility import ALL_RULES, AXE, COLOURS, OVERFLOW, found
from tests.records.test_list_workbook import workbook

PARTS = "/machines/MR-07/parts/import?board=keyboard"
MODS = "/machines/MR-07/mods/import"
LIST = "Bauteil;Wert;Art\nR31;330 Ω;resistor\nC31;100 nF;capacitor\n"
LIST_OF_MODS = (
    "Umbau;State;Day;Purpose;Board;Ref;Act;Pin;Done on\n"
    "Quieter fan;done;2019-03-12;It hums;;;;;\n"
    "A link on the reset line;done;2019-05-02;It hangs;Main board;U1;add link;9;2019-05-01\n"
    "Bad one;gone;;;;;;;\n"
)
TWO_SHEETS = workbook(("First", [["Bauteil"], ["R31"]]), ("Second", [["Ref", "Value"], ["R32", "1 kΩ"]]))


def faults(page: Page) -> Iterator[str]:
    """What is wrong with the page as it stands, in each of its four looks."""
    page.emulate_media(color_scheme="light")
    page.set_viewport_size(DESK)  # type: ignore[arg-type]
    yield from found(page, "desk, light", ALL_RULES)
    page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    yield from found(page, "telephone, light", ALL_RULES)
    yield from (f"telephone: {one} sticks out" for one in page.evaluate(OVERFLOW))
    page.emulate_media(color_scheme="dark")
    yield from found(page, "telephone, dark", COLOURS)
    page.set_viewport_size(DESK)  # type: ignore[arg-type]
    yield from found(page, "desk, dark", COLOURS)


def asked(page: Page, address: str, text: str, button: str) -> Hands:
    """At the step that asks which column is which."""
    hands = Hands(page)
    hands.go(address)
    hands.fill("The list", text)
    hands.press(button)
    hands.sees("Which column is which")
    return hands


def test_every_step_of_a_parts_list_is_open_to_everyone(opened: Opened, demo_site: str) -> None:
    """The choices, what is wrong with them, and the rows."""
    page = opened(demo_site)
    page.add_init_script(path=AXE)
    hands = asked(page, PARTS, LIST, "Look at the rows")
    at_first = list(faults(page))
    hands.press("Look at the rows")
    hands.sees("No column is the designator yet")
    refused = list(faults(page))
    hands.choose("Bauteil", "designator")
    hands.choose("Wert", "value")
    hands.press("Look at the rows")
    hands.sees("2 rows can be stored")

    assert (at_first, refused, list(faults(page))) == ([], [], [])


def test_every_step_of_a_list_of_mods_is_open_to_everyone(opened: Opened, demo_site: str) -> None:
    page = opened(demo_site)
    page.add_init_script(path=AXE)
    hands = asked(page, MODS, LIST_OF_MODS, "Look at the mods")
    at_first = list(faults(page))
    hands.choose("Umbau", "title")
    hands.press("Look at the rows")
    hands.sees("2 mods can be stored; 1 line cannot", "What to know first", "Lines that cannot be stored")

    assert (at_first, list(faults(page))) == ([], [])


def test_columns_are_matched_by_the_keyboard_alone(opened: Opened, demo_site: str) -> None:
    """What is wrong has the focus, its link leads to the column, and Enter looks at the rows."""
    page = opened(demo_site)
    asked(page, PARTS, LIST, "Look at the rows")
    for column in ("Bauteil", "Wert"):
        page.get_by_label(column, exact=True).focus()
        page.keyboard.type("value")
    page.get_by_role("button", name="Look at the rows").focus()
    page.keyboard.press("Enter")
    expect(page.locator(".error-summary")).to_be_focused()

    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.get_by_label("Wert", exact=True)).to_be_focused()
    page.get_by_label("Bauteil", exact=True).focus()
    page.keyboard.type("designator")
    page.get_by_role("button", name="Look at the rows").focus()
    page.keyboard.press("Enter")

    expect(page.locator("main")).to_contain_text("2 rows can be stored")


@pytest.mark.parametrize("scripts", [True, False], ids=["with JavaScript", "without JavaScript"])
def test_a_list_is_matched_stored_and_known_again(opened: Opened, demo_site_to_change: str, scripts: bool) -> None:
    """And the press that changes it stands outside of the form that it sends."""
    page = opened(demo_site_to_change, java_script_enabled=scripts)
    hands = asked(page, MODS, LIST_OF_MODS, "Look at the mods")
    hands.choose("Umbau", "title")
    hands.press("Look at the rows")
    hands.press("Store the 2 good mods, leave the rest out")
    hands.sees("Which of its columns is which is remembered.")

    hands.go(MODS)
    hands.fill("The list", LIST_OF_MODS)
    hands.press("Look at the mods")
    hands.sees("Columns matched as on", "2 mods are there already")
    hands.press("change")
    hands.sees("Which column is which", "Columns matched as on")
    expect(page.get_by_label("Umbau", exact=True)).to_have_value("title")


@pytest.mark.parametrize("scripts", [True, False], ids=["with JavaScript", "without JavaScript"])
def test_another_sheet_is_taken_without_choosing_the_file_again(opened: Opened, demo_site: str, scripts: bool) -> None:
    page = opened(demo_site, java_script_enabled=scripts)
    hands = Hands(page)
    hands.go(PARTS)
    page.get_by_label("Or its file").set_input_files(
        {"name": "two.xlsx", "mimeType": "application/octet-stream", "buffer": TWO_SHEETS}
    )
    hands.press("Look at the rows")
    hands.sees("Read from the sheet “Second” of the workbook. Left out: First.")

    hands.unfold("Take another sheet of the workbook")
    hands.press("Take that sheet")

    hands.sees("Which column is which", "Read from the sheet “First” of the workbook. Left out: Second.")
