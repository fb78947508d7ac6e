"""What is logged while people sign in, make tokens and share: who did what, and nothing that opens anything."""

import pytest
import structlog
from fastapi import FastAPI
from pyotp import TOTP
from starlette.testclient import TestClient

from server.app import configure_logs
from server.settings import Settings
from tests.access.test_api_tokens import MACHINE, READ, token_of
from tests.pages.benchwork import set_up
from tests.pages.test_accounts import OTHER, PASSWORD, opened
from tests.pages.test_invitations import link_of

THIRD = "nine more old lamps"
WRONG = "a password that is nobody's"


def test_no_secret_stands_in_the_logs(
    client: TestClient, app: FastAPI, settings: Settings, capsys: pytest.CaptureFixture[str]
) -> None:
    set_up(client)
    usual = structlog.get_config()
    configure_logs(settings.model_copy(update={"log_level": "debug", "log_format": "json"}))
    capsys.readouterr()
    try:
        secrets = _everything(client, app)
    finally:
        structlog.configure(**usual)
    told = "".join(capsys.readouterr())

    assert len(secrets) == 11
    assert all(len(secret) > 11 for secret in secrets)
    assert [secret for secret in secrets if secret in told] == []
    for said in ("answered", "signed in", "sign-in refused", "password refused", "token made", "written"):
        assert said in told


def _everything(client: TestClient, app: FastAPI) -> list[str]:
    """All that has to do with secrets, once right and once wrong; the secrets."""
    assert opened(client, "ada").is_redirect
    ada = TestClient(app)
    ada.post("/sign-in", data={"name": WRONG, "password": WRONG})
    assert ada.post("/sign-in", data={"name": "ada", "password": PASSWORD}, follow_redirects=False).is_redirect
    cookie = ada.cookies["putback"]
    ada.post("/account/password", data={"old": WRONG, "password": OTHER, "again": OTHER})
    typed = {"old": PASSWORD, "password": OTHER, "again": OTHER}
    assert ada.post("/account/password", data=typed, follow_redirects=False).is_redirect
    token = token_of(ada, READ)
    assert TestClient(app, headers={"Authorization": f"Bearer {token}"}).get(MACHINE).status_code == 200
    assert client.get(MACHINE, headers={"Authorization": f"Bearer {token[:-1]}"}).status_code == 401
    link = {"to_whom": "Ida", "length": "full", "lasts": "never"}
    shown = ada.get(ada.post("/machines/TM-03/sharing", data=link, follow_redirects=False).headers["location"])
    shared = shown.text.partition("/shared/")[2][:32]
    assert client.get(f"/shared/{shared}").status_code == 200
    invitation = link_of(ada).removeprefix("/invitation/")
    typed = {"name": "ida", "signs_as": "Ida", "password": THIRD, "again": THIRD}
    assert client.post(f"/invitation/{invitation}", data=typed, follow_redirects=False).is_redirect
    ada.post("/account/codes/begin")
    secret = ada.get("/account/codes").text.partition("Key: <code>")[2].partition("<")[0].replace(" ", "")
    proved = ada.post("/account/codes", data={"code": TOTP(secret).now()}, follow_redirects=False)
    shown = ada.get(proved.headers["location"])
    recovery = shown.text.partition("<li><code>")[2].partition("<")[0].replace(" ", "")
    return [
        secret,
        recovery,
        THIRD,
        invitation,
        PASSWORD,
        OTHER,
        WRONG,
        cookie,
        ada.cookies["putback"],
        token[:-1],
        shared,
    ]
