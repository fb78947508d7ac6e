"""Workbooks as parts lists: cells as a person would type them, and files that are none or mean harm refused."""

import io
import warnings
import zipfile
from contextlib import suppress
from datetime import date, datetime
from typing import Any

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.records import list_workbook
from server.records.errors import Invalid
from server.records.list_file import Taken, take
from server.records.list_kinds import PARTS
from server.records.parts_list import rows_of

SHEET = "xl/worksheets/sheet1.xml"
ROWS = [["Ref", "Value", "Origin"], ["R2", "330 Ω ±5 %", "original"], ["C1", "470 µF", "new"]]


def workbook(*sheets: tuple[str, list[list[Any]]]) -> bytes:
    book = openpyxl.Workbook()
    del book["Sheet"]
    for name, rows in sheets:
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


BYTES = workbook(("Parts", ROWS))  # once: it bears the moment it was made at, and so is not always as long


def sheet_of(data: bytes) -> Taken:
    return take(data, PARTS)


def refused(data: bytes) -> str:
    with pytest.raises(Invalid) as problem:
        sheet_of(data)
    return problem.value.messages["file"]


def rewritten(data: bytes, name: str, content: bytes) -> bytes:
    """The same workbook with one of its members another."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for member in old.namelist():
            new.writestr(member, content if member == name else old.read(member))
    return out.getvalue()


def test_the_first_sheet_with_cells_is_read_and_the_others_are_named() -> None:
    sheet = sheet_of(workbook(("Cover", []), ("Parts", ROWS), ("Old", ROWS)))

    assert sheet.text.splitlines()[1] == "R2\t330 Ω ±5 %\toriginal"
    assert sheet.words == "Read from the sheet “Parts” of the workbook. Left out: Old."


def test_it_is_entered_as_a_list_is() -> None:
    assert [(row.designator, row.value, row.origin) for row in rows_of(workbook(("Parts", ROWS)))] == [
        ("R2", "330 Ω ±5 %", "original"),
        ("C1", "470 µF", "new"),
    ]


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (330, "330"),
        (4.7, "4.7"),
        (7400.0, "7400"),
        (0.1 + 0.2, "0.3"),
        (date(1981, 5, 4), "1981-05-04"),
        (datetime(1981, 5, 4, 10, 30), "1981-05-04T10:30:00"),  # noqa: DTZ001 (cells know no time zone)
        (True, "yes"),
        ("  R2 ", "R2"),
        ("a\tb", '"a\tb"'),
        ("=1+1", ""),
        (None, ""),
    ],
)
def test_a_cell_reads_as_a_person_would_type_it(value: Any, words: str) -> None:
    """A formula that no program has worked out yet is empty."""
    text = sheet_of(workbook(("Parts", [["Ref", value, "end"]]))).text

    assert text == f"Ref\t{words}\tend\n"


def test_a_workbook_without_cells_is_refused() -> None:
    assert "no sheet with anything in it" in refused(workbook(("Empty", []), ("Blank", [[None, ""]])))


@pytest.mark.parametrize("data", [b"PK\x03\x04rest", b"PK\x03\x04" + bytes(500)])
def test_a_damaged_file_is_refused(data: bytes) -> None:
    assert "damaged" in refused(data)


def test_another_packed_file_is_no_workbook() -> None:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as packed:
        packed.writestr("a.txt", "a")

    assert "no workbook" in refused(file.getvalue())


@given(st.data())
def test_a_workbook_with_a_byte_changed_is_read_or_refused(data: st.DataObject) -> None:
    """Never anything else."""
    content = bytearray(BYTES)
    content[data.draw(st.integers(4, len(content) - 1))] ^= data.draw(st.integers(1, 255))
    with suppress(Invalid), warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library's, on styles that it cannot read
        assert sheet_of(bytes(content)).text


def test_what_unpacks_to_more_than_a_list_has_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """Before it is unpacked: a gigabyte of blanks packs to a megabyte."""
    monkeypatch.setattr(list_workbook, "UNPACKED_MOST", 100_000)
    bomb = rewritten(workbook(("Parts", ROWS)), SHEET, b"<a>" + b" " * 200_000 + b"</a>")

    assert len(bomb) < 20_000
    assert "unpacks to more than" in refused(bomb)


@pytest.mark.parametrize(
    "entities",
    [b'<!ENTITY a "bbbb"><!ENTITY b "&a;&a;">', b'<!ENTITY b SYSTEM "file:///etc/passwd">'],
    ids=["a few letters that stand for many", "a file of this machine"],
)
def test_entities_are_not_expanded(entities: bytes) -> None:
    """Without them the same sheet is read, so that it is for them that it is refused."""
    data = workbook(("Parts", ROWS))
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        sheet = packed.read(SHEET)
    plain = sheet.replace(b"R2</t>", b"R9</t>")
    harm = b"<!DOCTYPE worksheet [" + entities + b"]>" + sheet.replace(b"R2</t>", b"&b;</t>")

    assert "R9" in sheet_of(rewritten(data, SHEET, plain)).text
    assert "damaged" in refused(rewritten(data, SHEET, harm))


def test_a_sheet_that_claims_to_be_endless_is_read_as_far_as_a_list_goes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(list_workbook, "ROWS_READ", 5)
    monkeypatch.setattr(list_workbook, "COLUMNS_MOST", 2)

    text = sheet_of(workbook(("Parts", [["a", "b", "c"]] * 9))).text

    assert text == "a\tb\n" * 5
