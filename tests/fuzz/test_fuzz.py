"""A short run of what `python -m tests.bench fuzz` does at length, the same each time."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from sqlmodel import select
from starlette.testclient import TestClient

from seed_data.demo import MERLE
from server.access.passwords import hashed
from server.app import create_app
from server.records.commands.accounts import OpenAccount
from server.records.tables import Machine
from server.settings import Settings
from tests.fuzz.asking import Fuzz, only_of, wrong_of
from tests.fuzz.values import DIGITS
from tests.pages.walking import ROUTES, faults_of_record

PASSWORD = "seven quiet lamps"  # noqa: S105
ROLES = {"keeper": "keeper", "of-one": "keeper of some machines", "member": "member who reads"}
OWN_ACCOUNT = {"change password"}
FROM_OWN_MOD = {"write design"}  # told of a mod on one's own machine, though a design is nobody's in particular


@pytest.fixture(scope="module")
def house(demo_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Settings:
    """Over a demo of this module's own."""
    folder = Path(shutil.copytree(demo_folder, tmp_path_factory.mktemp("fuzz") / "demo"))
    return Settings(data=folder, keeper="Test keeper", allowed_hosts=["testserver"], log_level="error", database_url="")


@pytest.fixture(scope="module")
def fuzz(house: Settings) -> Iterator[Fuzz]:
    with TestClient(create_app(house), raise_server_exceptions=False) as client:
        fuzz = Fuzz(client, 9)
        fuzz.look_round(a_pattern=1)
        yield fuzz


def asked(fuzz: Fuzz, acts: list[str], times: int) -> list[str]:
    for number in range(times):
        getattr(fuzz, acts[number % len(acts)])()
    assert isinstance(fuzz.client.app, FastAPI)
    fuzz.client.app.state.door.closed = False  # where an account was opened, its opener would be outside
    wrong, fuzz.heard.wrong = wrong_of(fuzz.heard), {}
    return wrong + faults_of_record(fuzz.client)


def test_forms_take_anything_without_a_fault(fuzz: Fuzz) -> None:
    """Odd values in every kind of field; what is refused leaves the journal as it was."""
    assert len(fuzz.posted) > 60
    assert asked(fuzz, ["post_form", "post_form", "get_form"], 450) == []


def test_any_file_can_be_sent_to_any_field(fuzz: Fuzz) -> None:
    """Cut short, spoilt, noise, bombs, and names that climb."""
    assert len(fuzz.uploading) > 5
    assert asked(fuzz, ["upload"], 150) == []


def test_any_address_is_answered(fuzz: Fuzz) -> None:
    """By every method, with odd steps in it."""
    assert asked(fuzz, ["address"], 350) == []


@pytest.mark.parametrize("digits", [10, DIGITS])
def test_a_number_too_long_for_the_record_is_at_no_address(fuzz: Fuzz, digits: int) -> None:
    """Whichever address has a number in it."""
    numbered = [one for one in ROUTES if ":int}" in one.path]
    answers = {}
    for route in numbered:
        path = route.path
        for name in route.param_convertors:
            path = path.replace(f"{{{name}:int}}", "9" * digits).replace(f"{{{name}}}", "x")
        method = sorted(route.methods or ())[-1]
        answers[f"{method} {route.path}"] = fuzz.client.request(method, path).status_code

    assert len(answers) > 40
    assert {path for path, status in answers.items() if status != 404} == set()


def test_nobody_writes_what_is_not_theirs(house: Settings) -> None:
    """Random acts in random order by a keeper, a keeper of one machine, a member, and somebody who is not let in."""
    app = create_app(house)
    for name, role in ROLES.items():
        machines = [MERLE] if name == "of-one" else []
        typed = {"name": name, "signs_as": name, "role": role, "machines": machines}
        app.state.store.carry_out(OpenAccount.read({**typed, "password_hash": hashed(PASSWORD, name)}), "Test keeper")
    app.state.door.closed = True
    with app.state.store.reading() as session:
        own = {one.uuid for one in session.exec(select(Machine).where(Machine.tag == MERLE))}
    people = {name: signed_in(app, name) for name in ROLES} | {"nobody": Fuzz(TestClient(app), 4)}
    people["of-one"].may = only_of(own, OWN_ACCOUNT | FROM_OWN_MOD)
    people["member"].may = only_of(set(), OWN_ACCOUNT)
    people["nobody"].may = only_of(set(), set())
    keeper = people["keeper"]
    keeper.look_round(a_pattern=2)
    keeper.posted = [one for one in keeper.posted if "/people" not in one and "/account" not in one]
    for one in people.values():
        one.forms, one.places = keeper.forms, keeper.places
        one.posted, one.uploading, one.gotten = keeper.posted, keeper.uploading, keeper.gotten

    for _ in range(400):
        one = people[keeper.chance.choice(list(people))]
        one.chance.choice([one.as_it_stands, one.as_it_stands, one.post_form, one.address])()

    assert [line for one in people.values() for line in wrong_of(one.heard)] == []
    wrote = {name: one.heard.written for name, one in people.items()}
    assert (wrote["member"], wrote["nobody"]) == (0, 0)
    assert wrote["keeper"] > 0
    assert wrote["of-one"] > 0
    assert {people[name].client.get("/account").status_code for name in ROLES} == {200}  # nobody was put out meanwhile
    assert faults_of_record(keeper.client) == []


def signed_in(app: FastAPI, name: str) -> Fuzz:
    browser = TestClient(app, raise_server_exceptions=False)
    answer = browser.post("/sign-in", data={"name": name, "password": PASSWORD}, follow_redirects=False)
    assert answer.status_code == 303
    return Fuzz(browser, len(name))
