"""A signed sheet on paper: its code read by an independent decoder (zxing-cpp), its digest, and who signed it."""

import io
from datetime import date
from pathlib import Path

import pikepdf
import pytest
import zxingcpp
from PIL import Image

from server.documents import signing
from server.documents.pdf import mod_sheet_pdf
from server.documents.signing import check_address, drawn_up, sign
from server.records.commands.machines import ReviseMachine
from server.records.commands.sheets import MovedOn, SheetFields
from server.records.commands.trials import WriteProcedure
from server.records.errors import Invalid, Refused
from server.records.questions.signed_sheets import digits_of
from server.records.store import Store
from server.records.tables import SignedSheet
from tests.documents.invented import KEEPER, PRIVATE_WORDS, TAG, Bench, tell
from tests.documents.test_pdf import figures, flat, poppler, text_of

DAY = date(2026, 1, 2)
SIGNED = SheetFields.read({"signer": "Ida Quern", "day": str(DAY)})
CLUB = "https://records.example.org/club"
CHECKED = ["", CLUB, "http://192.0.2.7:8181"]  # none, a club's, and an address kept for documentation (RFC 5737)


def signed(bench: Bench, public_url: str = "") -> tuple[SignedSheet, bytes]:
    done = sign(bench.store, bench.tag, SIGNED, KEEPER, public_url)
    with bench.store.reading() as session:
        sheet = session.get_one(SignedSheet, done.key)
    return sheet, bench.store.files.read(sheet.pdf_sha256)


def codes_of(pdf: bytes, folder: Path, dots: int) -> list[str]:
    file = folder / "sheet.pdf"
    file.write_bytes(pdf)
    poppler("pdftoppm", "-r", str(dots), "-gray", "-png", file, folder / f"at-{dots}")
    pictures = [Image.open(page) for page in sorted(folder.glob(f"at-{dots}*.png"))]
    return [code.text for picture in pictures for code in zxingcpp.read_barcodes(picture)]


@pytest.fixture
def bench(empty: Store) -> Bench:
    return tell(empty)


@pytest.mark.parametrize("public_url", CHECKED)
def test_the_code_leads_to_where_the_sheet_is_checked(bench: Bench, public_url: str, tmp_path: Path) -> None:
    """As printed, and from a coarse copy; what it says is understood where digests are typed."""
    sheet, pdf = signed(bench, public_url)
    expected = f"{public_url}/verify/{sheet.sha256}" if public_url else f"putback:sheet:{sheet.sha256}"

    assert check_address(public_url, sheet.sha256) == expected
    assert codes_of(pdf, tmp_path, 200) == codes_of(pdf, tmp_path, 110) == [expected]
    assert digits_of(expected) == sheet.sha256


@pytest.mark.parametrize("public_url", CHECKED)
def test_beside_the_code_stands_what_to_do_without_one(bench: Bench, public_url: str, tmp_path: Path) -> None:
    sheet, pdf = signed(bench, public_url)
    words = text_of(pdf, tmp_path)

    fours = [sheet.sha256[start : start + 4] for start in range(0, 64, 4)]
    rows = [" ".join(fours[start : start + 4]) for start in range(0, 16, 4)]
    assert [row for row in rows if row not in words] == []
    assert sheet.sha256 in words
    assert flat(f"digest at {public_url}/verify:" if public_url else "on its page “Check a sheet”") in flat(words)
    assert flat(f"Signed by Ida Quern on {DAY}") in flat(words)
    assert "Nobody signed it" not in words


def test_a_signed_sheet_keeps_the_standards_and_describes_its_code(bench: Bench) -> None:
    """PDF/A-3a and PDF/UA-1 as unsigned ones do; the code is a figure with words of its own."""
    sheet, pdf = signed(bench, CLUB)

    with pikepdf.open(io.BytesIO(pdf)) as opened:
        with opened.open_metadata() as metadata:
            claims = [metadata.get(name) for name in ("pdfaid:part", "pdfaid:conformance", "pdfuaid:part")]
        *results, code = [str(one.Alt) for one in figures(opened.Root.StructTreeRoot)]
        author = str(opened.docinfo["/Author"])
        (attached,) = opened.attachments.values()
        record = attached.get_file().read_bytes()
    assert claims == ["3", "A", "1"]
    assert code == f"Code to check this sheet: {CLUB}/verify/{sheet.sha256}"
    assert len(results) == 2
    assert author == "Ida Quern"
    assert record == bench.store.files.read(sheet.sha256)
    assert not [words for words in PRIVATE_WORDS if words.encode() in record]


