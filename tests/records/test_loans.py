"""Parts that are lent: the bag waits for them, nothing else can be done with them, and no sentence says to whom."""

from datetime import date
from typing import Any

import pytest
from sqlmodel import col, select

from server.records.commands.loans import FindAgain, LendPart, TakeBack
from server.records.commands.parts import BagPart, KeepAside
from server.records.commands.steps import CarryOutStep
from server.records.placing import where_is
from server.records.tables import JournalEntry, Loan, Part, Placement, Storage
from tests.records.conftest import KEEPER, Bench

CHIP = {"kind": "chip", "type": "74LS14", "origin": "period"}
LENT = {"to_whom": "Ida Quern", "day": "2025-01-20", "signer": KEEPER}


def spare(bench: Bench, **more: Any) -> int:
    """A part that lies in bag 1 since 10 January; its key."""
    return bench.do(BagPart, day="2025-01-10", **CHIP, **more).key


@pytest.fixture
def lent(bench: Bench) -> int:
    """A part that is lent since 20 January."""
    part = spare(bench, place="drawer", condition="pins straight")
    bench.do(LendPart, part=part, due="2025-02-20", note="For a test.", **LENT)
    return part


def loans(bench: Bench) -> list[tuple[str, str | None]]:
    return [(str(loan.since), str(loan.until) if loan.until else None) for loan in bench.rows(Loan)]


def test_a_lent_part_is_its_bag_s_still(bench: Bench, lent: int) -> None:
    loan = bench.rows(Loan)[0]
    with bench.store.reading() as session:
        where = where_is(session, session.get_one(Part, lent))

    assert (loan.to_whom, loan.due, loan.signer, loan.note) == (
        "Ida Quern", date(2025, 2, 20), KEEPER, "For a test."
    )  # fmt: skip
    assert where == "lent out of bag 1 since 2025-01-20"
    assert bench.rows(Storage)[0].until is None
    assert bench.faults() == []


def test_no_sentence_says_to_whom(bench: Bench, lent: int) -> None:
    """Rule 8: the journal goes along with a machine."""
    bench.do(TakeBack, part=lent, day="2025-02-01", condition="one pin bent")

    with bench.store.reading() as session:
        said = session.exec(select(JournalEntry.words).order_by(col(JournalEntry.seq).desc()).limit(2)).all()
    assert said == [
        "Took 74LS14 chip back into bag 1 on 2025-02-01, one pin bent.",
        "Lent 74LS14 chip out of bag 1 on 2025-01-20, due back on 2025-02-20.",
    ]


@pytest.mark.parametrize("becomes", ["bag", "discarded"])
def test_a_lent_part_is_neither_moved_nor_discarded(bench: Bench, lent: int, becomes: str) -> None:
    refusal = bench.refuse(KeepAside, part=lent, becomes=becomes, bag=9, day="2025-02-01")

    assert refusal == {
        "": "The 74LS14 chip is lent since 2025-01-20, and its bag waits for it. Take it back first."
    }  # fmt: skip


def test_a_lent_part_is_not_fitted(bench: Bench) -> None:
    lent = bench.do(BagPart, day="2025-01-10", kind="resistor", value="10 kΩ", origin="period").key
    bench.do(LendPart, part=lent, **LENT)
    bench.plan()
    bench.step("fit", "R9")
    fit = {"mod": 1, "step": 1, "bagged_part": lent, "signer": KEEPER}

    assert "is lent since 2025-01-20" in bench.refuse(CarryOutStep, day="2025-02-02", **fit)[""]
    bench.do(TakeBack, part=lent, day="2025-02-02")
    assert "was lent until 2025-02-02" in bench.refuse(CarryOutStep, day="2025-02-01", **fit)["day"]
    assert bench.do(CarryOutStep, day="2025-02-02", **fit).seq
    assert bench.faults() == []


def test_a_lent_part_that_came_out_of_a_machine_is_not_put_back(bench: Bench) -> None:
    """The way back waits until it is there again."""
    bench.replace_r2()
    bench.undo(2, day="2025-03-01")
    bench.do(LendPart, part=1, to_whom="Ida Quern", day="2025-03-01")

    with pytest.raises(Exception, match="is lent since 2025-03-01, and its bag waits for it"):
        bench.undo(1, day="2025-03-02")
    bench.do(TakeBack, part=1, day="2025-03-03")
    bench.undo(1, day="2025-03-03")
    assert [stay.position_id for stay in bench.rows(Placement) if stay.removed_on is None and stay.part_id == 1] == [1]
    assert bench.faults() == []


