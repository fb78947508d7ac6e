"""The record that a mod sheet was made from, read from its canonical JSON.

Signing a sheet writes into the journal and into the list of signed sheets, which both stand in the record. So these two
are left out where one record is held against another: a sheet would differ from its machine the moment it is signed.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID

import rfc8785

from server.records.files import digest_of

NOT_COMPARED = frozenset({"journal", "signed_sheets"})
FORMAT_BEGINS = "putback-record/"


class BadRecord(ValueError):
    """The bytes are no record of a machine; the sentence says why."""


@dataclass(frozen=True, slots=True)
class SheetRecord:
    """A record as it was read: its bytes with their digest, the machine's UUID, and what is compared of it."""

    content: bytes
    sha256: str
    machine: UUID
    compared: dict[str, Any]


def read_record(content: bytes) -> SheetRecord:
    """Read a record in its one spelling (RFC 8785); raises BadRecord for anything else."""
    try:
        record = json.loads(content)
        spelled = rfc8785.dumps(record)
    except (ValueError, RecursionError) as fault:  # what is no UTF-8 or no JSON, or has no canonical spelling
        raise BadRecord("This is no record of a machine: it is not JSON.") from fault
    if not isinstance(record, dict) or not str(record.get("format", "")).startswith(FORMAT_BEGINS):
        raise BadRecord("This is JSON, but no record of a machine as Putback writes it.")
    if spelled != content:
        raise BadRecord("This record is not in its one spelling (RFC 8785), so its digest would be another.")
    try:
        machine = UUID(record["machine"]["uuid"])
    except (KeyError, TypeError, ValueError, AttributeError) as fault:
        raise BadRecord("This record does not say which machine it is of.") from fault
    return SheetRecord(content, digest_of(content), machine, compared_of(record))


def compared_of(record: Mapping[str, Any]) -> dict[str, Any]:
    """What of a record is held against another."""
    return {name: value for name, value in record.items() if name not in NOT_COMPARED}


def short(sha256: str) -> str:
    """Enough of a digest to compare by eye: its first sixteen digits, in fours."""
    return " ".join(sha256[start : start + 4] for start in range(0, 16, 4))
