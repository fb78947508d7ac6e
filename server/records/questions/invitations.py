"""Invitations: those that still let somebody in, and which one a link is."""

from collections.abc import Sequence
from datetime import date

from sqlmodel import Session, col, select
from sqlmodel.sql.expression import SelectOfScalar

from server.records.tables import Invitation, Machine

LISTED_MOST = 200


def _open_on(day: date) -> SelectOfScalar[Invitation]:
    """On its last day too."""
    return select(Invitation).where(
        col(Invitation.used_on).is_(None), col(Invitation.withdrawn_on).is_(None), col(Invitation.last_day) >= day
    )


def open_invitations(session: Session, day: date) -> Sequence[Invitation]:
    """Those that let somebody in on a day, the latest first."""
    return session.exec(_open_on(day).order_by(col(Invitation.number).desc()).limit(LISTED_MOST)).all()


def invited_by(session: Session, digest: str, day: date) -> Invitation | None:
    """The invitation whose link's token has this digest, where it lets somebody in on that day."""
    return session.exec(_open_on(day).where(Invitation.digest == digest)).first()


def tags_of(session: Session, invitation: Invitation) -> list[str]:
    """The machines that its account will keep."""
    query = select(Machine.tag).where(col(Machine.id).in_(invitation.machines))
    return list(session.exec(query.order_by(col(Machine.tag_key))))
