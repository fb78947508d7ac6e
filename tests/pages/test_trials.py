"""Pages of trials: recorded from what was typed or pasted, shown in words and dots, revised."""

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.records.commands.trials import ReviseProcedure
from server.records.store import Store
from tests.conftest import TODAY
from tests.records import trial_scene as scene
from tests.records.trial_scene import CRASH, TIMING

HTMX = {"HX-Request": "true"}
BOTH_WAYS = pytest.mark.parametrize("headers", [{}, HTMX], ids=["plain", "htmx"])
BASE = "/machines/TM-03"
TYPED = {
    "procedure": TIMING,
    "readings": "503 499\n501;502",
    "day": "2024-03-01",
    "instrument": "stop-watch",
    "conditions": "21 °C",
    "note": "",
    "signer": "Test keeper",
}


@pytest.fixture
def shop(app: FastAPI) -> Store:
    """The record behind the client: a machine and two procedures."""
    store: Store = app.state.store
    scene.set_up(store)
    scene.write_timing(store, how="Start it and the watch **together**.")
    scene.write_crash(store)
    return store


# ---- The list ----


@pytest.mark.usefixtures("shop")
def test_an_empty_list_says_to_read_before_anything_is_changed(client: TestClient) -> None:
    """What was not read before a mod is lost. The machine's cautions stand here as everywhere."""
    page = client.get(f"{BASE}/trials")

    assert page.status_code == 200
    assert f'href="{BASE}/trials/new">Record the first trial' in page.text
    assert "Mains voltage is inside." in page.text


def test_each_trial_is_told_with_day_figures_and_mods(client: TestClient, shop: Store) -> None:
    """Mean ± standard uncertainty with its unit; how often yes; a lone reading without a pretended ±."""
    scene.fit_mod(shop, 1, "2024-03-10")
    scene.run(shop, "2024-03-01", "500 501 502")
    scene.run(shop, "2024-03-02", "500")
    scene.run(shop, "2024-04-01", "yes no no", CRASH)

    text = client.get(f"{BASE}/trials").text

    assert '501.00 <span class="give">± 0.65</span> <span class="unit">ms</span>' in text
    assert "from 3 readings" in text
    assert '500 <span class="unit">ms</span></span> <span class="quiet">one reading' in text
    assert 'yes 1 of 3 <span class="unit">times' in text
    assert f'<a href="{BASE}/mods/1">1 Another resistor</a>' in text
    assert text.index("Trial 3, Crashes") < text.index("Trial 2, Time") < text.index("Trial 1, Time")


def test_the_list_can_hold_one_procedure_only(client: TestClient, shop: Store) -> None:
    """And its pages stay with it."""
    for _ in range(51):
        scene.run(shop, "2024-03-01", "500")
    scene.run(shop, "2024-04-01", "yes no no", CRASH)

    text = client.get(f"{BASE}/trials?procedure={TIMING}").text

    assert "Trial 52" not in text
    assert f'href="{BASE}/trials?procedure={TIMING}&amp;page=2"' in text


# ---- Recording ----


def test_without_a_procedure_it_says_what_comes_first(client: TestClient) -> None:
    """And leads back to this machine afterwards."""
    client.post("/machines/new", data={"tag": "TM-03", "model": "Merle"})

    page = client.get(f"{BASE}/trials/new")

    assert page.status_code == 200
    assert 'href="/procedures/new?machine=TM-03">Write down a procedure' in page.text
    assert "<textarea" not in page.text


@pytest.mark.usefixtures("shop")
def test_the_form_knows_today_the_signer_and_how_it_is_run(client: TestClient) -> None:
    """The machine has no keeper, so the house's signs."""
    page = client.get(f"{BASE}/trials/new?procedure={TIMING}")

    assert f'value="{TODAY}"' in page.text
    assert 'name="signer" type="text" value="Test keeper"' in page.text
    assert f'<option value="{TIMING}" selected>Time to count to a thousand (ms)</option>' in page.text
    assert "<strong>together</strong>" in page.text


