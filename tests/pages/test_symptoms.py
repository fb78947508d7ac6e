"""Symptoms, their possible causes and evidence, as a keeper meets them; and what a mod's page says when it failed."""

import re

import pytest
from fastapi import FastAPI
from httpx2 import Response
from starlette.testclient import TestClient

from server.records.commands.base import Command
from server.records.commands.calculations import AttachCalculation, TickAssumption
from server.records.commands.mods import Expect, MoveMod
from server.records.commands.symptoms import EndSymptom
from server.records.commands.trials import RecordTrial, WriteProcedure
from server.records.store import Store
from tests.pages.benchwork import (
    HOSTILE,
    HTMX,
    address_of,
    assert_sound,
    change_by_mod,
    enter_part,
    message_beside,
    post,
    queries,
    rows_of,
    set_up,
    typed_in,
    words_of,
)

BASE = "/machines/TM-03"
LIST = f"{BASE}/symptoms"
FIRST = f"{LIST}/1"
CAUSE = f"{FIRST}/causes/1"
MOD = f"{BASE}/mods/1"
BOTH_WAYS = pytest.mark.parametrize("htmx", [False, True], ids=["plain", "htmx"])
HUM = {"title": "Hum", "seen_on": "2025-01-10", "bring_about": "Switch it **on**.", "note": ""}
JUDGED = {
    "sentence": "The reservoir is dry",
    "state": "confirmed",
    "judged_on": "2025-02-01",
    "why": "Measured.",
    "opened_version": "1",
}
ENDED = {"ended_as": "cured", "ended_on": "2025-03-01", "mod": "", "ended_note": "Silent.", "opened_version": "1"}


@pytest.fixture
def store(app: FastAPI) -> Store:
    store: Store = app.state.store
    return store


@pytest.fixture(autouse=True)
def machine(client: TestClient) -> None:
    set_up(client)


def do(store: Store, kind: type[Command], /, **typed: object) -> None:
    given = {"machine": "TM-03", **typed} if "machine" in kind.model_fields else typed
    store.carry_out(kind.read(given), "keeper")


def note(client: TestClient, **other: str) -> str:
    """Note a symptom; its address."""
    return address_of(post(client, f"{LIST}/new", **{**HUM, **other}))


def suspect(client: TestClient, sentence: str = "The reservoir is dry") -> None:
    address_of(post(client, f"{FIRST}/causes/new", sentence=sentence))


def evidence(client: TestClient, **other: str) -> Response:
    typed = {"side": "for", "day": "2025-02-01", "trial": "", "calculation": "", "note": "Bulging can.", **other}
    return post(client, f"{CAUSE}/evidence/new", **typed)


def assert_form_again(answer: Response, htmx: bool, status: int = 422) -> None:
    """The form came back whole: as a page for a browser alone, as a block for htmx."""
    assert status == answer.status_code
    assert ("<!doctype" in answer.text.lower()) != htmx
    assert_sound(answer)


# ---- The list ----


def test_an_empty_list_says_what_a_symptom_is_and_what_to_do(client: TestClient) -> None:
    """The machine's cautions stand here as everywhere."""
    page = client.get(LIST)

    assert f'href="{LIST}/new">Note a symptom' in page.text
    assert "A display tube keeps a high voltage" in page.text
    assert_sound(page)


def test_the_list_has_open_ones_first_and_tells_the_state_of_their_causes(client: TestClient) -> None:
    note(client)
    note(client, title="Blinking lamp")
    note(client, title="Smell")
    suspect(client)
    post(client, f"{LIST}/3/end", **{**ENDED, "ended_as": "accepted"})

    page = client.get(LIST)

    assert rows_of(page) == [
        ["2", "Blinking lamp", "2025-01-10", "open", "–"],
        ["1", "Hum", "2025-01-10", "open", "1 open"],
        ["3", "Smell", "2025-01-10", "accepted 2025-03-01", "–"],
    ]
    assert_sound(page)


