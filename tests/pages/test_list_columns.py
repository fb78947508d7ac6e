"""The step between a list and its rows: which column is which, said by hand and remembered."""

import io

import openpyxl
import pytest
from fastapi import FastAPI
from httpx2 import Response
from starlette.testclient import TestClient

from tests.conftest import TODAY
from tests.pages.benchwork import (
    HOSTILE,
    HTMX,
    address_of,
    assert_sound,
    message_beside,
    rows_of,
    set_up,
    typed_in,
    words_of,
)
from tests.pages.taking import COLUMNS, form_of, options_of, press
from tests.pages.test_imports import IMPORT, await_job, send, stored
from tests.records.test_list_workbook import workbook

GERMAN = "Bauteil;Wert;Menge;Art\nR1;4,7 kΩ;1;resistor\nC1;0,1 µF;2;capacitor\nC2;;;\nC3;;3;\n"
ROWS = {"column_0": "designator", "column_1": "value", "column_3": "kind"}


@pytest.fixture(autouse=True)
def board(client: TestClient) -> str:
    return set_up(client)


def look(client: TestClient, text: str = GERMAN, *, htmx: bool = False, **said: str) -> Response:
    return press(client, send(client, text, htmx=htmx), IMPORT, "match", htmx=htmx, **(said or ROWS))


def take_in(client: TestClient, looked: Response) -> Response:
    return await_job(client, address_of(press(client, looked, IMPORT, "store")))


@pytest.mark.parametrize("htmx", [False, True])
def test_columns_that_are_not_understood_are_asked_about(client: TestClient, app: FastAPI, htmx: bool) -> None:
    """Each with its heading, its first three values, and a choice of fields or none."""
    before = stored(app)

    asked = send(client, GERMAN, htmx=htmx)

    assert asked.status_code == 200
    assert ("<!doctype" in asked.text.lower()) != htmx
    assert COLUMNS in words_of(asked)
    assert [field.label for field in form_of(asked, IMPORT).fields() if field.name.startswith("column.")] == [
        "Bauteil",
        "Wert",
        "Menge",
        "Art",
    ]
    assert "Menge 1 · 2 · 3" in words_of(asked)
    options = options_of(asked, IMPORT, "column.0")
    assert (options[""], options["date_code"]) == ("leave out", "date code")
    assert typed_in(asked, "text") == GERMAN
    assert stored(app) == before
    assert_sound(asked)


@pytest.mark.parametrize("htmx", [False, True])
def test_what_is_chosen_is_how_the_rows_are_read(client: TestClient, htmx: bool) -> None:
    looked = look(client, htmx=htmx)

    assert looked.status_code == 200
    assert ("<!doctype" in looked.text.lower()) != htmx
    assert [row[:3] for row in rows_of(looked)][:2] == [["R1", "resistor", "4,7 kΩ"], ["C1", "capacitor", "0,1 µF"]]
    assert "Left out: Menge." in words_of(looked)
    assert_sound(looked)


def test_it_is_remembered_once_the_rows_are_stored(client: TestClient, app: FastAPI) -> None:
    """In one entry; and offered the next time by itself, saying so."""
    assert "is remembered" in words_of(take_in(client, look(client)))
    assert stored(app)[0] == 3

    again = send(client, "Art;Bauteil;Menge;Wert\nresistor;R9;1;1 kΩ\n")

    assert again.status_code == 200
    assert f"Columns matched as on {TODAY};" in words_of(again)
    assert [row[:3] for row in rows_of(again)] == [["R9", "resistor", "1 kΩ"]]


def test_what_is_only_looked_at_is_not_remembered(client: TestClient) -> None:
    look(client)

    assert COLUMNS in words_of(send(client, GERMAN))


def test_what_is_remembered_can_be_changed(client: TestClient) -> None:
    """From the rows, by one press; the choices stand as they were."""
    take_in(client, look(client))
    again = send(client, GERMAN.replace("R1", "R8").replace("C", "C8"))

    asked = press(client, again, IMPORT, "columns")
    assert f"Columns matched as on {TODAY}." in words_of(asked)
    assert [typed_in(asked, f"column.{place}") for place in range(4)] == ["designator", "value", "", "kind"]

    looked = press(client, asked, IMPORT, "match", column_1="note", column_3="")
    assert "0 cannot" in words_of(looked)
    take_in(client, looked)
    asked = press(client, send(client, GERMAN), IMPORT, "columns")
    assert [typed_in(asked, f"column.{place}") for place in range(4)] == ["designator", "note", "", ""]


