"""Labels on paper: what each says, that it stays within its label, and that its code leads to its bag.

Codes are read by an independent decoder (zxing-cpp) from a picture that poppler draws of the page.
"""

import re
from collections.abc import Iterator
from datetime import date
from io import BytesIO
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

import pikepdf
import pytest
import zxingcpp
from PIL import Image

from server.documents.label_sheets import LabelSheet, inside, sheet_of
from server.documents.labels import LABELS_MOST, Label, labels_of, labels_pdf
from server.records.commands.loans import LendPart
from server.records.commands.parts import BagPart
from server.records.errors import Invalid
from server.records.questions.bags import lying
from server.records.store import Store
from tests.documents.invented import HOSTILE, Bench
from tests.documents.test_pdf import flat, poppler, text_of

BASE = "http://192.0.2.7:8181"  # an address kept for documentation (RFC 5737)
DAY = date(2026, 1, 2)
WORDS = ("carbon film 10 kΩ ±5 %", "marked SN74LS04N 8230", "TM-03, R12 on Main board", "2025-01-10, original")
MM = 72 / 25.4
DOTS = 200
A4 = sheet_of("A4", 70, 37)
SHEETS = [
    A4,
    sheet_of("A4", 63.5, 38.1, 3, 7, gap_across=2.5),
    sheet_of("A4", 40, 24),
    sheet_of("Letter", 105, 57),
    sheet_of("A4", 40, 99),
]


def label(bag: int, *words: str) -> Label:
    return Label(bag, words or WORDS, f"{BASE}/kept-aside/{bag}")


class Word(NamedTuple):
    """A word on paper, with its box in millimetres from the page's upper left corner."""

    page: int
    text: str
    left: float
    top: float
    right: float
    bottom: float


def words_of(pdf: bytes, folder: Path) -> list[Word]:
    """Each word as poppler finds it."""
    pages = text_of(pdf, folder, "-bbox").split("<page ")[1:]
    box = r'<word xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)">(.*?)</word>'
    return [
        Word(number, text, *(float(edge) / MM for edge in edges))
        for number, page in enumerate(pages)
        for *edges, text in re.findall(box, page)
    ]


def pictures_of(pdf: bytes, folder: Path) -> Iterator[Image.Image]:
    file = folder / "labels.pdf"
    file.write_bytes(pdf)
    poppler("pdftoppm", "-r", str(DOTS), "-gray", "-png", file, folder / "page")
    for page in sorted(folder.glob("page*.png")):
        yield Image.open(page)


class Code(NamedTuple):
    """What a code says, and where its middle is, in millimetres."""

    page: int
    text: str
    x: float
    y: float


def codes_of(pdf: bytes, folder: Path) -> list[Code]:
    found = []
    for number, picture in enumerate(pictures_of(pdf, folder)):
        for code in zxingcpp.read_barcodes(picture):
            corners = (code.position.top_left, code.position.bottom_right)
            x, y = (sum(getattr(corner, axis) for corner in corners) / 2 / DOTS * 25.4 for axis in ("x", "y"))
            found.append(Code(number, code.text, x, y))
    return found


def papers_of(pdf: bytes) -> list[tuple[int, int]]:
    """Each page's width and height, in whole millimetres."""
    with pikepdf.open(BytesIO(pdf)) as opened:
        return [(round(float(page.mediabox[2]) / MM), round(float(page.mediabox[3]) / MM)) for page in opened.pages]


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: f"{sheet.width} x {sheet.height}")
@pytest.mark.parametrize("first", [1, 4])
def test_each_label_lies_where_the_sheet_has_one(sheet: LabelSheet, first: int, tmp_path: Path) -> None:
    """Its number and words by their boxes, and its code by its middle; the code opens its bag, and no other."""
    labels = [label(bag) for bag in range(1, sheet.on_a_page + 3)]
    places = list(sheet.places(len(labels), first))

    pdf = labels_pdf(labels, sheet, first, DAY)

    found, codes, shares = words_of(pdf, tmp_path), codes_of(pdf, tmp_path), inside(sheet)
    pages = {"A4": (210, 297), "Letter": (216, 279)}
    assert papers_of(pdf) == [pages[sheet.paper]] * (places[-1].page + 1)
    numbers = [(word.page, after.text) for word, after in pairwise(found) if word.text == "Bag"]
    assert sorted(numbers) == sorted((place.page, str(one.bag)) for one, place in zip(labels, places, strict=True))
    for one, place in zip(labels, places, strict=True):
        code = next(code for code in codes if code.text == one.address)
        middle = place.x + sheet.width - shares.edge - shares.code / 2
        assert code.page == place.page
        assert (code.x, code.y) == pytest.approx((middle, place.y + sheet.height / 2), abs=0.5)
    assert len(codes) == len(labels)


