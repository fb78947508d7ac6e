"""Mod sheets that are signed: kept with their record and pages, once a day and record, and found by their digests."""

import json
from concurrent.futures import ThreadPoolExecutor

import pytest

from server.records.commands.machines import EnterMachine, ReviseMachine
from server.records.commands.sheets import MovedOn, SignSheet
from server.records.commands.trials import ReviseProcedure, WriteProcedure
from server.records.errors import RecordError
from server.records.files import digest_of
from server.records.questions.addresses import find_machine
from server.records.questions.signed_sheets import digits_of, signed_sheets, with_digest
from server.records.sheet_records import BadRecord, read_record, short
from server.records.store import Store
from server.records.tables import SignedSheet
from tests.records.conftest import KEEPER, TAG, Bench, read
from tests.records.sheets import PAGES, drawn_up, sign

OTHER = "TM-09"


def test_a_sheet_is_kept_with_its_record_and_its_pages(bench: Bench) -> None:
    """One row, one entry; both files lie under the digests that the row names."""
    given = drawn_up(bench)
    entries = bench.entries()
    done = sign(bench, "2025-02-05", "Ada Wren")

    sheet = bench.row(SignedSheet, done.key)
    assert (sheet.number, str(sheet.day), sheet.signer) == (1, "2025-02-05", "Ada Wren")
    assert bench.store.files.read(sheet.sha256) == given["record"]
    assert bench.store.files.read(sheet.pdf_sha256) == given["pdf"]
    assert bench.entries() == entries + 1
    entry = bench.last_entry()
    said = f"Mod sheet 1 of {TAG} was signed by Ada Wren, digest {short(sheet.sha256)}."
    assert (entry.act, entry.words) == ("sign sheet", said)
    assert entry.machine is not None
    assert bench.faults() == []


def test_the_same_record_is_signed_once_a_day(bench: Bench) -> None:
    """Though the journal knows of the first sheet by now; on another day, or changed, it is another sheet."""
    sign(bench, "2025-02-05", "Ada Wren")
    again = bench.refuse(SignSheet, day="2025-02-05", signer=KEEPER, **drawn_up(bench))

    assert again == {
        "": "This record was signed on 2025-02-05 already: it is mod sheet 1, by Ada Wren. "
        "Nothing of it has changed since."
    }
    sign(bench, "2025-02-06")
    bench.do(ReviseMachine, model="Merle 41", opened_version=1)
    sign(bench, "2025-02-06")
    assert [(sheet.number, str(sheet.day)) for sheet in bench.rows(SignedSheet)] == [
        (1, "2025-02-05"),
        (2, "2025-02-06"),
        (3, "2025-02-06"),
    ]


def test_a_sheet_of_a_record_that_went_on_is_refused(bench: Bench) -> None:
    """Whatever was written: a procedure is no machine's, and stands in the record of those that used it."""
    bench.do(WriteProcedure, title="Timing")
    given = drawn_up(bench)
    bench.do(ReviseProcedure, procedure="timing", title="Timing", how="Another way", opened_version=1)

    refused = bench.refuse(SignSheet, day="2025-02-05", signer=KEEPER, **given)
    assert "while the sheet was made" in refused[""]
    with pytest.raises(MovedOn):
        bench.do(SignSheet, day="2025-02-05", signer=KEEPER, **given)
    assert bench.rows(SignedSheet) == []


def test_signers_at_one_moment_do_not_both_land(bench: Bench) -> None:
    given = drawn_up(bench)
    before = bench.entries()
    command = read(SignSheet, {"day": "2025-02-05", "signer": KEEPER, **given})

    def carry_out(_: int) -> Exception | None:
        try:
            bench.store.carry_out(command, KEEPER)
        except RecordError as refusal:
            return refusal
        return None

    with ThreadPoolExecutor(4) as pool:
        answers = list(pool.map(carry_out, range(4)))

    assert answers.count(None) == 1
    assert bench.entries() == before + 1
    assert bench.faults() == []


def test_a_record_of_another_machine_is_refused(bench: Bench) -> None:
    bench.do(EnterMachine, tag=OTHER, model="Merle 40")
    given = drawn_up(bench, OTHER) | {"machine": TAG}

    refused = bench.refuse(SignSheet, day="2025-02-05", signer=KEEPER, **given)
    assert refused == {"record": f"This is not the record of {TAG}."}


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "not JSON"),
        (b"\xff\xfe{}", "not JSON"),
        (b"[" * 100_000, "not JSON"),
        (b'{"a": NaN}', "not JSON"),
        (b"[1]", "no record of a machine as Putback writes it"),
        (b'{"format":"recipe/1"}', "no record of a machine as Putback writes it"),
        (b'{"format": "putback-record/1"}', "one spelling"),
        (b'{"format":"putback-record/1"}', "which machine"),
        (b'{"format":"putback-record/1","machine":{"uuid":7}}', "which machine"),
        (b'{"format":"putback-record/1","machine":[]}', "which machine"),
    ],
)
def test_what_is_no_record_is_refused_with_the_reason(content: bytes, why: str) -> None:
    with pytest.raises(BadRecord, match=why):
        read_record(content)