def test_a_sheet_to_look_at_has_no_code(bench: Bench, tmp_path: Path) -> None:
    """Its digest would lead to nothing, and it says so."""
    drawn = drawn_up(bench.store, TAG, DAY)
    pdf = mod_sheet_pdf(drawn.sheet, drawn.record)

    assert codes_of(pdf, tmp_path, 150) == []
    assert flat("Nobody signed it in the record") in flat(text_of(pdf, tmp_path))


def test_its_record_is_as_it_was_before_it_was_signed(bench: Bench) -> None:
    drawn = drawn_up(bench.store, TAG, DAY)
    sheet, _ = signed(bench)
    later = drawn_up(bench.store, TAG, DAY)

    assert sheet.sha256 == drawn.sheet.digest != later.sheet.digest
    assert drawn.content_sha256 == later.content_sha256


def test_who_signs_where_nobody_is_named(bench: Bench) -> None:
    assert drawn_up(bench.store, TAG, DAY, "Ida Quern", "Somebody").sheet.signer == "Ida Quern"
    assert drawn_up(bench.store, TAG, DAY, otherwise="Somebody").sheet.signer == KEEPER
    bench.do(ReviseMachine, model="Plover 80", opened_version=1)
    assert drawn_up(bench.store, TAG, DAY, otherwise="Somebody").sheet.signer == "Somebody"


# ---- While others write ----


def writing_meanwhile(bench: Bench, monkeypatch: pytest.MonkeyPatch, times: int) -> list[int]:
    """Let somebody write of something else each time that pages are made, so many times."""
    made: list[int] = []

    def slow(*given: object) -> bytes:
        pdf = mod_sheet_pdf(*given)  # type: ignore[arg-type]
        made.append(len(made) + 1)
        if len(made) <= times:
            bench.do(WriteProcedure, title=f"Procedure {len(made)}")
        return pdf

    monkeypatch.setattr(signing, "mod_sheet_pdf", slow)
    return made


def test_the_sheet_is_made_again_where_others_wrote_meanwhile(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    made = writing_meanwhile(bench, monkeypatch, 2)
    done = sign(bench.store, TAG, SIGNED, KEEPER, seen=drawn_up(bench.store, TAG, DAY).content_sha256)

    assert (made, done.seq is not None) == ([1, 2, 3], True)


def test_it_gives_up_in_words_where_they_do_not_stop(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    made = writing_meanwhile(bench, monkeypatch, 99)
    with pytest.raises(MovedOn, match="Nothing was signed; sign again"):
        sign(bench.store, TAG, SIGNED, KEEPER)

    assert made == [1, 2, 3]
    with bench.store.reading() as session:
        assert session.get(SignedSheet, 1) is None


def test_a_machine_that_changed_meanwhile_is_looked_at_again(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody signs what was not seen, though pages could be made of it."""
    seen = drawn_up(bench.store, TAG, DAY).content_sha256

    def changing(*given: object) -> bytes:
        bench.do(ReviseMachine, model="Plover 81", opened_version=1)
        return mod_sheet_pdf(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(signing, "mod_sheet_pdf", changing)
    with pytest.raises(Refused, match="was changed while you looked at its sheet"):
        sign(bench.store, TAG, SIGNED, KEEPER, seen=seen)


def test_no_machine_no_sheet(empty: Store) -> None:
    with pytest.raises(Exception, match="There is no machine “XX-99”") as refusal:
        sign(empty, "XX-99", SIGNED, KEEPER)
    assert not isinstance(refusal.value, Invalid)
