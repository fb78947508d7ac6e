"""What lies in bags, what is lent or gone of it, and what became of all that lay in one, on each kind of database."""

from datetime import date

import pytest

from server.records.commands.loans import FindAgain, LendPart, TakeBack
from server.records.commands.machines import AddBoard, AddPosition, EnterMachine
from server.records.commands.mods import PlanMod
from server.records.commands.parts import BagPart, KeepAside
from server.records.commands.steps import AddStep, CarryOutStep
from server.records.placing import BAG_MOST
from server.records.questions.addresses import find_part
from server.records.questions.bags import (
    BagStay,
    Which,
    asked_bag,
    bag_known,
    gone,
    in_bag,
    kept,
    overdue,
    stays_in_bag,
)
from server.records.questions.parts import loans_of, machines_changed, stays_of
from server.records.tables import Storage
from tests.records.conftest import KEEPER, MAIN, Bench

SPARE = {"kind": "chip", "type": "4116", "origin": "period", "day": "2025-01-10"}
TO = {"to_whom": "Ida Quern", "day": "2025-01-20"}


@pytest.fixture
def aside(bench: Bench) -> Bench:
    """Four spares: one in its bag, one lent and overdue, one lent without a day, one lost; and R2's part in bag 5."""
    for name in ("kept", "overdue", "lent", "lost"):
        bench.do(BagPart, **SPARE | {"type": name})
    bench.do(LendPart, part=5, due="2025-02-01", **TO)
    bench.do(LendPart, part=6, **TO)
    bench.do(KeepAside, part=7, becomes="lost", day="2025-01-21")
    bench.replace_r2()
    return bench


@pytest.mark.parametrize(
    ("which", "found"),
    [
        (Which.ASIDE, [1, 2, 3, 5]),
        (Which.IN_BAGS, [1, 5]),
        (Which.LENT, [2, 3]),
    ],
)
def test_parts_kept_aside_are_narrowed(aside: Bench, which: Which, found: list[int]) -> None:
    with aside.store.reading() as session:
        page = kept(session, which, 1)

    assert [line.storage.bag for line in page.rows] == found
    assert page.total == len(found)


def test_each_says_where_it_came_from_and_whether_it_is_lent(aside: Bench) -> None:
    with aside.store.reading() as session:
        rows = kept(session, Which.ASIDE, 1).rows

    told = [(line.seat and line.seat.position.designator, bool(line.loan)) for line in rows]
    assert told == [(None, False), (None, True), (None, True), ("R2", False)]


@pytest.mark.parametrize(("today", "found"), [("2025-02-01", []), ("2025-02-02", [2])])
def test_a_loan_is_overdue_the_day_after_it_was_due(aside: Bench, today: str, found: list[int]) -> None:
    with aside.store.reading() as session:
        late = overdue(session, date.fromisoformat(today), 10)

    assert [line.storage.bag for line in late.rows] == found


def test_what_is_gone_is_told_with_its_bag_and_where_it_came_from(aside: Bench) -> None:
    """The last first: lost out of a bag, and discarded straight from a position by a step, which is as gone."""
    aside.plan()
    aside.step("take out", "R7", mod=2)
    aside.carry_out(1, "2025-03-01", mod=2, becomes="discarded")

    with aside.store.reading() as session:
        page = gone(session, 1)

    told = [
        (line.part.gone, line.storage and line.storage.bag, line.seat and line.seat.position.designator)
        for line in page.rows
    ]
    assert told == [("discarded", None, "R7"), ("lost", 4, None)]
    assert page.total == 2


def test_what_went_out_of_its_bag_long_before_it_was_discarded_is_not_gone_from_the_bag(bench: Bench) -> None:
    """It was fitted, taken out again and thrown away: it is gone from its position."""
    bench.do(BagPart, **SPARE | {"kind": "resistor"})
    bench.plan()
    bench.step("fit", "R9")
    bench.carry_out(1, bagged_part=4, day="2025-02-03")
    bench.undo(1, day="2025-03-01", becomes="discarded")

    with bench.store.reading() as session:
        lines = gone(session, 1).rows
    assert [(line.storage, line.seat and line.seat.position.designator) for line in lines] == [(None, "R9")]


def test_a_bag_holds_what_lies_in_it_now(aside: Bench) -> None:
    aside.do(BagPart, bag=5, **SPARE | {"type": "second"})

    with aside.store.reading() as session:
        held = {bag: [line.part.type or line.part.value for line in in_bag(session, bag, 1).rows] for bag in (4, 5, 6)}
        known = [bag_known(session, bag) for bag in (4, 5, 6)]

    assert held == {4: [], 5: ["360 Ω ±5 %", "second"], 6: []}
    assert known == [True, True, False]


