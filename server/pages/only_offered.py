"""What a page offers somebody: whoever may only look is shown no way to write.

It is taken out of the finished page, in this one place, so that no template has to know who may do what: forms that
would be refused, and links to pages that are there for the sake of such a form. Whoever keeps everything gets the page
as it is.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from html.parser import HTMLParser
from itertools import pairwise
from urllib.parse import urljoin, urlsplit

from fastapi import Request
from fastapi.routing import APIRoute
from starlette.routing import BaseRoute, Match

from server.access.door import door_of
from server.access.permissions import allowed, need_of
from server.access.sign_ins import SignedIn
from server.records.words import Role

# Pages with a form of their own that are worth looking at without it.
WORTH_READING = frozenset(
    {
        "/machines/{tag}/sheet",
        "/machines/{tag}/files/on/{kind}",
        "/machines/{tag}/files/on/{kind}/{on:path}",
        "/machines/{tag}/photographs/on/{kind}",
        "/machines/{tag}/photographs/on/{kind}/{on:path}",
        "/machines/{tag}/boards/{slug}/positions/{designator}",
    }
)
EMPTY_DETAILS = re.compile(r"<details\b[^>]*>\s*<summary\b[^>]*>[^<]*</summary>\s*</details>")
EMPTY_HEADING = re.compile(
    r"<h([23])\b[^>]*>(?:(?!</?h[1-6]\b).)*?</h\1>\s*(?=<h[12]\b|</section>|</main>|\Z)", re.DOTALL
)


def only_what_may_be_done(html: str, request: Request) -> str:
    """A page, or a block of one, without what whoever asks may not do."""
    who: SignedIn | None = getattr(request.state, "signed_in", None)
    if not door_of(request).closed or who is None or who.role is Role.KEEPER:
        return html
    looking = _Looking(html, _Decisions(request, who))
    looking.feed(html)
    looking.close()
    if not looking.cuts:
        return html
    return EMPTY_HEADING.sub("", EMPTY_DETAILS.sub("", "".join(looking.rest())))


class Addresses:
    """Which page answers what address; the same ones are asked for again and again."""

    def __init__(self, routes: Sequence[BaseRoute]) -> None:
        self._routes = [route for route in routes if isinstance(route, APIRoute)]
        self.pattern_of = lru_cache(maxsize=10_000)(self._pattern_of)

    def _pattern_of(self, method: str, path: str) -> tuple[str, Mapping[str, str]] | None:
        """The pattern that answers, with what it reads from the path."""
        scope = {"type": "http", "method": method, "path": path, "root_path": "", "headers": []}
        for route in self._routes:
            match, found = route.matches(scope)
            if match is Match.FULL:
                return route.path, {name: str(value) for name, value in found["path_params"].items()}
        return None


class _Decisions:
    """What one person may ask for, by method and address as a page writes it."""

    def __init__(self, request: Request, who: SignedIn) -> None:
        self._request, self._who = request, who
        self._known: dict[tuple[str, str], bool] = {}

    def may_send(self, action: str, method: str) -> bool:
        return self._decided(method.upper(), action)

    def may_follow(self, href: str) -> bool:
        """Whether a link leads to something to look at; those that lead elsewhere do."""
        return self._decided("GET", href)

    def _decided(self, method: str, address: str) -> bool:
        path = urlsplit(urljoin(self._request.url.path, address)).path
        if (method, path) not in self._known:
            self._known[method, path] = self._is_allowed(method, path)
        return self._known[method, path]

    def _is_allowed(self, method: str, path: str) -> bool:
        addresses: Addresses = self._request.app.state.addresses
        asked = addresses.pattern_of(method, path)
        if asked is None:
            return True
        if method == "GET" and asked[0] not in WORTH_READING:
            written = addresses.pattern_of("POST", path)
            if written and written[0] == asked[0]:
                method, asked = "POST", written
        machine = door_of(self._request).machine_of_path(asked[1])
        return allowed(need_of(method, asked[0]), self._who, machine)


class _Looking(HTMLParser):
    """Finds the stretches of a page that are to be taken out; what is in one is not looked at again."""

    def __init__(self, html: str, decisions: _Decisions) -> None:
        super().__init__(convert_charrefs=True)
        self._html, self._decisions = html, decisions
        self._lines = [0, *(found.end() for found in re.finditer("\n", html))]
        self._open: tuple[str, int] | None = None
        self.cuts: list[tuple[int, int]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if self._open is None and not self._is_offered(tag, dict(attrs)):
            self._open = tag, self._place()

    def handle_endtag(self, tag: str) -> None:
        if self._open and self._open[0] == tag:
            self.cuts.append((self._open[1], self._html.index(">", self._place()) + 1))
            self._open = None

    def rest(self) -> Iterator[str]:
        """What stays."""
        edges = [0, *(edge for cut in self.cuts for edge in cut), len(self._html)]
        yield from (self._html[start:end] for start, end in list(pairwise(edges))[::2])

    def _is_offered(self, tag: str, attrs: dict[str, str | None]) -> bool:
        if tag == "a" and attrs.get("href"):
            return self._decisions.may_follow(attrs["href"] or "")
        if tag == "form":
            return self._decisions.may_send(attrs.get("action") or "", attrs.get("method") or "get")
        return True

    def _place(self) -> int:
        line, column = self.getpos()
        return self._lines[line - 1] + column