def beyond(word: Word, sheet: LabelSheet, count: int) -> bool:
    """Whether a word is on no label, or reaches over its label's edge or its code."""
    shares = inside(sheet)
    return not any(
        place.page == word.page
        and place.x + shares.edge - 0.1 <= word.left
        and word.right <= place.x + shares.edge + shares.words + 0.1
        and place.y <= (word.top + word.bottom) / 2 <= place.y + sheet.height
        for place in sheet.places(count)
    )


def ink_beyond(pictures: Iterator[Image.Image], sheet: LabelSheet, count: int) -> list[tuple[int, int, int, int]]:
    """Where anything is printed on a page's gaps and margins, or on the edge that every label keeps free."""
    found = []
    for number, picture in enumerate(pictures):
        ink = picture.point(lambda grey: 255 if grey < 250 else 0)
        for place in sheet.places(count):
            if place.page == number:
                kept = inside(sheet).edge - 0.3
                left, top, right, bottom = (
                    round(side / 25.4 * DOTS)
                    for side in (
                        place.x + kept,
                        place.y + kept,
                        place.x + sheet.width - kept,
                        place.y + sheet.height - kept,
                    )
                )
                ink.paste(0, (left, top, right, bottom))
        found += [box for box in [ink.getbbox()] if box]
    return found


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: f"{sheet.width} x {sheet.height}")
def test_no_word_however_long_leaves_its_label(sheet: LabelSheet, tmp_path: Path) -> None:
    """It ends in an ellipsis, and the longest number is made smaller."""
    long = ("W" * 300, "word " * 60, HOSTILE, "Mühlenweg " * 40)
    labels = [label(999_000 + number, *long) for number in range(sheet.on_a_page + 1)]

    pdf = labels_pdf(labels, sheet, 1, DAY)

    found = words_of(pdf, tmp_path)
    assert [word for word in found if beyond(word, sheet, len(labels))] == []
    assert ink_beyond(pictures_of(pdf, tmp_path), sheet, len(labels)) == []
    assert sum(word.text.endswith("…") for word in found) >= 3 * len(labels)
    assert {code.text for code in codes_of(pdf, tmp_path)} == {one.address for one in labels}


def test_words_that_fit_are_not_cut(tmp_path: Path) -> None:
    printed = text_of(labels_pdf([label(7)], A4, 1, DAY), tmp_path)

    assert [words for words in WORDS if words not in printed] == []
    assert "…" not in printed


HELD = ("2 parts", "4116, TM-03, U4, 2025-01-10, original", "4116, TM-03, U5, 2025-01-10, original")


@pytest.mark.parametrize(
    ("lines", "sheet"),
    [
        (WORDS, sheet_of("A4", 52.5, 29.7, 4, 10)),
        (HELD, sheet_of("A4", 52.5, 29.7, 4, 10)),
        (("film capacitor 100 nF ±10 % of a donor board", *WORDS[2:]), A4),
    ],
    ids=["small", "two parts", "usual"],
)
def test_words_run_over_or_are_made_smaller_before_they_are_cut(
    lines: tuple[str, ...], sheet: LabelSheet, tmp_path: Path
) -> None:
    """As long as there is room below them."""
    pdf = labels_pdf([label(7, *lines)], sheet, 1, DAY)

    found = words_of(pdf, tmp_path)
    printed = " ".join(word.text for word in found)
    assert [word for line in lines for word in line.split() if word not in printed] == []
    assert "…" not in printed
    assert len({round(word.top, 1) for word in found}) >= 1 + len(lines) + (lines != WORDS)
    assert [word for word in found if beyond(word, sheet, 1)] == []
    assert ink_beyond(pictures_of(pdf, tmp_path), sheet, 1) == []


