"""A parts list is looked at row by row before anything is stored, and goes in whole while its page shows how far."""

import re
import time

import pytest
from fastapi import FastAPI
from httpx2 import Response
from sqlmodel import func, select
from starlette.testclient import TestClient

from server.pages.jobs import Job, Jobs, jobs_of
from server.records.errors import Invalid
from server.records.tables import JournalEntry, Position
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
from tests.pages.taking import COLUMNS, press
from tests.records.test_list_workbook import workbook

IMPORT = "/machines/TM-03/parts/import"
LIST = "value;ref;price;origin\n330 Ω;R1;0.02;original\n470 Ω;R2;0.02;maybe\n74LS00;U1;;original\n"


@pytest.fixture(autouse=True)
def board(client: TestClient) -> str:
    return set_up(client)


def send(
    client: TestClient,
    text: str = "",
    *,
    do: str = "look",
    file: bytes | None = None,
    htmx: bool = False,
    board: str = "main-board",
    good: str = "",
) -> Response:
    files = {"file": ("list.csv", file, "text/csv")} if file is not None else {"none": ("", b"")}
    typed = {"board": board, "text": text, "do": do, "good": good}
    return client.post(IMPORT, data=typed, files=files, headers=HTMX if htmx else {}, follow_redirects=False)


def look(client: TestClient, text: str = "", *, file: bytes | None = None, htmx: bool = False) -> Response:
    """The rows of a list with columns that no field is called by: they are left out."""
    asked = send(client, text, file=file, htmx=htmx)
    assert COLUMNS in words_of(asked)
    return press(client, asked, IMPORT, "match", htmx=htmx)


def store(client: TestClient, looked: Response, *, htmx: bool = False) -> Response:
    return press(client, looked, IMPORT, "store", htmx=htmx)


def stored(app: FastAPI) -> tuple[int, int]:
    with app.state.store.reading() as session:
        entries = session.exec(select(func.count()).select_from(JournalEntry)).one()
        positions = session.exec(select(func.count()).select_from(Position)).one()
        return entries, positions


def await_job(client: TestClient, address: str) -> Response:
    for _ in range(600):
        page = client.get(address)
        if 'http-equiv="refresh"' not in page.text:
            return page
        time.sleep(0.05)
    raise AssertionError("the job does not end")


def test_the_form_says_what_it_takes(client: TestClient) -> None:
    page = client.get(f"{IMPORT}?board=main-board")

    assert "up to 5 MB" in words_of(page)
    assert typed_in(page, "board") == "main-board"
    assert 'enctype="multipart/form-data"' in page.text
    assert_sound(page)


@pytest.mark.parametrize("htmx", [False, True])
def test_a_list_is_shown_as_it_was_understood_and_nothing_is_stored(
    client: TestClient, app: FastAPI, htmx: bool
) -> None:
    before = stored(app)

    answer = look(client, LIST, htmx=htmx)

    words = words_of(answer)
    assert answer.status_code == 200
    assert ("<!doctype" in answer.text.lower()) != htmx
    assert "2 rows can be stored; 1 cannot. Nothing is stored yet." in words
    assert "Semicolons stand between the columns. Left out: price." in words
    assert (
        "In 1 row the value was taken as the type, because it is no quantity with a unit: “74LS00” in line 4." in words
    )
    assert rows_of(answer) == [
        ["3", "R2", "Origin: “maybe” is none of: original, period, later, new, unknown."],
        ["R1", "resistor", "330 Ω", "–", "–", "original", "soldered"],
        ["U1", "chip", "74LS00", "–", "–", "original", "soldered"],
    ]
    assert (typed_in(answer, "text"), typed_in(answer, "good"), typed_in(answer, "board")) == (LIST, "2", "main-board")
    assert stored(app) == before
    assert_sound(answer)


