"""Trials posted by a script: stored as the page would store them, or refused in words, one sentence a field."""

import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from uuid import uuid4

import hypothesis
import pytest
import schemathesis
from fastapi import FastAPI
from httpx2 import Response
from hypothesis import given
from hypothesis import strategies as st
from schemathesis.specs.openapi.checks import positive_data_acceptance
from sqlmodel import col, select
from starlette.testclient import TestClient

from seed_data.demo import MERLE
from server.app import create_app
from server.pages.api import NO_UUID
from server.records.commands import machines, trials
from server.records.store import Store
from server.records.tables import JournalEntry, Trial
from server.settings import Settings
from tests.pages.walking import faults_of_record
from tests.records import trial_scene as scene
from tests.records.trial_scene import CRASH, KEEPER, TAG, TIMING, do

API = "/api/v1"
POST = f"{API}/machines/{TAG}/trials"
SENT: dict[str, Any] = {"procedure": TIMING, "day": "2024-04-01", "readings": [704, 709.0, 709]}


@pytest.fixture
def shop(app: FastAPI) -> Store:
    """A machine with a mod fitted in March, and a procedure of each sort."""
    store: Store = app.state.store
    scene.set_up(store)
    scene.write_timing(store, unit="µs")
    scene.write_crash(store)
    scene.fit_mod(store, 1, "2024-03-10")
    return store


def sent(client: TestClient, **changed: Any) -> Response:
    return client.post(POST, json=SENT | changed)


def stored(store: Store) -> list[Trial]:
    with store.reading() as session:
        return list(session.exec(select(Trial).order_by(col(Trial.number))))


def entries(store: Store) -> list[str]:
    with store.reading() as session:
        return list(session.exec(select(JournalEntry.words).order_by(col(JournalEntry.seq))))


def refusal(answer: Response) -> dict[str, str]:
    """What is wrong, field by field; every refusal has the same shape."""
    assert answer.status_code == 422, answer.text
    told = answer.json()
    assert list(told) == ["detail", "fields"]
    assert all(sentence.endswith((".", "?")) for sentence in [told["detail"], *told["fields"].values()])
    return dict(told["fields"])


# ---- What a script can find ----


@pytest.mark.usefixtures("shop")
def test_a_script_finds_what_it_can_post_for(client: TestClient) -> None:
    """Each procedure with its unit, how fine it is read and which way is better."""
    told = client.get(f"{API}/procedures").json()

    assert (told["page"], told["pages"]) == (1, 1)
    assert told["procedures"] == [
        {"slug": CRASH, "title": "Crashes within ten minutes", "unit": "", "unit_meaning": "", "resolution": None,
         "better": "no", "target": None},
        {"slug": TIMING, "title": "Time to count to a thousand", "unit": "µs", "unit_meaning": "", "resolution": 1.0,
         "better": "lower", "target": None},
    ]  # fmt: skip


def test_procedures_come_a_page_at_a_time(client: TestClient, shop: Store) -> None:
    """However many there are; a page that is none is the first."""
    for number in range(50):
        scene.write_timing(shop, title=f"Another {number}")

    first, second, none = (client.get(f"{API}/procedures?page={page}").json() for page in ("1", "2", "x"))

    assert (len(first["procedures"]), len(second["procedures"]), first["pages"]) == (50, 2, 2)
    assert none == first


# ---- What is stored ----


