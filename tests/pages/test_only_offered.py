"""A page offers what may be done by whoever looks at it, and nothing that would be refused."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.app import create_app
from server.settings import Settings
from tests.pages.benchwork import assert_sound
from tests.pages.reading import path_of
from tests.pages.test_accounts import opened, signed_in
from tests.pages.walking import Visited, walk

OWN, OTHER = "MR-07", "MON-02"
A_PATTERN = 4
ALWAYS = ("/sign-out", "/account", "/sheets", "/jobs/")


@pytest.fixture
def club(demo_copy: Path) -> Iterator[FastAPI]:
    """The demo with its people: a keeper, a member who reads, and one who keeps one machine."""
    settings = Settings(data=demo_copy, allowed_hosts=["testserver"], log_level="error", database_url="")
    app = create_app(settings)
    with TestClient(app) as client:
        opened(client, "ada")
        ada = signed_in(app, "ada")
        opened(ada, "ida", "keeper of some machines", machines=[OWN])
        opened(ada, "max", "member who reads")
        yield app


def seen_by(app: FastAPI, name: str) -> list[Visited]:
    return [one for one in walk(signed_in(app, name), a_pattern=A_PATTERN) if one.is_page]


def written_to(pages: list[Visited]) -> set[str]:
    """The addresses that forms write to, but for those that are everybody's."""
    actions = {path_of(form.action) for one in pages for form in one.page.forms if form.method == "post"}
    return {action for action in actions if not action.startswith(ALWAYS)}


def refused(pages: list[Visited]) -> list[tuple[str, str]]:
    """Links that lead to a refusal, each with the page that it stands on."""
    return [(one.address, one.linked_from) for one in pages if one.answer.status_code != 200]


def test_a_member_is_offered_nothing_that_writes(club: FastAPI) -> None:
    pages = seen_by(club, "max")

    assert len(pages) > 60
    assert refused(pages) == []
    assert written_to(pages) == set()
    assert not [one.address for one in pages if one.address.endswith(("/new", "/edit"))]
    for one in pages:
        assert_sound(one.answer)


def test_a_keeper_of_one_machine_is_offered_what_concerns_that(club: FastAPI) -> None:
    pages = seen_by(club, "ida")
    machines = {action.split("/")[2] for action in written_to(pages) if action.startswith("/machines/")}

    assert refused(pages) == []
    assert machines == {OWN}
    assert f"/machines/{OWN}/mods/new" in {one.address for one in pages}
    assert f"/machines/{OTHER}/mods/new" not in {one.address for one in pages}
    assert not {"/machines/new", "/procedures/new"} & {one.address for one in pages}


def test_who_keeps_everything_is_offered_what_is_offered_without_accounts(
    club: FastAPI, demo_client: TestClient
) -> None:
    for address in ("/", f"/machines/{OWN}", f"/machines/{OWN}/mods", f"/machines/{OWN}/parts", "/kept-aside"):
        without = Visited(address, "", demo_client.get(address)).page
        ada = Visited(address, "", signed_in(club, "ada").get(address)).page

        assert ada.addresses - {"http://testserver/account", "/account"} >= without.addresses
        assert len(ada.forms) == len(without.forms) + 1  # to sign out
