"""What the record makes of date codes: readings by the day, a board's window, and the keeper's own word."""

from datetime import date
from typing import Any
from uuid import uuid4

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import insert

from server.records.clock import now
from server.records.commands.dating import ChooseReading, OverruleDating
from server.records.commands.machines import AddPosition, EnterMachine, ReviseBoard, ReviseMachine
from server.records.commands.parts import BagPart, EnterPart, RevisePart
from server.records.commands.steps import AddStep, CarryOutStep
from server.records.date_codes import By, Code, days_of, read_code
from server.records.dates import made_span
from server.records.errors import Stale
from server.records.questions.addresses import find_board, find_machine, find_part
from server.records.questions.boards import all_boards
from server.records.questions.dating import (
    BoardDating,
    CodeLine,
    Origins,
    code_of,
    dated,
    dating_of,
    datings,
    undated,
)
from server.records.tables import Board, BoardStay, Part
from server.records.words import Dating, Origin
from tests.records.conftest import KEEPER, MAIN, TAG, Bench, behind

CAME_IN = By(date(2020, 5, 1), "when the machine came in with it")
JUDGING = ("fake", "genuine", "forged", "false", "fraud", "authentic")


def enter(bench: Bench, place: str, code: str, **more: object) -> int:
    """A chip with a date code at a position of the main board; its key."""
    given = {"kind": "chip", "origin": "original", "date_code": code, **more}
    return bench.do(EnterPart, board=MAIN, designator=place, **given).key


def dating(bench: Bench) -> BoardDating:
    with bench.store.reading() as session:
        return dating_of(session, find_board(session, find_machine(session, TAG), MAIN))


def line_at(found: BoardDating, label: str) -> CodeLine:
    return next(line for line in found.lines if line.label == label)


def overrule(bench: Bench, part: int, stance: str, note: str = "Seen under the lens", version: int = 1) -> None:
    bench.do(OverruleDating, part=part, dating=stance, note=note, opened_version=version)


# ---- One code ----


def test_a_code_gives_every_reading_that_its_day_allows() -> None:
    """8109 is week 9 by either rule, or September."""
    code = read_code("8109", "", CAME_IN)

    assert [reading.scheme for reading in code.readings] == ["yyww_iso", "yyww_count", "yymm"]
    assert (code.chosen, code.trouble) == (None, "")


def test_a_reading_later_than_the_part_was_there_is_none() -> None:
    """3012 can be week 12 of 2030 or week 30 of 2012: in 2020 only the second was past."""
    code = read_code("3012", "", CAME_IN)

    assert {reading.earliest.year for reading in code.readings} == {2012}


def test_a_code_from_the_future_is_answered_in_words() -> None:
    """By the day on which the part was there, and with the earliest that the code can mean."""
    code = read_code("2731", "", CAME_IN)

    assert code.readings == ()
    assert code.trouble.startswith(
        "Every reading of “2731” is still to come by 2020-05-01, when the machine came in with it: "
        "the earliest starts 2027-"
    )


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "No date code is noted."),
        ("8167", "“8167” cannot be read as a date. Look at the marking again, or for another on the part."),
        ("8286", "“8286” cannot be read as a date. 8286 is also the type number of"),
        ("J8", "It counts once a reading of it is chosen."),
        ("x" * 300, "cannot be read as a date"),
    ],
)
def test_a_code_that_tells_nothing_says_why(text: str, said: str) -> None:
    """Undated, unreadable, a type number, or letters that wait to be asked."""
    code = read_code(text, "", CAME_IN)

    assert code.readings == ()
    assert said in code.trouble
    assert len(code.trouble) < 250


def test_a_chosen_reading_is_the_only_one_reckoned_with() -> None:
    """The others can still be chosen instead."""
    code = read_code("8109", "1981-09-01/1981-09-30", CAME_IN)

    assert [reading.scheme for reading in code.readings] == ["yymm"]
    assert code.chosen == code.readings[0]
    assert len(code.offered) == 3


