"""The journal's chain: each entry's hash covers its content and the hash before it.

hash = SHA-256 over the RFC 8785 canonical JSON of {seq, at, who, subject, machine, act, words, change, previous}.
An entry changed, removed or put elsewhere breaks the chain at that place, and `broken_links` names it.
"""

import hashlib
from collections.abc import Callable, Iterator, Mapping
from typing import Any

import rfc8785
from sqlmodel import Session, col, select

from server.records.reading import Unreadable, every
from server.records.tables import JournalEntry
from server.records.work import Entry, Work

FIRST_PREVIOUS = "0" * 64
HASHED = ("seq", "at", "who", "subject", "machine", "act", "words", "change", "previous")


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
    return hash_of(content(entry))


def hash_of(told: Mapping[str, Any]) -> str:
    """The hash of an entry's content, wherever it is told. Raises CanonicalizationError for what JSON cannot hold."""
    return hashlib.sha256(rfc8785.dumps(dict(told))).hexdigest()


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


def broken_links(session: Session, hear: Callable[[JournalEntry], None] | None = None) -> Iterator[str]:
    """A sentence for each place where the chain does not hold; `hear` is told every entry on the way."""
    previous: str | None = FIRST_PREVIOUS
    expected = 1
    for entry in every(session, JournalEntry, JournalEntry.seq):
        seq = entry.key if isinstance(entry, Unreadable) else entry.seq
        if seq != expected:
            yield _missing(expected, seq - 1)
        if isinstance(entry, Unreadable):
            yield f"Journal entry {seq} cannot be read: it was changed after it was written."
            previous = None
        else:
            if seq == expected and previous not in (None, entry.previous):
                yield f"Journal entry {seq} does not follow from the entry before it."
            if not _holds(entry):
                yield f"Journal entry {seq} was changed after it was written."
            if hear:
                hear(entry)
            previous = entry.hash
        expected = seq + 1


def _missing(first: int, last: int) -> str:
    return f"Journal entry {first} is missing." if first == last else f"Journal entries {first} to {last} are missing."


def _holds(entry: JournalEntry) -> bool:
    try:
        return digest(entry) == entry.hash
    except rfc8785.CanonicalizationError:
        return False
