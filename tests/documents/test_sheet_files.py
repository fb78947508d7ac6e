"""A sheet that somebody holds: what is read from its file, and whether it is as it was signed."""

import io
import json
import logging
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pikepdf
import pytest

from server.documents.pdf import mod_sheet_pdf
from server.documents.record import canonical, machine_record
from server.documents.sheet_check import SheetCheck, check_sheet
from server.documents.sheet_files import FILE_MOST_MB, NoSheet, read_sheet
from server.documents.signing import drawn_up, sign
from server.records.commands.machines import EnterMachine, ReviseMachine
from server.records.commands.sheets import SheetFields
from server.records.files import digest_of
from server.records.questions.addresses import find_machine
from server.records.sheet_records import short
from server.records.store import Store
from server.records.tables import SignedSheet
from tests.documents.conftest import opened
from tests.documents.invented import KEEPER, PRIVATE_WORDS, TAG, Bench, tell

SIGNED = SheetFields.read({"signer": "Ida Quern", "day": "2026-01-02"})
AS_SIGNED = "The file is the sheet as it was signed, byte for byte."


@dataclass(frozen=True, slots=True)
class Handed:
    """A sheet as it was handed over, and the record it was signed in."""

    bench: Bench
    pdf: bytes
    record: bytes

    @property
    def first_line(self) -> str:
        return f"Mod sheet 1 of {TAG}, signed by Ida Quern on 2026-01-02, digest {short(digest_of(self.record))}."


def hand_over(store: Store) -> Handed:
    bench = tell(store)
    sign(store, TAG, SIGNED, KEEPER)
    with store.reading() as session:
        sheet = session.get_one(SignedSheet, 1)
    return Handed(bench, store.files.read(sheet.pdf_sha256), store.files.read(sheet.sha256))


@pytest.fixture(scope="module")
def handed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Handed]:
    """To be read only."""
    store = opened(tmp_path_factory.mktemp("handed"))
    yield hand_over(store)
    store.close()


def checked(bench: Bench, content: bytes, folder: Path, name: str = "sheet.pdf") -> SheetCheck:
    file = folder / name
    file.write_bytes(content)
    with bench.store.reading() as session:
        return check_sheet(session, bench.store.files, read_sheet(file))


def changed(pdf: bytes, record: bytes | None = None) -> bytes:
    """The same PDF written anew by another library, with another record inside if one is given."""
    out = io.BytesIO()
    with pikepdf.open(io.BytesIO(pdf)) as opened_pdf:
        if record is not None:
            name = f"{TAG}-record.json"
            opened_pdf.attachments[name] = pikepdf.AttachedFileSpec(opened_pdf, record, filename=name)
        opened_pdf.save(out)
    return out.getvalue()


def test_a_sheet_is_read_with_its_record_and_the_digest_on_its_paper(handed: Handed, tmp_path: Path) -> None:
    file = tmp_path / "sheet.pdf"
    file.write_bytes(handed.pdf)
    held = read_sheet(file)

    assert held.record.content == handed.record
    assert held.printed == held.record.sha256 == digest_of(handed.record)
    assert held.pdf_sha256 == digest_of(handed.pdf)


def test_a_sheet_as_it_was_signed_matches(handed: Handed, tmp_path: Path) -> None:
    said = checked(handed.bench, handed.pdf, tmp_path)

    assert said.matches
    assert said.lines == [handed.first_line, AS_SIGNED, "The record says the same today."]


def test_its_record_by_itself_matches_too(handed: Handed, tmp_path: Path) -> None:
    said = checked(handed.bench, handed.record, tmp_path, "record.json")

    assert said.matches
    assert said.lines[:2] == [
        handed.first_line,
        "The file is the record of the sheet as it was signed, byte for byte.",
    ]


def test_a_sheet_that_was_written_anew_is_to_be_held_against_the_kept_one(handed: Handed, tmp_path: Path) -> None:
    """Its record is right, and its pages can say anything."""
    said = checked(handed.bench, changed(handed.pdf), tmp_path)

    assert not said.matches
    assert said.lines[0] == handed.first_line
    assert "its pages may say something else" in said.lines[1]
    assert said.lines[1].endswith(f"/machines/{TAG}/sheets/1.pdf.")


def test_a_record_that_was_changed_is_told_from_the_paper(handed: Handed, tmp_path: Path) -> None:
    record = json.loads(handed.record)
    record["machine"]["serial_number"] = "00001"
    forged = canonical(record)
    said = checked(handed.bench, changed(handed.pdf, forged), tmp_path)

    assert not said.matches
    assert said.lines == [
        f"No sheet with the digest {short(digest_of(forged))} of this record was signed here.",
        f"On its paper stands another digest, {short(digest_of(handed.record))}: one of the two was changed.",
        f"That is the digest of: Mod sheet 1 of {TAG}, signed by Ida Quern on 2026-01-02.",
        f"Held against it, the record of {TAG} has changed:",
        "  The machine: serial number from “00001” to “00417”.",
    ]


