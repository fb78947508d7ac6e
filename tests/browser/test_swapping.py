"""What htmx makes quicker: a form that will not do comes back in its place, one that will goes on."""

from urllib.parse import urlsplit

from playwright.sync_api import Browser, Dialog, Page, expect

from tests.browser.conftest import Opened

SAME_PAGE = "window.stillTheSamePage === true"


def begin(page: Page, **typed: str) -> None:
    """Open the form that enters a machine, and type into it; the page is marked, to tell whether it is replaced."""
    page.goto("/machines/new")
    page.evaluate("window.stillTheSamePage = true")
    for label, text in typed.items():
        page.get_by_label(label).fill(text)


def questions(page: Page, leave: bool) -> list[str]:
    """What the browser comes to ask, each time answered in the same way."""
    asked: list[str] = []

    def answer(dialog: Dialog) -> None:
        asked.append(dialog.type)
        if leave:
            dialog.accept()
        else:
            dialog.dismiss()

    page.on("dialog", answer)
    return asked


def test_a_form_that_will_not_do_comes_back_in_its_place(opened: Opened, empty_site: str) -> None:
    """The page stays, with its address and every word typed; the message stands beside its field and is tied to it."""
    page = opened(empty_site)
    begin(page, Tag="TM-03", Maker="Ostrey")
    page.get_by_label("mains inside").check()

    page.get_by_role("button", name="Enter the machine").click()

    expect(page.locator(".error-summary")).to_be_visible()
    expect(page.get_by_label("Model")).to_have_attribute("aria-invalid", "true")
    expect(page.get_by_label("Model")).to_have_accessible_description("Look again: This cannot be left empty.")
    expect(page.get_by_label("Tag")).to_have_value("TM-03")
    expect(page.get_by_label("Maker")).to_have_value("Ostrey")
    expect(page.get_by_label("mains inside")).to_be_checked()
    assert page.evaluate(SAME_PAGE)
    assert urlsplit(page.url).path == "/machines/new"
    assert page.locator("header.masthead").count() == 1
    assert page.locator("h1").count() == 1


def test_a_form_that_will_do_goes_on(opened: Opened, empty_site: str) -> None:
    """To the page of what was written, which says what that was; going back shows the form, and no error."""
    page = opened(empty_site)
    begin(page, Tag="TM-03", Model="Larkspur 8")

    page.get_by_role("button", name="Enter the machine").click()

    expect(page.get_by_role("heading", level=1)).to_contain_text("TM-03")
    expect(page.get_by_role("status")).to_contain_text("TM-03")
    assert urlsplit(page.url).path == "/machines/TM-03"
    page.go_back()
    expect(page.get_by_role("heading", level=1)).to_have_text("Enter a machine")


def test_two_keepers_are_shown_both_versions(opened: Opened, demo_site_to_change: str) -> None:
    """The second to save sees what the first one wrote, beside what they typed; saving again puts theirs on record."""
    first, second = opened(demo_site_to_change), opened(demo_site_to_change)
    for page, serial in ((first, "one"), (second, "two")):
        page.goto("/machines/MR-07/edit")
        page.get_by_label("Serial number").fill(serial)
    first.get_by_role("button", name="Save").click()
    expect(first.get_by_role("status")).to_contain_text("MR-07")

    second.get_by_role("button", name="Save").click()

    versions = second.locator(".both-versions")
    expect(versions).to_be_focused()
    expect(versions.locator("tr.differs")).to_contain_text(["one"])
    expect(second.get_by_label("Serial number")).to_have_value("two")
    second.get_by_role("button", name="Save").click()
    expect(second.get_by_role("heading", level=1)).to_contain_text("MR-07")
    expect(second.locator("dl.facts")).to_contain_text("two")


def test_words_are_kept_when_the_server_does_not_answer(browser: Browser, empty_site: str) -> None:
    """The page says so, and what was typed is still there to be sent again."""
    page = browser.new_context(base_url=empty_site).new_page()
    begin(page, Tag="TM-03", Model="Larkspur 8")
    page.route("**/machines/new", lambda route: route.abort())

    page.get_by_role("button", name="Enter the machine").click()

    expect(page.get_by_role("status")).to_contain_text("The server did not answer")
    expect(page.get_by_label("Tag")).to_have_value("TM-03")
    page.unroute_all()
    page.get_by_role("button", name="Enter the machine").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("TM-03")
    page.context.close()


def test_a_sum_that_is_half_written_is_not_left_behind_unasked(opened: Opened, demo_site: str) -> None:
    """Its form has a field called "method", which must not hide from the script that the form writes."""
    page = opened(demo_site)
    asked = questions(page, leave=True)
    page.goto("/machines/MR-07/mods/1/calculations/new")
    page.get_by_label("Title").fill("Half a")

    page.get_by_role("link", name="Journal").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Journal")

    assert asked == ["beforeunload"]


def test_a_double_click_writes_once(opened: Opened, demo_site_to_change: str) -> None:
    """Two presses within two seconds are one wish, even where writing twice would be taken."""
    page = opened(demo_site_to_change)
    page.goto("/kept-aside/new")
    page.get_by_label("Type").fill("spare of the double click")

    page.get_by_role("button", name="Put it into the bag").dblclick()
    expect(page.get_by_role("status")).to_contain_text("spare of the double click")
    page.goto("/journal")

    expect(page.locator("ol.log > li").filter(has_text="spare of the double click")).to_have_count(1)


def test_half_typed_words_are_not_left_behind_unasked(opened: Opened, empty_site: str) -> None:
    """The browser asks before a form is left that was typed into, and does not ask before it is sent."""
    page = opened(empty_site)
    asked = questions(page, leave=False)
    begin(page, Tag="TM-03", Model="Larkspur 8")

    page.get_by_role("link", name="Journal").click()
    expect(page.get_by_label("Tag")).to_have_value("TM-03")
    assert asked == ["beforeunload"]
    page.get_by_role("button", name="Enter the machine").click()

    expect(page.get_by_role("heading", level=1)).to_contain_text("TM-03")
    assert asked == ["beforeunload"]
