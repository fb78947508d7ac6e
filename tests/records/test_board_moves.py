"""A board that moves between machines takes its history along, and leaves the other's past as it was."""

from datetime import date
from typing import Any

import pytest
from sqlalchemy import update
from sqlmodel import SQLModel, select

from server.documents.mod_sheet import SheetData, sheet_data
from server.documents.record import machine_record, record_of
from server.records.commands.board_moves import MoveBoard
from server.records.commands.calculations import AttachCalculation, ReviseCalculation
from server.records.commands.machines import AddBoard, AddPosition, EnterMachine, ReviseBoard
from server.records.commands.mods import MoveMod, PlanMod
from server.records.commands.parts import EnterPart
from server.records.commands.steps import AddStep, CarryOutStep, UndoStep
from server.records.commands.trials import NoteModsInForce, RecordTrial, WriteProcedure
from server.records.errors import NotFound
from server.records.placing import describe
from server.records.questions import bags, parts
from server.records.questions.addresses import find_board, find_machine, find_mod, find_part
from server.records.questions.boards import all_boards
from server.records.questions.journal import latest, told
from server.records.questions.sheet import whole_machine
from server.records.questions.stacking import standing_on
from server.records.questions.states import days_of_change, mods_in_force, seats_on
from server.records.questions.stays import boards_left, mods_that_came, mods_that_left, stays_of
from server.records.questions.trials import mods_come, mods_noted
from server.records.questions.two_days import PageNumbers, two_days
from server.records.questions.way_back import way_back
from server.records.tables import Board, BoardStay, JournalEntry, Machine, Trial
from server.records.words import Case
from tests.records.conftest import KEEPER, MAIN, TAG, Bench, behind
from tests.records.indicator import lamp

OTHER = "TM-05"
DAY = "2025-05-01"
SIGNED = {"signer": KEEPER}
SUPPLY = "supply"


def enter_other(bench: Bench) -> None:
    """Another machine with a main board, so that a board that comes needs a name of its own, and a mod of its own."""
    bench.do(EnterMachine, tag=OTHER, model="Merle 40", hazards=["battery"])
    bench.do(AddBoard, machine=OTHER, name="Main board", kind="main board")
    bench.do(EnterPart, machine=OTHER, board=MAIN, designator="R2", kind="resistor", value="390 Ω", origin="original")


@pytest.fixture
def bench(bench: Bench) -> Bench:
    """TM-03, whose main board was changed by mod 1 on 2025-02-03, and another machine."""
    bench.replace_r2()
    enter_other(bench)
    return bench


def move(bench: Bench, board: str = MAIN, to: str = OTHER, day: str = DAY, **more: object) -> None:
    bench.do(MoveBoard, **{"board": board, "to": to, "day": day, **SIGNED, **more})


def refused(bench: Bench, board: str = MAIN, **more: object) -> dict[str, str]:
    return bench.refuse(MoveBoard, **{"board": board, "to": OTHER, "day": DAY, **SIGNED, **more})


def sitting(bench: Bench, tag: str, day: str) -> list[tuple[str, str, str]]:
    """Board, designator and value of every seat on a day."""
    with bench.store.reading() as session:
        seats = seats_on(session, find_machine(session, tag), date.fromisoformat(day)).rows
    return [(seat.board.name, seat.position.designator, seat.part.value if seat.part else "") for seat in seats]


def in_force(bench: Bench, tag: str, day: str) -> list[int]:
    with bench.store.reading() as session:
        return [mod.number for mod in mods_in_force(session, find_machine(session, tag), date.fromisoformat(day))]


def back(bench: Bench, tag: str) -> list[str]:
    with bench.store.reading() as session:
        way = way_back(session, find_machine(session, tag))
    return [f"{line.called}: {line.act}" for line in way.back]


