"""The mod sheet as an archival PDF: what it claims, what it carries, and how it looks."""

import io
import re
import shutil
import subprocess
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import NamedTuple

import pikepdf
import pytest
from PIL import Image

from server.documents.glyphs import covered, printable
from server.documents.mod_sheet import SheetData, sheet_data
from server.documents.pdf import Attached, compiled, mod_sheet_pdf
from server.documents.record import canonical, digest, record_of
from server.documents.sheet_shape import SheetBag
from server.records.commands.machines import EnterMachine
from server.records.commands.trials import RecordTrial, WriteProcedure
from server.records.questions.addresses import find_machine
from server.records.questions.sheet import whole_machine
from server.records.store import Store
from tests.documents.invented import HOSTILE, KEEPER, PRIVATE_WORDS, TAG, Bench, brighten, enter

DAY = date(2026, 1, 2)
A4 = (595.276, 841.89)


class Made(NamedTuple):
    """A sheet, its record, and the PDF made of both."""

    sheet: SheetData
    record: bytes
    pdf: bytes

    def opened(self) -> pikepdf.Pdf:
        return pikepdf.open(io.BytesIO(self.pdf))


def made_of(bench: Bench) -> Made:
    with bench.store.reading() as session:
        whole = whole_machine(session, find_machine(session, bench.tag))
    record = canonical(record_of(whole))
    sheet = sheet_data(whole, digest(record), DAY, whole.machine.keeper)
    return Made(sheet, record, mod_sheet_pdf(sheet, record))


@pytest.fixture(scope="session")
def made(told: Bench) -> Made:
    return made_of(told)


@pytest.fixture(scope="session")
def made_awkward(awkward: Bench) -> Made:
    return made_of(awkward)


def poppler(program: str, *arguments: str | Path) -> str:
    """What one of poppler's programs says; skips where it is not installed."""
    if not shutil.which(program):
        pytest.skip(f"{program} of the poppler tools is not on this machine")
    return subprocess.run([program, *map(str, arguments)], check=True, capture_output=True, text=True).stdout


def text_of(pdf: bytes, folder: Path, *options: str) -> str:
    file = folder / "sheet.pdf"
    file.write_bytes(pdf)
    return poppler("pdftotext", *options, file, "-")


def figures(node: pikepdf.Object) -> Iterator[pikepdf.Object]:
    """Every figure of a PDF's structure tree."""
    if isinstance(node, pikepdf.Array):
        for inner in node:
            yield from figures(inner)
    elif isinstance(node, pikepdf.Dictionary):
        if node.get("/S") == pikepdf.Name.Figure:
            yield node
        if "/K" in node:
            yield from figures(node.K)


def flat(text: str) -> str:
    """Words alone: where lines and long runs are broken is the layout's own affair."""
    return re.sub(r"[\s\u200b]+", "", text)


def test_it_claims_the_archival_and_the_accessible_standard(made: Made) -> None:
    """ISO 19005-3 (PDF/A-3, conformance A) and ISO 14289-1 (PDF/UA-1), by their identifiers in the XMP metadata."""
    with made.opened() as pdf, pdf.open_metadata() as metadata:
        claims = [metadata.get(name) for name in ("pdfaid:part", "pdfaid:conformance", "pdfuaid:part")]

    assert claims == ["3", "A", "1"]


def test_it_is_tagged_titled_dated_and_says_its_language(made: Made) -> None:
    with made.opened() as pdf:
        root = pdf.Root
        marked, shows_title = bool(root.MarkInfo.Marked), bool(root.ViewerPreferences.DisplayDocTitle)
        language = str(root.Lang)
        title, made_on = str(pdf.docinfo["/Title"]), str(pdf.docinfo["/CreationDate"])
        faults = pdf.check_pdf_syntax()

    assert (marked, language, shows_title) == (True, "en", True)
    assert title == f"Mod sheet of {TAG}"
    assert made_on.startswith("D:20260102")
    assert faults == []


def test_the_record_inside_is_the_canonical_record_byte_for_byte(made: Made) -> None:
    with made.opened() as pdf:
        names = list(pdf.attachments)
        attached = pdf.attachments[names[0]]
        content, kind = attached.get_file().read_bytes(), attached.get_file().mime_type
        relationship = str(attached.obj.AFRelationship)

    assert names == [f"{TAG}-record.json"]
    assert content == made.record
    assert digest(content) == made.sheet.digest
    assert (kind, relationship) == ("application/json", "/Source")


