"""Hostile text in every field of every form that the demo shows: stored as text, or refused in words."""

import re
from collections.abc import Iterator
from itertools import count, cycle, islice
from pathlib import Path
from typing import NamedTuple

from starlette.testclient import TestClient

from server.app import create_app
from server.settings import Settings
from tests.pages.clicking import send
from tests.pages.reading import Field, PageForm, Pairs, faults_of
from tests.pages.walking import Visited, faults_of_record, route_of, walk

MARKUP = "<script>alert('x')</script>\" onmouseover=\"x {{ 7*7 }} {% raw %} \u202e ../../etc%00 [a](javascript:x)"
HOSTILE = (
    "a\0b\x1b[31m\x7f",
    "9" * 400,
    "-1",
    "1e999",
    "x" * 20_001,
    "'; DROP TABLE part; --",
    "half a character: \ud800",
    "NaN",
    " \n\t ",
    "9999999999",
    "𝟙 Ω ± ∞ ١",
)
OTHERS_A_FIELD = 1
KINDS_A_ROUTE = 2
ADDRESS_MOST = 2_000
STEP = {"board": "main-board", "designator": "R1"}  # what a step needs, though its form cannot know before it is told
READINGS = "3 4 5 4"
LOOKING = {"more", "add", "take_back", "choose"}  # presses that change the form, and write nothing
LOOKED_AT = {"/machines/{tag}/parts/import", "/machines/{tag}/mods/import"}  # answers a list with its rows


class Kind(NamedTuple):
    """One kind of form: where one stands, where it is sent, and the names of its fields without row numbers."""

    page: str
    action: str
    method: str
    names: frozenset[str]


def kinds_of(visits: list[Visited]) -> list[Kind]:
    """Each kind of form once; of the many that one route answers, such as the methods', the first few."""
    found: dict[tuple[object, ...], Kind] = {}
    for visited in visits:
        for form in visited.page.forms if visited.is_page else ():
            kind = Kind(visited.address, str(route_of(form.action, form.method.upper())), form.method, names_of(form))
            if kind.names:
                found.setdefault(kind[1:], kind)
    of_route: dict[str, list[Kind]] = {}
    for kind in found.values():
        of_route.setdefault(kind.action, []).append(kind)
    return [kind for kinds in of_route.values() for kind in kinds[:KINDS_A_ROUTE]]


def names_of(form: PageForm) -> frozenset[str]:
    return frozenset(re.sub(r"\d+", "0", name) for name in form.shape)


def fresh(client: TestClient, kind: Kind) -> PageForm | None:
    """The form as it stands now; none where what was written before has done away with it."""
    forms = Visited(kind.page, "", client.get(kind.page)).page.forms
    return next((form for form in forms if names_of(form) == kind.names and form.method == kind.method), None)


def plausible(form: PageForm, numbers: Iterator[int]) -> Pairs:
    """What it holds, and something in each field that is needed, so that the one hostile text is what is judged."""
    held = form.pairs
    filled = {name for name, value in held if value}
    for field in form.fields():
        if field.label.endswith("needed") and field.name not in filled:
            filled.add(field.name)
            held = [*without(held, field.name), (field.name, something(field, next(numbers)))]
    known = STEP if form.action.endswith("/steps/new") else {}
    return [(name, known.get(name, value)) for name, value in held]


def something(field: Field, number: int) -> str:
    if field.type == "select":
        return next((value for value, _ in field.options if value), "")
    if field.type in ("radio", "checkbox"):
        return field.value
    return {"date": "2025-10-10", "textarea": READINGS}.get(field.type, f"H{number}")


def without(pairs: Pairs, name: str) -> Pairs:
    return [pair for pair in pairs if pair[0] != name]


def attacks(form: PageForm, turn: Iterator[str]) -> Iterator[tuple[str | None, str]]:
    """Each field by itself with a few hostile texts; then all at once (no name) with every one."""
    fields = {re.sub(r"\d+", "0", field.name): field.name for field in form.fields()}
    for name in fields.values():
        yield from ((name, text) for text in (MARKUP, *islice(turn, OTHERS_A_FIELD)))
    yield from ((None, text) for text in (MARKUP, *HOSTILE))


def outcomes(client: TestClient, kind: Kind, turn: Iterator[str], numbers: Iterator[int]) -> Iterator[str]:
    """What it must not answer, attack by attack."""
    allowed = {303, 404, 409, 422} if kind.method == "post" else {200, 303, 404, 422}
    form = fresh(client, kind)
    for name, text in attacks(form, turn) if form else ():
        if form is None:
            return
        pairs = attacked(form, name, text, numbers)
        answer = send(client, form, pairs, follow=False)
        looks = kind.action in LOOKED_AT or any(one in LOOKING for one, _ in pairs)
        if answer.status_code not in allowed | ({200} if looks else set()):
            yield f"{kind.page} {kind.action} {name} {text[:20]!r}: {answer.status_code}"
        if answer.status_code == 303:  # what was written may have changed the form, or its version
            form = fresh(client, kind)


def attacked(form: PageForm, name: str | None, text: str, numbers: Iterator[int]) -> Pairs:
    """What is sent: one field hostile, or all of them, and then by one of the buttons that say something."""
    if name:
        pairs = [*without(plausible(form, numbers), name), (name, text)]
    else:
        buttons = [button for button in form.buttons.values() if button[0]]
        pairs = [(one, text) for one in form.shape] + ([buttons[len(text) % len(buttons)]] if buttons else [])
    most = ADDRESS_MOST if form.method == "get" else None
    return [(one, value[:most]) for one, value in pairs]


def test_hostile_text_is_stored_as_text_or_refused_in_words(demo_copy: Path) -> None:
    """No form answers with a fault of the program; the record is whole afterwards, and every page of it is sound."""
    settings = Settings(data=demo_copy, keeper="Test keeper", allowed_hosts=["testserver"], log_level="error")
    with TestClient(create_app(settings), raise_server_exceptions=False) as client:
        kinds = kinds_of(list(walk(client, a_pattern=3)))
        turn, numbers = cycle(HOSTILE), count()

        bad_answers = [said for kind in kinds for said in outcomes(client, kind, turn, numbers)]
        visits = list(walk(client, a_pattern=5))

        assert len(kinds) > 20
        assert bad_answers == []
        assert faults_of_record(client) == []
        assert [(one.address, one.linked_from) for one in visits if one.answer.status_code != 200] == []
        assert [(one.address, said) for one in visits if one.is_page for said in faults_of(one.page)] == []