def sheet(bench: Bench, tag: str) -> SheetData:
    with bench.store.reading() as session:
        return sheet_data(whole_machine(session, find_machine(session, tag)), "0" * 64, date(2026, 1, 1), KEEPER)


def record(bench: Bench, tag: str) -> dict[str, Any]:
    with bench.store.reading() as session:
        return machine_record(session, find_machine(session, tag))


# ---- What goes along ----


def test_a_board_is_in_the_other_machine_from_the_day_on(bench: Bench) -> None:
    """Its slug is made free there, its parent is cleared, and both stays are written."""
    bench.do(ReviseBoard, board=MAIN, opened_version=1, name="Main board", kind="main board", parent=SUPPLY)
    move(bench, note="Swapped to see which is at fault.")

    with bench.store.reading() as session:
        other = find_machine(session, OTHER)
        board = find_board(session, other, "main-board-2")
        stays = stays_of(session, board)
        with pytest.raises(NotFound):
            find_board(session, find_machine(session, TAG), MAIN)
    assert board.parent_id is None
    assert [(one.machine.tag, one.stay.since, one.stay.until) for one in stays] == [
        (TAG, None, date(2025, 5, 1)),
        (OTHER, date(2025, 5, 1), None),
    ]
    assert (stays[1].stay.signer, stays[1].stay.note) == (KEEPER, "Swapped to see which is at fault.")
    assert bench.faults() == []


def test_the_boards_that_it_holds_go_with_it(bench: Bench) -> None:
    """They stay on it; one below them too."""
    for name, parent in (("Riser", MAIN), ("Clock", "riser")):
        bench.do(AddBoard, name=name, kind="expansion", parent=parent)
    move(bench)

    with bench.store.reading() as session:
        other = find_machine(session, OTHER)
        riser, clock = (find_board(session, other, name) for name in ("riser", "clock"))
        assert (riser.parent_id, clock.parent_id) == (find_board(session, other, "main-board-2").id, riser.id)
        assert len(stays_of(session, clock)) == 2
    assert "and with it Riser and Clock" in bench.last_entry().words
    assert bench.faults() == []


def test_on_a_day_before_it_is_shown_in_the_old_machine_and_after_it_in_the_new(bench: Bench) -> None:
    """At the end of the day itself it is in the new one. A board that never moved is always where it is."""
    own = [("Main board", "R2", "390 Ω")]
    before = sitting(bench, TAG, "2025-04-30")
    move(bench)

    assert before == sitting(bench, TAG, "2025-04-30")
    assert ("Main board", "R2", "330 Ω ±1 %") in before
    assert sitting(bench, TAG, DAY) == []
    assert own == sitting(bench, OTHER, "2025-04-30")
    assert sorted([*before, *own]) == sorted(sitting(bench, OTHER, DAY))


def test_its_mod_is_in_force_where_it_is(bench: Bench) -> None:
    move(bench)

    assert (in_force(bench, TAG, "2025-04-30"), in_force(bench, TAG, DAY)) == ([1], [])
    assert (in_force(bench, OTHER, "2025-04-30"), in_force(bench, OTHER, DAY)) == ([], [1])


def test_what_moved_no_part_goes_with_it_but_the_case_stays(bench: Bench) -> None:
    """A cut lies at a position; a setting goes with its mod; a hole is in the case."""
    bench.plan("Button")
    for number, (kind, place) in enumerate((("cut trace", "U7"), ("adjust", ""), ("drill or cut case", "")), 1):
        bench.step(kind, place, 2, pin="3")
        bench.carry_out(number, "2025-02-10", 2)
    bench.move("fitted", "2025-02-10", 2)
    move(bench)

    def standing(tag: str, day: str) -> list[str]:
        with bench.store.reading() as session:
            lines = standing_on(session, find_machine(session, tag), date.fromisoformat(day))
        return [step.kind for step in lines if step.mod_id == 2]

    assert standing(TAG, "2025-04-30") == ["cut trace", "adjust", "drill or cut case"]
    assert (standing(TAG, DAY), standing(OTHER, DAY)) == (["drill or cut case"], ["cut trace", "adjust"])
    with bench.store.reading() as session:
        ways = [way_back(session, find_machine(session, tag)) for tag in (TAG, OTHER)]
    assert [[line.step.kind for line in way.for_good] for way in ways] == [["drill or cut case"], []]


