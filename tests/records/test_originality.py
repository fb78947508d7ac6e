"""What of a machine is original: counted position by position, and where the originals are that sit there no longer."""

from datetime import date
from uuid import uuid4

import pytest
from sqlalchemy import insert

from server.records.clock import now
from server.records.commands.loans import LendPart
from server.records.commands.machines import AddBoard, AddPosition, EnterMachine
from server.records.commands.mods import PlanMod
from server.records.commands.parts import BagPart, EnterPart, ImportParts
from server.records.commands.steps import AddStep, CarryOutStep
from server.records.questions.addresses import find_machine
from server.records.questions.originality import BoardSpots, Holds, NotOriginal, Survey, not_original, survey
from server.records.questions.paging import Paged
from server.records.tables import BoardStay
from tests.records.conftest import KEEPER, MAIN, TAG, Bench, behind

DAY = "2025-02-03"


def surveyed(bench: Bench, tag: str = TAG) -> Survey:
    with bench.store.reading() as session:
        return survey(session, find_machine(session, tag))


def board(bench: Bench, slug: str = MAIN) -> BoardSpots:
    return next(one for one in surveyed(bench).boards if one.board.slug == slug)


def held(bench: Bench) -> dict[str, str]:
    return {spot.designator: spot.holds.value for spot in board(bench).spots}


def off(bench: Bench, number: int = 1, most: int = 100) -> Paged[NotOriginal]:
    with bench.store.reading() as session:
        return not_original(session, survey(session, find_machine(session, TAG)), number, most)


def at(bench: Bench, designator: str) -> NotOriginal:
    return next(line for line in off(bench).rows if line.position.designator == designator)


# ---- What each position holds ----


def test_every_position_holds_one_of_six_things(bench: Bench) -> None:
    """By the origin of the part there; nothing there is empty."""
    for place, origin in (("U10", "period"), ("U11", "later"), ("U12", "new"), ("U13", "unknown")):
        bench.do(EnterPart, board=MAIN, designator=place, kind="chip", type="74LS00", origin=origin)

    assert held(bench) == {
        "R2": "original",
        "R7": "original",
        "R9": "empty",
        "U7": "original",
        "U10": "period",
        "U11": "later",
        "U12": "new",
        "U13": "unknown",
    }
    assert surveyed(bench).counts == {
        Holds.ORIGINAL: 3, Holds.PERIOD: 1, Holds.LATER: 1, Holds.NEW: 1, Holds.EMPTY: 1, Holds.UNKNOWN: 1,
    }  # fmt: skip
    assert surveyed(bench).total == 8


def test_a_part_put_back_is_the_original_again(bench: Bench) -> None:
    """Whatever sat in its place meanwhile."""
    bench.replace_r2()
    between = held(bench)["R2"]
    bench.undo(2)
    bench.undo(1)

    assert between != "original"
    assert held(bench)["R2"] == "original"


def test_originals_that_change_places_are_no_originals_there(bench: Bench) -> None:
    """R2 sits at R7: of its time, and told with the position at which it began."""
    bench.plan()
    for kind, place in (("take out", "R2"), ("take out", "R7"), ("fit", "R7")):
        bench.step(kind, place)
    bench.carry_out(1)
    bench.carry_out(2)
    bench.do(CarryOutStep, mod=1, step=3, day=DAY, signer=KEEPER, bagged_part=1)

    line = at(bench, "R7")

    assert held(bench)["R7"] == "period"
    assert line.moved_from
    assert line.moved_from.position.designator == "R2"
    assert line.original
    assert (line.original.key, line.whereabouts.kind) == (2, "in a bag")
    seat = at(bench, "R2").whereabouts.seat
    assert seat
    assert seat.position.designator == "R7"


def test_an_original_that_was_found_in_a_bag_is_original_where_it_is_first_fitted(bench: Bench) -> None:
    """The last keeper had laid it aside."""
    part = bench.do(BagPart, day="2025-01-10", kind="resistor", origin="original", value="10 kΩ").key
    bench.plan()
    bench.step("fit", "R9")
    bench.do(CarryOutStep, mod=1, step=1, day=DAY, signer=KEEPER, bagged_part=part)

    assert held(bench)["R9"] == "original"


def test_a_machine_without_boards_has_nothing_to_count(bench: Bench) -> None:
    bench.do(EnterMachine, tag="TM-04", model="Merle 80")

    assert (surveyed(bench, "TM-04").total, surveyed(bench, "TM-04").boards) == (0, [])