def test_the_labels_are_archival_and_open_to_screen_readers() -> None:
    """PDF/A-3 conformance A and PDF/UA-1; each code says in words where it leads, each bag is a heading."""
    pdf = labels_pdf([label(7), label(12)], A4, 1, DAY)

    with pikepdf.open(BytesIO(pdf)) as opened, opened.open_metadata() as metadata:
        claims = [metadata.get(name) for name in ("pdfaid:part", "pdfaid:conformance", "pdfuaid:part")]
        alts = [str(one.Alt) for one in opened.objects if isinstance(one, pikepdf.Dictionary) and "/Alt" in one]
        headings = [one for one in opened.objects if isinstance(one, pikepdf.Dictionary) and one.get("/S") == "/H1"]
        title = str(opened.docinfo["/Title"])
    assert claims == ["3", "A", "1"]
    assert title == "Labels for bags"
    assert f"Code that opens the page of bag 7: {BASE}/kept-aside/7" in alts
    assert len(headings) == 2


def test_the_same_labels_and_day_give_the_same_bytes() -> None:
    assert labels_pdf([label(7)], A4, 1, DAY) == labels_pdf([label(7)], A4, 1, DAY)


def test_a_code_whose_squares_would_run_together_is_refused() -> None:
    """A long name of the server makes a finer code."""
    far = Label(7, WORDS, f"http://{'a' * 60}.{'b' * 60}.example/kept-aside/7")

    with pytest.raises(Invalid, match=r"would be 0\.\d+ mm on a label of 40 × 24 mm; below 0\.3 mm"):
        labels_pdf([far], SHEETS[2], 1, DAY)
    assert labels_pdf([far], SHEETS[3], 1, DAY)


def test_more_labels_than_one_file_takes_are_refused() -> None:
    with pytest.raises(Invalid, match=f"{LABELS_MOST + 1} labels; one file takes {LABELS_MOST}"):
        labels_pdf([label(bag) for bag in range(1, LABELS_MOST + 2)], A4, 1, DAY)


# ---- What a label says ----


def labels_in(store: Store) -> dict[int, Label]:
    with store.reading() as session:
        return {one.bag: one for one in labels_of(lying(session), BASE)}


def test_a_label_tells_of_the_part_where_it_came_from_and_since_when(empty: Store) -> None:
    bench = Bench(empty)
    about = {"kind": "chip", "type": "74LS04", "origin": "period", "day": "2025-01-10"}
    bench.do(BagPart, bag=7, marking="SN74LS04N", pedigree="a scrap board", place="attic", condition="worn", **about)
    bench.do(BagPart, bag=8, **about)
    bench.do(LendPart, part=2, to_whom="Ida Quern", day="2025-01-20")

    labels = labels_in(empty)

    assert labels[7].lines == ("74LS04", "marked SN74LS04N", "from a scrap board", "2025-01-10, period")
    assert labels[8].lines == ("74LS04", "a spare", "2025-01-10, period")
    assert labels[7].address == f"{BASE}/kept-aside/7"


@pytest.mark.parametrize(
    ("parts", "told"),
    [
        (2, ("2 parts", "T1, a spare, 2025-01-10, new", "T2, a spare, 2025-01-10, new")),
        (3, ("3 parts", *(f"T{number}, a spare, 2025-01-10, new" for number in (1, 2, 3)))),
        (9, ("9 parts", *(f"T{number}, a spare, 2025-01-10, new" for number in (1, 2)), "and 7 more")),
    ],
)
def test_a_bag_of_several_parts_names_as_many_as_there_is_room_for(
    empty: Store, parts: int, told: tuple[str, ...]
) -> None:
    bench = Bench(empty)
    for number in range(1, parts + 1):
        bench.do(BagPart, bag=7, kind="chip", type=f"T{number}", origin="new", day="2025-01-10")

    assert labels_in(empty)[7].lines == told


def test_nothing_private_is_on_a_label(empty: Store, tmp_path: Path) -> None:
    """Rule 8: no storage place, no name of a borrower; on paper, in what is attached, or in what is said of a code."""
    bench = Bench(empty)
    bench.do(BagPart, kind="chip", type="74LS04", origin="new", day="2025-01-10", place="attic, tray 9")
    bench.do(LendPart, part=1, to_whom="Ida Quern", day="2025-01-20", note="To her workshop")

    pdf = labels_pdf(list(labels_in(empty).values()), A4, 1, DAY)

    with pikepdf.open(BytesIO(pdf)) as opened:
        opened.save(plain := BytesIO(), stream_decode_level=pikepdf.StreamDecodeLevel.all, compress_streams=False)
    printed = flat(text_of(pdf, tmp_path))
    private = ("attic, tray 9", "Ida Quern", "To her workshop")
    assert [word for word in private if flat(word) in printed or word.encode() in plain.getvalue()] == []
