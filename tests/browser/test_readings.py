"""Readings typed fast: a number and Enter, over and over, by the keyboard alone, and recorded in the end."""

from collections.abc import Callable
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Dialog, Page, expect

from tests.browser.conftest import DESK, PHONE, Opened

TOUCH = 44
SMALL = [{"width": 360, "height": 740}, {"width": 800, "height": 600}]
PROCEDURES = {
    "Counting loop": {"Unit": "ticks", "What the unit stands for": "tick = 1/60 s", "Resolution": "1"},
    "Picture rolls": {},
}


def prepared(page: Page) -> None:
    """A machine, and a procedure of each sort."""
    page.goto("/machines/new")
    page.get_by_label("Tag").fill("TM-03")
    page.get_by_label("Model").fill("Larkspur 8")
    page.get_by_role("button", name="Enter the machine").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("TM-03")
    for title, fields in PROCEDURES.items():
        page.goto("/procedures/new")
        page.get_by_label("Title").fill(title)
        page.get_by_label("How to run it").fill("Wait until it is warm. " * 20)
        page.get_by_label("A figure: lower is better" if fields else "Yes or no: no is better").check()
        for label, text in fields.items():
            page.get_by_label(label, exact=True).fill(text)
        page.get_by_role("button", name="Write it down").click()
        expect(page.get_by_role("heading", level=1)).to_have_text(title)


def reach(page: Page, there: Callable[[], bool]) -> None:
    for _ in range(40):
        page.keyboard.press("Tab")
        if there():
            return
    raise AssertionError("it was not reached")


@pytest.mark.parametrize("scripts", [True, False], ids=["htmx", "no script"])
@pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "telephone"])
def test_numbers_and_enter_record_a_trial(
    opened: Opened, empty_site: str, scripts: bool, viewport: dict[str, int]
) -> None:
    """Type 704, Enter, 709, Enter, 709, Enter; the field is empty and in sight each time; then on to the button."""
    page = opened(empty_site, java_script_enabled=scripts, viewport=viewport)
    prepared(page)
    page.goto("/machines/TM-03/trials/new?procedure=counting-loop")
    field = page.get_by_label("Next reading")
    reach(page, lambda: field.evaluate("one => one === document.activeElement") if scripts else focused(page, "next"))

    for typed, told in (
        ("704", "1 reading, 704 ticks."),
        ("709", "2 readings, mean 706.5"),
        ("709", "mean 707.3 ticks"),
    ):
        page.keyboard.type(typed)
        page.keyboard.press("Enter")
        expect(page.locator("#f-tally")).to_contain_text(told)
        expect(field).to_be_focused()
        expect(field).to_have_value("")
        expect(field).to_be_in_viewport(ratio=1)
        expect(page.locator("#f-tally")).to_be_in_viewport(ratio=1)

    expect(page.get_by_label("Readings", exact=False).and_(page.locator("textarea"))).to_have_value("704 709 709")
    reach(page, lambda: focused(page, "Record the trial"))
    page.keyboard.press("Enter")
    expect(page.locator(".lede")).to_contain_text("The mean of 3 readings is 707.3 ± 1.7 ticks")
    assert urlsplit(page.url).path == "/machines/TM-03/trials/1"


def focused(page: Page, name: str) -> bool:
    """Whether the control of this name, or the button of these words, has the focus."""
    control = page.locator(f":focus:is([name='{name}'], :text-is('{name}'))")
    return control.count() == 1


def test_what_is_no_number_keeps_the_focus_and_is_put_right(opened: Opened, empty_site: str) -> None:
    """The message is read out with the field, whose text can be changed at once."""
    page = opened(empty_site, viewport=PHONE)
    prepared(page)
    page.goto("/machines/TM-03/trials/new?procedure=counting-loop")
    field = page.get_by_label("Next reading")
    field.focus()

    page.keyboard.type("7o4")
    page.keyboard.press("Enter")
    expect(field).to_have_accessible_description(
        "A number in ticks; Enter adds it. "
        "Look again: “7o4” is not a number; leave out units and other text. No readings yet."
    )
    expect(field).to_be_focused()
    expect(field).to_be_in_viewport(ratio=1)
    expect(page.locator("#f-next-error")).to_be_in_viewport(ratio=1)
    page.keyboard.press("Home")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Delete")
    page.keyboard.type("0")
    page.keyboard.press("Enter")

    expect(page.locator("#f-tally")).to_have_text("1 reading, 704 ticks.")


