"""Circuits of a mod: drawn up in rows, told in sentences, tables and pictures, revised at the calculation's address."""

import pytest
from fastapi import FastAPI
from httpx2 import Response
from starlette.testclient import TestClient

from server.records.commands.mods import PlanMod
from server.records.store import Store
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

MOD = "/machines/TM-03/mods/1"
NEW = f"{MOD}/circuits/new"
FIRST = f"{MOD}/calculations/1"
ROWS = [
    {"name": "V1", "kind": "source", "nodes": "rail, 0", "text": "12 V"},
    {"name": "R1", "nodes": "rail, hold", "source": "part", "board": "main-board", "designator": "R1"},
    {"name": "R2", "nodes": "hold, 0", "text": "100 Ω"},
    {"name": "T2", "kind": "npn", "nodes": "drive, hold, 0", "more": "drop 0.6 V, at 0.1 mA"},
    {"name": "R3", "nodes": "rail, drive", "text": "1 kΩ", "rating": "0.1 W", "basis": "its size"},
    {"name": "R4", "nodes": "drive, base", "text": "1 kΩ"},
    {"name": "R5", "nodes": "base, 0", "text": "2 kΩ"},
    {"name": "T1", "kind": "npn", "nodes": "out, base, 0", "more": "drop 0.6 V, at 0.1 mA"},
    {"name": "R6", "nodes": "rail, out", "text": "1 kΩ"},
]
BLANKING = {
    "title": "Blanking",
    "reference": "0",
    **{f"elements.{n}.{column}": text for n, row in enumerate(ROWS) for column, text in row.items()},
    "sweep_source": "V1",
    "sweep_high": "12 V",
    "sweep_low": "0 V",
    "questions.0.which": "T1",
    "questions.0.how": "conducts",
    "questions.0.which_too": "T2",
    "questions.0.how_too": "no longer conducts",
    "fall_kind": "time constant",
    "fall.0.text": "100 ms",
    "assumptions.0.sentence": "It is at rest.",
}


@pytest.fixture(autouse=True)
def mod(client: TestClient, app: FastAPI) -> None:
    """A machine with 1183 Ω at R1, and a mod."""
    set_up(client)
    enter_part(client, "R1", value="1183 Ω")
    store: Store = app.state.store
    planned = {"machine": "TM-03", "title": "No flash", "state": "planned", "day": "2025-02-01", "signer": "keeper"}
    store.carry_out(PlanMod.read(planned), "keeper")


def send(client: TestClient, address: str = NEW, htmx: bool = False, /, **other: str) -> Response:
    typed = BLANKING | {name.replace("__", "."): text for name, text in other.items()}
    return client.post(address, data=typed, headers=HTMX if htmx else {}, follow_redirects=False)


def drawn(client: TestClient, **other: str) -> Response:
    return client.get(address_of(send(client, **other)))


def test_the_mod_leads_to_the_form(client: TestClient) -> None:
    assert f'<a href="{NEW}">Draw up a circuit</a>' in client.get(MOD).text


@pytest.mark.parametrize("htmx", [False, True])
def test_a_new_circuit_begins_with_empty_rows_and_what_it_takes_for_granted(client: TestClient, htmx: bool) -> None:
    page = client.get(NEW, headers=HTMX if htmx else {})

    assert ("<!doctype" in page.text.lower()) != htmx
    assert page.text.count("<legend>Element ") == 6
    assert "NPN transistor (collector, base, emitter)" in words_of(page)
    assert "200 draws" in words_of(page)
    assert typed_in(page, "assumptions.0.sentence").startswith("At every voltage of the rail")
    assert_sound(page)


def test_a_circuit_is_told_in_sentences_tables_and_pictures(client: TestClient) -> None:
    """Common practice, no source: at 0.6 V of base drop it conducts from 7.7 V down to 1.2 V."""
    page = drawn(client)

    words = words_of(page)
    assert "As planned, a limit is broken." in words
    assert "When T1 conducts while T2 no longer holds it off: from 7.69" in words
    assert "down to 1.2" in words
    assert "ms after switch-off and lasts 18" in words
    assert "resistor: rail, drive" in words
    assert "0.1 W (its size)" in words
    assert page.text.count('<svg xmlns="http://www.w3.org/2000/svg" class="drawing"') == 3  # two cases, and the circuit
    assert "9 elements between 6 nodes" in page.text
    assert "Question 1: yes from 7.69" in words
    assert "Revise the circuit" in words
    assert_sound(page)


