"""Sums of a mod: written in rows, from a method or freely, tied to parts, trials and lines, and ticked off."""

from dataclasses import replace

import pytest
from fastapi import FastAPI
from httpx2 import Response
from starlette.testclient import TestClient

from server.engineering.methods import MethodConstant, load_methods
from server.engineering.quantities import parse, show
from server.pages import calculation_form
from server.pages.calculation_form import compact, from_method, input_rows
from server.pages.forms import Form
from server.records.commands.mods import PlanMod
from server.records.commands.trials import RecordTrial, WriteProcedure
from server.records.store import Store
from tests.pages.benchwork import (
    HOSTILE,
    HTMX,
    address_of,
    assert_sound,
    enter_part,
    message_beside,
    post,
    rows_of,
    set_up,
    typed_in,
    words_of,
)

MOD = "/machines/TM-03/mods/1"
NEW = f"{MOD}/calculations/new"
FIRST = f"{MOD}/calculations/1"
METHOD = load_methods()["pin_series_resistor"]
LAMP = {
    "title": "Lamp current",
    "method": "",
    "inputs.0.name": "V",
    "inputs.0.label": "supply",
    "inputs.0.source": "typed",
    "inputs.0.text": "5 V ±5 %",
    "inputs.1.name": "R",
    "inputs.1.source": "part",
    "inputs.1.board": "main-board",
    "inputs.1.designator": "R1",
    "lines.0.name": "I",
    "lines.0.expression": "V / R",
    "lines.0.unit": "mA",
    "lines.0.label": "lamp current",
    "limits.0.line": "I",
    "limits.0.kind": "at_most",
    "limits.0.value": "12 mA",
    "limits.0.basis": "rating of the lamp",
    "assumptions.0.sentence": "The lamp takes no part of the voltage.",
    "assumptions.1.sentence": "The supply is steady.",
}


@pytest.fixture
def store(app: FastAPI) -> Store:
    store: Store = app.state.store
    return store


@pytest.fixture(autouse=True)
def mod(client: TestClient, store: Store) -> None:
    """A machine with 470 Ω at R1, a mod, and a trial of each sort."""
    set_up(client)
    enter_part(client, "R1", value="470 Ω ±5 %")
    day = {"day": "2025-02-01", "signer": "keeper"}
    store.carry_out(PlanMod.read({"machine": "TM-03", "title": "Brighter lamp", "state": "planned", **day}), "keeper")
    figures = {"title": "Lamp current", "unit": "mA", "better": "lower", "resolution": "0.1"}
    store.carry_out(WriteProcedure.read(figures), "keeper")
    store.carry_out(WriteProcedure.read({"title": "Lamp is lit", "better": "yes"}), "keeper")
    for procedure, readings in (("lamp-current", "9.8 9.9 9.7"), ("lamp-is-lit", "yes no")):
        trial = {"machine": "TM-03", "procedure": procedure, "readings": readings, **day}
        store.carry_out(RecordTrial.read(trial), "keeper")


def attach(client: TestClient, htmx: bool = False, /, **other: str) -> Response:
    typed = LAMP | {name.replace("__", "."): text for name, text in other.items()}
    return client.post(NEW, data=typed, headers=HTMX if htmx else {}, follow_redirects=False)


def attached(client: TestClient, **other: str) -> Response:
    answer = attach(client, **other)
    return client.get(address_of(answer))


# ---- The form ----


def test_a_new_sum_begins_from_a_method_or_with_a_few_rows(client: TestClient) -> None:
    page = client.get(NEW)

    assert f'<option value="{METHOD.slug}">{METHOD.title}</option>' in page.text
    assert page.text.count("<legend>Input ") == 3
    assert page.text.count("<legend>Line ") == 2
    assert_sound(page)


@pytest.mark.parametrize("htmx", [False, True])
def test_a_method_brings_its_rows_and_says_where_to_read_values(client: TestClient, htmx: bool) -> None:
    page = client.get(NEW, params={"method": METHOD.slug}, headers=HTMX if htmx else {})

    words = words_of(page)
    assert ("<!doctype" in page.text.lower()) != htmx
    assert all(given.where_to_read in words for given in METHOD.inputs)
    assert [show(given.usual) for given in METHOD.inputs] == [
        typed_in(page, f"inputs.{place}.text") for place in range(len(METHOD.inputs))
    ]
    assert f"Lines: {len(METHOD.lines)}, as the method brings them" in words
    assert "Unit expected" not in words  # names and units stay out of sight
    assert_sound(page)


