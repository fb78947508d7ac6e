"""Taking a dossier over from another installation: it is read and found whole first, and then taken in by one act.

    dossier = read_dossier(path, heard)                      # the bag, its record, journal and files hold; or BadBag
    look = look_at(session, dossier)                         # dossier_look.py: what is new, the same, and different
    take_in(store, path, Choice(look.seen, tag, take), ...)  # if the record is still what was looked at

Nothing of a dossier is written anywhere before it was found whole.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any
from uuid import UUID

import rfc8785

from server.documents.bag_reader import BadBag, OpenBag
from server.documents.record_pictures import RecordedFile, RecordedPhotograph
from server.documents.record_reading import record_from
from server.documents.record_rows import rows_of
from server.documents.record_schema import MachineRecord
from server.records.arriving import Arriving
from server.records.commands.dossiers import ImportDossier, JournalThere, KeptFile
from server.records.file_facts import FILE_MOST, BadFile, facts_of
from server.records.journal import HASHED, hash_of
from server.records.picture_formats import BadPicture
from server.records.pictures import take_in as picture_of
from server.records.sheet_records import BadRecord, read_record
from server.records.store import Done, Store
from server.records.work import Heard

MEGABYTE = 1_000_000
RECORD_MOST = 200 * MEGABYTE
FILES_MOST = 200 * MEGABYTE  # each; a hundred are taken at the bench, and a setting may have allowed more


@dataclass(frozen=True, slots=True)
class Dossier:
    """A dossier that was found whole: its record, the rows of it, and where in the bag each of its files is."""

    record: MachineRecord
    content: bytes
    journal: bytes
    rows: tuple[Arriving, ...]
    made_on: date | None
    names: dict[str, str]


@dataclass(frozen=True, slots=True)
class Choice:
    """What the keeper chose, having looked: the machine's tag here, and the entries to take as the dossier has them."""

    seen: str
    tag: str = ""
    take: frozenset[UUID] = frozenset()


def read_dossier(place: Path, heard: Heard) -> Dossier:
    """Read and check all of it; `heard` is told how far the reading is. Raises BadBag."""
    with OpenBag(place) as bag:
        bag.check(heard)
        dossier = _dossier_in(bag)
        _check_journal(dossier)
        _check_files(bag, dossier)
    return dossier


def dossier_at(place: Path) -> Dossier:
    """One that was read and found whole before, without looking through its files again. Raises BadBag."""
    with OpenBag(place) as bag:
        return _dossier_in(bag)


def take_in(store: Store, place: Path, choice: Choice, who: str, heard: Heard) -> Done:
    """Take in what was looked at. Raises BadBag, ChangedSince, Invalid for a tag that is taken, and Refused."""
    with OpenBag(place) as bag:
        bag.check(heard)
        dossier = _dossier_in(bag)
        head = dossier.record.journal
        command = ImportDossier(
            machine=dossier.record.machine.uuid,
            tag=choice.tag,
            arrivals=dossier.rows,
            seen=choice.seen,
            take=choice.take,
            made_on=dossier.made_on,
            record=dossier.content,
            journal=dossier.journal,
            journal_there=JournalThere(head.seq, head.hash) if head else JournalThere(None, ""),
            files=tuple(
                KeptFile(digest, partial(bag.read, name, FILES_MOST)) for digest, name in sorted(dossier.names.items())
            ),
        )
        return store.carry_out(command, who)


def _dossier_in(bag: OpenBag) -> Dossier:
    content = bag.read("record.json", RECORD_MOST)
    record = record_from(content)
    kept = bag.by_sha256()
    names = {}
    for digest, what in _files_of(record):
        if digest not in kept:
            raise BadBag(f"{what} is not in the dossier.")
        names[digest] = kept[digest]
    journal = bag.read("journal.json", RECORD_MOST) if "journal.json" in bag.payload else b""
    return Dossier(record, content, journal, tuple(rows_of(record)), _day(bag.info.get("Bagging-Date", "")), names)


def _files_of(record: MachineRecord) -> Iterator[tuple[str, str]]:
    """Every file that the record names by its digest, and what it is."""
    yield from ((one.sha256, f"Photograph {one.number}") for one in record.photographs)
    yield from ((one.sha256, f"File {one.number} ({one.file_name})") for one in record.files)
    yield from ((one.sha256, f"The capture of waveform {one.number}") for one in record.waveforms)
    for sheet in record.signed_sheets:
        yield sheet.sha256, f"The record of the signed sheet {sheet.number}"
        yield sheet.pdf_sha256, f"The signed sheet {sheet.number}"


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def _check_journal(dossier: Dossier) -> None:
    """Every entry that is told whole has its hash, and the last that the record names is among them."""
    if not dossier.journal:
        return
    try:
        entries = json.loads(dossier.journal)
        hashes = {(int(entry["seq"]), str(entry["hash"])) for entry in entries}
        wrong = [entry["seq"] for entry in entries if entry["change"] is not None and _hash(entry) != entry["hash"]]
    except (ValueError, LookupError, TypeError, RecursionError, OverflowError) as fault:
        raise BadBag("What it tells of the journal cannot be read.") from fault
    if wrong:
        raise BadBag(f"Entry {wrong[0]} of the journal that it brings was changed after it was written.")
    head = dossier.record.journal
    if head and (head.seq, head.hash) not in hashes:
        raise BadBag("The journal that it brings is not that of its record: the last entry is missing.")


def _hash(entry: dict[str, Any]) -> str:
    try:
        return hash_of({name: entry[name] for name in HASHED})
    except rfc8785.CanonicalizationError:
        return ""


def _check_files(bag: OpenBag, dossier: Dossier) -> None:
    """Each file is what the record says of it, looked through as if it were sent today."""
    for photograph in dossier.record.photographs:
        _check_photograph(photograph, bag.read(dossier.names[photograph.sha256], FILES_MOST))
    for file in dossier.record.files:
        _check_file(file, bag.read(dossier.names[file.sha256], FILE_MOST))
    for sheet in dossier.record.signed_sheets:
        try:
            of = read_record(bag.read(dossier.names[sheet.sha256], RECORD_MOST)).machine
        except BadRecord as fault:
            raise BadBag(f"The signed sheet {sheet.number}: {fault}") from fault
        pdf = bag.read(dossier.names[sheet.pdf_sha256], FILES_MOST)
        if of != dossier.record.machine.uuid or not pdf.startswith(b"%PDF-"):
            raise BadBag(f"The signed sheet {sheet.number} is none of this machine.")


def _check_photograph(told: RecordedPhotograph, content: bytes) -> None:
    try:
        picture = picture_of(content)
    except BadPicture as fault:
        raise BadBag(f"Photograph {told.number} cannot be taken over: {fault}") from fault
    if picture.kept != content:
        raise BadBag(f"Photograph {told.number} tells the place where it was taken, or more; no dossier’s does.")
    if (picture.media_type, picture.width, picture.height) != (told.media_type, told.width, told.height):
        raise BadBag(f"Photograph {told.number} is another kind of picture than its record says.")


def _check_file(told: RecordedFile, content: bytes) -> None:
    try:
        facts = facts_of(content)
    except BadFile as fault:
        raise BadBag(f"File {told.number} cannot be taken over: {fault}") from fault
    if (facts.crc32, facts.sha1) != (told.crc32, told.sha1):
        raise BadBag(f"File {told.number} has another CRC-32 or SHA-1 than its record says.")
