"""Signing in: with the right password, for two weeks, as often as one likes; with the wrong one, slower each time."""

import stat
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta
from pathlib import Path
from threading import Barrier
from time import sleep

import pytest
from sqlmodel import col, select

from server.access import attempts, sign_ins
from server.access.passwords import fits, fits_nobody, hashed
from server.access.sign_ins import Cookies, begin, browsers_of, expect_password, prove, sign_out, signed_in
from server.records import checks, migrate
from server.records.clock import now
from server.records.commands.accounts import ChangePassword, CloseAccount, OpenAccount, ReopenAccount
from server.records.commands.machines import EnterMachine
from server.records.errors import Invalid, NotFound
from server.records.store import Store, sqlite_url
from server.records.tables import AccountSecret, FailedAttempt, JournalEntry, SignIn
from server.records.words import Role

PASSWORD = "seven quiet lamps"  # noqa: S105
WHO = "Test keeper"


class Clock:
    """The time as the tests have it."""

    def __init__(self) -> None:
        self.at = now()

    def __call__(self) -> datetime:
        return self.at

    def catches_up(self) -> None:
        """With what was written into the record meanwhile, however long that took."""
        self.at = max(self.at, now())

    def goes_on(self, by: timedelta) -> None:
        self.at += by


def sign_in(store: Store, name: str, password: str, browser: str) -> str:
    return begin(store, prove(store, name, password), browser)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    clock = Clock()
    monkeypatch.setattr(sign_ins, "now", clock)
    monkeypatch.setattr(attempts, "now", clock)
    return clock


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A record with a machine and Ada's account."""
    store = Store(sqlite_url(tmp_path))
    migrate.upgrade(store.engine)
    store.carry_out(EnterMachine(tag="TM-03", model="Merle 40"), WHO)
    open_account(store, "ada")
    yield store
    store.close()


def open_account(store: Store, name: str, role: Role = Role.KEEPER, *machines: str) -> None:
    typed = {"name": name, "signs_as": name.title(), "role": role, "machines": list(machines)}
    store.carry_out(OpenAccount.read({**typed, "password_hash": hashed(PASSWORD, name)}), WHO)


def refusal(store: Store, name: str, password: str) -> str:
    with pytest.raises(Invalid) as refused:
        sign_in(store, name, password, "")
    return str(refused.value)


def test_who_signs_in_is_known_by_the_token(store: Store, clock: Clock) -> None:
    open_account(store, "ida", Role.KEEPER_OF_MACHINES, "tm-03")
    clock.catches_up()

    who = signed_in(store, sign_in(store, "IDA", PASSWORD, "Browser 3"))

    assert who
    assert (who.name, who.signs_as, who.role, who.machines) == (
        "ida",
        "Ida",
        Role.KEEPER_OF_MACHINES,
        frozenset({"tm-03"}),
    )


def test_nothing_of_it_can_be_read_from_the_record(store: Store, clock: Clock, tmp_path: Path) -> None:
    """Neither the token nor the password stands in the database or the journal; nor does the hash in the journal."""
    clock.catches_up()
    token = sign_in(store, "ada", PASSWORD, "")
    with store.reading() as session:
        kept = session.exec(select(AccountSecret.password_hash)).one()
        told = str([entry.change for entry in session.exec(select(JournalEntry))])
        assert list(checks.faults(session, store.files)) == []

    database = b"".join(place.read_bytes() for place in tmp_path.glob("putback.sqlite3*"))

    assert kept.startswith("$argon2id$")
    assert kept not in told
    assert token.encode() not in database
    assert PASSWORD.encode() not in database


@pytest.mark.parametrize(
    ("name", "password"), [("ada", "seven quiet lamp"), ("nobody", PASSWORD), ("", ""), ("ada", "")]
)
def test_the_wrong_name_and_the_wrong_password_are_refused_alike(store: Store, name: str, password: str) -> None:
    assert refusal(store, name, password) == "That name and password do not belong together."