def test_the_days_of_change_are_those_while_it_was_there(bench: Bench) -> None:
    move(bench)
    bench.undo(2, "2025-06-01")

    with bench.store.reading() as session:
        old, new = (days_of_change(session, find_machine(session, tag)) for tag in (TAG, OTHER))
    assert [date(2025, 2, 3), date(2025, 5, 1)] == old
    assert [date(2025, 5, 1), date(2025, 6, 1)] == new


def test_two_days_with_the_move_between_tell_of_the_board_and_not_of_each_position(bench: Bench) -> None:
    """It left one machine and came to the other, and its mod with it."""
    move(bench)
    ends = date(2025, 4, 1), date(2025, 6, 1)

    with bench.store.reading() as session:
        old, new = (two_days(session, find_machine(session, tag), *ends, PageNumbers()) for tag in (TAG, OTHER))
    for days, came, change in ((old, False, "went"), (new, True, "came")):
        assert [(one.board.name, one.at.tag, one.came, one.day) for one in days.boards] == [
            ("Main board", OTHER, came, date(2025, 5, 1))
        ]
        assert [(line.of, line.mod.number, line.change) for line in days.mods.rows] == [(TAG, 1, change)]
        assert days.seats.total == days.steps.total == 0


# ---- The way back ----


def test_the_way_back_of_the_new_machine_covers_it_and_that_of_the_old_no_longer_does(bench: Bench) -> None:
    """Steps are called by the machine that their mod is numbered in."""
    before = back(bench, TAG)
    move(bench)

    assert before[0].startswith("mod 1, step 2: take 330 Ω ±1 % resistor out of R2")
    assert back(bench, TAG) == []
    assert back(bench, OTHER) == [line.replace("mod 1,", f"mod 1 of {TAG},") for line in before]


def test_walking_it_there_restores_the_board(bench: Bench) -> None:
    """Undone in the new machine, by the mod's own address; the bag it lies in is found."""
    move(bench)
    for step in (2, 1):
        bench.undo(step, "2025-06-01")
    bench.move("undone", "2025-06-01")

    assert back(bench, OTHER) == []
    assert ("Main board", "R2", "360 Ω ±5 %") in sitting(bench, OTHER, "2025-06-01")
    assert in_force(bench, OTHER, "2025-06-01") == []
    assert in_force(bench, OTHER, "2025-05-31") == [1]
    assert bench.faults() == []


def test_a_mod_of_the_new_machine_lies_on_one_that_came(bench: Bench) -> None:
    """It comes off first, and the refusal says whose mod it is; acts of one day keep their order over both machines."""
    move(bench, day="2025-05-01")
    bench.do(PlanMod, machine=OTHER, title="On top", state="planned", day="2025-05-01", **SIGNED)
    place = {"board": "main-board-2", "designator": "R2"}
    for number, kind in enumerate(("take out", "fit"), 1):
        bench.do(AddStep, machine=OTHER, mod=1, kind=kind, **place)
        bench.do(CarryOutStep, machine=OTHER, mod=1, step=number, day="2025-05-01", value="300 Ω", **SIGNED)
    bench.do(MoveMod, machine=OTHER, mod=1, state="fitted", day="2025-05-01", **SIGNED)

    messages = bench.refuse(UndoStep, mod=1, step=2, day="2025-06-01", **SIGNED)
    assert ["mod 1, step 2", "mod 1, step 1", f"mod 1 of {TAG}, step 2", f"mod 1 of {TAG}, step 1"] == [
        line.partition(":")[0] for line in back(bench, OTHER)
    ]
    assert f"Mod 1 of {OTHER}, step 2 lies on this one" in messages[""]
    with bench.store.reading() as session:
        asked = way_back(session, find_machine(session, OTHER), [find_mod(session, find_machine(session, TAG), 1)])
    assert [line.because for line in asked.back][:2] == [
        "a step of its mod that has to come off was done before it",
        f"it lies on mod 1 of {TAG}, step 2 at R2",
    ]


