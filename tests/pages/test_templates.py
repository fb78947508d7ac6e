"""Templates and links: each parses, uses only what its page declares, and leads somewhere."""

import dataclasses
import re
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module
from inspect import getmembers, isclass
from pathlib import Path
from pkgutil import iter_modules
from typing import Any

import pytest
from jinja2 import nodes
from jinja2.meta import find_referenced_templates, find_undeclared_variables
from starlette.responses import Response
from starlette.testclient import TestClient

from server import pages
from server.app import create_app
from server.pages.house import House
from server.pages.templating import FOLDER, environment
from server.settings import Settings
from tests.pages.reading import faults_of
from tests.pages.walking import ROUTES, Visited, route_of, walk

TEMPLATES = sorted(str(path.relative_to(FOLDER)) for path in FOLDER.rglob("*.html"))
GIVEN_TO_ALL = {"request", "notice", "standing_cautions", "signed_in"}  # by House.page
A_PATTERN = 25
Shown = set[tuple[str, type]]


def parsed(name: str) -> nodes.Template:
    return environment().parse((FOLDER / name).read_text("utf-8"))


def with_frames(name: str) -> Iterator[nodes.Template]:
    """A template and those that it extends."""
    tree = parsed(name)
    yield tree
    for node in tree.find_all(nodes.Extends):
        if isinstance(node.template, nodes.Const):
            yield from with_frames(node.template.value)


def used(name: str) -> set[str]:
    """The names that a template and its frame take from its page."""
    return set().union(*map(find_undeclared_variables, with_frames(name)))


def set_within(name: str) -> set[str]:
    """The names that they set or import themselves, in whichever branch."""
    stored = {node.name for tree in with_frames(name) for node in tree.find_all(nodes.Name) if node.ctx == "store"}
    return stored | {node.target for tree in with_frames(name) for node in tree.find_all(nodes.Import)}


@pytest.mark.parametrize("name", TEMPLATES)
def test_a_template_compiles_and_leans_on_templates_that_are_there(name: str) -> None:
    """What it imports, includes or extends can be found."""
    environment().get_template(name)

    assert {one for one in find_referenced_templates(parsed(name)) if one not in TEMPLATES} == set()


def contexts() -> list[type]:
    """Every dataclass of the pages."""
    modules = [import_module(found.name) for found in iter_modules(pages.__path__, f"{pages.__name__}.")]
    kinds = [
        kind for module in modules for _, kind in getmembers(module, isclass) if kind.__module__ == module.__name__
    ]
    return [kind for kind in kinds if dataclasses.is_dataclass(kind)]


@pytest.mark.parametrize("kind", contexts(), ids=lambda kind: f"{kind.__module__}.{kind.__name__}")
def test_what_a_page_is_given_is_written_down(kind: type) -> None:
    """A dataclass of the pages has a sentence of its own, not the one that Python makes up."""
    said = (kind.__doc__ or "").strip()

    assert not said.startswith(f"{kind.__name__}(")
    assert said.endswith(".")


@contextmanager
def watched(shown: Shown) -> Iterator[None]:
    """Note which template is shown from which context."""
    page = House.page

    def noting(house: House, template: str, context: Any, status: int = 200) -> Response:
        shown.add((template, type(context)))
        return page(house, template, context, status)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(House, "page", noting)
        yield


@pytest.fixture(scope="module")
def toured(demo_folder: Path) -> tuple[list[Visited], Shown]:
    """Every page of the demo that links lead to, and what each was shown from."""
    settings = Settings(data=demo_folder, keeper="Test keeper", allowed_hosts=["testserver"], log_level="error")
    shown: Shown = set()
    with watched(shown), TestClient(create_app(settings), raise_server_exceptions=False) as client:
        return list(walk(client, a_pattern=A_PATTERN)), shown


def test_every_link_leads_to_a_page(toured: tuple[list[Visited], Shown]) -> None:
    """Nothing that a page of the demo links to, fetches or sends to is missing."""
    visits, _ = toured

    sent = {(one.address, form.action, form.method) for one in visits if one.is_page for form in one.page.forms}

    assert len(visits) > 150
    assert [(one.address, one.linked_from) for one in visits if one.answer.status_code != 200] == []
    assert [one for one in sorted(sent) if route_of(one[1], one[2].upper()) is None] == []


def test_every_page_is_sound(toured: tuple[list[Visited], Shown]) -> None:
    """One h1 and headings in order, nothing inline that the policy forbids, ids and labels that find each other."""
    visits, _ = toured

    assert [(one.address, said) for one in visits if one.is_page for said in faults_of(one.page)] == []


def test_a_template_uses_only_what_its_page_declares(toured: tuple[list[Visited], Shown]) -> None:
    """A name that no field of the context has would be a fault on some page, if not on this one."""
    _, shown = toured

    strays = {
        (template, name)
        for template, kind in shown
        for name in used(template)
        - set_within(template)
        - GIVEN_TO_ALL
        - {field.name for field in dataclasses.fields(kind)}
    }

    assert len(shown) > 25
    assert strays == set()


def test_a_page_is_given_nothing_that_it_does_not_show(toured: tuple[list[Visited], Shown]) -> None:
    """Each field of a context is used by a template that is shown from it."""
    _, shown = toured
    kinds = {kind: set().union(*(used(template) for template, own in shown if own is kind)) for _, kind in shown}

    idle = [
        (kind.__name__, one.name) for kind in kinds for one in dataclasses.fields(kind) if one.name not in kinds[kind]
    ]

    assert sorted(idle) == []


@pytest.mark.parametrize("name", TEMPLATES)
def test_an_address_written_out_in_a_template_has_a_route(name: str) -> None:
    """Links and forms that are not put together from values."""
    written = re.findall(r'(href|action)="(/[^"{}]*)"', (FOLDER / name).read_text("utf-8"))
    addresses = [(kind, address.partition("#")[0]) for kind, address in written if not address.startswith("/static/")]

    assert [one for kind, one in addresses if not (route_of(one) or (kind == "action" and route_of(one, "POST")))] == []


# ---- Writes from elsewhere ----

WRITES = sorted({re.sub(r"\{\w+(:\w+)?\}", "1", route.path) for route in ROUTES if "POST" in (route.methods or ())})
ELSEWHERE = [
    {"Sec-Fetch-Site": "cross-site"},
    {"Sec-Fetch-Site": "same-site"},
    {"Origin": "http://elsewhere.example"},
    {"Origin": "null"},
]


@pytest.mark.parametrize("headers", ELSEWHERE, ids=lambda headers: " ".join(*headers.items()))
def test_no_write_is_taken_from_another_sites_page(client: TestClient, headers: dict[str, str]) -> None:
    """Whatever the address, and whatever is sent."""
    answers = {address: client.post(address, data={"tag": "TM-03"}, headers=headers) for address in WRITES}

    assert len(answers) > 20
    assert {address for address, answer in answers.items() if answer.status_code != 403} == set()
    assert client.get("/journal").text.count("<li><time") == 0
