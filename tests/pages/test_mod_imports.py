"""A list of mods is looked at mod by mod before anything is stored, and goes in whole while its page shows how far."""

import re
from collections.abc import Callable
from datetime import datetime
from typing import Any

import pytest
from fastapi import FastAPI
from httpx2 import Response
from sqlalchemy import event
from sqlmodel import func, select
from starlette.testclient import TestClient

from server.records import list_workbook
from server.records.tables import JournalEntry, Mod, Placement, Step
from tests.pages.benchwork import (
    HOSTILE,
    HTMX,
    address_of,
    assert_sound,
    enter_part,
    message_beside,
    rows_of,
    set_up,
    typed_in,
    words_of,
)
from tests.pages.taking import COLUMNS, options_of, press
from tests.pages.test_imports import await_job
from tests.records.test_list_workbook import SHEET, made, rewritten, workbook

BASE = "/machines/TM-03"
IMPORT = f"{BASE}/mods/import"
LIST = (
    "no;title;state;day;by;purpose;hazards;board;ref;act;step;done on\n"
    "1;Quieter fan;done;12.3.2019;Ida;It hums;mains;;;;;\n"
    "2;Link;done;2019-05-02;Ida;It hangs;esd;Main board;R1;add link;To ground;2019-05-01\n"
    "2;;;;;;;;R1;take out;The pull-up;2019-05-01\n"
    "3;New fuse;idea;2020-05-01;;;;;;;;\n"
    "4;Bad one;gone;;;;;;;;;\n"
)


@pytest.fixture(autouse=True)
def board(client: TestClient) -> str:
    address = set_up(client)
    enter_part(client, "R1", value="1 kΩ")
    return address


def send(
    client: TestClient, text: str = "", *, htmx: bool = False, file: bytes | None = None, **typed: Any
) -> Response:
    files = {"file": ("list.csv", file, "text/csv")} if file is not None else {"none": ("", b"")}
    sent = {"text": text, "do": "look", "signer": "Ada Wren", "day": "", **typed}
    return client.post(IMPORT, data=sent, files=files, headers=HTMX if htmx else {}, follow_redirects=False)


def store(client: TestClient, looked: Response, *, htmx: bool = False) -> Response:
    return await_job(client, address_of(press(client, looked, IMPORT, "store", htmx=htmx)))


def stored(app: FastAPI) -> tuple[int, ...]:
    with app.state.store.reading() as session:
        tables = (JournalEntry.seq, Mod.id, Step.id, Placement.id)
        return tuple(session.exec(select(func.count()).select_from(one.class_)).one() for one in tables)  # type: ignore[union-attr]


@pytest.mark.parametrize("page", [f"{BASE}/mods", IMPORT])
def test_the_way_to_it_and_what_it_takes(client: TestClient, page: str) -> None:
    """Beside “Write down a mod”."""
    answer = client.get(page)

    assert answer.status_code == 200
    assert "Enter a list of mods" in words_of(answer)
    assert_sound(answer)
    if page == IMPORT:
        assert typed_in(answer, "signer") == "Test keeper"
        assert "up to 5 MB" in words_of(answer)


@pytest.mark.parametrize("htmx", [False, True])
def test_a_list_is_shown_as_it_was_understood_and_nothing_is_stored(
    client: TestClient, app: FastAPI, htmx: bool
) -> None:
    before = stored(app)

    answer = send(client, LIST, htmx=htmx)

    words = words_of(answer)
    assert answer.status_code == 200
    assert ("<!doctype" in answer.text.lower()) != htmx
    assert "3 mods can be stored; 1 line cannot. Nothing is stored yet." in words
    assert "2 mods come in as they are called, with what was done described and not recorded step by step." in words
    assert (
        "1 step takes a part out or fits one; it comes in as described. Parts stay where the record has them." in words
    )
    assert rows_of(answer) == [
        ["6", "Bad one", "State: “gone” is none of: considered, planned, fitted, undone, dropped."],
        ["Quieter fan", "fitted", "2019-03-12", "Ida", "It hums", "mains inside", "–"],
        ["Link", "fitted", "2019-05-02", "Ida", "It hangs", "static", "2, 1 recorded as done"],
        ["New fuse", "considered", "2020-05-01", "Ada Wren", "–", "–", "–"],
    ]
    assert stored(app) == before
    assert_sound(answer)


