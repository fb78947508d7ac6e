"""Photographs on the pages of all that they can show: of a step before and after it, and of what has moved since."""

from collections.abc import Sequence

import pytest
from fastapi import FastAPI
from httpx2 import Response
from starlette.testclient import TestClient

from server.pages import photographs as pages
from server.records.commands.board_moves import MoveBoard
from server.records.commands.machines import EnterMachine
from server.records.commands.parts import BagPart, EnterPart
from server.records.commands.steps import DropStep
from server.records.commands.symptoms import NoteSymptom
from server.records.commands.trials import RecordTrial, WriteProcedure
from tests.pages.benchwork import HTMX, address_of, assert_sound, post, set_up, typed_in, words_of
from tests.pages.reading import Page
from tests.pages.reading import words_of as words_in
from tests.pages.walking import faults_of_record
from tests.records.conftest import MAIN, Bench
from tests.records.photographs import jpeg

BASE = "/machines/TM-03"
SYMPTOM = f"{BASE}/symptoms/1"
SEND = f"{BASE}/photographs/on/symptom/1"
FIRST = f"{BASE}/photographs/1"
BOTH_WAYS = pytest.mark.parametrize("htmx", [False, True], ids=["plain", "htmx"])


def send(client: TestClient, files: Sequence[tuple[str, bytes]], to: str, htmx: bool = False, **typed: str) -> Response:
    sent = [("photographs", (name, content, "image/jpeg")) for name, content in files]
    return client.post(to, data=typed, files=sent, headers=HTMX if htmx else {}, follow_redirects=False)


def images(page: Response) -> list[dict[str, str]]:
    return [dict(one.attrib) for one in Page(page.text, "/").document.iter("img")]


STEP = f"{BASE}/photographs/on/step/1/1"


@pytest.fixture
def bench(app: FastAPI, client: TestClient) -> Bench:
    """A symptom, a mod with a step, a trial, and a part at R2."""
    set_up(client)
    bench = Bench(app.state.store)
    bench.do(NoteSymptom, title="Stripes", seen_on="2025-01-10")
    bench.do(EnterPart, board=MAIN, designator="R2", kind="resistor", value="360 Ω", origin="original")
    bench.plan()
    bench.step("take out", "R2")
    bench.do(WriteProcedure, title="Timing")
    bench.do(RecordTrial, procedure="timing", day="2025-02-04", readings="501 503", signer="Tester")
    return bench


@pytest.mark.usefixtures("bench")
@pytest.mark.parametrize(
    ("on", "where"),
    [
        ("machine", BASE),
        ("board/main-board", f"{BASE}/boards/main-board"),
        ("position/main-board/R2", f"{BASE}/boards/main-board/positions/R2"),
        ("part/1", "/parts/1"),
        ("mod/1", f"{BASE}/mods/1"),
        ("trial/1", f"{BASE}/trials/1"),
    ],
)
def test_a_photograph_is_seen_on_the_page_of_what_it_shows(client: TestClient, on: str, where: str) -> None:
    """Of whichever kind; its own page leads there, and a file stands beside it."""
    sent = send(client, [("shot.jpg", jpeg())], to=f"{BASE}/photographs/on/{on}", caption="Seen")
    client.post(f"{BASE}/files/on/{on}", data={"kind": "other"}, files=[("files", ("U7.bin", b"1", "text/html"))])

    assert address_of(sent) == f"{where}#photographs"
    seen, alone, album = client.get(where), client.get(FIRST), client.get(f"{BASE}/photographs/on/{on}")
    assert [one["alt"] for one in images(seen)] == ["Seen"]
    assert "U7.bin: other, 1 byte" in words_of(seen)
    assert f'href="{where}#photographs"' in alone.text
    for one in (seen, alone, album, client.get(f"{BASE}/files/on/{on}"), client.get(f"{BASE}/files/1")):
        assert_sound(one)


@BOTH_WAYS
@pytest.mark.usefixtures("bench")
def test_before_and_after_a_step_stand_side_by_side(client: TestClient, htmx: bool) -> None:
    """On the step's own album, which its mod leads to with how many there are; what is left over stands below."""
    for number, moment in enumerate(("after", "before", "before", ""), 1):
        answer = send(client, [(f"{number}.jpg", jpeg(number))], STEP, htmx, moment=moment, caption=f"No {number}")
    assert address_of(answer) == STEP

    album, mod = client.get(STEP), client.get(f"{BASE}/mods/1")

    document = Page(album.text, STEP).document
    pairs = [words_in(one) for one in document.xpath("//ol[@class='before-after']/li")]
    assert pairs == [
        "Before No 2 2025-03-14 After No 1 2025-03-14",
        "Before No 3 2025-03-14 AfterNo other from after.",
    ]
    assert [words_in(one) for one in document.xpath("//ul[@class='photos']/li")] == ["No 4 2025-03-14"]
    assert "4 photographs: 2 before, 1 after of step 1" in words_of(mod)
    assert f'href="{BASE}/mods/1#step-1"' in album.text
    assert "It shows step 1 of mod 1, after it was done." in words_of(client.get(FIRST))
    for page in (album, mod, client.get(FIRST), client.get(f"{FIRST}/edit")):
        assert_sound(page)


