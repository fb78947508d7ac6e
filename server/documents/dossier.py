"""The dossier: everything that is known of one machine, as one bag in a zip file that can be checked without us.

Its record is `data/record.json` in its one spelling (RFC 8785), beside the schema that it keeps to and a JSON-LD
context that says in the terms of CIDOC CRM what its keys mean; with it go the mod sheet, what the journal says, and
every photograph, file and capture as it was kept. Files are copied in pieces, so that a machine with many photographs
needs no more memory than one with none. Knows nothing of the web.
"""

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from sqlmodel import Session

from server.documents.bags import BagWriter
from server.documents.crm import CONTEXT
from server.documents.dossier_words import README
from server.documents.mod_sheet import sheet_data
from server.documents.pdf import mod_sheet_pdf
from server.documents.photograph_views import fault_in, views_of
from server.documents.record import PRIVATE_COLUMNS, canonical, digest, record_of
from server.documents.record_schema import MachineRecord
from server.records import journal
from server.records.files import FileStore, written_beside
from server.records.questions.addresses import find_machine
from server.records.questions.dossiers import last_import
from server.records.questions.journal import entries_about
from server.records.questions.sheet import WholeMachine, whole_machine
from server.records.store import Store
from server.records.work import Heard

ENDINGS = {"image/heic": ".heic", "image/jpeg": ".jpg", "image/png": ".png", "image/webp": ".webp"}
Told = Mapping[str, Any]  # one journal entry in plain words and values


@dataclass(frozen=True, slots=True)
class Payload:
    """A kept file as it goes into the bag: its name there, and the digest under which it is kept."""

    name: str
    sha256: str


@dataclass(frozen=True, slots=True)
class Asked:
    """Which dossier is asked for: of which machine, on which day, by whom, and whether with what is private."""

    tag: str
    day: date
    signer: str
    private: bool = False


def write_dossier(store: Store, asked: Asked, place: Path, heard: Heard) -> str:
    """Write the dossier of a machine as it is now, whole or not at all, and say what is in it.

    `heard` is told how many of its files are in. Raises NotFound, Damaged where a kept file is not whole, and OSError.
    """
    with written_beside(place) as beside, store.reading() as session:
        whole = whole_machine(session, find_machine(session, asked.tag))
        count = _write(beside, asked, whole, journal_of(session, store.files, whole), store.files, heard)
    files = "1 photograph or file" if count == 1 else f"{count:,} photographs and files"
    return f"The dossier of {whole.machine.tag} is whole, with {files}."


def _write(
    place: Path,
    asked: Asked,
    whole: WholeMachine,
    entries: Iterable[Told],
    files: FileStore,
    heard: Heard,
) -> int:
    record_json = canonical(record_of(whole, private=asked.private))
    signer = whole.machine.keeper or asked.signer
    sheet = sheet_data(whole, digest(record_json), asked.day, signer, fault_of=fault_in(files))
    kept = payload_of(whole)
    with BagWriter(place, folder_of(whole.machine.tag, asked.day), asked.day) as bag:
        bag.add("README.txt", [README.encode()])
        bag.add("record.json", [record_json])
        bag.add("record.schema.json", [_indented(MachineRecord.model_json_schema())])
        bag.add("context.jsonld", [_indented(CONTEXT)])
        bag.add("mod-sheet.pdf", [mod_sheet_pdf(sheet, record_json, views=views_of(sheet, files))])
        bag.add("journal.json", _journal(entries, private=asked.private))
        for number, one in enumerate(kept):
            heard(number, len(kept))
            bag.add(one.name, files.pieces(one.sha256))
        bag.finish(_info(asked, whole))
    heard(len(kept), len(kept))
    return len(kept)


def folder_of(tag: str, day: date) -> str:
    """The name of the bag: `TM-03-2026-01-02`."""
    return f"{plain_name(tag)}-{day}"


def payload_of(whole: WholeMachine) -> list[Payload]:
    """The kept files that go along, each once, by names that say which record of `record.json` names them."""
    found = [
        *(
            Payload(f"photographs/{_numbered(row, tag)}{ENDINGS[row.media_type]}", row.sha256)
            for row, tag in whole.photographs
        ),
        *(Payload(f"files/{_numbered(row, tag)}{_ending(row.file_name)}", row.sha256) for row, tag in whole.files),
        *(
            Payload(f"captures/{row.number:04}-{row.sha256[:8]}.csv", row.sha256)
            for row in whole.waveforms
            if row.sha256
        ),
        *(
            Payload(f"signed-sheets/{row.number:04}-{row.sha256[:8]}{ending}", digest)
            for row in whole.signed_sheets
            for ending, digest in ((".pdf", row.pdf_sha256), (".json", row.sha256))
        ),
    ]
    return list({one.sha256: one for one in reversed(found)}.values())[::-1]


def _numbered(row: Any, tag: str) -> str:
    return f"{plain_name(tag)}-{row.number:04}-{row.sha256[:8]}"


def _ending(name: str) -> str:
    """The letters behind the last point, where they are plain."""
    ending = name.rpartition(".")[2]
    return f".{ending.lower()}" if ending.isascii() and ending.isalnum() and len(ending) <= 8 and "." in name else ""


def plain_name(text: str) -> str:
    """As a name that any file system takes."""
    kept = "".join(letter if letter.isascii() and letter.isalnum() else "-" for letter in text).strip("-")
    return kept[:60] or "machine"


def _indented(value: Mapping[str, Any]) -> bytes:
    return (json.dumps(value, ensure_ascii=False, indent=1) + "\n").encode()


def journal_of(session: Session, files: FileStore, whole: WholeMachine) -> Iterator[Told]:
    """What the journal says of a machine, the first entry first.

    One that came from another installation brought that journal's entries; ours go on after them. While its record
    still says what came, there is nothing of ours to tell.
    """
    brought = last_import(session, whole.machine)
    if brought and brought.journal_sha256:
        yield from json.loads(files.read(brought.journal_sha256))
        if whole.head == (brought.journal_seq, brought.journal_hash):
            return
    for entry in entries_about(session, whole.machine):
        yield journal.content(entry) | {"hash": entry.hash}


def _journal(entries: Iterable[Told], *, private: bool) -> Iterator[bytes]:
    """The entries about the machine in their order, one a line, as a list of JSON.

    An entry that changed something private is without its changes, so that its hash cannot be worked out anew.
    """
    before = "[\n"
    for entry in entries:
        told = dict(entry)
        if not private and _touches_private(told["change"] or ()):
            told |= {"change": None, "withheld": "It changed something private."}
        yield (before + json.dumps(told, ensure_ascii=False, sort_keys=True)).encode()
        before = ",\n"
    yield b"[]\n" if before == "[\n" else b"\n]\n"


def _touches_private(change: Sequence[Mapping[str, Any]]) -> bool:
    for row in change:
        columns = PRIVATE_COLUMNS.get(str(row.get("table")), frozenset())
        for side in ("before", "after", "set"):
            if any((row.get(side) or {}).get(column) for column in columns):
                return True
    return False


def _info(asked: Asked, whole: WholeMachine) -> dict[str, str]:
    machine = whole.machine
    named = " ".join(filter(None, [machine.maker, machine.model, machine.variant]))
    return {
        "Contact-Name": asked.signer,
        "Bagging-Date": asked.day.isoformat(),
        "External-Identifier": f"urn:uuid:{machine.uuid}",
        "External-Description": f"The record of {machine.tag}, {named}",
        "Bag-Software-Agent": "Putback",
    }
