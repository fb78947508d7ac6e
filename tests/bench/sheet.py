"""The mod sheet of a machine with 300 mods as a PDF, against the compiler alone with the very same data.

The machine has 2,000 steps that were done, more photographs than a sheet shows, and 31 trials of one procedure, so that
each mod stands between two of them and has its drawing. What is measured is the whole request: reading the record,
writing it down, putting it into words, drawing and laying out. The aim is a ratio of at most 3.
"""

import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import date, timedelta
from io import BytesIO
from pathlib import Path
from unittest.mock import patch

import pikepdf
from sqlalchemy import insert, update
from sqlmodel import SQLModel, select

from server.app import create_app
from server.documents import pdf
from server.records.commands.photographs import AddPhotograph
from server.records.commands.trials import RecordTrial, WriteProcedure
from server.records.store import Store
from server.records.tables import Mod
from server.settings import Settings
from tests.bench.machine_page import get
from tests.bench.timing import best, told
from tests.bench.way_back import MODS, STEPS, TAG, do
from tests.bench.way_back import fill as fill_mods
from tests.records.photographs import drawing, written

TRIALS, PHOTOGRAPHS = 31, 40
BEGAN = date(2025, 1, 2)
AIM = 3.0
ROUNDS = 3
PATH = f"/machines/{TAG}/sheet.pdf"


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        settings = Settings(
            data=Path(folder), allowed_hosts=["bench"], log_level="error", database_url="", keeper="Bench"
        )
        app = create_app(settings)
        fill(app.state.store)
        with _inputs_noted() as noted:
            sheet = get(app, PATH)
        template, inputs, day = noted[0]
        ours, floor = best(lambda: get(app, PATH), lambda: pdf.typeset(template, inputs, day), rounds=ROUNDS)
        with pikepdf.open(BytesIO(sheet)) as opened:
            pages = len(opened.pages)
        told(f"mod sheet, {MODS} mods, {STEPS:,} steps, {pages} pages, {len(sheet) / 1e6:.1f} MB", ours, floor, AIM)
        app.state.store.close()


@contextmanager
def _inputs_noted() -> Iterator[list[tuple[str, Mapping[str, str], date]]]:
    """What the compiler is given while a sheet is made."""
    noted: list[tuple[str, Mapping[str, str], date]] = []
    compiler = pdf.typeset

    def typeset(template: str, inputs: Mapping[str, str], day: date) -> bytes:
        noted.append((template, inputs, day))
        return compiler(template, inputs, day)

    with patch.object(pdf, "typeset", typeset):
        yield noted


def fill(store: Store) -> None:
    """The machine of the way back, whose mods are fitted day by day with trials between them."""
    fill_mods(store)
    with store.reading() as session:
        keys = list(session.exec(select(Mod.id).order_by(Mod.number)))  # type: ignore[arg-type]
    _fit(store, [key for key in keys if key is not None])
    do(store, WriteProcedure, title="Hum", unit="mV", better="lower", resolution="0.1")
    for number in range(TRIALS):
        day = BEGAN + timedelta(days=number * MODS // (TRIALS - 1))
        readings = " ".join(str(40 - number + step / 10) for step in range(6))
        do(store, RecordTrial, machine=TAG, procedure="hum", day=day, readings=readings, signer="Bench")
    seen = drawing((1600, 1200))
    for number in range(PHOTOGRAPHS):
        seen.putpixel((number, 0), (255, 0, 0))
        moment = "after" if number % 2 else "before"
        on = {"on_kind": "step", "on": f"{number // 2 + 1}/1", "moment": moment}
        do(store, AddPhotograph, machine=TAG, file_name="seen.jpg", content=written("JPEG", seen), **on)


def _fit(store: Store, mods: list[int]) -> None:
    """One a day, at once: as acts they would take minutes."""
    tables = SQLModel.metadata.tables
    with store.engine.execution_options(putback_writes=True).begin() as connection:
        for number, mod in enumerate(mods):
            day = BEGAN + timedelta(days=number)
            connection.execute(update(tables["mod"]).where(tables["mod"].c.id == mod).values(state="fitted"))
            connection.execute(update(tables["step"]).where(tables["step"].c.mod_id == mod).values(done_on=day))
            connection.execute(insert(tables["mod_move"]).values(mod_id=mod, state="fitted", day=day, signer="Bench"))


if __name__ == "__main__":
    main()