def test_the_machines_own_keeper_signs(client: TestClient) -> None:
    """Before the one in the settings."""
    client.post("/machines/new", data={"tag": "TM-04", "model": "Merle", "keeper": "A. Ember"})
    client.post("/procedures/new", data={"title": "X"})

    chosen = client.post("/machines/TM-04/trials/new", data={"procedure": "x", "choose": "go on"})

    signed = 'name="signer" type="text" value="A. Ember"'
    assert signed in chosen.text
    assert signed in client.get("/machines/TM-04/trials/new?procedure=x").text


@BOTH_WAYS
@pytest.mark.usefixtures("shop")
def test_a_trial_is_recorded_and_shown(client: TestClient, headers: dict[str, str]) -> None:
    """On to the trial's own page, which tells it in words."""
    answer = client.post(f"{BASE}/trials/new", data=TYPED, headers=headers)

    assert answer.status_code == (204 if headers else 200)
    text = client.get(f"{BASE}/trials/1").text
    assert "The mean of 4 readings is 501.25 ± 0.90 ms" in text
    assert "503 · 499 · 501 · 502" in text
    assert "stop-watch" in text


@BOTH_WAYS
@pytest.mark.usefixtures("shop")
def test_readings_that_cannot_be_read_come_back_as_typed(client: TestClient, headers: dict[str, str]) -> None:
    """With the line and the reading beside the field, and everything else kept."""
    page = client.post(f"{BASE}/trials/new", data=TYPED | {"readings": "503\n499 <x>"}, headers=headers)

    assert page.status_code == 422
    assert ("<!doctype" in page.text) == (not headers)
    assert (
        'id="f-readings-error"><strong>Look again:</strong> Line 2, reading 2: “&lt;x&gt;” is not a number' in page.text
    )
    assert ">\n503\n499 &lt;x&gt;</textarea>" in page.text
    assert 'value="stop-watch"' in page.text
    assert f'<option value="{TIMING}" selected>' in page.text
    assert client.get(f"{BASE}/trials/1").status_code == 404


@pytest.mark.usefixtures("shop")
@pytest.mark.parametrize("field", ["procedure", "day", "signer"])
def test_what_is_needed_is_asked_for(client: TestClient, field: str) -> None:
    """Beside its own field, with the readings kept."""
    page = client.post(f"{BASE}/trials/new", data=TYPED | {field: ""})

    assert page.status_code == 422
    assert f'id="f-{field}-error"' in page.text
    assert ">\n503 499\n501;502</textarea>" in page.text


# ---- One trial ----


def test_drift_and_far_readings_are_told_and_nothing_is_dropped(client: TestClient, shop: Store) -> None:
    """A machine that warms up shows it in the order of its readings."""
    scene.run(shop, "2024-03-01", "498 490 480 470 463 450 441 433")
    scene.run(shop, "2024-03-02", "503 499 501 507 498 502 530 500")

    drifting, scattered = (client.get(f"{BASE}/trials/{number}").text for number in (1, 2))

    assert "The readings drift: they are falling" in drifting
    assert "1 reading lies far from the rest; shown and counted, not dropped." in scattered
    assert "<strong>530</strong> (no. 7, far from the rest)" in scattered
    assert "The mean of 8 readings is 505.0 ± 3.7 ms" in scattered


def test_readings_are_drawn_as_dots(client: TestClient, shop: Store) -> None:
    """One a reading, with what the picture says in words beneath."""
    scene.run(shop, "2024-03-01", "500 501 502")

    text = client.get(f"{BASE}/trials/1").text

    assert text.count('<path class="open"') == 3
    assert "trial 1: 3 readings, mean" in text


def test_many_readings_are_drawn_and_listed_in_part_and_said_to_be(client: TestClient, shop: Store) -> None:
    """A page stays a page, and no figure on it pretends."""
    scene.run(shop, "2024-03-01", " ".join(str(500 + place % 7) for place in range(1000)))

    text = client.get(f"{BASE}/trials/1").text

    assert text.count('<path class="open"') == 300
    assert "trial 1 (300 of 1,000 drawn)" in text
    assert "And 800 more;" in text
    assert "The mean of 1,000 readings" in text


def test_one_reading_claims_no_spread(client: TestClient, shop: Store) -> None:
    """Nothing is known of it."""
    scene.run(shop, "2024-03-01", "500")

    text = client.get(f"{BASE}/trials/1").text

    assert "One reading, 500 ms; lower is better." in text
    assert "one reading has none" in text


