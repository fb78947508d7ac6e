"""A list is read whichever way it was kept, and each row that will not do says why."""

import csv
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.records.errors import Invalid
from server.records.list_cut import KEPT_PLAIN
from server.records.list_kinds import PARTS
from server.records.list_words import HEADINGS, WORDS, folded, kind_of_designator
from server.records.parts_list import ListRow, read_rows, read_table
from server.records.words import Mounting, Origin, PartKind


def rows_of(text: str) -> list[ListRow]:
    return read_rows(read_table(text))


def reason(text: str) -> str:
    (row,) = rows_of(text)
    assert row.part is None
    return row.reason


def refusal(text: str) -> str:
    with pytest.raises(Invalid) as refused:
        rows_of(text)
    return refused.value.messages["text"]


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_the_delimiter_is_found(delimiter: str) -> None:
    """Comma, semicolon and tab are told apart by the heading."""
    lines = [["value", "ref", "date code"], ["330 Ω", "R1", "8342"]]

    table = read_table("\n".join(delimiter.join(line) for line in lines))

    assert delimiter == table.delimiter
    assert table.columns == {"value": 0, "designator": 1, "date_code": 2}


def test_decimal_commas_do_not_pass_for_delimiters() -> None:
    """A semicolon list full of decimal commas is still a semicolon list."""
    (row,) = rows_of("ref;value;rating\nC1;4,7 µF;16,0 V")

    assert row.part
    assert (row.part.value, row.part.rating) == ("4,7 µF", "16,0 V")


def test_a_first_line_that_states_the_delimiter_is_followed() -> None:
    """`sep=;` is no heading, and the lines keep the numbers an editor gives them."""
    (row,) = rows_of("sep=;\nref;value\nR1;1,5 kΩ")

    assert row.line == 3


@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
def test_every_kind_of_line_end_is_taken(newline: str) -> None:
    rows = rows_of(newline.join(["ref,value", "R1,330", "R2,470"]))

    assert [row.line for row in rows] == [2, 3]


def test_a_title_may_stand_above_the_heading() -> None:
    """What stands above the heading is no part."""
    (row,) = rows_of("Parts of the main board\n\nvalue,ref\n330 Ω,R1\n")

    assert (row.designator, row.line) == ("R1", 4)


def test_a_row_that_looks_like_a_heading_is_not_taken_for_it() -> None:
    """Cells that happen to be headings elsewhere do not outvote the line that names the designators."""
    rows = rows_of("ref,kind,origin,mounting\nU1,ic,original,socket\n")

    assert [(row.designator, row.reason) for row in rows] == [("U1", "")]


def test_unknown_and_doubled_columns_are_named_and_left_out() -> None:
    table = read_table("ref,value,price,val\nR1,330,0.02,470")

    assert table.left_out == ["price", "val (value is taken for the value already)"]


def test_a_list_without_designators_says_what_it_found() -> None:
    sentence = refusal("part,value\nresistor,330")

    assert "No column says where each part sits" in sentence
    assert "“part”, “value”" in sentence


@pytest.mark.parametrize("text", ["", "\n \n", ",,,\n,,\n", "\ufeff"])
def test_nothing_is_no_list(text: str) -> None:
    assert "no list here" in refusal(text)


def test_a_heading_alone_is_no_list() -> None:
    assert "no row under it" in refusal("ref,value\n\n")


def test_a_quotation_mark_that_is_never_closed_refuses_the_list() -> None:
    """Everything after it would be swallowed by one cell, so no row is trusted."""
    assert "line 3" in refusal('ref,note\nR1,ok\nR2,"never closed\nR3,lost\nR4,lost\n')


def test_an_endless_cell_far_beyond_the_reader_s_limit_refuses_the_list() -> None:
    lost = "R3,lost\n" * 40_000

    assert "line 3" in refusal(f'ref,note\nR1,ok\nR2,"never closed\n{lost}')


