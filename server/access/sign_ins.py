"""Signing in and out, and who a browser is signed in as.

The cookie holds a random token, signed with this installation's own key, so that a forged one is let go before the
record is asked. The record keeps the token's SHA-256: a stolen copy of it opens nothing. Sign-ins end by themselves two
weeks after they were last used, and when the password is changed. Failed attempts under a name make the next wait.
"""

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from pathlib import Path

import structlog
from itsdangerous import BadSignature, Signer, TimestampSigner
from sqlmodel import Session, col, delete, select

from server.access.attempts import clear_attempts, count_attempt
from server.access.passwords import fits, fits_nobody
from server.records.clock import now
from server.records.errors import Invalid, NotFound
from server.records.questions.accounts import find_account, machines_kept
from server.records.store import Store
from server.records.tables import Account, AccountSecret, SignIn
from server.records.texts import printable
from server.records.words import Role, Scope

log = structlog.get_logger("putback.access")
COOKIE = "putback"
KEY_FILE = "cookie.key"
LASTS = timedelta(days=14)
HALF_WAY_S = 300
SEEN_EVERY = timedelta(hours=1)
REFUSED = "That name and password do not belong together."


@dataclass(frozen=True, slots=True)
class SignedIn:
    """Somebody who is signed in: their account, what they may do, and the keys of the machines that they keep."""

    account: int
    name: str
    signs_as: str
    role: Role
    machines: frozenset[str]
    sign_in: int
    scopes: frozenset[Scope] | None = None  # what a program that asks for them may do; none: it is themselves


@dataclass(frozen=True, slots=True)
class Browser:
    """One place where somebody is signed in."""

    key: int
    words: str
    begun_at: datetime
    seen_at: datetime
    this_one: bool


class Cookies:
    """Signs the tokens of cookies, and takes none that it did not sign. The key lies in the data folder."""

    def __init__(self, folder: Path) -> None:
        key = _key_in(folder)
        self._signer = Signer(key, salt="putback sign-in")
        self._half_way = TimestampSigner(key, salt="putback half way in")

    def sealed(self, token: str) -> str:
        return self._signer.sign(token).decode()

    def half_way(self, account: Account) -> str:
        """For who gave the right password and still owes a code; it holds for minutes, and for this password."""
        return self._half_way.sign(f"{account.key}.{account.password_set_at.isoformat()}").decode()

    def half_way_of(self, cookie: str) -> str | None:
        try:
            return self._half_way.unsign(cookie, max_age=HALF_WAY_S).decode()
        except (BadSignature, UnicodeDecodeError):
            return None

    def opened(self, cookie: str) -> str | None:
        try:
            return self._signer.unsign(cookie).decode()
        except (BadSignature, UnicodeDecodeError):
            return None


def _key_in(folder: Path) -> bytes:
    """This installation's own key, made when it is first needed; of two servers that make one, the first one's."""
    place = folder / KEY_FILE
    try:
        with place.open("xb") as file:
            place.chmod(0o600)
            file.write(secrets.token_bytes(32))
    except FileExistsError:
        pass
    key = place.read_bytes()
    if len(key) < 32:
        raise OSError(f"{place} is not whole. Take it away, and everybody signs in again.")
    return key


def prove(store: Store, name: str, password: str) -> Account:
    """Whose name and password these are. Raises Invalid where they are not let in, or have to wait."""
    count_attempt(store, name)
    with store.reading() as session:
        account = _account(session, name)
        secret = session.get(AccountSecret, account.key) if account else None
    right = fits(secret.password_hash, password) if secret else fits_nobody(password)
    if account is None or account.closed or not right:
        log.warning("sign-in refused")
        raise Invalid({"": REFUSED})
    return account


def half_way_in(store: Store, cookies: Cookies, cookie: str) -> Account | None:
    """Who proved their password a moment ago, if it still is theirs and a code is asked of them."""
    told = cookies.half_way_of(cookie)
    if told is None:
        return None
    with store.reading() as session:
        account = session.get(Account, int(told.partition(".")[0]))
    holds = account and account.asks_code and not account.closed
    return account if account and holds and told == f"{account.key}.{account.password_set_at.isoformat()}" else None


def begin(store: Store, account: Account, browser: str) -> str:
    """A sign-in of somebody who has proved who they are."""
    token = secrets.token_urlsafe(32)
    at = now()
    clear_attempts(store, account.name)
    with store.noting() as session:
        session.exec(delete(SignIn).where(col(SignIn.ends_at) < at))
        session.add(
            SignIn(
                account_id=account.key,
                digest=_digest(token),
                browser=printable(browser, 200),
                begun_at=at,
                seen_at=at,
                ends_at=at + LASTS,
            )
        )
    log.info("signed in", account=account.name)
    return token


def signed_in(store: Store, token: str) -> SignedIn | None:
    """Who has this token, if their sign-in still holds; that they were here is noted once an hour."""
    at = now()
    with store.reading() as session:
        query = select(SignIn, Account).join(Account, col(Account.id) == col(SignIn.account_id))
        found = session.exec(query.where(SignIn.digest == _digest(token))).first()
        if found is None:
            return None
        begun, account = found
        if begun.ends_at <= at or account.closed or begun.begun_at < account.password_set_at:
            return None
        who = as_signed_in(session, account, begun.id or 0)
    if at - begun.seen_at > SEEN_EVERY:
        _note_seen(store, begun, at)
    return who


def as_signed_in(session: Session, account: Account, sign_in: int) -> SignedIn:
    """An account as whoever asks with it, by a sign-in or without one."""
    of_some = account.role == Role.KEEPER_OF_MACHINES.value
    kept = frozenset(one.tag_key for one in machines_kept(session, account)) if of_some else frozenset[str]()
    return SignedIn(account.key, account.name, account.signs_as, Role(account.role), kept, sign_in)


def browsers_of(session: Session, who: SignedIn) -> list[Browser]:
    """Where somebody is signed in, the latest first."""
    query = select(SignIn).where(SignIn.account_id == who.account, col(SignIn.ends_at) > now())
    rows = session.exec(query.order_by(col(SignIn.seen_at).desc(), col(SignIn.id).desc()).limit(100))
    return [Browser(one.id or 0, one.browser, one.begun_at, one.seen_at, one.id == who.sign_in) for one in rows]


def expect_password(store: Store, who: SignedIn, password: str, field: str) -> None:
    """Somebody who is signed in types theirs again. Raises Invalid beside the field; it counts as an attempt."""
    count_attempt(store, who.name)
    with store.reading() as session:
        secret = session.get(AccountSecret, who.account)
    if not fits(secret.password_hash if secret else "", password):
        log.warning("password refused")
        raise Invalid({field: "This is not your password."})
    clear_attempts(store, who.name)


def sign_out(store: Store, who: SignedIn, key: int | None = None) -> None:
    """End one of somebody's sign-ins: this one, or another of theirs. Raises NotFound for one that is not theirs."""
    with store.noting() as session:
        row = session.get(SignIn, key or who.sign_in)
        if row is None or row.account_id != who.account:
            raise NotFound("sign-in", key)
        session.delete(row)
    log.info("signed out", account=who.name)


def _account(session: Session, name: str) -> Account | None:
    try:
        return find_account(session, name)
    except NotFound:
        return None


def _digest(token: str) -> str:
    return sha256(token.encode()).hexdigest()


def _note_seen(store: Store, begun: SignIn, at: datetime) -> None:
    with store.noting() as session:
        row = session.get(SignIn, begun.id)
        if row is not None:
            row.seen_at, row.ends_at = at, at + LASTS
