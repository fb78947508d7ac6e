"""Serving the record, and the demo."""

import socket
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Annotated

import typer
import uvicorn

from server.app import configure_logs, create_app, open_record
from server.cli.common import Data, Port, Refusal, app, console, plainly, progress, settings_of
from server.records import daily_copies
from server.records.questions.accounts import any_account
from server.records.store import DATABASE
from server.settings import LOOPBACK, Settings

Host = Annotated[str | None, typer.Option(help="Address to listen at.")]


@app.command()
def serve(data: Data = None, host: Host = None, port: Port = None) -> None:
    """Serve the record to a browser on this machine."""
    with plainly():
        _listen(settings_of(data=data, host=host, port=port))


@app.command()
def demo(data: Data = None, port: Port = None) -> None:
    """Fill an empty folder with an invented machine and its story, and serve it."""
    with plainly():
        settings = settings_of(data=data or Path.cwd() / "demo-data", port=port)
        if settings.database_url:
            raise Refusal("The demo fills a folder of its own, not a club's database. Unset PUTBACK_DATABASE_URL.")
        settings.daily_copies = "no"  # it can be made anew at any time
        _fill_with_demo(settings)
        _listen(settings)


def _fill_with_demo(settings: Settings) -> None:
    from seed_data.demo import fill

    if (settings.data / DATABASE).exists():
        console.print(f"The demo is in {settings.data} already.", highlight=False)
        return
    settings.log_level = "warning"
    configure_logs(settings)
    store = open_record(settings)
    console.print(f"Writing the demo into {settings.data}; this takes some seconds.", highlight=False)
    with progress("Writing the demo") as heard:
        fill(store, heard)
    store.close()


def _listen(settings: Settings) -> None:
    _expect_accounts(settings)
    with closing(_socket(settings)) as listening, suppress(KeyboardInterrupt):
        application = create_app(settings)
        config = uvicorn.Config(application, log_level="warning", server_header=False, access_log=False)
        shown = f"[{settings.host}]" if ":" in settings.host else settings.host
        port = listening.getsockname()[1]
        console.print(
            f"Putback is open at http://{shown}:{port}/  (record in {settings.place}; stop with Ctrl+C)",
            markup=False,
            highlight=False,
            soft_wrap=True,
        )
        sys.stdout.flush()
        with _copying(application.state.copies):
            uvicorn.Server(config).run(sockets=[listening])


@contextmanager
def _copying(copies: daily_copies.DailyCopies | None) -> Iterator[None]:
    """The daily copies are made meanwhile."""
    if copies:
        copies.start()
    try:
        yield
    finally:
        if copies:
            copies.stop()


def _expect_accounts(settings: Settings) -> None:
    """Whoever can reach the server from elsewhere has to sign in."""
    if settings.host in LOOPBACK:
        return
    if settings.database_url or (settings.data / DATABASE).is_file():
        with closing(open_record(settings)) as store, store.reading() as session:
            if any_account(session):
                return
    raise Refusal(
        f"Others could reach this record at {settings.host}, and nobody would have to sign in. "
        "Open an account first: putback user add NAME"
    )


def _socket(settings: Settings) -> socket.socket:
    """Taken before the record is touched, so that a taken port changes nothing."""
    family = socket.AF_INET6 if ":" in settings.host else socket.AF_INET
    try:
        return socket.create_server((settings.host, settings.port), family=family)
    except OSError as fault:
        raise Refusal(
            f"Nothing can listen at {settings.host} port {settings.port}: {fault.strerror}. "
            "Choose another with --port; 0 takes any free one."
        ) from None