def test_inches_inside_a_cell_are_no_quotation() -> None:
    (row,) = rows_of('ref,type,note\nJ1,5.25" drive,"a ""floppy"" plug"')

    assert row.part
    assert (row.part.type, row.part.note) == ('5.25" drive', 'a "floppy" plug')


def test_a_cell_may_hold_line_ends() -> None:
    """They stay in a note, become a space elsewhere, and the lines after keep their numbers."""
    rows = rows_of('ref,type,note\nU1,"74LS\n00","one\ntwo"\nU2,74LS04,\n')

    assert rows[0].part
    assert (rows[0].part.type, rows[0].part.note) == ("74LS 00", "one\ntwo")
    assert [row.line for row in rows] == [2, 5]


def test_a_short_row_leaves_its_last_cells_empty() -> None:
    (row,) = rows_of("ref,value,maker\nR1,330 Ω")

    assert row.part
    assert row.part.maker_mark == ""


def test_a_long_row_is_refused_because_its_cells_may_have_moved() -> None:
    assert "4 cells under 3 headings" in reason("ref,value,maker\nC1,4,7 µF,ABC")


def test_a_row_without_designator_says_so() -> None:
    assert "No designator" in reason("ref,value\n,330 Ω")


@pytest.mark.parametrize(
    ("written", "designators"),
    [
        ("R1", ["R1"]),
        ("R1, R2;R3", ["R1", "R2", "R3"]),
        ("R1 R2", ["R1", "R2"]),
        ("R1 R4-R5", ["R1", "R4", "R5"]),
        ("C4-C6", ["C4", "C5", "C6"]),
        ("C4 to c5, U1", ["C4", "C5", "U1"]),
        ("IC 3", ["IC 3"]),
        ("J1-2", ["J1-2"]),
        ("R1-C4", ["R1-C4"]),
        ("main plug", ["main plug"]),
        ("R1,", ["R1"]),
    ],
)
def test_one_line_may_stand_for_several_positions(written: str, designators: list[str]) -> None:
    rows = rows_of(f'ref\tvalue\n"{written}"\t')

    assert designators == [row.designator for row in rows]


@pytest.mark.parametrize("written", ["R9-R1", "R1-R99999"])
def test_an_impossible_range_is_refused(written: str) -> None:
    assert "no range" in reason(f"ref,value\n{written},330 Ω")


def test_a_list_that_swells_past_the_most_is_refused() -> None:
    """Ranges count as what they stand for."""
    assert "more than 20,000 rows" in refusal("ref\tvalue\n" + "R1-R500\t1 Ω\n" * 41)


def test_a_list_of_too_many_lines_is_refused() -> None:
    assert "more than 20,000 rows" in refusal("ref,value\n" + "R1,1\n" * 20_100)


def test_words_of_the_trade_become_the_record_s_own() -> None:
    (row,) = rows_of("refdes,category,socketed,originality,mfr\nIC1,Integrated circuit,yes,Factory,XYZ")

    assert row.part
    assert (row.part.kind, row.part.mounting) == (PartKind.CHIP, Mounting.SOCKETED)
    assert (row.part.origin, row.part.maker_mark) == (Origin.ORIGINAL, "XYZ")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("ref,kind\nR1,gizmo", "Kind: “gizmo” is none of: chip,"),
        ("ref,mounting\nR1,glued", "Mounting: “glued” is none of: socketed, soldered, wired."),
        ("ref,origin\nR1,maybe", "Origin: “maybe” is none of: original, period,"),
        (f"ref,type\nU1,{'x' * 301}", "Type: This is 301 characters long"),
        ("ref,type\nU1,a\x1bb", "Type: Character 2 is a control character"),
    ],
)
def test_a_bad_row_says_which_cell_and_why(text: str, said: str) -> None:
    assert said in reason(text)


def test_the_kind_is_taken_from_the_designator_where_the_list_has_none() -> None:
    rows = rows_of("ref,value\nR1,330 Ω\nC1,100n\nX9,8 MHz\nZZ1,\n")

    kinds = [row.part.kind for row in rows if row.part]
    assert kinds == [PartKind.RESISTOR, PartKind.CAPACITOR, PartKind.CRYSTAL, PartKind.OTHER]