@pytest.mark.parametrize("scripts", [True, False], ids=["htmx", "no script"])
def test_observations_are_one_tap_each(opened: Opened, empty_site: str, scripts: bool) -> None:
    """Two buttons that a thumb can hit, in sight on a telephone before anything else of the form."""
    page = opened(empty_site, java_script_enabled=scripts, viewport=PHONE)
    prepared(page)
    page.goto("/machines/TM-03/trials/new?procedure=picture-rolls")

    for name, told in (
        ("Yes", "1 observation: 1 yes, 0 no"),
        ("No", "2 observations: 1 yes, 1 no"),
        ("No", "1 yes, 2 no"),
    ):
        button = page.get_by_role("button", name=name, exact=True)
        box = button.bounding_box()
        assert box
        assert min(box["width"], box["height"]) >= TOUCH
        button.click()
        expect(page.locator("#f-tally")).to_contain_text(told)
        expect(button).to_be_focused()
    page.get_by_role("button", name="Take the last one back").click()

    expect(page.locator("#f-tally")).to_contain_text("2 observations: 1 yes, 1 no")
    expect(page.locator("textarea#f-readings")).to_have_value("yes no")


def scrolled(page: Page) -> float:
    return float(page.evaluate("scrollY"))


@pytest.mark.parametrize("viewport", SMALL, ids=["telephone", "small desk"])
def test_a_reading_added_leaves_the_page_where_it_was(
    opened: Opened, empty_site: str, viewport: dict[str, int]
) -> None:
    """Wherever it was scrolled to: the field, or the button that was tapped, stays in sight and keeps the focus."""
    page = opened(empty_site, viewport=viewport)
    prepared(page)
    page.goto("/machines/TM-03/trials/new?procedure=counting-loop")
    field = page.get_by_label("Next reading")
    page.evaluate("scrollTo(0, 220)")
    field.evaluate("one => one.focus({preventScroll: true})")

    for count, typed in enumerate(("704", "709", "709"), start=1):
        page.keyboard.type(typed)
        where = scrolled(page)
        page.keyboard.press("Enter")
        expect(page.locator("#f-tally")).to_contain_text(f"{count} reading")
        page.wait_for_timeout(100)
        expect(field).to_be_focused()
        expect(field).to_be_in_viewport(ratio=1)
        assert abs(scrolled(page) - where) <= 1

    page.goto("/machines/TM-03/trials/new?procedure=picture-rolls")
    page.evaluate("scrollTo(0, 220)")
    yes = page.get_by_role("button", name="Yes", exact=True)
    for count in (1, 2):
        yes.click()
        where = scrolled(page)
        expect(page.locator("#f-tally")).to_contain_text(f"{count} observation")
        page.wait_for_timeout(100)
        expect(yes).to_be_focused()
        expect(yes).to_be_in_viewport(ratio=1)
        assert abs(scrolled(page) - where) <= 1


@pytest.mark.parametrize("scripts", [True, False], ids=["htmx", "no script"])
def test_the_form_follows_the_procedure(opened: Opened, empty_site: str, scripts: bool) -> None:
    """At once with the script, and by "Go on" without it; what was typed stays."""
    page = opened(empty_site, java_script_enabled=scripts)
    prepared(page)
    page.goto("/machines/TM-03/trials/new")
    choice = page.get_by_label("Procedure")

    for title, field in (
        ("Counting loop (ticks)", page.get_by_label("Next reading")),
        ("Picture rolls (yes or no)", page.get_by_role("button", name="Yes", exact=True)),
    ):
        choice.select_option(label=title)
        if not scripts:
            page.get_by_role("button", name="Go on").click()
        expect(field).to_be_visible()
        if page.get_by_label("Instrument").input_value() == "":
            page.get_by_label("Instrument").fill("stop-watch")

    expect(page.get_by_label("Instrument")).to_have_value("stop-watch")
    expect(page.get_by_label("Next reading")).to_have_count(0)


def test_a_form_with_readings_asks_before_it_is_left(opened: Opened, empty_site: str) -> None:
    """The form was swapped in with them; no key was pressed in it since."""
    page = opened(empty_site)
    prepared(page)
    page.goto("/machines/TM-03/trials/new?procedure=picture-rolls")
    page.get_by_role("button", name="Yes", exact=True).click()
    expect(page.locator("#f-tally")).to_contain_text("1 observation")
    asked: list[str] = []

    def stay(dialog: Dialog) -> None:
        asked.append(dialog.type)
        dialog.dismiss()

    page.on("dialog", stay)
    page.get_by_role("link", name="Procedures").first.click()

    expect(page.locator("#f-tally")).to_contain_text("1 observation")
    assert asked == ["beforeunload"]


def test_pasted_readings_are_counted_at_once(opened: Opened, empty_site: str) -> None:
    """The line above the box tells of what is in it, and the box keeps the focus."""
    page = opened(empty_site)
    prepared(page)
    page.goto("/machines/TM-03/trials/new?procedure=counting-loop")
    box = page.locator("textarea#f-readings")

    box.focus()
    page.keyboard.insert_text("704 709 709")
    box.dispatch_event("paste")

    expect(page.locator("#f-tally")).to_contain_text("3 readings, mean 707.3")
    expect(box).to_be_focused()
    expect(box).to_have_value("704 709 709")
