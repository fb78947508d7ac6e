"""The way back: what comes off, in which order, what it needs, and that walking it restores what was there."""

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from sqlalchemy import column, update
from sqlmodel import SQLModel, select

from server.records.commands.parts import KeepAside
from server.records.commands.steps import CarryOutStep, FitAnother, ReviseStep, UndoStep
from server.records.questions.addresses import find_machine, find_mod
from server.records.questions.way_back import WayBack, way_back
from server.records.tables import Mod, Placement, Position, Step, Storage
from server.records.words import ModState, Trace
from tests.records.conftest import KEEPER, MAIN, TAG, Bench, behind

ACT: dict[str, Any] = {"signer": KEEPER}


def way(bench: Bench, *mods: int) -> WayBack:
    with bench.store.reading() as session:
        machine = find_machine(session, TAG)
        return way_back(session, machine, [find_mod(session, machine, number) for number in mods])


def told(bench: Bench, *mods: int) -> list[tuple[int, int]]:
    """Mod and step of each line, in order."""
    return [(line.step.mod, line.step.number) for line in way(bench, *mods).back]


def seated(bench: Bench) -> dict[str, int]:
    """Which part sits at each position."""
    with bench.store.reading() as session:
        query = select(Position.designator, Placement.part_id).join(Placement).where(Placement.removed_on == None)  # noqa: E711
        return dict(session.exec(query).all())


def walk(bench: Bench, day: str = "2025-12-01", **more: object) -> None:
    """Carry the whole way back out, as the page does: always the first step."""
    while back := way(bench).back:
        first = back[0]
        bench.do(UndoStep, mod=first.step.mod, step=first.step.number, day=day, then_undone=True, **ACT, **more)


@pytest.fixture
def stacked(bench: Bench) -> Bench:
    """Mod 1 replaces R2; mod 2 replaces what mod 1 fitted there; mod 3 replaces R7."""
    bench.replace_r2(1, "2025-02-03")
    bench.replace_r2(2, "2025-03-03", value="270 Ω ±5 %")
    bench.plan()
    bench.step("take out", "R7", 3)
    bench.step("fit", "R7", 3, planned_value="2.2 kΩ")
    bench.carry_out(1, "2025-04-03", 3)
    bench.carry_out(2, "2025-04-03", 3, value="2.2 kΩ ±5 %")
    bench.move("fitted", "2025-04-03", 3)
    return bench


# ---- What comes off, and when ----


def test_to_stock_everything_comes_off_the_last_done_first(stacked: Bench) -> None:
    """The whole machine."""
    assert told(stacked) == [(3, 2), (3, 1), (2, 2), (2, 1), (1, 2), (1, 1)]


def test_of_one_mod_only_its_own_steps_come_off(stacked: Bench) -> None:
    """Where nothing lies on top of it."""
    assert told(stacked, 3) == [(3, 2), (3, 1)]
    assert told(stacked, 2) == [(2, 2), (2, 1)]


def test_what_was_fitted_on_top_comes_off_first_and_says_why(stacked: Bench) -> None:
    """Mod 2 sits where mod 1 fitted its part; mod 3 has nothing to do with it."""
    back = way(stacked, 1).back

    assert [(line.step.mod, line.step.number) for line in back] == [(2, 2), (2, 1), (1, 2), (1, 1)]
    assert [line.because for line in back] == [
        "a step of its mod that has to come off was done before it",
        "it lies on mod 1, step 2 at R2",
        "",
        "",
    ]


def test_several_mods_come_off_together_in_one_order(stacked: Bench) -> None:
    """Asked for, nothing needs a reason."""
    back = way(stacked, 1, 2).back

    assert [(line.step.mod, line.step.number) for line in back] == [(2, 2), (2, 1), (1, 2), (1, 1)]
    assert {line.because for line in back} == {""}


def test_work_on_one_pin_lies_on_earlier_work_there(bench: Bench) -> None:
    """A link that was soldered over a cut comes off before the cut is bridged; another pin is another matter."""
    for mod, kind, pin in ((1, "cut trace", "3"), (2, "add link", "3"), (3, "add link", "5")):
        bench.plan()
        bench.step(kind, "U7", mod, pin=pin)
        bench.carry_out(1, f"2025-02-0{mod}", mod)

    assert told(bench, 1) == [(2, 1), (1, 1)]
    assert told(bench, 3) == [(3, 1)]


def test_a_lifted_pin_belongs_to_the_part_that_it_is_on(bench: Bench) -> None:
    """The chip that took the other's place comes out before the lifted pin of the first is bent down."""
    bench.plan()
    bench.step("lift pin", "U7", 1, pin="3")
    bench.carry_out(1, "2025-02-01")
    bench.plan()
    bench.step("take out", "U7", 2)
    bench.carry_out(1, "2025-02-02", 2)

    assert told(bench, 1) == [(2, 1), (1, 1)]