# ---- There and back ----


def test_there_and_back_it_is_where_it_was_with_all_of_its_past(bench: Bench) -> None:
    """Under its old name, with three stays; each day shows it in one machine."""
    stock = sitting(bench, TAG, "2025-04-01")
    move(bench)
    move(bench, "main-board-2", TAG, "2025-07-01", machine=OTHER)

    with bench.store.reading() as session:
        board = find_board(session, find_machine(session, TAG), MAIN)
        stays = [(one.machine.tag, one.stay.since, one.stay.until) for one in stays_of(session, board)]
        moved = [
            *mods_that_came(session, find_machine(session, TAG)),
            *mods_that_left(session, find_machine(session, TAG)),
        ]
        left = boards_left(session, find_machine(session, OTHER))
        days = two_days(session, find_machine(session, TAG), date(2025, 4, 1), date(2025, 8, 1), PageNumbers())
    assert stays == [
        (TAG, None, date(2025, 5, 1)),
        (OTHER, date(2025, 5, 1), date(2025, 7, 1)),
        (TAG, date(2025, 7, 1), None),
    ]
    assert stock == sitting(bench, TAG, "2025-04-01") == sitting(bench, TAG, "2025-07-01")
    assert sitting(bench, TAG, "2025-06-01") == []
    assert in_force(bench, OTHER, "2025-07-01") == []
    assert back(bench, TAG)[0].startswith("mod 1, step 2: ")
    assert back(bench, OTHER) == []
    assert (moved, [(one.board.name, one.machine.tag) for one in left]) == ([], [("Main board", TAG)])
    assert days.nothing_changed
    assert bench.faults() == []


def test_it_may_go_on_the_day_it_came(bench: Bench) -> None:
    """A stay of no day at all: at the end of it the board is where it went."""
    move(bench)
    move(bench, "main-board-2", TAG, DAY, machine=OTHER)

    assert sitting(bench, OTHER, DAY) == [("Main board", "R2", "390 Ω")]
    assert len(sitting(bench, TAG, DAY)) == 4
    assert bench.faults() == []


# ---- What is refused ----


def test_it_goes_to_another_machine_that_is_there(bench: Bench) -> None:
    assert "It is in TM-03 already" in refused(bench, to="tm-03")["to"]
    assert "There is no machine “X-9”" in refused(bench, to="X-9")["to"]


def test_it_leaves_no_earlier_than_it_came_and_not_before_what_was_done_to_it(bench: Bench) -> None:
    """Nor on a day to come."""
    assert "Work of a mod on it is noted for 2025-02-03" in refused(bench, day="2025-02-02")["day"]
    assert "still to come" in refused(bench, day="2999-01-01")["day"]
    move(bench)
    early = bench.refuse(MoveBoard, machine=OTHER, board="main-board-2", to=TAG, day="2025-04-30", **SIGNED)
    assert "It came here on 2025-05-01" in early["day"]


@pytest.mark.parametrize("state", ["considered", "planned"])
def test_no_open_mod_may_have_steps_on_it(bench: Bench, state: str) -> None:
    """Not even one that was begun; dropped, it does not hold the board."""
    bench.plan("More", state)
    bench.step("take out", "R7", 2)

    assert f"Mod 2 is {state} and has steps on this board" in refused(bench)[""]
    bench.move("dropped", "2025-04-01", 2)
    move(bench)
    assert "is in TM-05 now. Write a new mod there" in bench.refuse(
        MoveMod, mod=2, state="considered", day="2025-06-01", **SIGNED
    )["state"]  # fmt: skip


