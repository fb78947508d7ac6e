"""Readings added one by one in the form of a trial, which comes back with them and writes nothing by itself."""

from typing import Any

import pytest
from fastapi import FastAPI
from httpx2 import Response
from sqlmodel import select
from starlette.testclient import TestClient

from server.records.store import Store
from server.records.tables import JournalEntry
from tests.pages.benchwork import HTMX, assert_sound, message_beside, typed_in
from tests.pages.reading import Page
from tests.records import trial_scene as scene
from tests.records.trial_scene import CRASH

BOTH_WAYS = pytest.mark.parametrize("headers", [{}, HTMX], ids=["plain", "htmx"])
NEW = "/machines/TM-03/trials/new"
TICKS = "counting-loop"
TYPED: dict[str, Any] = {
    "procedure": TICKS,
    "next": "709",
    "readings": "704 709",
    "day": "2024-03-01",
    "instrument": "stop-watch",
    "conditions": "21 °C",
    "note": "Lid off",
    "signer": "Test keeper",
    "add": "next",
}
RECORDED = {name: text for name, text in TYPED.items() if name != "add"}
KEPT = ("day", "instrument", "conditions", "note", "signer", "procedure")


@pytest.fixture
def shop(app: FastAPI) -> Store:
    store: Store = app.state.store
    scene.set_up(store)
    scene.write_timing(store, title="Counting loop", unit="ticks", unit_meaning="tick = 1/60 s")
    scene.write_crash(store)
    return store


def entries(store: Store) -> int:
    with store.reading() as session:
        return len(session.exec(select(JournalEntry.seq)).all())


def sent(client: TestClient, headers: dict[str, str] | None = None, **changed: str) -> Response:
    return client.post(NEW, data=TYPED | changed, headers=headers)


def first_button(answer: Response) -> tuple[str, str]:
    """What Enter presses: the first submit button of the form."""
    forms = [form for form in Page(answer.text, NEW).forms if form.method == "post"]
    button = forms[0].element.xpath(".//button[not(@type) or @type='submit']")[0]
    return button.get("name"), button.get("value")


@BOTH_WAYS
def test_a_reading_is_added_and_nothing_written(client: TestClient, shop: Store, headers: dict[str, str]) -> None:
    """The same form with one reading more, its field empty and ready for the next, and everything else as it was."""
    before = entries(shop)

    page = sent(client, headers)

    assert page.status_code == 200
    assert ("<!doctype" in page.text) == (not headers)
    assert (typed_in(page, "readings"), typed_in(page, "next")) == ("704 709 709", "")
    assert "3 readings, mean 707.3 ticks. Last: 709." in page.text
    assert 'id="f-next" name="next"' in page.text
    assert "autofocus" in page.text[page.text.index('id="f-next"') :].split(">")[0]
    assert {name: TYPED[name] for name in KEPT} == {name: typed_in(page, name) for name in KEPT}
    assert before == entries(shop)


@pytest.mark.usefixtures("shop")
def test_enter_adds_and_the_field_comes_first(client: TestClient) -> None:
    """Behind the procedure alone, so that it is under the thumb; the keyboard is the one for figures."""
    page = client.get(f"{NEW}?procedure={TICKS}")

    form = next(form for form in Page(page.text, NEW).forms if form.method == "post")
    labels = [field.label for field in form.fields()]
    assert_sound(page)
    assert first_button(page) == ("add", "next")
    assert labels[:2] == ["Procedure needed", "Next reading"]
    assert 'inputmode="decimal"' in page.text
    assert "autofocus" not in page.text
    assert "A number in ticks; Enter adds it." in page.text


@pytest.mark.usefixtures("shop")
def test_enter_in_another_field_loses_and_adds_nothing(client: TestClient) -> None:
    """It presses the same button; with nothing to add, the form comes back as it was."""
    page = sent(client, next=" ")

    assert page.status_code == 200
    assert typed_in(page, "readings") == "704 709"
    assert {name: TYPED[name] for name in KEPT} == {name: typed_in(page, name) for name in KEPT}


