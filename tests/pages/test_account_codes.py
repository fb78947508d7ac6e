"""Codes beside the password, the whole way: set up, asked for, used, replaced, switched off."""

import re
from datetime import timedelta

import pyotp
import pytest
from fastapi import FastAPI
from httpx2 import Response
from starlette.testclient import TestClient

from server.access import codes
from server.records.clock import now
from tests.pages.benchwork import assert_sound, message_beside, words_of
from tests.pages.test_accounts import HTMX, PASSWORD, opened, signed_in

CODES = "/account/codes"


@pytest.fixture
def ada(app: FastAPI, client: TestClient) -> TestClient:
    opened(client, "ada")
    return signed_in(app, "ada")


def post(browser: TestClient, address: str, **typed: str) -> Response:
    return browser.post(address, data=typed, follow_redirects=False)


def set_up(ada: TestClient) -> tuple[str, list[str]]:
    """Codes asked for; the device's secret, and the recovery codes."""
    post(ada, f"{CODES}/begin")
    page = ada.get(CODES)
    assert_sound(page)
    found = re.search(r"Key: <code>([A-Z2-7 ]+)</code>", page.text)
    assert found
    secret = found[1].replace(" ", "")
    answer = post(ada, CODES, code=pyotp.TOTP(secret).now())
    assert answer.status_code == 303, words_of(answer)
    shown = ada.get(answer.headers["location"])
    assert_sound(shown)
    recovery = [code.replace(" ", "") for code in re.findall(r"<li><code>([a-z0-9 ]+)</code>", shown.text)]
    assert "shown this once" not in words_of(ada.get(answer.headers["location"]))
    return secret, recovery


@pytest.mark.parametrize("htmx", [False, True])
def test_a_code_is_asked_for_after_the_password(
    ada: TestClient, app: FastAPI, htmx: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = signed_in(app, "ada")
    secret, recovery = set_up(ada)
    assert len(recovery) == 10
    assert ada.get("/account").status_code == 200
    assert other.get("/account", follow_redirects=False).status_code == 303  # it signs in anew

    browser = TestClient(app, headers=HTMX if htmx else {})
    typed = {"name": "ada", "password": PASSWORD, "to": "/journal"}
    half = browser.post("/sign-in", data=typed, follow_redirects=False)
    where = "hx-redirect" if htmx else "location"
    address = half.headers[where]
    assert address == "/sign-in/code?to=%2Fjournal"
    assert browser.get("/", follow_redirects=False).headers[where].startswith("/sign-in")
    asked = browser.get(address, headers={"HX-Request": "false"})
    assert_sound(asked)
    wrong = post(browser, "/sign-in/code", code="abc", to="/journal")
    assert wrong.status_code == 422
    assert "not right" in message_beside(wrong, "code")
    then = now() + timedelta(seconds=30)
    monkeypatch.setattr(codes, "now", lambda: then)
    right = post(browser, "/sign-in/code", code=pyotp.TOTP(secret).at(then), to="/journal")
    assert right.headers[where] == "/journal"
    assert browser.get("/account").status_code == 200


def test_what_is_asked_for_already_is_not_set_up_again(ada: TestClient, app: FastAPI) -> None:
    """By a page that was left open: no secret and no recovery code is another."""
    _, recovery = set_up(ada)

    for address, typed in ((f"{CODES}/begin", {}), (CODES, {"code": "123456"})):
        answer = post(ada, address, **typed)
        assert (answer.status_code, answer.headers["location"]) == (303, CODES)
        assert "shown this once" not in words_of(ada.get(CODES))
    browser = TestClient(app)
    post(browser, "/sign-in", name="ada", password=PASSWORD)
    assert post(browser, "/sign-in/code", code=recovery[3]).status_code == 303


def test_a_recovery_code_lets_in_once_and_the_password_switches_codes_off(ada: TestClient, app: FastAPI) -> None:
    _, recovery = set_up(ada)

    for answers in (303, 422):
        browser = TestClient(app)
        post(browser, "/sign-in", name="ada", password=PASSWORD)
        assert post(browser, "/sign-in/code", code=recovery[0]).status_code == answers
    assert "9 recovery codes are left" in words_of(ada.get(CODES))
    assert post(ada, f"{CODES}/recovery", old="wrong").status_code == 422
    fresh = ada.get(post(ada, f"{CODES}/recovery", old=PASSWORD).headers["location"])
    assert "10 recovery codes are left" in words_of(fresh)
    assert post(ada, f"{CODES}/off", off="wrong").status_code == 422
    assert post(ada, f"{CODES}/off", off=PASSWORD).status_code == 303
    assert signed_in(app, "ada").get("/account").status_code == 200


def test_without_the_password_no_code_is_looked_at(ada: TestClient, app: FastAPI) -> None:
    """Nor with a cookie of another's making, nor once the password is another."""
    secret, _ = set_up(ada)
    stranger = TestClient(app, cookies={"putback-half-way": "1.2026-01-01.forged"})

    assert post(stranger, "/sign-in/code", code=pyotp.TOTP(secret).now()).status_code == 422
    assert stranger.get("/sign-in/code", follow_redirects=False).headers["location"] == "/sign-in"
    browser = TestClient(app)
    post(browser, "/sign-in", name="ada", password=PASSWORD)
    another = "nine more old lamps"
    post(ada, "/account/password", old=PASSWORD, password=another, again=another)
    assert browser.get("/sign-in/code", follow_redirects=False).headers["location"] == "/sign-in"


def test_a_keeper_lets_in_who_lost_the_device(ada: TestClient, app: FastAPI) -> None:
    ada.post(
        "/people/new",
        data={"name": "ida", "signs_as": "Ida", "role": "keeper", "password": PASSWORD, "again": PASSWORD},
    )
    ida = signed_in(app, "ida")
    set_up(ida)
    assert "They sign in with a code" in words_of(ada.get("/people/ida"))

    assert post(ada, "/people/ida/codes/off").status_code == 303

    assert signed_in(app, "ida").get("/account").status_code == 200
    assert "Ida signs in with the password alone" in words_of(ada.get("/journal"))
    assert "They sign in with a code" not in words_of(ada.get("/people/ida"))