def test_steps_that_wait_for_each_other_are_named(bench: Bench) -> None:
    """No act brings it about; a record that came from elsewhere may hold it: each of two mods lies on the other."""
    for mod, (designator, other) in ((1, ("R2", "R7")), (2, ("R7", "R2"))):
        bench.plan()
        for step, place in ((1, designator), (2, other)):
            bench.step("lift pin", place, mod, pin="1")
            bench.carry_out(step, "2025-02-01", mod)
    # As if the last act had been the first.
    behind(bench.store, update(SQLModel.metadata.tables["step"]).where(column("id") == 4).values(done_order=0))

    found = way(bench)

    assert len(found.circle) == 4
    assert len(found.back) == 4
    assert {line.obstacle for line in found.back} == {"it waits for steps that wait for it"}


def test_a_circle_is_left_by_the_step_that_the_note_speaks_of(bench: Bench) -> None:
    """Somebody has to say which comes first; then the rest has its order again."""
    for mod, (designator, other) in ((1, ("R2", "R7")), (2, ("R7", "R2"))):
        bench.plan()
        for step, place in ((1, designator), (2, other)):
            bench.step("lift pin", place, mod, pin="1")
            bench.carry_out(step, "2025-02-01", mod)
    behind(bench.store, update(SQLModel.metadata.tables["step"]).where(column("id") == 4).values(done_order=0))
    undo = {"mod": 1, "step": 2, "day": "2025-03-01", **ACT}

    assert list(bench.refuse(UndoStep, **undo)) == ["note"]
    assert bench.do(UndoStep, **undo, note="It lay loose").seq
    walk(bench)
    assert way(bench).back == []


def test_a_step_that_another_lies_on_is_not_put_back_before_it(bench: Bench) -> None:
    """Nor does another part take its place: the pin that was lifted since is this part's."""
    bench.replace_r2()
    bench.plan()
    bench.step("lift pin", "R2", 2, pin="1")
    bench.carry_out(1, "2025-02-10", 2)
    said = {"": "Mod 2, step 1 lies on this one: lift pin 1 at R2 on Main board. Put that back first."}

    assert bench.refuse(UndoStep, mod=1, step=2, day="2025-03-01", **ACT) == said
    assert bench.refuse(FitAnother, mod=1, step=2, day="2025-03-01", value="1 kΩ", **ACT) == said


def test_another_part_in_the_first_ones_place_leaves_the_order_as_it_was(bench: Bench) -> None:
    """The mod lifts a pin of what it fitted; the one fitted instead later still comes out after its pin is down."""
    bench.replace_r2()
    bench.step("lift pin", "R2", 1, pin="1")
    bench.carry_out(3, "2025-02-10")
    bench.do(FitAnother, mod=1, step=2, day="2025-03-01", value="1 kΩ", **ACT)

    assert way(bench).circle == []
    assert told(bench) == [(1, 3), (1, 2), (1, 1)]


def test_a_step_of_its_own_mod_hides_nothing_that_another_did_below_it(bench: Bench) -> None:
    bench.replace_r2()
    bench.plan()
    bench.step("lift pin", "R2", 2, pin="1")
    bench.carry_out(1, "2025-02-10", 2)
    bench.step("adjust", "R2", 1)
    bench.carry_out(3, "2025-02-11")

    refused = bench.refuse(FitAnother, mod=1, step=2, day="2025-03-01", value="1 kΩ", **ACT)

    assert refused == {"": "Mod 2, step 1 lies on this one: lift pin 1 at R2 on Main board. Put that back first."}


def test_what_was_done_to_a_part_was_not_done_before_the_part_sat_there(bench: Bench) -> None:
    bench.replace_r2(day="2025-02-03")
    bench.plan()
    bench.step("lift pin", "R2", 2, pin="1")

    refused = bench.refuse(CarryOutStep, mod=2, step=1, day="2025-02-02", **ACT)

    assert refused == {"day": "The last act on this part or pin of R2 was on 2025-02-03; this one came after it."}


# ---- What each needs, and what stands in the way ----


@pytest.fixture
def moved_over(bench: Bench) -> int:
    """Mod 1 replaces R2, and what came out of R2 is fitted at R7 by mod 2; its number."""
    bench.replace_r2(1, "2025-02-03")
    part: int = bench.rows(Storage)[0].part_id
    bench.plan()
    for step, (kind, fitted) in enumerate((("take out", {}), ("fit", {"bagged_part": part})), start=1):
        bench.step(kind, "R7", 2)
        bench.carry_out(step, "2025-04-03", 2, **fitted)
    return part


