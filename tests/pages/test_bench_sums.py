"""Sums and readers at the bench: what is asked stands in the address, and what will not do is told beside its field."""

import re
from urllib.parse import parse_qs, urlsplit

import pytest
from fastapi import FastAPI
from httpx2 import Response
from hypothesis import HealthCheck, given
from hypothesis import settings as effort
from hypothesis import strategies as st
from markupsafe import escape
from starlette.testclient import TestClient

from server.engineering.methods import load_methods
from server.engineering.quantities import show
from server.pages.bench_sums import READERS, first_sentence
from server.records.commands.mods import MoveMod, PlanMod
from server.records.store import Store
from tests.pages.benchwork import (
    HOSTILE,
    HTMX,
    assert_sound,
    message_beside,
    queries,
    rows_of,
    set_up,
    typed_in,
    words_of,
)

METHODS = load_methods()
METHOD = METHODS["pin_series_resistor"]
SUM = f"/bench-sums/{METHOD.slug}"
USUAL = {given.name: show(given.usual) for given in METHOD.inputs}
MARKING, PREFERRED, DATE_CODE = (reader.address for reader in READERS)


@pytest.fixture
def store(app: FastAPI) -> Store:
    store: Store = app.state.store
    return store


def ask(client: TestClient, address: str, htmx: bool = False, /, **typed: str) -> Response:
    return client.get(address, params=typed, headers=HTMX if htmx else {}, follow_redirects=False)


def plan(store: Store, title: str = "Protect the pin", state: str = "planned") -> None:
    day = {"day": "2025-02-01", "signer": "keeper"}
    store.carry_out(PlanMod.read({"machine": "TM-03", "title": title, "state": state, **day}), "keeper")


# ---- The list ----


def test_every_method_and_reader_is_listed_with_what_it_is_for(client: TestClient) -> None:
    page = client.get("/bench-sums")

    words = words_of(page)
    for method in METHODS.values():
        assert f'<a href="/bench-sums/{method.slug}">{escape(method.title)}</a>' in page.text
        assert first_sentence(method.purpose) in words
    for reader in READERS:
        assert f'href="{reader.address}"' in page.text
    assert_sound(page)


def test_no_method_takes_the_address_of_a_reader() -> None:
    assert {reader.address.rpartition("/")[2] for reader in READERS}.isdisjoint(METHODS)


@pytest.mark.parametrize(
    ("purpose", "line"),
    [
        ("One thing: this. And\nanother.", "One thing: this."),
        ("Only 1.5 V of\n  it", "Only 1.5 V of it."),
    ],
)
def test_a_purpose_is_told_in_a_line(purpose: str, line: str) -> None:
    assert line == first_sentence(purpose)


# ---- A method ----


@pytest.mark.parametrize("slug", sorted(METHODS))
def test_every_method_is_worked_out_at_its_usual_values(client: TestClient, slug: str) -> None:
    page = client.get(f"/bench-sums/{slug}")

    method, words = METHODS[slug], words_of(page)
    assert page.status_code == 200
    assert len(rows_of(page)) == len(method.lines)
    assert page.text.count('<figure class="picture">') == len({limit.line for limit in method.limits})
    told = (*method.assumptions, *method.cautions, *method.sources, *(given.where_to_read for given in method.inputs))
    assert all(" ".join(sentence.split()) in words for sentence in told)
    assert_sound(page)


@pytest.mark.parametrize("htmx", [False, True])
def test_a_sum_is_worked_out_from_its_address(client: TestClient, htmx: bool) -> None:
    page = ask(client, SUM, htmx, R="330 Ω ±5 %", V="5 V ±5 %")

    words = words_of(page)
    assert page.status_code == 200
    assert ("<!doctype" in page.text.lower()) != htmx
    assert "Current if driven the other way is 15.15 mA, and at worst 16.75 mA: over the 10 mA allowed." in words
    assert "Absolute maximum rating of the pin" in words
    nominal, _, interval, unit = rows_of(page)[0][1:5]
    # Two equal rectangular spreads of 5 % make a triangle of 10 %, of which 95 % lie within 7.76 %.
    assert (nominal, unit) == ("15.15", "mA")
    assert [float(end) for end in interval.split(" to ")] == pytest.approx([15.15 * 0.9224, 15.15 * 1.0776], rel=0.005)
    assert typed_in(page, "R") == "330 Ω ±5 %"
    assert typed_in(page, "I_rated") == USUAL["I_rated"]
    assert_sound(page)


