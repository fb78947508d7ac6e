"""The pages: one module a subject. A request comes in, a template goes out."""

from fastapi import FastAPI

from server.pages import (
    api,
    boards,
    comparisons,
    imports,
    jobs,
    kept_aside,
    machines,
    part_entry,
    parts,
    problems,
    procedures,
    sheets,
    trials,
)

ROUTERS = (
    machines.router,
    boards.router,
    part_entry.router,
    imports.router,
    parts.router,
    kept_aside.router,
    jobs.router,
    procedures.router,
    trials.router,
    comparisons.router,
    sheets.router,
    api.router,
)


def install(app: FastAPI) -> None:
    """Give the application its pages and its answers to errors."""
    for router in ROUTERS:
        app.include_router(router)
    problems.install(app)