def test_numbers_are_recorded_in_one_entry(client: TestClient, shop: Store) -> None:
    """The answer says what came of them and where they are: (704 + 709 + 709)/3, and the mod of that day."""
    before = entries(shop)

    answer = sent(client, conditions="21 °C", instrument="counter", note="run 7", unit="us")

    told = answer.json()
    assert (answer.status_code, answer.headers["location"]) == (201, f"/machines/{TAG}/trials/1")
    assert told["mean"] == 707.333
    assert told["standard_uncertainty"] == round((25 / 9 + 1 / 12) ** 0.5, 3)
    assert told | {"mean": 0, "standard_uncertainty": 0} == {
        "number": 1, "address": f"/machines/{TAG}/trials/1", "count": 3, "mean": 0, "standard_uncertainty": 0,
        "yes": None, "unit": "µs", "mods_in_force": [1],
    }  # fmt: skip
    (trial,) = stored(shop)
    assert trial.readings == [704.0, 709.0, 709.0]
    assert (trial.conditions, trial.instrument, trial.note, trial.signer) == ("21 °C", "counter", "run 7", KEEPER)
    assert entries(shop) == [*before, f"Trial 1 of {TAG}, Time to count to a thousand, on 2024-04-01: 3 readings."]
    assert client.get(told["address"]).status_code == 200


def test_true_and_false_are_observations(client: TestClient, shop: Store) -> None:
    """How often yes; there is no mean of them."""
    told = sent(client, procedure=CRASH, readings=[True, False, False]).json()

    assert (told["yes"], told["count"], told["mean"], told["standard_uncertainty"]) == (1, 3, None, None)
    assert stored(shop)[0].readings == [1.0, 0.0, 0.0]


@pytest.mark.usefixtures("shop")
def test_a_lone_reading_claims_no_uncertainty(client: TestClient) -> None:
    """As on the page."""
    told = sent(client, readings=[704]).json()

    assert (told["count"], told["mean"], told["standard_uncertainty"]) == (1, 704.0, None)


def test_the_machines_keeper_signs_where_nobody_is_named(client: TestClient, shop: Store) -> None:
    """As in the form: theirs first, the house's otherwise, and any name that is given."""
    do(shop, machines.EnterMachine, tag="TM-04", model="Merle", keeper="A. Ember")

    client.post(f"{API}/machines/TM-04/trials", json=SENT)
    client.post(f"{API}/machines/tm-04/trials", json=SENT | {"signer": "B. Wren"})
    sent(client)

    assert [trial.signer for trial in stored(shop)] == ["A. Ember", KEEPER, "B. Wren"]


def test_a_million_numbers_are_taken(client: TestClient, shop: Store) -> None:
    """And one more is not."""
    taken = sent(client, readings=[704, 709] * 500_000)
    refused = sent(client, readings=[7] * 1_000_001)

    assert (taken.status_code, taken.json()["count"]) == (201, 1_000_000)
    assert refusal(refused) == {"readings": "1,000,001 readings are too many; at most 1,000,000 can be taken at once."}
    assert len(stored(shop)) == 1


# ---- Sent once more ----


def test_sent_once_more_it_is_the_trial_that_is_there(client: TestClient, shop: Store) -> None:
    """After an answer that was lost: nothing is stored twice, and the answer is the same."""
    own = str(uuid4())
    first = sent(client, uuid=own)
    before = entries(shop)

    again = sent(client, uuid=own.upper())

    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    assert first.headers["location"] == again.headers["location"]
    assert str(stored(shop)[0].uuid) == own
    assert before == entries(shop)
    assert len(stored(shop)) == 1


@pytest.mark.parametrize(
    ("changed", "differs"),
    [
        ({"readings": [704, 709, 710]}, "readings"),
        ({"day": "2024-04-02"}, "day"),
        ({"note": "x", "instrument": "y"}, "instrument, note"),
        ({"procedure": CRASH, "readings": [True]}, "readings, procedure"),
    ],
)
def test_another_trial_under_the_same_uuid_is_a_conflict(
    client: TestClient, shop: Store, changed: dict[str, Any], differs: str
) -> None:
    """What differs is named, and nothing is stored."""
    own = str(uuid4())
    sent(client, uuid=own)

    answer = sent(client, uuid=own, **changed)

    assert answer.status_code == 409
    assert answer.json() == {
        "detail": f"This UUID is that of trial 1 of {TAG}, which differs in: {differs}. "
        "Nothing was stored; give other readings a UUID of their own."
    }
    assert [trial.readings for trial in stored(shop)] == [[704.0, 709.0, 709.0]]


