"""Where parts are: a part is in one place, a position holds one part, and days keep their order (rules 1 and 2)."""

from datetime import date
from typing import Any

import pytest
from sqlmodel import select

from server.records.commands.parts import BagPart, EnterPart, KeepAside, RevisePart
from server.records.commands.steps import CarryOutStep, FitAnother
from server.records.placing import next_bag, where_is
from server.records.questions.addresses import find_machine
from server.records.questions.states import seats_on
from server.records.store import Store
from server.records.tables import Part, Placement, Storage
from tests.records.conftest import KEEPER, MAIN, TAG, Bench

CHIP = {"kind": "chip", "type": "7414", "origin": "period"}


def whereabouts(bench: Bench, part: int) -> str:
    with bench.store.reading() as session:
        return where_is(session, session.get_one(Part, part))


def bags(bench: Bench) -> list[tuple[int, int, str, str | None]]:
    """Every stay in a bag: which part, which bag, from when, until when."""
    return [
        (stay.part_id, stay.bag, str(stay.since), str(stay.until) if stay.until else None)
        for stay in bench.rows(Storage)
    ]


def spare(bench: Bench, day: str = "2025-01-10", **more: Any) -> int:
    """A part that lies in a bag; its key."""
    return bench.do(BagPart, day=day, **CHIP, **more).key


# ---- Entering ----


def test_a_part_enters_at_a_position(bench: Bench) -> None:
    """The position is made with it where the board does not have it yet."""
    entered = bench.do(EnterPart, board=MAIN, designator="U8", **CHIP)

    assert whereabouts(bench, entered.key) == "at U8 on Main board"


@pytest.mark.parametrize("designator", ["R2", "r 02"])
def test_a_position_holds_one_part(bench: Bench, designator: str) -> None:
    """Another is told beside the designator what is there."""
    messages = bench.refuse(EnterPart, board=MAIN, designator=designator, **CHIP)

    assert messages == {"designator": "R2 already holds a 360 Ω ±5 % resistor. Take it out first."}


def test_a_part_enters_after_the_one_before_it_left(bench: Bench) -> None:
    """On a day, that is; “it was there all along” is no longer true of a second part."""
    bench.plan()
    bench.step("fit", "R9")
    bench.carry_out(1, "2025-02-01", value="10 kΩ")
    bench.undo(1, "2025-02-03")
    another = {"board": MAIN, "designator": "R9", "kind": "resistor", "origin": "new", "value": "330 Ω"}

    assert "name the day" in bench.refuse(EnterPart, **another)["fitted_on"]
    assert "emptied on 2025-02-03" in bench.refuse(EnterPart, **another, fitted_on="2025-02-02")["fitted_on"]
    assert bench.do(EnterPart, **another, fitted_on="2025-02-03").seq


def test_what_a_mod_emptied_is_filled_by_a_mod(bench: Bench) -> None:
    """Else the part that came out could not return."""
    bench.plan()
    bench.step("take out", "R2")
    bench.carry_out(1, "2025-02-03")
    another = {"board": MAIN, "designator": "R2", "kind": "resistor", "origin": "new", "value": "330 Ω"}

    refused = bench.refuse(EnterPart, **another, fitted_on="2025-03-01")

    assert refused == {
        "designator": "Mod 1 of TM-03 took out what sat at R2 (step 1). Write what sits there now as a step of a mod, "
        "so that the way back stays known."
    }


def test_a_bagged_part_of_another_kind_is_asked_about(bench: Bench) -> None:
    """It is most likely the wrong line of the list."""
    fit = {"mod": 1, "step": 1, "bagged_part": spare(bench), "day": "2025-02-03", "signer": KEEPER}
    bench.plan()
    bench.step("fit", "R9")

    refused = bench.refuse(CarryOutStep, **fit)

    assert refused == {"other_kind": "That part is a chip, and R9 is for a resistor."}
    assert bench.do(CarryOutStep, **fit, other_kind=True).seq


