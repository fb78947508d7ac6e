"""Putting the house together: settings, record, guards, pages."""

import logging
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import structlog
from fastapi import FastAPI
from starlette.staticfiles import StaticFiles

from server import pages
from server.access.door import Door
from server.access.guards import Guards
from server.records import migrate
from server.records.daily_copies import DailyCopies
from server.records.errors import RecordError
from server.records.store import FILES, Store
from server.settings import Settings

STATIC = Path(__file__).parent.parent / "static"
MEGABYTE = 1_000_000


def create_app(settings: Settings | None = None) -> FastAPI:
    """The application over one record, which is brought up to date first."""
    settings = settings or Settings()
    configure_logs(settings)
    store = open_record(settings)

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        yield
        store.close()

    app = FastAPI(title="Putback", lifespan=lifespan, docs_url=None, redoc_url=None, openapi_url="/api/v1/openapi.json")
    app.state.settings = settings
    app.state.store = store
    app.state.door = _door(store, settings)
    app.state.copies = DailyCopies(settings.data) if settings.copies_daily else None  # whoever serves starts them
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    pages.install(app)
    # Outside of Starlette's own stack: what `add_middleware` adds does not see the answers to unexpected faults.
    app.middleware_stack = Guards(
        app.build_middleware_stack(), settings.allowed_hosts, settings.upload_most_mb * MEGABYTE
    )
    return app


def _door(store: Store, settings: Settings) -> Door:
    try:
        return Door.of(store, settings.data)
    except OSError as fault:
        store.close()
        raise RecordError(
            f"The key of the cookies cannot be kept in {settings.data}: {fault.strerror or fault}."
        ) from None


def open_record(settings: Settings) -> Store:
    """The record at the settings' place, made or migrated as needed."""
    _make_folder(settings.data)
    store = Store(settings.url, settings.data / FILES)
    try:
        migrate.upgrade(store.engine)
    except BaseException:
        store.close()
        raise
    return store


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise RecordError(f"No record can be kept in {folder}: {fault.strerror}.") from None


def configure_logs(settings: Settings) -> None:
    """Structured log lines: for people on a terminal, or one JSON object a line."""
    last = (
        structlog.processors.JSONRenderer()
        if settings.log_format == "json"
        else structlog.dev.ConsoleRenderer(colors=False)
    )
    structlog.configure(
        processors=[
            structlog.contextvars.merge_contextvars,
            structlog.processors.add_log_level,
            structlog.processors.TimeStamper(fmt="iso", utc=True),
            structlog.processors.format_exc_info,
            last,
        ],
        wrapper_class=structlog.make_filtering_bound_logger(getattr(logging, settings.log_level.upper())),
        logger_factory=structlog.PrintLoggerFactory(),
        cache_logger_on_first_use=False,
    )