def test_a_long_list_has_pages_and_asks_no_more_for_them(client: TestClient, store: Store) -> None:
    note(client)
    with queries(store) as for_one:
        client.get(LIST)
    for number in range(51):
        note(client, title=f"Symptom {number}")

    with queries(store) as for_many:
        first = client.get(LIST)

    assert len(for_one) == len(for_many)
    assert (len(rows_of(first)), len(rows_of(client.get(f"{LIST}?page=2")))) == (50, 2)


def test_the_machines_page_lists_symptoms_with_as_many_queries_for_many_as_for_none(
    client: TestClient, store: Store
) -> None:
    with queries(store) as for_none:
        none = client.get(BASE)
    for number in range(23):
        note(client, title=f"Symptom {number}")

    with queries(store) as for_many:
        many = client.get(BASE)

    assert "No symptom is noted." in words_of(none)
    assert f'href="{LIST}">All symptoms' in many.text
    assert [row[1] for row in rows_of(many) if row[-1] == "open"] == [f"Symptom {n}" for n in range(22, 2, -1)]
    assert len(for_none) == len(for_many)
    assert_sound(many)


# ---- Noting and revising ----


@BOTH_WAYS
def test_a_symptom_is_noted_and_shown(client: TestClient, htmx: bool) -> None:
    answer = post(client, f"{LIST}/new", htmx, **HUM)

    page = client.get(address_of(answer))
    assert address_of(answer) == FIRST
    assert "<strong>on</strong>" in page.text
    assert "Symptom 1 of TM-03, seen first on 2025-01-10: open." in words_of(page)
    assert "Next: write down what may cause it" in words_of(page)
    assert_sound(page)


@BOTH_WAYS
@pytest.mark.parametrize("field", ["title", "seen_on"])
def test_a_symptom_that_will_not_do_comes_back_as_it_was_typed(client: TestClient, field: str, htmx: bool) -> None:
    answer = post(client, f"{LIST}/new", htmx, **{**HUM, "note": HOSTILE, field: ""})

    assert_form_again(answer, htmx)
    assert message_beside(answer, field)
    assert typed_in(answer, "note") == HOSTILE
    assert client.get(FIRST).status_code == 404


@BOTH_WAYS
def test_a_symptom_is_revised_and_a_stale_form_shows_both_versions(client: TestClient, htmx: bool) -> None:
    note(client)
    opened = client.get(f"{FIRST}/edit")
    version = typed_in(opened, "opened_version")
    address_of(post(client, f"{FIRST}/edit", htmx, **{**HUM, "title": "Loud hum", "opened_version": version}))

    answer = post(client, f"{FIRST}/edit", htmx, **{**HUM, "title": "Hum at night", "opened_version": version})

    assert typed_in(opened, "bring_about") == HUM["bring_about"]
    assert_form_again(answer, htmx, 409)
    assert ["title differs", "Hum at night", "Loud hum"] in rows_of(answer)
    assert typed_in(answer, "title") == "Hum at night"
    assert typed_in(answer, "opened_version") == "2"


@pytest.mark.parametrize("number", ["7", "99999999999999", "abc", "-1"])
@pytest.mark.parametrize("rest", ["", "/edit", "/end", "/reopen", "/causes/new", "/causes/1/judge"])
def test_a_symptom_that_is_not_there_is_not_found(client: TestClient, number: str, rest: str) -> None:
    assert client.get(f"{LIST}/{number}{rest}").status_code == 404


# ---- The end ----


@BOTH_WAYS
def test_a_symptom_is_cured_by_a_mod_and_each_leads_to_the_other(client: TestClient, store: Store, htmx: bool) -> None:
    note(client)
    enter_part(client, "R1", value="330 Ω")
    change_by_mod(store)
    do(store, MoveMod, mod=1, state="fitted", day="2024-03-01", signer="keeper")

    answer = post(client, f"{FIRST}/end", htmx, **{**ENDED, "mod": "1"})

    page = client.get(address_of(answer))
    assert "cured since 2025-03-01, by mod 1, Test." in words_of(page)
    assert "Next:" not in words_of(page)
    assert f'<a href="{FIRST}">symptom 1, Hum</a>' in client.get(MOD).text
    again = client.get(f"{FIRST}/end")
    assert [typed_in(again, name) for name in ("mod", "ended_on", "ended_note")] == ["1", "2025-03-01", "Silent."]
    assert 'value="cured" checked' in again.text
    assert_sound(page)