def test_without_tolerances_no_draws_are_told_of(client: TestClient) -> None:
    """One on a value of the circuit, of a question or of the fall is enough for brackets."""
    none = words_of(drawn(client))
    some = [
        words_of(drawn(client, **{name: text}))
        for name, text in (("elements__2__text", "100 Ω ±5 %"), ("fall__0__text", "100 ms ±10 %"))
    ]

    assert "No value has a tolerance, so no answer has an interval." in none
    assert "draws of the tolerances" not in none
    for words in some:
        assert "In brackets: the 95 % interval over 200 draws of the tolerances." in words
        assert "No value has a tolerance" not in words


@pytest.mark.parametrize(("instead", "shown"), [("wire", "a wire instead"), ("nothing", "left out")])
def test_an_empty_place_is_told_of_in_the_table_of_inputs(client: TestClient, instead: str, shown: str) -> None:
    """What stands there instead, and why."""
    assert client.post("/machines/TM-03/boards/main-board/positions/new",
                       data={"designator": "R9", "kind": "resistor", "mounting": "wired"},
                       follow_redirects=False).status_code == 303  # fmt: skip
    spare = {"name": "R9", "nodes": "rail, out", "source": "part", "board": "main-board", "designator": "R9",
             "when_empty": instead}  # fmt: skip
    page = drawn(client, **{f"elements__9__{column}": text for column, text in spare.items()})
    row = next(row for row in rows_of(page) if row[0].startswith("R9") and shown in row[1])

    assert f"{shown} nothing at R9" in row[1]
    assert not any("nothing at R9: " in cell for cell in row)


@pytest.mark.parametrize("htmx", [False, True])
def test_a_row_that_will_not_do_is_told_of_beside_it(client: TestClient, htmx: bool) -> None:
    answer = send(client, NEW, htmx, elements__2__nodes="hold, nowhere", elements__4__text="-5 Ω")

    assert answer.status_code == 422
    assert "negative" in message_beside(answer, "elements.4.text")
    assert typed_in(answer, "elements.4.text") == "-5 Ω"
    assert typed_in(answer, "elements.2.nodes") == "hold, nowhere"
    assert "R3, value" in words_of(answer)
    assert_sound(answer)


def test_a_floating_node_is_named_beside_the_element_that_ends_there(client: TestClient) -> None:
    alone = {"elements__9__name": "C1", "elements__9__kind": "capacitor", "elements__9__nodes": "apart, 0"}
    answer = send(client, **alone, elements__9__text="1 µF")

    assert answer.status_code == 422
    assert "Node “apart” floats" in message_beside(answer, "elements.9.nodes")


def test_more_rows_are_shown_where_they_are_asked_for(client: TestClient) -> None:
    answer = send(client, more="elements")

    assert answer.status_code == 200
    assert answer.text.count("<legend>Element ") == len(ROWS) + 3
    assert typed_in(answer, "elements.0.nodes") == "rail, 0"


def test_a_circuit_is_revised_at_its_calculation(client: TestClient) -> None:
    """Its form holds what was typed, and saving it unchanged keeps the run."""
    send(client)
    form = client.get(f"{FIRST}/edit")
    answer = send(client, f"{FIRST}/edit", title="Blanked", opened_version="1")

    assert typed_in(form, "elements.3.more") == "drop 0.6 V, at 0.1 mA"
    assert typed_in(form, "elements.3.text") == "100"  # the usual gain is written out
    assert typed_in(form, "fall.0.text") == "100 ms"
    assert address_of(answer) == FIRST
    page = client.get(FIRST)
    assert "<h1>Blanked</h1>" in page.text
    assert "Run 2" not in words_of(page)


def test_a_stale_circuit_shows_both_versions(client: TestClient) -> None:
    send(client)
    send(client, f"{FIRST}/edit", title="Theirs", opened_version="1")
    answer = send(client, f"{FIRST}/edit", title="Mine", opened_version="1")

    assert answer.status_code == 409
    assert "Theirs" in answer.text
    assert typed_in(answer, "title") == "Mine"
    assert_sound(answer)


def test_more_than_fifty_volts_bring_a_caution(client: TestClient) -> None:
    plain, high = drawn(client), drawn(client, elements__0__text="60 V", sweep_high="60 V")

    assert "more than 50" not in words_of(plain)
    assert "There is more than 50 V in this circuit" in words_of(high).replace("\N{NO-BREAK SPACE}", " ")


def test_hostile_names_stay_text(client: TestClient) -> None:
    name = "<script>x</script>"
    page = drawn(client, elements__5__name=name, note=HOSTILE)

    assert name not in page.text
    assert "&lt;script&gt;x" in page.text
    assert_sound(page)