def test_after_some_failures_the_next_has_to_wait(store: Store, clock: Clock) -> None:
    """Twice as long each time, a quarter of an hour at most; with the right password too, and for a name nobody has."""
    clock.catches_up()
    for name in ("ada", "nobody"):
        for _ in range(5):
            refusal(store, name, "wrong")
        assert refusal(store, name, PASSWORD).startswith("That failed too often. Wait 2 seconds")
    clock.goes_on(timedelta(seconds=2))
    refusal(store, "ada", "wrong")
    assert refusal(store, "ada", PASSWORD).startswith("That failed too often. Wait 3 seconds")
    clock.goes_on(timedelta(minutes=16))

    assert signed_in(store, sign_in(store, "ada", PASSWORD, ""))
    with store.reading() as session:
        assert len(session.exec(select(FailedAttempt)).all()) == 1


def test_guesses_made_at_once_are_counted_all(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """None is looked at before it is counted: with all of them under way, no more than the free ones are."""
    looked_at: list[str] = []
    at_once = 12
    under_way = Barrier(at_once)

    def slow(_: str, password: str) -> bool:
        looked_at.append(password)
        sleep(0.2)
        return False

    def guess(number: int) -> None:
        under_way.wait(30)
        refusal(store, "ada", f"guess {number}")

    monkeypatch.setattr(sign_ins, "fits", slow)
    monkeypatch.setattr(attempts, "now", Clock())  # none of them comes so late that waiting is over
    with ThreadPoolExecutor(at_once) as guessing:
        list(guessing.map(guess, range(at_once)))

    assert len(looked_at) == attempts.FREE_ATTEMPTS


def test_a_right_password_typed_again_clears_the_count(store: Store, clock: Clock) -> None:
    """And the wrong ones count as those of signing in do."""
    clock.catches_up()
    ada = signed_in(store, sign_in(store, "ada", PASSWORD, ""))
    assert ada
    for wrong in range(4):
        with pytest.raises(Invalid, match=r"This is not your password\."):
            expect_password(store, ada, f"guess {wrong}", "old")
    expect_password(store, ada, PASSWORD, "old")
    for wrong in range(5):
        with pytest.raises(Invalid, match=r"This is not your password\."):
            expect_password(store, ada, f"guess {wrong}", "old")

    with pytest.raises(Invalid, match=r"That failed too often\."):
        expect_password(store, ada, PASSWORD, "old")
    assert refusal(store, "ada", PASSWORD).startswith("That failed too often.")


def test_a_clock_that_was_put_back_keeps_nobody_out_for_long(store: Store, clock: Clock) -> None:
    for _ in range(30):
        clock.goes_on(timedelta(minutes=20))
        refusal(store, "ada", "wrong")
    clock.goes_on(timedelta(days=-400))

    assert "Wait 901 seconds" in refusal(store, "ada", PASSWORD)


def test_a_sign_in_ends_two_weeks_after_it_was_last_used(store: Store, clock: Clock) -> None:
    clock.catches_up()
    token = sign_in(store, "ada", PASSWORD, "")
    clock.goes_on(timedelta(days=13))
    assert signed_in(store, token)
    clock.goes_on(timedelta(days=13))
    assert signed_in(store, token)
    clock.goes_on(timedelta(days=14, seconds=1))

    assert signed_in(store, token) is None


def test_old_ones_are_taken_away_when_somebody_signs_in(store: Store, clock: Clock) -> None:
    clock.catches_up()
    sign_in(store, "ada", PASSWORD, "old")
    clock.goes_on(timedelta(days=15))
    sign_in(store, "ada", PASSWORD, "new")

    with store.reading() as session:
        assert session.exec(select(SignIn.browser)).all() == ["new"]


def test_one_can_end_another_of_ones_own_and_nobody_else_s(store: Store, clock: Clock) -> None:
    open_account(store, "ida", Role.MEMBER)
    clock.catches_up()
    first, second, other = (sign_in(store, name, PASSWORD, name) for name in ("ada", "ada", "ida"))
    ada, ida = signed_in(store, first), signed_in(store, other)
    assert ada
    assert ida
    with store.reading() as session:
        keys = [one.key for one in browsers_of(session, ada)]
        assert [one.this_one for one in browsers_of(session, ada)] == [False, True]

    with pytest.raises(NotFound):
        sign_out(store, ada, ida.sign_in)
    sign_out(store, ada, next(key for key in keys if key != ada.sign_in))

    assert signed_in(store, second) is None
    assert signed_in(store, first)
    assert signed_in(store, other)
    sign_out(store, ada)
    assert signed_in(store, first) is None


def test_another_password_ends_every_sign_in(store: Store, clock: Clock) -> None:
    clock.catches_up()
    token = sign_in(store, "ada", PASSWORD, "")
    store.carry_out(ChangePassword(account="ada", password_hash=hashed("four other old lamps", "ada")), WHO)
    clock.catches_up()

    assert signed_in(store, token) is None
    assert refusal(store, "ada", PASSWORD)
    assert signed_in(store, sign_in(store, "ada", "four other old lamps", ""))


def test_a_closed_account_lets_nobody_in(store: Store, clock: Clock) -> None:
    open_account(store, "ida")
    clock.catches_up()
    token = sign_in(store, "ida", PASSWORD, "")
    store.carry_out(CloseAccount(account="ida", opened_version=1), WHO)

    assert signed_in(store, token) is None
    assert refusal(store, "ida", PASSWORD) == sign_ins.REFUSED
    store.carry_out(ReopenAccount(account="ida", opened_version=2), WHO)
    assert signed_in(store, token)


def test_cookies_of_another_installation_are_let_go(tmp_path: Path) -> None:
    """The key is this folder's own, and nobody else's to read."""
    (tmp_path / "other").mkdir()
    ours, theirs = Cookies(tmp_path), Cookies(tmp_path / "other")

    assert ours.opened(ours.sealed("token")) == "token"
    assert Cookies(tmp_path).opened(ours.sealed("token")) == "token"
    for forged in (theirs.sealed("token"), "token", "", "token.x", "tokén.x", ours.sealed("token")[:-1]):
        assert ours.opened(forged) is None
    assert stat.S_IMODE((tmp_path / "cookie.key").stat().st_mode) == 0o600


def test_a_key_that_is_not_whole_is_told(tmp_path: Path) -> None:
    (tmp_path / "cookie.key").write_bytes(b"short")

    with pytest.raises(OSError, match="is not whole"):
        Cookies(tmp_path)


@pytest.mark.parametrize("password", ["", "short", "x" * 201, "aaaaaaaaaaaaaaa", "abababababab"])
def test_a_password_that_is_easily_guessed_is_refused(password: str) -> None:
    with pytest.raises(Invalid) as refused:
        hashed(password, "ada", "new")
    assert list(refused.value.messages) == ["new"]


def test_a_password_is_not_the_name() -> None:
    with pytest.raises(Invalid):
        hashed("ada.wren.of.the.club", "Ada.Wren.of.the.club")


def test_a_password_fits_its_own_hash_alone() -> None:
    kept = hashed(PASSWORD, "ada")

    assert fits(kept, PASSWORD)
    assert not fits(kept, PASSWORD + " ")
    assert not fits("no hash", PASSWORD)
    assert not fits_nobody("nobody has this password")
    assert kept != hashed(PASSWORD, "ada")


def test_nobody_is_asked_for_whom_the_record_does_not_know(store: Store) -> None:
    assert signed_in(store, "token") is None
    with store.reading() as session:
        assert session.exec(select(SignIn).where(col(SignIn.id) == 1)).first() is None