def test_values_typed_elsewhere_begin_the_form(client: TestClient) -> None:
    page = client.get(NEW, params={"method": METHOD.slug, "value.R": "470 Ω", "value.no_such": "x"})

    assert typed_in(page, "inputs.1.text") == "470 Ω"
    assert typed_in(page, "inputs.0.text") == show(METHOD.inputs[0].usual)


def test_an_unknown_method_begins_an_empty_form(client: TestClient) -> None:
    page = client.get(NEW, params={"method": "no_such_method"})

    assert page.status_code == 200
    assert typed_in(page, "inputs.0.name") == ""


def test_a_constant_of_the_method_is_told_and_not_asked_for() -> None:
    """It goes along unchanged; where it was changed by hand it is an input like any other."""
    method = replace(METHOD, constants=(MethodConstant("k", "A constant", parse("2 V"), "IEC 1"),))
    form = from_method(method, {})
    last = len(method.inputs)

    kept = input_rows(form, method, last + 1)[-1]
    form.set(f"inputs.{last}.text", "3 V")
    changed = input_rows(form, method, last + 1)[-1]

    assert (kept.how, kept.label, kept.hint) == ("constant", "A constant", "IEC 1")
    assert changed.how == "own"
    assert calculation_form.rows_of(form)["inputs"][last]["text"] == "3 V"


def test_gaps_between_rows_close_and_untouched_rows_go() -> None:
    """Menus always stand at something, so a row is written only where a person wrote or chose."""
    form = Form.blank(
        **{
            "inputs.0.name": "", "inputs.0.source": "typed", "inputs.0.board": "main-board", "inputs.0.trial": "1",
            "inputs.3.name": "R", "inputs.3.source": "part",
            "lines.1.expression": "R", "assumptions.0.sentence": " ", "assumptions.0.note": "left from before",
            "assumptions.2.sentence": "It is\nso.", "limits.x.value": "5 V",
        }
    )  # fmt: skip

    compact(form)
    rows = calculation_form.rows_of(form)

    assert [row["name"] for row in rows["inputs"]] == ["R"]
    assert [row["expression"] for row in rows["lines"]] == ["R"]
    assert [row["sentence"] for row in rows["assumptions"]] == ["It is so."]
    assert rows["limits"] == []


@pytest.mark.parametrize("htmx", [False, True])
def test_a_sum_is_attached_and_shown(client: TestClient, htmx: bool) -> None:
    answer = attach(client, htmx)

    page = client.get(address_of(answer), headers=HTMX if htmx else {})
    words = words_of(page)
    assert address_of(answer) == FIRST
    assert "lamp current is 10.64 mA, and at worst 11.76 mA: within the 12 mA allowed. rating of the lamp" in words
    assert rows_of(page)[0][:3] == ["stock", "10.64", "9.625 to 11.76"]
    assert "470 Ω ±5 % original part at R1" in words
    assert "The supply is steady. Not tested." in words
    assert '<figure class="picture">' in page.text
    assert_sound(page)


@pytest.mark.parametrize("htmx", [False, True])
def test_a_sum_that_will_not_do_comes_back_as_it_was_typed(client: TestClient, htmx: bool) -> None:
    answer = attach(client, htmx, inputs__0__text="5 volts or so", inputs__0__label=HOSTILE, lines__0__label="kept")

    assert answer.status_code == 422
    assert ("<!doctype" in answer.text.lower()) != htmx
    assert message_beside(answer, "inputs.0.text")
    assert typed_in(answer, "inputs.0.text") == "5 volts or so"
    assert (typed_in(answer, "inputs.0.label"), typed_in(answer, "lines.0.label")) == (HOSTILE, "kept")
    assert_sound(answer)