@pytest.mark.parametrize("htmx", [False, True])
def test_values_that_will_not_do_are_told_beside_their_fields(client: TestClient, htmx: bool) -> None:
    page = ask(client, SUM, htmx, R="0 Ω", V=HOSTILE, I_rated="4 V", P_rated="", V_IH="2,0 V")

    assert page.status_code == 422
    assert ("<!doctype" in page.text.lower()) != htmx
    assert message_beside(page, "R") == "Look again: It is 0 Ω: at least 1 mΩ is needed."
    assert message_beside(page, "I_rated") == "Look again: V is a voltage (V), and a current (A) is asked for."
    assert message_beside(page, "P_rated") == "Look again: There is no value here."
    assert message_beside(page, "V")
    assert (typed_in(page, "R"), typed_in(page, "V"), typed_in(page, "V_IH")) == ("0 Ω", HOSTILE, "2,0 V")
    assert "Nothing yet: these need another look." in words_of(page)
    assert '<figure class="picture">' not in page.text
    assert_sound(page)


def test_a_sum_that_cannot_be_worked_out_says_why(client: TestClient) -> None:
    """Each value is in order by itself; the whole is not, and the page says so rather than fail."""
    page = ask(client, SUM, R="1 mΩ", V="1e300 V")

    assert page.status_code == 422
    assert "too large" in words_of(page)
    assert_sound(page)


def test_what_is_shown_asks_for_its_own_part_as_values_change(client: TestClient) -> None:
    """Only the outcome is swapped while somebody types, and the address follows without a new page in the history."""
    page = client.get(SUM)

    live = re.search(r'<div hx-get="[^"]*" hx-trigger="change from:closest form"[^>]*>', page.text)
    assert live
    assert 'hx-select="#sum"' in live[0]
    assert 'hx-replace-url="true"' in live[0]
    assert 'hx-push-url="false"' in live[0]
    assert page.text.count('id="sum"') == 1


def test_there_is_no_sum_of_another_name(client: TestClient) -> None:
    assert client.get("/bench-sums/no_such_sum").status_code == 404
    assert client.get("/bench-sums/no_such_sum/attach").status_code == 404


@effort(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(text=st.text(max_size=60))
def test_whatever_is_typed_is_worked_out_or_told(client: TestClient, text: str) -> None:
    page = ask(client, SUM, R=text)

    assert page.status_code in (200, 422)
    assert ("error-summary" in page.text) == (page.status_code == 422)


# ---- Attaching a sum to a mod ----


def test_without_a_mod_the_page_says_what_comes_first(client: TestClient) -> None:
    assert "no mod is written down yet" in words_of(client.get(SUM))


def test_mods_that_are_not_over_are_offered_by_machine(client: TestClient, store: Store) -> None:
    set_up(client)
    plan(store)
    plan(store, "Given up", "considered")
    given_up = {"machine": "TM-03", "mod": 2, "state": "dropped", "day": "2025-02-02", "signer": "keeper"}
    store.carry_out(MoveMod.read(given_up), "keeper")

    page = client.get(SUM)

    assert '<optgroup label="TM-03">' in page.text
    assert '<option value="TM-03/1">Mod 1, Protect the pin</option>' in page.text
    assert "TM-03/2" not in page.text


def test_as_many_questions_are_asked_for_many_mods_as_for_one(client: TestClient, store: Store) -> None:
    set_up(client)
    plan(store)
    with queries(store) as few:
        client.get(SUM)
    for number in range(30):
        plan(store, f"Mod {number}")

    with queries(store) as many:
        page = client.get(SUM)

    assert len(few) == len(many)
    assert page.text.count('<option value="TM-03/') == 20


def test_a_sum_goes_on_to_the_form_of_the_mod_with_its_values(client: TestClient, store: Store) -> None:
    set_up(client)
    plan(store)
    typed = USUAL | {"R": "470 Ω 5%", "V": "5 V & a bit"}

    answer = ask(client, f"{SUM}/attach", **typed, **{"attach-to": "TM-03/1"})

    target = urlsplit(answer.headers["location"])
    form = client.get(answer.headers["location"])
    assert answer.status_code == 303
    assert target.path == "/machines/TM-03/mods/1/calculations/new"
    assert parse_qs(target.query)["value.R"] == ["470 Ω 5%"]
    assert (typed_in(form, "inputs.0.text"), typed_in(form, "inputs.1.text")) == ("5 V & a bit", "470 Ω 5%")


@pytest.mark.parametrize("chosen", ["", "TM-03", "TM-03/9", "TM-99/1", "TM-03/x", "//", "TM-03/" + "9" * 400])
def test_a_mod_that_is_not_there_is_asked_for_again(client: TestClient, store: Store, chosen: str) -> None:
    set_up(client)
    plan(store)

    page = ask(client, f"{SUM}/attach", **USUAL, **{"attach-to": chosen})

    assert page.status_code == 422
    assert message_beside(page, "attach-to") == "Look again: Choose the mod that this sum belongs to."
    assert typed_in(page, "R") == USUAL["R"]
    assert_sound(page)


# ---- Markings ----


@pytest.mark.parametrize("htmx", [False, True])
@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"text": "4k7J"}, "4.7 kΩ ±5 %, from the letter code 4k7J. From 4.465 kΩ to 4.935 kΩ."),
        ({"text": "01C"}, "10 kΩ ±1 %, from the EIA-96 code 01C."),
        ({"text": "4702"}, "47 kΩ, no tolerance marked, from the four-digit code 4702 in ohms."),
        ({"text": "104K", "kind": "capacitor"}, "100 nF ±10 %, from the three-digit code 104K in picofarads."),
        ({"text": "yellow violet red gold"}, "4.7 kΩ ±5 %, from yellow violet red gold."),
        ({"text": "Yellow, Violet, Red"}, "4.7 kΩ ±20 %, from yellow violet red."),
        ({"text": "4.7 kΩ 5 %"}, "4.7 kΩ ±5 %, as a plain value."),
        ({"text": "104K", "code": "letter code"}, "It says 104 kΩ, no tolerance marked, from the letter code 104K."),
        ({"band1": "brown", "band2": "black", "band3": "orange", "band4": "gold"}, "10 kΩ ±5 %, from brown black"),
        ({"text": "4k7J"}, "In bands: yellow violet red gold."),
    ],
)
def test_a_marking_is_read(client: TestClient, typed: dict[str, str], said: str, htmx: bool) -> None:
    page = ask(client, MARKING, htmx, **typed)

    assert page.status_code == 200
    assert ("<!doctype" in page.text.lower()) != htmx
    assert said in words_of(page)
    assert_sound(page)