def test_letters_are_read_when_they_are_chosen() -> None:
    """J8 is August of 1977, 1997 or 2017 by IEC 60062 (from memory of its production-date letters)."""
    asked = read_code("J8", "", CAME_IN)
    chosen = read_code("J8", "1977-08-01/1977-08-31", CAME_IN)

    assert {days_of(reading)[:7] for reading in asked.offered} == {"1977-08", "1997-08", "2017-08"}
    assert chosen.trouble == ""
    assert [reading.earliest for reading in chosen.readings] == [date(1977, 8, 1)]


def test_a_choice_that_the_code_no_longer_bears_out_is_left_aside() -> None:
    """The code was read again at the bench, and is another."""
    code = read_code("8110", "1981-09-01/1981-09-30", CAME_IN)

    assert code.chosen is None
    assert len(code.readings) == 3
    assert "1981-09-01/1981-09-30, is none of this code’s now" in code.left_aside


def test_two_rules_for_weeks_that_come_to_the_same_days_are_one_reading() -> None:
    """1 January 1979 was a Monday (ISO 8601 calendar), so its weeks are those counted from there."""
    code = read_code("7909", "", CAME_IN)

    offered = [days_of(reading) for reading in code.offered]
    assert sorted(set(offered)) == sorted(offered)
    assert offered == [days_of(reading) for reading in code.readings]


# ---- A board ----


def test_the_board_was_not_built_before_its_newest_original(bench: Bench) -> None:
    """What is later or of unknown origin is told, and left out."""
    for place, code, origin in (("U1", "8206", "original"), ("U2", "8214", "original"), ("U3", "8740", "later"),
                                ("U4", "8330", "unknown")):  # fmt: skip
        enter(bench, place, code, origin=origin)

    found = dating(bench)

    assert date(1982, 4, 2) == found.window.not_before  # week 14 counted from 1 January; by ISO 8601 from 5 April
    assert found.window.newest == "U2"
    assert [line.label for line in found.placed("left out")] == ["U3", "U4"]
    assert found.allows == f"The codes allow a board built from {found.window.not_before} on."


def test_a_part_later_than_the_machine_does_not_belong(bench: Bench) -> None:
    """The machine was made about 1982: by the end of 1983."""
    enter(bench, "U1", "8206")
    enter(bench, "U2", "8740")

    found = dating(bench)

    assert [line.label for line in found.placed("does not belong")] == ["U2"]
    assert "U2 is later than the machine, which was made by 1983-12-31" in line_at(found, "U2").why
    assert found.window.newest == "U1"


def test_a_machine_of_unknown_date_rules_nothing_out_as_later(bench: Bench) -> None:
    """The newest original then sets the day, whatever it is."""
    bench.do(ReviseMachine, model="Merle 40", opened_version=1)
    enter(bench, "U1", "8206")
    enter(bench, "U2", "8740")

    found = dating(bench)

    assert (found.made, found.window.newest) == (None, "U2")
    assert found.placed("does not belong") == []


def test_readings_later_than_the_machine_are_not_reckoned_with(bench: Bench) -> None:
    """`832` can be of 1988, which the machine rules out; the earliest of the others counts."""
    enter(bench, "U1", "832")

    line = line_at(dating(bench), "U1")

    assert {reading.earliest.year for reading in line.reckoned} == {1968, 1978}
    assert {meaning.words for meaning in line.meanings if not meaning.reckoned} == {
        "week 32 of 1988", "week 32 of 1998", "week 32 of 2008", "week 32 of 2018",
    }  # fmt: skip


def test_the_window_follows_the_parts_as_they_are_entered(bench: Bench) -> None:
    """It is reckoned anew each time, so nothing has to be run again."""
    enter(bench, "U1", "8206")
    before = dating(bench).window.not_before
    enter(bench, "U2", "8230")

    after = dating(bench).window.not_before

    assert before is not None
    assert after is not None
    assert before < after


