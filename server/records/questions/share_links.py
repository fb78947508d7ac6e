"""Share links: those of one machine, and which machine a link opens on a day."""

from dataclasses import dataclass
from datetime import date
from typing import Literal

from sqlmodel import Session, col, or_, select

from server.records.questions.paging import Paged, paged
from server.records.tables import Machine, ShareLink

State = Literal["open", "past its last day", "withdrawn"]


@dataclass(frozen=True, slots=True)
class ShareLine:
    """One link of a machine, how it stands on a day, and until when it opens the sheet."""

    link: ShareLink
    state: State
    until: str


def until(link: ShareLink) -> str:
    """Until when a link opens its sheet, in words."""
    return f"until the end of {link.expires_on}" if link.expires_on else "until it is withdrawn"


def state_on(link: ShareLink, day: date) -> State:
    """A link opens its sheet on its last day too."""
    if link.withdrawn_on:
        return "withdrawn"
    return "past its last day" if link.expires_on and link.expires_on < day else "open"


def share_links(session: Session, machine: Machine, number: int, day: date) -> Paged[ShareLine]:
    """A page of a machine's links, the latest first."""
    query = select(ShareLink).where(ShareLink.machine_id == machine.id)
    found = paged(session, query.order_by(col(ShareLink.number).desc()), number)
    lines = [ShareLine(link, state_on(link, day), until(link)) for link in found.rows]
    return Paged(lines, found.number, found.last, found.total)


def opened_by(session: Session, digest: str, day: date) -> tuple[ShareLink, Machine] | None:
    """The link whose token has this digest with its machine, where it opens anything on that day."""
    query = (
        select(ShareLink, Machine)
        .join(Machine, col(Machine.id) == col(ShareLink.machine_id))
        .where(
            ShareLink.digest == digest,
            col(ShareLink.withdrawn_on).is_(None),
            or_(col(ShareLink.expires_on).is_(None), col(ShareLink.expires_on) >= day),
        )
    )
    return session.exec(query).first()
