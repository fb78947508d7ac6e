"""What matters about a machine, what kind of work a mod is, which symptom it answers, and why a trace has to stay."""

import pytest
from starlette.testclient import TestClient

from tests.pages.benchwork import (
    HOSTILE,
    HTMX,
    address_of,
    assert_sound,
    message_beside,
    post,
    set_up,
    typed_in,
    words_of,
)

BASE = "/machines/TM-03"
NEW_MOD = {"title": "Faster clock", "state": "planned", "day": "2024-03-01", "signer": "keeper"}


@pytest.fixture
def puzzled(client: TestClient) -> TestClient:
    """A machine with a board and one symptom."""
    set_up(client)
    post(client, f"{BASE}/symptoms/new", title="It hangs", seen_on="2024-02-01")
    return client


def test_what_matters_about_a_machine_is_written_and_stands_on_page_and_sheet(client: TestClient) -> None:
    set_up(client)
    form = client.get(f"{BASE}/edit")
    typed = {"model": "Test machine", "opened_version": typed_in(form, "opened_version")}
    answer = post(client, f"{BASE}/edit", significance=f"The **hand-wired** board. {HOSTILE}", **typed)

    page, sheet = client.get(address_of(answer)), client.get(f"{BASE}/sheet")
    for shown in (page, sheet):
        assert "What matters about it, and so must not change The hand-wired board." in words_of(shown)
        assert_sound(shown)
    assert "What matters about it, and so must not change" in words_of(form)


def test_the_form_tells_the_four_kinds_of_work_apart(puzzled: TestClient) -> None:
    """In one sentence, and offers the machine's symptoms."""
    form = puzzled.get(f"{BASE}/mods/new")

    said = words_of(form)
    assert "Prevent keeps harm away that has not come yet; remedy stops harm that is going on" in said
    assert "restore brings back what was lost, and respects what is original; adapt for use changes" in said
    assert "It answers the symptom none 1 It hangs" in said
    assert_sound(form)


def test_without_a_symptom_none_is_asked_for(client: TestClient) -> None:
    set_up(client)

    assert "It answers the symptom" not in words_of(client.get(f"{BASE}/mods/new"))


def test_a_mod_and_its_symptom_lead_to_each_other(puzzled: TestClient) -> None:
    """And the sheet tells of both once a step is done."""
    mod = address_of(post(puzzled, f"{BASE}/mods/new", **NEW_MOD, aim="remedy", symptom="1"))
    post(puzzled, f"{mod}/steps/new", kind="adjust")
    post(puzzled, f"{mod}/steps/1/do", day="2024-03-02", signer="keeper")
    page, symptom, sheet = (puzzled.get(address) for address in (mod, f"{BASE}/symptoms/1", f"{BASE}/sheet"))

    assert "It answers symptom 1, It hangs Kind of work repair: it stops harm" in words_of(page)
    assert f'href="{BASE}/symptoms/1"' in page.text
    assert "Answered by mod 1, Faster clock (planned)." in words_of(symptom)
    assert f'href="{BASE}/mods/1"' in symptom.text
    assert "Kind of work: repair: it stops harm that is going on" in words_of(sheet)
    assert "It answers symptom 1, It hangs." in words_of(sheet)
    assert puzzled.get(f"{BASE}/sheet.pdf").content.startswith(b"%PDF")
    for shown in (page, symptom, sheet):
        assert_sound(shown)


@pytest.mark.parametrize("htmx", [False, True])
def test_a_mod_is_revised_with_what_it_has(puzzled: TestClient, htmx: bool) -> None:
    """The form begins with both, and either can be taken away."""
    mod = address_of(post(puzzled, f"{BASE}/mods/new", **NEW_MOD, aim="remedy", symptom="1"))
    form = puzzled.get(f"{mod}/edit")
    version = typed_in(form, "opened_version")
    again = post(puzzled, f"{mod}/edit", htmx, title="Faster clock", opened_version=version, aim="", symptom="")

    assert (typed_in(form, "aim"), typed_in(form, "symptom")) == ("remedy", "1")
    assert "Kind of work" not in words_of(puzzled.get(address_of(again)))


def test_what_will_not_do_is_said_beside_its_field(puzzled: TestClient) -> None:
    page = post(puzzled, f"{BASE}/mods/new", **{**NEW_MOD, "title": HOSTILE}, aim="restore", symptom="1")

    assert page.status_code == 422
    assert message_beside(page, "purpose") == (
        "Look again: To restore is to bring back what was lost: say here what that is."
    )
    assert (typed_in(page, "title"), typed_in(page, "aim"), typed_in(page, "symptom")) == (HOSTILE, "restore", "1")
    missing = post(puzzled, f"{BASE}/mods/new", **NEW_MOD, symptom="9")
    assert "There is no symptom “9”." in message_beside(missing, "symptom")


def test_a_mod_that_somebody_else_tied_shows_both_versions(puzzled: TestClient) -> None:
    mod = address_of(post(puzzled, f"{BASE}/mods/new", **NEW_MOD))
    post(puzzled, f"{mod}/edit", title="Faster clock", opened_version="1", symptom="1", aim="prevent")

    page = post(puzzled, f"{mod}/edit", title="Faster clock", opened_version="1", aim="remedy")

    assert page.status_code == 409
    assert "symptom differs – 1" in words_of(page)
    assert "aim differs remedy prevent" in words_of(page)


def test_what_stays_for_good_is_asked_for_its_reason(puzzled: TestClient) -> None:
    """Within the part of the form that opens by itself then."""
    mod = address_of(post(puzzled, f"{BASE}/mods/new", **NEW_MOD))
    page = post(puzzled, f"{mod}/steps/new", kind="drill or cut case", instruction="One hole.")
    htmx = puzzled.post(f"{mod}/steps/new", data={"kind": "clean"}, headers=HTMX)

    assert page.status_code == htmx.status_code == 422
    assert message_beside(page, "trace_reason").endswith("This stays for good: write why nothing milder will do.")
    assert "<details open>" in page.text
    assert typed_in(page, "instruction") == "One hole."
    assert "<!doctype" not in htmx.text.lower()
    assert_sound(page)
    post(puzzled, f"{mod}/steps/new", kind="clean", trace_reason="It ate into the copper.")
    assert "leaves: permanent (It ate into the copper.)" in words_of(puzzled.get(mod))
