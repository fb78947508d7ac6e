"""A reader at a browser: finds links, fields and buttons by what they are called, as a person does."""

import re
from urllib.parse import urljoin

from playwright.sync_api import Locator, Page, expect


class Hands:
    """At one page of one browser, with JavaScript or without it."""

    def __init__(self, page: Page) -> None:
        self.page = page

    def go(self, address: str) -> None:
        self.page.goto(address)

    def follow(self, words: str) -> None:
        with self.page.expect_navigation():
            self.page.get_by_role("link", name=words, exact=True).first.click()

    def fill(self, label: str, text: str, within: str = "") -> None:
        self._field(label, within).fill(text)

    def choose(self, label: str, words: str, within: str = "") -> None:
        self._field(label, within).select_option(label=words)

    def tick(self, label: str) -> None:
        self._field(label, "").check()

    def unfold(self, words: str) -> None:
        self.page.locator("summary", has_text=words).click()

    def press(self, words: str) -> None:
        """Press a button, and be where it leads to before anything else is done."""
        with self.page.expect_response(lambda answer: answer.request.resource_type in ("document", "xhr")) as awaited:
            self.page.get_by_role("button", name=words, exact=True).click()
        answer = awaited.value
        onward = answer.headers.get("hx-redirect") or answer.headers.get("location")
        if onward or answer.request.resource_type == "document":
            self.page.wait_for_url(urljoin(answer.url, onward or ""))

    def sees(self, *words: str) -> None:
        for one in words:
            expect(self.page.locator("body")).to_contain_text(one)

    def fetches(self, address: str) -> bytes:
        answer = self.page.request.get(address)
        assert answer.ok
        return answer.body()

    def _field(self, label: str, within: str) -> Locator:
        where: Page | Locator = self.page.locator("main")
        if within:
            where = self.page.get_by_role("group", name=re.compile(rf"^{re.escape(within)}\b"))
        return where.get_by_label(re.compile(rf"^\s*{re.escape(label)}(\s+needed)?\s*$"))
