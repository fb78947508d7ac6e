"""The photographs of a mod sheet: which are shown, what is said where there is none, and how they lie in the PDF."""

import io
from datetime import date
from pathlib import Path
from random import Random
from typing import Any

import pikepdf
import pytest
from hypothesis import HealthCheck, given, reject, settings
from hypothesis import strategies as st
from PIL import Image
from sqlmodel import select

from server.documents import sheet_photographs
from server.documents.glyphs import printable
from server.documents.mod_sheet import SheetData
from server.documents.pdf import mod_sheet_pdf
from server.documents.photograph_views import views_of
from server.documents.record import canonical, canonical_both, machine_record
from server.documents.sheet_choice import SheetChoice
from server.documents.sheet_shape import SheetAlbum
from server.documents.signing import drawn_up
from server.records.commands.mods import PlanMod
from server.records.commands.photographs import AddPhotograph, ReviseCaption
from server.records.commands.steps import AddStep
from server.records.errors import Invalid
from server.records.pictures import SMALL, view_name
from server.records.questions.addresses import find_machine
from server.records.sheet_records import compared_of
from server.records.store import Store
from server.records.tables import Photograph
from server.records.words import StepKind
from tests.documents.invented import HOSTILE, TAG, Bench, brighten, enter, route_reset
from tests.documents.test_pdf import A4, figures, flat, poppler, text_of
from tests.documents.test_sheet_choice import LETTER
from tests.records.photographs import drawing, jpeg, written

DAY = date(2026, 1, 2)
NONE_FOUND = "No photograph of the machine as it was found exists."


@pytest.fixture
def bench(empty: Store) -> Bench:
    """A machine with two mods in force, and no photograph yet."""
    bench = Bench(empty)
    enter(bench)
    brighten(bench)
    route_reset(bench)
    return bench


def photograph(bench: Bench, on_kind: str, on: str = "", moment: str = "", caption: str = "", taken: str = "") -> None:
    """No two files are alike, as the same one is not kept twice."""
    turn = len(list(bench.store.files.root.glob("??/*")))
    image = drawing((120, 80 + turn))
    content = jpeg(taken=taken.replace("-", ":") + " 10:00:00") if taken else written("JPEG", image)
    bench.do(AddPhotograph, on_kind=on_kind, on=on, moment=moment, caption=caption, file_name="a.jpg", content=content)


def sheet_of(bench: Bench, **chosen: Any) -> SheetData:
    return drawn_up(bench.store, bench.tag, DAY, choice=SheetChoice.read(chosen)).sheet


def pdf_of(bench: Bench, paper: str = "A4") -> bytes:
    drawn = drawn_up(bench.store, bench.tag, DAY)
    return mod_sheet_pdf(drawn.sheet, drawn.record, paper, views_of(drawn.sheet, bench.store.files))


def told(album: SheetAlbum | None) -> list[tuple[str, str]]:
    assert album
    return [(one.place, one.caption) for one in album.shown]


def notes(album: SheetAlbum | None) -> tuple[str, ...]:
    assert album
    return album.notes


def alts_of(pdf: bytes) -> list[str]:
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        return [str(one.Alt) for one in figures(opened.Root.StructTreeRoot)]


# ---- Which are shown ----


def test_where_there_is_none_the_sheet_says_so(bench: Bench, tmp_path: Path) -> None:
    sheet = sheet_of(bench)

    assert (told(sheet.album), notes(sheet.album)) == ([], (NONE_FOUND,))
    assert [notes(mod.album) for mod in sheet.in_force] == [
        ("No photograph from before it or from after it exists.",)
    ] * 2
    assert flat(NONE_FOUND) in flat(text_of(pdf_of(bench), tmp_path))
    assert sheet.photographs == ""


def test_a_mod_shows_the_first_before_and_the_last_after(bench: Bench) -> None:
    for on, moment, caption in (
        ("1/2", "after", "too early"),
        ("1/2", "before", "second step"),
        ("1/1", "before", "first step"),
        ("1/1", "after", "first step done"),
        ("1/2", "after", "in the end"),
    ):
        photograph(bench, "step", on, moment, caption)

    first, second = sheet_of(bench).in_force

    assert told(first.album) == [("Before, step 1", "first step"), ("After, step 2", "in the end")]
    assert notes(first.album) == ("3 more photographs of it exist.",)
    assert told(second.album) == []