def test_poppler_detaches_the_same_bytes(made: Made, tmp_path: Path) -> None:
    file, out = tmp_path / "sheet.pdf", tmp_path / "record.json"
    file.write_bytes(made.pdf)

    poppler("pdfdetach", "-save", "1", "-o", out, file)

    assert out.read_bytes() == made.record


def test_every_font_is_one_of_ours_and_embedded(made: Made) -> None:
    fonts: dict[str, bool] = {}
    with made.opened() as pdf:
        for page in pdf.pages:
            for font in page.resources.Font.values():
                inner = font.DescendantFonts[0]
                fonts[str(font.BaseFont).split("+")[-1]] = any("FontFile" in key for key in inner.FontDescriptor)

    assert {name.split("-")[0] for name in fonts} == {"FiraSans", "Vollkorn"}
    assert all(fonts.values())


def test_the_same_record_and_day_give_the_same_bytes(made: Made) -> None:
    assert mod_sheet_pdf(made.sheet, made.record) == made.pdf


def test_threads_make_the_same_sheet_side_by_side(made: Made) -> None:
    with ThreadPoolExecutor(4) as pool:
        several = list(pool.map(lambda _: mod_sheet_pdf(made.sheet, made.record), range(8)))

    assert set(several) == {made.pdf}


def test_pages_are_a4_and_numbered_as_sheets_of_the_machine(made: Made, tmp_path: Path) -> None:
    with made.opened() as pdf:
        boxes = {tuple(float(side) for side in page.mediabox) for page in pdf.pages}
        count = len(pdf.pages)

    words = text_of(made.pdf, tmp_path)

    assert [tuple(round(side) for side in box) for box in boxes] == [(0, 0, round(A4[0]), round(A4[1]))]
    assert count > 1
    assert all(f"Sheet of {TAG}, page {number} of {count}" in words for number in range(1, count + 1))


def test_the_sheet_says_the_same_as_the_page(made: Made, tmp_path: Path) -> None:
    printed = flat(text_of(made.pdf, tmp_path))
    expected = [
        made.sheet.named,
        *made.sheet.cautions,
        *(step.words for mod in made.sheet.in_force for step in mod.steps),
        *(one.words for one in made.sheet.trials),
        *made.sheet.not_known,
        "Trace left: permanent (what was cleaned off does not come back; Flux that creeps under the chip cannot be "
        "left there).",
        "The level rises above 0.65 V: met.",
        f"Keeper: {KEEPER}",
        made.sheet.short_digest,
        made.sheet.digest,
    ]

    assert [words for words in expected if flat(words) not in printed] == []


def test_the_whole_digest_can_be_copied_from_the_page(made: Made, tmp_path: Path) -> None:
    assert made.sheet.digest in text_of(made.pdf, tmp_path)


def test_no_private_field_is_in_the_pdf_or_what_it_carries(made: Made, tmp_path: Path) -> None:
    printed = flat(text_of(made.pdf, tmp_path))

    assert [word for word in PRIVATE_WORDS if flat(word) in printed or word.encode() in made.record] == []


def test_hostile_text_prints_literally(made_awkward: Made, tmp_path: Path) -> None:
    printed = flat(text_of(made_awkward.pdf, tmp_path))
    literal = flat(printable(HOSTILE))

    assert '#panic("x")$x^2$<script>alert(1)</script>{{7*7}}\\u{1F}"q"@ref//c/*c*/' in literal
    assert printed.count(literal) > 15


def test_the_paper_says_when_a_character_is_stood_in_for(made: Made, made_awkward: Made, tmp_path: Path) -> None:
    note = flat("□ stands for a character that this paper’s typefaces do not have")

    assert note in flat(text_of(made_awkward.pdf, tmp_path))
    assert note not in flat(text_of(made.pdf, tmp_path))


def test_what_the_paper_cannot_print_is_whole_in_the_record(made_awkward: Made) -> None:
    assert "日本 مرحبا 🙂" in made_awkward.record.decode("utf-8")