def test_what_a_heading_says_by_itself_can_be_changed_too(client: TestClient) -> None:
    looked = send(client, "ref,value\nU1,74LS00\n")
    asked = press(client, looked, IMPORT, "columns")

    assert "Not every heading" not in words_of(asked)
    take_in(client, press(client, asked, IMPORT, "match", column_1="type"))
    again = send(client, "ref,value\nU2,74LS04\n")
    assert f"Columns matched as on {TODAY};" in words_of(again)
    assert rows_of(again)[-1][:3] == ["U2", "chip", "74LS04"]


def test_what_stands_as_it_was_told_is_not_remembered_anew(client: TestClient) -> None:
    looked = press(client, press(client, send(client, "ref,value\nU1,x\n"), IMPORT, "columns"), IMPORT, "match")

    assert "remembered" not in words_of(take_in(client, looked))


@pytest.mark.parametrize("htmx", [False, True])
@pytest.mark.parametrize(
    ("said", "name", "sentence"),
    [
        (ROWS | {"column_1": "designator"}, "column.1", "“Bauteil” is the designator already"),
        (ROWS | {"column_0": ""}, "columns", "No column is the designator yet, and it says where each part sits."),
        (ROWS | {"column_1": HOSTILE}, "column.1", "is no field. It is one of: designator, kind"),
    ],
)
def test_bad_choices_are_told_beside_their_column(
    client: TestClient, app: FastAPI, said: dict[str, str], name: str, sentence: str, htmx: bool
) -> None:
    """What else was chosen stays, and so does the list."""
    before = stored(app)

    answer = look(client, htmx=htmx, **said)

    assert answer.status_code == 422
    assert ("<!doctype" in answer.text.lower()) != htmx
    assert sentence in message_beside(answer, name)
    assert typed_in(answer, "column.3") == "kind"
    assert typed_in(answer, "text") == GERMAN
    assert "<script>alert" not in answer.text
    assert stored(app) == before
    assert_sound(answer)


def test_bad_choices_cannot_be_stored(client: TestClient, app: FastAPI) -> None:
    """Though someone sends them past the step."""
    looked = look(client)
    before = stored(app)

    answer = press(client, looked, IMPORT, "store", column_1="designator")

    assert answer.status_code == 422
    assert COLUMNS in words_of(answer)
    assert stored(app) == before


def test_what_was_looked_at_is_what_is_stored(client: TestClient) -> None:
    """Though the matching was changed by someone else meanwhile."""
    looked = look(client)
    other = "Bauteil;Wert;Menge;Art\nR9;1;1;x\n"
    take_in(client, look(client, other, column_0="designator", column_1="note"))

    take_in(client, looked)

    page = client.get("/machines/TM-03/boards/main-board")
    assert "4,7 kΩ" in words_of(page)


def test_going_back_keeps_what_was_chosen(client: TestClient) -> None:
    """For the same headings, with other rows under them."""
    back = press(client, look(client), IMPORT, "back")
    assert typed_in(back, "text") == GERMAN

    again = press(client, back, IMPORT, "look", text=GERMAN + "R7;1 kΩ;1;resistor\n")

    assert ["R7", "resistor", "1 kΩ"] in [row[:3] for row in rows_of(again)]


def test_what_was_chosen_for_other_headings_is_dropped(client: TestClient) -> None:
    back = press(client, look(client), IMPORT, "back")

    again = press(client, back, IMPORT, "look", text="Wert;Bauteil;Preis\n1 kΩ;R1;1\n")

    assert COLUMNS in words_of(again)
    assert [typed_in(again, f"column.{place}") for place in range(3)] == ["", "", ""]


def test_the_line_of_the_headings_can_be_chosen(client: TestClient) -> None:
    text = "a;b;c\n1;2;3\nBauteil;Wert;Menge\nR1;1 kΩ;2\n"
    asked = send(client, text)
    assert options_of(asked, IMPORT, "heading_line") == {
        "1": "a · b · c",
        "2": "1 · 2 · 3",
        "3": "Bauteil · Wert · Menge",
    }

    asked = press(client, asked, IMPORT, "columns", heading_line="3")
    assert [field.label for field in form_of(asked, IMPORT).fields() if field.name.startswith("column.")] == [
        "Bauteil",
        "Wert",
        "Menge",
    ]

    looked = press(client, asked, IMPORT, "match", column_0="designator", column_1="value")
    assert [row[:3] for row in rows_of(looked)] == [["R1", "resistor", "1 kΩ"]]
    assert "1 rows onto" in words_of(take_in(client, looked))


