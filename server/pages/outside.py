"""Pages for those who hold a share link and nothing else: they lead nowhere within the record, and nobody indexes them.

They stand in a frame of their own and are always whole; nothing in an address but its token is read. A link that opens
nothing is answered alike, whichever the reason.
"""

from dataclasses import dataclass, fields
from typing import Any

from starlette.responses import HTMLResponse, Response

from server.access.share_links import PLACE
from server.pages.templating import environment

HEADERS = {
    "X-Robots-Tag": "noindex, nofollow",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "private, no-store",
}


@dataclass(frozen=True, slots=True)
class OutsidePage:
    """A page that says in plain words why there is nothing to see."""

    heading: str
    sentence: str


CLOSED = OutsidePage(
    "This link opens nothing",
    "It may have been withdrawn, its last day may be over, or a part of it got lost on the way. "
    "Ask the keeper who sent it to you for another one.",
)


def is_outside(path: str) -> bool:
    """Whether what goes wrong at an address is told to somebody who has no business within the record."""
    return f"/{path.strip('/')}/".lower().startswith(PLACE)


def outside_page(template: str, context: Any, status: int = 200) -> Response:
    """Answer with a page for outside, from a context that is a dataclass."""
    values = {field.name: getattr(context, field.name) for field in fields(context)}
    return HTMLResponse(environment().get_template(template).render(**values), status, headers=HEADERS)


def closed(page: OutsidePage = CLOSED, status: int = 404) -> Response:
    return outside_page("shared/closed.html", page, status)