def test_a_part_that_another_mod_uses_is_free_before_it_returns(bench: Bench, moved_over: int) -> None:
    """Nothing has to be found for it: by its turn it lies in a bag."""
    back = {(line.step.mod, line.step.number): line for line in way(bench).back}
    was_seated = seated(bench)
    walk(bench)

    assert list(back) == [(2, 2), (2, 1), (1, 2), (1, 1)]
    assert (back[1, 1].needs, back[1, 1].obstacle) == (
        "360 Ω ±5 % resistor, which came out of R7 with mod 2, step 2",
        "",
    )
    assert was_seated["R7"] == moved_over
    assert seated(bench)["R2"] == moved_over


@pytest.mark.usefixtures("moved_over")
def test_a_part_that_another_mod_keeps_stands_in_the_way_in_words(bench: Bench) -> None:
    """That mod stays, since a like part can return."""
    (_, last) = way(bench, 1).back

    assert last.obstacle == "the part sits at R7, where mod 2, step 2 fitted it; free it first, or find a like one"


def test_a_part_that_could_not_return_is_not_fitted_instead(bench: Bench) -> None:
    """Step 3 comes off first, and what it took out of R2 would still sit at R7."""
    bench.plan()
    for kind, place in (("take out", "R7"), ("fit", "R7"), ("take out", "R2")):
        bench.step(kind, place)
    bench.carry_out(1, "2025-02-03")
    bench.carry_out(2, "2025-02-03", value="1 kΩ")
    bench.carry_out(3, "2025-02-03")
    part = bench.rows(Storage)[-1].part_id

    refused = bench.refuse(FitAnother, mod=1, step=2, day="2025-03-01", bagged_part=part, **ACT)

    assert refused == {
        "bagged_part": "The 360 Ω ±5 % resistor came out with mod 1, step 3, which has to be put back before this step "
        "is: it could not return to its old place. Fit another part."
    }
    assert told(bench) == [(1, 3), (1, 2), (1, 1)]


def test_a_like_part_stands_for_the_one_that_it_replaces(bench: Bench) -> None:
    """What mod 1 fitted is gone with mod 2; a like one returns, and comes out for the original all the same."""
    bench.replace_r2(1, "2025-02-03")
    bench.replace_r2(2, "2025-03-03", value="270 Ω", becomes="discarded")
    bench.undo(2, "2025-04-01", 2)
    bench.undo(1, "2025-04-01", 2, value="330 Ω")

    assert next((line.act, line.obstacle) for line in way(bench).back) == (
        "take 330 Ω resistor out of R2 on Main board",
        "",
    )
    walk(bench)
    assert seated(bench)["R2"] == 1
    assert bench.faults() == []


def test_a_part_that_is_gone_is_not_told_to_sit_anywhere(bench: Bench) -> None:
    bench.replace_r2(1, "2025-02-03")
    bench.replace_r2(2, "2025-03-03", value="270 Ω", becomes="lost")

    obstacles = [line.obstacle for line in way(bench).back if line.obstacle]

    assert obstacles == ["the part is lost; a like one has to be found"]


def test_a_link_on_a_lifted_pin_comes_off_before_the_pin_is_bent(bench: Bench) -> None:
    """However the pin was written."""
    bench.plan()
    bench.step("lift pin", "U7", 1, pin="3")
    bench.carry_out(1, "2025-02-01")
    bench.plan()
    bench.step("add link", "U7", 2, pin="Pins 3-5")
    bench.carry_out(1, "2025-02-02", 2)

    assert told(bench, 1) == [(2, 1), (1, 1)]
    assert "lies on this one" in bench.refuse(UndoStep, mod=1, step=1, day="2025-03-01", **ACT)[""]


def test_a_pin_is_not_written_anew_once_the_step_is_done(bench: Bench) -> None:
    """It would slip from under what lies on it."""
    bench.plan()
    bench.step("lift pin", "U7", 1, pin="3")
    bench.carry_out(1, "2025-02-01")
    step = {"mod": 1, "step": 1, "kind": "lift pin", "board": MAIN, "designator": "U7", "opened_version": 2}

    refused = bench.refuse(ReviseStep, **step, pin="4")

    assert refused == {"pin": "A step that was done keeps its pin. Put it back and write another."}


def test_a_step_did_not_come_off_before_what_lay_on_it(bench: Bench) -> None:
    bench.plan()
    bench.step("lift pin", "U7", 1, pin="3")
    bench.carry_out(1, "2025-02-01")
    bench.plan()
    bench.step("adjust", "U7", 2)
    bench.carry_out(1, "2025-02-02", 2)
    bench.undo(1, "2025-05-01", 2)

    refused = bench.refuse(UndoStep, mod=1, step=1, day="2025-04-01", **ACT)

    assert refused == {"day": "What lay on it was put back on 2025-05-01; it cannot have come off before."}