@pytest.mark.parametrize(("kind", "value"), [("resistor", "10 µF"), ("capacitor", "ten"), ("resistor", "-3 Ω")])
def test_a_value_that_cannot_be_read_is_refused(bench: Bench, kind: str, value: str) -> None:
    """Beside its field, when a part is entered and when it is revised."""
    fields = {"kind": kind, "origin": "new", "value": value}

    assert list(bench.refuse(EnterPart, board=MAIN, designator="X1", **fields)) == ["value"]
    assert list(bench.refuse(RevisePart, part=1, opened_version=1, **fields)) == ["value"]


# ---- Bags ----


def test_a_bag_gets_the_next_number_by_itself(bench: Bench) -> None:
    """Above all that were ever used: a number on a bag that was thrown away is never given again by itself."""
    spare(bench)
    spare(bench, bag=41)
    third = spare(bench)
    bench.do(KeepAside, part=third, becomes="lost", day="2025-01-11")

    with bench.store.reading() as session:
        assert next_bag(session) == 43
    assert [bag for _, bag, *_ in bags(bench)] == [1, 41, 42]


def test_a_bag_may_hold_several_parts(bench: Bench) -> None:
    """Its number is what is written on it; the keeper says what goes in."""
    first, second = spare(bench, bag=7), spare(bench, bag=7)

    assert whereabouts(bench, first) == whereabouts(bench, second) == "in bag 7"


@pytest.mark.parametrize("bag", ["0", "-1", "1000000", "99999999999999999999"])
def test_a_bag_has_a_number_that_can_be_written_on_it(bench: Bench, bag: str) -> None:
    """From 1 to 999,999."""
    assert list(bench.refuse(BagPart, day="2025-01-10", bag=bag, **CHIP)) == ["bag"]


def test_a_part_moves_from_bag_to_bag(bench: Bench) -> None:
    """Both stays are kept."""
    part = spare(bench, bag=1)
    bench.do(KeepAside, part=part, bag=2, day="2025-01-12", place="drawer")

    assert bags(bench) == [(part, 1, "2025-01-10", "2025-01-12"), (part, 2, "2025-01-12", None)]


def test_a_part_leaves_its_bag_no_earlier_than_it_went_in(bench: Bench) -> None:
    """Not into another bag, not away, and not to a position."""
    part = spare(bench)
    bench.plan(day="2025-01-01")
    bench.step("fit", "R9")
    fit = {"mod": 1, "step": 1, "bagged_part": part, "other_kind": True, "signer": KEEPER}

    assert list(bench.refuse(KeepAside, part=part, bag=2, day="2025-01-09")) == ["day"]
    assert list(bench.refuse(KeepAside, part=part, becomes="discarded", day="2025-01-09")) == ["day"]
    assert list(bench.refuse(CarryOutStep, day="2025-01-09", **fit)) == ["day"]
    assert bench.do(CarryOutStep, day="2025-01-10", **fit).seq


@pytest.mark.parametrize("becomes", ["discarded", "lost", "handed over"])
def test_a_part_that_is_gone_is_nowhere_of_ours(bench: Bench, becomes: str) -> None:
    """And cannot be moved again."""
    part = spare(bench)
    bench.do(KeepAside, part=part, becomes=becomes, day="2025-01-12")

    gone = bench.row(Part, part)
    assert (gone.gone, gone.gone_on, whereabouts(bench, part)) == (becomes, date(2025, 1, 12), becomes)
    assert bags(bench) == [(part, 1, "2025-01-10", "2025-01-12")]
    assert "lies in a bag" in bench.refuse(KeepAside, part=part, bag=1, day="2025-01-13")[""]


def test_a_part_that_is_fitted_is_moved_by_a_step_only(bench: Bench) -> None:
    """Or the mod that it belongs to would never hear of it."""
    assert "by a step of a mod" in bench.refuse(KeepAside, part=1, bag=1, day="2025-01-13")[""]


# ---- Fitting and taking out ----


def test_a_part_that_is_taken_out_goes_into_a_bag(bench: Bench) -> None:
    """Which remembers the position that it came from."""
    bench.plan()
    bench.step("take out", "R2")
    bench.carry_out(1, bag=5, place="drawer", condition="legs short")

    stay = bench.rows(Storage)[0]
    assert (stay.part_id, stay.from_position_id, stay.bag, stay.place) == (1, 1, 5, "drawer")
    assert (stay.since, stay.condition) == (date(2025, 2, 3), "legs short")
    assert whereabouts(bench, 1) == "in bag 5"