def test_a_marking_of_two_meanings_is_told_with_both(client: TestClient) -> None:
    words = words_of(ask(client, MARKING, text="104K"))

    assert "It has 2 readings, the likeliest first." in words
    assert words.index("100 kΩ ±10 %") < words.index("104 kΩ, no tolerance marked")


@pytest.mark.parametrize("htmx", [False, True])
@pytest.mark.parametrize(
    ("typed", "field", "said"),
    [
        ({"text": "Z99"}, "text", "Z99"),
        ({"text": "yellow violet blak gold"}, "text", "Band 3, “blak”, is no colour of the code."),
        ({"text": "gold red violet yellow"}, "text", "Read from the other end it is 4.7 kΩ ±5 %"),
        ({"text": "4k7", "code": "EIA-96"}, "text", "has no reading as EIA-96"),
        ({"text": "4k7", "kind": "diode"}, "kind", "“diode” is neither"),
        ({"band1": "gold", "band2": "gold", "band3": "red"}, "band1", "Band 1, gold, is no digit."),
        ({"text": "1" * 500}, "text", "at most 80 characters"),
    ],
)
def test_a_marking_that_is_none_is_told_beside_its_field(
    client: TestClient, typed: dict[str, str], field: str, said: str, htmx: bool
) -> None:
    page = ask(client, MARKING, htmx, **typed)

    assert page.status_code == 422
    assert said in message_beside(page, field)
    assert [typed_in(page, name) for name in typed if name != "kind"] == [
        text for name, text in typed.items() if name != "kind"
    ]
    assert_sound(page)


def test_a_marking_nobody_typed_yet_has_examples_that_can_be_read(client: TestClient) -> None:
    page = client.get(MARKING)

    examples = re.findall(r'href="(/bench-sums/marking\?[^"]*)"', page.text)
    assert page.status_code == 200
    assert examples
    assert {200} == {client.get(address.replace("&amp;", "&")).status_code for address in examples}


# ---- Preferred values ----


@pytest.mark.parametrize("htmx", [False, True])
def test_the_nearest_value_and_the_best_pairs_are_found(client: TestClient, htmx: bool) -> None:
    page = ask(client, PREFERRED, htmx, value="4.55k")

    rows = rows_of(page)
    assert page.status_code == 200
    assert ("<!doctype" in page.text.lower()) != htmx
    assert rows[:3] == [
        ["Nearest", "4.7 kΩ", "+3.3 %"],
        ["Next below", "4.3 kΩ", "−5.5 %"],
        ["Next above", "4.7 kΩ", "+3.3 %"],
    ]
    assert rows[3] == ["9.1 kΩ and 9.1 kΩ", "in parallel", "4.55 kΩ", "exact", "4.322 kΩ to 4.778 kΩ"]
    assert len(rows) == 3 + 8
    assert_sound(page)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"value": "470", "series": "E12"}, ["Nearest", "470 Ω", "exact"]),
        ({"value": "33 nF", "kind": "capacitor", "series": "E3"}, ["Nearest", "47 nF", "+42 %"]),
        ({"value": "33 nF", "kind": "capacitor", "series": "E3"}, "not told by the series"),
        ({"value": "100 Ω", "joined": "series"}, "in series"),
    ],
)
def test_series_and_kinds_are_kept_apart(client: TestClient, typed: dict[str, str], said: list[str] | str) -> None:
    page = ask(client, PREFERRED, **typed)

    if isinstance(said, str):
        assert said in words_of(page)
    else:
        assert said in rows_of(page)


