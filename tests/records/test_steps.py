"""Steps: planned at positions of the mod's own machine, carried out, changed, and put back in the reverse order."""

from typing import Any

import pytest

from server.records.commands.machines import AddBoard, AddPosition, EnterMachine
from server.records.commands.parts import BagPart, KeepAside
from server.records.commands.steps import (
    AddStep,
    CarryOutStep,
    DropStep,
    FitAnother,
    MoveStep,
    ReviseStep,
    UndoStep,
)
from server.records.errors import Invalid
from server.records.questions.addresses import find_machine
from server.records.questions.way_back import way_back
from server.records.tables import Part, Placement, Step
from server.records.words import StepKind
from tests.records.conftest import KEEPER, MAIN, TAG, Bench

ACT = {"mod": 1, "signer": KEEPER}


def step(bench: Bench, number: int = 1) -> Step:
    steps: list[Step] = bench.rows(Step)
    return next(row for row in steps if row.number == number)


def obstacles(bench: Bench) -> list[str]:
    with bench.store.reading() as session:
        return [line.obstacle for line in way_back(session, find_machine(session, TAG)).back]


# ---- Planning ----


def test_a_step_is_at_a_position_of_the_mods_own_machine(bench: Bench) -> None:
    """A board of another machine is told beside the field, and so is a position that is not there."""
    bench.plan()
    bench.do(EnterMachine, tag="TM-04", model="Merle 80")
    bench.do(AddBoard, machine="TM-04", name="Drive", kind="drive")
    bench.do(AddPosition, machine="TM-04", board="drive", designator="R2", mounting="soldered")
    out = {"mod": 1, "kind": "take out", "designator": "R2"}

    assert bench.refuse(AddStep, board="drive", **out) == {
        "board": "TM-03 has no board “drive”. A mod works on its own machine."
    }
    assert list(bench.refuse(AddStep, board=MAIN, **out | {"designator": "R99"})) == ["designator"]
    assert list(bench.refuse(AddStep, **out)) == ["board"]


@pytest.mark.parametrize(
    ("kind", "more", "field"),
    [
        ("take out", {}, "designator"),
        ("fit", {}, "designator"),
        ("lift pin", {"pin": "3"}, "designator"),
        ("lift pin", {"board": MAIN, "designator": "U7"}, "pin"),
        ("fit", {"board": MAIN, "designator": "R2", "planned_value": "10 µF"}, "planned_value"),
        ("solder", {}, "kind"),
    ],
)
def test_a_step_says_what_its_kind_needs(bench: Bench, kind: str, more: dict[str, str], field: str) -> None:
    """Where, which pin, and a value that the sums can read."""
    bench.plan()

    assert list(bench.refuse(AddStep, mod=1, kind=kind, **more)) == [field]


def test_a_step_that_was_done_keeps_its_kind_and_place(bench: Bench) -> None:
    """Words and what was planned may still be put right."""
    bench.replace_r2()
    fit = {"mod": 1, "step": 2, "kind": "fit", "board": MAIN, "designator": "R2", "opened_version": 2}

    assert "keeps its kind" in bench.refuse(ReviseStep, **fit | {"kind": "take out"})[""]
    assert "keeps its kind" in bench.refuse(ReviseStep, **fit | {"designator": "R7"})[""]
    assert bench.do(ReviseStep, **fit, instruction="Legs outwards").seq
    assert "cannot be taken off the plan" in bench.refuse(DropStep, mod=1, step=1)[""]


@pytest.mark.parametrize(("state", "day"), [("undone", "2025-03-01"), ("dropped", "2025-02-01")])
def test_the_steps_of_a_mod_at_its_end_stay_as_they_are(bench: Bench, state: str, day: str) -> None:
    """Whatever is asked."""
    bench.plan()
    bench.step("adjust")
    if state == "undone":
        bench.carry_out(1)
        bench.move("fitted", "2025-02-03")
        bench.undo(1)
    bench.move(state, day)
    asked: list[tuple[Any, dict[str, object]]] = [
        (AddStep, {"mod": 1, "kind": "clean"}),
        (ReviseStep, {"mod": 1, "step": 1, "kind": "adjust", "opened_version": step(bench).version}),
        (MoveStep, {"mod": 1, "step": 1, "to": 1}),
        (DropStep, {"mod": 1, "step": 1}),
        (CarryOutStep, {"step": 1, "day": "2025-04-01", **ACT}),
        (UndoStep, {"step": 1, "day": "2025-04-01", **ACT}),
        (FitAnother, {"step": 1, "day": "2025-04-01", **ACT}),
    ]

    for kind, typed in asked:
        assert bench.refuse(kind, **typed) == {"": f"The mod is {state}; its steps stay as they are."}


# ---- Carrying out ----


