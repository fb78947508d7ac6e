"""A real server on a free port of this machine, and a browser that talks to nothing else."""

import shutil
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from playwright.sync_api import Browser, BrowserContext, Page, Request, expect

from server.app import create_app
from server.settings import Settings

DESK = {"width": 1280, "height": 900}
PHONE = {"width": 360, "height": 780}
WAIT_MS = 15_000
STARTED_S = 20
expect.set_options(timeout=WAIT_MS)


@pytest.fixture(scope="session")
def browser_type_launch_args() -> dict[str, Any]:
    program = shutil.which("chromium")
    if program is None:
        pytest.skip("chromium is not on this machine")
    return {"executable_path": program, "args": ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]}


@contextmanager
def serving(folder: Path) -> Iterator[str]:
    """Serve a data folder; its address."""
    settings = Settings(data=folder, keeper="Test keeper", log_level="error")
    listening = socket.create_server(("127.0.0.1", 0))
    server = uvicorn.Server(uvicorn.Config(create_app(settings), log_level="error", access_log=False))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()
    try:
        yield f"http://127.0.0.1:{listening.getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join(STARTED_S)


@pytest.fixture(scope="session")
def demo_site(demo_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The demo, to be looked at."""
    folder = tmp_path_factory.mktemp("served") / "demo"
    shutil.copytree(demo_folder, folder)
    with serving(folder) as address:
        yield address


@pytest.fixture
def demo_site_to_change(demo_copy: Path) -> Iterator[str]:
    """The demo, for one test to write to."""
    with serving(demo_copy) as address:
        yield address


@pytest.fixture
def empty_site(tmp_path: Path) -> Iterator[str]:
    """A record that nothing is written in yet."""
    with serving(tmp_path / "empty") as address:
        yield address


Opened = Callable[..., Page]
LEFT = "net::ERR_ABORTED"  # the browser gave it up itself, as it does with a favicon when the page is left


def _failure(request: Request) -> list[str]:
    return [] if request.failure == LEFT else [f"failed: {request.url} {request.failure}"]


@pytest.fixture
def opened(browser: Browser) -> Iterator[Opened]:
    """Open a page in a browser of its own; whatever it complains of, scripts and policies included, fails the test."""
    contexts: list[BrowserContext] = []
    complaints: list[str] = []

    def open_page(site: str, **about: Any) -> Page:
        context = browser.new_context(base_url=site, **{"viewport": DESK, **about})
        context.set_default_timeout(WAIT_MS)
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda said: complaints.append(f"{said.type}: {said.text}") if complains(said) else None)
        page.on("pageerror", lambda fault: complaints.append(f"script: {fault}"))
        page.on("requestfailed", lambda request: complaints.extend(_failure(request)))
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert complaints == []


def complains(said: Any) -> bool:
    """Errors and warnings, but not the browser's own note that a form was answered with 422 or 409."""
    answered = said.text.startswith("Failed to load resource") and (
        "status of 422" in said.text or "of 409" in said.text
    )
    return said.type in ("error", "warning") and not answered