def test_a_board_from_another_machine_says_which(bench: Bench) -> None:
    """Its originals are those of the board."""
    bench.do(EnterMachine, tag="TM-09", model="Merle 90")
    for machine, since, until in ((2, None, date(2024, 1, 1)), (1, date(2024, 1, 1), None)):
        stay = {"uuid": uuid4(), "version": 1, "created_at": now(), "created_by": "", "signer": "", "note": ""}
        behind(bench.store, insert(BoardStay).values(board_id=1, machine_id=machine, since=since, until=until, **stay))

    assert [one.came_from for one in surveyed(bench).boards] == ["TM-09", ""]


# ---- Where the originals are ----


def test_what_took_the_place_is_told_with_its_day_and_its_mod(bench: Bench) -> None:
    """And the bag in which the original lies."""
    bench.replace_r2()

    line = at(bench, "R2")

    assert line.part
    assert (line.part.value, line.since, line.mod and line.mod[1:]) == (
        "330 Ω ±1 %",
        date(2025, 2, 3),
        (1, "Faster clock"),
    )
    assert line.original
    assert line.original.value == "360 Ω ±5 %"
    assert (line.whereabouts.kind, line.whereabouts.bag, line.whereabouts.since) == ("in a bag", 1, date(2025, 2, 3))


def test_an_emptied_position_says_since_when(bench: Bench) -> None:
    """By the mod that took its part out; one that never held any says so."""
    bench.plan()
    bench.step("take out", "R2")
    bench.carry_out(1)

    emptied, blank = at(bench, "R2"), at(bench, "R9")

    assert (emptied.part, emptied.since, emptied.mod and emptied.mod.number, emptied.ever) == (
        None, date(2025, 2, 3), 1, True,
    )  # fmt: skip
    assert (blank.part, blank.since, blank.mod, blank.ever, blank.original) == (None, None, None, False, None)


def test_a_lent_original_is_told_without_to_whom(bench: Bench) -> None:
    """Its bag waits for it."""
    bench.replace_r2()
    bench.do(LendPart, part=1, to_whom="Ida Quern", day="2025-04-01")

    line = at(bench, "R2")

    assert (line.whereabouts.kind, line.whereabouts.bag, line.whereabouts.since) == ("lent", 1, date(2025, 4, 1))
    assert "Quern" not in repr(line.whereabouts)


@pytest.mark.parametrize("how", ["discarded", "lost", "handed over"])
def test_an_original_that_is_gone_says_how_and_when(bench: Bench, how: str) -> None:
    bench.replace_r2(becomes=how)

    where = at(bench, "R2").whereabouts

    assert (where.kind, where.gone, where.since) == ("gone", how, date(2025, 2, 3))


def test_an_original_in_another_machine_says_where(bench: Bench) -> None:
    """Moved there by a mod of that machine."""
    bench.replace_r2()
    bench.do(EnterMachine, tag="TM-04", model="Merle 80")
    bench.do(AddBoard, machine="TM-04", name="Main board", kind="main board")
    bench.do(AddPosition, machine="TM-04", board=MAIN, designator="R1", mounting="soldered")
    other = {"machine": "TM-04", "mod": 1}
    bench.do(PlanMod, machine="TM-04", title="A resistor", state="planned", day=DAY, signer=KEEPER)
    bench.do(AddStep, **other, kind="fit", board=MAIN, designator="R1")
    bench.do(CarryOutStep, **other, step=1, day="2025-03-01", signer=KEEPER, bagged_part=1)

    where = at(bench, "R2").whereabouts

    assert where.seat
    assert (where.kind, where.seat.machine.tag, where.seat.position.designator) == ("at a position", "TM-04", "R1")
    assert surveyed(bench, "TM-04").counts == {Holds.PERIOD: 1}


def test_nothing_is_known_of_an_original_that_was_never_recorded(bench: Bench) -> None:
    bench.do(EnterPart, board=MAIN, designator="U10", kind="chip", type="74LS00", origin="later")

    line = at(bench, "U10")

    assert (line.original, line.whereabouts.kind, line.since) == (None, "not known", None)


def test_the_list_is_paged_in_the_order_of_the_boards(bench: Bench) -> None:
    """And a page beyond the last is the last."""
    rows = [{"designator": f"Q{number}", "kind": "transistor", "type": "BC", "origin": "new"} for number in range(1, 6)]
    bench.do(ImportParts, board="supply", rows=rows)

    pages = [off(bench, number, 2) for number in (1, 3, 9)]

    assert [[line.position.designator for line in page.rows] for page in pages] == [
        ["R9", "Q1"],
        ["Q4", "Q5"],
        ["Q4", "Q5"],
    ]
    assert [(page.number, page.last, page.total) for page in pages] == [(1, 3, 6), (3, 3, 6), (3, 3, 6)]