def test_no_fitted_mod_may_lie_half_on_it(bench: Bench) -> None:
    """Undone it may; or the boards go together."""
    bench.do(EnterPart, board=SUPPLY, designator="C3", kind="capacitor", value="470 µF", origin="original")
    bench.plan("Both")
    bench.step("take out", "R7", 2)
    bench.do(AddStep, mod=2, kind="take out", board=SUPPLY, designator="C3")
    for number in (1, 2):
        bench.carry_out(number, "2025-03-01", 2)
    bench.move("fitted", "2025-03-01", 2)

    assert "Mod 2 has steps on this board and on others: undo it first" in refused(bench)[""]
    assert "Mod 2 has steps on this board and on others" in refused(bench, SUPPLY)[""]
    for number in (2, 1):
        bench.undo(number, "2025-03-09", 2)
    bench.move("undone", "2025-03-09", 2)
    move(bench)
    assert bench.faults() == []
    assert "Took a part out on a board that has left" in " ".join(
        step.words for mod in sheet(bench, TAG).undone for step in mod.steps
    )


def test_boards_that_hold_each_other_take_a_mod_of_both_along(bench: Bench) -> None:
    bench.do(EnterPart, board=SUPPLY, designator="C3", kind="capacitor", value="470 µF", origin="original")
    bench.do(ReviseBoard, board=SUPPLY, opened_version=1, name="Supply", kind="supply", parent=MAIN)
    bench.plan("Both")
    bench.step("take out", "R7", 2)
    bench.do(AddStep, mod=2, kind="take out", board=SUPPLY, designator="C3")
    for number in (1, 2):
        bench.carry_out(number, "2025-03-01", 2)
    bench.move("fitted", "2025-03-01", 2)
    move(bench)

    assert in_force(bench, OTHER, DAY) == [1, 2]
    assert bench.faults() == []


def test_a_mod_that_came_works_on_what_came_with_it_alone(bench: Bench) -> None:
    """Another step of it is at its own board; for the rest there is a mod of the new machine."""
    move(bench)
    step = {"mod": 1, "kind": "adjust", "designator": "R2"}

    bench.do(AddStep, board="main-board-2", **step)
    messages = bench.refuse(AddStep, board=MAIN, **step)

    assert f"Write a mod of {OTHER} for Main board." in messages["board"]
    assert bench.faults() == []


# ---- What the record says of it ----


def test_the_journal_of_both_machines_has_the_move(bench: Bench) -> None:
    """And the record of the new one rests on that entry too, but no third machine's does."""
    bench.do(EnterMachine, tag="TM-09", model="Merle 40")
    move(bench)
    bench.do(EnterMachine, tag="TM-10", model="Merle 40")
    words = f"Main board of {TAG} is in {OTHER} since {DAY}, signed {KEEPER}."

    with bench.store.reading() as session:
        machines = [find_machine(session, tag) for tag in (TAG, OTHER)]
        assert [latest(session, machine, 1)[0].words for machine in machines] == [words, words]
        assert [told(session, 1, machine).rows[0].words for machine in machines] == [words, words]
        heads = {tag: whole_machine(session, find_machine(session, tag)).head for tag in (TAG, OTHER, "TM-09")}
        entry = session.exec(select(JournalEntry).where(JournalEntry.act == "move board")).one()
    assert heads[TAG] == heads[OTHER] == (entry.seq, entry.hash)
    assert heads["TM-09"] == (entry.seq - 1, heads["TM-09"][1] if heads["TM-09"] else "")


