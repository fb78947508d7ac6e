"""Hostile requests at a record: every form of its pages, every address, every upload, by every role.

What must hold: no answer is a fault of the program, a write that is refused leaves the journal as it was, and what is
written is what its writer may write.
"""

import random
import re
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import quote
from uuid import UUID

from fastapi import FastAPI
from httpx2 import Response
from sqlmodel import Session, col, func, select
from starlette.testclient import TestClient

from server.records.store import Store
from server.records.tables import JournalEntry
from tests.fuzz.values import NAMES, NUMBERS, a_content, a_text, mended
from tests.pages.clicking import encoded
from tests.pages.reading import ORIGIN, PageForm, Pairs
from tests.pages.walking import ROUTES, route_of, walk

SLOW = ("pdf", "zip", "dossier", "/sheets", "sheet", "bench-sums")
SLOW_SHARE = 0.08
EACH_ITS_OWN = re.compile("/(photographs|files)/on/")  # one bad file among several is refused alone
MULTIPART = "multipart/form-data"
SAME = {"Sec-Fetch-Site": "same-origin"}
May = Callable[[list[JournalEntry]], bool]


@dataclass(frozen=True, slots=True)
class Asked:
    """One form as it stands on a page of the demo."""

    action: str
    multipart: bool
    pairs: Pairs
    names: list[str]
    files: list[str]
    buttons: list[tuple[str, str]]


@dataclass
class Heard:
    """What was asked and answered, and what must not have been."""

    requests: int = 0
    written: int = 0
    statuses: Counter[int] = field(default_factory=Counter)
    kinds: Counter[str] = field(default_factory=Counter)
    wrong: dict[str, str] = field(default_factory=dict)


class Fuzz:
    """Asks at random, the same for the same seed."""

    def __init__(self, client: TestClient, seed: int) -> None:
        assert isinstance(client.app, FastAPI)
        self.client, self.chance, self.heard = client, random.Random(seed), Heard()  # noqa: S311 (no secret)
        self.store: Store = client.app.state.store
        self.app = client.app
        self.forms: dict[str, list[Asked]] = defaultdict(list)
        self.places: dict[str, list[str]] = defaultdict(list)
        self.may: May = lambda _: True

    def look_round(self, a_pattern: int = 3) -> None:
        """Find the forms and the addresses, as the record is now."""
        self.forms.clear()
        self.places.clear()
        for visited in walk(self.client, a_pattern=a_pattern):
            self.places[route_of(visited.address) or ""].append(visited.address.removeprefix(ORIGIN))
            if visited.answer.status_code >= 500:
                self.heard.wrong.setdefault(f"{visited.answer.status_code} walking {visited.address}", "")
            for form in visited.page.forms if visited.is_page else ():
                self.forms[f"{form.method} {route_of(form.action, form.method.upper())} {form.shape}"].append(
                    _asked(form)
                )
        self.posted = sorted(key for key in self.forms if key.startswith("post") and "/sign-out" not in key)
        self.uploading = [key for key in self.posted if any(one.files for one in self.forms[key])]
        self.gotten = sorted(key for key in self.forms if key.startswith("get"))

    def ask(self, requests: int) -> None:
        acts = [self.post_form] * 10 + [self.upload] * 3 + [self.get_form] * 2 + [self.address] * 5
        for _ in range(requests):
            act = self.chance.choice(acts)
            self.heard.kinds[act.__name__] += 1
            act()

    def post_form(self) -> None:
        form = self._one_of(self.posted)
        self._send("POST", form, self._filled(form))

    def as_it_stands(self) -> None:
        """A form with what is in it already, by one of its buttons."""
        form = self._one_of(self.posted)
        self._send("POST", form, [*form.pairs, *([self.chance.choice(form.buttons)] if form.buttons else [])])

    def get_form(self) -> None:
        form = self._one_of(self.gotten)
        self._hear("GET", f"{form.action.partition('?')[0]}?{encoded(self._filled(form))}"[:60_000])

    def upload(self) -> None:
        form = self._one_of(self.uploading)
        self._send("POST", form, self._filled(form))

    def address(self) -> None:
        """A route with odd values in its path."""
        route = self._seldom(ROUTES, lambda one: one.path)
        path = route.path
        for name, convertor in route.param_convertors.items():
            odd = self.chance.choice(NUMBERS if type(convertor).__name__ != "StringConvertor" else self._words())
            marked = f"{{{name}:int}}" if f"{{{name}:int}}" in path else f"{{{name}}}"
            path = path.replace(marked, quote(mended(odd)[:8_000], safe="%"))
        if known := self.places.get(route.path):
            path = self.chance.choice([path, self._turned(self.chance.choice(known))])
        method = self.chance.choice([*sorted(route.methods or ()), "GET", "POST", "HEAD", "PUT", "DELETE", "OPTIONS"])
        self._hear(method, path or "/", content=b"a=b" if method == "POST" else None)

    def _turned(self, address: str) -> str:
        """A known address with one odd step in it."""
        steps = address.split("/")
        if self.chance.random() < 0.7:
            odd = self.chance.choice([*NUMBERS, a_text(self.chance)])
            steps[self.chance.randrange(1, len(steps))] = quote(mended(odd)[:8_000], safe="%")
        return "/".join(steps)

    def _words(self) -> tuple[str, ...]:
        known = [one.split("/")[2] for key, ones in self.places.items() if "{tag}" in key for one in ones[:1]]
        return (a_text(self.chance) or "-", self.chance.choice(NUMBERS), self.chance.choice(known or ["-"]))

    def _one_of(self, keys: list[str]) -> Asked:
        return self.chance.choice(self.forms[self._seldom(keys, str)])

    def _seldom(self, ones: list[Any], words: Callable[[Any], str]) -> Any:
        """What takes long is not asked as often."""
        while True:
            one = self.chance.choice(ones)
            if self.chance.random() < SLOW_SHARE or not any(slow in words(one) for slow in SLOW):
                return one

    def _filled(self, form: Asked) -> Pairs:
        """The form's own fields: some as they stand, some odd, some missing, some twice."""
        pairs, act = list(form.pairs), self.chance.randrange(8)
        if form.buttons and self.chance.random() < 0.7:
            pairs.append(self.chance.choice(form.buttons))
        if act == 0 or not form.names:
            return pairs
        share = (0.15, 0.15, 0.4, 1.0)[act % 4]
        pairs = [(name, a_text(self.chance) if self.chance.random() < share else value) for name, value in pairs]
        pairs += [(name, a_text(self.chance)) for name in form.names if self.chance.random() < share / 4]
        if act == 5:
            pairs = [pair for pair in pairs if self.chance.random() < 0.6]
        if act == 6 and pairs:
            pairs += self.chance.choices(pairs, k=3)
        return pairs

    def _send(self, method: str, form: Asked, pairs: Pairs) -> None:
        if not form.multipart:
            headers = {"Content-Type": "application/x-www-form-urlencoded"}
            self._hear(method, form.action, content=encoded(pairs).encode(), headers=headers)
            return
        edge = "edge-of-a-part"
        body = b"".join(_part(edge, name, value.encode("utf-8", "surrogatepass")) for name, value in pairs if name)
        for name in form.files * self.chance.randrange(3):
            body += _part(edge, name, a_content(self.chance), self.chance.choice(NAMES))
        body += f"--{edge}--\r\n".encode()
        self._hear(method, form.action, content=body, headers={"Content-Type": f"{MULTIPART}; boundary={edge}"})

    def _hear(self, method: str, address: str, **sent: Any) -> None:
        headers = SAME | (sent.pop("headers", None) or {})
        before = self.last_entry()
        answer = self.client.request(method, address, headers=headers, follow_redirects=False, **sent)
        self._judge(f"{method} {address}", answer, before, sent.get("content"))

    def _judge(self, asked: str, answer: Response, before: int, content: bytes | None) -> None:
        self.heard.requests += 1
        self.heard.statuses[answer.status_code] += 1
        method, _, address = asked.partition(" ")
        route = f"{method} {route_of(address, method) or address[:80]}"
        told = f"{asked[:200]} {(content or b'')[:1500]!r}"
        if answer.status_code >= 500:
            self.heard.wrong.setdefault(f"{answer.status_code} {route}", told)
        if self.last_entry() == before:
            return
        self.heard.written += 1
        refused = answer.status_code >= 400 and not EACH_ITS_OWN.search(address)
        if refused or method in ("GET", "HEAD", "OPTIONS"):
            self.heard.wrong.setdefault(f"written although {answer.status_code} {route}", told)
        with self.store.reading() as session:
            written = list(session.exec(select(JournalEntry).where(col(JournalEntry.seq) > before)))
        if not self.may(written):
            self.heard.wrong.setdefault(f"not theirs to write {route}", told)

    def last_entry(self) -> int:
        with self.store.reading() as session:
            return last_entry(session)