@BOTH_WAYS
def test_an_end_that_will_not_do_comes_back_as_it_was_typed(client: TestClient, htmx: bool) -> None:
    note(client)

    answer = post(client, f"{FIRST}/end", htmx, **{**ENDED, "ended_on": "2025-01-09", "mod": "7"})

    assert_form_again(answer, htmx)
    assert "It was seen first on 2025-01-10" in message_beside(answer, "ended_on")
    assert [typed_in(answer, name) for name in ("mod", "ended_note")] == ["7", "Silent."]


@BOTH_WAYS
def test_an_end_that_someone_else_wrote_meanwhile_is_shown(client: TestClient, store: Store, htmx: bool) -> None:
    note(client)
    do(store, EndSymptom, symptom=1, opened_version=1, ended_as="accepted", ended_on="2025-02-02")

    answer = post(client, f"{FIRST}/end", htmx, **ENDED)

    assert_form_again(answer, htmx, 409)
    assert ["ended as differs", "cured", "accepted"] in rows_of(answer)


@BOTH_WAYS
def test_a_symptom_is_opened_again_for_a_reason(client: TestClient, htmx: bool) -> None:
    note(client)
    address_of(post(client, f"{FIRST}/end", **ENDED))
    version = typed_in(client.get(f"{FIRST}/reopen"), "opened_version")

    bad = post(client, f"{FIRST}/reopen", htmx, why="", opened_version=version)
    stale = post(client, f"{FIRST}/reopen", htmx, why="It hums", opened_version="1")
    good = post(client, f"{FIRST}/reopen", htmx, why="It hums", opened_version=version)

    assert_form_again(bad, htmx)
    assert message_beside(bad, "why")
    assert_form_again(stale, htmx, 409)
    assert typed_in(stale, "why") == "It hums"
    assert "2025-01-10: open." in words_of(client.get(address_of(good)))


# ---- Causes ----


@BOTH_WAYS
def test_a_cause_is_suspected(client: TestClient, htmx: bool) -> None:
    note(client)

    bad = post(client, f"{FIRST}/causes/new", htmx, sentence="")
    good = post(client, f"{FIRST}/causes/new", htmx, sentence="The reservoir is dry")

    assert_form_again(bad, htmx)
    assert message_beside(bad, "sentence")
    assert address_of(good) == f"{FIRST}#cause-1"
    page = client.get(FIRST)
    assert "1. The reservoir is dry open" in words_of(page)
    assert "Next: find what speaks for or against cause 1" in words_of(page)
    assert_sound(page)


@BOTH_WAYS
def test_a_cause_is_judged_on_some_ground(client: TestClient, htmx: bool) -> None:
    note(client)
    suspect(client)
    opened = client.get(f"{CAUSE}/judge")

    bad = post(client, f"{CAUSE}/judge", htmx, **{**JUDGED, "why": ""})
    good = post(client, f"{CAUSE}/judge", htmx, **JUDGED)
    stale = post(client, f"{CAUSE}/judge", htmx, **{**JUDGED, "state": "ruled out", "why": "Swapped."})

    assert typed_in(opened, "sentence") == "The reservoir is dry"
    assert 'value="open" checked' in opened.text
    assert_form_again(bad, htmx)
    assert "add evidence for it first" in message_beside(bad, "why")
    assert typed_in(bad, "judged_on") == "2025-02-01"
    page = client.get(address_of(good).partition("#")[0])
    assert "confirmed since 2025-02-01 Measured." in words_of(page)
    assert "A cause is confirmed. Next:" in words_of(page)
    assert_form_again(stale, htmx, 409)
    assert ["state differs", "ruled out", "confirmed"] in rows_of(stale)
    assert typed_in(stale, "why") == "Swapped."