@pytest.mark.parametrize(
    ("other", "field", "said"),
    [
        ({"title": ""}, "title", "cannot be left empty"),
        ({"inputs__1__designator": "R99"}, "inputs.1.designator", "There is no position “R99”"),
        ({"lines__0__expression": "V / Q"}, "lines.0.expression", "Q"),
        ({"lines__0__unit": "V"}, "lines.0.unit", "not to a voltage"),
        ({"limits__0__value": "12 V"}, "limits.0.value", "cannot be held against"),
        ({"limits__0__line": "J"}, "limits.0.line", "There is no line J"),
        ({"inputs__0__name": "R"}, "inputs.1.name", "R"),
        ({"inputs__1__source": "trial", "inputs__1__trial": "9"}, "inputs.1.trial", "There is no trial “9”"),
    ],
)
def test_each_fault_is_told_beside_its_field(client: TestClient, other: dict[str, str], field: str, said: str) -> None:
    answer = attach(client, **other)

    assert answer.status_code == 422
    assert said in message_beside(answer, field)


def test_the_summary_names_the_row_and_what_of_it(client: TestClient) -> None:
    answer = attach(client, inputs__0__text="5 volts or so", lines__0__expression="V //")

    words = words_of(answer)
    assert "supply, value: " in words
    assert "lamp current, formula: " in words


def test_a_value_outside_a_methods_range_is_told_beside_its_field(client: TestClient) -> None:
    typed = {name: values[0] for name, values in from_method(METHOD, {"R": "0 Ω"}).values.items()}

    answer = client.post(NEW, data=typed)

    assert answer.status_code == 422
    assert message_beside(answer, "inputs.1.text") == "Look again: It is 0 Ω: at least 1 mΩ is needed."
    assert "Series resistor, value: It is 0 Ω" in words_of(answer)


@pytest.mark.parametrize("htmx", [False, True])
def test_more_rows_are_shown_without_a_word_about_the_others(client: TestClient, htmx: bool) -> None:
    page = attach(client, htmx, more="lines", title="")

    assert page.status_code == 200
    assert ("<!doctype" in page.text.lower()) != htmx
    assert page.text.count("<legend>Line ") == 4
    assert typed_in(page, "lines.0.expression") == "V / R"
    assert "error-summary" not in page.text


def test_trials_with_a_mean_and_lines_of_other_sums_are_offered(client: TestClient) -> None:
    """What was only seen or not seen has no mean; a sum does not read itself."""
    attach(client)

    page = client.get(NEW)

    assert '<option value="1">Trial 1, 2025-02-01: Lamp current (mA)</option>' in page.text
    assert "Lamp is lit" not in page.text
    assert '<option value="1:I">I of calculation 1, lamp current</option>' in page.text
    assert "1:I" not in client.get(f"{FIRST}/edit").text


def test_a_sum_reads_a_trial_and_a_line_of_another(client: TestClient) -> None:
    attach(client)
    tied = {
        "title": "Difference",
        "inputs.0.name": "I_meant", "inputs.0.source": "line", "inputs.0.other": "1:I",
        "inputs.1.name": "I_seen", "inputs.1.source": "trial", "inputs.1.trial": "1",
        "lines.0.name": "D", "lines.0.expression": "I_meant - I_seen", "lines.0.unit": "mA",
    }  # fmt: skip

    answer = client.post(NEW, data=tied, follow_redirects=False)

    words = words_of(client.get(address_of(answer)))
    assert "line I of calculation 1" in words
    assert "mean of trial 1" in words
    edit = client.get(f"{MOD}/calculations/2/edit")
    assert (typed_in(edit, "inputs.0.other"), typed_in(edit, "inputs.1.trial")) == ("1:I", "1")


def test_a_choice_that_is_no_longer_offered_stays_until_it_is_changed(client: TestClient) -> None:
    """The other sum lost its line: the form still says what was read, and the refusal stands beside it."""
    attach(client)
    tied = {"title": "Other", "inputs.0.name": "I", "inputs.0.source": "line", "inputs.0.other": "1:gone"}

    answer = client.post(NEW, data=tied | {"lines.0.name": "J", "lines.0.expression": "2 * I"})

    assert answer.status_code == 422
    assert typed_in(answer, "inputs.0.other") == "1:gone"
    assert "has no line gone" in message_beside(answer, "inputs.0.other")


def test_a_limited_line_without_any_tolerance_is_drawn_too(client: TestClient) -> None:
    page = attached(client, inputs__0__text="5 V", inputs__1__source="typed", inputs__1__text="470 Ω")

    assert page.status_code == 200
    assert "10.64" in words_of(page)
    assert "the same" in words_of(page)


# ---- Revising ----


def revise(client: TestClient, htmx: bool = False, version: str = "1", **other: str) -> Response:
    typed = LAMP | {"opened_version": version} | {name.replace("__", "."): text for name, text in other.items()}
    return client.post(f"{FIRST}/edit", data=typed, headers=HTMX if htmx else {}, follow_redirects=False)