@pytest.mark.parametrize("line", ["99", "5", "-1", "x", "9" * 40, HOSTILE])
def test_a_line_that_is_none_is_passed_over(client: TestClient, line: str) -> None:
    asked = press(client, send(client, GERMAN), IMPORT, "columns", heading_line=line)

    assert asked.status_code == 200
    assert typed_in(asked, "heading_line") == "1"
    assert_sound(asked)


def test_a_column_headed_by_nothing_is_asked_about_where_it_holds_anything(client: TestClient) -> None:
    asked = send(client, "ref,,value,\nR1,x,1 kΩ,\n")

    labels = [field.label for field in form_of(asked, IMPORT).fields() if field.type == "select"]
    assert labels[:3] == ["ref", "Column 2, without a heading", "value"]
    assert rows_of(press(client, asked, IMPORT, "match", column_1="marking"))[-1][0] == "R1"


# ---- Workbooks ----


def hidden(data: bytes, *names: str) -> bytes:
    book = openpyxl.load_workbook(io.BytesIO(data))
    for name in names:
        book[name].sheet_state = "hidden"
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


SHEETS = workbook(
    ("Cover", [["Everything on this board"], ["see the next sheet"]]),
    ("Main", [["Ref", "Value"], ["R1", "330 Ω"]]),
    ("Supply", [["Bauteil", "Wert"], ["C1", "1 µF"]]),
    ("Old", [["Ref", "Value"], ["R9", "1 Ω"]]),
)


def test_another_sheet_of_a_workbook_can_be_taken(client: TestClient) -> None:
    """Without choosing the file again; and the first one after it."""
    looked = send(client, file=hidden(SHEETS, "Old"))
    assert "Read from the sheet “Main” of the workbook. Left out: Cover, Supply, Old (hidden)." in words_of(looked)
    assert list(options_of(looked, IMPORT, "sheet_wanted").values()) == ["Cover", "Supply", "Old"]

    asked = press(client, looked, IMPORT, "sheet", sheet_wanted="1")
    assert "Read from the sheet “Supply”" in words_of(asked)
    assert list(options_of(asked, IMPORT, "sheet_wanted").values()) == ["Cover", "Main", "Old"]

    matched = press(client, asked, IMPORT, "match", column_0="designator", column_1="value")
    assert "Read from the sheet “Supply”" in words_of(matched)
    assert [row[:3] for row in rows_of(matched)] == [["C1", "capacitor", "1 µF"]]
    back = press(client, matched, IMPORT, "sheet", sheet_wanted="1")
    assert [row[:3] for row in rows_of(back)] == [["R1", "resistor", "330 Ω"]]
    for page in (looked, asked, matched, back):
        assert_sound(page)


@pytest.mark.parametrize("wanted", ["", "9", "-1", HOSTILE])
def test_a_sheet_that_is_none_is_passed_over(client: TestClient, wanted: str) -> None:
    looked = send(client, file=SHEETS)

    assert rows_of(press(client, looked, IMPORT, "sheet", sheet_wanted=wanted)) == rows_of(looked)


def test_sheets_that_are_too_large_to_go_along_are_named_alone(client: TestClient) -> None:
    big = workbook(("Main", [["Ref", "Value"], ["R1", "330 Ω"]]), ("Big", [["x" * 30_000] * 20] * 9))

    looked = send(client, file=big)

    assert "Left out: Big." in words_of(looked)
    assert 'name="sheet_wanted"' not in looked.text
    assert len(looked.text) < 100_000


def test_hostile_names_and_cells_of_sheets_stay_text(client: TestClient) -> None:
    cell = "<script>alert(1)</script></textarea>"
    data = workbook(("<b>", [["Ref", cell], ["R1", cell]]), ("<i>", [["Ref"], [cell]]))

    asked = send(client, file=data)

    assert "<script>alert" not in asked.text
    assert_sound(asked)
    assert_sound(press(client, asked, IMPORT, "sheet", sheet_wanted="0"))


def test_no_htmx_is_needed_for_any_step(client: TestClient) -> None:
    """Each step is a form that posts to its own address."""
    asked = send(client, GERMAN)

    assert form_of(asked, IMPORT).method == "post"
    assert form_of(asked, IMPORT).action.endswith(IMPORT)
    assert HTMX == {"HX-Request": "true"}
    assert set(form_of(asked, IMPORT).buttons) == {
        "Look at the rows",
        "Go back and change the list",
        "Read the headings there",
    }