def test_one_side_alone_leaves_the_other_said_to_be_missing(bench: Bench) -> None:
    photograph(bench, "step", "1/1", "before")
    photograph(bench, "step", "2/4", "after")
    photograph(bench, "mod", "2")

    first, second = sheet_of(bench).in_force

    assert notes(first.album) == ("No photograph from after it exists.",)
    assert notes(second.album) == ("No photograph from before it exists.", "1 more photograph of it exists.")


def test_what_lay_open_in_between_stands_between(bench: Bench) -> None:
    """Neither before nor after is said of it: often it shows what nobody sees any more."""
    for on, moment in (("1/1", ""), ("1/1", "before"), ("1/2", "after")):
        photograph(bench, "step", on, moment, f"{on} {moment}")

    assert [place for place, _ in told(sheet_of(bench).in_force[0].album)] == [
        "Before, step 1",
        "At step 1",
        "After, step 2",
    ]


def test_the_machine_as_found_is_its_earliest_photograph_before_any_work(bench: Bench) -> None:
    """The first step was done on 2025-02-03; what is known to be later does not show how it was found."""
    photograph(bench, "machine", caption="afterwards", taken="2025-02-04")
    assert (told(sheet_of(bench).album), notes(sheet_of(bench).album)) == (
        [],
        (NONE_FOUND, "1 more photograph of it exists."),
    )

    photograph(bench, "machine", caption="day unknown")
    assert told(sheet_of(bench).album) == [("The machine", "day unknown")]

    photograph(bench, "machine", caption="on the bench", taken="2025-02-03")
    photograph(bench, "machine", caption="in the hall", taken="2025-01-05")
    album = sheet_of(bench).album
    assert told(album) == [("The machine", "in the hall")]
    assert notes(album) == ("3 more photographs of it exist.",)


def test_photographs_of_a_step_that_waits_are_not_shown_but_counted(bench: Bench) -> None:
    bench.do(AddStep, mod=1, kind=StepKind.ADJUST, board="main-board", designator="R7")
    photograph(bench, "step", "1/3", "before")

    first = sheet_of(bench).in_force[0]

    assert told(first.album) == []
    assert notes(first.album)[1] == "1 more photograph of it exists."


