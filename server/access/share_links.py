"""Share links as those who follow them have them: a token that nobody can guess, in the address of one page.

Whoever logs an address takes the token out first.
"""

import re
from ipaddress import ip_address
from urllib.parse import urlsplit

from sqlmodel import Session

from server.access.tokens import TOKEN, digest_of_token
from server.records import clock
from server.records.questions.share_links import opened_by
from server.records.tables import Machine, ShareLink

PLACE = "/shared/"
INVITED = "/invitation/"
IN_PATH = re.compile(rf"^(/+(?:{PLACE.strip('/')}|{INVITED.strip('/')})/+)[^/]+", re.IGNORECASE)


def opened_today(session: Session, token: str) -> tuple[ShareLink, Machine] | None:
    """The link that has this token, and its machine; none where it opens nothing today, for whichever reason."""
    if not TOKEN.fullmatch(token):
        return None
    return opened_by(session, digest_of_token(token), clock.today())


def shared_path(token: str) -> str:
    """Where the page is that a token opens."""
    return f"{PLACE}{token}"


def invitation_path(token: str) -> str:
    """Where the page is that an invitation's token opens."""
    return f"{INVITED}{token}"


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
