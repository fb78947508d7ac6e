"""The pages: one module a subject. A request comes in, a template goes out."""

from fastapi import FastAPI

from server.pages import (
    api,
    bag_acts,
    bench_readers,
    bench_sums,
    board_moves,
    boards,
    calculations,
    causes,
    circuits,
    comparisons,
    dating,
    designs,
    files,
    history,
    imports,
    jobs,
    kept_aside,
    labels,
    machine_page,
    machines,
    mods,
    nets,
    originality,
    part_entry,
    parts,
    photographs,
    problems,
    procedures,
    sheets,
    steps,
    symptoms,
    trials,
    understood,
    waveforms,
    way_back,
)

ROUTERS = (
    machines.router,
    machine_page.router,
    designs.router,
    mods.router,
    steps.router,
    way_back.router,
    calculations.router,
    circuits.router,
    history.router,
    board_moves.router,
    boards.router,
    nets.router,
    dating.router,
    originality.router,
    part_entry.router,
    imports.router,
    parts.router,
    kept_aside.router,
    bag_acts.router,
    labels.router,
    jobs.router,
    procedures.router,
    trials.router,
    waveforms.router,
    symptoms.router,
    photographs.router,
    files.router,
    causes.router,
    comparisons.router,
    sheets.router,
    understood.router,
    bench_readers.router,  # before the sums: its addresses are theirs otherwise
    bench_sums.router,
    api.router,
)


def install(app: FastAPI) -> None:
    """Give the application its pages and its answers to errors."""
    for router in ROUTERS:
        app.include_router(router, include_in_schema=router is api.router)
    problems.install(app)