def test_an_uploaded_file_goes_before_pasted_text_and_says_its_encoding(client: TestClient) -> None:
    answer = send(client, "ref\nU9\n", file="ref;value\r\nC1;4,7 µF\r\n".encode("cp1252"))

    assert [row[0] for row in rows_of(answer)] == ["C1"]
    assert "read as Windows-1252" in words_of(answer)
    assert typed_in(answer, "text") == "ref;value\nC1;4,7 µF\n"


@pytest.mark.parametrize("htmx", [False, True])
def test_the_good_rows_are_stored_and_the_bad_ones_left_out(
    client: TestClient, app: FastAPI, board: str, htmx: bool
) -> None:
    answer = store(client, look(client, LIST, htmx=htmx), htmx=htmx)

    page = await_job(client, address_of(answer))
    assert "Entered a parts list of 2 rows onto Main board of TM-03." in words_of(page)
    assert f'href="{board}"' in page.text
    assert [row[:2] for row in rows_of(client.get(board))] == [["R1", "330 Ω"], ["U1", "74LS00"]]
    assert stored(app) == (3, 2)
    assert_sound(page)


def test_going_back_keeps_the_text(client: TestClient, app: FastAPI) -> None:
    before = stored(app)

    answer = send(client, LIST, do="back", good="2")

    assert answer.status_code == 200
    assert typed_in(answer, "text") == LIST
    assert typed_in(answer, "board") == "main-board"
    assert stored(app) == before
    assert_sound(answer)


def test_a_board_that_changed_since_is_looked_at_again(client: TestClient, app: FastAPI) -> None:
    """A row that was good is occupied now: storing fewer than were promised is asked about first."""
    looked = look(client, LIST)
    enter_part(client, "R1", value="1 kΩ")
    before = stored(app)

    answer = store(client, looked)

    assert answer.status_code == 409
    assert "The board has changed since you looked" in words_of(answer)
    assert ["2", "R1", "R1 holds a part already."] in rows_of(answer)
    assert typed_in(answer, "good") == "1"
    assert stored(app) == before
    assert_sound(answer)


def test_a_list_without_one_good_row_cannot_be_stored(client: TestClient, app: FastAPI) -> None:
    before = stored(app)

    looked = send(client, "ref,origin\nR1,maybe\n")
    forced = send(client, "ref,origin\nR1,maybe\n", do="store", good="0")

    assert looked.status_code == 422
    assert 'value="store"' not in looked.text
    assert forced.status_code == 409
    assert stored(app) == before


@pytest.mark.parametrize("htmx", [False, True])
@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "There is no list here."),
        ("what is this", "no row under it"),
        ("ref,value\n", "no row under it"),
        ('ref,note\nR1,"open\nR2,\n', "a quotation mark opens"),
        ("ref,note\nR1,a\x00b\n", "Line 2 holds a character that is no text."),
    ],
)
def test_a_list_that_cannot_be_read_comes_back_with_its_reason(
    client: TestClient, text: str, said: str, htmx: bool
) -> None:
    answer = send(client, text, htmx=htmx)

    assert answer.status_code == 422
    assert ("<!doctype" in answer.text.lower()) != htmx
    assert said in message_beside(answer, "text")
    assert typed_in(answer, "text") == text
    assert_sound(answer)


@pytest.mark.parametrize(
    ("file", "said"),
    [
        (b"PK\x03\x04" + b"\0" * 100, "save the sheet as CSV"),
        (bytes(range(256)) * 10, "not text"),
        (b"ref,value\nR1,\x00\n", "not text"),
        (b"\xff\xfeR\x00\x00\xd8", "damaged on its way"),
    ],
)
def test_a_file_that_is_no_list_is_refused_beside_its_field(
    client: TestClient, app: FastAPI, file: bytes, said: str
) -> None:
    before = stored(app)

    answer = send(client, "ref\nkept\n", file=file)

    assert answer.status_code == 422
    assert said in message_beside(answer, "file")
    assert typed_in(answer, "text") == "ref\nkept\n"
    assert stored(app) == before


