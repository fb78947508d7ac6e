"""A reader without a browser: follows links and sends forms as they stand on the page, through the test client."""

import time
from urllib.parse import urlencode

from httpx2 import Response
from starlette.testclient import TestClient

from tests.pages.reading import Field, Page, PageForm, Pairs, faults_of, path_of, words_of

AGAIN = 'http-equiv="refresh"'
WAIT_S = 20


class Clicker:
    """At one page at a time; what is filled in is kept until a button is pressed or another page is opened."""

    def __init__(self, client: TestClient) -> None:
        self.client = client
        self.go("/")

    def go(self, address: str) -> None:
        self._arrive(self.client.get(address))

    def follow(self, words: str) -> None:
        self.go(path_of(next(address for said, address in self.page.links if said == words)))

    def fill(self, label: str, text: str, within: str = "") -> None:
        form, field = self._field(label, within)
        self._set(form, field, text)

    def choose(self, label: str, words: str, within: str = "") -> None:
        form, field = self._field(label, within)
        self._set(form, field, next(value for value, said in field.options if said == words))

    def tick(self, label: str) -> None:
        form, field = self._field(label, "")
        kept = [] if field.type == "radio" else [value for name, value in self.filled[form] if name == field.name]
        self._set(form, field, *kept, field.value)

    def unfold(self, words: str) -> None:
        assert any(words_of(summary) == words for summary in self.page.document.iter("summary"))

    def press(self, words: str) -> None:
        form = next(number for number, form in enumerate(self.page.forms) if words in form.buttons)
        sent = self.page.forms[form]
        pairs = self.filled[form] + [button for button in [sent.buttons[words]] if button[0]]
        self._arrive(send(self.client, sent, pairs))

    def sees(self, *words: str) -> None:
        until = time.monotonic() + WAIT_S
        while (missing := [one for one in words if one not in self.page.words]) and AGAIN in self.answer.text:
            assert time.monotonic() < until, f"still missing: {missing}"
            time.sleep(0.1)
            self.go(self.page.address)
        assert not missing, f"{missing} does not stand in: {self.page.words}"

    def fetches(self, address: str) -> bytes:
        answer = self.client.get(address)
        assert answer.status_code == 200
        return bytes(answer.content)

    def _arrive(self, answer: Response) -> None:
        assert answer.status_code == 200, f"{answer.url} answered {answer.status_code}: {Page(answer.text, '/').words}"
        self.answer = answer
        self.page = Page(answer.text, str(answer.url))
        self.filled = {number: form.pairs for number, form in enumerate(self.page.forms)}
        assert not list(faults_of(self.page))

    def _field(self, label: str, within: str) -> tuple[int, Field]:
        for number, form in enumerate(self.page.forms):
            for field in form.fields(within):
                if field.label.removesuffix(" needed") == label:
                    return number, field
        raise AssertionError(f"no field is labelled {label!r} {within!r} on {self.page.address}")

    def _set(self, form: int, field: Field, *values: str) -> None:
        others = [(name, value) for name, value in self.filled[form] if name != field.name]
        self.filled[form] = others + [(field.name, value) for value in values]


def send(client: TestClient, form: PageForm, pairs: Pairs, follow: bool = True) -> Response:
    """Send a form as a browser does, its fields in their order, whatever text is in them."""
    if form.method == "get":
        return client.get(f"{form.action}?{encoded(pairs)}", follow_redirects=follow)
    headers = {"Sec-Fetch-Site": "same-origin"}
    if form.element.get("enctype") == "multipart/form-data":
        parts = [(name, (None, value.encode("utf-8", "replace"))) for name, value in pairs]
        return client.post(form.action, files=parts, headers=headers, follow_redirects=follow)
    headers["Content-Type"] = "application/x-www-form-urlencoded"
    return client.post(form.action, content=encoded(pairs), headers=headers, follow_redirects=follow)


def encoded(pairs: Pairs) -> str:
    return urlencode(pairs, errors="surrogatepass")