@pytest.mark.parametrize(
    ("states", "said"),
    [
        (["ruled out"], "Every cause that was suspected is ruled out. Next: suspect another."),
        (["ruled out", "open"], "Next: find what speaks for or against cause 2"),
    ],
)
def test_an_open_symptom_says_what_comes_next(client: TestClient, states: list[str], said: str) -> None:
    note(client)
    for number, state in enumerate(states, start=1):
        suspect(client)
        address_of(post(client, f"{FIRST}/causes/{number}/judge", **{**JUDGED, "state": state}))

    assert said in words_of(client.get(FIRST))


# ---- Evidence ----


@BOTH_WAYS
def test_evidence_stands_on_its_side_with_what_tells_it(client: TestClient, store: Store, htmx: bool) -> None:
    """A trial with its figures, a calculation with its title, a note with its day."""
    note(client)
    suspect(client)
    failed(client, store)
    form = client.get(f"{CAUSE}/evidence/new")
    for typed in (
        {"side": "for", "day": "2025-02-01", "trial": "1", "note": ""},
        {"side": "against", "day": "2025-02-02", "calculation": "1/1", "note": "It *holds*."},
        {"side": "for", "day": "2025-01-15", "note": "Bulging can."},
    ):
        address_of(post(client, f"{CAUSE}/evidence/new", htmx, **typed))

    page = client.get(FIRST)

    assert ">Trial 1, 2024-01-01: Errors</option>" in form.text
    assert '<option value="1/1">Calculation 1 of mod 1, Corner</option>' in form.text
    words = words_of(page)
    assert "Evidence for it 2025-01-15 Bulging can. Take away 2025-02-01: trial 1, Errors, 4.00 ± 0.65 from 3" in words
    assert "Evidence against it 2025-02-02: calculation 1 of mod 1, Corner It holds." in words
    assert "Next: weigh the evidence" in words
    assert_sound(page)


@BOTH_WAYS
@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"note": ""}, "note"),
        ({"trial": "7"}, "trial"),
        ({"calculation": "7/7"}, "calculation"),
        ({"side": ""}, "side"),
    ],
)
def test_evidence_that_will_not_do_comes_back_as_it_was_typed(
    client: TestClient, typed: dict[str, str], field: str, htmx: bool
) -> None:
    note(client)
    suspect(client)
    whole = {"side": "against", "day": "2025-02-01", "trial": "", "calculation": "", "note": HOSTILE, **typed}

    answer = post(client, f"{CAUSE}/evidence/new", htmx, **whole)

    assert_form_again(answer, htmx)
    assert message_beside(answer, field)
    assert [typed_in(answer, name) for name in ("trial", "calculation", "note")] == [
        whole[name] for name in ("trial", "calculation", "note")
    ]


@BOTH_WAYS
def test_evidence_is_taken_away_unless_a_judgement_rests_on_it_alone(client: TestClient, htmx: bool) -> None:
    note(client)
    suspect(client)
    address_of(evidence(client))
    address_of(post(client, f"{CAUSE}/judge", **{**JUDGED, "why": ""}))
    drop = re.findall(r'action="([^"]*/drop)"', client.get(FIRST).text)[0]

    refused = post(client, drop, htmx)
    address_of(post(client, f"{CAUSE}/judge", **{**JUDGED, "opened_version": "2"}))
    done = post(client, drop, htmx)

    assert_form_again(refused, htmx)
    assert "rests on this alone" in words_of(refused)
    assert address_of(done) == f"{FIRST}#cause-1"
    assert "Bulging can." not in words_of(client.get(FIRST))
    assert client.post(f"{CAUSE}/evidence/nothing/drop").status_code == 404


def test_hostile_text_is_shown_as_text(client: TestClient) -> None:
    note(client, title=HOSTILE, bring_about=HOSTILE, note=HOSTILE)
    suspect(client, HOSTILE)
    evidence(client, note=HOSTILE)
    address_of(post(client, f"{CAUSE}/judge", **{**JUDGED, "sentence": HOSTILE, "why": HOSTILE}))
    address_of(post(client, f"{FIRST}/end", **{**ENDED, "ended_note": HOSTILE}))

    for address in (BASE, LIST, FIRST, f"{FIRST}/edit", f"{FIRST}/end", f"{CAUSE}/judge", f"{CAUSE}/evidence/new"):
        page = client.get(address)
        assert page.status_code == 200
        assert_sound(page)


