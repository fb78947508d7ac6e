"""Codes of a device: taken once, within a step of the clock, and guessed no faster than passwords are."""

from datetime import UTC, datetime, timedelta

import pyotp
import pytest

from server.access import attempts, codes
from server.access.codes import expect_code, new_recovery_codes, replace_recovery_codes, secret_of
from server.records.commands.accounts import AskForCodes, OpenAccount
from server.records.errors import Invalid, Refused
from server.records.questions.accounts import find_account
from server.records.store import Store
from server.records.tables import Account, CodeSecret

SECRET = pyotp.random_base32()
HASH = "$argon2id$" + "x" * 40


class Clock:
    """Stands still until it is set."""

    def __init__(self) -> None:
        self.at = datetime(2026, 3, 4, 12, 0, 5, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.at


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    clock = Clock()
    for module in (codes, attempts):
        monkeypatch.setattr(module, "now", clock)
    return clock


@pytest.fixture
def ada(store: Store) -> Account:
    store.carry_out(OpenAccount(name="ada", signs_as="Ada", password_hash=HASH), "keeper")
    with store.noting() as session:
        account = find_account(session, "ada")
        session.add(CodeSecret(account_id=account.key, secret=SECRET))
    return account


def code_at(at: datetime) -> str:
    return pyotp.TOTP(SECRET).at(at)


@pytest.mark.parametrize(("seconds", "taken"), [(-60, False), (-30, True), (0, True), (30, True), (60, False)])
def test_a_code_counts_a_step_to_either_side(
    store: Store, ada: Account, clock: Clock, seconds: int, taken: bool
) -> None:
    typed = code_at(clock.at + timedelta(seconds=seconds))

    if taken:
        expect_code(store, ada, f" {typed[:3]} {typed[3:]} ")
        return
    with pytest.raises(Invalid, match="not right"):
        expect_code(store, ada, typed)


def test_none_from_before_one_that_was_taken_is_taken(store: Store, ada: Account, clock: Clock) -> None:
    """Who looked over a shoulder has nothing."""
    expect_code(store, ada, code_at(clock.at))

    for seconds in (0, -30):
        with pytest.raises(Invalid):
            expect_code(store, ada, code_at(clock.at + timedelta(seconds=seconds)))
    clock.at += timedelta(seconds=30)
    expect_code(store, ada, code_at(clock.at))


def test_guesses_wait(store: Store, ada: Account, clock: Clock) -> None:
    """Even the right one, once too many were wrong; and a right one clears the count."""
    wrong = "abcdef"
    for _ in range(attempts.FREE_ATTEMPTS):
        with pytest.raises(Invalid, match="not right"):
            expect_code(store, ada, wrong)
    with pytest.raises(Invalid, match="failed too often"):
        expect_code(store, ada, code_at(clock.at))
    clock.at += timedelta(minutes=1)
    expect_code(store, ada, code_at(clock.at))
    clock.at += timedelta(seconds=30)
    expect_code(store, ada, code_at(clock.at))


@pytest.mark.usefixtures("clock")
def test_a_recovery_code_works_once(store: Store, ada: Account) -> None:
    first, second, *_ = replace_recovery_codes(store, ada.key)

    expect_code(store, ada, f"{first[:4]} {first[4:].upper()}")
    for typed in (first, "", "x"):
        with pytest.raises(Invalid):
            expect_code(store, ada, typed)
    replace_recovery_codes(store, ada.key)
    with pytest.raises(Invalid):
        expect_code(store, ada, second)


def test_recovery_codes_are_long_and_unlike(store: Store) -> None:
    found = new_recovery_codes()

    assert len(set(found)) == codes.RECOVERY_CODES
    assert {len(code) for code in found} == {12}
    assert secret_of(store, 1) == ""


def test_codes_are_asked_for_only_where_a_device_makes_them(store: Store) -> None:
    store.carry_out(OpenAccount(name="ida", signs_as="Ida", password_hash=HASH), "keeper")

    with pytest.raises(Refused, match="No device"):
        store.carry_out(AskForCodes(account="ida"), "keeper")