def test_what_was_done_is_signed_and_dated(bench: Bench) -> None:
    """With the part that it concerned."""
    bench.plan()
    bench.step("take out", "R2")
    bench.carry_out(1, note="It came out easily.")

    done = step(bench)
    assert (str(done.done_on), done.done_by, done.done_note) == ("2025-02-03", KEEPER, "It came out easily.")
    assert done.part_id == 1


def test_a_step_is_carried_out_once(bench: Bench) -> None:
    """And only of a mod that is more than considered."""
    bench.plan(state="considered")
    bench.step("adjust")
    carry_out = {"step": 1, "day": "2025-02-03", **ACT}

    assert "only considered" in bench.refuse(CarryOutStep, **carry_out)[""]
    bench.move("planned", "2025-02-01")
    bench.do(CarryOutStep, **carry_out)
    assert bench.refuse(CarryOutStep, **carry_out) == {"": "Step 1 was done on 2025-02-03 already."}


def test_what_is_fitted_is_said(bench: Bench) -> None:
    """A type, a marking, a value, or a part in a bag; a value that can be read."""
    bench.plan()
    bench.step("fit", "R9")
    fit = {"step": 1, "day": "2025-02-03", **ACT}

    assert list(bench.refuse(CarryOutStep, **fit)) == ["type"]
    assert list(bench.refuse(CarryOutStep, value="10 µF", **fit)) == ["value"]
    assert bench.refuse(CarryOutStep, bagged_part=99, **fit) == {"bagged_part": "There is no part “99”."}


def test_what_was_fitted_is_a_part_of_its_own(bench: Bench) -> None:
    """Of the position's kind unless said otherwise, and new unless said otherwise."""
    bench.replace_r2(value="330 Ω ±1 %")

    part = bench.row(Part, 4)
    assert (part.kind, part.value, part.origin) == ("resistor", "330 Ω ±1 %", "new")
    assert step(bench, 2).part_id == 4


# ---- Fitting another ----


def test_another_part_takes_the_place_and_history_is_kept(bench: Bench) -> None:
    """The step now says the new part; both placements stand, and both notes."""
    bench.replace_r2()
    bench.do(FitAnother, step=2, day="2025-02-10", value="310 Ω", note="Closer.", becomes="lost", **ACT)

    placements = [(place.part_id, str(place.fitted_on), place.removed_on) for place in bench.rows(Placement)]
    assert [placed[0] for placed in placements if placed[2] is None] == [2, 3, 5]
    assert [placed[:2] for placed in placements[3:]] == [(4, "2025-02-03"), (5, "2025-02-10")]
    assert (step(bench, 2).part_id, step(bench, 2).done_note) == (5, "Closer.")
    assert (str(step(bench, 2).done_on), bench.row(Part, 4).gone) == ("2025-02-03", "lost")
    assert bench.faults() == []


def test_another_part_is_fitted_where_this_mod_has_fitted_one(bench: Bench) -> None:
    """Not where it took one out, not before it was done, not after it was put back."""
    another = {"day": "2025-03-01", "value": "310 Ω", **ACT}
    bench.replace_r2()
    bench.step("fit", "R9")

    assert list(bench.refuse(FitAnother, step=1, **another)) == [""]
    assert list(bench.refuse(FitAnother, step=3, **another)) == [""]
    bench.undo(2)
    assert list(bench.refuse(FitAnother, step=2, **another)) == [""]


def test_the_part_that_just_came_out_is_not_another(bench: Bench) -> None:
    """It lies in a bag for that moment, and could be chosen by mistake."""
    bench.replace_r2()

    messages = bench.refuse(FitAnother, step=2, day="2025-02-10", bagged_part=4, **ACT)
    assert messages == {"bagged_part": "That is the part that sits at R2 now."}


# ---- Putting back ----


def test_steps_are_put_back_in_the_reverse_order(bench: Bench) -> None:
    """The last first; each no earlier than it was done, and no earlier than those after it were put back."""
    bench.replace_r2()

    assert bench.refuse(UndoStep, step=1, day="2025-03-01", **ACT)[""].startswith("Put back step 2 first")
    assert list(bench.refuse(UndoStep, step=2, day="2025-02-02", **ACT)) == ["day"]
    bench.undo(2, "2025-03-05")
    assert list(bench.refuse(UndoStep, step=1, day="2025-03-04", **ACT)) == ["day"]
    bench.undo(1, "2025-03-05")
    assert [str(row.undone_on) for row in bench.rows(Step)] == ["2025-03-05"] * 2
    assert bench.faults() == []


def test_a_step_is_put_back_once_and_after_it_was_done(bench: Bench) -> None:
    """There is nothing to put back otherwise."""
    bench.plan()
    bench.step("adjust")
    undo = {"step": 1, "day": "2025-03-01", **ACT}

    assert "never done" in bench.refuse(UndoStep, **undo)[""]
    bench.carry_out(1)
    bench.undo(1)
    assert "put back on 2025-03-01 already" in bench.refuse(UndoStep, **undo)[""]