def test_an_upload_over_the_limit_is_refused_beside_its_field(client: TestClient, app: FastAPI) -> None:
    before = stored(app)

    answer = send(client, "ref\nkept\n", file=b"R1,330\n" * 7_200_000)

    assert answer.status_code == 422
    assert "The file is larger than 5 MB" in message_beside(answer, "file")
    assert typed_in(answer, "text") == "ref\nkept\n"
    assert stored(app) == before


@pytest.mark.parametrize("size", [5_000_001, 30_000_000])
def test_pasted_text_over_the_limit_is_refused_beside_its_field(client: TestClient, size: int) -> None:
    answer = send(client, "x" * size)

    assert answer.status_code == 422
    assert "The pasted text is larger than 5 MB" in message_beside(answer, "text")


def test_a_body_over_the_server_s_limit_is_refused(client: TestClient, app: FastAPI) -> None:
    before = stored(app)

    answer = send(client, file=b"x" * 100_500_000)

    assert answer.status_code == 413
    assert "Nothing was stored" in answer.text
    assert stored(app) == before


def test_a_form_that_is_none_is_refused(client: TestClient) -> None:
    """A broken request is not blamed on the list."""
    answer = client.post(IMPORT, content=b"--x\r\nbroken", headers={"content-type": "multipart/form-data"})

    assert answer.status_code == 400
    assert "does not have the form this page expects" in words_of(answer)


@pytest.mark.parametrize("named", ["", "no-board", "a\0b", "../main-board"])
def test_a_board_that_is_not_there_is_refused_beside_its_field(client: TestClient, named: str) -> None:
    answer = send(client, LIST, board=named)

    assert answer.status_code == 422
    assert "Choose one of the boards of TM-03." in message_beside(answer, "board")
    assert typed_in(answer, "text") == LIST


def test_many_bad_rows_are_counted_and_the_first_are_shown(client: TestClient) -> None:
    answer = send(client, "ref,origin\n" + "".join(f"R{number},maybe\n" for number in range(5000)))

    assert answer.status_code == 422
    assert "The first 200 of 5,000." in words_of(answer)
    assert len(rows_of(answer)) == 200
    assert len(answer.text) < 400_000


def test_many_columns_are_counted_and_the_first_are_named(client: TestClient) -> None:
    text = "ref," + ",".join(f"column {number}" for number in range(5000)) + "\nR1\n"

    asked = send(client, text)
    answer = press(client, asked, IMPORT, "match")

    assert "4,801 more columns stand further right; they are left out." in words_of(asked)
    assert answer.status_code == 200
    assert "column 19 and 4980 more" in words_of(answer)


def test_hostile_text_in_every_cell_is_shown_as_text(client: TestClient, board: str) -> None:
    cell = '"' + HOSTILE.replace('"', '""') + '"'
    names = ["type", "marking", "value", "rating", "maker", "date code", "condition", "pedigree", "note", cell]
    text = ",".join(["ref", *names]) + "\n" + ",".join(["U1", *[cell] * 10]) + f"\n{cell},bad\nU2,{cell}\n"

    asked = send(client, text)
    looked = press(client, asked, IMPORT, "match")

    for page in (asked, looked):
        assert "<script>alert" not in page.text
        assert_sound(page)
    assert "1 row can be stored; 2 cannot." in words_of(looked)
    assert typed_in(looked, "text") == text
    await_job(client, address_of(store(client, looked)))
    assert "<script>alert" not in client.get(board).text


@pytest.mark.parametrize(
    "text", ["\n\nref\nU1\n", "ref,note\nU1,</textarea><b>\n", "ref,type\nU1,\ufffe\x0b\x85\u2028é\n"]
)
def test_the_text_survives_the_page_that_carries_it(client: TestClient, text: str) -> None:
    """What the hidden field holds is what was sent, so that what was looked at is what is stored."""
    looked = send(client, text)

    assert typed_in(looked, "text") == text


