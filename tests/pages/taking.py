"""A list on its way in, step by step: what a page of it carries along, and what its buttons send."""

from httpx2 import Response
from starlette.testclient import TestClient

from tests.pages.benchwork import HTMX
from tests.pages.reading import Page, PageForm

COLUMNS = "Which column is which"


def form_of(answer: Response, address: str) -> PageForm:
    """The form of a page on a list's way in."""
    return next(form for form in Page(answer.text, address).forms if "text" in form.shape)


def press(
    client: TestClient, answer: Response, address: str, do: str, /, *, htmx: bool = False, **said: str
) -> Response:
    """Send the form of a page as it stands, by one of its buttons; some fields otherwise (`column_3` is column.3)."""
    typed = {name.replace("_", ".") if name.startswith("column_") else name: text for name, text in said.items()}
    pairs = [(name, value) for name, value in form_of(answer, address).pairs if name not in (*typed, "do")]
    parts = [(name, (None, value.encode())) for name, value in [*pairs, *typed.items(), ("do", do)]]
    return client.post(address, files=parts, headers=HTMX if htmx else {}, follow_redirects=False)


def options_of(answer: Response, address: str, name: str) -> dict[str, str]:
    """What can be chosen in a field: the words by the value."""
    field = next(field for field in form_of(answer, address).fields() if field.name == name)
    return dict(field.options)