def test_an_original_that_was_taken_out_still_tells_of_its_board(bench: Bench) -> None:
    """Under the name of the position that it came from; what took its place is told beside it."""
    part = enter(bench, "U1", "8206")
    swap(bench, "U1", date_code="8740", origin="later")

    found = dating(bench)

    assert [(line.label, line.place) for line in found.lines] == [("U1", "left out"), ("U1 (taken out)", "counts")]
    assert line_at(found, "U1 (taken out)").part.key == part
    assert found.window.newest == "U1 (taken out)"


def swap(bench: Bench, place: str, **fitted: object) -> None:
    """Take out what sits at a position and fit another part."""
    bench.plan()
    bench.step("take out", place)
    bench.step("fit", place)
    bench.carry_out(1)
    bench.do(CarryOutStep, mod=1, step=2, day="2025-02-03", signer=KEEPER, type="74LS00", **fitted)


def test_an_original_that_was_put_back_is_told_once(bench: Bench) -> None:
    """It sits where it began."""
    enter(bench, "U1", "8206")
    swap(bench, "U1", date_code="8740", origin="later")
    bench.undo(2)
    bench.undo(1)

    assert [(line.label, line.place) for line in dating(bench).lines] == [("U1", "counts")]


def test_an_original_of_another_board_does_not_tell_of_this_one(bench: Bench) -> None:
    """A chip that began on the supply and was moved here; the supply it still tells of."""
    chip = {"kind": "chip", "origin": "original", "date_code": "8206"}
    part = bench.do(EnterPart, board="supply", designator="U1", **chip).key
    bench.do(AddPosition, board=MAIN, designator="U1", mounting="socketed")
    bench.plan()
    bench.do(AddStep, mod=1, kind="take out", board="supply", designator="U1")
    bench.step("fit", "U1")
    bench.carry_out(1)
    bench.do(CarryOutStep, mod=1, step=2, day="2025-02-03", signer=KEEPER, bagged_part=part)

    here = dating(bench)
    with bench.store.reading() as session:
        there = dating_of(session, find_board(session, find_machine(session, TAG), "supply"))

    assert "It began at a position of another board" in line_at(here, "U1").why
    assert here.window.not_before is None
    assert line_at(there, "U1 (taken out)").place == "counts"


def test_the_boards_own_date_can_be_earlier_than_its_codes_allow(bench: Bench) -> None:
    """Which is said, and judged no further."""
    bench.do(ReviseBoard, board=MAIN, name="Main board", kind="main board", made="1980", opened_version=1)
    enter(bench, "U1", "8206")

    assert dating(bench).contradiction == "The board’s own date, 1980, is earlier than that."


def test_a_board_is_held_against_the_machine_that_it_was_built_into(bench: Bench) -> None:
    """One that was moved here from a machine of 1990 may have parts of 1990."""
    bench.do(EnterMachine, tag="TM-09", model="Merle 90", made="1990")
    enter(bench, "U1", "9006")
    before = dating(bench)
    for machine, since, until in ((2, None, date(2024, 1, 1)), (1, date(2024, 1, 1), None)):
        stay = {"uuid": uuid4(), "version": 1, "created_at": now(), "created_by": "", "signer": "", "note": ""}
        behind(bench.store, insert(BoardStay).values(board_id=1, machine_id=machine, since=since, until=until, **stay))

    after = dating(bench)

    assert line_at(before, "U1").place == "does not belong"
    assert (after.origins.tag, line_at(after, "U1").place) == ("TM-09", "counts")


def test_parts_without_a_code_are_told_as_such(bench: Bench) -> None:
    """In the order of their positions, however many."""
    enter(bench, "U1", "8206")

    with bench.store.reading() as session:
        found = undated(session, find_board(session, find_machine(session, TAG), MAIN), 1, most=2)

    assert (found.rows, found.total) == (["R2", "R7"], 3)


def test_boards_are_dated_together_as_each_by_itself(bench: Bench) -> None:
    enter(bench, "U1", "8206")
    bench.do(EnterPart, board="supply", designator="U1", kind="chip", origin="original", date_code="8208")

    with bench.store.reading() as session:
        boards = all_boards(session, find_machine(session, TAG))
        together = [found.window for found in datings(session, boards)]
        apart = [dating_of(session, board).window for board in boards]

    assert apart == together
    assert len({window.not_before for window in together}) == 2


