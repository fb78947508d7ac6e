"""Which column of a list is which: by its heading, as it was matched before, or as a person says."""

from collections.abc import Sequence
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.records.errors import Invalid
from server.records.list_columns import Remembered, by_headings, keys_of, matching_faults, signature
from server.records.list_file import Asked, chosen_columns, take_table
from server.records.list_kinds import KINDS, MODS, PARTS, ListKind
from server.records.list_table import Table, read_table
from server.records.list_words import folded

GERMAN = "Bauteil;Wert;Menge;Art\nR1;4,7 kΩ;1;resistor\nC1;0,1 µF;2;capacitor\n"
DAY = date(2026, 1, 2)
HEADING = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=12)


def remembered(headings: Sequence[str], fields: Sequence[str]) -> dict[str, Remembered]:
    return {signature(headings): Remembered(dict(zip(keys_of(headings), fields, strict=True)), DAY)}


KNOWN = remembered(["Wert", "Bauteil", "Menge", "Art"], ["value", "designator", "", "kind"])


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.name)
def test_no_heading_means_two_things(kind: ListKind) -> None:
    headings = [heading for several in kind.headings.values() for heading in several] + list(kind.aside)

    assert sorted(set(headings)) == sorted(headings)
    assert headings == [folded(heading) for heading in headings]
    assert kind.needed in kind.headings
    assert kind.called.keys() <= kind.headings.keys()


@given(st.lists(HEADING, max_size=8))
def test_no_two_columns_are_known_by_the_same(headings: list[str]) -> None:
    keys = keys_of(headings)

    assert len(set(keys)) == len(headings)


@given(
    st.lists(HEADING.filter(str.strip), min_size=1, max_size=8).flatmap(
        lambda one: st.tuples(st.just(one), st.permutations(one))
    )
)
def test_a_list_is_known_again_in_whatever_order_its_headings_stand(pair: tuple[list[str], list[str]]) -> None:
    headings, others = pair

    assert signature(headings) == signature(others)


def test_headings_are_the_same_however_they_are_written() -> None:
    """Case, punctuation, an accent typed apart; and what is empty at the end of the line."""
    assert signature(["Date-Code", "Réf", ""]) == signature(["date code", "Re\N{COMBINING ACUTE ACCENT}f"])
    assert signature(["Ref", "Ref"]) != signature(["Ref"])
    assert signature(["Ref", "Wert"]) != signature(["Ref", "Menge"])


# ---- By heading, or as remembered ----


@pytest.mark.parametrize(
    ("heading", "asks"),
    [
        ("ref,value", False),
        ("ref,value,price", True),
        ("ref,value,val", True),
        ("ref,value,board,qty", False),
        ("ref,value,", False),
        ("ref,value,,", True),
        ("Bauteil,value", True),
    ],
)
def test_it_asks_where_not_every_heading_is_understood(heading: str, asks: bool) -> None:
    """Also of a column that is headed by nothing and holds something."""
    assert read_table(f"{heading}\nR1,1 kΩ,,x\n").asks is asks


def test_lists_with_the_same_headings_are_matched_as_before() -> None:
    table = read_table(GERMAN, PARTS, KNOWN)

    assert table.columns == {"designator": 0, "value": 1, "kind": 3}
    assert (table.matched, table.day, table.asks) == ("as remembered", DAY, False)
    assert table.left_out == ["Menge"]


def test_a_matching_of_other_headings_is_not_taken() -> None:
    table = read_table(GERMAN.replace("Menge", "Preis"), PARTS, KNOWN)

    assert (table.matched, table.day, table.asks) == ("by headings", None, True)


def test_what_is_remembered_finds_the_heading_and_the_delimiter() -> None:
    """Under a title, and though the decimal commas would cut each row more often."""
    table = read_table("Liste, Stand: Mai, Juni, Juli\n\n" + GERMAN.replace("1;", "1,1,1,1;"), PARTS, KNOWN)

    assert (table.delimiter, table.heading_line) == (";", 3)


def test_what_is_remembered_goes_before_what_a_heading_says() -> None:
    known = remembered(["Ref", "Value", "Part"], ["value", "designator", ""])
    table = read_table("Ref,Value,Part\n1 kΩ,R1,x\n", PARTS, known)

    assert table.columns == {"value": 0, "designator": 1}


# ---- Where no heading is understood ----