def test_nothing_is_done_to_a_part_that_is_out(bench: Bench) -> None:
    bench.plan()
    bench.step("take out", "R2")
    bench.carry_out(1, "2025-02-03")
    bench.plan()
    bench.step("lift pin", "R2", 2, pin="1")

    refused = bench.refuse(CarryOutStep, mod=2, step=1, day="2025-03-01", **ACT)

    assert refused == {"": "Nothing sits at R2 now, so nothing can be done to it."}


def test_each_step_says_what_it_needs(stacked: Bench) -> None:
    """The part from its bag, a bag for what comes out, and the tools for all of it."""
    found = way(stacked, 3)

    assert [(line.act, line.needs) for line in found.back] == [
        ("take 2.2 kΩ ±5 % resistor out of R7 on Main board", "a bag for it"),
        ("put 1 kΩ ±5 % resistor back at R7 on Main board", "1 kΩ ±5 % resistor from bag 3"),
    ]
    assert found.tools == ["a soldering iron", "desoldering braid or a pump"]


@pytest.mark.parametrize("how", ["lost", "discarded", "handed over"])
def test_a_part_that_is_gone_stands_in_the_way_in_words(stacked: Bench, how: str) -> None:
    """The way back goes on, with a like part."""
    part = stacked.rows(Step)[4].part_id
    stacked.do(KeepAside, part=part, becomes=how, day="2025-05-01")

    last = way(stacked, 3).back[-1]

    assert (last.needs, last.obstacle) == ("", f"the part is {how}; a like one has to be found")


def test_time_worn_traps_are_told(stacked: Bench) -> None:
    """A lifted pin bends once, and pads that were soldered often hold less well."""
    stacked.plan()
    stacked.step("lift pin", "U7", 4, pin="3")
    stacked.carry_out(1, "2025-05-03", 4)

    traps = {(line.step.mod, line.step.number): line.trap for line in way(stacked).back}

    assert traps[4, 1].startswith("A lifted pin does not bend twice")
    assert traps[1, 1].startswith("3 parts have been soldered here by now")
    assert traps[3, 1] == ""


def test_the_trace_left_is_the_worst_steps_and_is_explained(stacked: Bench) -> None:
    """What stays for good counts as well."""
    assert way(stacked, 3).trace is Trace.SOLDER_ONLY
    stacked.plan()
    stacked.step("drill or cut case", "", 4)
    stacked.carry_out(1, "2025-05-03", 4)

    found = way(stacked)

    assert (found.trace, found.why) == (
        Trace.PERMANENT,
        "what was drilled or cut stays so; Nothing milder did.",
    )
    assert [line.act for line in found.for_good] == ["cannot be undone: drill or cut case"]
    assert len(found.back) == 6


# ---- Walking it ----


def test_half_way_the_record_says_how_far_it_went(stacked: Bench) -> None:
    """Interrupted, it goes on from there."""
    stacked.undo(2, "2025-05-01", 3)

    found = way(stacked)

    assert (found.already, found.last_day, len(found.back)) == (1, date(2025, 5, 1), 5)


def test_with_its_last_step_the_mod_is_undone(stacked: Bench) -> None:
    """One act, one entry; a step before the last says nothing of the mod."""
    before = stacked.entries()
    stacked.undo(2, "2025-05-01", 3, then_undone=True)
    assert stacked.rows(Mod)[2].state == ModState.FITTED

    stacked.undo(1, "2025-05-02", 3, then_undone=True)

    assert stacked.rows(Mod)[2].state == ModState.UNDONE
    assert stacked.entries() == before + 2
    assert "is undone since 2025-05-02" in stacked.last_entry().words
    assert stacked.faults() == []


def test_walked_to_its_end_the_machine_is_as_it_came(stacked: Bench) -> None:
    """Every original is back in its place."""
    machine_came_with = {"R2": 1, "R7": 2, "U7": 3}

    walk(stacked)

    assert seated(stacked) == machine_came_with
    assert {mod.state for mod in stacked.rows(Mod)} == {ModState.UNDONE}
    assert way(stacked).back == []


def test_a_way_back_asks_the_record_no_more_for_more_steps(
    bench: Bench, counting: Callable[[Bench], list[str]]
) -> None:
    """As many questions for three mods as for one."""
    bench.replace_r2(1, "2025-02-03")
    seen = counting(bench)
    way(bench)
    few = len(seen)
    bench.replace_r2(2, "2025-03-03")
    bench.replace_r2(3, "2025-04-03")
    seen.clear()

    way(bench)

    assert len(seen) == few


@pytest.fixture
def counting() -> Callable[[Bench], list[str]]:
    """Listens to the statements that a record runs."""
    from sqlalchemy import event

    def listen(bench: Bench) -> list[str]:
        seen: list[str] = []
        event.listen(bench.store.engine, "before_cursor_execute", lambda *said: seen.append(said[2]))
        return seen

    return listen