def test_both_records_stand_by_themselves_and_name_nothing_that_lies_outside(bench: Bench) -> None:
    """What belongs to the other machine's record is null."""
    move(bench)
    old, new = record(bench, TAG), record(bench, OTHER)

    assert [(step["position"], step["part"]) for step in old["mods"][0]["steps"]] == [(None, None)] * 2
    assert [stay["machine"] for stay in new["board_stays"]] == [TAG, OTHER]
    assert (old["board_stays"], old["placements"], old["parts"]) == ([], [], [])
    assert {place["fitted_by_step"] for place in new["placements"]} == {None}
    known = {one["uuid"] for name in ("boards", "positions", "parts") for one in new[name]}
    assert {place[name] for place in new["placements"] for name in ("part", "position")} <= known
    with bench.store.reading() as session:
        assert new == record_of(whole_machine(session, find_machine(session, OTHER)))


def test_both_sheets_tell_of_the_mod_once(bench: Bench) -> None:
    move(bench)
    old, new = sheet(bench, TAG), sheet(bench, OTHER)
    called = "Mod 1 of TM-03, Faster clock (fitted), is on Main board, which"

    assert (old.in_force, old.undone, old.back, old.bags) == ((), (), (), ())
    assert old.went_along == (f"{called} went to TM-05 on 2025-05-01.",)
    assert new.went_along == (f"{called} came from TM-03 on 2025-05-01.",)
    assert [line.step for line in new.back] == ["Mod 1 of TM-03, step 2", "Mod 1 of TM-03, step 1"]
    assert [bag.part for bag in new.bags] == ["360 Ω ±5 % resistor"]


def test_a_sum_still_reads_the_parts_of_a_board_that_left(bench: Bench) -> None:
    """It runs again as they change, and can be revised."""
    bench.do(AttachCalculation, **lamp())
    move(bench)
    bench.undo(2, "2025-06-01")
    bench.undo(1, "2025-06-01")

    with bench.store.reading() as session:
        runs = whole_machine(session, find_machine(session, TAG)).runs
    assert [run.cases[Case.FITTED]["inputs"]["R"]["origin"] for run in runs] == [
        "fitted by step 2",
        "R2",
        "part at R2",
    ]
    at_it = {"name": "R", "source": "part", "board": "main-board-2", "designator": "R2"}
    given = lamp(inputs=[*lamp()["inputs"][:2], at_it], title="Indicator again")
    bench.do(ReviseCalculation, calculation=1, opened_version=1, **given)
    assert record(bench, TAG)["calculations"][0]["inputs"][2]["position"] is None


def test_a_trial_there_notes_the_mod_that_came(bench: Bench) -> None:
    """Beside the machine's own, which alone are ticked by hand."""
    move(bench)
    bench.do(WriteProcedure, title="Timing")
    for tag in (TAG, OTHER):
        bench.do(RecordTrial, machine=tag, procedure="timing", day="2025-06-01", readings="5", **SIGNED)
    bench.do(NoteModsInForce, machine=OTHER, trial=1, mods=[])

    old, new = bench.rows(Trial)
    with bench.store.reading() as session:
        own, came = mods_noted(session, [old.key, new.key]), mods_come(session, [old.key, new.key])
    assert own == {old.key: [], new.key: []}
    assert {key: [(tag, mod.number) for tag, mod in of] for key, of in came.items()} == {
        old.key: [],
        new.key: [(TAG, 1)],
    }
    assert record(bench, OTHER)["trials"][0]["mods"] == []


def test_what_lies_in_a_bag_from_it_is_the_new_machines(bench: Bench) -> None:
    """It waits for the board."""
    move(bench)

    with bench.store.reading() as session:
        whole = whole_machine(session, find_machine(session, OTHER))
    assert [describe(whole.part[bag.part_id]) for bag in whole.storages] == ["360 Ω ±5 % resistor"]


# ---- The checks ----