def stays(bench: Bench, bag: int) -> list[BagStay]:
    with bench.store.reading() as session:
        return list(stays_in_bag(session, bag, 1).rows)


def test_a_bag_s_history_says_what_became_of_each_part(bench: Bench) -> None:
    """Moved to another bag and back, lent and returned, lost; all on one day and told apart all the same."""
    part = bench.do(BagPart, bag=7, **SPARE).key
    bench.do(LendPart, part=part, **TO)
    bench.do(TakeBack, part=part, day="2025-01-20", condition="worn")
    for bag in (8, 7):
        bench.do(KeepAside, part=part, bag=bag, day="2025-01-20")
    bench.do(KeepAside, part=part, becomes="lost", day="2025-01-20")

    told = [
        (stay.went and (stay.went.bag.bag if stay.went.bag else stay.went.gone), len(stay.loans))
        for stay in stays(bench, 7)
    ]
    assert told == [("lost", 0), (8, 0), (7, 1)]


def test_a_part_fitted_in_another_machine_is_told_with_both(bench: Bench) -> None:
    bench.replace_r2()
    bench.do(EnterMachine, tag="TM-04", model="Merle 80")
    bench.do(AddBoard, machine="TM-04", name="Main board", kind="main board")
    bench.do(AddPosition, machine="TM-04", board=MAIN, designator="R1", kind="resistor", mounting="soldered")
    signed = {"machine": "TM-04", "day": "2025-03-01", "signer": KEEPER}
    bench.do(PlanMod, title="Another R1", state="planned", **signed)
    bench.do(AddStep, machine="TM-04", mod=1, kind="fit", board=MAIN, designator="R1")
    bench.do(CarryOutStep, mod=1, step=1, bagged_part=1, **signed)

    stay = stays(bench, 1)[0]
    with bench.store.reading() as session:
        changed = machines_changed(stays_of(session, find_part(session, 1)))

    assert stay.changed_machine
    assert stay.seat
    assert stay.went
    assert stay.went.seat
    assert (stay.seat.machine.tag, stay.went.seat.machine.tag) == ("TM-03", "TM-04")
    assert [(one.left.machine.tag, one.came.machine.tag, one.day) for one in changed] == [
        ("TM-03", "TM-04", date(2025, 3, 1))
    ]


def test_a_part_put_back_where_it_was_changed_no_machine(bench: Bench) -> None:
    bench.replace_r2()
    bench.undo(2)
    bench.undo(1)

    stay = stays(bench, 1)[0]
    with bench.store.reading() as session:
        assert machines_changed(stays_of(session, find_part(session, 1))) == []
    assert stay.went
    assert stay.went.seat
    assert not stay.changed_machine


def test_loans_of_a_part_come_the_latest_first(aside: Bench) -> None:
    aside.do(TakeBack, part=5, day="2025-02-03")
    aside.do(LendPart, part=5, to_whom="Bo", day="2025-02-03")

    with aside.store.reading() as session:
        assert [loan.to_whom for loan in loans_of(session, find_part(session, 5))] == ["Bo", "Ida Quern"]


@pytest.mark.parametrize(
    ("text", "bag"),
    [
        *[("7", 7), (" 12 ", 12), ("007", 7), (str(BAG_MOST), BAG_MOST), ("0", None), ("1000000", None), ("１", None)],
        *[("bag 3", 3), ("Bag no 4", 4), ("no. 4", 4), ("No.4", 4), ("bag number 12", 12), ("#5", 5), ("BAG 6", 6)],
        *[("bag", None), ("no", None), ("3 bags", None), ("bag 3 4", None), ("bag -3", None), ("", None)],
    ],
)
def test_a_bag_s_number_is_read_as_it_is_written_on_it(text: str, bag: int | None) -> None:
    assert asked_bag(text) == bag


# ---- Where a bag lies ----


def places(bench: Bench, bag: int) -> list[tuple[int, str]]:
    """The parts that lie in a bag now, each with the place that is noted of it."""
    return [(one.part_id, one.place) for one in bench.rows(Storage) if one.bag == bag and one.until is None]


