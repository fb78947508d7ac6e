"""The sheets of several machines in one zip file."""

import io
import zipfile
from datetime import date
from pathlib import Path

import pikepdf
import pytest

from server.documents.many_sheets import ManyAsked, write_sheets
from server.documents.sheet_choice import SheetChoice
from server.records.commands.machines import EnterMachine
from server.records.errors import NotFound
from server.records.store import Store
from tests.documents.invented import KEEPER, PRIVATE_WORDS, TAG, Bench, tell

DAY = date(2026, 1, 2)


class Halt(Exception):
    """Raised by whoever hears of progress, to stop the work."""


@pytest.fixture
def store(empty: Store) -> Store:
    tell(empty)
    Bench(empty).do(EnterMachine, tag="PL.02", model="Plover 80")
    Bench(empty).do(EnterMachine, tag="PL-02", model="Plover 80")
    return empty


def test_each_machine_has_a_sheet_with_its_record(store: Store, tmp_path: Path) -> None:
    """Also where two tags look alike as names of files."""
    place, heard = tmp_path / "made" / "sheets.zip", []
    asked = ManyAsked([TAG, "PL.02", "PL-02"], DAY, KEEPER, SheetChoice(length="short", paper="Letter"))

    said = write_sheets(store, asked, place, lambda done, total: heard.append((done, total)))

    assert said == "3 sheets are written."
    assert heard == [(0, 3), (1, 3), (2, 3), (3, 3)]
    with zipfile.ZipFile(place) as archive:
        assert archive.testzip() is None
        sheets = {name: archive.read(name) for name in archive.namelist()}
    assert list(sheets) == [
        "0001-PL-01-2026-01-02-mod-sheet.pdf",
        "0002-PL-02-2026-01-02-mod-sheet.pdf",
        "0003-PL-02-2026-01-02-mod-sheet.pdf",
    ]
    for tag, content in zip([TAG, "PL.02", "PL-02"], sheets.values(), strict=True):
        with pikepdf.open(io.BytesIO(content)) as pdf:
            assert [str(one) for one in pdf.attachments] == [f"{tag}-record.json"]
            attached = b"".join(one.get_file().read_bytes() for one in pdf.attachments.values())
            assert [word for word in PRIVATE_WORDS if word.encode() in attached] == []
            assert (len(pdf.pages), float(pdf.pages[0].mediabox[2])) == (1, 612)


def test_stopped_or_refused_it_leaves_nothing(store: Store, tmp_path: Path) -> None:
    place = tmp_path / "made" / "sheets.zip"

    def stopping(done: int, total: int) -> None:  # noqa: ARG001
        if done == 1:
            raise Halt

    with pytest.raises(Halt):
        write_sheets(store, ManyAsked([TAG, "PL-02"], DAY, KEEPER), place, stopping)
    with pytest.raises(NotFound):
        write_sheets(store, ManyAsked([TAG, "XX-99"], DAY, KEEPER), place, lambda *_: None)

    assert list(place.parent.iterdir()) == []


def test_what_was_written_before_stays_until_the_new_one_is_whole(store: Store, tmp_path: Path) -> None:
    place = tmp_path / "sheets.zip"
    write_sheets(store, ManyAsked(["PL-02"], DAY, KEEPER), place, lambda *_: None)
    before = place.read_bytes()

    with pytest.raises(NotFound):
        write_sheets(store, ManyAsked(["XX-99"], DAY, KEEPER), place, lambda *_: None)

    assert place.read_bytes() == before
