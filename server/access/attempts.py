"""Attempts to prove who one is, counted before they are looked at, so that guesses made at once are counted all.

After some that failed the next has to wait, twice as long each time. What was right clears the count.
"""

from datetime import timedelta
from hashlib import sha256

import structlog
from sqlmodel import col, delete

from server.records.clock import now
from server.records.errors import Invalid
from server.records.store import Store
from server.records.tables import FailedAttempt

log = structlog.get_logger("putback.access")
FREE_ATTEMPTS = 5
WAIT_MOST = timedelta(minutes=15)
FORGOTTEN_AFTER = timedelta(days=1)


def count_attempt(store: Store, name: str) -> None:
    """Take one attempt under a name, in one transaction. Raises Invalid where the next has to wait."""
    key, at = _key(name), now()
    with store.noting() as session:
        session.exec(delete(FailedAttempt).where(col(FailedAttempt.last_at) < at - FORGOTTEN_AFTER))
        failed = session.get(FailedAttempt, key) or FailedAttempt(name_key=key, last_at=at)
        wait = _wait_after(failed.count)
        left = min(wait, failed.last_at + wait - at)  # a clock may have been put back
        if left > timedelta():
            seconds = int(left.total_seconds()) + 1
            words = f"{seconds} {'second' if seconds == 1 else 'seconds'}"
            raise Invalid({"": f"That failed too often. Wait {words}, then try again."})
        failed.count += 1
        failed.last_at = at
        session.add(failed)


def clear_attempts(store: Store, name: str) -> None:
    """One was right: the next that fails is the first again."""
    with store.noting() as session:
        session.exec(delete(FailedAttempt).where(col(FailedAttempt.name_key) == _key(name)))


def _key(name: str) -> str:
    """Attempts are counted under a digest: what is typed as a name is sometimes a password."""
    return sha256(name.strip().casefold().encode()).hexdigest()


def _wait_after(count: int) -> timedelta:
    """How long nobody may try again: not at all for the first few, then twice as long each time."""
    if count < FREE_ATTEMPTS:
        return timedelta()
    return min(WAIT_MOST, timedelta(seconds=2 ** min(count - FREE_ATTEMPTS, 20)))