def test_what_has_changed_since_is_told_and_is_nothing_against_the_sheet(empty: Store, tmp_path: Path) -> None:
    handed = hand_over(empty)
    handed.bench.do(ReviseMachine, model="Plover 81", opened_version=1)
    said = checked(handed.bench, handed.pdf, tmp_path)

    assert said.matches
    assert said.lines[:3] == [handed.first_line, AS_SIGNED, "Since it was signed the record has changed:"]
    assert "model from “Plover 80” to “Plover 81”" in said.lines[3]


def test_a_sheet_that_nobody_signed_is_held_against_the_record(handed: Handed, tmp_path: Path) -> None:
    drawn = drawn_up(handed.bench.store, TAG, SIGNED.day)
    said = checked(handed.bench, mod_sheet_pdf(drawn.sheet, drawn.record), tmp_path)

    assert not said.matches
    assert said.lines == [
        f"No sheet with the digest {short(drawn.sheet.digest)} of this record was signed here.",
        "The record says the same today.",
    ]


def test_the_record_of_a_dossier_with_private_fields_tells_nothing_private(handed: Handed, tmp_path: Path) -> None:
    with handed.bench.store.reading() as session:
        record = canonical(machine_record(session, find_machine(session, TAG), private=True))
    said = checked(handed.bench, record, tmp_path, "record.json")

    assert not said.matches
    assert said.lines[-1] == "The record says the same today."
    assert not [words for words in PRIVATE_WORDS if words in " ".join(said.lines)]


def test_a_sheet_of_a_machine_that_is_not_here_is_said_to_be(handed: Handed, empty: Store, tmp_path: Path) -> None:
    bench = Bench(empty)
    bench.do(EnterMachine, tag=TAG, model="Plover 80")
    said = checked(bench, handed.pdf, tmp_path)

    assert not said.matches
    assert said.lines[-1] == "It is of a machine that is not on this shelf."


def test_a_damaged_kept_record_is_told(empty: Store, tmp_path: Path) -> None:
    handed = hand_over(empty)
    empty.files.path(digest_of(handed.record)).write_bytes(b"something else")
    said = checked(handed.bench, handed.pdf, tmp_path)

    assert not said.matches
    assert said.lines[-1].startswith("What was kept of it here is damaged: ")


def without_record(pdf: bytes) -> bytes:
    out = io.BytesIO()
    with pikepdf.open(io.BytesIO(pdf)) as opened_pdf:
        for name in list(opened_pdf.attachments):
            del opened_pdf.attachments[name]
        opened_pdf.save(out)
    return out.getvalue()


def swollen(pdf: bytes) -> bytes:
    """The same with a record inside that is small as it lies and 400 MB unpacked."""
    packing, piece, out = zlib.compressobj(), bytes(1_000_000), io.BytesIO()
    packed = b"".join([*(packing.compress(piece) for _ in range(400)), packing.flush()])
    with pikepdf.open(io.BytesIO(pdf)) as opened_pdf:
        for name in opened_pdf.attachments:
            inner = opened_pdf.attachments[name].obj.EF.F
            inner.write(packed, filter=pikepdf.Name.FlateDecode)
        opened_pdf.save(out)
    return out.getvalue()


@pytest.mark.parametrize(
    ("spoil", "why"),
    [
        (lambda _: b"", "it is not JSON"),
        (lambda _: b"a letter", "it is not JSON"),
        (lambda _: b"{}", "no record of a machine"),
        (lambda pdf: pdf[:2000], "cannot be read"),
        (lambda _: b"%PDF-1.7", "cannot be read"),
        (lambda _: b"%PDF-1.7\n" + bytes(range(256)) * 20, "cannot be read"),
        (without_record, "has no record inside, so it is no mod sheet"),
        (swollen, "cannot be read"),
        (lambda pdf: changed(pdf, b"[]"), "no record of a machine"),
        (lambda pdf: changed(pdf, b'{"format": "putback-record/1"}'), "one spelling"),
    ],
)
def test_what_is_no_sheet_is_refused_in_one_sentence(
    handed: Handed, spoil: object, why: str, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    file = tmp_path / "letter.pdf"
    assert callable(spoil)
    file.write_bytes(spoil(handed.pdf))
    with caplog.at_level(logging.WARNING), pytest.raises(NoSheet, match=why) as refusal:
        read_sheet(file)

    assert str(refusal.value).startswith("letter.pdf")
    assert "\n" not in str(refusal.value)
    assert caplog.records == []


def test_a_file_that_is_too_large_is_not_read(tmp_path: Path) -> None:
    file = tmp_path / "film.pdf"
    with file.open("wb") as opened_file:
        opened_file.truncate(FILE_MOST_MB * 1_000_000 + 1)

    with pytest.raises(NoSheet, match=f"larger than {FILE_MOST_MB} MB"):
        read_sheet(file)
