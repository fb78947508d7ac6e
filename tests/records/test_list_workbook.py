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

from server.records import list_workbook, list_workbook_marks
from server.records.errors import Invalid
from server.records.list_file import Taken, take
from server.records.list_kinds import MODS, PARTS
from server.records.list_workbook_marks import Marks, fill_merged, marks_in
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
        ("two\r\nlines", '"two\nlines"'),
        ("two_x000D_\nlines", '"two\nlines"'),
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


def test_a_file_that_asks_for_a_later_zip_is_refused() -> None:
    """Of version 9.7, by its directory; the fuzzer met one."""
    data = bytearray(workbook(("Parts", [["Ref", "U1"]])))
    listed = data.index(b"PK\x01\x02")
    data[listed + 6] = 97

    assert "damaged" in refused(bytes(data))


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


# ---- What cells do not say themselves ----


def made(*, merged: tuple[str, ...] = (), hidden: tuple[str, ...] = (), **sheets: list[list[Any]]) -> bytes:
    """A workbook with merged cells on its first sheet, and some sheets out of sight."""
    book = openpyxl.load_workbook(io.BytesIO(workbook(*sheets.items())))
    for area in merged:
        book.worksheets[0].merge_cells(area)
    for name in hidden:
        book[name].sheet_state = "hidden"
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def test_a_merged_cell_counts_for_each_row_that_it_spans() -> None:
    """As the person who merged it meant; and it is said."""
    rows: list[list[Any]] = [["Ref", "Value"], ["R1", "330 Ω"], ["R2", None], ["R3", None], ["R4", "1 Ω"]]
    sheet = sheet_of(made(merged=("B2:B4",), Parts=rows))

    assert sheet.text == "Ref\tValue\nR1\t330 Ω\nR2\t330 Ω\nR3\t330 Ω\nR4\t1 Ω\n"
    assert "A merged cell was taken for each row that it spans." in sheet.words


def test_a_merged_cell_fills_no_row_that_is_empty_otherwise() -> None:
    """Nor a cell to the right of it: a title across the sheet stays one."""
    rows: list[list[Any]] = [["Parts of the board", None], [None, None], ["Ref", "Value"], ["R1", "330 Ω"]]
    sheet = sheet_of(made(merged=("A1:B2",), Parts=rows))

    assert sheet.text == "Parts of the board\n\nRef\tValue\nR1\t330 Ω\n"
    assert "merged" not in sheet.words


def test_a_sheet_that_merges_without_end_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(list_workbook_marks, "FILLED_MOST", 10)
    rows = [["a"], *([["b"]] * 30)]

    with pytest.raises(Invalid) as problem:
        fill_merged(rows, Marks([(0, 0, 20)], 0))
    assert "merges more cells than a list has" in problem.value.messages["file"]


def test_merged_cells_far_outside_are_passed_over() -> None:
    rows = [["a"], ["b"]]

    assert fill_merged(rows, Marks([(500, 0, 9), (0, 7, 9)], 0)) == 0
    assert rows == [["a"], ["b"]]


def test_formulas_that_were_never_worked_out_are_counted() -> None:
    sheet = sheet_of(workbook(("Parts", [["Ref", "Value"], ["R1", "=1+1"], ["R2", "=A2"], ["R3", "1 Ω"]])))

    assert "2 formulas have never been worked out, and are read as empty." in sheet.words


@pytest.mark.parametrize(
    ("cell", "unworked"),
    [
        (b'<c r="B2"><f>1+1</f><v></v></c>', 1),
        (b'<c r="B2" s="1"><f>1+1</f></c>', 1),
        (b'<c r="B2"><f t="shared" si="0"/></c>', 1),
        (b'<c r="B2"><f>1+1</f><v>2</v></c>', 0),
        (b'<c r="B2" t="str"><f>A1</f><v>a</v></c>', 0),
        (b'<c r="B2"><v>2</v></c>', 0),
        (b'<cols><col min="1"/></cols>', 0),
    ],
)
def test_a_formula_counts_for_what_it_last_came_to(cell: bytes, unworked: int) -> None:
    assert marks_in(b"<sheetData><row>" + cell + b"</row></sheetData>").unworked == unworked


def test_what_a_formula_last_came_to_is_read() -> None:
    data = workbook(("Parts", [["Ref", "Value"], ["R1", "=1+1"]]))
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        sheet = packed.read(SHEET)
    worked = sheet.replace(b"<f>1+1</f><v></v>", b"<f>1+1</f><v>2</v>").replace(
        b"<f>1+1</f><v />", b"<f>1+1</f><v>2</v>"
    )

    assert sheet_of(rewritten(data, SHEET, worked)).text == "Ref\tValue\nR1\t2\n"


# ---- Several sheets ----


def test_the_first_sheet_that_is_understood_is_taken() -> None:
    """A cover with words on it is none; the others are told, and can be taken."""
    taken = sheet_of(made(Cover=[["Everything"], ["on this board"]], Parts=ROWS, Old=ROWS, hidden=("Old",)))

    assert taken.sheet == "Parts"
    assert taken.words == "Read from the sheet “Parts” of the workbook. Left out: Cover, Old (hidden)."
    assert [(sheet.name, sheet.hidden) for sheet in taken.others] == [("Cover", False), ("Old", True)]


def test_a_hidden_sheet_is_taken_only_where_it_is_named_or_alone() -> None:
    data = made(Old=ROWS, Notes=[["Nothing"], ["of use"]], hidden=("Old",))
    alone = made(Old=ROWS, Blank=[], hidden=("Old",))

    assert sheet_of(data).sheet == "Notes"
    assert take(data, PARTS, name=" old ").sheet == "Old"
    assert sheet_of(alone).words == "Read from the sheet “Old”, which is hidden, of the workbook."


def test_a_sheet_that_is_meant_for_parts_is_not_meant_for_mods() -> None:
    data = workbook(("Parts", ROWS), ("Mods", [["Title"], ["Faster clock"]]))

    assert take(data, MODS).sheet == "Mods"
    assert take(data, PARTS).sheet == "Parts"


def test_a_sheet_that_is_not_there_is_refused_with_those_that_are() -> None:
    with pytest.raises(Invalid) as problem:
        take(workbook(("Parts", ROWS), ("Empty", [])), PARTS, name="Stock")
    assert problem.value.messages == {"sheet": "The workbook has no sheet “Stock” with anything in it, but “Parts”."}
    with pytest.raises(Invalid) as problem:
        take(b"ref\nR1\n", PARTS, name="Stock")
    assert "Only a workbook has sheets" in problem.value.messages["sheet"]
