"""What stands at the door of every request: which host was asked for, whose page sent it, how large it is.

Plain ASGI, so that uploads stream through. Knows nothing of pages or records. It stands outside of everything else,
so that every answer passes it, those about the program's own faults too.
"""

import re
import time
from collections.abc import Sequence
from urllib.parse import quote

import structlog
from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.access.share_links import without_token

log = structlog.get_logger("putback.request")
SAFE_METHODS = {"GET", "HEAD", "OPTIONS"}
SECURITY_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; font-src 'self'; "
        "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}


HOST = re.compile(r"(?:\[(?P<six>[0-9a-f:.]+)\]|(?P<name>[a-z0-9._-]+))(?::\d{1,5})?", re.ASCII)

TAKES_FILES = re.compile(r"^/(machines/[^/]+/(photographs|files)/on/|dossiers/import$)")
BATCH_TIMES = 10


class TooLarge(HTTPException):
    """The request's body is larger than the settings allow."""

    def __init__(self, most_bytes: int) -> None:
        most = f"{most_bytes / 1_000_000:g} MB"
        super().__init__(413, f"That is larger than {most}, the most that is taken. Nothing was stored.")


def host_name(header: str) -> str:
    """The host without its port: `[::1]:8181` is `::1`; empty where there is none."""
    found = HOST.fullmatch(header.lower())
    return (found["six"] or found["name"]) if found else ""


def comes_from_elsewhere(headers: Headers) -> bool:
    """Whether a browser says that another site's page sent this write.

    Browsers since 2023 say so in Sec-Fetch-Site; older ones in Origin. A program that is no browser sends neither.
    """
    if site := headers.get("sec-fetch-site"):
        return site not in ("same-origin", "none")
    if origin := headers.get("origin"):
        return origin.lower().partition("://")[2] != headers.get("host", "").lower()
    return False


class Guards:
    """Refuses foreign hosts (DNS rebinding), writes from other sites' pages, and bodies over the limit.

    A form that brings several files may be `BATCH_TIMES` as large: each file has a limit of its own, and one that is
    over it must not cost the others.
    """

    def __init__(self, app: ASGIApp, allowed_hosts: Sequence[str], most_bytes: int) -> None:
        self.app = app
        self.allowed_hosts = {host.strip("[]").lower() for host in allowed_hosts}
        self.most_bytes = most_bytes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        started = time.perf_counter()
        status = 500

        async def send_guarded(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                headers = MutableHeaders(scope=message)
                for name, value in SECURITY_HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        try:
            await self._answer(scope, receive, send_guarded)
        finally:
            took = round((time.perf_counter() - started) * 1000, 1)
            path = without_token(quote(scope["path"]))
            log.info("answered", method=scope["method"], path=path, status=status, ms=took)

    async def _answer(self, scope: Scope, receive: Receive, send: Send) -> None:
        headers = Headers(scope=scope)
        if host_name(headers.get("host", "")) not in self.allowed_hosts:
            refusal = "This server does not answer to that host name. Use the address it was started with."
            await PlainTextResponse(refusal, 400)(scope, receive, send)
            return
        if scope["method"] not in SAFE_METHODS and comes_from_elsewhere(headers):
            refusal = "A page of another site tried to change the record. Nothing was changed."
            await PlainTextResponse(refusal, 403)(scope, receive, send)
            return
        most = self.most_bytes * (BATCH_TIMES if TAKES_FILES.search(scope["path"]) else 1)
        await self.app(scope, _counted(receive, headers, most), send)


def _counted(receive: Receive, headers: Headers, most: int) -> Receive:
    """What is received, until it is more than is taken."""
    taken = 0
    length = headers.get("content-length", "")
    announced = int(length) if length.isascii() and length.isdigit() else 0

    async def receive_counted() -> Message:
        nonlocal taken
        if announced > most:
            raise TooLarge(most)
        message = await receive()
        taken += len(message.get("body", b""))
        if taken > most:
            raise TooLarge(most)
        return message

    return receive_counted
