"""Walking through every page that can be reached from the shelf, and knowing which route answers an address."""

from collections import Counter, deque
from collections.abc import Iterator
from typing import NamedTuple

from fastapi import FastAPI
from fastapi.routing import APIRoute
from httpx2 import Response
from starlette.routing import Match
from starlette.testclient import TestClient

from server.pages import ROUTERS
from server.records import checks
from tests.pages.reading import ORIGIN, Page, path_of

ROUTES = [route for router in ROUTERS for route in router.routes if isinstance(route, APIRoute)]
PAGES_MOST = 3_000


class Visited(NamedTuple):
    """One address that was asked for, where it was linked from, and what came."""

    address: str
    linked_from: str
    answer: Response

    @property
    def is_page(self) -> bool:
        return self.answer.headers.get("content-type", "").startswith("text/html")

    @property
    def page(self) -> Page:
        return Page(self.answer.text, path_of(str(self.answer.url)))


def route_of(address: str, method: str = "GET") -> str | None:
    """The pattern of the route that answers an address, or none."""
    path = address.removeprefix(ORIGIN).partition("?")[0]
    scope = {"type": "http", "method": method, "path": path, "root_path": "", "headers": []}
    return next((route.path for route in ROUTES if route.matches(scope)[0] is Match.FULL), None)


def walk(client: TestClient, start: str = "/", a_pattern: int | None = None) -> Iterator[Visited]:
    """Ask for every address that can be reached by links, each once; at most so many of one pattern."""
    waiting, known, taken = deque([(start, "")]), {start}, Counter[str]()
    while waiting and len(known) < PAGES_MOST:
        address, linked_from = waiting.popleft()
        visited = Visited(address, linked_from, client.get(address))
        yield visited
        if not visited.is_page:
            continue
        for onward in sorted(visited.page.addresses - known):
            pattern = f"{route_of(onward)}{'?' if '?' in onward else ''}"
            taken[pattern] += 1
            known.add(onward)
            if a_pattern is None or taken[pattern] <= a_pattern:
                waiting.append((onward, address))


def faults_of_record(client: TestClient) -> list[str]:
    """What is wrong with the record that the application works on."""
    assert isinstance(client.app, FastAPI)
    store = client.app.state.store
    with store.reading() as session:
        return list(checks.faults(session, store.files))