def test_a_file_that_changed_is_named(bench: Bench) -> None:
    """The record, and the pages."""
    sheet = bench.row(SignedSheet, sign(bench, "2025-02-05").key)
    for digest in (sheet.sha256, sheet.pdf_sha256):
        place = bench.store.files.path(digest)
        whole = place.read_bytes()
        place.write_bytes(whole + b" ")
        found = bench.faults()
        place.write_bytes(whole)
        assert found == [f"Mod sheet 1 of {TAG}: File {digest} no longer holds what was stored in it."]
    assert bench.faults() == []


def test_a_damaged_earlier_sheet_keeps_nobody_from_signing(bench: Bench) -> None:
    sheet = bench.row(SignedSheet, sign(bench, "2025-02-05").key)
    bench.store.files.path(sheet.sha256).unlink()

    assert sign(bench, "2025-02-05").seq


def test_pages_that_are_no_pdf_are_refused(bench: Bench) -> None:
    refused = bench.refuse(SignSheet, day="2025-02-05", signer=KEEPER, **drawn_up(bench) | {"pdf": b"pages"})
    assert refused == {"pdf": "Send the sheet as PDF."}
    assert PAGES.startswith(b"%PDF-")


# ---- Looking for one ----

DIGEST = "d285bcbe9bf0d397bc9eaa9b35a3a17603f51e5227fce013932b425cfa2b4b9a"
IN_FOURS = " ".join(DIGEST[start : start + 4] for start in range(0, 64, 4))


@pytest.mark.parametrize(
    ("typed", "digits"),
    [
        (DIGEST, DIGEST),
        (DIGEST.upper(), DIGEST),
        (f"  {IN_FOURS}\n", DIGEST),
        (IN_FOURS.replace(" ", "-"), DIGEST),
        (f"https://records.example.org/club/verify/{DIGEST}", DIGEST),
        (f"https://records.example.org/verify/{DIGEST}/", DIGEST),
        (f"putback:sheet:{DIGEST}", DIGEST),
        ("d285 bcbe 9bf0", "d285bcbe9bf0"),
        ("d285 bcbe 9bf", None),
        (DIGEST + "0", None),
        ("d285 bcbe 9bfo", None),
        ("", None),
        ("１２３４５６７８９０１２", None),
        ("a\0" * 12, None),
        ("<script>alert(1)</script>", None),
    ],
)
def test_a_digest_is_read_as_people_type_it(typed: str, digits: str | None) -> None:
    assert digits_of(typed) == digits


def test_a_sheet_is_found_by_the_beginning_of_its_digest(bench: Bench) -> None:
    sheet = bench.row(SignedSheet, sign(bench, "2025-02-05").key)
    bench.do(ReviseMachine, model="Merle 41", opened_version=1)
    other = bench.row(SignedSheet, sign(bench, "2025-02-05").key)

    with bench.store.reading() as session:
        for digits in (sheet.sha256, sheet.sha256[:12]):
            assert [(one.number, machine.tag) for one, machine in with_digest(session, digits)] == [(1, TAG)]
        assert [one.number for one, _ in with_digest(session, other.sha256[:20])] == [2]
        assert list(with_digest(session, "0" * 12)) == []
        assert list(with_digest(session, sheet.sha256[:63] + "g")) == []
        assert [one.number for one, _ in with_digest(session, "")] == [1, 2]
        page = signed_sheets(session, find_machine(session, TAG), 1)
    assert ([one.number for one in page.rows], page.total) == ([2, 1], 2)


def test_a_record_names_its_signed_sheets_and_is_not_compared_by_them(store: Store) -> None:
    bench = Bench(store)
    bench.do(EnterMachine, tag=TAG, model="Merle 40")
    first = read_record(drawn_up(bench)["record"])
    sheet = bench.row(SignedSheet, sign(bench, "2025-02-05").key)
    second = read_record(drawn_up(bench)["record"])

    (told,) = json.loads(second.content)["signed_sheets"]
    assert (told["sha256"], told["pdf_sha256"]) == (sheet.sha256, sheet.pdf_sha256)
    assert first.sha256 == digest_of(first.content) == sheet.sha256
    assert first.sha256 != second.sha256
    assert first.compared == second.compared