@BOTH_WAYS
@pytest.mark.usefixtures("shop")
@pytest.mark.parametrize(
    ("typed", "message"),
    [
        ("7o4", "“7o4” is not a number; leave out units and other text."),
        ("NaN", "“NaN” is not a finite number."),
        ("704 ms", "“ms” is not a number; leave out units and other text. "
                   "The unit is that of the procedure, ticks."),
        ("704ticks", "“704ticks” is not a number; leave out units and other text. "
                     "The unit is that of the procedure, ticks."),
        ("1e99", "“1e99” is not between 1e-60 and 1e60 in size."),
    ],
)  # fmt: skip
def test_what_is_no_reading_is_told_beside_the_field(
    client: TestClient, headers: dict[str, str], typed: str, message: str
) -> None:
    """With the text kept, the readings as they were, and the field ready to put it right."""
    page = sent(client, headers, next=typed)

    assert page.status_code == 422
    assert message_beside(page, "next") == f"Look again: {message}"
    assert (typed_in(page, "next"), typed_in(page, "readings")) == (typed, "704 709")
    assert "autofocus" in page.text[page.text.index('id="f-next"') :].split(">")[0]
    assert "error-summary" not in page.text
    assert "2 readings, mean 706.5 ticks. Last: 709." in page.text


@pytest.mark.usefixtures("shop")
def test_what_stood_there_already_is_blamed_where_it_stands(client: TestClient) -> None:
    """The reading that was to be added is not at fault, and waits."""
    page = sent(client, readings="704\n7o9")

    assert page.status_code == 422
    assert message_beside(page, "readings").startswith("Look again: Line 2, reading 1: “7o9” is not a number")
    assert (typed_in(page, "next"), typed_in(page, "readings")) == ("709", "704\n7o9")


@pytest.mark.usefixtures("shop")
def test_without_a_procedure_it_says_what_to_choose(client: TestClient) -> None:
    """Whether a reading is a figure hangs on it."""
    page = sent(client, procedure="")

    assert page.status_code == 422
    assert "Choose the procedure first" in message_beside(page, "procedure")
    assert typed_in(page, "next") == "709"


@pytest.mark.usefixtures("shop")
@pytest.mark.parametrize(
    ("readings", "left"),
    [
        ("704 709 709", "704 709"),
        ("704, 709,\n", "704"),
        ("704\n709;", "704"),
        ("7o4", ""),
        ("", ""),
    ],
)
def test_the_last_one_is_taken_back(client: TestClient, readings: str, left: str) -> None:
    """However it was parted from those before it; what waits to be added stays."""
    page = client.post(NEW, data={**RECORDED, "readings": readings, "next": "7", "take_back": "last"})

    assert page.status_code == 200
    assert (typed_in(page, "readings"), typed_in(page, "next")) == (left, "7")


@pytest.mark.usefixtures("shop")
def test_observations_are_a_tap_each(client: TestClient) -> None:
    """The button that was pressed is ready to be pressed again; Enter in a field presses neither."""
    page = sent(client, procedure=CRASH, readings="yes", next="", add="no")
    nothing = sent(client, procedure=CRASH, readings="yes", next="", add="")

    assert_sound(page)
    assert page.status_code == 200
    assert typed_in(page, "readings") == "yes no"
    assert "2 observations: 1 yes, 1 no. Last: no." in page.text
    assert 'id="f-add-no" name="add" value="no" formnovalidate autofocus' in page.text
    assert 'name="next"' not in page.text
    assert first_button(page) == ("add", "")
    assert typed_in(nothing, "readings") == "yes"


@BOTH_WAYS
def test_a_reading_not_added_yet_is_recorded_with_the_others(
    client: TestClient, shop: Store, headers: dict[str, str]
) -> None:
    """Who presses “Record the trial” after typing it means it."""
    page = client.post(NEW, data=RECORDED, headers=headers)

    assert page.status_code == (204 if headers else 200)
    assert scene.trial(shop, 1).readings == [704.0, 709.0, 709.0]


@BOTH_WAYS
def test_what_is_no_reading_is_not_left_out_unsaid(client: TestClient, shop: Store, headers: dict[str, str]) -> None:
    """Nothing is recorded while something stands in the field that cannot be."""
    before = entries(shop)

    page = client.post(NEW, data=RECORDED | {"next": "7o4"}, headers=headers)

    assert page.status_code == 422
    assert "“7o4” is not a number" in message_beside(page, "next")
    assert before == entries(shop)


def test_readings_are_added_to_a_trial_on_record(client: TestClient, shop: Store) -> None:
    """Revising it works in the same way, and keeps the version that was opened."""
    scene.run(shop, "2024-03-01", "704 709", TICKS)
    there = "/machines/TM-03/trials/1/edit"

    page = client.post(there, data=TYPED | {"opened_version": "1"})
    unwritten = scene.trial(shop, 1).readings
    added = {"readings": typed_in(page, "readings"), "next": "", "opened_version": "1"}
    client.post(there, data=RECORDED | added)

    assert typed_in(page, "opened_version") == "1"
    assert typed_in(page, "readings") == "704 709 709"
    assert unwritten == [704.0, 709.0]
    assert scene.trial(shop, 1).readings == [704.0, 709.0, 709.0]