@pytest.mark.parametrize(
    ("table", "changed", "named"),
    [
        ("board_stay", {"until": date(2025, 5, 2)}, "do not follow each other"),
        ("board", {"machine_id": 1}, "in another machine than its last stay says"),
        ("board_stay", {"machine_id": 2}, "Step 1 is at a position of another machine."),
    ],
)
def test_a_broken_stay_is_named(bench: Bench, table: str, changed: dict[str, Any], named: str) -> None:
    move(bench)
    rows = SQLModel.metadata.tables[table]
    keys = {"board_stay": bench.rows(BoardStay)[0].key, "board": bench.rows(Board)[0].key}

    behind(bench.store, update(rows).where(rows.c.id == keys[table]).values(**changed))

    assert any(named in fault for fault in bench.faults())


def test_a_board_that_another_machines_holds_is_named(bench: Bench) -> None:
    boards, rows = bench.rows(Board), SQLModel.metadata.tables["board"]

    behind(bench.store, update(rows).where(rows.c.id == boards[-1].key).values(parent_id=boards[0].key))

    assert f"Board {boards[-1].key} is held by a board of another machine." in bench.faults()
    assert len(bench.rows(Machine)) == 2


def test_a_part_was_in_the_machine_that_its_board_was_in_then(bench: Bench) -> None:
    """What came out of R2 came out of TM-03, wherever the board is now; and it changed no machine by lying in a bag."""
    move(bench)

    with bench.store.reading() as session:
        original = find_part(session, 1)
        stays = parts.stays_of(session, original)
        (bagged,) = bags.kept(session, bags.Which.ASIDE, 1).rows

    assert [(stay.seat.machine.tag, stay.seat.position.designator) for stay in stays if stay.seat] == [
        (TAG, "R2"),
        (TAG, "R2"),
    ]
    assert bagged.seat is not None
    assert bagged.seat.machine.tag == TAG


def test_a_part_that_moved_within_one_machine_moved_to_no_other(bench: Bench) -> None:
    """From the main board to the supply, which went to another machine afterwards."""
    bench.do(AddPosition, board=SUPPLY, designator="R50", kind="resistor", mounting="soldered")
    bench.plan("Swap")
    bench.do(AddStep, mod=2, kind="fit", board=SUPPLY, designator="R50")
    bench.carry_out(1, "2025-02-10", 2, bagged_part=1)
    bench.move("fitted", "2025-02-10", 2)
    move(bench, SUPPLY)

    with bench.store.reading() as session:
        stays = parts.stays_of(session, find_part(session, 1))
        (gone,) = bags.stays_in_bag(session, 1, 1).rows

    assert parts.machines_changed(stays) == []
    assert stays[0].seat is not None
    assert stays[0].seat.machine.tag == OTHER
    assert not gone.changed_machine


def test_a_mod_of_the_new_machine_was_not_done_before_the_board_came(bench: Bench) -> None:
    move(bench)
    with bench.store.reading() as session:
        here = next(board.slug for board in all_boards(session, find_machine(session, OTHER)) if board.slug != MAIN)
    planned = {"machine": OTHER, "mod": 1}
    bench.do(PlanMod, machine=OTHER, title="Ours", state="planned", day="2025-02-01", **SIGNED)
    bench.do(AddStep, **planned, kind="cut trace", board=here, designator="U7", pin="3", trace_reason="None milder")

    refused = bench.refuse(CarryOutStep, **planned, step=1, day="2025-02-10", **SIGNED)

    assert refused == {"day": f"Main board came to this machine on {DAY}; this cannot have been done before."}
    assert bench.do(CarryOutStep, **planned, step=1, day=DAY, **SIGNED).seq


def test_the_days_of_change_are_also_those_of_work_that_moved_no_part(bench: Bench) -> None:
    bench.plan("Cut")
    bench.step("cut trace", "U7", 2, pin="3")
    bench.carry_out(1, "2025-03-07", 2)

    with bench.store.reading() as session:
        days = days_of_change(session, find_machine(session, TAG))

    assert date(2025, 3, 7) in days
