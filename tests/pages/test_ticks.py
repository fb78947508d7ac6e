"""The same counting loop before and after, in ticks of the screen: common practice, no source.

1459 ticks three times before; 704, 709 and 709 after. Lower is better, and a tick is 1/60 s.
"""

import pytest
from fastapi import FastAPI
from httpx2 import Response
from starlette.testclient import TestClient

from server.records.commands import mods
from server.records.questions.trials import figures_of
from server.records.store import Store
from server.records.tables import Procedure
from tests.pages.benchwork import words_of
from tests.records import trial_scene as scene
from tests.records.trial_scene import TAG, do

BASE = f"/machines/{TAG}"
BEFORE, AFTER = "1459 1459 1459", "704 709 709"


@pytest.fixture
def record(app: FastAPI) -> Store:
    """The record behind the client: one mod between the two trials, which is expected to help."""
    store: Store = app.state.store
    scene.set_up(store)
    scene.write_timing(store, title="Counting loop", unit="ticks", unit_meaning="tick = 1/60 s", resolution="1")
    scene.run(store, "2024-03-01", BEFORE, "counting-loop")
    scene.fit_mod(store, 1, "2024-03-10")
    do(store, mods.Expect, machine=TAG, mod=1, sentence="It counts faster", procedure="counting-loop")
    scene.run(store, "2024-04-01", AFTER, "counting-loop")
    return store


def compared(client: TestClient) -> Response:
    return client.get(f"{BASE}/compare?before=1&after=2")


@pytest.mark.usefixtures("record")
def test_the_mean_after_and_how_much_faster_it_is(client: TestClient) -> None:
    """2122/3 = 707.33 ticks; 1459/707.33 - 1 is 106 % faster, and 1 - 707.33/1459 is 51.5 % less time."""
    words = words_of(compared(client))

    assert "Better: 707.33 on average after, against 1459.00 before: 106 % faster, which is 51.5 % less time" in words
    assert "Speed 106 % faster" in words
    assert "Time taken 51.5 % less time" in words
    assert "It counts faster (the readings: better than before): met" in words_of(client.get(f"{BASE}/mods/1"))


def test_readings_that_are_all_alike_do_not_claim_to_be_exact(client: TestClient, record: Store) -> None:
    """What is uncertain in them is the tick that they were read to: 1/√12 = 0.29 of it, on the record and the page."""
    with record.reading() as session:
        procedure = session.get_one(Procedure, scene.trial(record, 1).procedure_id)
    figures = figures_of(scene.trial(record, 1), procedure)

    words = words_of(client.get(f"{BASE}/trials/1"))

    assert (figures.figure, figures.give) == ("1459.00", "0.29")
    assert "The mean of 3 readings is 1459.00 ± 0.29 ticks" in words
    assert "All readings are alike; what is uncertain in them is the resolution they were read to." in words
    assert "1459.00 ± 0.29 ticks" in words_of(compared(client))


@pytest.mark.usefixtures("record")
@pytest.mark.parametrize(
    "address", ["/procedures/counting-loop", f"{BASE}/trials/2", f"{BASE}/compare?before=1&after=2"]
)
def test_what_a_tick_stands_for_is_told(client: TestClient, address: str) -> None:
    """Wherever ticks are read."""
    assert "What the unit stands for tick = 1/60 s" in words_of(client.get(address))


# ---- Nearest to a target ----


def test_nearest_to_a_target_is_told_from_form_to_verdict(client: TestClient, app: FastAPI) -> None:
    """A rail that should be 5 V: 0.3067 V off on average before, 0.0167 V after, which is 18.4 times nearer."""
    store: Store = app.state.store
    scene.set_up(store)
    typed = {"title": "Rail", "unit": "V", "resolution": "0.01", "better": "nearest", "target": "5"}
    written = client.post("/procedures/new", data=typed)
    scene.run(store, "2024-03-01", "5.31 5.28 5.33", "rail")
    scene.fit_mod(store, 1, "2024-03-10")
    do(store, mods.Expect, machine=TAG, mod=1, sentence="The rail comes nearer", procedure="rail")
    scene.run(store, "2024-04-01", "5.02 5.01 4.98", "rail")

    comparison, mod = words_of(compared(client)), words_of(client.get(f"{BASE}/mods/1"))

    told = "Better: 0.0167 from the target of 5 on average after, against 0.3067 before: 18.4 times nearer"
    assert "Which way is better nearest to 5 V is better" in words_of(written)
    assert "nearest to 5 V is better" in words_of(client.get(f"{BASE}/trials/2"))
    assert told in comparison
    assert "Mean distance from the target 0.307 V 0.0167 V" in comparison
    assert "faster" not in comparison
    assert f"Trial 2, held against trial 1, in V. {told}" in mod
    assert "The rail comes nearer (the readings: better than before): met" in mod