@pytest.mark.parametrize("kind", ["clean", "drill or cut case"])
def test_what_leaves_a_permanent_trace_is_never_put_back(bench: Bench, kind: str) -> None:
    """The way back says so, and it stands in the way of no other step."""
    bench.plan()
    bench.step("adjust")
    bench.step(kind)
    bench.carry_out(1)
    bench.carry_out(2)

    assert "cannot be put back" in bench.refuse(UndoStep, step=2, day="2025-03-01", **ACT)[""]
    assert bench.undo(1).seq
    with bench.store.reading() as session:
        way = way_back(session, find_machine(session, TAG))
    assert (way.back, [line.step.kind for line in way.for_good]) == ([], [kind])
    assert way.for_good[0].obstacle


def test_a_part_taken_out_returns_from_its_bag(bench: Bench) -> None:
    """No other may be named while it lies there."""
    bench.replace_r2()
    bench.undo(2)

    named = {"step": 1, "day": "2025-03-01", "value": "360 Ω", **ACT}
    assert bench.refuse(UndoStep, **named) == {
        "type": "What was taken out lies in bag 1. Put that back, and leave the other out."
    }
    bench.undo(1)
    assert [place.part_id for place in bench.rows(Placement) if place.removed_on is None] == [2, 3, 1]


@pytest.mark.parametrize("becomes", ["discarded", "lost", "handed over"])
def test_a_like_part_takes_the_place_of_one_that_is_gone(bench: Bench, becomes: str) -> None:
    """The way back says that it is gone; without a like one the step is not put back."""
    bench.replace_r2(becomes=becomes)
    assert obstacles(bench) == ["", f"the part is {becomes}; a like one has to be found"]
    bench.undo(2)
    undo = {"step": 1, "day": "2025-03-02", **ACT}

    assert bench.refuse(UndoStep, **undo) == {
        "type": f"The 360 Ω ±5 % resistor that was taken out is {becomes}. Name a like part that takes its place."
    }
    bench.do(UndoStep, value="360 Ω ±5 %", origin="period", **undo)
    part = bench.row(Part, 5)
    assert (part.value, part.origin, step(bench).part_id) == ("360 Ω ±5 %", "period", 1)
    assert bench.move("undone", "2025-03-02").seq
    assert bench.faults() == []


def test_a_mod_on_top_is_undone_first(bench: Bench) -> None:
    """What sits there is not what this step fitted."""
    bench.replace_r2()
    bench.replace_r2(mod=2, day="2025-02-10", value="310 Ω")

    assert "Mod 2, step 2 lies on this one" in bench.refuse(UndoStep, step=2, day="2025-03-01", **ACT)[""]
    bench.undo(2, mod=2)
    assert "Mod 2, step 1 lies on this one" in bench.refuse(UndoStep, step=2, day="2025-03-01", **ACT)[""]
    bench.undo(1, mod=2)
    assert bench.undo(2).seq


def test_an_original_that_another_mod_uses_cannot_return(bench: Bench) -> None:
    """It is told where it is."""
    bench.replace_r2()
    bench.plan()
    bench.step("fit", "R9", mod=2)
    bench.carry_out(1, "2025-02-10", mod=2, bagged_part=1)
    bench.undo(2)

    assert "taken out is at R9 on Main board." in bench.refuse(UndoStep, step=1, day="2025-03-01", **ACT)["type"]


def test_a_bagged_part_may_be_the_like_one(bench: Bench) -> None:
    """From a donor, for example."""
    bench.replace_r2(becomes="discarded")
    donor = bench.do(BagPart, day="2025-02-20", kind="resistor", origin="period", value="360 Ω").key
    bench.undo(2)
    bench.undo(1, bagged_part=donor)

    assert "in place of 360 Ω ±5 % resistor, which is discarded" in bench.last_entry().words
    with pytest.raises(Invalid):
        bench.do(KeepAside, part=donor, day="2025-03-01")


def test_every_kind_of_step_can_be_planned_and_carried_out(bench: Bench) -> None:
    """And all that can be put back can be put back."""
    bench.plan()
    places = {StepKind.TAKE_OUT: "R2", StepKind.FIT: "R9", StepKind.LIFT_PIN: "U7"}
    for number, kind in enumerate(StepKind, start=1):
        bench.step(kind, places.get(kind, ""), pin="3")
        bench.carry_out(number, value="1 kΩ")
    for number in range(len(StepKind), 0, -1):
        if step(bench, number).kind not in ("clean", "drill or cut case"):
            bench.undo(number)

    left = {row.kind for row in bench.rows(Step) if row.undone_on is None}
    assert left == {"clean", "drill or cut case"}
    assert bench.faults() == []