def last_entry(session: Session) -> int:
    return session.exec(select(func.max(JournalEntry.seq))).one() or 0


def only_of(machines: set[UUID], acts: set[str]) -> May:
    """Entries about these machines, or by these acts, and no others."""
    return lambda entries: all(one.machine in machines or one.act in acts for one in entries)


def _asked(form: PageForm) -> Asked:
    files = [one.name for one in form.fields() if one.type == "file"]
    names = [one.name for one in form.fields() if one.type != "file"]
    buttons = [one for one in form.buttons.values() if one[0]]
    pairs = [(name, value) for name, value in form.pairs if name and name not in files]
    action = form.action.removeprefix(ORIGIN)
    return Asked(action, form.element.get("enctype") == MULTIPART, pairs, names, files, buttons)


def _part(edge: str, name: str, content: bytes, file_name: str | None = None) -> bytes:
    named = "" if file_name is None else f'; filename="{file_name}"'
    head = f'--{edge}\r\nContent-Disposition: form-data; name="{name}"{named}\r\n\r\n'
    return head.encode("utf-8", "surrogatepass") + content + b"\r\n"


def told(heard: Heard) -> Iterator[str]:
    """What was asked and answered, and what was wrong."""
    statuses = ", ".join(f"{status}: {count:,}" for status, count in sorted(heard.statuses.items()))
    kinds = ", ".join(f"{name.replace('_', ' ')}: {count:,}" for name, count in sorted(heard.kinds.items()))
    yield f"{heard.requests:,} requests ({kinds}), {heard.written:,} of which wrote"
    yield f"answers {statuses}; {len(heard.wrong)} faults"
    yield from wrong_of(heard)


def wrong_of(heard: Heard) -> list[str]:
    return [f"FAULT {what}: {how}" for what, how in heard.wrong.items()]