@pytest.mark.usefixtures("bench")
def test_a_step_that_is_not_done_yet_is_photographed_before_it(client: TestClient) -> None:
    """Which the form offers first; only a step's form asks for it, and what is said can be revised."""
    assert typed_in(client.get(STEP), "moment") == "before"
    assert 'name="moment"' not in client.get(SYMPTOM).text
    send(client, [("1.jpg", jpeg())], to=STEP, moment="before")

    post(client, f"{FIRST}/edit", caption="", taken_on="", moment="after", opened_version="1")

    assert "0 before, 1 after" in words_of(client.get(f"{BASE}/mods/1"))
    refused = send(client, [("2.jpg", jpeg(3))], to=STEP, moment="while")
    assert (refused.status_code, len(images(client.get(STEP)))) == (422, 1)
    assert "Choose one of the words offered" in refused.text


@pytest.mark.usefixtures("bench")
def test_a_photograph_taken_now_comes_with_those_that_were_chosen(client: TestClient) -> None:
    """From the camera's own field, in the same form."""
    fields = [("photographs", ("1.jpg", jpeg(), "image/jpeg")), ("camera", ("image.jpg", jpeg(3), "image/jpeg"))]

    client.post(SEND, data={"caption": ""}, files=fields)

    assert len(images(client.get(SYMPTOM))) == 2


def test_a_photograph_that_is_too_large_costs_no_other(
    client: TestClient,
    bench: Bench,  # noqa: ARG001 (the machine)
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """It is refused by its size before it is read, and named."""
    monkeypatch.setattr(pages, "FILE_MOST", len(jpeg()) + 10)

    answer = send(client, [("large.jpg", jpeg() + bytes(11)), ("good.jpg", jpeg())], f"{BASE}/photographs/on/machine")

    assert answer.status_code == 422
    assert "One photograph was kept. This file was not: large.jpg: It is larger than 64 MB" in words_of(answer)


def test_photographs_of_what_moved_are_seen_where_it_is(client: TestClient, bench: Bench) -> None:
    """With the numbers that they have; what hangs on a part is found from the machine that it was in, too."""
    for on, orientation in (("board/main-board", 1), ("part/1", 3)):
        send(client, [("shot.jpg", jpeg(orientation))], to=f"{BASE}/photographs/on/{on}")
    bench.do(DropStep, mod=1, step=1, opened_version=1)
    bench.do(EnterMachine, tag="TM-09", model="Merle 40")
    bench.do(MoveBoard, board=MAIN, to="TM-09", day="2025-09-01", signer="Tester")

    there = client.get("/machines/TM-09/boards/main-board")
    part = client.get(f"{BASE}/photographs/on/part/1", follow_redirects=False)

    assert f'<a href="{FIRST}"><img' in there.text
    assert "It shows Main board, which is in TM-09 now." in words_of(client.get(FIRST))
    assert (part.status_code, part.headers["location"]) == (303, "/machines/TM-09/photographs/on/part/1")
    assert f'<a href="{BASE}/photographs/2"><img' in client.get("/parts/1").text
    assert client.get(f"{BASE}/photographs/on/board/main-board").status_code == 404
    post(client, f"{FIRST}/edit", caption="Parts side", taken_on="", opened_version="1")
    assert "Parts side" in words_of(client.get("/machines/TM-09/boards/main-board"))
    assert faults_of_record(client) == []


def test_a_spare_that_was_in_no_machine_has_no_form_and_says_why(client: TestClient, bench: Bench) -> None:
    """There is no machine yet in which its photographs would count."""
    spare = bench.do(BagPart, day="2025-01-10", kind="chip", type="7404", origin="new").key

    page = client.get(f"/parts/{spare}")

    assert "It has not been in any machine yet: once it is, photographs and files can be added" in words_of(page)
    assert "Add photographs" not in words_of(page)
    assert send(client, [("1.jpg", jpeg())], to=f"{BASE}/photographs/on/part/{spare}").status_code == 404
    assert_sound(page)