def test_no_word_however_long_leaves_the_page(made_awkward: Made, tmp_path: Path) -> None:
    boxes = re.findall(r'<word xMin="([\d.]+)"[^>]*xMax="([\d.]+)"', text_of(made_awkward.pdf, tmp_path, "-bbox"))
    left, right = min(float(low) for low, _ in boxes), max(float(high) for _, high in boxes)

    assert left > 20
    assert right < A4[0] - 40


def test_every_character_called_printable_can_be_printed(made: Made) -> None:
    """The compiler refuses an archival PDF with a character that no font has; control characters are no words."""
    every = "".join(sorted(map(chr, covered())))

    pdf = mod_sheet_pdf(replace(made.sheet, named=every, not_known=(every,), signer=every), made.record)

    assert pdf.startswith(b"%PDF")


def test_a_table_that_runs_over_repeats_its_header(made: Made, tmp_path: Path) -> None:
    bag = SheetBag(1, "74LS00 chip", "original", "U1 on Main board", "2025-01-01", "good", "")
    long = replace(made.sheet, bags=tuple(replace(bag, bag=number) for number in range(1, 121)))

    pages = text_of(mod_sheet_pdf(long, made.record), tmp_path).split("\f")

    with_bags = [page for page in pages if "74LS00" in page]
    assert len(with_bags) > 2
    assert all("Condition" in page for page in with_bags)


def test_results_that_run_over_repeat_the_header_and_stay_with_their_drawings(empty: Store, tmp_path: Path) -> None:
    """A result's figures and its drawing, whose ruler is named like the procedure, are on one page."""
    bench = Bench(empty)
    enter(bench)
    names = [f"Trying{chr(letter)}" for letter in range(ord("A"), ord("L"))]
    for name in names:
        bench.do(WriteProcedure, title=name, unit="mV", better="lower")
        bench.do(RecordTrial, procedure=name.lower(), day="2025-01-10", readings="5 6 5", signer=KEEPER)
    brighten(bench)
    for name in names:
        bench.do(RecordTrial, procedure=name.lower(), day="2025-07-01", readings="3 3 4", signer=KEEPER)

    pages = text_of(made_of(bench).pdf, tmp_path).split("\f")

    with_results = [page for page in pages if "Trying" in page]
    assert len(with_results) > 2
    assert all("Procedure" in page and "Before" in page for page in with_results)
    assert sorted(len(re.findall(name, page)) for page in with_results for name in names if name in page) == [2] * 11


def test_the_sheet_is_black_on_white(made: Made, tmp_path: Path) -> None:
    file = tmp_path / "sheet.pdf"
    file.write_bytes(made.pdf)

    poppler("pdftoppm", "-r", "40", "-png", file, tmp_path / "page")

    for page in sorted(tmp_path.glob("page*.png")):
        bands = Image.open(page).convert("RGB").split()
        assert bands[0].tobytes() == bands[1].tobytes() == bands[2].tobytes()


def test_an_empty_machine_has_a_sheet_too(empty: Store) -> None:
    bench = Bench(empty)
    bench.do(EnterMachine, tag=TAG, model="Plover 80")

    assert made_of(bench).pdf.startswith(b"%PDF")


def test_several_files_can_be_attached(made: Made) -> None:
    data = {**{name: getattr(made.sheet, name) for name in made.sheet.__slots__}, "short_digest": ""}
    plain = {name: () if isinstance(value, tuple) else value for name, value in data.items()} | {"album": None}
    files = [Attached(f"{name}.json", name.encode(), "application/json", name) for name in ("one", "zwei")]

    with pikepdf.open(io.BytesIO(compiled("mod_sheet.typ", plain, DAY, files))) as pdf:
        found = {name: attached.get_file().read_bytes() for name, attached in pdf.attachments.items()}

    assert found == {"one.json": b"one", "zwei.json": b"zwei"}


def test_symptoms_that_ended_and_that_are_open_are_on_paper(made: Made, tmp_path: Path) -> None:
    printed = flat(text_of(made.pdf, tmp_path))

    assert flat("Symptoms that ended") in printed
    assert flat("Symptom 1, Faint picture: cured since 2025-02-04, by mod 1.") in printed
    assert flat("Symptom 2, Stops after an hour, seen first on 2025-01-20, is open:") in printed
