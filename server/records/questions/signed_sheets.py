"""Mod sheets that were signed: those of one machine, and the one that bears a digest."""

import re
from collections.abc import Sequence

from sqlmodel import Session, col, select

from server.records.questions.paging import Paged, paged
from server.records.tables import Machine, SignedSheet

DIGITS_LEAST, DIGITS = 12, 64
APART = re.compile(r"[\s\-.\u00ad\u200b-\u200d\u2060\ufeff]+")
HEX = re.compile(r"[0-9a-f]+", re.ASCII)


def digits_of(typed: str) -> str | None:
    """A digest as people type it: in fours, in capitals, shortened, with the address before it; none if it is none."""
    last = re.split(r"[/:]", typed.strip().rstrip("/"))[-1]
    digits = APART.sub("", last).lower()
    return digits if HEX.fullmatch(digits) and DIGITS_LEAST <= len(digits) <= DIGITS else None


def with_digest(session: Session, digits: str) -> Sequence[tuple[SignedSheet, Machine]]:
    """The sheets whose digest begins with these digits; the first two are enough to say that there are several."""
    beyond = f"{digits}g"  # no digit comes after f
    query = (
        select(SignedSheet, Machine)
        .join(Machine, col(Machine.id) == col(SignedSheet.machine_id))
        .where(col(SignedSheet.sha256) >= digits, col(SignedSheet.sha256) < beyond)
    )
    return session.exec(query.order_by(col(SignedSheet.id)).limit(2)).all()


def signed_sheets(session: Session, machine: Machine, number: int) -> Paged[SignedSheet]:
    """A page of a machine's signed sheets, the latest first."""
    query = select(SignedSheet).where(SignedSheet.machine_id == machine.id)
    return paged(session, query.order_by(col(SignedSheet.number).desc()), number)