def test_five_thousand_rows_are_looked_at_and_stored(client: TestClient, app: FastAPI, board: str) -> None:
    lines = (f"R{n},{n % 900 + 1} kΩ ±5 %,carbon film,8342,XYZ,original" for n in range(1, 5001))
    text = "ref,value,type,date code,maker,origin\n" + "\n".join(lines) + "\n"

    looked = send(client, file=text.encode())
    job = address_of(send(client, typed_in(looked, "text"), do="store", good="5000"))

    assert "5,000 rows can be stored; 0 cannot." in words_of(looked)
    assert "Entered a parts list of 5,000 rows" in words_of(await_job(client, job))
    assert stored(app) == (3, 5000)
    assert "5,000 positions" in words_of(client.get(board))


# --- the job's page -----------------------------------------------------------------------------------------------


def started(app: FastAPI, job: Job) -> str:
    """A job that is known and does not go on by itself."""
    jobs_of(app)._known[job.key] = job
    return f"/jobs/{job.key}"


def test_a_running_job_asks_to_be_looked_at_again(client: TestClient, app: FastAPI) -> None:
    """By a refresh without a script, by polling with one; and says how far it is."""
    job = Job("Entering", ("/", "On"), ("/", "Back"))
    address = started(app, job)

    beginning = client.get(address)
    job.heard(500, 5000)
    half = client.get(address, headers=HTMX)
    job.heard(5000, 5000)
    writing = client.get(address)

    assert '<noscript><meta http-equiv="refresh" content="5"></noscript>' in beginning.text
    assert beginning.headers["cache-control"] == "no-store"
    assert f'hx-get="{address}" hx-trigger="every 1s"' in half.text
    assert "<!doctype" not in half.text.lower()
    assert '<progress id="job-progress" max="5000" value="500">' in half.text
    assert "500 of 5,000" in words_of(half)
    assert "finishing" in words_of(writing)
    for page in (beginning, writing):
        assert_sound(page)


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        (Invalid({"rows": "Row 2 (R1): R1 holds a part already."}), "R1 holds a part already."),
        (RuntimeError("secret detail"), "The fault is the program's, not yours."),
    ],
)
def test_a_job_that_fails_says_so_in_words(client: TestClient, app: FastAPI, fault: Exception, said: str) -> None:
    def act(_: object) -> str:
        raise fault

    job = jobs_of(app).start(Job("Entering", ("/on", "On"), ("/back", "Back to the list")), act)

    page = await_job(client, f"/jobs/{job.key}")
    words = words_of(page)
    assert said in words
    assert "Nothing was stored." in words
    assert "secret" not in page.text
    assert 'href="/back"' in page.text
    assert "hx-trigger" not in page.text
    assert_sound(page)


def test_a_job_that_is_not_known_is_not_found(client: TestClient) -> None:
    answer = client.get("/jobs/unknown")

    assert answer.status_code == 404
    assert "What it wrote is in the journal." in words_of(answer)
    assert_sound(answer)


def test_only_the_latest_jobs_are_remembered() -> None:
    jobs = Jobs()
    done = [jobs.start(Job(str(number), ("", ""), ("", "")), _nothing) for number in range(250)]
    while any(job.state == "running" for job in done):
        time.sleep(0.01)

    last = jobs.start(Job("last", ("", ""), ("", "")), _nothing)

    assert jobs.find(last.key)
    assert jobs.find(done[0].key) is None
    assert re.fullmatch(r"[\w-]{12}", last.key)


def _nothing(_: object) -> str:
    raise Invalid({"": "nothing to do"})


def test_a_workbook_is_read_from_its_sheet(client: TestClient) -> None:
    """And it is said which sheet that was."""
    answer = send(client, file=workbook(("Cover", []), ("Parts", [["Ref", "Value"], ["R1", "330 Ω"]])))

    assert answer.status_code == 200
    assert "Read from the sheet “Parts” of the workbook." in words_of(answer)
    assert ["R1", "resistor", "330 Ω"] in [row[:3] for row in rows_of(answer)]
