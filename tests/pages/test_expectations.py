"""The form that writes down what a mod is expected to do, and what its page says came of it."""

from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.records.commands import calculations, trials
from server.records.store import Store
from tests.pages.benchwork import HOSTILE, HTMX, assert_sound, message_beside, words_of
from tests.records import trial_scene as scene
from tests.records.trial_scene import CRASH, TAG, TIMING, do

BOTH_WAYS = pytest.mark.parametrize("headers", [{}, HTMX], ids=["plain", "htmx"])
MOD = f"/machines/{TAG}/mods/1"
NEW = f"{MOD}/expectations/new"
CURRENT = "lamp-current"
AGREES: dict[str, Any] = {
    "sentence": "The lamp draws what the sum says",
    "procedure": CURRENT,
    "line": "1:I",
    "sense": "agrees with the calculation",
    "bound": "",
}


@pytest.fixture
def shop(app: FastAPI) -> Store:
    """The record behind the client: mod 1 is fitted, and its sum says 15.15 mA, 13.71 to 16.75 mA at worst."""
    store: Store = app.state.store
    scene.set_up(store)
    scene.write_timing(store)
    do(store, trials.WriteProcedure, title="Lamp current", unit="mA", resolution="0.01", better="lower")
    scene.fit_resistor(store, 1, "2024-03-10")
    do(
        store,
        calculations.AttachCalculation,
        machine=TAG,
        mod=1,
        title="Lamp",
        inputs=[
            {"name": "V", "text": "5 V ±5 %"},
            {"name": "R", "source": "part", "board": "main-board", "designator": "R2"},
        ],
        lines=[{"name": "I", "expression": "V / R", "unit": "mA", "label": "lamp <i>current</i>"}],
    )
    return store


@pytest.mark.usefixtures("shop")
def test_a_line_is_chosen_by_its_sum_its_name_and_what_it_is(client: TestClient) -> None:
    """One choice, not two."""
    page = client.get(NEW)

    assert_sound(page)
    assert '<option value="1:I">Calculation 1, I: lamp &lt;i&gt;current&lt;/i&gt; (mA)</option>' in page.text


def test_a_mod_without_sums_offers_no_line(client: TestClient, shop: Store) -> None:
    """Nothing is asked for that there is none of."""
    scene.fit_mod(shop, 2, "2024-03-11")

    page = client.get(f"/machines/{TAG}/mods/2/expectations/new")

    assert "Foretold by the line" not in page.text
    assert "in the line’s" not in page.text


@BOTH_WAYS
def test_readings_are_held_against_the_line(client: TestClient, shop: Store, headers: dict[str, str]) -> None:
    """The page says the rule, the verdict, both intervals, and leads to the sum."""
    answer = client.post(NEW, data=AGREES, headers=headers, follow_redirects=False)
    scene.run(shop, "2024-04-01", "15.10 15.15 15.12", CURRENT)

    page = client.get(MOD)

    assert answer.status_code == (204 if headers else 303)
    assert_sound(page)
    words = words_of(page)
    assert "The lamp draws what the sum says (the readings: agrees with the calculation): met" in words
    assert "all of it within the 13.71 to 16.75 mA that I of calculation 1 comes to at worst, as fitted." in words
    assert f'<a href="{MOD}/calculations/1">Look at calculation 1</a>' in page.text


@pytest.mark.usefixtures("shop")
def test_a_bound_on_a_line_alone_is_reckoned(client: TestClient) -> None:
    """In the line's unit, and never called met."""
    client.post(NEW, data=AGREES | {"procedure": "", "sense": "falls below", "bound": "17"})

    words = words_of(client.get(MOD))

    assert "(I: falls below 17 mA): not yet tested" in words
    assert "Reckoned, not tested: as fitted, I of calculation 1 comes to 15.15 mA" in words


