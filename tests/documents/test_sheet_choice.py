"""What is chosen before a sheet is printed: which mods, how long, on what paper, and what is private."""

import io
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import Any

import pikepdf
import pytest

from server.documents.mod_sheet import SheetData, sheet_data
from server.documents.pdf import mod_sheet_pdf
from server.documents.record import canonical, digest
from server.documents.sheet_choice import SheetChoice
from server.documents.signing import drawn_up, sign
from server.records.commands.sheets import SheetFields
from server.records.errors import Invalid, Refused
from server.records.questions.addresses import find_machine
from server.records.questions.sheet import whole_machine
from tests.documents.invented import KEEPER, PRIVATE_WORDS, TAG, Bench
from tests.documents.test_pdf import flat, text_of

DAY = date(2026, 1, 2)
LETTER = (612.0, 792.0)  # 8.5 in x 11 in of 72 points: ANSI/ASME Y14.1, size A


def sheet_of(bench: Bench, **chosen: Any) -> SheetData:
    with bench.store.reading() as session:
        whole = whole_machine(session, find_machine(session, bench.tag))
    return sheet_data(whole, "ab" * 32, DAY, KEEPER, SheetChoice.read(chosen))


def test_mods_that_were_not_chosen_are_named_and_no_more(told: Bench) -> None:
    """Their hazards and their way back hold all the same."""
    usual, sheet = sheet_of(told), sheet_of(told, chosen="yes", mods=["1"])
    assert [gap for gap in usual.not_known if gap.startswith("Mod 2")]

    assert [mod.number for mod in (*sheet.in_force, *sheet.undone)] == [1]
    assert sheet.left_out == ((2, "Reset on its own line"), (3, "Faster clock"))
    assert usual.left_out == ()
    assert (sheet.cautions, sheet.back, sheet.no_way_back) == (usual.cautions, usual.back, usual.no_way_back)
    assert (sheet.bags, sheet.missing) == (usual.bags, usual.missing)
    assert not [gap for gap in sheet.not_known if gap.startswith("Mod 2")]


def test_results_of_a_mod_that_was_left_out_are_left_out(told: Bench) -> None:
    """They are not told as if nothing had been measured before."""
    usual, sheet = sheet_of(told), sheet_of(told, chosen="yes", mods=["2"])

    assert {one.mod for one in usual.trials} == {"Mod 1"}
    assert sheet.trials == ()


def test_no_mod_can_be_chosen_as_well(told: Bench) -> None:
    sheet = sheet_of(told, chosen="yes")

    assert (sheet.in_force, sheet.undone) == ((), ())
    assert [number for number, _ in sheet.left_out] == [1, 2, 3]


@pytest.mark.parametrize("mods", [["9"], ["1", "4"], ["x"], ["0" * 400], ["1\0"]])
def test_a_mod_that_no_sheet_can_tell_of_is_refused(told: Bench, mods: list[str]) -> None:
    """The fourth was only considered."""
    with pytest.raises(Invalid) as refused:
        sheet_of(told, chosen="yes", mods=mods)

    assert f"{TAG} has no mod" in refused.value.messages["mods"]


def test_what_is_private_is_said_where_it_was_chosen(told: Bench) -> None:
    usual, private = (str(asdict(sheet_of(told, private=chosen))) for chosen in ("", "yes"))

    assert [word for word in PRIVATE_WORDS if word in usual] == []
    assert [word for word in PRIVATE_WORDS if word not in private] == []


def test_the_record_inside_a_private_sheet_says_nothing_private(told: Bench, tmp_path: Path) -> None:
    drawn = drawn_up(told.store, TAG, DAY, choice=SheetChoice(private="yes"))
    pdf = mod_sheet_pdf(drawn.sheet, drawn.record)

    assert digest(drawn.record) == drawn.sheet.digest
    assert [word for word in PRIVATE_WORDS if word.encode() in drawn.record] == []
    words = flat(text_of(pdf, tmp_path))
    assert [word for word in PRIVATE_WORDS if flat(word) not in words] == []
    assert flat("Not to be handed on") in words


def test_a_private_sheet_is_not_signed(told: Bench) -> None:
    fields = SheetFields.read({"signer": KEEPER, "day": "2026-01-02"})

    with pytest.raises(Refused, match="for your own file"):
        sign(told.store, TAG, fields, KEEPER, choice=SheetChoice(private="yes"))


def test_the_short_sheet_fits_one_page_and_keeps_what_is_needed_for_safety(told: Bench, tmp_path: Path) -> None:
    full, short = (sheet_of(told, length=length) for length in ("full", "short"))
    whole, (words, *more) = (text_of(mod_sheet_pdf(sheet, b"{}"), tmp_path).split("\f")[:-1] for sheet in (full, short))
    steps = f"It has {len(full.back)} steps"

    assert len(whole) > 1
    assert more == []
    for kept in (
        *full.cautions,
        "Welch",
        "discarded; a like one has to be found",
        "Brighter picture",
        "Faster clock",
        steps,
        "What cannot be undone",
    ):
        assert flat(kept) in flat(words)
    assert flat("What the sums say") not in flat(words)
    assert flat("What the sums say") in flat("".join(whole))


def test_it_can_be_printed_on_letter(told: Bench) -> None:
    pdf = mod_sheet_pdf(sheet_of(told), canonical({}), "Letter")

    with pikepdf.open(io.BytesIO(pdf)) as opened:
        sizes = {tuple(float(edge) for edge in page.mediabox[2:]) for page in opened.pages}
    assert sizes == {LETTER}