def test_a_type_written_as_a_value_is_taken_as_the_type() -> None:
    """Chips and transistors have their type where resistors have their value."""
    rows = rows_of("ref,value\nU1,74LS00\nU2,7805\nQ1,BC547\nD1,5V1\nR1,4k7\n")

    parts = [(row.part.type, row.part.value) for row in rows if row.part]
    assert parts == [("74LS00", ""), ("7805", ""), ("BC547", ""), ("", "5V1"), ("", "4k7")]
    assert [row.as_type for row in rows[:3]] == ["74LS00", "7805", "BC547"]


@pytest.mark.parametrize(
    ("tolerance", "value"),
    [("5%", "330 Ω ±5%"), ("±5 %", "330 Ω ±5 %"), ("-20/+50 %", "330 Ω -20/+50 %"), ("J", "330 Ω J"), ("", "330 Ω")],
)
def test_a_tolerance_in_its_own_column_belongs_to_the_value(tolerance: str, value: str) -> None:
    (row,) = rows_of(f"ref;value;tol\nR1;330 Ω;{tolerance}")

    assert row.part
    assert value == row.part.value


def test_a_character_that_is_no_text_refuses_the_list_with_its_line() -> None:
    assert "Line 3 " in refusal("ref,note\nR1,ok\nR2,a\x00b")
    assert "Line 2 " in refusal("ref,note\nR1,\ud800")


@pytest.mark.parametrize(
    ("designator", "kind"), [("U7", PartKind.CHIP), ("ic3", PartKind.CHIP), ("7", PartKind.OTHER), ("", PartKind.OTHER)]
)
def test_class_letters_tell_the_kind(designator: str, kind: PartKind) -> None:
    assert kind is kind_of_designator(designator)


def test_no_heading_means_two_things() -> None:
    headings = [heading for several in HEADINGS.values() for heading in several]

    assert sorted(set(headings)) == sorted(headings)
    assert headings == [folded(heading) for heading in headings]


def test_every_word_of_the_trade_is_reachable() -> None:
    """A word with case or punctuation in its entry would never be found."""
    for words in WORDS.values():
        assert list(words) == [folded(word) for word in words]


# But for a cell that is written as our own lists write one that begins like a formula: the mark before it goes again.
CELL = st.text(st.characters(exclude_categories=("Cs", "Cc")), max_size=20).filter(
    lambda text: not KEPT_PLAIN.match(text)
)


@settings(max_examples=100, deadline=None)
@given(
    fields=st.permutations(["designator", "type", "marking", "maker", "date code", "condition"]),
    cells=st.lists(st.tuples(CELL, CELL, CELL, CELL, CELL), min_size=1, max_size=8),
    delimiter=st.sampled_from([",", ";", "\t"]),
)
def test_what_a_sheet_writes_is_read_back(fields: list[str], cells: list[tuple[str, ...]], delimiter: str) -> None:
    """In any column order and with any text in the cells, each cell comes back under its own heading."""
    others = [name for name in fields if name != "designator"]
    written = io.StringIO()
    writer = csv.writer(written, delimiter=delimiter)
    writer.writerow(fields)
    for number, row in enumerate(cells, start=1):
        typed = dict(zip(others, row, strict=True), designator=f"U{number}")
        writer.writerow([typed[name] for name in fields])

    table = read_table(written.getvalue())

    places = [table.columns[PARTS.field_of(name)] for name in others]
    assert [list(row) for row in cells] == [[line.cells[place] for place in places] for line in table.lines]
    assert len(cells) == len(read_rows(table))


@settings(max_examples=100, deadline=None)
@given(st.text(max_size=300))
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    """Whatever is pasted: rows, each with a part or a reason, or one sentence about the list."""
    try:
        rows = rows_of(f"ref,value\n{text}")
    except Invalid as refused:
        assert refused.messages["text"]  # noqa: PT017 (either outcome is right)
    else:
        assert all((row.part is None) == bool(row.reason) for row in rows)