@BOTH_WAYS
@pytest.mark.usefixtures("shop")
@pytest.mark.parametrize(
    ("changed", "field", "message"),
    [
        ({"procedure": ""}, "procedure", "Choose the procedure whose readings"),
        ({"line": ""}, "line", "Choose the line that the readings"),
        ({"line": "x:y"}, "line", "Write a whole number."),
        ({"line": "9:I"}, "line", "There is no calculation “9”."),
        ({"line": "1:gone"}, "line", "Calculation 1 has no line “gone”."),
        ({"procedure": TIMING}, "line", "The readings are in ms and the line is in mA"),
        ({"line": HOSTILE}, "line", ""),
    ],
)
def test_what_cannot_agree_comes_back_as_typed(
    client: TestClient, headers: dict[str, str], changed: dict[str, str], field: str, message: str
) -> None:
    """With the message beside its field and every other choice kept."""
    page = client.post(NEW, data=AGREES | changed, headers=headers)

    assert page.status_code == 422
    assert ("<!doctype" in page.text) == (not headers)
    assert message in message_beside(page, field)
    assert 'value="The lamp draws what the sum says"' in page.text
    assert '<option value="agrees with the calculation" selected>' in page.text


@BOTH_WAYS
@pytest.mark.parametrize(
    ("changed", "field", "sentence"),
    [
        ({"sense": "no longer seen"}, "sense", "told by yes or no, and “Lamp current” gives figures."),
        ({"sense": "seen"}, "sense", "“seen” is told by yes or no"),
        ({"sense": "falls below", "bound": "1", "procedure": CRASH}, "sense", "gives yes or no."),
        ({"sense": "rises above", "bound": "1", "procedure": "", "line": ""}, "procedure", "Choose what “rises above”"),
        ({"sense": "falls below", "bound": "9 V"}, "bound", "V and mA do not measure the same. Write a number in mA."),
        ({"sense": "falls below", "bound": "soon"}, "bound", "“soon” is not a number. Write a number in mA."),
        ({"sense": "falls below", "bound": "9 lamps"}, "bound", "This is in lamps, and mA is asked."),
    ],
)  # fmt: skip
def test_what_nothing_could_answer_is_refused(
    client: TestClient, shop: Store, headers: dict[str, str], changed: dict[str, str], field: str, sentence: str
) -> None:
    """Beside the field, with everything as it was typed."""
    scene.write_crash(shop)

    page = client.post(NEW, data=AGREES | changed, headers=headers)

    assert page.status_code == 422
    assert sentence in message_beside(page, field)


@pytest.mark.parametrize("procedure", [CURRENT, ""], ids=["of a procedure", "of a line"])
@pytest.mark.usefixtures("shop")
def test_a_bound_may_bring_its_unit(client: TestClient, procedure: str) -> None:
    """It is kept in the unit of what it is held against."""
    client.post(NEW, data=AGREES | {"procedure": procedure, "sense": "falls below", "bound": "17000 uA"})

    assert "falls below 17 mA" in words_of(client.get(MOD))


@pytest.mark.usefixtures("shop")
def test_the_choices_name_their_units(client: TestClient) -> None:
    """So that a bound can be typed without looking elsewhere."""
    assert ">Lamp current (mA)</option>" in client.get(NEW).text


@BOTH_WAYS
@pytest.mark.usefixtures("shop")
def test_an_expectation_is_taken_away_after_a_question(client: TestClient, headers: dict[str, str]) -> None:
    """The page says which; the journal says it in a sentence."""
    client.post(NEW, data=AGREES)
    asked = client.get(f"{MOD}/expectations/1/drop", headers=headers)

    assert_sound(asked)
    assert f'href="{MOD}/expectations/1/drop"' in client.get(MOD).text
    assert AGREES["sentence"] in words_of(asked)
    client.post(f"{MOD}/expectations/1/drop", data={"sentence": AGREES["sentence"]}, headers=headers)
    assert client.get(f"{MOD}/expectations/1/drop").status_code == 404
    assert "is no longer expected to: The lamp draws" in words_of(client.get("/journal"))