def test_what_goes_into_a_bag_in_use_lies_where_that_bag_lies(bench: Bench) -> None:
    """By a spare, by a move and by a step alike, and however the place is written."""
    bench.do(BagPart, bag=7, place="Drawer 4", **SPARE)
    bench.do(BagPart, bag="bag 7", **SPARE)
    moved = bench.do(BagPart, bag=8, place="attic", **SPARE).key
    bench.do(KeepAside, part=moved, bag="no. 7", place="drawer 4", day="2025-01-11")
    bench.replace_r2(bag=7)

    assert {place for _, place in places(bench, 7)} == {"Drawer 4"}
    assert len(places(bench, 7)) == 4
    assert bench.faults() == []


def test_a_bag_is_not_in_two_places(bench: Bench) -> None:
    """What would put it there is refused beside the field, and no sentence of the journal says where it lies."""
    bench.do(BagPart, bag=7, place="Drawer 4", **SPARE)
    other = bench.do(BagPart, bag=8, **SPARE).key
    bench.plan()
    bench.step("take out", "R2")
    step = {"mod": 1, "step": 1, "day": "2025-02-03", "signer": KEEPER}

    refusals = [
        bench.refuse(BagPart, bag=7, place="attic", **SPARE),
        bench.refuse(KeepAside, part=other, bag=7, place="attic", day="2025-01-11"),
        bench.refuse(CarryOutStep, bag=7, place="attic", **step),
    ]
    bench.do(KeepAside, part=other, bag=7, day="2025-01-11")

    said = "Bag 7 lies in Drawer 4, and a bag is in one place only. Leave the place empty, or take another bag."
    assert [{"place": said}] * 3 == refusals
    assert "Drawer" not in bench.last_entry().words


def test_a_bag_is_moved_with_all_that_is_in_it(bench: Bench) -> None:
    """By moving one of its parts to another place; the part's own stay in the first place is remembered."""
    first = bench.do(BagPart, bag=7, place="Drawer 4", **SPARE).key
    second = bench.do(BagPart, bag=7, **SPARE).key

    bench.do(KeepAside, part=first, place="attic", day="2025-02-01")

    assert places(bench, 7) == [(second, "attic"), (first, "attic")]
    assert [one.place for one in bench.rows(Storage) if one.until] == ["Drawer 4"]
    assert bench.faults() == []


def test_a_bag_without_a_place_gets_the_first_that_is_noted(bench: Bench) -> None:
    first, second = (bench.do(BagPart, bag=7, **SPARE, **more).key for more in ({}, {"place": "attic"}))

    assert places(bench, 7) == [(first, "attic"), (second, "attic")]


def test_a_spare_has_to_be_called_something(bench: Bench) -> None:
    """By a type, a marking or a value: a bag of nothing in particular cannot be found again."""
    bare = {"kind": "chip", "origin": "period", "day": "2025-01-10", "condition": "worn"}

    assert bench.refuse(BagPart, **bare) == {"type": "Say what it is: its type, its marking or its value."}
    for name, text in (("type", "4116"), ("marking", "MCM4116"), ("value", "8 MHz")):
        assert bench.do(BagPart, **bare, **{name: text}).seq


@pytest.mark.parametrize("how", ["taken back", "moved within"])
def test_a_part_is_in_its_bag_since_it_went_in(bench: Bench, how: str) -> None:
    """However its condition or place is noted anew; what left the bag and came again is there since it came."""
    part = bench.do(BagPart, bag=7, **SPARE).key
    if how == "taken back":
        bench.do(LendPart, part=part, **TO)
        bench.do(TakeBack, part=part, day="2025-02-01", condition="worn")
    else:
        bench.do(KeepAside, part=part, day="2025-02-01", place="attic", condition="worn")

    def since() -> list[date]:
        with bench.store.reading() as session:
            return [line.since for line in [*in_bag(session, 7, 1).rows, *kept(session, Which.ASIDE, 1).rows]]

    assert since() == [date(2025, 1, 10)] * 2
    for bag in (8, 7):
        bench.do(KeepAside, part=part, bag=bag, day="2025-03-01")
    assert since() == [date(2025, 3, 1)] * 2


def test_a_part_that_was_found_again_was_gone_meanwhile(bench: Bench) -> None:
    """The history of its first bag tells of it, though the part is in none of the ways gone now."""
    part = bench.do(BagPart, bag=7, **SPARE).key
    bench.do(KeepAside, part=part, becomes="lost", day="2025-01-21")
    bench.do(FindAgain, part=part, day="2025-02-01", bag=9)

    went = stays(bench, 7)[0].went
    with bench.store.reading() as session:
        assert gone(session, 1).rows == []
    assert went
    assert went.found
    assert (went.found.bag, went.gone) == (9, "")
