"""The journal's chain: each entry's hash covers its content and the hash before it.

hash = SHA-256 over the RFC 8785 canonical JSON of {seq, at, who, subject, machine, act, words, change, previous}.
An entry changed, removed or put elsewhere breaks the chain at that place, and `broken_links` names it.
"""

import hashlib
from collections.abc import Iterator
from typing import Any

import rfc8785
from sqlmodel import Session, col, select

from server.records.tables import JournalEntry
from server.records.work import Entry, Work

FIRST_PREVIOUS = "0" * 64


def content(entry: JournalEntry) -> dict[str, Any]:
    """What the hash covers, as plain JSON values."""
    return {
        "seq": entry.seq,
        "at": entry.at.isoformat(timespec="microseconds"),
        "who": entry.who,
        "subject": str(entry.subject),
        "machine": str(entry.machine) if entry.machine else None,
        "act": entry.act,
        "words": entry.words,
        "change": entry.change,
        "previous": entry.previous,
    }


def digest(entry: JournalEntry) -> str:
    """The hash that belongs to this content."""
    return hashlib.sha256(rfc8785.dumps(content(entry))).hexdigest()


def append(work: Work, said: Entry) -> JournalEntry:
    """Write the entry for everything this work has changed. The caller holds the write lock."""
    last = work.session.exec(
        select(JournalEntry.seq, JournalEntry.hash).order_by(col(JournalEntry.seq).desc()).limit(1)
    ).first()
    entry = JournalEntry(
        seq=last[0] + 1 if last else 1,
        at=work.at,
        who=work.who,
        subject=said.subject.uuid,
        machine=said.machine.uuid if said.machine else None,
        act=said.act,
        words=said.words,
        change=list(work.changes.values()),
        previous=last[1] if last else FIRST_PREVIOUS,
        hash="",
    )
    entry.hash = digest(entry)
    work.session.add(entry)
    return entry


def entries(session: Session, batch: int = 200) -> Iterator[JournalEntry]:
    """All entries in order, read in batches so that a long journal never fills the memory."""
    seen = 0
    while True:
        after = select(JournalEntry).where(col(JournalEntry.seq) > seen).order_by(col(JournalEntry.seq))
        rows = session.exec(after.limit(batch)).all()
        if not rows:
            return
        for entry in rows:
            yield entry
            seen = entry.seq
        session.expunge_all()


def broken_links(session: Session) -> Iterator[str]:
    """A sentence for each place where the chain does not hold."""
    previous, expected = FIRST_PREVIOUS, 1
    for entry in entries(session):
        if entry.seq != expected:
            yield f"Journal entries {expected} to {entry.seq - 1} are missing."
        elif entry.previous != previous:
            yield f"Journal entry {entry.seq} does not follow from the entry before it."
        if digest(entry) != entry.hash:
            yield f"Journal entry {entry.seq} was changed after it was written."
        previous, expected = entry.hash, entry.seq + 1
