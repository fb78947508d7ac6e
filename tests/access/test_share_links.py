"""Tokens of share links: nobody guesses one, and none is written anywhere."""

import re
from datetime import date
from hashlib import sha256
from pathlib import Path

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.access.share_links import only_here, opened_today, shared_path, without_token
from server.access.tokens import digest_of_token, new_token
from server.app import create_app
from server.records.commands.machines import EnterMachine
from server.records.commands.share_links import MakeShareLink, WithdrawShareLink
from server.records.store import Store
from server.records.tables import ShareLink
from server.settings import Settings

TAG = "TM-03"


def link(store: Store) -> str:
    """A machine with a link; its token."""
    token = new_token()
    store.carry_out(EnterMachine(tag=TAG, model="Merle 40"), "Ada Wren")
    made = {"machine": TAG, "to_whom": "Ida Quern", "lasts": "never", "digest": digest_of_token(token)}
    store.carry_out(MakeShareLink.read(made), "Ada Wren")
    return token


def opened(store: Store, token: str) -> bool:
    with store.reading() as session:
        return opened_today(session, token) is not None


def test_a_token_has_192_bits_by_the_system_s_own_chance(monkeypatch: pytest.MonkeyPatch) -> None:
    """24 bytes, as base 64 spells them for addresses, and each time others."""
    asked: list[int] = []

    def noughts(size: int) -> bytes:
        asked.append(size)
        return bytes(size)

    monkeypatch.setattr("secrets.token_bytes", noughts)
    spelled = new_token()
    monkeypatch.undo()

    assert (asked, spelled) == ([24], "A" * 32)
    assert len({new_token() for _ in range(100)}) == 100
    assert all(re.fullmatch(r"[A-Za-z0-9_-]{32}", new_token()) for _ in range(100))


def test_a_digest_is_the_sha256_of_the_token() -> None:
    token = new_token()

    assert sha256(token.encode()).hexdigest() == digest_of_token(token)


def test_a_token_opens_its_own_sheet_and_nothing_else_does(app: FastAPI) -> None:
    """Not its digest, not a part of it, not what looks like one, nor what could upset a database."""
    store = app.state.store
    token = link(store)
    digest = digest_of_token(token)
    others = [
        "",
        token[:-1],
        f"{token}A",
        token.swapcase(),
        digest,
        digest[:32],
        new_token(),
        f" {token}",
        f"{token}\n",
    ]
    odd = ["\0" * 32, "é" * 32, "\ud800" * 32, "%" * 32, "' OR 1=1 --", "x" * 100_000, "٣" * 32]

    assert opened(store, token)
    assert [one for one in others + odd if opened(store, one)] == []


@pytest.mark.parametrize("how", ["withdrawn", "over"])
def test_a_token_opens_nothing_once_its_link_is_closed(app: FastAPI, how: str) -> None:
    store = app.state.store
    token = link(store)
    if how == "withdrawn":
        store.carry_out(WithdrawShareLink(machine=TAG, number=1), "Ada Wren")
    else:
        with store.engine.begin() as connection:
            connection.execute(ShareLink.__table__.update().values(expires_on=date(2025, 1, 1)))  # type: ignore[attr-defined]

    assert not opened(store, token)


def test_no_token_is_in_the_files_of_the_record(app: FastAPI, settings: Settings) -> None:
    """Whoever steals them finds the digest, from which there is no way back."""
    token = link(app.state.store)
    app.state.store.close()
    kept = b"".join(place.read_bytes() for place in sorted(Path(settings.data).rglob("*")) if place.is_file())

    assert digest_of_token(token).encode() in kept
    assert token.encode() not in kept


# ---- What is logged ----


@pytest.mark.parametrize(
    ("path", "logged"),
    [
        ("/shared/abc", "/shared/{token}"),
        ("/shared/abc/sheet.pdf", "/shared/{token}/sheet.pdf"),
        ("/shared/abc/", "/shared/{token}/"),
        ("//shared//abc", "//shared//{token}"),
        ("/Shared/abc", "/Shared/{token}"),
        ("/shared/", "/shared/"),
        ("/shared", "/shared"),
        ("/machines/shared/parts", "/machines/shared/parts"),
        ("/sharedness/abc", "/sharedness/abc"),
    ],
)
def test_a_path_is_logged_without_its_token(path: str, logged: str) -> None:
    assert without_token(path) == logged


@pytest.mark.parametrize("log_format", ["plain", "json"])
def test_no_line_of_the_log_holds_a_token(
    settings: Settings, log_format: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whether it is opened, refused, or upset by a fault of the program's own."""
    app = create_app(settings.model_copy(update={"log_level": "debug", "log_format": log_format}))
    with TestClient(app, raise_server_exceptions=False) as client:
        token = link(app.state.store)
        stray = new_token()
        paths = [shared_path(token), f"{shared_path(token)}/", shared_path(stray), f"{shared_path(stray)}/sheet.pdf"]
        answers = [client.get(path).status_code for path in paths] + [client.post(paths[0]).status_code]
        monkeypatch.setattr("server.pages.shared.drawn_up", fail)
        answers.append(client.get(paths[0]).status_code)
        said = capsys.readouterr()

    assert answers == [200, 200, 404, 404, 405, 500]
    assert "/shared/{token}" in said.out
    assert "ZeroDivisionError" in said.out
    assert [one for one in (token, stray) if one in said.out + said.err] == []


def fail(*_: object, **__: object) -> None:
    raise ZeroDivisionError


# ---- Whether a link leads others anywhere ----


@pytest.mark.parametrize(
    ("address", "here"),
    [
        ("http://127.0.0.1:8181", True),
        ("http://127.9.9.9", True),
        ("http://localhost:8181", True),
        ("http://bench.localhost", True),
        ("http://[::1]:8181", True),
        ("https://records.example.org", False),
        ("https://localhost.example.org", False),
        ("http://192.168.0.7:8181", False),
        ("http://[2001:db8::1]", False),
        ("http://testserver", False),
    ],
)
def test_an_address_of_this_very_machine_is_known(address: str, here: bool) -> None:
    assert only_here(address) is here