def test_a_part_from_a_bag_leaves_it(bench: Bench) -> None:
    """It is in one place."""
    part = spare(bench)
    bench.plan()
    bench.step("fit", "R9")
    bench.carry_out(1, bagged_part=part, other_kind=True)

    assert whereabouts(bench, part) == "at R9 on Main board"
    assert bags(bench) == [(part, 1, "2025-01-10", "2025-02-03")]


def test_a_part_is_not_fitted_twice(bench: Bench) -> None:
    """Only one that lies in a bag can be chosen: not one that is fitted, nor one that is gone."""
    gone = spare(bench)
    bench.do(KeepAside, part=gone, becomes="lost", day="2025-01-12")
    bench.plan()
    bench.step("fit", "R9")
    fit = {"mod": 1, "step": 1, "day": "2025-02-03", "signer": KEEPER}

    for part in (1, 2, gone):
        assert bench.refuse(CarryOutStep, bagged_part=part, **fit) == {"bagged_part": "That part lies in no bag."}


def test_an_empty_position_has_nothing_to_take_out(bench: Bench) -> None:
    """The step is planned all the same: the part may come before it is carried out."""
    bench.plan()
    bench.step("take out", "R9")

    messages = bench.refuse(CarryOutStep, mod=1, step=1, day="2025-02-03", signer=KEEPER)
    assert messages == {"designator": "Nothing is recorded at R9, so nothing can be taken out."}


def test_a_full_position_takes_no_second_part(bench: Bench) -> None:
    """Take out first, then fit."""
    bench.plan()
    bench.step("fit", "R2")

    messages = bench.refuse(CarryOutStep, mod=1, step=1, day="2025-02-03", signer=KEEPER, value="330 Ω")
    assert messages == {"designator": "R2 already holds a 360 Ω ±5 % resistor. Take it out first."}


def test_a_part_is_not_taken_out_before_it_was_fitted(bench: Bench) -> None:
    """On the same day at the earliest."""
    bench.do(EnterPart, board=MAIN, designator="U8", fitted_on="2025-02-05", **CHIP)
    bench.plan()
    bench.step("take out", "U8")
    out = {"mod": 1, "step": 1, "signer": KEEPER}

    assert list(bench.refuse(CarryOutStep, day="2025-02-04", **out)) == ["day"]
    assert bench.do(CarryOutStep, day="2025-02-05", **out).seq


# ---- The past is kept ----


def seats(store: Store, day: str) -> dict[str, str]:
    """What sat where at the end of a day."""
    with store.reading() as session:
        page = seats_on(session, find_machine(session, TAG), date.fromisoformat(day))
        return {seat.position.designator: seat.part.value or seat.part.type for seat in page.rows if seat.part}


def test_what_sat_where_on_any_day_can_be_told(bench: Bench) -> None:
    """Before the mod, after another part took the place of its own, and after it was put back."""
    bench.replace_r2()
    bench.do(FitAnother, mod=1, step=2, day="2025-02-10", signer=KEEPER, value="310 Ω", becomes="discarded")
    bench.undo(2, "2025-03-01")
    empty = seats(bench.store, "2025-03-01")
    bench.undo(1, "2025-03-02")

    found = [seats(bench.store, day).get("R2") for day in ("2025-02-02", "2025-02-03", "2025-02-10", "2025-03-02")]
    assert found == ["360 Ω ±5 %", "330 Ω ±1 %", "310 Ω", "360 Ω ±5 %"]
    assert "R2" not in empty
    assert bench.faults() == []


def test_every_placement_says_which_steps_made_and_ended_it(bench: Bench) -> None:
    """None is taken away when a mod is undone."""
    bench.replace_r2()
    bench.undo(2)
    bench.undo(1)

    with bench.store.reading() as session:
        found = session.exec(select(Placement).where(Placement.position_id == 1).order_by(Placement.id)).all()  # type: ignore[arg-type]
    assert [(place.part_id, place.fitted_by_step_id, place.removed_by_step_id) for place in found] == [
        (1, None, 1),
        (4, 2, 2),
        (1, 1, None),
    ]
