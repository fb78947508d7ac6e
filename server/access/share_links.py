"""Share links as those who follow them have them: a token that nobody can guess, in the address of one page.

Only the token's SHA-256 is stored, and looked up by its index: a stolen copy of the record opens nothing, and how long
an answer takes tells nothing of other tokens. Whoever logs an address takes the token out first.
"""

import re
import secrets
from hashlib import sha256
from ipaddress import ip_address
from urllib.parse import urlsplit

from sqlmodel import Session

from server.records import clock
from server.records.questions.share_links import opened_by
from server.records.tables import Machine, ShareLink

PLACE = "/shared/"
TOKEN_BYTES = 24  # 192 random bits, which base 64 spells without a remainder in 32 letters
TOKEN = re.compile(r"[A-Za-z0-9_-]{32}", re.ASCII)
IN_PATH = re.compile(rf"^(/+{PLACE.strip('/')}/+)[^/]+", re.IGNORECASE)


def new_token() -> str:
    return secrets.token_urlsafe(TOKEN_BYTES)


def digest_of_token(token: str) -> str:
    """What is stored of a token."""
    return sha256(token.encode("ascii")).hexdigest()


def opened_today(session: Session, token: str) -> tuple[ShareLink, Machine] | None:
    """The link that has this token, and its machine; none where it opens nothing today, for whichever reason."""
    if not TOKEN.fullmatch(token):
        return None
    return opened_by(session, digest_of_token(token), clock.today())


def shared_path(token: str) -> str:
    """Where the page is that a token opens."""
    return f"{PLACE}{token}"


def without_token(path: str) -> str:
    """A path as it may be logged."""
    return IN_PATH.sub(r"\1{token}", path)


def only_here(address: str) -> bool:
    """Whether an address is of this very machine, so that it leads others nowhere."""
    host = urlsplit(address).hostname or ""
    if host == "localhost" or host.endswith(".localhost"):
        return True
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return False
