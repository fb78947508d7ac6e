"""Reading a mod sheet that somebody holds: the record in its PDF, or a record by itself, and the digest on its paper.

A file from outside is only read here, whatever it is; nothing in it is run or followed.
"""

import logging
import re
from collections.abc import Iterator
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

from pypdf import PdfReader

from server.records.errors import RecordError
from server.records.files import digest_of
from server.records.sheet_records import BadRecord, SheetRecord, read_record

FILE_MOST_MB = 200
ATTACHED = "-record.json"
DIGEST = re.compile(r"(?<![0-9a-f])[0-9a-f]{64}(?![0-9a-f])")
logging.getLogger("pypdf").setLevel(logging.CRITICAL)  # what it says of odd files is no sentence for a keeper


class NoSheet(RecordError):
    """The file is no mod sheet and no record; the sentence says why."""


@dataclass(frozen=True, slots=True)
class HeldSheet:
    """A sheet as somebody holds it: its record, the file's digest where it is a PDF, and the digest on its paper."""

    record: SheetRecord
    pdf_sha256: str = ""
    printed: str = ""


def read_sheet(place: Path) -> HeldSheet:
    """Read a file that should be a mod sheet's PDF or a record.json; raises NoSheet, or OSError."""
    if place.stat().st_size > FILE_MOST_MB * 1_000_000:
        raise NoSheet(f"{place.name} is larger than {FILE_MOST_MB} MB, which no mod sheet is.")
    content = place.read_bytes()
    try:
        if content.startswith(b"%PDF-"):
            return _in_pdf(place.name, content)
        return HeldSheet(read_record(content))
    except BadRecord as fault:
        raise NoSheet(f"{place.name}: {fault}") from fault


def _in_pdf(name: str, content: bytes) -> HeldSheet:
    try:
        reader = PdfReader(BytesIO(content))
        attached = [file.content for file in reader.attachment_list if file.name.endswith(ATTACHED)]
        printed = next(_printed(reader), "")
    except Exception as fault:  # a broken PDF breaks its reader in many ways
        raise NoSheet(f"{name} is a PDF that cannot be read: {type(fault).__name__}.") from fault
    if len(attached) != 1:
        many = f"{len(attached)} records" if attached else "no record"
        raise NoSheet(f"{name} has {many} inside, so it is no mod sheet as Putback makes it.")
    return HeldSheet(read_record(attached[0]), digest_of(content), printed)


def _printed(reader: PdfReader) -> Iterator[str]:
    """Digests on the paper, from the last page on: there it stands beside the signature."""
    for page in reversed(reader.pages):
        yield from DIGEST.findall(page.extract_text())
