"""The pages of the mod sheet, and the record as programs ask for it."""

import io
import re
from collections.abc import Iterator
from html import unescape
from itertools import pairwise
from typing import Any

import pikepdf
import pytest
from fastapi import FastAPI
from sqlalchemy import event
from starlette.testclient import TestClient

from server.app import create_app
from server.documents.record import canonical, digest
from server.records.cautions import CAUTIONS
from server.records.words import Hazard
from server.settings import Settings
from tests.documents.invented import HOSTILE, PRIVATE_WORDS, TAG, Bench, hostile, tell

SHEET, PDF, RECORD = f"/machines/{TAG}/sheet", f"/machines/{TAG}/sheet.pdf", f"/api/v1/machines/{TAG}"


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """The application over a record that holds an invented machine, and one whose every text is hostile."""
    settings = Settings(
        data=tmp_path_factory.mktemp("sheets"), keeper="K", allowed_hosts=["testserver"], log_level="error",
        database_url="",
    )  # fmt: skip
    app = create_app(settings)
    tell(app.state.store)
    hostile(app.state.store)
    with TestClient(app) as client:
        yield client


def words_of(html: str) -> str:
    """What a reader sees: no markup, one space between words."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


def test_the_sheet_tells_of_mods_trials_bags_and_the_way_back(told: TestClient) -> None:
    answer = told.get(SHEET)

    words = words_of(answer.text)

    assert answer.status_code == 200
    for expected in (
        "1. Brighter picture In force , signed Ada Wren.",
        "Fitted 330 Ω ±1 % resistor (new) at R7 on Main board; planned was 300 Ω.",
        "Trace left: solder only (a socketed part leaves nothing, a soldered one fresh solder).",
        "3. Faster clock Undone",
        "0.6100 ± 0.0050 V",
        "legs a little short",
        "Put 470 µF ±20 % capacitor back at C3 on Main board.",
        "Clean: what was cleaned off does not come back.",
        "Mod 2: no trial has been run with it in force.",
    ):
        assert expected in words


def test_the_sheet_offers_the_pdf_and_the_record(told: TestClient) -> None:
    html = told.get(SHEET).text

    assert f'href="{PDF}"' in html
    assert f'href="{RECORD}"' in html


def test_every_caution_stands_on_the_sheet_once(told: TestClient) -> None:
    """Those of the machine, of its board and of the work, in one block."""
    html = unescape(told.get(SHEET).text)

    for hazard in (Hazard.MAINS_INSIDE, Hazard.CHARGED_RESERVOIR, Hazard.STATIC, Hazard.LEAD_AND_FUMES):
        assert html.count(CAUTIONS[hazard]) == 1


def test_htmx_gets_the_sheet_without_the_frame(told: TestClient) -> None:
    answer = told.get(SHEET, headers={"HX-Request": "true"})

    assert "<!doctype" not in answer.text.lower()
    assert "Brighter picture" in answer.text


def test_headings_go_down_one_step_at_a_time(told: TestClient) -> None:
    levels = [int(level) for level in re.findall(r"<h([1-6])", told.get(SHEET).text)]

    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))


def test_hostile_text_is_shown_and_never_obeyed(told: TestClient) -> None:
    html = told.get("/machines/HX-1/sheet").text
    shown = HOSTILE.replace("\u202e", "")

    assert "<script>alert" not in html
    assert words_of(html).count(" ".join(shown.split())) > 15


def test_a_machine_with_nothing_to_tell_has_a_sheet(client: TestClient, app: FastAPI) -> None:
    from server.records.commands.machines import EnterMachine

    Bench(app.state.store).do(EnterMachine, tag=TAG, model="Plover 80")

    words = words_of(client.get(SHEET).text)

    assert "No modification is in force on this machine." in words
    assert "No board of it is written down." in words


def test_the_pdf_is_shown_in_place_under_a_safe_name(told: TestClient) -> None:
    answer = told.get(PDF)

    assert answer.headers["content-type"] == "application/pdf"
    assert re.fullmatch(
        rf'inline; filename="{TAG}-mod-sheet-\d{{4}}-\d\d-\d\d\.pdf"', answer.headers["content-disposition"]
    )
    assert answer.content.startswith(b"%PDF")
    assert answer.headers["x-content-type-options"] == "nosniff"


def test_the_pdf_carries_what_the_api_answers_and_prints_its_digest(told: TestClient) -> None:
    record = told.get(RECORD).content

    with pikepdf.open(io.BytesIO(told.get(PDF).content)) as pdf:
        attached = pdf.attachments[f"{TAG}-record.json"].get_file().read_bytes()

    assert attached == record
    assert digest(record) in told.get(SHEET).text


def test_a_tag_is_found_in_either_case(told: TestClient) -> None:
    assert [told.get(address.replace(TAG, TAG.lower())).status_code for address in (SHEET, PDF, RECORD)] == [200] * 3


@pytest.mark.parametrize("address", ["/machines/none/sheet", "/machines/none/sheet.pdf"])
def test_an_unknown_machine_has_no_sheet(told: TestClient, address: str) -> None:
    answer = told.get(address)

    assert answer.status_code == 404
    assert "There is no machine “none”." in unescape(answer.text)


def test_no_private_field_leaves_the_house(told: TestClient) -> None:
    answers = [told.get(SHEET).text, told.get(RECORD).text]

    assert [word for word in PRIVATE_WORDS for text in answers if word in text] == []


def test_the_record_is_answered_as_canonical_json(told: TestClient) -> None:
    answer = told.get(RECORD)

    assert answer.headers["content-type"] == "application/json"
    assert canonical(answer.json()) == answer.content
    assert answer.json()["format"] == "putback-record/1"


def test_an_unknown_machine_is_answered_as_json_too(told: TestClient) -> None:
    answer = told.get("/api/v1/machines/none")

    assert answer.status_code == 404
    assert answer.headers["content-type"] == "application/json"
    assert "There is no machine “none”." in answer.json()["detail"]


def test_the_record_is_described_in_openapi(told: TestClient) -> None:
    described = told.get("/api/v1/openapi.json").json()

    answers = described["paths"]["/api/v1/machines/{tag}"]["get"]["responses"]
    schema = described["components"]["schemas"][
        answers["200"]["content"]["application/json"]["schema"]["$ref"].split("/")[-1]
    ]

    assert set(told.get(RECORD).json()) == set(schema["properties"])
    assert "404" in answers


def test_the_sheet_asks_as_many_questions_for_many_bags_as_for_few(client: TestClient, app: FastAPI) -> None:
    from server.records.commands.parts import EnterPart
    from tests.documents.invented import enter

    bench = Bench(app.state.store)
    enter(bench)
    few = queries(client, app)
    for number in range(20):
        bench.do(EnterPart, board="main-board", designator=f"R{100 + number}", kind="resistor", origin="original")

    assert few == queries(client, app)


def queries(client: TestClient, app: FastAPI) -> int:
    seen: list[Any] = []

    def note(*asked: Any) -> None:
        seen.append(asked[2])

    event.listen(app.state.store.engine, "before_cursor_execute", note)
    try:
        client.get(SHEET)
    finally:
        event.remove(app.state.store.engine, "before_cursor_execute", note)
    return len(seen)
