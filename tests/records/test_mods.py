"""A mod's life: which state follows which, on which day, and what must have been done by then."""

import pytest

from server.records.commands.mods import MOVES, DropExpectation, Expect, MoveMod, PlanMod, ReviseMod
from server.records.commands.symptoms import NoteSymptom
from server.records.commands.trials import WriteProcedure
from server.records.errors import NotFound, Stale
from server.records.tables import Expectation, Mod, ModMove
from server.records.words import ModState
from tests.records.conftest import KEEPER, Bench

ALLOWED = {(before, after) for before, follow in MOVES.items() for after in follow}


def state(bench: Bench, mod: int = 1) -> str:
    return str(bench.row(Mod, mod).state)


def bring_to(bench: Bench, wanted: ModState) -> None:
    """A mod with one step, brought to a state the way a keeper would."""
    bench.plan(state="considered")
    bench.step("adjust", instruction="Turn the trimmer.")
    if wanted in (ModState.PLANNED, ModState.FITTED, ModState.UNDONE):
        bench.move("planned", "2025-02-02")
    if wanted in (ModState.FITTED, ModState.UNDONE):
        bench.carry_out(1)
        bench.move("fitted", "2025-02-03")
    if wanted is ModState.UNDONE:
        bench.undo(1)
        bench.move("undone", "2025-03-01")
    if wanted is ModState.DROPPED:
        bench.move("dropped", "2025-02-02")


@pytest.mark.parametrize("begun", ["considered", "planned"])
def test_a_mod_begins_considered_or_planned(bench: Bench, begun: str) -> None:
    """With its first move, signed."""
    bench.plan(state=begun)

    (move,) = bench.rows(ModMove)
    assert (state(bench), move.state, str(move.day), move.signer) == (begun, begun, "2025-02-01", KEEPER)


@pytest.mark.parametrize("begun", ["fitted", "undone", "dropped"])
def test_no_mod_begins_at_its_end(bench: Bench, begun: str) -> None:
    """What was fitted long ago is planned and carried out on its day."""
    assert list(bench.refuse(PlanMod, title="X", state=begun, day="2025-02-01", signer=KEEPER)) == ["state"]


@pytest.mark.parametrize("before", list(ModState))
def test_states_follow_as_life_goes(bench: Bench, before: ModState) -> None:
    """Every other move is refused, and told what could follow."""
    bring_to(bench, before)
    move = {"mod": 1, "day": "2025-04-01", "signer": KEEPER}

    for after in ModState:
        if (before, after) not in ALLOWED:
            said = bench.refuse(MoveMod, state=after, **move)["state"]
            assert said.startswith(f"A mod that is {before} can become ")
            assert all(other in said for other in MOVES[before])


def test_considered_planned_fitted_undone(bench: Bench) -> None:
    """The whole of a life, each move kept."""
    bring_to(bench, ModState.UNDONE)

    assert [move.state for move in bench.rows(ModMove)] == ["considered", "planned", "fitted", "undone"]
    assert state(bench) == "undone"
    assert bench.faults() == []


def test_a_dropped_mod_can_be_considered_again(bench: Bench) -> None:
    """Nothing of it was done."""
    bring_to(bench, ModState.DROPPED)
    bench.move("considered", "2025-04-01")

    assert state(bench) == "considered"


def test_a_move_is_no_earlier_than_the_one_before(bench: Bench) -> None:
    """On the same day at the earliest."""
    bench.plan(state="considered")

    assert list(bench.refuse(MoveMod, mod=1, state="planned", day="2025-01-31", signer=KEEPER)) == ["day"]
    assert bench.move("planned", "2025-02-01").seq


def test_a_mod_is_fitted_when_every_step_is_done(bench: Bench) -> None:
    """Not without steps, not with one waiting, and not before the last was done."""
    fitted = {"mod": 1, "state": "fitted", "signer": KEEPER}
    bench.plan()
    assert "without steps" in bench.refuse(MoveMod, day="2025-02-03", **fitted)["state"]
    bench.step("adjust")
    bench.step("clean")
    bench.carry_out(1)
    assert bench.refuse(MoveMod, day="2025-02-03", **fitted)["state"].startswith("Step 2 is not done yet.")
    bench.carry_out(2, "2025-02-05")
    assert list(bench.refuse(MoveMod, day="2025-02-04", **fitted)) == ["day"]
    assert bench.do(MoveMod, day="2025-02-05", **fitted).seq


def test_a_mod_whose_steps_were_all_put_back_is_not_fitted(bench: Bench) -> None:
    """It was tried, and nothing of it is there."""
    bench.plan()
    bench.step("adjust")
    bench.carry_out(1)
    bench.undo(1, "2025-02-04")

    messages = bench.refuse(MoveMod, mod=1, state="fitted", day="2025-02-05", signer=KEEPER)
    assert messages == {"state": "Every step was put back, so nothing of the mod is fitted."}


@pytest.mark.parametrize("after", ["undone", "dropped", "considered"])
def test_a_mod_is_given_up_when_no_step_stands(bench: Bench, after: str) -> None:
    """What can be put back was put back, and not later than that day."""
    given_up = {"mod": 1, "state": after, "signer": KEEPER}
    bench.plan()
    bench.step("adjust")
    bench.carry_out(1)
    if after == "undone":
        bench.move("fitted", "2025-02-03")

    assert bench.refuse(MoveMod, day="2025-03-01", **given_up)["state"].startswith("Step 1 is done and not put back")
    bench.undo(1, "2025-03-05")
    assert list(bench.refuse(MoveMod, day="2025-03-04", **given_up)) == ["day"]
    assert bench.do(MoveMod, day="2025-03-05", **given_up).seq