@pytest.mark.parametrize("becomes", ["lost", "handed over"])
def test_a_lent_part_can_be_lost_or_handed_over_which_ends_the_loan(bench: Bench, lent: int, becomes: str) -> None:
    early = bench.refuse(KeepAside, part=lent, becomes=becomes, day="2025-01-19")
    bench.do(KeepAside, part=lent, becomes=becomes, day="2025-02-03")

    assert early == {"day": "It was lent on 2025-01-20; that is later."}
    assert loans(bench) == [("2025-01-20", "2025-02-03")]
    assert bench.row(Part, lent).gone == becomes
    assert bench.faults() == []


def test_a_part_is_lent_once_at_a_time(bench: Bench, lent: int) -> None:
    refusal = bench.refuse(LendPart, part=lent, to_whom="Bo", day="2025-02-01")
    bench.do(TakeBack, part=lent, day="2025-02-01")
    early = bench.refuse(LendPart, part=lent, to_whom="Bo", day="2025-01-31")
    bench.do(LendPart, part=lent, to_whom="Bo", day="2025-02-01")

    assert "is lent since 2025-01-20" in refusal[""]
    assert early == {"day": "The 74LS14 chip was lent until 2025-02-01; that is later."}
    assert loans(bench) == [("2025-01-20", "2025-02-01"), ("2025-02-01", None)]
    assert bench.faults() == []


def test_what_was_lent_until_a_day_was_not_moved_before_it(bench: Bench, lent: int) -> None:
    bench.do(TakeBack, part=lent, day="2025-02-10")

    assert list(bench.refuse(KeepAside, part=lent, bag=9, day="2025-02-09")) == ["day"]
    assert list(bench.refuse(KeepAside, part=lent, becomes="lost", day="2025-02-09")) == ["day"]
    assert bench.do(KeepAside, part=lent, bag=9, day="2025-02-10").seq
    assert bench.faults() == []


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"day": "2025-01-09"}, "day"),
        ({"day": "3025-01-09"}, "day"),
        ({"due": "2025-01-19"}, "due"),
        ({"due": "2025-02-30"}, "due"),
        ({"due": "soon"}, "due"),
        ({"to_whom": " "}, "to_whom"),
    ],
)
def test_a_loan_that_will_not_do_is_refused_beside_its_field(bench: Bench, typed: dict[str, str], field: str) -> None:
    part = spare(bench)

    assert list(bench.refuse(LendPart, part=part, **{**LENT, **typed})) == [field]


def test_a_loan_may_be_due_on_a_day_to_come(bench: Bench) -> None:
    part = spare(bench)

    bench.do(LendPart, part=part, due="3025-01-01", **LENT)

    assert bench.rows(Loan)[0].due == date(3025, 1, 1)


def test_only_what_lies_in_a_bag_is_lent_and_only_what_is_lent_comes_back(bench: Bench) -> None:
    part = spare(bench)

    assert "lies in a bag can be lent" in bench.refuse(LendPart, part=1, **LENT)[""]
    assert "is not lent" in bench.refuse(TakeBack, part=part, day="2025-02-01")[""]
    assert list(bench.refuse(LendPart, part=part, **LENT | {"day": "2025-01-09"})) == ["day"]


def test_what_comes_back_in_another_condition_lies_there_anew(bench: Bench, lent: int) -> None:
    """Rule 2: the condition in which it went in first is kept."""
    bench.do(TakeBack, part=lent, day="2025-02-01", condition="one pin bent", note="Came by post.")

    stays = [(bag.bag, bag.place, bag.condition, str(bag.since)) for bag in bench.rows(Storage)]
    assert stays == [(1, "drawer", "pins straight", "2025-01-10"), (1, "drawer", "one pin bent", "2025-02-01")]
    assert bench.rows(Loan)[0].note == "For a test.\n\nCame by post."
    assert bench.faults() == []


def test_a_loan_ends_no_earlier_than_it_began(bench: Bench, lent: int) -> None:
    assert list(bench.refuse(TakeBack, part=lent, day="2025-01-19")) == ["day"]


def test_what_is_noted_of_a_move_stands_in_the_journal(bench: Bench) -> None:
    """With the part's name as it is written: its capitals and its Ω are left alone."""
    part = spare(bench)
    bench.do(KeepAside, part=part, becomes="lost", day="2025-02-03", note="Fell behind the bench.")

    assert bench.last_entry().words == "74LS14 chip: lost. Fell behind the bench."


# ---- What was gone is found again ----