def test_observations_are_told_by_counts(client: TestClient, shop: Store) -> None:
    """With the interval that the few occasions allow (Wilson), and no dots."""
    scene.run(shop, "2024-03-01", "yes no no no", CRASH)

    text = client.get(f"{BASE}/trials/1").text

    assert "Yes 1 of 4 times, which is 25 % (5 to 70 % at 95 %); no is better." in text
    assert "yes · no · no · no" in text
    assert "<figure" not in text


def test_the_trial_before_is_one_step_away(client: TestClient, shop: Store) -> None:
    """To be compared with."""
    scene.run(shop, "2024-03-01", "500")
    scene.run(shop, "2024-04-01", "400")

    assert f'href="{BASE}/compare?before=1&amp;after=2"' in client.get(f"{BASE}/trials/2").text


@pytest.mark.parametrize("number", ["7", "99999999999999", "abc", "-1"])
@pytest.mark.usefixtures("shop")
def test_a_trial_that_is_not_there_is_not_found(client: TestClient, number: str) -> None:
    """In words, whatever stands for the number."""
    page = client.get(f"{BASE}/trials/{number}")

    assert page.status_code == 404
    assert "Nothing is kept at this address" in page.text


# ---- Mods in force ----


def test_a_mod_fitted_later_the_same_day_is_put_right(client: TestClient, shop: Store) -> None:
    """The page says where the days and what is noted differ, until the keeper has decided."""
    scene.run(shop, "2024-03-10", "500 501")
    scene.fit_mod(shop, 1, "2024-03-10")
    before = client.get(f"{BASE}/trials/1").text

    page = client.post(f"{BASE}/trials/1/mods-in-force", data={"mods": ["1"], "opened_with": ""})

    assert "<strong>Look again:</strong> By the days of their moves, the mods in force" in before
    assert "on 2024-03-10 were: 1. Noted with this trial: none." in before
    assert page.status_code == 200
    assert f'<p><a href="{BASE}/mods/1">1 Another resistor</a></p>' in page.text
    assert "Look again" not in page.text


def test_a_reason_turns_the_doubt_into_an_explanation(client: TestClient, shop: Store) -> None:
    """What is noted stays, and the page says why; the form holds it for the next time."""
    scene.run(shop, "2024-03-10", "500 501")
    scene.fit_mod(shop, 1, "2024-03-10")

    page = client.post(
        f"{BASE}/trials/1/mods-in-force", data={"opened_with": "", "reason": "read <b>before</b> it was fitted"}
    )

    assert page.status_code == 200
    assert "Look again" not in page.text
    assert "Noted with this trial: none. Because: read &lt;b&gt;before&lt;/b&gt; it was fitted." in page.text
    assert 'name="opened_reason" value="read &lt;b&gt;before&lt;/b&gt; it was fitted"' in page.text


@BOTH_WAYS
def test_other_mods_without_a_reason_are_refused_beside_it(
    client: TestClient, shop: Store, headers: dict[str, str]
) -> None:
    """With the boxes as they were ticked."""
    scene.fit_mod(shop, 1, "2024-03-10")
    scene.run(shop, "2024-03-10", "500 501")

    page = client.post(f"{BASE}/trials/1/mods-in-force", data={"opened_with": "1"}, headers=headers)

    assert page.status_code == 422
    assert ("<!doctype" in page.text) == (not headers)
    assert 'id="mods-reason-error"><strong>Look again:</strong> By the days of their moves it would be 1.' in page.text
    assert "checked" not in page.text


@BOTH_WAYS
def test_mods_noted_meanwhile_are_shown_beside_ones_own(
    client: TestClient, shop: Store, headers: dict[str, str]
) -> None:
    """And the next press says that they were seen, and why they are so."""
    scene.fit_mod(shop, 1, "2024-03-10")
    scene.run(shop, "2024-03-10", "500 501")
    client.post(f"{BASE}/trials/1/mods-in-force", data={"opened_with": "1", "reason": "read before"})

    page = client.post(f"{BASE}/trials/1/mods-in-force", data={"mods": "1", "opened_with": "1"}, headers=headers)

    assert page.status_code == 409
    assert "Someone else saved this record" in page.text
    assert "<td>read before</td>" in page.text
    assert 'name="opened_with" value=""' in page.text
    assert 'name="opened_reason" value="read before"' in page.text


