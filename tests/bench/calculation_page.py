"""What a calculation of 100,000 draws adds to a page: worked out at the bench, kept with a mod, and listed on the mod.

Each page is timed against the same page without: the bench sum with its result at hand, the mod without its sum, and
for the sum's own page (which there is none of without one) the mod's.
"""

import tempfile
from pathlib import Path

from server.app import create_app
from server.engineering.methods import load_methods
from server.engineering.quantities import show
from server.pages import bench_sums
from server.records.commands.calculations import AttachCalculation
from server.records.commands.machines import EnterMachine
from server.records.commands.mods import PlanMod
from server.records.store import Store
from server.settings import Settings
from tests.bench.machine_page import get
from tests.bench.timing import best

AIM_MS = 30
SLUG = "pin_series_resistor"
SUM, MOD = f"/bench-sums/{SLUG}", "/machines/ONE-1/mods"


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        settings = Settings(
            data=Path(folder), allowed_hosts=["bench"], log_level="error", database_url="", keeper="Bench"
        )
        app = create_app(settings)
        fill(app.state.store)

        def worked_out() -> None:
            bench_sums.evaluated.cache_clear()
            get(app, SUM)

        told("bench sum, worked out", *best(worked_out, lambda: get(app, SUM)))
        told("mod with its sum", *best(lambda: get(app, f"{MOD}/1"), lambda: get(app, f"{MOD}/2")))
        told("the sum's own page", *best(lambda: get(app, f"{MOD}/1/calculations/1"), lambda: get(app, f"{MOD}/2")))
        app.state.store.close()


def told(name: str, page: float, without: float) -> None:
    adds = (page - without) * 1e3
    print(f"{name}: {page * 1e3:.1f} ms, without {without * 1e3:.1f} ms, adds {adds:.1f} ms (aim: under {AIM_MS})")


def fill(store: Store) -> None:
    """Two mods alike, the first with a sum by the method."""
    method = load_methods()[SLUG]
    day = {"machine": "ONE-1", "day": "2025-01-02", "signer": "Bench"}
    inputs = [
        {"name": given.name, "label": given.label, "unit": given.unit, "text": show(given.usual)}
        for given in method.inputs
    ]
    lines = [
        {"name": line.name, "expression": line.expression, "unit": line.unit, "label": line.label}
        for line in method.lines
    ]
    limits = [
        {"line": limit.line, "kind": limit.kind, "value": str(limit.value), "basis": limit.basis}
        for limit in method.limits
    ]
    rows = {"inputs": inputs, "lines": lines, "limits": limits}
    for command in (
        EnterMachine.read({"tag": "ONE-1", "model": "Bench"}),
        PlanMod.read({"title": "With a sum", **day}),
        PlanMod.read({"title": "Without", **day}),
        AttachCalculation.read({"machine": "ONE-1", "mod": 1, "title": method.title, "method": SLUG, **rows}),
    ):
        store.carry_out(command, "Bench")


if __name__ == "__main__":
    main()