@pytest.mark.parametrize("htmx", [False, True])
def test_the_good_mods_are_stored_and_the_bad_ones_left_out(client: TestClient, app: FastAPI, htmx: bool) -> None:
    """In one entry; no part moves."""
    entries, mods, steps, placements = stored(app)

    page = store(client, send(client, LIST, htmx=htmx), htmx=htmx)

    assert "Entered a list of 3 mods, 1 to 3, of TM-03." in words_of(page)
    assert f'href="{BASE}/mods"' in page.text
    assert stored(app) == (entries + 1, mods + 3, steps + 2, placements)
    assert_sound(page)


def test_what_came_in_says_what_is_recorded_and_what_is_not(client: TestClient) -> None:
    """On the mod's page, on the way back, and on the sheet that goes to a buyer."""
    store(client, send(client, LIST))

    mod, back, sheet = (client.get(f"{BASE}{page}") for page in ("/mods/2", "/way-back", "/sheet"))
    bare = client.get(f"{BASE}/mods/1")

    assert "Next: carry out step 2 with the day on which it was done; then it is in the way back." in words_of(mod)
    assert "In the list that this comes from it is done on 2019-05-01." in words_of(mod)
    assert "Next: write the steps that were done" in words_of(bare)
    assert "Mod 1, Quieter fan, is fitted, and not all that was done for it is recorded" in words_of(back)
    assert "take the link off" in words_of(back)
    assert "Quieter fan" in words_of(sheet)
    assert "Mod 1 is fitted, and what was done for it is not written down: its way back is not known." in words_of(
        sheet
    )
    assert "Mod 2 is fitted, and 1 step of it is not recorded as done: no way back has it." in words_of(sheet)
    for page in (mod, bare, back, sheet):
        assert_sound(page)
    assert client.get(f"{BASE}/sheet.pdf").content.startswith(b"%PDF-")
    assert client.get(f"/api/v1{BASE}").json()["mods"][0]["state"] == "fitted"


def test_what_is_there_already_is_told_and_not_repeated(client: TestClient, app: FastAPI) -> None:
    good = LIST.replace("4;Bad one;gone;;;;;;;;;\n", "")
    store(client, send(client, good))
    before = stored(app)

    again = send(client, good)
    more = send(client, good + "5;Louder;planned;2020-01-01;;;;;;;;\n")

    assert again.status_code == 200
    assert "0 mods can be stored; 0 lines cannot; 3 mods are there already." in words_of(again)
    assert 'value="store"' not in again.text
    assert f'<a href="{BASE}/mods/2">Mod 2</a>, Link' in again.text
    assert "Store the 1 new mod" in words_of(more)
    assert "Entered a list of one mod, 4, of TM-03." in words_of(store(client, more))
    assert stored(app)[:2] == (before[0] + 1, before[1] + 1)
    assert_sound(again)


def test_a_machine_that_changed_since_is_looked_at_again(client: TestClient, app: FastAPI) -> None:
    looked = send(client, LIST)
    store(client, send(client, LIST))
    before = stored(app)

    answer = press(client, looked, IMPORT, "store")

    assert answer.status_code == 409
    assert "The machine has changed since you looked" in words_of(answer)
    assert stored(app) == before
    assert_sound(answer)


def test_the_day_and_the_signer_of_the_form_count_for_mods_without(client: TestClient) -> None:
    looked = send(client, "title,state\nA,planned\nB,done\n", day="2020-02-03", signer="Ida Quern")

    assert [row[2:4] for row in rows_of(looked)] == [["2020-02-03", "Ida Quern"]] * 2
    assert "2 mods have no day of their own: 2020-02-03 counts for them." in words_of(looked)
    store(client, looked)
    assert "planned since 2020-02-03, signed Ida Quern" in words_of(client.get(f"{BASE}/mods/1"))


@pytest.mark.parametrize("htmx", [False, True])
@pytest.mark.parametrize(
    ("typed", "field", "said"),
    [
        ({"text": ""}, "text", "There is no list here."),
        ({"text": "title\n"}, "text", "no row under it"),
        ({"text": "title,note\nA,a\x00b\n"}, "text", "Line 2 holds a character that is no text."),
        ({"text": 'title,note\nA,"open\nB,\n'}, "text", "a quotation mark opens"),
        (
            {"text": "title,note\nA,b\n" + "x" * 140_000 + "\n"},
            "text",
            "Line 3 holds a cell of more than 131,072 characters.",
        ),
        ({"text": "title\nA\n", "day": "2019-02-30"}, "day", "There is no day 2019-02-30"),
        ({"text": "title\nA\n", "signer": "x" * 301}, "signer", "This is 301 characters long"),
    ],
)
def test_what_cannot_be_read_comes_back_with_its_reason(
    client: TestClient, app: FastAPI, typed: dict[str, Any], field: str, said: str, htmx: bool
) -> None:
    before = stored(app)

    answer = send(client, htmx=htmx, **typed)

    assert answer.status_code == 422
    assert ("<!doctype" in answer.text.lower()) != htmx
    assert said in message_beside(answer, field)
    assert typed_in(answer, "text") == typed["text"]
    assert stored(app) == before
    assert_sound(answer)