# ---- A mod that failed although every limit holds ----


def failed(client: TestClient, store: Store, *, limit: str = "400 Ω", readings: str = "4 5 3", **more: object) -> None:
    """Mod 1 fits 1 kΩ at R1; its sum wants at least 400 Ω there, and what was expected of it did not come."""
    enter_part(client, "R1", value="330 Ω ±5 %")
    do(store, WriteProcedure, title="Errors", better="lower", resolution="1")
    do(store, RecordTrial, procedure="errors", day="2024-01-01", readings="4 5 3", signer="keeper")
    change_by_mod(store)
    do(store, MoveMod, mod=1, state="fitted", day="2024-03-01", signer="keeper")
    inputs = [
        {
            "name": "R",
            "label": "series resistor",
            "unit": "Ω",
            "source": "part",
            "board": "main-board",
            "designator": "R1",
        },
        {"name": "k", "label": "gain", "text": "2 ±10 %"},
    ]
    assumptions = [{"sentence": "The lead is whole."}, {"sentence": "The gain is that of a cold amplifier."}]
    sum_ = {
        "title": "Corner",
        "inputs": inputs,
        "lines": [{"name": "R_in", "expression": "k * R / 2", "unit": "Ω", "label": "input resistance"}],
        "limits": [{"line": "R_in", "kind": "at_least", "value": limit}],
        "assumptions": assumptions,
    }
    do(store, AttachCalculation, mod=1, **{**sum_, **more})
    do(store, Expect, mod=1, sentence="Fewer errors", procedure="errors", sense="better than before")
    do(store, RecordTrial, procedure="errors", day="2024-04-01", readings=readings, signer="keeper")


def test_it_is_said_plainly_with_what_is_untested_in_order(client: TestClient, store: Store) -> None:
    """The gain brings the whole variance, so the assumption about it comes first, though it was written last."""
    failed(client, store)

    page = client.get(MOD)

    words = words_of(page)
    assert "It does not do what was expected, although every limit holds." in words
    assert "every limit of its calculations holds for what was really fitted." in words
    gain, lead = words.index("The gain is that of a cold"), words.index("The lead is whole.")
    assert words.index("These of its assumptions are untested.") < gain < lead
    assert "k brings 100 % of the variance of “input resistance”." in words.replace("\N{NO-BREAK SPACE}", " ")
    assert "In this order: an assumption goes with the input that it names" in words
    assert f'href="{MOD}/calculations/1/assumptions/2/suspect"' in page.text
    assert_sound(page)


@pytest.mark.parametrize(
    "otherwise",
    [
        {"limit": "5 kΩ"},  # the limit fails: it is the sum that says so
        {"limit": "990 Ω"},  # at risk within the tolerances
        {"limits": []},  # no limit that could hold
        {"readings": "0 0 1 0 0 1"},  # met
        {"readings": "3 5 2"},  # undecided
    ],
)
def test_it_is_said_only_where_it_is_so(client: TestClient, store: Store, otherwise: dict[str, str]) -> None:
    failed(client, store, **otherwise)

    assert "Not met, although every limit holds" not in client.get(MOD).text


def test_once_everything_was_tested_it_says_where_to_look(client: TestClient, store: Store) -> None:
    failed(client, store)
    for number, version in ((1, 1), (2, 2)):
        do(store, TickAssumption, mod=1, calculation=1, number=number, tested=True, opened_version=version)

    page = client.get(MOD)

    assert "Every assumption that its calculations name was tested." in words_of(page)
    assert f'<a href="{LIST}">symptoms</a>' in page.text
    assert_sound(page)


def test_a_sum_that_names_no_assumption_is_said_to_name_none(client: TestClient, store: Store) -> None:
    failed(client, store, assumptions=[])

    assert "Its calculations name no assumption." in words_of(client.get(MOD))


SUSPECT = f"{MOD}/calculations/1/assumptions/2/suspect"


