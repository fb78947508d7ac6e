"""The page that holds two trials against each other, and says what else changed between them."""

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.records.commands.trials import NoteModsInForce
from server.records.store import Store
from tests.records import trial_scene as scene
from tests.records.trial_scene import CRASH, TAG, TIMING

HTMX = {"HX-Request": "true"}
COMPARE = "/machines/TM-03/compare"
SLOW = "500 503 498 501 502"
FAST = "400 403 398 401 402"


@pytest.fixture
def shop(app: FastAPI) -> Store:
    """The record behind the client: a machine, two procedures, a slow trial of each and no mod yet."""
    store: Store = app.state.store
    scene.set_up(store)
    scene.write_timing(store)
    scene.write_crash(store)
    scene.run(store, "2024-03-01", SLOW, instrument="stop-watch")
    scene.run(store, "2024-03-01", "yes " * 8, CRASH)
    return store


def held(client: TestClient, before: int, after: int) -> str:
    page = client.get(f"{COMPARE}?before={before}&after={after}")
    assert page.status_code == 200
    return page.text


# ---- The choice ----


def test_without_trials_it_says_what_comes_first(client: TestClient) -> None:
    """Two of one procedure."""
    client.post("/machines/new", data={"tag": "TM-03", "model": "Merle"})

    page = client.get(COMPARE)

    assert page.status_code == 200
    assert "It takes two trials of one procedure" in page.text


@pytest.mark.usefixtures("shop")
def test_the_choice_is_a_form_that_needs_no_script(client: TestClient) -> None:
    """Two choices and a GET, so that a comparison has an address of its own."""
    page = client.get(COMPARE)

    assert page.status_code == 200
    assert f'<form method="get" action="{COMPARE}">' in page.text
    assert page.text.count('<option value="1">Time to count to a thousand, 2024-03-01, trial 1</option>') == 2


@pytest.mark.usefixtures("shop")
@pytest.mark.parametrize(
    ("before", "after", "field", "sentence"),
    [
        ("1", "1", "after", "Both are the same trial."),
        ("1", "2", "after", "Only trials of the same procedure can be compared"),
        ("1", "", "after", "Choose a trial."),
        ("", "1", "before", "Choose a trial."),
        ("1", "99", "after", "There is no trial “99”."),
        ("<x>", "1", "before", "Choose a trial."),
        ("²", "1", "before", "Choose a trial."),
    ],
)
@pytest.mark.parametrize("headers", [{}, HTMX], ids=["plain", "htmx"])
def test_what_cannot_be_compared_is_said_beside_the_choice(
    client: TestClient, before: str, after: str, field: str, sentence: str, headers: dict[str, str]
) -> None:
    """With what was chosen still chosen."""
    page = client.get(COMPARE, params={"before": before, "after": after}, headers=headers)

    assert page.status_code == 422
    assert ("<!doctype" in page.text) == (not headers)
    assert f'id="f-{field}-error"><strong>Look again:</strong> {sentence}' in page.text
    assert ("selected" in page.text) == bool({before, after} & {"1", "2"})


# ---- Figures ----


def test_two_trials_are_held_against_each_other(client: TestClient, shop: Store) -> None:
    """Means, spreads, ratio with its interval, faster and less time named apart, Welch's test and a plain sentence."""
    scene.run(shop, "2024-04-01", FAST)

    text = held(client, 1, 3)

    assert "Better: 400.80 on average after, against 500.80 before" in text
    assert "500.80 ± 0.91 ms" in text
    assert "<dt>Ratio (above 1 is better)</dt><dd>1.2495 (1.2414 to 1.2577 at 95 %)</dd>" in text
    assert "<dt>Speed</dt><dd>25 % faster</dd>" in text
    assert "<dt>Time taken</dt><dd>20 % less time</dd>" in text
    assert "with 8 degrees of freedom, p below 0.0001" in text
    assert text.count('<path class="open"') == 5
    assert "The instruments differ: stop-watch and none noted." in text


def test_slower_is_not_called_faster_by_less_than_nothing(client: TestClient, shop: Store) -> None:
    """Signs are turned into words."""
    scene.run(shop, "2024-04-01", FAST)

    text = held(client, 3, 1)

    assert "20 % slower" in text
    assert "25 % more time" in text
    assert "The trial chosen as before was run later than the one chosen as after." in text


def test_a_current_is_not_called_faster(client: TestClient, shop: Store) -> None:
    """Percent faster is for times and rates."""
    scene.write_timing(shop, title="Supply current", unit="mA")
    for day, readings in (("2024-03-01", SLOW), ("2024-04-01", FAST)):
        scene.run(shop, day, readings, "supply-current")

    text = held(client, 3, 4)

    assert "faster" not in text
    assert "<dt>Ratio (above 1 is better)</dt>" in text


def test_a_target_is_compared_by_the_distance_from_it(client: TestClient, shop: Store) -> None:
    """Nearer is better, from either side."""
    scene.write_timing(shop, title="Line rate", unit="Hz", better="nearest", target="50")
    for day, readings in (("2024-03-01", "60 61 59 60"), ("2024-04-01", "48 49 48 49")):
        scene.run(shop, day, readings, "line-rate")

    text = held(client, 3, 4)

    assert "nearest to 50 Hz is better" in text
    assert '<th scope="row">Mean distance from the target</th><td>10 Hz</td><td>1.5 Hz</td>' in text
    assert "<h2>Line rate" in text