def test_the_uuid_of_another_machines_trial_is_a_conflict(client: TestClient, shop: Store) -> None:
    """Machines share one record."""
    do(shop, machines.EnterMachine, tag="TM-04", model="Merle")
    own = str(uuid4())
    sent(client, uuid=own)

    answer = client.post(f"{API}/machines/TM-04/trials", json=SENT | {"uuid": own, "signer": KEEPER})

    assert answer.status_code == 409
    assert f"trial 1 of {TAG}, which differs in: machine." in answer.json()["detail"]


# ---- What is refused ----

NOT_A_NUMBER = "Reading 2, {}, is not a number."


@pytest.mark.parametrize(
    ("changed", "fields"),
    [
        ({"readings": []}, {"readings": "There are no readings; give at least one."}),
        ({"readings": [1, "two"]}, {"readings": NOT_A_NUMBER.format("“two”")}),
        ({"readings": [1, True]}, {"readings": NOT_A_NUMBER.format("true")}),
        ({"readings": [1, None]}, {"readings": NOT_A_NUMBER.format("null")}),
        ({"readings": [1, [2]]}, {"readings": NOT_A_NUMBER.format("“[2]”")}),
        ({"readings": [1, {"x" * 90: 2}]}, {"readings": NOT_A_NUMBER.format("“{'xxxxxxxxxxxxxxxxxxxxxx…”")}),
        ({"readings": [1, 10**400]}, {"readings": "A reading is too large a number."}),
        ({"readings": [1, 1e61]}, {"readings": "Reading 2, 1e+61, is not between 1e-60 and 1e60 in size."}),
        ({"readings": "704 709"}, {"readings": "Give a list."}),
        ({"readings": {"a": 1}}, {"readings": "Give a list."}),
        ({"readings": 704}, {"readings": "Give a list."}),
        ({"procedure": CRASH}, {"readings": "Observation 1, “704”, is neither true nor false."}),
        ({"procedure": CRASH, "readings": []},
         {"readings": "There are no observations; send true or false for each occasion."}),
        ({"procedure": "gone"},
         {"procedure": "There is no procedure “gone”. /api/v1/procedures lists them all."}),
        ({"procedure": 7}, {"procedure": "Write a text."}),
        ({"day": "1 April"}, {"day": "Write the day as year-month-day, such as 1981-09-30."}),
        ({"day": 20240401}, {"day": "Write the day as year-month-day, such as 1981-09-30."}),
        ({"day": "2999-01-01"}, {"day": "2999-01-01 is still to come. Write the day on which it was done."}),
        ({"uuid": "seven"}, {"uuid": NO_UUID}),
        ({"readings": [704.709, 705]},
         {"readings": "“704.709” is finer than the 1 µs that this procedure is read to. Part readings by spaces, or "
                      "revise the procedure’s resolution."}),
        ({"note": "a\0b"}, {"note": "Character 2 is a control character that cannot be stored; take it out."}),
        ({"machine": "TM-04"}, {"machine": "There is no such field here."}),
        ({"signer": " "}, {"signer": "This cannot be left empty."}),
    ],
)  # fmt: skip
def test_what_cannot_be_stored_is_told_by_its_field(
    client: TestClient, shop: Store, changed: dict[str, Any], fields: dict[str, str]
) -> None:
    """In words, and nothing is stored."""
    answer = sent(client, **changed)

    assert fields == refusal(answer)
    assert stored(shop) == []


