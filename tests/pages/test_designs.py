"""Pages of designs: written from a mod, listed, fitted on a machine, and their fittings side by side."""

from urllib.parse import urlencode

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.records.commands.steps import AddStep
from server.records.store import Store
from tests.pages.benchwork import (
    address_of,
    assert_sound,
    message_beside,
    post,
    queries,
    rows_of,
    typed_in,
    words_of,
)
from tests.records.conftest import Bench, enter
from tests.records.design_scene import SLUG, carry_out, enter_second, fit, run_on_first, write_design, write_mod

HERE = f"/designs/{SLUG}"
WRITE = "/machines/TM-03/mods/1/design"
NAMED = {
    "title": "Lamp",
    "roles.0.board": "main-board", "roles.0.designator": "R2", "roles.0.name": "series resistor",
    "roles.1.board": "main-board", "roles.1.designator": "R7", "roles.1.name": "pull-up",
}  # fmt: skip
PLACED = {
    "places.0.board": "logic", "places.0.designator": "R31", "places.1.board": "logic", "places.1.designator": "r32",
    "state": "planned", "day": "2025-05-01", "signer": "Test keeper",
}  # fmt: skip
FIT = f"{HERE}/fit?machine=TM-04"


@pytest.fixture
def bench(app: FastAPI) -> Bench:
    """A machine with a mod that could be a design, and a second machine."""
    store: Store = app.state.store
    bench = Bench(store)
    enter(bench)
    write_mod(bench)
    enter_second(bench)
    return bench


def test_an_empty_list_says_how_a_design_begins(client: TestClient) -> None:
    """It begins as a mod."""
    page = client.get("/designs")

    assert_sound(page)
    assert "It begins as a mod on one machine" in words_of(page)


@pytest.mark.usefixtures("bench")
def test_a_mod_offers_to_be_made_a_design(client: TestClient) -> None:
    """The form opens with the mod's words and a name for each role."""
    mod = client.get("/machines/TM-03/mods/1")
    form = client.get(WRITE)

    assert f'href="{WRITE}"' in mod.text
    assert_sound(form)
    assert typed_in(form, "title") == "Faster clock"
    assert typed_in(form, "roles.0.name") == "series resistor"
    assert "step 1: take out; step 2: fit; calculation 1: R." in words_of(form)


@pytest.mark.usefixtures("bench")
@pytest.mark.parametrize("htmx", [False, True], ids=["plain", "htmx"])
def test_a_design_is_written_from_a_mod_and_shown(client: TestClient, htmx: bool) -> None:
    """Its page tells the plan in roles; the mod names it."""
    written = post(client, WRITE, htmx, **NAMED)
    page = client.get(address_of(written))
    mod = client.get("/machines/TM-03/mods/1")

    assert address_of(written) == HERE
    assert_sound(page)
    assert "fit 300 Ω ±5 %, series resistor" in words_of(page)
    assert "I at most 20 mA (the lamp)." in words_of(page)
    assert "A fitting of the design Lamp" in words_of(mod)
    assert f'href="{WRITE}"' not in mod.text


@pytest.mark.usefixtures("bench")
@pytest.mark.parametrize("htmx", [False, True], ids=["plain", "htmx"])
def test_a_role_without_a_name_comes_back_as_typed(client: TestClient, htmx: bool) -> None:
    """With the message beside it, and everything else as it was."""
    page = post(client, WRITE, htmx, **NAMED | {"roles.1.name": " ", "reasoning": "So <b>that</b>"})

    assert page.status_code == 422
    assert ("<!doctype" in page.text) != htmx
    assert message_beside(page, "roles.1.name").endswith("Say what R7 is called in the design.")
    assert typed_in(page, "reasoning") == "So <b>that</b>"
    assert typed_in(page, "roles.0.name") == "series resistor"


@pytest.mark.parametrize("htmx", [False, True], ids=["plain", "htmx"])
def test_a_mod_that_changed_meanwhile_is_named_anew(client: TestClient, bench: Bench, htmx: bool) -> None:
    """Rule 7: a name goes with the position that it was typed for, or nowhere."""
    bench.do(AddStep, mod=1, kind="adjust", board="main-board", designator="R9", instruction="Turn it.")

    page = post(client, WRITE, htmx, **NAMED)

    assert page.status_code == 422
    assert "changed while you wrote this" in words_of(page)
    assert [typed_in(page, f"roles.{number}.designator") for number in range(3)] == ["R2", "R9", "R7"]
    assert [typed_in(page, f"roles.{number}.name") for number in (0, 2)] == ["series resistor", "pull-up"]


def test_hazards_of_a_design_are_told_before_it_is_fitted(client: TestClient, bench: Bench) -> None:
    """Rule 9: on the design's page, and on that which plans a fitting."""
    write_design(bench, hazards=["lead and flux fumes"])

    assert "Work with an extractor" in words_of(client.get(HERE))
    assert "Work with an extractor" in words_of(client.get(FIT))
    assert "Work with an extractor" in words_of(client.get(f"{HERE}/fit"))