def test_one_reading_a_side_tells_only_what_the_resolution_allows(client: TestClient, shop: Store) -> None:
    """No p, no bounds at 95 %, and no verdict."""
    scene.run(shop, "2024-04-01", "500")
    scene.run(shop, "2024-05-01", "400")

    text = held(client, 3, 4)

    assert "Cannot say, with one reading a side" in text
    assert "1.2500 (1.2472 to 1.2528 as far as the resolution allows)" in text
    assert "none: it takes two readings a side, and some scatter" in text
    assert "not known from one reading" in text


def test_observations_are_compared_by_counts(client: TestClient, shop: Store) -> None:
    """Shares with their intervals and Fisher's exact test, and each observation as a dot at yes or at no."""
    scene.run(shop, "2024-04-01", "no " * 8, CRASH)

    text = held(client, 2, 3)

    assert "Less often: yes 0 of 8 times" in text
    assert '<th scope="row">Share</th><td>100 %</td><td>0 %</td>' in text
    assert "<dt>Fisher&#39;s exact test</dt><dd>p = 0.00016</dd>" in text
    assert text.count('d="M-5 0a5') == 16
    assert "No is better." in text


# ---- What else differs ----


def test_mods_and_parts_that_changed_between_are_shown(client: TestClient, shop: Store) -> None:
    """From the placements on the two days; one mod alone needs no warning."""
    scene.fit_resistor(shop, 1, "2024-03-10")
    scene.run(shop, "2024-04-01", FAST, instrument="stop-watch")

    text = held(client, 1, 3)

    assert "Not in force before: 1" in text
    assert "360 Ω ±5 % resistor" in text
    assert "330 Ω ±5 % resistor" in text
    assert '<a href="/machines/TM-03/mods/1">1 Lower R2</a></td></tr>' in text
    assert "Mind:" not in text


def test_more_than_one_mod_between_is_warned_of(client: TestClient, shop: Store) -> None:
    """The difference belongs to none of them alone."""
    scene.fit_mod(shop, 1, "2024-03-10")
    scene.fit_mod(shop, 2, "2024-03-11")
    scene.run(shop, "2024-04-01", FAST)

    assert "More than one mod changed between these trials (1, 2)" in held(client, 1, 3)


def test_parts_that_no_mod_accounts_for_are_warned_of(client: TestClient, shop: Store) -> None:
    """A part entered as fitted in between may be the cause."""
    part = {"board": "main-board", "designator": "C9", "kind": "capacitor", "value": "10 nF", "origin": "new"}
    scene.enter_part(shop, **part, fitted_on="2024-03-20")
    scene.run(shop, "2024-04-01", FAST)

    text = held(client, 1, 3)

    assert "Parts changed that no mod listed here accounts for" in text
    assert "<td>empty</td>" in text


def test_two_trials_of_one_day_do_not_pretend_to_know_the_parts(client: TestClient, shop: Store) -> None:
    """Parts are recorded by the day."""
    scene.run(shop, "2024-03-01", FAST)

    assert "Both trials are of one day" in held(client, 1, 3)


def test_only_this_machines_trials_can_be_chosen(client: TestClient, shop: Store) -> None:
    """Numbers are a machine's own: TM-04 has no trial 1."""
    client.post("/machines/new", data={"tag": "TM-04", "model": "Merle"})
    scene.run(shop, "2024-04-01", FAST)

    page = client.get("/machines/TM-04/compare?before=1&after=3")

    assert page.status_code == 422
    assert TIMING not in page.text


# ---- What is chosen, and why ----


@pytest.mark.parametrize("choosing", ["", "after"], ids=["compared", "chosen"])
def test_the_second_is_offered_of_the_same_procedure(client: TestClient, shop: Store, choosing: str) -> None:
    """As soon as the first is chosen; and nothing is said of saving, since nothing is saved."""
    scene.run(shop, "2024-04-01", FAST)

    page = client.get(COMPARE, params={"before": "1", "after": "2", "choosing": choosing}, headers=HTMX)

    after = page.text.partition('id="f-after"')[2].partition("</select>")[0]
    assert "trial 3</option>" in after
    assert "trial 2</option>" not in after
    assert "Nothing was saved" not in page.text
    assert ("Only trials of the same procedure" in page.text) == (not choosing)


def test_the_reason_for_other_mods_is_told(client: TestClient, shop: Store) -> None:
    """And the parts of the mod that it leaves out are not those of nobody."""
    scene.fit_resistor(shop, 1, "2024-03-10")
    number = scene.run(shop, "2024-03-10", FAST)
    scene.do(shop, NoteModsInForce, machine=TAG, trial=number, mods=[], reason="Read in the morning", opened_with="1")

    text = held(client, 1, number)

    assert f"With trial {number} other mods are noted than the days of their moves give" in text
    assert "Read in the morning." in text
    assert "no mod listed here accounts for" not in text
    assert "Parts changed by mod 1, which is not noted with each of these trials" in text