def test_a_list_without_one_good_mod_is_refused(client: TestClient, app: FastAPI) -> None:
    before = stored(app)

    looked = send(client, "title,state\nA,gone\n")
    forced = send(client, "title,state\nA,gone\n", do="store", good="0")

    assert looked.status_code == 422
    assert 'value="store"' not in looked.text
    assert forced.status_code == 409
    assert stored(app) == before


def test_columns_are_matched_by_hand_and_remembered_for_mods(client: TestClient) -> None:
    """For mods alone: a parts list with these headings is asked about."""
    text = "Umbau;Stand;Tag\nLüfter;done;2019-03-12\n"
    asked = send(client, text)
    assert COLUMNS in words_of(asked)
    assert options_of(asked, IMPORT, "column.0")["instruction"] == "how a step is done"
    wrong = press(client, asked, IMPORT, "match")
    assert wrong.status_code == 422
    assert "No column is the title yet" in message_beside(wrong, "columns")

    looked = press(client, wrong, IMPORT, "match", column_0="title", column_1="state", column_2="day")
    assert rows_of(looked) == [["Lüfter", "fitted", "2019-03-12", "Ada Wren", "–", "–", "–"]]
    assert "is remembered" in words_of(store(client, looked))

    again = send(client, text.replace("Lüfter", "Sicherung"))
    assert re.search(r"Columns matched as on \d{4}-\d\d-\d\d;", words_of(again))
    parts = client.post(f"{BASE}/parts/import", data={"board": "main-board", "text": text, "do": "look"})
    assert COLUMNS in words_of(parts)


def test_the_list_of_mods_that_was_taken_out_comes_in_again(client: TestClient, app: FastAPI) -> None:
    """There already here; the same on another machine."""
    store(client, send(client, LIST))
    set_up(client, "TM-04")
    content = client.get(f"{BASE}/lists/mods.csv").content

    here = send(client, file=content)
    there = client.post(
        "/machines/TM-04/mods/import", data={"do": "look"}, files={"file": ("mods.csv", content, "text/csv")}
    )

    assert "0 mods can be stored; 0 lines cannot; 3 mods are there already." in words_of(here)
    assert "3 mods can be stored; 0 lines cannot. Nothing is stored yet." in words_of(there)
    await_job(client, address_of(press(client, there, "/machines/TM-04/mods/import", "store")))
    taken = client.get("/machines/TM-04/lists/mods.csv").content
    assert taken == content
    assert stored(app)[1] == 6


# ---- Bad files ----


@pytest.mark.parametrize(
    ("encoding", "said"),
    [
        ("utf-8-sig", ""),
        ("utf-16", ""),
        ("cp1252", "The file is not in UTF-8; it was read as Windows-1252."),
    ],
)
def test_other_encodings_are_read_and_said(client: TestClient, encoding: str, said: str) -> None:
    answer = send(client, file="title;purpose\nLüfter;±5 °C\n".encode(encoding), day="2020-01-02")

    assert rows_of(answer) == [["Lüfter", "considered", "2020-01-02", "Ada Wren", "±5 °C", "–", "–"]]
    assert said in words_of(answer)
    assert ("not in UTF-8" in words_of(answer)) == bool(said)


@pytest.mark.parametrize(
    ("file", "said"),
    [
        (b"PK\x03\x04" + b"\0" * 100, "damaged"),
        (bytes(range(256)) * 10, "not text"),
        (b"%PDF-1.7", "This is a PDF."),
        (b"\xff\xfeR\x00\x00\xd8", "damaged on its way"),
        (workbook(("Empty", [])), "no sheet with anything in it"),
    ],
)
def test_a_file_that_is_no_list_is_refused_beside_its_field(
    client: TestClient, app: FastAPI, file: bytes, said: str
) -> None:
    before = stored(app)

    answer = send(client, "title\nkept\n", file=file)

    assert answer.status_code == 422
    assert said in message_beside(answer, "file")
    assert typed_in(answer, "text") == "title\nkept\n"
    assert typed_in(answer, "signer") == "Ada Wren"
    assert stored(app) == before