def test_words_revised_by_two_are_shown_in_both_versions(client: TestClient, bench: Bench) -> None:
    """Rule 7."""
    write_design(bench)
    opened = typed_in(client.get(f"{HERE}/edit"), "opened_version")
    good = post(client, f"{HERE}/edit", title="Theirs", opened_version=opened)

    page = post(client, f"{HERE}/edit", title="Mine", opened_version=opened)

    assert address_of(good) == HERE
    assert page.status_code == 409
    assert "Theirs" in page.text
    assert typed_in(page, "title") == "Mine"


def test_a_machine_is_asked_for_before_its_positions(client: TestClient, bench: Bench) -> None:
    """From the design: which machine; from the machine's mods: which design."""
    write_design(bench)

    asked = client.get(f"{HERE}/fit")
    offered = client.get("/designs?machine=TM-04")

    assert_sound(asked)
    assert "TM-04 Tarn &amp; Fell Merle 40" in asked.text
    assert f'href="{FIT}"' in offered.text
    assert 'href="/designs?machine=TM-03"' in client.get("/machines/TM-03/mods").text


def test_positions_of_the_same_name_are_guessed(client: TestClient, bench: Bench) -> None:
    """On the machine itself every role is where it was; where nothing has the name, nothing is filled in."""
    write_design(bench)

    same, other = (client.get(f"{HERE}/fit?{urlencode({'machine': tag})}") for tag in ("TM-03", "TM-04"))

    assert (typed_in(same, "places.0.board"), typed_in(same, "places.0.designator")) == ("main-board", "R2")
    assert typed_in(other, "places.0.designator") == ""
    assert '<option value="R31">' in other.text


@pytest.mark.parametrize("htmx", [False, True], ids=["plain", "htmx"])
def test_a_design_is_fitted_on_a_machine(client: TestClient, bench: Bench, htmx: bool) -> None:
    """A mod with everything in it, planned and not done."""
    write_design(bench)

    fitted = post(client, FIT, htmx, **PLACED)
    mod = client.get(address_of(fitted))

    assert address_of(fitted) == "/machines/TM-04/mods/1"
    assert "fit 300 Ω ±5 % at R31 on Logic" in words_of(mod)
    assert "Lamp current" in words_of(mod)
    assert "It is brighter" in words_of(mod)


@pytest.mark.parametrize("htmx", [False, True], ids=["plain", "htmx"])
def test_a_position_that_is_not_there_comes_back_as_typed(client: TestClient, bench: Bench, htmx: bool) -> None:
    """Beside its field; nothing is planned."""
    write_design(bench)

    page = post(client, FIT, htmx, **PLACED | {"places.1.designator": "R99", "day": "soon"})
    again = post(client, FIT, htmx, **PLACED | {"places.1.designator": "R99"})

    assert page.status_code == again.status_code == 422
    assert message_beside(page, "day").endswith("such as 1981-09-30.")
    assert "There is no position “R99”" in message_beside(again, "places.1.designator")
    assert typed_in(again, "places.1.designator") == "R99"
    assert client.get("/machines/TM-04/mods/1").status_code == 404


def test_fittings_stand_side_by_side(client: TestClient, bench: Bench) -> None:
    """In words first, then fact by fact."""
    write_design(bench)
    run_on_first(bench, "10 11 10 11")
    fit(bench)
    carry_out(bench)

    page = client.get(HERE)

    assert_sound(page)
    assert "Of 2 fittings 1 worked and 1 did not work. With one of each, whatever differs tells them apart" in words_of(
        page
    )
    assert ["As a whole it", "did not work", "worked"] in rows_of(page)
    assert ["Pull-up, where", "R7 on Main board", "R32 on Logic"] in rows_of(page)


def test_a_page_with_more_fittings_asks_no_more_of_the_record(client: TestClient, bench: Bench) -> None:
    """And of many fittings a page shows eight."""
    write_design(bench)
    fit(bench)
    with queries(bench.store) as few:
        client.get(HERE)
    for n in range(10, 18):
        enter_second(bench, f"TM-{n}")
        fit(bench, f"TM-{n}")

    with queries(bench.store) as many:
        page = client.get(HERE)

    assert len(few) == len(many)
    assert "TM-15, mod 1" in words_of(page)
    assert "TM-16, mod 1" not in words_of(page)
    assert "TM-17, mod 1" in words_of(client.get(f"{HERE}?page=2"))


@pytest.mark.parametrize(
    "path", ["/designs/none", "/designs/none/fit", f"{HERE}/fit?machine=none", "/designs?machine=none"]
)
def test_what_is_not_there_is_not_found(client: TestClient, bench: Bench, path: str) -> None:
    """A page that says so."""
    write_design(bench)

    assert client.get(path).status_code == 404