def test_what_cannot_be_put_back_does_not_hold_a_mod(bench: Bench) -> None:
    """What was cleaned off stays off, and the mod is undone all the same."""
    bench.plan()
    bench.step("clean")
    bench.carry_out(1)
    bench.move("fitted", "2025-02-03")

    assert bench.move("undone", "2025-03-01").seq


def test_mods_are_numbered_by_machine(bench: Bench) -> None:
    """In the order in which they were written down."""
    bench.plan("First")
    bench.plan("Second")

    assert [(mod.number, mod.title) for mod in bench.rows(Mod)] == [(1, "First"), (2, "Second")]


def test_a_revision_leaves_the_state(bench: Bench) -> None:
    """Purpose, reasoning, hazards and outcome are words; the state follows from moves."""
    bench.plan()
    words = {"title": "Quicker", "purpose": "Why", "reasoning": "How", "outcome": "What", "hazards": ["static"]}
    bench.do(ReviseMod, mod=1, opened_version=1, **words)

    mod = bench.row(Mod, 1)
    assert words == {name: getattr(mod, name) for name in words}
    assert mod.state == "planned"


@pytest.mark.parametrize("number", [0, 2, -1, 2**31, 2**63, 10**30])
def test_a_mod_that_is_not_there_is_told(bench: Bench, number: int) -> None:
    """However large its number."""
    bench.plan()
    with pytest.raises(NotFound, match="There is no modification"):
        bench.move("dropped", "2025-03-01", mod=number)


# ---- What is expected of it ----


def test_what_is_expected_is_tied_to_a_procedure(bench: Bench) -> None:
    """One that is not there is told beside the field."""
    bench.plan()
    bench.do(WriteProcedure, title="Timing")
    bench.do(Expect, mod=1, sentence="It is quicker", procedure="timing", sense="falls below", bound="400")

    (expected,) = bench.rows(Expectation)
    assert (expected.number, expected.procedure_id, expected.sense, expected.bound) == (1, 1, "falls below", 400.0)
    assert list(bench.refuse(Expect, mod=1, sentence="X", procedure="nothing")) == ["procedure"]


@pytest.mark.parametrize("sense", ["falls below", "rises above"])
def test_below_or_above_needs_a_bound(bench: Bench, sense: str) -> None:
    """Below what?"""
    bench.plan()
    bench.do(WriteProcedure, title="Timing")

    assert list(bench.refuse(Expect, mod=1, sentence="X", procedure="timing", sense=sense)) == ["bound"]


def test_an_expectation_can_be_dropped_once(bench: Bench) -> None:
    """The journal keeps it."""
    drop = {"mod": 1, "sentence": "It is quicker"}
    bench.plan()
    bench.do(Expect, **drop)
    bench.do(DropExpectation, number=1, **drop)

    assert bench.rows(Expectation) == []
    assert bench.last_entry().change[0]["before"]["sentence"] == "It is quicker"
    for number in (1, 2**40):
        with pytest.raises(NotFound, match="There is no expectation"):
            bench.do(DropExpectation, number=number, **drop)


# ---- What kind of work it is, and what it answers ----


def test_a_mod_answers_a_symptom_of_its_machine(bench: Bench) -> None:
    """Which is said in the journal, changed and taken away; one that is not there is refused."""
    bench.do(NoteSymptom, title="It hangs", seen_on="2025-01-20")
    new = {"title": "Faster clock", "day": "2025-02-01", "signer": KEEPER}

    assert bench.refuse(PlanMod, symptom=2, **new) == {"symptom": "There is no symptom “2”."}
    bench.do(PlanMod, symptom=1, aim="remedy", **new)
    assert bench.last_entry().words.endswith("It answers symptom 1.")
    bench.do(ReviseMod, mod=1, opened_version=1, title="Faster clock", aim="remedy")
    assert bench.last_entry().words == "Mod 1 of TM-03, Faster clock: it answers no symptom any more."
    bench.do(ReviseMod, mod=1, opened_version=2, title="Faster clock", aim="adapt for use", symptom=1)
    assert bench.last_entry().words.endswith("aim from “remedy” to “adapt for use”; it answers symptom 1.")
    assert (bench.rows(Mod)[0].aim, bench.rows(Mod)[0].symptom_id) == ("adapt for use", 1)
    assert bench.faults() == []


def test_what_another_tied_it_to_is_shown_beside_ones_own(bench: Bench) -> None:
    """By the symptom's number, as the form has it."""
    bench.do(NoteSymptom, title="It hangs", seen_on="2025-01-20")
    bench.plan()
    bench.do(ReviseMod, mod=1, opened_version=1, title="Faster clock", symptom=1)

    with pytest.raises(Stale) as stale:
        bench.do(ReviseMod, mod=1, opened_version=1, title="Faster clock", aim="remedy")

    rows = {row.field: (row.yours, row.theirs) for row in stale.value.rows}
    assert (rows["symptom"], rows["aim"]) == (("", "1"), ("remedy", ""))


def test_a_restoration_says_what_was_lost(bench: Bench) -> None:
    """When it is planned, and when it is revised into one."""
    planned = {"title": "As it was", "day": "2025-02-01", "signer": KEEPER, "aim": "restore"}
    bench.plan()

    assert list(bench.refuse(PlanMod, **planned)) == ["purpose"]
    assert list(bench.refuse(ReviseMod, mod=1, opened_version=1, title="As it was", aim="restore")) == ["purpose"]
    assert bench.do(PlanMod, purpose="The picture that it came with.", **planned).seq