@pytest.mark.parametrize("htmx", [False, True])
def test_a_revised_sum_runs_again_beside_the_old_result(client: TestClient, htmx: bool) -> None:
    attach(client)
    form = client.get(f"{FIRST}/edit")

    answer = revise(client, htmx, limits__0__value="11 mA")

    page = client.get(address_of(answer))
    assert typed_in(form, "limits.0.value") == "12 mA"
    assert "over the 11 mA allowed" in words_of(page)
    assert "Run 2, revised" in words_of(page)
    assert "Run 1, first run" in words_of(page)


@pytest.mark.parametrize("htmx", [False, True])
def test_the_second_of_two_keepers_sees_both_versions(client: TestClient, htmx: bool) -> None:
    attach(client)
    revise(client, title="Lamp current, again")

    answer = revise(client, htmx, title="Mine")

    assert answer.status_code == 409
    assert ("<!doctype" in answer.text.lower()) != htmx
    assert ["title differs", "Mine", "Lamp current, again"] in rows_of(answer)
    assert typed_in(answer, "title") == "Mine"
    assert typed_in(answer, "opened_version") == "2"
    assert address_of(revise(client, title="Mine", version="2")) == FIRST


def test_a_tick_and_its_note_outlive_a_revision(client: TestClient) -> None:
    attach(client)
    tick(client)
    form = client.get(f"{FIRST}/edit")
    tested, note = (typed_in(form, f"assumptions.0.{name}") for name in ("tested", "note"))

    revise(client, version="2", title="Again", assumptions__0__tested=tested, assumptions__0__note=note)

    assert (tested, note) == ("yes", "seen on the meter")
    assert "The lamp takes no part of the voltage. Tested." in words_of(client.get(FIRST))


# ---- Ticking assumptions ----


def tick(client: TestClient, htmx: bool = False, row: int = 1, **other: str) -> Response:
    typed = {"tested": "yes", "note": "seen on the meter", "opened_version": "1"} | other
    return post(client, f"{FIRST}/assumptions/{row}", htmx, **typed)


@pytest.mark.parametrize("htmx", [False, True])
def test_an_assumption_is_ticked_on_the_page(client: TestClient, htmx: bool) -> None:
    attach(client)

    answer = tick(client, htmx)

    page = client.get(FIRST)
    assert address_of(answer).startswith(FIRST)
    assert address_of(answer).endswith("#assumptions")
    assert "The lamp takes no part of the voltage. Tested." in words_of(page)
    assert "The supply is steady. Not tested." in words_of(page)
    assert 'value="seen on the meter"' in page.text
    assert "Run 2" not in words_of(page)
    assert_sound(page)


@pytest.mark.parametrize("htmx", [False, True])
def test_a_tick_that_will_not_do_comes_back_as_it_was_typed(client: TestClient, htmx: bool) -> None:
    attach(client)

    answer = tick(client, htmx, note="x" * 301)

    assert answer.status_code == 422
    assert ("<!doctype" in answer.text.lower()) != htmx
    assert 'id="a1-note-error"' in answer.text
    assert "301 characters" in words_of(answer)
    assert f'value="{"x" * 301}"' in answer.text
    assert "The lamp takes no part of the voltage. Not tested." in words_of(answer)
    assert_sound(answer)


@pytest.mark.parametrize("htmx", [False, True])
def test_the_second_to_tick_sees_what_the_first_said(client: TestClient, htmx: bool) -> None:
    attach(client)
    tick(client)

    answer = tick(client, htmx, note="not so")

    assert answer.status_code == 409
    assert ("<!doctype" in answer.text.lower()) != htmx
    assert ["note differs", "not so", "seen on the meter"] in rows_of(answer)
    assert 'value="not so"' in answer.text
    assert address_of(tick(client, note="not so", opened_version="2"))
    assert_sound(answer)


def test_what_was_said_of_an_assumption_taken_away_meanwhile_is_not_lost(client: TestClient) -> None:
    attach(client)

    answer = tick(client, row=7, note="meter: 9.8 mA")

    assert answer.status_code == 422
    assert "There is no assumption “7”." in words_of(answer)
    assert 'value="meter: 9.8 mA"' in answer.text
    assert_sound(answer)