@pytest.mark.parametrize("becomes", ["lost", "discarded"])
def test_what_was_gone_is_found_again_and_lies_in_a_bag(bench: Bench, becomes: str) -> None:
    """With the day, how long it was gone, who signs and why; nothing of what was written before is changed."""
    part = spare(bench)
    bench.do(KeepAside, part=part, becomes=becomes, day="2025-02-01")

    bench.do(FindAgain, part=part, day="2025-03-01", bag=5, condition="dusty", signer="Bo", note="Under the bench.")

    row, bags = bench.row(Part, part), bench.rows(Storage)
    assert (row.gone, row.gone_on) == (None, None)
    assert [(bag.bag, str(bag.since), bag.condition) for bag in bags] == [
        (1, "2025-01-10", ""), (5, "2025-03-01", "dusty")
    ]  # fmt: skip
    assert bench.last_entry().words == (
        f"Found 74LS14 chip again on 2025-03-01, {becomes} since 2025-02-01; it lies in bag 5, signed Bo. "
        "Under the bench."
    )
    assert bench.faults() == []


def test_what_was_thrown_away_straight_from_its_position_is_found_with_where_it_came_from(bench: Bench) -> None:
    """And goes back there by the way back, as if it had been kept."""
    bench.plan()
    bench.step("take out", "R2")
    bench.carry_out(1, "2025-02-03", becomes="discarded")

    bench.do(FindAgain, part=1, day="2025-02-10")
    bench.undo(1, "2025-03-01")

    assert [bag.from_position_id for bag in bench.rows(Storage)] == [1]
    assert [stay.part_id for stay in bench.rows(Placement) if stay.position_id == 1 and stay.removed_on is None] == [1]
    assert bench.faults() == []


def test_what_was_lost_while_it_was_lent_is_found_again(bench: Bench, lent: int) -> None:
    bench.do(KeepAside, part=lent, becomes="lost", day="2025-02-03")
    bench.do(FindAgain, part=lent, day="2025-02-03")

    assert loans(bench) == [("2025-01-20", "2025-02-03")]
    assert bench.do(LendPart, part=lent, to_whom="Bo", day="2025-02-03").seq
    assert bench.faults() == []


def test_only_what_was_lost_or_discarded_is_found_again_and_not_before(bench: Bench) -> None:
    kept, away, lost = (spare(bench) for _ in range(3))
    bench.do(KeepAside, part=away, becomes="handed over", day="2025-02-01")
    bench.do(KeepAside, part=lost, becomes="lost", day="2025-02-01")
    bench.do(BagPart, day="2025-01-10", bag=9, place="attic", **CHIP)

    assert "that one is not gone" in bench.refuse(FindAgain, part=kept, day="2025-03-01")[""]
    assert "that one was handed over" in bench.refuse(FindAgain, part=away, day="2025-03-01")[""]
    assert bench.refuse(FindAgain, part=lost, day="2025-01-31") == {
        "day": "It was lost on 2025-02-01; that is later."
    }  # fmt: skip
    assert list(bench.refuse(FindAgain, part=lost, day="2025-03-01", bag=0)) == ["bag"]
    assert list(bench.refuse(FindAgain, part=lost, day="2025-03-01", bag=9, place="shed")) == ["place"]


def test_a_loan_that_was_not_seen_is_neither_ended_nor_lost(bench: Bench, lent: int) -> None:
    """It came back and was lent to somebody else, while an old form was open (rule 7)."""
    bench.do(TakeBack, part=lent, day="2025-03-01", loan=1)
    bench.do(LendPart, part=lent, to_whom="Another", day="2025-03-02")

    taken = bench.refuse(TakeBack, part=lent, day="2025-03-03", loan=1)
    lost = bench.refuse(KeepAside, part=lent, day="2025-03-03", becomes="lost", loan=0)

    assert [list(said) for said in (taken, lost)] == [[""], [""]]
    assert "it is lent since 2025-03-02" in taken[""]
    assert loans(bench)[-1][1] is None


def test_a_like_part_takes_the_place_of_one_that_is_lent(bench: Bench) -> None:
    """Whoever does not want to wait for it."""
    bench.plan()
    bench.step("take out", "R2")
    bench.carry_out(1, "2025-02-03")
    bench.do(LendPart, part=1, to_whom="Somebody", day="2025-02-04")

    bench.undo(1, "2025-03-01", value="360 Ω")

    assert "which is lent out of bag 1 since 2025-02-04" in bench.last_entry().words
    assert bench.faults() == []
