"""The pages: one module a subject. A request comes in, a template goes out."""

from fastapi import FastAPI

from server.pages import comparisons, machines, problems, procedures, trials

ROUTERS = (machines.router, procedures.router, trials.router, comparisons.router)


def install(app: FastAPI) -> None:
    """Give the application its pages and its answers to errors."""
    for router in ROUTERS:
        app.include_router(router)
    problems.install(app)
