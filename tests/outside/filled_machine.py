"""A machine with a story, filled so that every requirement of conservation finds something to be held against."""

import json
import shutil
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import Session, col, select
from starlette.testclient import TestClient

from server.app import create_app
from server.documents.dossier import Asked, folder_of, write_dossier
from server.documents.mod_sheet import SheetData, sheet_data
from server.documents.record import canonical, digest, record_of
from server.records.commands.base import Command
from server.records.commands.machines import MachineFields, ReviseMachine
from server.records.commands.mods import Expect, ModFields, ReviseMod
from server.records.commands.parts import PartFields, RevisePart
from server.records.commands.photographs import AddPhotograph
from server.records.errors import Invalid
from server.records.questions.addresses import find_machine, find_mod
from server.records.questions.sheet import whole_machine
from server.records.tables import Part
from server.records.words import Aim
from server.settings import Settings
from tests.documents.invented import KEEPER, TAG, Bench, tell
from tests.documents.test_pdf import poppler
from tests.records.photographs import jpeg

MARK = "a green dot, 2025"
MATTERS = "The hand-wired video board is one of a kind."
DAY = date(2026, 1, 1)


@dataclass(frozen=True)
class Example:
    """A filled machine, and what of it leaves the house; `dossier` is the unpacked bag."""

    bench: Bench
    client: TestClient
    sheet: SheetData
    record: dict[str, Any]
    dossier: Path

    def refuses(self, kind: type[Command], /, **typed: object) -> dict[str, str]:
        with pytest.raises(Invalid) as refusal:
            self.bench.do(kind, **typed)
        return refusal.value.messages

    @cached_property
    def paper(self) -> str:
        """The text of the PDF, in one run."""
        place = self.dossier.parent / "sheet.pdf"
        place.write_bytes(self.client.get(f"/machines/{TAG}/sheet.pdf").content)
        return " ".join(poppler("pdftotext", place, "-").split())

    @property
    def said(self) -> str:
        """Every word of the sheet."""
        return json.dumps(asdict(self.sheet), ensure_ascii=False)

    def mod(self, number: int) -> dict[str, Any]:
        return next(mod for mod in self.record["mods"] if mod["number"] == number)


@contextmanager
def filled(fresh_file: Path, folder: Path) -> Iterator[Example]:
    """The machine in a record of its own, which begins as a copy of an empty one."""
    shutil.copy(fresh_file, folder)
    settings = Settings(data=folder, keeper=KEEPER, allowed_hosts=["testserver"], log_level="error", database_url="")
    app = create_app(settings)
    with TestClient(app) as client:
        bench = tell(app.state.store)
        _fill(bench)
        with bench.store.reading() as session:
            whole = whole_machine(session, find_machine(session, TAG))
        record: dict[str, Any] = record_of(whole)
        sheet = sheet_data(whole, digest(canonical(record)), DAY, KEEPER)
        yield Example(bench, client, sheet, record, _dossier(bench, folder))


def _dossier(bench: Bench, folder: Path) -> Path:
    place = folder / "dossier.zip"
    write_dossier(bench.store, Asked(TAG, DAY, KEEPER), place, lambda done, total: None)  # noqa: ARG005
    with zipfile.ZipFile(place) as packed:
        packed.extractall(folder / "elsewhere")
    return folder / "elsewhere" / folder_of(TAG, DAY)


def _fill(bench: Bench) -> None:
    """What the story leaves open: what matters, the kind of work, the symptom, an unmet expectation, a marked part."""
    with bench.store.reading() as session:
        machine = find_machine(session, TAG)
        told = {name: getattr(machine, name) for name in MachineFields.model_fields}
        mod = find_mod(session, machine, 1)
        of_mod = {name: getattr(mod, name) for name in ModFields.model_fields} | {"outcome": mod.outcome}
        part = _fitted_anew(session)
        of_part = {name: getattr(part, name) for name in PartFields.model_fields}
    bench.do(ReviseMachine, opened_version=machine.version, **told | {"significance": MATTERS})
    bench.do(ReviseMod, mod=1, opened_version=mod.version, aim=Aim.REMEDY, symptom=1, **of_mod)
    bench.do(RevisePart, part=part.key, opened_version=part.version, **of_part | {"marking": MARK})
    bench.do(Expect, mod=1, sentence="The level rises above 0.9 V", procedure="picture-level", sense="rises above",
             bound="0.9")  # fmt: skip
    bench.do(AddPhotograph, on_kind="symptom", on="1", file_name="picture.jpg", content=jpeg(), caption="Faint")
    bench.do(AddPhotograph, on_kind="step", on="1/1", moment="before", file_name="r7.jpg", content=jpeg(3))
    for on_kind, on, moment, caption, turn in (
        ("step", "1/1", "", "The pads under R7", 2),
        ("step", "1/2", "after", "330 Ω in its place", 4),
        ("machine", "", "", "On the bench as it came", 5),
    ):
        bench.do(AddPhotograph, on_kind=on_kind, on=on, moment=moment, caption=caption, file_name="seen.jpg",
                 content=jpeg(turn, "2025:01:05 10:00:00"))  # fmt: skip


def _fitted_anew(session: Session) -> Part:
    """The resistor that mod 1 fitted in place of the original."""
    return session.exec(select(Part).where(Part.value == "330 Ω ±1 %").order_by(col(Part.id))).one()
