"""Tokens by which somebody's programs use `/api/v1` in their name: never more than they may do, and for no page.

They are no record: whoever makes one is told the token once, and takes it away again on the page of their account.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

import structlog
from sqlmodel import Session, col, delete, func, select

from server.access.sign_ins import SignedIn, as_signed_in
from server.access.tokens import TOKEN, digest_of_token, new_token
from server.records import clock
from server.records.errors import Invalid, NotFound
from server.records.store import Store
from server.records.tables import Account, ApiToken
from server.records.texts import printable
from server.records.words import Scope

log = structlog.get_logger("putback.access")
MOST_TOKENS = 50
LASTS_MOST = timedelta(days=366)
NAME_LONG = 80
USED_EVERY = timedelta(minutes=1)
BEARER = "bearer "
BETWEEN = ", "


def make_token(store: Store, who: SignedIn, name: str, scopes: Sequence[str], last_day: date) -> str:
    """A token of somebody's, which is kept nowhere. Raises Invalid beside what will not do."""
    asked = _scopes(scopes)
    wrong = {
        "name": "" if name.strip() else "Say what it is for, so that you know later which one to withdraw.",
        "scopes": "" if asked else "Choose what it may do.",
        "last_day": _wrong_day(last_day),
    }
    if wrong := {field: words for field, words in wrong.items() if words}:
        raise Invalid(wrong)
    token = new_token()
    with store.noting() as session:
        if session.exec(select(func.count()).where(ApiToken.account_id == who.account)).one() >= MOST_TOKENS:
            raise Invalid({"": f"You have {MOST_TOKENS} tokens. Withdraw one that is no longer needed first."})
        session.add(
            ApiToken(
                account_id=who.account,
                name=printable(name.strip(), NAME_LONG),
                digest=digest_of_token(token),
                scopes=BETWEEN.join(asked),
                made_at=clock.now(),
                last_day=last_day,
            )
        )
    log.info("token made", account=who.name)
    return token


def tokens_of(session: Session, who: SignedIn) -> Sequence[ApiToken]:
    """Somebody's tokens, the latest first."""
    query = select(ApiToken).where(ApiToken.account_id == who.account)
    return session.exec(query.order_by(col(ApiToken.id).desc()).limit(MOST_TOKENS)).all()


def withdraw_token(store: Store, who: SignedIn, key: int) -> None:
    """It opens nothing from now on. Raises NotFound for one that is not theirs."""
    with store.noting() as session:
        found = session.exec(delete(ApiToken).where(col(ApiToken.id) == key, col(ApiToken.account_id) == who.account))
        if not found.rowcount:
            raise NotFound("token", key)
    log.info("token withdrawn", account=who.name)


def token_in(authorization: str) -> str | None:
    """The token that a program sends with its request, if it sends any."""
    if not authorization.lower().startswith(BEARER):
        return None
    return authorization[len(BEARER) :].strip()


def asks_with(store: Store, token: str) -> SignedIn | None:
    """Whose program it is that has this token, and what it may do; none where it opens nothing today."""
    if not TOKEN.fullmatch(token):
        return None
    with store.reading() as session:
        query = select(ApiToken, Account).join(Account, col(Account.id) == col(ApiToken.account_id))
        found = session.exec(query.where(ApiToken.digest == digest_of_token(token))).first()
        if found is None:
            return None
        kept, account = found
        if account.closed or kept.last_day < clock.today():
            return None
        who = replace(as_signed_in(session, account, 0), scopes=frozenset(_scopes(kept.scopes.split(BETWEEN))))
    _note_used(store, kept)
    return who


def _scopes(words: Sequence[str]) -> list[Scope]:
    """Those that there are, each once, in the order of their kind."""
    return [scope for scope in Scope if scope.value in words]


def _wrong_day(last_day: date) -> str:
    today = clock.today()
    if last_day < today:
        return f"{last_day} is over. The first day that will do is {today}."
    if last_day > today + LASTS_MOST:
        return f"A token lasts a year at most. The last day that will do is {today + LASTS_MOST}."
    return ""


def _note_used(store: Store, kept: ApiToken) -> None:
    """Once a minute: a script that asks often must not write each time."""
    at = clock.now()
    if kept.used_at and kept.used_at <= at < kept.used_at + USED_EVERY:
        return
    with store.noting() as session:
        row = session.get(ApiToken, kept.id)
        if row is not None:
            row.used_at = at
