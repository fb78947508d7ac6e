"""What a person said of a list's columns is remembered with the act that takes the list in, and told again."""

from datetime import date
from typing import Any

import pytest
from sqlmodel import SQLModel

from server.documents.record import machine_record
from server.records.commands.lists import ColumnChoice
from server.records.commands.mod_lists import ImportMods
from server.records.commands.parts import ImportParts
from server.records.list_kinds import MODS, PARTS
from server.records.list_table import read_table
from server.records.questions.addresses import find_machine
from server.records.questions.column_matchings import remembered
from server.records.tables import ColumnMatching
from tests.conftest import TODAY
from tests.records.conftest import KEEPER, Bench, behind

COLUMNS = [("Bauteil", "designator"), ("Wert", "value"), ("Menge", "")]
TEXT = "Menge,Wert,Bauteil\n1,1 kΩ,Q1\n"


def choices(*pairs: tuple[str, str]) -> list[dict[str, str]]:
    return [{"heading": heading, "field": field} for heading, field in pairs]


def take_in(bench: Bench, designator: str, *pairs: tuple[str, str]) -> None:
    rows = [{"designator": designator, "type": "x"}]
    bench.do(ImportParts, board="supply", rows=rows, matching=choices(*pairs))


def known(bench: Bench, kind: Any = PARTS) -> Any:
    with bench.store.reading() as session:
        return remembered(session, kind)


def test_it_is_remembered_in_the_same_entry(bench: Bench) -> None:
    """One act, one entry; and the record is whole, the journal replayed."""
    before = bench.entries()

    take_in(bench, "Q1", *COLUMNS)

    entry = bench.last_entry()
    assert bench.entries() == before + 1
    assert entry.words == (
        "Entered a parts list of 1 rows onto Supply of TM-03. Which of its columns is which is remembered."
    )
    assert "column_matching" in {change["table"] for change in entry.change}
    assert bench.faults() == []


def test_lists_with_the_same_headings_are_matched_so_again(bench: Bench) -> None:
    """In another order too; with the day on which it was said."""
    take_in(bench, "Q1", *COLUMNS)

    table = read_table(TEXT, PARTS, known(bench))

    assert table.columns == {"value": 1, "designator": 2}
    assert table.day == TODAY


def test_another_matching_takes_the_place_of_the_first(bench: Bench) -> None:
    take_in(bench, "Q1", *COLUMNS)
    take_in(bench, "Q2", ("Bauteil", "designator"), ("Wert", "type"), ("Menge", ""))

    (row,) = bench.rows(ColumnMatching)
    assert row.columns[1] == {"heading": "Wert", "field": "type"}
    assert bench.faults() == []


def test_the_same_again_changes_nothing_of_it(bench: Bench) -> None:
    take_in(bench, "Q1", *COLUMNS)
    take_in(bench, "Q2", *COLUMNS)

    (row,) = bench.rows(ColumnMatching)
    assert row.version == 1
    assert "column_matching" not in {change["table"] for change in bench.last_entry().change}


def test_parts_and_mods_are_remembered_apart(bench: Bench) -> None:
    take_in(bench, "Q1", *COLUMNS)
    mods = choices(("Bauteil", "title"), ("Wert", "purpose"), ("Menge", ""))
    bench.do(ImportMods, day="2025-01-02", signer=KEEPER, rows=[{"title": "Faster"}], matching=mods)

    assert read_table(TEXT, PARTS, known(bench)).columns == {"value": 1, "designator": 2}
    assert read_table(TEXT, MODS, known(bench, MODS)).columns == {"purpose": 1, "title": 2}


@pytest.mark.parametrize(
    ("pairs", "field"),
    [
        ([("Wert", "value")], "matching"),
        ([("Bauteil", "designator"), ("Wert", "designator")], "matching.1.field"),
        ([("Bauteil", "designator"), ("Wert", "colour")], "matching.1.field"),
        ([("Bauteil", "designator"), *[("Wert", "")] * 200], "matching"),
    ],
)
def test_a_matching_that_will_not_do_stores_nothing(bench: Bench, pairs: list[tuple[str, str]], field: str) -> None:
    """Neither it nor the rows."""
    rows = [{"designator": "Q1", "type": "x"}]

    assert field in bench.refuse(ImportParts, board="supply", rows=rows, matching=choices(*pairs))
    assert bench.rows(ColumnMatching) == []


def test_a_list_that_is_refused_is_not_remembered(bench: Bench) -> None:
    rows = [{"designator": "R2", "type": "x"}]

    bench.refuse(ImportParts, board="main-board", rows=rows, matching=choices(*COLUMNS))

    assert bench.rows(ColumnMatching) == []


def test_it_is_the_installation_s_and_stands_in_no_machine_s_record(bench: Bench) -> None:
    take_in(bench, "Q1", *COLUMNS)

    with bench.store.reading() as session:
        record = machine_record(session, find_machine(session, "TM-03"))

    assert "Bauteil" not in str(record)


def test_one_that_was_changed_behind_the_journal_s_back_is_named(bench: Bench) -> None:
    take_in(bench, "Q1", *COLUMNS)
    table = SQLModel.metadata.tables["column_matching"]
    behind(bench.store, table.update().values(day=date(2001, 1, 1)))

    assert bench.faults() == ["column_matching 1 differs from what the journal says of it: day."]


def test_a_choice_says_what_a_column_is_headed_by_and_which_field_it_is() -> None:
    assert ColumnChoice.read({"heading": " Wert ", "field": "value"}) == ColumnChoice(heading="Wert", field="value")