def test_pairs_can_be_asked_for_in_one_way_only(client: TestClient) -> None:
    rows = rows_of(ask(client, PREFERRED, value="100 Ω", joined="series"))[3:]

    assert {row[1] for row in rows} == {"in series"}


@pytest.mark.parametrize("htmx", [False, True])
@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"value": "0 Ω"}, "positive number"),
        ({"value": "5 V"}, "V is a voltage (V), and a resistance (Ω) is asked for."),
        ({"value": "100", "kind": "capacitor"}, "100 needs its unit on a capacitor"),
        ({"value": "lots"}, "A value begins with a number."),
        ({"value": "1 Ω", "series": "E7"}, "There is no series “E7”"),
    ],
)
def test_a_value_without_a_nearest_is_told_beside_its_field(
    client: TestClient, typed: dict[str, str], said: str, htmx: bool
) -> None:
    page = ask(client, PREFERRED, htmx, **typed)

    assert page.status_code == 422
    assert said in message_beside(page, "value")
    assert typed_in(page, "value") == typed["value"]
    assert_sound(page)


# ---- Date codes ----


@pytest.mark.parametrize("htmx", [False, True])
def test_a_date_code_is_told_with_every_reading(client: TestClient, htmx: bool) -> None:
    page = ask(client, DATE_CODE, htmx, text="8342")

    words = words_of(page)
    assert page.status_code == 200
    assert ("<!doctype" in page.text.lower()) != htmx
    assert words.index("1983-10-17 to 1983-10-23") < words.index("1983-10-15 to 1983-10-21")
    assert "Week 42 of 1983, year before week, in ISO weeks, Monday to Sunday." in words
    assert_sound(page)


def test_a_type_number_among_the_codes_is_warned_of(client: TestClient) -> None:
    page = ask(client, DATE_CODE, text="7404")

    assert "7404 is also the type number of a 7400-family logic chip" in words_of(page)


def test_days_that_are_known_narrow_the_readings(client: TestClient) -> None:
    open_to_all = words_of(ask(client, DATE_CODE, text="842"))
    narrowed = words_of(ask(client, DATE_CODE, text="842", not_before="1977", not_after="1979-06"))

    assert "of 1988" in open_to_all
    assert "of 1978" in narrowed
    assert "of 1988" not in narrowed


def test_what_the_days_rule_out_is_told_apart(client: TestClient) -> None:
    page = ask(client, DATE_CODE, text="8342", not_after="1980")

    words = words_of(page)
    assert page.status_code == 200
    assert "No reading of it lies there" in words
    assert "1983-10-17 to 1983-10-23" in words


def test_letters_are_read_where_they_are_asked_for(client: TestClient) -> None:
    assert ask(client, DATE_CODE, text="J8").status_code == 422
    assert "by IEC 60062" in words_of(ask(client, DATE_CODE, text="J8", letters="yes"))


@pytest.mark.parametrize("htmx", [False, True])
@pytest.mark.parametrize(
    ("typed", "field", "said"),
    [
        ({"text": "74LS00"}, "text", "“74LS00” has no reading as a date code."),
        ({"text": "8342", "not_before": "last year"}, "not_before", "Write a year, a month or a day"),
        ({"text": "8342", "not_after": "1981-13"}, "not_after", "Write a year, a month or a day"),
        ({"text": "8342", "not_after": "1981-02-30"}, "not_after", "Write a year, a month or a day"),
        ({"text": "8342", "not_after": "0000"}, "not_after", "Write a year, a month or a day"),
        ({"text": "8342", "not_before": "1985", "not_after": "1981"}, "not_after", "the wrong way round"),
    ],
)
def test_what_cannot_be_read_is_told_beside_its_field(
    client: TestClient, typed: dict[str, str], field: str, said: str, htmx: bool
) -> None:
    page = ask(client, DATE_CODE, htmx, **typed)

    assert page.status_code == 422
    assert said in message_beside(page, field)
    assert all(typed_in(page, name) == text for name, text in typed.items())
    assert_sound(page)


@effort(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(text=st.text(max_size=30), address=st.sampled_from([MARKING, PREFERRED, DATE_CODE]))
def test_whatever_a_reader_is_asked_it_answers(client: TestClient, text: str, address: str) -> None:
    name = "value" if address == PREFERRED else "text"

    page = ask(client, address, **{name: text})

    assert page.status_code in (200, 422)