# ---- The keeper's own word ----


def test_a_keeper_chooses_a_reading_and_takes_it_back(bench: Bench) -> None:
    """The window moves with it, and the journal says what was chosen."""
    part = enter(bench, "U1", "8109")
    bench.do(ChooseReading, part=part, reading="1981-09-01/1981-09-30", opened_version=1)
    chosen, said = dating(bench).window.not_before, bench.last_entry().words
    bench.do(ChooseReading, part=part, reading="", opened_version=2)

    again = dating(bench).window.not_before

    assert (chosen, again) == (date(1981, 9, 1), date(1981, 2, 23))
    assert said.endswith("at U1 on Main board: its date code 8109 is read as September 1981, year before month.")
    assert bench.faults() == []


def test_only_a_reading_of_the_code_can_be_chosen(bench: Bench) -> None:
    part = enter(bench, "U1", "8109")

    assert bench.refuse(ChooseReading, part=part, reading="1981-09", opened_version=1) == {
        "reading": "That is no reading of “8109”. Choose one of those offered."
    }


def test_a_keeper_can_hold_that_a_code_does_not_count(bench: Bench) -> None:
    """It is told with the note, and left out."""
    enter(bench, "U1", "8206")
    overrule(bench, enter(bench, "U2", "8230"), "does not count", "It came with the later socket.")

    found = dating(bench)

    assert line_at(found, "U2").place == "left out"
    assert line_at(found, "U2").why == "The keeper holds that it does not count: It came with the later socket."
    assert found.window.newest == "U1"


def test_a_keeper_can_hold_that_a_code_counts_whatever_the_codes_say(bench: Bench) -> None:
    """Though it is later than the machine, and though its origin is not original; what the codes say is told beside."""
    enter(bench, "U1", "8206")
    for place, origin in (("U2", "original"), ("U3", "later")):
        overrule(bench, enter(bench, place, f"874{place[1]}", origin=origin), "counts", "Seen being fitted")

    found = dating(bench)

    assert [line.label for line in found.placed("counts")] == ["U1", "U2", "U3"]
    assert found.window.newest == "U3"
    assert found.window.misfits == ()
    assert (
        "The keeper holds that it counts: Seen being fitted. By the codes alone: U2 is later"
        in line_at(found, "U2").why
    )


def test_the_codes_can_speak_for_themselves_again(bench: Bench) -> None:
    """The word and its note are gone from the part, and stay in the journal."""
    part = enter(bench, "U1", "8206")
    overrule(bench, part, "does not count")
    overrule(bench, part, "as the codes say", "I looked again", version=2)

    stored = bench.row(Part, part)

    assert (stored.dating, stored.dating_note) == ("", "")
    assert line_at(dating(bench), "U1").place == "counts"
    assert bench.last_entry().words.endswith("its date code is again as the codes say: I looked again.")


def test_a_note_is_needed_to_overrule(bench: Bench) -> None:
    part = enter(bench, "U1", "8206")

    refused = bench.refuse(OverruleDating, part=part, dating="does not count", note=" ", opened_version=1)

    assert refused == {"note": "Say why: whoever reads the record later has only this to go by."}


@pytest.mark.parametrize(
    ("code", "said"),
    [("8167", "It cannot count: “8167” cannot be read as a date."), ("", "It cannot count: no date code is noted.")],
)
def test_what_tells_nothing_cannot_count(bench: Bench, code: str, said: str) -> None:
    part = enter(bench, "U1", code)

    refused = bench.refuse(OverruleDating, part=part, dating="counts", note="So it is", opened_version=1)

    assert refused["dating"].startswith(said)