# ---- Many readings ----


@pytest.mark.usefixtures("shop")
def test_a_million_readings_are_taken_and_the_page_stays_small(client: TestClient) -> None:
    """The form that revises them holds them all; the trial's page shows some, and says so."""
    pasted = "704 709 " * 500_000

    page = client.post(NEW, data=RECORDED | {"next": "", "readings": pasted})

    assert page.status_code == 200
    assert "The mean of 1,000,000 readings is 706.50 ± 0.29 ticks" in page.text
    assert "And 999,800 more;" in page.text
    assert len(page.content) < 200_000


@pytest.mark.usefixtures("shop")
def test_one_more_than_a_million_is_refused(client: TestClient) -> None:
    """By its place; nothing is stored in part, and what was pasted stays."""
    pasted = "7 " * 1_000_001

    page = client.post(NEW, data=RECORDED | {"next": "", "readings": pasted})

    assert page.status_code == 422
    assert "one too many: at most 1,000,000 readings can be taken at once" in message_beside(page, "readings")
    assert typed_in(page, "readings").split() == ["7"] * 1_000_001
    assert client.get("/machines/TM-03/trials/1").status_code == 404


@BOTH_WAYS
@pytest.mark.usefixtures("shop")
def test_first_only_the_procedure_is_asked(client: TestClient, headers: dict[str, str]) -> None:
    """What a reading is hangs on it; "Go on" asks the rest, and Enter presses it."""
    first = client.get(NEW, headers=headers)
    nothing = client.post(NEW, data={"procedure": "", "choose": "go on"}, headers=headers)
    chosen = client.post(NEW, data={"procedure": CRASH, "choose": "go on"}, headers=headers)

    assert first_button(first) == ("choose", "go on")
    assert 'name="readings"' not in first.text
    assert nothing.status_code == 422
    assert "Choose the procedure first" in message_beside(nothing, "procedure")
    assert chosen.status_code == 200
    assert 'id="f-add-yes"' in chosen.text
    assert "autofocus" in chosen.text[chosen.text.index('id="f-add-yes"') :].split(">")[0]


@pytest.mark.usefixtures("shop")
def test_another_procedure_takes_its_own_fields_and_leaves_what_was_typed(client: TestClient) -> None:
    """From figures to yes or no; the list itself keeps the focus, and nothing is written."""
    page = client.post(NEW, data=RECORDED | {"procedure": CRASH, "choose": "changed"}, headers=HTMX)

    assert page.status_code == 200
    assert 'id="f-next"' not in page.text
    assert 'id="f-add-yes"' in page.text
    assert "autofocus" not in page.text
    assert {name: TYPED[name] for name in KEPT if name != "procedure"} == {
        name: typed_in(page, name) for name in KEPT if name != "procedure"
    }
    assert typed_in(page, "readings") == "704 709"


@pytest.mark.usefixtures("shop")
def test_a_comma_between_readings_is_asked_about(client: TestClient) -> None:
    """704,709 would be one reading of a thousandth of a tick, where ticks are whole."""
    refused = "“704,709” is finer than the 1 ticks that this procedure is read to."

    one = sent(client, next="704,709")
    pasted = client.post(NEW, data=RECORDED | {"next": "", "readings": "704,709"})

    assert (one.status_code, pasted.status_code) == (422, 422)
    assert refused in message_beside(one, "next")
    assert refused in message_beside(pasted, "readings")


@pytest.mark.usefixtures("shop")
def test_what_is_in_the_box_is_counted(client: TestClient) -> None:
    """Pasted readings are readings; what cannot be counted says why."""
    counted = client.post(NEW, data=RECORDED | {"next": "", "choose": "counted"}, headers=HTMX)
    wrong = client.post(NEW, data=RECORDED | {"next": "", "readings": "704 7o9", "choose": "counted"}, headers=HTMX)

    assert "2 readings, mean 706.5 ticks. Last: 709." in counted.text
    assert "No readings yet" not in wrong.text
    assert "Not counted yet. Line 1, reading 2: “7o9” is not a number" in wrong.text


@pytest.mark.usefixtures("shop")
def test_a_form_that_came_back_with_readings_is_marked_as_unsaved(client: TestClient) -> None:
    """The script asks before such a form is left."""
    assert "data-unsaved" in sent(client).text
    assert "data-unsaved" not in client.get(NEW).text