def test_a_sheet_shows_so_many_and_says_how_many_more_there_are(
    bench: Bench, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """First the machine, then each mod before and after, then what lay open; the rest is counted."""
    monkeypatch.setattr(sheet_photographs, "PHOTOGRAPHS_MOST", 4)
    for on, moment in (("1/1", "before"), ("1/1", ""), ("1/2", "after"), ("2/1", "before"), ("2/4", "after")):
        photograph(bench, "step", on, moment)
    photograph(bench, "machine")

    sheet = sheet_of(bench)
    first, second = sheet.in_force

    assert [place for place, _ in told(first.album)] == ["Before, step 1", "After, step 2"]
    assert [place for place, _ in told(second.album)] == ["Before, step 1"]
    assert notes(first.album) == notes(second.album) == ("1 more photograph of it exists; a sheet shows 4 at most.",)
    assert (
        sheet.photographs == "This sheet shows 4 of the 6 photographs that its record names; the dossier has them all."
    )
    assert flat(sheet.photographs) in flat(text_of(pdf_of(bench), tmp_path))


def test_the_keeper_can_leave_them_out(bench: Bench) -> None:
    photograph(bench, "machine")
    photograph(bench, "step", "1/1", "before")

    sheet = sheet_of(bench, photographs="without")

    assert list(sheet.shown) == []
    assert [sheet.album, *(mod.album for mod in sheet.in_force)] == [None] * 3
    assert sheet.photographs == "By the keeper's choice this sheet shows no photographs; its record names 2."


def test_the_short_sheet_has_neither_photographs_nor_drawings(bench: Bench) -> None:
    photograph(bench, "machine")

    full, short = sheet_of(bench), sheet_of(bench, length="short")
    pdf = mod_sheet_pdf(short, b"{}", views=views_of(short, bench.store.files))

    assert (list(short.shown), [one.picture for one in short.trials]) == ([], [None, None])
    assert all(one.picture for one in full.trials)
    assert alts_of(pdf) == []
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert len(opened.pages) == 1


def test_a_mod_that_is_left_out_shows_none(bench: Bench) -> None:
    photograph(bench, "step", "1/1", "before")

    sheet = sheet_of(bench, chosen="yes", mods=["2"])

    assert list(sheet.shown) == []
    assert sheet.photographs.startswith("This sheet shows none of the one photograph")


def test_choosing_photographs_changes_nothing_in_the_record(bench: Bench) -> None:
    photograph(bench, "step", "1/1", "before")

    with_them, without = (
        drawn_up(bench.store, TAG, DAY, choice=SheetChoice.read({"photographs": chosen}))
        for chosen in ("with", "without")
    )

    assert (with_them.record, with_them.content_sha256) == (without.record, without.content_sha256)


def test_both_spellings_of_a_record_are_the_canonical_ones(bench: Bench) -> None:
    """RFC 8785, by the library at once and value by value."""
    with bench.store.reading() as session:
        record = machine_record(session, find_machine(session, TAG))

    assert canonical_both(record) == (canonical(record), canonical(compared_of(record)))
    assert canonical_both({}) == (b"{}", b"{}")


# ---- In the PDF ----


def test_each_picture_is_a_figure_with_words_of_its_own(bench: Bench) -> None:
    """ISO 14289-1, 7.3: a figure has an alternative description. The claims stay what they are without pictures."""
    photograph(bench, "machine", caption="On the bench")
    photograph(bench, "step", "1/1", "before", taken="2025-01-20")
    pdf = pdf_of(bench)

    with pikepdf.open(io.BytesIO(pdf)) as opened:
        with opened.open_metadata() as metadata:
            claims = [metadata.get(name) for name in ("pdfaid:part", "pdfaid:conformance", "pdfuaid:part")]
        faults = opened.check_pdf_syntax()
    first, second, *results = alts_of(pdf)

    assert (claims, faults) == (["3", "A", "1"], [])
    assert (first, second) == (
        "On the bench",
        "Photograph 2 of step 1 of mod 1, before it was done, taken on 2025-01-20",
    )
    assert results == [one.picture.title for one in sheet_of(bench).trials if one.picture]
    assert results[1].startswith("Picture level before and after mod 1. before: 4 readings, mean 0.6100 (")
    assert results[1].endswith("Higher is better.")


def test_a_photograph_is_scaled_down_and_stays_a_jpeg_file(bench: Bench) -> None:
    """Twelve million pixels of noise do not make the sheet heavy, and are not encoded again."""
    bare = len(pdf_of(bench))
    dots = Random(1).randbytes(400 * 300 * 3)  # noqa: S311 (noise is no secret)
    noise = Image.frombytes("RGB", (400, 300), dots).resize((4000, 3000))
    bench.do(AddPhotograph, on_kind="machine", on="", file_name="a.jpg", content=written("JPEG", noise, quality=95))

    drawn = drawn_up(bench.store, TAG, DAY)
    (view,) = views_of(drawn.sheet, bench.store.files).values()
    pdf = pdf_of(bench)

    assert len(pdf) - bare < 150_000
    assert view in pdf


def test_a_caption_that_no_typeface_has_is_stood_in_for(bench: Bench, tmp_path: Path) -> None:
    photograph(bench, "machine", caption=f"{HOSTILE}\u202e")

    printed = flat(text_of(pdf_of(bench), tmp_path))

    assert flat(printable(HOSTILE)) in printed
    assert flat("□ stands for a character that this paper’s typefaces do not have") in printed


@given(st.text(max_size=60) | st.sampled_from(["\u200d", "\u202e\ufe0f", "\u00ad"]))
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_caption_can_be_printed(bench: Bench, caption: str) -> None:
    """The compiler refuses a character without a shape, and a figure without words."""
    if not list(sheet_of(bench).shown):
        photograph(bench, "machine")
    with bench.store.reading() as session:
        version = session.exec(select(Photograph.version)).one()
    try:
        bench.do(ReviseCaption, photograph=1, opened_version=version, caption=caption)
    except Invalid:
        reject()

    (shown, *_) = alts_of(pdf_of(bench))

    assert printable(shown).strip() != ""


@pytest.mark.parametrize("size", [(40, 4000), (4000, 40), (12, 8)], ids=["tall", "wide", "tiny"])
@pytest.mark.parametrize(("paper", "edges"), [("A4", A4), ("Letter", LETTER)])
def test_no_picture_leaves_the_page(
    bench: Bench, paper: str, edges: tuple[float, float], size: tuple[int, int]
) -> None:
    """By the boxes that the structure tree gives its figures."""
    for on_kind, on, moment in (("machine", "", ""), ("step", "1/1", "before"), ("step", "1/2", "after")):
        bench.do(AddPhotograph, on_kind=on_kind, on=on, moment=moment, file_name="a.jpg",
                 content=written("JPEG", drawing(size)))  # fmt: skip

    with pikepdf.open(io.BytesIO(pdf_of(bench, paper))) as opened:
        boxes = [box_of(one) for one in figures(opened.Root.StructTreeRoot)]

    assert len(boxes) == 5
    assert all(
        20 < left < right < edges[0] - 40 and 40 < low < high < edges[1] - 40 for left, low, right, high in boxes
    )


def box_of(figure: pikepdf.Object) -> list[float]:
    """Left, low, right and high."""
    attributes = figure.A if isinstance(figure.A, pikepdf.Array) else [figure.A]
    (box,) = (one.BBox for one in attributes if "/BBox" in one)
    return [float(edge) for edge in box]


def test_it_is_read_in_black_and_white(bench: Bench, tmp_path: Path) -> None:
    """Drawings are black on white; only a photograph has colours, and greys where they are taken away."""
    file = tmp_path / "sheet.pdf"
    file.write_bytes(pdf_of(bench))
    poppler("pdftoppm", "-r", "50", "-png", file, tmp_path / "page")

    for page in sorted(tmp_path.glob("page*.png")):
        red, green, blue = Image.open(page).convert("RGB").split()
        assert red.tobytes() == green.tobytes() == blue.tobytes()


# ---- What is at fault ----


def place_of(bench: Bench) -> Path:
    """Where the only photograph's file lies."""
    (shown,) = sheet_of(bench).shown
    return bench.store.files.path(shown.sha256)


@pytest.mark.parametrize("missing", [True, False], ids=["missing", "damaged"])
def test_a_photograph_whose_file_is_not_whole_is_said_to_be(bench: Bench, tmp_path: Path, *, missing: bool) -> None:
    """Though a smaller view of it may lie beside it still."""
    photograph(bench, "step", "1/1", "before", "The pads")
    place = place_of(bench)
    if missing:
        place.unlink()
    else:
        place.write_bytes(place.read_bytes()[:-1] + b"\0")

    (shown,) = sheet_of(bench).shown
    pdf = pdf_of(bench)

    assert shown.fault == ("its file is missing" if missing else "its file is damaged")
    assert flat(f"Before, step 1. The pads. Photograph 1 cannot be shown: {shown.fault}.") in flat(
        text_of(pdf, tmp_path)
    )
    assert "The pads" not in alts_of(pdf)


@pytest.mark.parametrize("left", [b"", b"\xff\xd8\xff", b"no picture", None])
def test_a_view_that_was_spoiled_is_made_again(bench: Bench, left: bytes | None) -> None:
    photograph(bench, "machine", caption="On the bench")
    place = place_of(bench)
    view = bench.store.files.root / "derived" / place.parent.name / f"{place.name}-{view_name(SMALL)}"
    whole = view.read_bytes()
    view.write_bytes(whole[: len(whole) // 2] if left is None else left)

    pdf = pdf_of(bench)

    assert "On the bench" in alts_of(pdf)
    assert whole in pdf


def test_a_caption_revised_is_the_next_sheets(bench: Bench) -> None:
    photograph(bench, "machine", caption="On the bench")
    bench.do(ReviseCaption, photograph=1, opened_version=1, caption="On the floor")

    assert told(sheet_of(bench).album) == [("The machine", "On the floor")]


def test_a_mod_with_no_step_done_has_no_place_on_it(bench: Bench) -> None:
    bench.do(PlanMod, title="Thought of", state="planned", day="2025-06-01", signer="K")
    bench.do(AddStep, mod=3, kind=StepKind.OTHER, instruction="Look.")
    photograph(bench, "step", "3/1", "before")

    assert list(sheet_of(bench).shown) == []
    assert sheet_of(bench).photographs.startswith("This sheet shows none of")