@pytest.mark.parametrize(("delimiter", "found"), [(";", ";"), (",", ","), ("\t", "\t")])
def test_the_lines_that_are_cut_alike_tell_the_delimiter(delimiter: str, found: str) -> None:
    lines = [["Bauteil", "Wert", "Art"], ["R1", "1", "x"], ["R2", "2", "y"]]
    table = read_table("\n".join(delimiter.join(line) for line in lines))

    assert (table.delimiter, table.headings) == (found, lines[0])


def test_a_title_above_unknown_headings_is_not_taken_for_them() -> None:
    table = read_table(f"Stückliste der Tastatur\n{GERMAN}")

    assert (table.heading_line, table.headings[0]) == (2, "Bauteil")
    assert table.values(0) == ["R1", "C1"]


def test_a_person_can_say_which_line_is_the_heading() -> None:
    text = "a;b\nc;d\nBauteil;Wert\nR1;1 kΩ\n"

    assert read_table(text, heading_line=3).headings == ["Bauteil", "Wert"]
    for none_such in (4, 7, 0, 99):
        assert read_table(text, heading_line=none_such).headings == ["a", "b"]


# ---- By hand ----


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        (["designator", "value"], {}),
        (["", ""], {None: "No column is the designator yet, and it says where each part sits. Choose which one is."}),
        (
            ["designator", "designator"],
            {1: "“Ref” is the designator already; only one column can be. Leave one of the two out."},
        ),
        (["designator", "colour"], {1: "“colour” is no field."}),
    ],
)
def test_a_matching_that_will_not_do_says_why(fields: list[str], said: dict[int | None, str]) -> None:
    found = matching_faults(PARTS, ["Ref", "Wert"], fields)

    assert found.keys() == said.keys()
    assert all(found[place].startswith(sentence) for place, sentence in said.items())


def asked(text: str, *columns: str) -> Table:
    return take_table(text.encode(), PARTS, asked=Asked(columns=columns))


def refused(text: str, *columns: str) -> str:
    with pytest.raises(Invalid) as problem:
        asked(text, *columns)
    return problem.value.messages["column"]


def test_columns_can_be_given_as_heading_and_field() -> None:
    """In any case, by the field's name or by another word for it; a heading may hold an equals sign."""
    table = asked("BAUTEIL;U=;Value;date\nR1;5 V;1 kΩ;8114\n", "bauteil=Ref", "U==rating", "date=leave out")

    assert table.columns == {"designator": 0, "rating": 1, "value": 2}
    assert [(one.heading, one.field) for one in chosen_columns(table)] == [
        ("BAUTEIL", "designator"),
        ("U=", "rating"),
        ("Value", "value"),
        ("date", ""),
    ]


def test_a_column_that_is_given_goes_before_one_that_is_headed_so() -> None:
    table = asked("Ref,Value,Really\nR1,1 kΩ,2 kΩ\n", "Really=value")

    assert table.columns == {"designator": 0, "value": 2}


@pytest.mark.parametrize(
    ("columns", "said"),
    [
        (["Wert"], "“Wert” is no matching. Write it as Heading=field."),
        (["Preis=value"], "No column is headed “Preis”. There are: “Bauteil”, “Wert”, “Menge”, “Art”."),
        (["Wert=colour"], "“colour” is no field. It is one of: designator, kind, type,"),
        (["Wert=value"], "No column is the designator yet"),
        (["Bauteil=ref", "Wert=ref"], "“Wert”: “Bauteil” is the designator already"),
    ],
)
def test_columns_that_are_given_wrongly_are_refused_in_words(columns: list[str], said: str) -> None:
    assert refused(GERMAN, *columns).startswith(said)


def test_only_what_a_person_said_is_to_be_remembered() -> None:
    assert chosen_columns(read_table("ref,value\nR1,1\n")) == []
    assert chosen_columns(read_table(GERMAN, PARTS, KNOWN)) == []


@given(
    st.lists(st.sampled_from([*MODS.headings, ""]), min_size=1, max_size=8), st.lists(HEADING, min_size=8, max_size=8)
)
def test_a_matching_is_good_where_each_field_is_one_column_and_the_needed_one_is_there(
    fields: list[str], headings: list[str]
) -> None:
    given_fields = [name for name in fields if name]
    good = len(set(given_fields)) == len(given_fields) and "title" in fields

    assert (matching_faults(MODS, headings[: len(fields)], fields) == {}) is good


@given(st.lists(st.sampled_from([*MODS.known, "something else"]), min_size=1, max_size=12))
def test_what_headings_say_never_gives_two_columns_one_field(headings: list[str]) -> None:
    fields = [name for name in by_headings(MODS, headings) if name]

    assert len(set(fields)) == len(fields)