@pytest.mark.parametrize("written", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_what_is_no_finite_number_is_refused(client: TestClient, shop: Store, written: str) -> None:
    """JSON has no such numbers, and many programs write them all the same."""
    body = json.dumps(SENT).replace("709.0", written)

    answer = client.post(POST, content=body, headers={"Content-Type": "application/json"})

    assert "Reading 2, " in refusal(answer)["readings"]
    assert "is not a finite number." in refusal(answer)["readings"]
    assert stored(shop) == []


@pytest.mark.parametrize(
    ("procedure", "unit", "ours"),
    [(TIMING, "ms", "µs"), (TIMING, "", "µs"), (TIMING, "ticks", "µs"), (CRASH, "ms", "plain numbers")],
)
def test_another_unit_is_refused_and_nothing_converted(
    client: TestClient, shop: Store, procedure: str, unit: str, ours: str
) -> None:
    """The sentence names both."""
    answer = sent(client, procedure=procedure, unit=unit, readings=[True] if procedure == CRASH else [704])

    sentence = refusal(answer)["unit"]
    assert sentence.startswith(f"These readings are said to be in {unit or 'plain numbers'}, and “")
    assert sentence.endswith(f"” is read in {ours}. Nothing is converted.")
    assert stored(shop) == []


@pytest.mark.parametrize("unit", ["µs", "us", "μs", " us "])
@pytest.mark.usefixtures("shop")
def test_a_unit_may_be_spelled_in_any_way_that_is_read(client: TestClient, unit: str) -> None:
    """With either mu, or none."""
    assert sent(client, unit=unit).status_code == 201


@pytest.mark.usefixtures("shop")
def test_a_unit_that_only_the_procedure_knows_is_compared_as_it_is_written(client: TestClient, shop: Store) -> None:
    """A count has no unit of the list."""
    scene.write_timing(shop, title="Sweeps", unit="faint lines")

    answers = [sent(client, procedure="sweeps", unit=unit) for unit in ("faint  lines", "lines")]

    assert [answer.status_code for answer in answers] == [201, 422]


@pytest.mark.parametrize(
    "body", [b"", b"{", b"[1, 2]", b"7", b'"x"', b"null", b"\xff", b"[" * 9_000, b"9" * 9_000, b'{"day":"\\ud800"}']
)
@pytest.mark.usefixtures("shop")
def test_what_is_no_json_object_is_refused(client: TestClient, body: bytes) -> None:
    """Whatever it is."""
    answer = client.post(POST, content=body, headers={"Content-Type": "application/json"})

    assert refusal(answer) == {}


@pytest.mark.usefixtures("shop")
def test_several_faults_are_told_together(client: TestClient) -> None:
    """One sentence a field; the whole is told too."""
    answer = client.post(POST, json={"day": "x", "colour": "red"})

    assert set(refusal(answer)) == {"procedure", "day", "readings", "colour"}


def test_an_unknown_machine_is_not_found(client: TestClient) -> None:
    """Before anything of the body is looked at."""
    answer = client.post(f"{API}/machines/none/trials", json={})

    assert answer.status_code == 404
    assert answer.json()["detail"].startswith("There is no machine “none”.")


# ---- Who may post ----


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({}, 201),
        ({"Sec-Fetch-Site": "same-origin"}, 201),
        ({"Sec-Fetch-Site": "cross-site"}, 403),
        ({"Sec-Fetch-Site": "same-site"}, 403),
        ({"Origin": "https://elsewhere.example"}, 403),
        ({"Origin": "null"}, 403),
        ({"Host": "elsewhere.example"}, 400),
    ],
)
def test_a_script_may_post_and_other_sites_pages_may_not(
    client: TestClient, shop: Store, headers: dict[str, str], status: int
) -> None:
    """A program that is no browser says nothing of where it comes from."""
    answer = client.post(POST, json=SENT, headers=headers)

    assert status == answer.status_code
    assert len(stored(shop)) == (status == 201)