def test_the_form_opens_with_the_assumption_and_the_machines_symptoms(client: TestClient, store: Store) -> None:
    note(client)
    failed(client, store)

    page = client.get(SUSPECT)

    assert typed_in(page, "sentence") == "Does not hold: The gain is that of a cold amplifier."
    assert typed_in(page, "assumption") == "The gain is that of a cold amplifier."
    assert typed_in(page, "symptom") == ""
    assert '<option value="1">1 Hum</option>' in page.text
    assert "Calculation 1 of mod 1, Corner, takes for granted: “The gain is" in words_of(page)
    assert_sound(page)


NEW_SYMPTOM = {"symptom": "", "title": "Errors", "seen_on": "2024-04-01"}
OPENED = {"sentence": "The gain falls as it warms.", "assumption": "The gain is that of a cold amplifier."}


@BOTH_WAYS
@pytest.mark.parametrize("chosen", [{"symptom": "1", "title": "", "seen_on": "2024-04-01"}, NEW_SYMPTOM])
def test_a_possible_cause_is_opened_from_an_assumption(
    client: TestClient, store: Store, chosen: dict[str, str], htmx: bool
) -> None:
    """Of a symptom of the machine, or of a new one; the mod's page knows it then."""
    note(client)
    failed(client, store)

    answer = post(client, SUSPECT, htmx, **OPENED, **chosen)

    symptom = chosen["symptom"] or "2"
    assert address_of(answer) == f"{LIST}/{symptom}#cause-1"
    words = words_of(client.get(f"{LIST}/{symptom}"))
    assert "1. The gain falls as it warms." in words
    assert "Opened from what calculation 1 of mod 1 takes for granted: “The gain is that" in words
    assert f"Suspected already: cause 1 of symptom {symptom}, open." in words_of(client.get(MOD))


@BOTH_WAYS
@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"sentence": ""}, "sentence"),
        ({"title": ""}, "title"),
        ({"seen_on": ""}, "seen_on"),
        ({"symptom": "1"}, "title"),
    ],
)
def test_a_possible_cause_that_will_not_do_comes_back_as_it_was_typed(
    client: TestClient, store: Store, typed: dict[str, str], field: str, htmx: bool
) -> None:
    note(client)
    failed(client, store)
    whole = {**OPENED, **NEW_SYMPTOM, **typed}

    answer = post(client, SUSPECT, htmx, **whole)

    assert_form_again(answer, htmx)
    assert message_beside(answer, field)
    assert whole == {name: typed_in(answer, name) for name in whole}
    assert len(rows_of(client.get(LIST))) == 1


@pytest.mark.parametrize("row", ["0", "3", "99999999999999999999", "x"])
def test_an_assumption_that_is_not_there_is_not_found(client: TestClient, store: Store, row: str) -> None:
    failed(client, store)

    assert client.get(f"{MOD}/calculations/1/assumptions/{row}/suspect").status_code == 404


# ---- The demo, and the sheet ----


@pytest.mark.parametrize(
    ("address", "said"),
    [
        ("/machines/MR-07/symptoms/1", "cured since 2025-04-20, by mod 1, More reservoir ahead of the regulator."),
        ("/machines/MR-07/symptoms/2", "2. The recorder's head stands at an angle to the tape. open"),
        ("/machines/MR-07/symptoms/3", "explained since 2025-07-12, as a trait of the design."),
        ("/machines/MR-07/mods/2", "Suspected already: cause 2 of symptom 2, open."),
        ("/machines/MR-07/sheet", "Symptom 1, Loud hum from the loudspeaker: cured since 2025-04-20, by mod 1."),
        ("/machines/MR-07/sheet", "Symptom 2, Errors while a tape loads, seen first on 2025-03-16, is open:"),
    ],
)
def test_the_demo_tells_its_symptoms(demo_client: TestClient, address: str, said: str) -> None:
    page = demo_client.get(address)

    assert said in words_of(page)
    assert_sound(page)


def test_a_page_for_htmx_is_its_content_alone(demo_client: TestClient) -> None:
    for rest in ("", "/new", "/1", "/1/edit", "/1/end", "/1/reopen", "/2/causes/new", "/2/causes/2/judge"):
        assert "<!doctype" not in demo_client.get(f"/machines/MR-07/symptoms{rest}", headers=HTMX).text.lower()