def test_a_part_that_was_on_no_board_tells_of_none(bench: Bench) -> None:
    """A spare in a bag: its reading can be chosen all the same."""
    spare = bench.do(BagPart, day="2025-01-10", kind="chip", type="7404", origin="new", date_code="8109").key

    refused = bench.refuse(OverruleDating, part=spare, dating="does not count", note="A spare", opened_version=1)
    bench.do(ChooseReading, part=spare, reading="1981-09-01/1981-09-30", opened_version=1)

    assert refused == {"dating": "This part was never on a board, so there is none that its code could tell of."}
    with bench.store.reading() as session:
        assert code_of(session, find_part(session, spare)).chosen


def test_a_word_on_a_part_that_was_revised_meanwhile_is_not_saved_unseen(bench: Bench) -> None:
    """Rule 7: both versions are shown."""
    part = enter(bench, "U1", "8206")
    bench.do(RevisePart, part=part, kind="chip", origin="original", date_code="8207", opened_version=1)

    with pytest.raises(Stale) as stale:
        overrule(bench, part, "does not count", "Misread")

    assert [(row.field, row.yours, row.theirs) for row in stale.value.rows] == [
        ("dating", "does not count", ""),
        ("dating note", "Misread", ""),
    ]


# ---- Whatever the codes are ----

CODES = st.one_of(
    st.sampled_from(["8109", "832", "7404", "8167", "VII 83", "1979", "2731", "J8", ""]),
    st.from_regex(r"[0-9]{3,4}[A-C]?", fullmatch=True),
)
PARTS = st.lists(
    st.fixed_dictionaries(
        {
            "date_code": CODES,
            "origin": st.sampled_from([Origin.ORIGINAL, Origin.ORIGINAL, Origin.LATER, Origin.UNKNOWN]),
            "dating": st.sampled_from(["", "", "", *Dating]),
        }
    ),
    max_size=10,
)


def board_of_parts(parts: list[dict[str, Any]], made: str) -> BoardDating:
    lines = []
    for number, about in enumerate(parts, 1):
        part = Part(id=number, kind="chip", dating_note="so it is held" if about["dating"] else "", **about)
        code: Code = read_code(about["date_code"], "", CAME_IN)
        lines.append(CodeLine(part, f"U{number}", True, about["origin"] == Origin.ORIGINAL, code))
    board = Board(id=1, machine_id=1, slug="b", name="Board", kind="main board")
    return dated(board, Origins("T", made, None), lines)


@settings(max_examples=100, deadline=None)
@given(PARTS, st.sampled_from(["", "1981~", "198X", "1979/..", "../1985"]))
def test_the_window_is_the_latest_first_day_of_what_counts(parts: list[dict[str, Any]], made: str) -> None:
    """Never later than the last day that its newest part allows, nor than the machine where nothing is overruled."""
    found = board_of_parts(parts, made)

    firsts = {line.label: min(one.earliest for one in line.reckoned) for line in found.placed("counts")}
    assert max(firsts.values(), default=None) == found.window.not_before
    assert found.window.misfits == ()
    if found.window.not_before and found.window.newest:
        newest = line_at(found, found.window.newest)
        assert found.window.not_before <= max(one.latest for one in newest.reckoned)
    span = made_span(made)
    if span and found.window.not_before and not any(about["dating"] for about in parts):
        assert found.window.not_before <= span[1]


@settings(max_examples=100, deadline=None)
@given(PARTS, st.sampled_from(["", "1981~", "1979/.."]))
def test_every_part_is_placed_and_no_sentence_judges(parts: list[dict[str, Any]], made: str) -> None:
    """Each has a reason; what the keeper holds is kept to; what cannot be read counts for nothing."""
    found = board_of_parts(parts, made)

    assert len(parts) == len(found.lines)
    for line in found.lines:
        assert line.why
        assert (line.place == "counts") <= bool(line.code.readings)
        assert line.place != "counts" or line.part.dating != Dating.DOES_NOT_COUNT
        if line.part.dating == Dating.COUNTS:
            assert line.place in ("counts", "tells nothing")
    said = " ".join([found.allows, found.window.says, *found.window.notes, *(line.why for line in found.lines)]).lower()
    assert not [word for word in JUDGING if word in said]
