"""The door: every request to a page passes here, and is let in or not, before anything of it is read.

Without any account this machine's own keeper is the only one who can ask. While that is so, each request asks
the record anew: the first account may be opened by another process. Once there is one the door stays closed.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fastapi import Request
from starlette.concurrency import run_in_threadpool

from server.access.api_tokens import asks_with, token_in
from server.access.permissions import Need, allowed, in_scope, is_for_programs, need_of
from server.access.sign_ins import COOKIE, Cookies, SignedIn, signed_in
from server.records.errors import NotFound, RecordError
from server.records.questions.accounts import any_account
from server.records.questions.addresses import find_part, tag_key
from server.records.questions.subjects import machine_of_part
from server.records.store import Store


class NotSignedIn(RecordError):
    """Nobody knows who asks."""

    def __init__(self) -> None:
        super().__init__("Sign in first. Nothing was changed.")


class NoSuchToken(NotSignedIn):
    """A program sends a token that opens nothing."""

    def __init__(self) -> None:
        RecordError.__init__(
            self, "This token opens nothing: it is mistyped, withdrawn or past its last day. Nothing was changed."
        )


class NotInScope(RecordError):
    """A program's token is not for this."""

    def __init__(self) -> None:
        super().__init__(
            "This token is not for that. Make one that is, on the page of your account. Nothing was changed."
        )


class NotAllowed(RecordError):
    """Whoever asks may not do this."""

    def __init__(self, need: Need | None) -> None:
        self.need = need
        keepers = "a keeper of this machine" if need is Need.KEEPS_THE_MACHINE else "a keeper"
        super().__init__(f"Your account may look, and not change this. Ask {keepers}. Nothing was changed.")


ASKED_BY_MACHINES = ("/healthz", "/robots.txt")  # by nobody in particular, and often
NUMBER_LONG = 12  # digits, as the pages of parts read them: both have to mean the same part


@dataclass(slots=True)
class Door:
    """One installation's door. `closed` once there are accounts."""

    store: Store
    cookies: Cookies
    closed: bool

    @classmethod
    def of(cls, store: Store, folder: Path) -> "Door":
        with store.reading() as session:
            return cls(store, Cookies(folder), any_account(session))

    def look(self) -> None:
        """Close once somebody has an account."""
        if not self.closed:
            with self.store.reading() as session:
                self.closed = any_account(session)

    def who(self, request: Request) -> SignedIn | None:
        """Who is signed in with the cookie of a request."""
        token = self.cookies.opened(cookie_of(request))
        return signed_in(self.store, token) if token else None

    def machine_of(self, request: Request) -> str | None:
        """The folded tag of the machine that a request speaks of, where it speaks of one."""
        return self.machine_of_path(request.path_params)

    def machine_of_path(self, path: Mapping[str, Any]) -> str | None:
        """The same, told by what an address says."""
        if tag := path.get("tag"):
            return tag_key(str(tag))
        number = str(path.get("number", ""))
        if not (number.isascii() and number.isdigit() and len(number) < NUMBER_LONG):
            return None
        with self.store.reading() as session:
            try:
                machine = machine_of_part(session, find_part(session, int(number)))
            except NotFound:
                return None
        return machine.tag_key if machine else None


def cookie_name(request: Request) -> str:
    """Over https a browser is told to keep it for this very host."""
    return f"__Host-{COOKIE}" if request.url.scheme == "https" else COOKIE


def cookie_of(request: Request) -> str:
    return request.cookies.get(cookie_name(request), "")


def door_of(request: Request) -> Door:
    door: Door = request.app.state.door
    return door


async def at_the_door(request: Request) -> None:
    """Let a request in, with who is asking; raises NotSignedIn and NotAllowed."""
    request.state.signed_in = None
    if request.scope["route"].path not in ASKED_BY_MACHINES:
        await run_in_threadpool(_let_in, door_of(request), request)


def _let_in(door: Door, request: Request) -> None:
    door.look()
    if not door.closed:
        return
    pattern = request.scope["route"].path
    token = token_in(request.headers.get("authorization", "")) if is_for_programs(pattern) else None
    # With a token the cookie counts for nothing: a program is to do no more than its token lets it.
    who = request.state.signed_in = door.who(request) if token is None else asks_with(door.store, token)
    if token is not None and who is None:
        raise NoSuchToken
    if who is not None and not in_scope(who, request.method, pattern):
        raise NotInScope
    need = need_of(request.method, pattern)
    machine = door.machine_of(request) if need is Need.KEEPS_THE_MACHINE else None
    if allowed(need, who, machine):
        return
    raise NotSignedIn if who is None else NotAllowed(need)


def expect_keeper(request: Request, machine: str) -> None:
    """For what lies on another machine than the address names. Raises NotAllowed."""
    if not may(request, Need.KEEPS_THE_MACHINE, machine):
        raise NotAllowed(Need.KEEPS_THE_MACHINE)


def may(request: Request, need: Need, machine: str | None = None) -> bool:
    """Whether a page offers something to whom it is shown."""
    return not door_of(request).closed or allowed(need, getattr(request.state, "signed_in", None), machine)
