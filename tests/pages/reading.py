"""Reading a page as a person does: its words, where its links lead, and its forms by the labels of their fields."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, TypeAlias
from urllib.parse import urldefrag, urljoin, urlsplit

from lxml import html  # type: ignore[import-untyped]

ORIGIN = "http://testserver"
Element: TypeAlias = Any  # lxml brings no types
Pairs: TypeAlias = list[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class Field:
    """One control that a person fills in, with what it holds and, where it offers words, those words."""

    name: str
    type: str
    label: str
    value: str
    options: tuple[tuple[str, str], ...] = ()

    @property
    def typed(self) -> bool:
        """Whether any text can be put into it."""
        return self.type in ("text", "textarea", "search", "date", "number", "hidden")


class PageForm:
    """One form of a page, as it stands."""

    def __init__(self, page: "Page", element: Element) -> None:
        self.element = element
        self.method: str = (element.get("method") or "get").lower()
        self.action: str = page.absolute(element.get("action") or page.address)

    @property
    def pairs(self) -> Pairs:
        """What would be sent if it were sent now, without a button's own value."""
        return [(name, _plain(value)) for name, value in self.element.form_values()]

    @property
    def buttons(self) -> dict[str, tuple[str, str]]:
        """Each button's words, with the name and value it sends."""
        found = self.element.xpath(".//button[not(@type) or @type='submit']")
        return {words_of(one): (one.get("name") or "", one.get("value") or "") for one in found}

    @property
    def shape(self) -> tuple[str, ...]:
        """What tells one kind of form from another: the names of its fields."""
        return tuple(sorted({field.name for field in self.fields()}))

    def fields(self, within: str = "") -> Iterator[Field]:
        """The controls in their order; `within` names the group whose controls are meant."""
        for control in self.element.xpath(".//input[@name] | .//select[@name] | .//textarea[@name]"):
            if not within or any(words_of(legend).startswith(within) for legend in _legends(control)):
                yield _field(control)


def _legends(control: Element) -> Iterator[Element]:
    return (legend for group in control.iterancestors("fieldset") for legend in group.findall("legend"))


def _field(control: Element) -> Field:
    kind = control.tag if control.tag != "input" else (control.get("type") or "text").lower()
    value = control.get("value") or "" if kind in ("checkbox", "radio") else _plain(control.value or "")
    options = [(one.get("value") or "", words_of(one)) for one in control.iter("option")] if kind == "select" else []
    label = control.label
    return Field(control.get("name"), kind, words_of(label) if label is not None else "", value, tuple(options))


def _plain(value: str) -> str:
    """A text as a browser sends it: the line break that opens a text area is markup, not text."""
    return value.removeprefix("\n")


def words_of(element: Element) -> str:
    """An element's words as they read, on one line."""
    return " ".join(element.text_content().split())


class Page:
    """A page as it came, with the address that it came from."""

    def __init__(self, text: str, address: str) -> None:
        self.address = urljoin(ORIGIN, address)
        self.document = html.document_fromstring(text)

    def absolute(self, href: str) -> str:
        return urldefrag(urljoin(self.address, href)).url

    @property
    def main(self) -> Element:
        return next(iter(self.document.xpath("//main")), self.document)

    @property
    def words(self) -> str:
        """What the page says, without what scripts and styles say."""
        parts = self.document.xpath("//body//text()[not(ancestor::script or ancestor::style or ancestor::datalist)]")
        return " ".join(" ".join(parts).split())

    @property
    def forms(self) -> list[PageForm]:
        return [PageForm(self, form) for form in self.document.forms]

    @property
    def links(self) -> list[tuple[str, str]]:
        """Each link's words and address."""
        return [(words_of(one), self.absolute(one.get("href"))) for one in self.document.xpath("//a[@href]")]

    @property
    def addresses(self) -> set[str]:
        """Everything of this server that the page leads to or fetches, as path and question."""
        found = [str(one) for one in self.document.xpath("//a/@href | //link/@href | //script/@src | //img/@src")]
        return {path_of(self.absolute(one)) for one in found if self.absolute(one).startswith(ORIGIN)}


def path_of(address: str) -> str:
    parts = urlsplit(address)
    return (parts.path or "/") + (f"?{parts.query}" if parts.query else "")


def faults_of(page: Page) -> Iterator[str]:
    """What a page must never do, whatever is written in it."""
    levels = [int(one.tag[1]) for one in page.main.xpath(".//h1 | .//h2 | .//h3 | .//h4 | .//h5 | .//h6")]
    if levels[:1] != [1] or levels.count(1) != 1:
        yield f"its headings do not begin with its one h1: {levels}"
    if any(after > before + 1 for before, after in pairwise(levels)):
        yield f"its headings skip a level: {levels}"
    inline = page.document.xpath("//script[not(@src)] | //style | //*[@style] | //*[@*[starts-with(name(), 'on')]]")
    yield from (f"it has inline script or style: {html.tostring(one)[:80]!r}" for one in inline)
    foreign = page.document.xpath("//a[not(starts-with(@href, '/') or starts-with(@href, '#'))]/@href")
    yield from (f"a link leads to {one}" for one in foreign if not re.match(r"https?://|mailto:|\?", str(one)))
    ids = [str(one) for one in page.document.xpath("//@id")]
    yield from (f"two things have the id {one}" for one in sorted({one for one in ids if ids.count(one) > 1}))
    named = page.document.xpath("//@for | //@aria-describedby | //@aria-labelledby | //input/@list")
    yield from (f"nothing has the id {one}" for name in named for one in str(name).split() if one not in ids)
    if not page.document.xpath("//title[normalize-space()]"):
        yield "it has no title"
