"""Files on the record: kept byte for byte under their digests, told apart by them, and held to them."""

import hashlib

import pytest
from sqlalchemy import update

from server.records import file_facts
from server.records.commands.files import AddFile, DropFile, ReviseFile
from server.records.commands.symptoms import NoteSymptom
from server.records.errors import NotFound, Stale
from server.records.file_facts import BadFile, facts_of
from server.records.tables import AttachedFile
from tests.records.conftest import TAG, Bench, behind

SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'


@pytest.fixture(autouse=True)
def symptom(bench: Bench) -> None:
    bench.do(NoteSymptom, title="Hum", seen_on="2025-01-10")


def add(bench: Bench, content: bytes = b"123456789", **more: object) -> None:
    sent = {"on_kind": "symptom", "on": "1", "kind": "firmware dump", "file_name": "U7.bin", "content": content}
    bench.do(AddFile, **sent | more)


# ---- Digests ----

# The check value of this CRC over the nine digits: from memory of ITU-T V.42 (2002); also in the catalogues of CRCs.
# SHA-1 and SHA-256 of "abc": FIPS 180-2 (2002), appendices A.1 and B.1, from memory of it.
NINE_DIGITS = "cbf43926"
ABC_SHA1 = "a9993e364706816aba3e25717850c26c9cd0d89d"
ABC_SHA256 = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_the_digests_are_those_of_their_standards() -> None:
    assert facts_of(b"123456789").crc32 == NINE_DIGITS
    assert (facts_of(b"abc").sha1, facts_of(b"abc").sha256) == (ABC_SHA1, ABC_SHA256)


def test_a_checksum_with_leading_noughts_keeps_all_its_digits() -> None:
    short = next(text for number in range(10_000) if facts_of(text := b"%d" % number).crc32.startswith("00"))

    assert len(facts_of(short).crc32) == 8


@pytest.mark.parametrize(("many", "reason"), [(0, "The file is empty."), (11, "It is larger than 64 MB")])
def test_an_empty_file_and_a_large_one_are_refused(monkeypatch: pytest.MonkeyPatch, many: int, reason: str) -> None:
    monkeypatch.setattr(file_facts, "FILE_MOST", 10)

    with pytest.raises(BadFile, match=reason):
        facts_of(bytes(many))
    assert facts_of(bytes(10)).crc32 == "e38a6876"


# ---- Adding ----


def test_a_file_is_kept_as_it_came(bench: Bench) -> None:
    add(bench, SVG, kind="schematic", file_name="drawing.svg", caption="Sheet 1")

    (row,) = bench.rows(AttachedFile)
    assert (row.number, row.on_kind, row.kind, row.caption, row.file_name, row.size) == (
        1,
        "symptom",
        "schematic",
        "Sheet 1",
        "drawing.svg",
        len(SVG),
    )
    assert bench.store.files.read(row.sha256) == SVG
    assert row.sha256 == hashlib.sha256(SVG).hexdigest()
    assert bench.last_entry().words == f"Added file 1 of {TAG}, to symptom 1: schematic “drawing.svg”."
    assert bench.faults() == []


def test_a_file_of_another_kind_is_named_alone(bench: Bench) -> None:
    add(bench, kind="other", file_name="letter.txt")

    assert bench.last_entry().words == f"Added file 1 of {TAG}, to symptom 1: “letter.txt”."


def test_the_same_file_is_added_to_a_record_once(bench: Bench) -> None:
    add(bench)

    again = {"on_kind": "symptom", "on": "1", "kind": "other", "file_name": "other.bin", "content": b"123456789"}
    assert bench.refuse(AddFile, **again) == {"content": "This file is file 1 already."}
    add(bench, on_kind="machine", on="")
    assert [row.number for row in bench.rows(AttachedFile)] == [1, 2]


@pytest.mark.parametrize(
    ("wrong", "field", "said"),
    [
        ({"content": b""}, "content", "The file is empty."),
        ({"content": "text"}, "content", "Send the file."),
        ({"kind": "firmware"}, "kind", "Choose one of the words offered"),
        ({"caption": "x" * 301}, "caption", "301 characters long"),
        ({"file_name": ""}, "file_name", "cannot be left empty"),
    ],
)
def test_what_will_not_do_is_refused(bench: Bench, wrong: dict[str, object], field: str, said: str) -> None:
    sent = {"on_kind": "symptom", "on": "1", "kind": "other", "file_name": "U7.bin", "content": b"1"}

    assert said in bench.refuse(AddFile, **sent | wrong)[field]
    assert [path for path in bench.store.files.root.rglob("*") if path.is_file()] == []


# ---- Revising ----


def test_kind_and_caption_are_revised(bench: Bench) -> None:
    add(bench, kind="other")
    bench.do(ReviseFile, file=1, kind="capture", caption="Rail", opened_version=1)

    (row,) = bench.rows(AttachedFile)
    assert (row.kind, row.caption, row.version) == ("capture", "Rail", 2)
    assert bench.last_entry().words == f"File 1 of {TAG}: kind from “other” to “capture”; caption “Rail” noted."
    with pytest.raises(Stale) as refusal:
        bench.do(ReviseFile, file=1, kind="capture", caption="Mine", opened_version=1)
    assert [(one.field, one.yours, one.theirs) for one in refusal.value.rows if one.differs] == [
        ("caption", "Mine", "Rail")
    ]
    with pytest.raises(NotFound):
        bench.do(ReviseFile, file=2, kind="capture", opened_version=1)


# ---- Taking off ----


def test_a_file_is_taken_off_and_its_number_stays_its_own(bench: Bench) -> None:
    """What it held stays in the files folder, named by no row; the record is whole without it."""
    add(bench)
    with pytest.raises(Stale):
        bench.do(DropFile, file=1, opened_version=2)
    bench.do(DropFile, file=1, opened_version=1)

    assert bench.rows(AttachedFile) == []
    assert bench.last_entry().words == f"File 1 of {TAG}, U7.bin, was taken off the record."
    assert bench.faults() == []
    add(bench)
    assert [row.number for row in bench.rows(AttachedFile)] == [2]


# ---- Held to their digests ----


def test_a_file_that_is_damaged_or_gone_is_named(bench: Bench) -> None:
    add(bench)
    place = bench.store.files.path(bench.rows(AttachedFile)[0].sha256)

    place.write_bytes(b"123456780")
    (damaged,) = bench.faults()
    place.unlink()
    (gone,) = bench.faults()

    assert damaged.startswith("U7.bin: File ")
    assert "no longer holds what was stored in it" in damaged
    assert gone.startswith("U7.bin: File ")
    assert "cannot be read" in gone


@pytest.mark.parametrize(("column", "word"), [("crc32", "CRC-32"), ("sha1", "SHA-1")])
def test_a_digest_that_is_not_the_files_is_named(bench: Bench, column: str, word: str) -> None:
    """As the journal names the row."""
    add(bench)
    behind(bench.store, update(AttachedFile).values({column: "0" * 8}))

    faults = bench.faults()

    assert f"attached_file 1 differs from what the journal says of it: {column}." in faults
    assert any(fault.startswith(f"U7.bin: its {word} is ") and "00000000" in fault for fault in faults)