@pytest.mark.parametrize("kind", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data", ""])
def test_what_is_not_said_to_be_json_is_not_read(client: TestClient, shop: Store, kind: str) -> None:
    """The kinds that a form of another site could send, though its browser be too old to say where it is."""
    answer = client.post(POST, content=json.dumps(SENT), headers={"Content-Type": kind})

    assert answer.status_code == 415
    assert answer.json() == {"detail": "Send JSON, and say so: Content-Type: application/json."}
    assert stored(shop) == []


def test_a_body_that_is_too_large_is_said_to_be(settings: Settings) -> None:
    """As JSON, and before it is read."""
    with TestClient(create_app(settings.model_copy(update={"upload_most_mb": 1}))) as client:
        answer = client.post(POST, json=SENT | {"note": "x" * 1_000_001})

    assert answer.status_code == 413
    assert list(answer.json()) == ["detail"]
    assert "Nothing was stored." in answer.json()["detail"]


# ---- As it is described ----

PROMISED = f"{API}/openapi.json"


@pytest.fixture(scope="module")
def bench(demo_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    """The demo, to be written to by all that is drawn."""
    folder = shutil.copytree(demo_folder, tmp_path_factory.mktemp("posted") / "demo")
    house = Settings(data=folder, keeper=KEEPER, allowed_hosts=["testserver"], log_level="error")
    app = create_app(house)
    yield app
    app.state.store.close()


@given(data=st.data())
@hypothesis.settings(max_examples=60)
def test_every_answer_to_what_is_posted_is_one_that_was_promised(bench: FastAPI, data: st.DataObject) -> None:
    """At a machine and a procedure that are there; what the description cannot know may be refused, in its shape."""
    operation = schemathesis.openapi.from_asgi(PROMISED, bench)[f"{API}/machines/{{tag}}/trials"]["POST"]
    case = data.draw(operation.as_strategy())
    case.path_parameters["tag"] = MERLE
    if isinstance(case.body, dict) and data.draw(st.booleans()):
        case.body["procedure"] = data.draw(st.sampled_from(slugs(bench)))

    answer = case.call_and_validate(excluded_checks=[positive_data_acceptance])

    assert answer.status_code in (200, 201, 409, 422)


def test_the_record_is_whole_after_all_that(bench: FastAPI) -> None:
    """Something was stored, and nothing that should not be."""
    with TestClient(bench) as client:
        for slug, readings in zip(slugs(bench), ([1.5], [2], [True]), strict=False):
            client.post(f"{API}/machines/{MERLE}/trials", json=SENT | {"procedure": slug, "readings": readings})

        assert faults_of_record(client) == []


def slugs(app: FastAPI) -> list[str]:
    with TestClient(app) as client:
        return [one["slug"] for one in client.get(f"{API}/procedures").json()["procedures"]]


@pytest.mark.usefixtures("shop")
def test_the_description_shows_what_to_send_and_what_comes(client: TestClient) -> None:
    """Both with their fields told, and an example of each that is needed."""
    told = client.get(PROMISED).json()["paths"][f"{API}/machines/{{tag}}/trials"]["post"]

    body = told["requestBody"]["content"]["application/json"]["schema"]
    assert body["required"] == ["procedure", "day", "readings"]
    assert all(body["properties"][name]["examples"] for name in body["required"])
    assert set(body["properties"]) == {
        "procedure", "day", "readings", "unit", "conditions", "instrument", "signer", "note", "uuid",
    }  # fmt: skip
    assert {"200", "201", "404", "409", "413", "415", "422"} == set(told["responses"])
    assert trials.RecordTrial.model_fields.keys() == body["properties"].keys() | {"machine"}


def test_figures_carry_no_more_digits_than_anyone_can_tell(client: TestClient, shop: Store) -> None:
    """None that come from how floats are added; a yes or no has no unit, whatever was typed long ago."""
    scene.write_timing(shop, title="Hum", unit="mV", resolution="0.1")

    hum = sent(client, procedure="hum", readings=[18.4, 18.7, 18.2, 18.8, 18.4, 18.5]).json()
    seen = sent(client, procedure=CRASH, readings=[True]).json()

    assert (hum["mean"], len(str(hum["standard_uncertainty"]))) == (18.5, 7)
    assert seen["unit"] == ""