def test_a_mod_that_is_not_there_is_refused_beside_the_boxes(client: TestClient, shop: Store) -> None:
    """Only a hand-made request can ask for it."""
    scene.fit_mod(shop, 1, "2024-03-10")
    scene.run(shop, "2024-03-01", "500")

    page = client.post(f"{BASE}/trials/1/mods-in-force", data={"mods": ["7"], "opened_with": ""})

    assert page.status_code == 422
    assert 'id="mods-mods-error"><strong>Look again:</strong> TM-03 has no mod 7.' in page.text


# ---- Revising ----


@pytest.mark.parametrize(
    ("procedure", "readings", "typed"),
    [("hum", "1.459 2.5 0.1 1e-7 500", "1.459 2.5 0.1 1e-07 500"), (CRASH, "1 n YES", "yes no yes")],
)
def test_the_form_holds_the_readings_to_the_last_digit(
    client: TestClient, shop: Store, procedure: str, readings: str, typed: str
) -> None:
    """Saved again without a change, they are the same readings, also where the resolution is another one by now."""
    scene.write_timing(shop, title="Hum", resolution="")
    scene.run(shop, "2024-03-01", readings, procedure)
    stored = scene.trial(shop, 1).readings
    hum = {"procedure": "hum", "title": "Hum", "unit": "ms", "better": "lower", "resolution": "1"}
    scene.do(shop, ReviseProcedure, **hum, opened_version=1)

    page = client.get(f"{BASE}/trials/1/edit")
    client.post(f"{BASE}/trials/1/edit", data=TYPED | {"readings": typed, "opened_version": "1"})

    assert f">\n{typed}</textarea>" in page.text
    assert scene.trial(shop, 1).readings == stored


@BOTH_WAYS
def test_a_stale_form_shows_both_versions_as_typed(client: TestClient, shop: Store, headers: dict[str, str]) -> None:
    """Readings as a keeper writes them, not as they are stored."""
    scene.run(shop, "2024-03-01", "yes no", CRASH)
    client.post(f"{BASE}/trials/1/edit", data=TYPED | {"readings": "yes yes", "opened_version": "1"})

    page = client.post(
        f"{BASE}/trials/1/edit", data=TYPED | {"readings": "no\nno", "opened_version": "1"}, headers=headers
    )

    assert page.status_code == 409
    assert ("<!doctype" in page.text) == (not headers)
    assert "<td>no no</td>" in page.text
    assert "<td>yes yes</td>" in page.text
    assert 'name="opened_version" value="2"' in page.text
    assert ">\nno\nno</textarea>" in page.text


@BOTH_WAYS
def test_a_bad_revision_comes_back_as_typed(client: TestClient, shop: Store, headers: dict[str, str]) -> None:
    """And the stored readings stay as they were."""
    scene.run(shop, "2024-03-01", "500 501")

    page = client.post(
        f"{BASE}/trials/1/edit", data=TYPED | {"readings": "5oo", "opened_version": "1"}, headers=headers
    )

    assert page.status_code == 422
    assert ">\n5oo</textarea>" in page.text
    assert scene.trial(shop, 1).readings == [500.0, 501.0]


def test_a_trial_entered_by_mistake_is_taken_off(client: TestClient, shop: Store) -> None:
    """From the form that revises it, where it also says why not."""
    scene.run(shop, "2025-02-10", "501 503")
    edit = client.get(f"{BASE}/trials/1/edit")
    assert "Take trial 1 off the record" in edit.text

    stale = client.post(f"{BASE}/trials/1/drop", data={"opened_version": "7"}, follow_redirects=False)
    done = client.post(f"{BASE}/trials/1/drop", data={"opened_version": "1"}, follow_redirects=False)

    assert stale.status_code == 409
    assert "501" in stale.text
    assert done.status_code == 303
    assert client.get(f"{BASE}/trials/1").status_code == 404
    assert "was taken off the record" in client.get(done.headers["location"]).text
