"""Passwords: what one has to be, and the Argon2id hash that is kept of it (RFC 9106, as the library usually has it)."""

from functools import lru_cache
from threading import BoundedSemaphore

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from server.records.errors import Invalid

LENGTH_LEAST, LENGTH_MOST = 12, 200
_hasher = PasswordHasher()
# Each takes some 64 MB: whoever guesses many at once waits, and the server does not run out of memory.
_few_at_once = BoundedSemaphore(2)


def hashed(password: str, name: str, field: str = "password") -> str:
    """What is kept of a password. Raises Invalid beside the field where it is too easily guessed."""
    if len(password) < LENGTH_LEAST:
        raise Invalid({field: f"A password has at least {LENGTH_LEAST} characters; several words are good ones."})
    if len(password) > LENGTH_MOST:
        raise Invalid({field: f"A password has at most {LENGTH_MOST} characters."})
    if password.casefold() == name.casefold() or len(set(password)) < 4:
        raise Invalid({field: "That is too easily guessed. Take several words that do not belong together."})
    with _few_at_once:
        return _hasher.hash(password)


def hashed_twice(password: str, again: str, name: str) -> str:
    """As `hashed`, of a password that nobody saw while it was typed, and that was typed twice therefore."""
    if password != again:
        raise Invalid({"again": "This is another one than the one above."})
    return hashed(password, name)


def fits(password_hash: str, password: str) -> bool:
    """Whether a password is the one of which this was kept."""
    try:
        with _few_at_once:
            return _hasher.verify(password_hash, password[:LENGTH_MOST])
    except (VerificationError, InvalidHashError):
        return False


def fits_nobody(password: str) -> bool:
    """Takes as long as a real check, so that the time of an answer does not tell who has an account."""
    return fits(_of_nobody(), password) and False


@lru_cache
def _of_nobody() -> str:
    return _hasher.hash("nobody has this password")