def test_a_workbook_that_unpacks_without_end_is_refused(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(list_workbook, "UNPACKED_MOST", 100_000)
    bomb = rewritten(workbook(("Mods", [["Title"], ["A"]])), SHEET, b"<a>" + b" " * 200_000 + b"</a>")

    answer = send(client, file=bomb)

    assert answer.status_code == 422
    assert "unpacks to more than" in message_beside(answer, "file")


def test_a_workbook_of_a_keeper_s_own_is_read(client: TestClient) -> None:
    """Days as days, a merged title for each of its steps, empty rows, a sheet out of sight."""
    rows: list[list[Any]] = [
        ["Mods of the Merle", None, None, None],
        [None, None, None, None],
        ["Title", "State", "Day", "Step"],
        ["Faster clock", "done", datetime(2019, 3, 12), "Cut"],  # noqa: DTZ001 (cells know no time zone)
        [None, None, None, "Link"],
        [None, None, None, None],
        ["New fuse", "idea", "1 May 2020", None],
    ]
    data = made(merged=("A4:A5",), hidden=("Draft",), Mods=rows, Draft=[["Title"], ["Never mind"]])

    answer = send(client, file=data)

    assert [row[:3] + row[-1:] for row in rows_of(answer)] == [
        ["Faster clock", "fitted", "2019-03-12", "2"],
        ["New fuse", "considered", "2020-05-01", "–"],
    ]
    assert "Left out: Draft (hidden). A merged cell was taken for each row that it spans." in words_of(answer)


def test_hostile_text_in_every_cell_is_shown_as_text(client: TestClient) -> None:
    cell = '"' + HOSTILE.replace('"', '""') + '"'
    names = ["title", "purpose", "reasoning", "outcome", "signer", "step", "type to fit", "pin"]
    text = ",".join([*names, "day"]) + "\n" + ",".join([cell] * len(names)) + ",2020-01-01\n"
    text += f"Bad,{','.join([cell] * (len(names) - 1))},{cell}\n"

    looked = send(client, text)

    assert "<script>alert" not in looked.text
    assert "1 mod can be stored; 1 line cannot." in words_of(looked)
    assert_sound(looked)
    store(client, looked)
    for page in ("/mods", "/mods/1", "/history", "/sheet"):
        assert "<script>alert" not in client.get(f"{BASE}{page}").text


def test_ten_thousand_lines_are_looked_at_and_stored(client: TestClient, app: FastAPI) -> None:
    text = "title,state,day\n" + "".join(f"Mod {number},planned,2020-01-02\n" for number in range(10_000))

    looked = send(client, file=text.encode())

    assert "10,000 mods can be stored; 0 lines cannot." in words_of(looked)
    assert "Entered a list of 10,000 mods, 1 to 10000, of TM-03." in words_of(store(client, looked))
    assert stored(app)[1] == 10_000


def test_many_bad_lines_are_counted_and_the_first_are_shown(client: TestClient) -> None:
    answer = send(client, "title,state\n" + "".join(f"Mod {number},gone\n" for number in range(5000)))

    assert answer.status_code == 422
    assert "The first 200 of 5,000." in words_of(answer)
    assert len(rows_of(answer)) == 200
    assert len(answer.text) < 400_000


# ---- How much it asks ----


@pytest.fixture
def counted(app: FastAPI, client: TestClient) -> Callable[[str], int]:
    """How many statements it takes to look at a list."""
    seen: list[str] = []

    def note(_: object, __: object, statement: str, *___: object) -> None:
        if not statement.startswith("BEGIN"):
            seen.append(statement)

    event.listen(app.state.store.engine, "before_cursor_execute", note)

    def count(text: str) -> int:
        seen.clear()
        assert send(client, text).status_code == 200
        return len(seen)

    return count


def test_a_longer_list_asks_no_more_of_the_record(counted: Callable[[str], int]) -> None:
    """With steps that were done, and others that are there already."""
    heading = "title,state,day,board,ref,act,pin,done on\n"
    line = "Mod {0},done,2020-01-02,Main board,R1,cut trace,{0},2020-01-01\n"

    assert counted(heading + line.format(1)) == counted(heading + "".join(line.format(n) for n in range(1, 60)))
