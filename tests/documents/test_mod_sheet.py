"""What stands on a mod sheet, in words."""

from dataclasses import asdict, replace
from datetime import date
from typing import Any

import pytest

from server.documents.mod_sheet import SheetData, sheet_data
from server.documents.sheet_choice import SheetChoice
from server.documents.sheet_shape import SheetReading
from server.records.cautions import CAUTIONS
from server.records.commands.circuits import AttachCircuit
from server.records.commands.machines import EnterMachine
from server.records.commands.mod_lists import ImportMods
from server.records.commands.mods import PlanMod
from server.records.commands.steps import AddStep, UndoStep
from server.records.commands.symptoms import EndSymptom, JudgeCause, NoteSymptom, SuspectCause
from server.records.commands.trials import RecordTrial, WriteProcedure
from server.records.questions.addresses import find_machine
from server.records.questions.sheet import whole_machine
from server.records.store import Store
from server.records.words import Hazard, StepKind
from tests.documents.invented import KEEPER, PRIVATE_WORDS, TAG, Bench, brighten, enter, route_reset

DAY = date(2026, 1, 2)


def sheet_of(bench: Bench, choice: SheetChoice | None = None) -> SheetData:
    with bench.store.reading() as session:
        whole = whole_machine(session, find_machine(session, bench.tag))
        return sheet_data(whole, "ab" * 32, DAY, KEEPER, choice or SheetChoice())


@pytest.fixture(scope="session")
def sheet(told: Bench) -> SheetData:
    return sheet_of(told)


def test_the_sheet_says_what_the_machine_is(sheet: SheetData) -> None:
    facts = dict(sheet.facts)

    assert sheet.named == "Wherrymoor Plover 80 with the second drive"
    assert facts["Serial number"] == "00417"
    assert facts["Keeper"] == KEEPER
    assert [(board.name, board.kind, board.marks) for board in sheet.boards] == [
        ("Main board", "main board", "revision C"),
        ("Supply", "supply, on Main board", "part number SP-2"),
    ]


def test_hazards_of_machine_boards_and_mods_bring_their_cautions(sheet: SheetData) -> None:
    expected = [Hazard.MAINS_INSIDE, Hazard.CHARGED_RESERVOIR, Hazard.LEAD_AND_FUMES, Hazard.STATIC]

    assert sheet.cautions == tuple(CAUTIONS[hazard] for hazard in expected)


def test_mods_in_force_and_undone_stand_apart_and_thoughts_are_left_out(sheet: SheetData) -> None:
    assert [(mod.number, mod.state, mod.day) for mod in sheet.in_force] == [
        (1, "in force", "2025-02-03"),
        (2, "in force", "2025-03-09"),
    ]
    assert [(mod.number, mod.state, mod.day) for mod in sheet.undone] == [(3, "undone", "2025-04-09")]
    assert "A quieter fan" not in str(sheet)


def test_steps_say_what_was_really_done(sheet: SheetData) -> None:
    steps = [step.words for mod in sheet.in_force for step in mod.steps]

    assert steps == [
        "Took the 360 Ω ±5 % resistor (original) out of R7 on Main board, into bag 1",
        "Fitted 330 Ω ±1 % resistor (new) at R7 on Main board; planned was 300 Ω",
        "Cleaned",
        "Cut a trace at U4 on Main board, pin 3",
        "Took the 470 µF ±20 % capacitor (original) out of C3 on Main board; it was discarded",
        "Fitted 470 µF ±20 % capacitor (new) at C3 on Main board",
    ]


def test_a_step_that_was_put_back_says_so(sheet: SheetData) -> None:
    assert [step.put_back for step in sheet.undone[0].steps] == [f"put back on 2025-04-09 by {KEEPER}"] * 2


def test_the_trace_left_comes_with_its_reason(sheet: SheetData) -> None:
    traces = [(mod.trace, mod.why) for mod in (*sheet.in_force, *sheet.undone)]

    assert traces == [
        ("solder only", "a socketed part leaves nothing, a soldered one fresh solder"),
        (
            "permanent",
            "what was cleaned off does not come back; Flux that creeps under the chip cannot be left there",
        ),
        ("none", "a socketed part leaves nothing, a soldered one fresh solder"),
    ]


def test_a_sum_shows_its_limits_for_the_part_really_fitted(sheet: SheetData) -> None:
    """5 V ±5 % over 330 Ω ±1 % is 15.15 mA, at worst 5.25 V / 326.7 Ω = 16.07 mA: over the 16 mA allowed."""
    (told,) = sheet.in_force[0].sums

    assert (told.number, told.title, told.problem) == (1, "Current in the video driver", "")
    assert [limit.verdict for limit in told.limits] == ["at risk"]
    assert "15.15 mA" in told.limits[0].sentence
    assert "16.07 mA" in told.limits[0].sentence
    assert told.limits[0].basis == "what a buffer of its kind may sink"


def test_a_circuit_tells_what_its_questions_came_to(empty: Store) -> None:
    """From 12 V down to nothing a divider by two is above 3 V while the rail is above 6 V; it sets no limit."""
    bench = Bench(empty)
    bench.do(EnterMachine, tag=TAG, maker="Wherrymoor", model="Plover 80")
    bench.do(PlanMod, title="Halve the rail", state="planned", day="2025-05-01", signer=KEEPER)
    bench.do(AddStep, mod=1, kind=StepKind.OTHER, instruction="Two resistors on a card.")
    bench.carry_out(1, 1, "2025-05-02")
    bench.move(1, "fitted", "2025-05-02")
    half = [{"name": name, "nodes": nodes, "text": "1 kΩ"} for name, nodes in (("R1", "rail, a"), ("R2", "a, 0"))]
    bench.do(
        AttachCircuit,
        mod=1,
        title="Half of it",
        elements=[{"name": "V1", "kind": "source", "nodes": "rail, 0", "text": "12 V"}, *half],
        sweep_source="V1",
        sweep_high="12 V",
        sweep_low="0 V",
        questions=[
            {"which": "a", "how": "is above", "value": "3 V"},
            {"which": "a", "how": "is above", "value": "9 V"},
        ],
    )
    (told,) = sheet_of(bench).in_force[0].sums

    assert (told.limits, told.problem) == ((), "")
    assert told.answers == (
        "When a is above 3 V: From 12\N{NO-BREAK SPACE}V, where it begins, down to 6\N{NO-BREAK SPACE}V.",
        "When a is above 9 V: Never, from 12 V down to 0 V.",
    )


def test_expectations_carry_the_verdict_of_the_trials(sheet: SheetData) -> None:
    expected = [(one.sentence, one.verdict) for mod in sheet.in_force for one in mod.expectations]

    assert expected == [("The level rises above 0.65 V", "met")]


def test_trials_stand_before_and_after_with_their_uncertainty(sheet: SheetData) -> None:
    """Mean of 0.61 0.62 0.60 0.61 is 0.61; u is the root of (0.00816²/4 + 0.01²/12) = 0.0050."""
    faint, level = sheet.trials

    assert (level.procedure, level.mod) == ("Picture level", "Mod 1")
    assert level.before == SheetReading("2025-01-10", "0.6100 ± 0.0050 V", "4 readings")
    assert level.after == SheetReading("2025-02-04", "0.6875 ± 0.0056 V", "4 readings")
    assert level.words.startswith("Better: ")
    assert faint.before is not None
    assert "7 of 8" in faint.before.figures
    assert "0 of 8" in faint.after.figures


def test_what_lies_in_bags_goes_along_with_its_number_and_condition(sheet: SheetData) -> None:
    bags = [(bag.bag, bag.part, bag.origin, bag.came_from, bag.condition) for bag in sheet.bags]

    assert bags == [
        (1, "360 Ω ±5 % resistor", "original", "R7 on Main board", "legs a little short"),
        (3, "5 MHz crystal", "new", "X1 on Main board", "not noted"),
    ]


def test_an_original_that_is_gone_is_named(sheet: SheetData) -> None:
    assert sheet.missing == ("470 µF ±20 % capacitor from C3 on Main board: discarded on 2025-03-08.",)


def test_the_way_back_runs_from_the_last_step_to_the_first(sheet: SheetData) -> None:
    assert [one.step for one in sheet.back] == [
        "Mod 2, step 4",
        "Mod 2, step 3",
        "Mod 2, step 2",
        "Mod 1, step 2",
        "Mod 1, step 1",
    ]
    assert "discarded" in sheet.back[1].obstacle
    assert sheet.back[-1].needs == "360 Ω ±5 % resistor from bag 1"


def test_what_cannot_be_undone_stands_apart_with_its_reason(sheet: SheetData) -> None:
    assert [(one.step, one.act, one.obstacle) for one in sheet.no_way_back] == [
        ("Mod 2, step 1", "clean", "what was cleaned off does not come back")
    ]


def test_what_is_not_known_is_said(sheet: SheetData) -> None:
    assert sheet.not_known == (
        "No part was ever written down for 1 position (R8 on Main board).",
        "The origin of 1 part (U9 on Main board) in it is not known.",
        "Symptom 2, Stops after an hour, seen first on 2025-01-20, is open: suspected is “The supply sags”; "
        "1 ruled out.",
        "Mod 2: what it is for is not written down.",
        "Mod 2: what came of it is not written down.",
        "Mod 2: no trial has been run with it in force.",
    )


def test_a_symptom_that_ended_stands_in_a_line(sheet: SheetData) -> None:
    assert sheet.ended_symptoms == (
        "Symptom 1, Faint picture: cured since 2025-02-04, by mod 1. Confirmed: “The driver gives too little”.",
    )


@pytest.mark.parametrize(
    ("states", "said"),
    [
        ([], "no cause is suspected yet"),
        (["open", "open"], "suspected is “Cause 1” and “Cause 2”"),
        (["ruled out"], "no cause is suspected any more; 1 ruled out"),
        (["open", "confirmed", "ruled out"], "confirmed is “Cause 2”"),
    ],
)
def test_an_open_symptom_says_what_is_held_of_its_causes(empty: Store, states: list[str], said: str) -> None:
    bench = Bench(empty)
    bench.do(EnterMachine, tag=TAG, model="Plover 80")
    bench.do(NoteSymptom, title="Hum", seen_on="2025-01-01")
    for number, state in enumerate(states, start=1):
        bench.do(SuspectCause, symptom=1, sentence=f"Cause {number}.")
        bench.do(JudgeCause, symptom=1, cause=number, opened_version=1, sentence=f"Cause {number}.", state=state,
                 judged_on="2025-01-02", why="Seen.")  # fmt: skip

    sheet = sheet_of(bench)

    assert f"Symptom 1, Hum, seen first on 2025-01-01, is open: {said}." in sheet.not_known
    assert sheet.ended_symptoms == ()


def test_a_trait_of_the_design_is_called_one(empty: Store) -> None:
    bench = Bench(empty)
    bench.do(EnterMachine, tag=TAG, model="Plover 80")
    bench.do(NoteSymptom, title="Stripes", seen_on="2025-01-01")
    bench.do(EndSymptom, symptom=1, opened_version=1, ended_as="explained", ended_on="2025-01-02", ended_note="Memory.")

    assert sheet_of(bench).ended_symptoms == (
        "Symptom 1, Stripes: explained since 2025-01-02, as a trait of the design.",
    )


def test_a_machine_of_which_nothing_is_known_says_all_that_is_missing(empty: Store) -> None:
    bench = Bench(empty)
    bench.do(EnterMachine, tag=TAG, model="Plover 80")

    sheet = sheet_of(bench)

    assert len(sheet.not_known) == 5
    assert [sheet.in_force, sheet.undone, sheet.trials, sheet.bags, sheet.back] == [()] * 5


def test_a_mod_under_way_is_called_begun(empty: Store) -> None:
    bench = Bench(empty)
    enter(bench)
    bench.do(PlanMod, title="Half done", state="planned", day="2025-06-01", signer=KEEPER)
    for _ in range(2):
        bench.do(AddStep, mod=1, kind=StepKind.ADJUST, board="main-board", designator="R7", before_state="at noon")
    bench.carry_out(1, 1, "2025-06-02")

    sheet = sheet_of(bench)

    assert [(mod.state, len(mod.steps)) for mod in sheet.in_force] == [("begun, not finished", 1)]
    assert sheet.in_force[0].steps[0].before == "at noon"
    assert "Mod 1 is begun: 1 step of it is not done." in sheet.not_known


def test_a_mod_from_a_list_tells_what_is_described_and_that_no_way_back_covers_it(empty: Store) -> None:
    bench = Bench(empty)
    enter(bench)
    steps = [{"kind": "other", "instruction": "Fitted the cooler regulator"}, {"kind": "clean", "trace_reason": "Dirt"}]
    mod = {"title": "Cooler supply", "state": "fitted", "steps": steps}
    bench.do(ImportMods, day="2025-06-01", signer=KEEPER, rows=[mod])

    told = sheet_of(bench)
    (mod_told,) = told.in_force

    assert [(one.number, one.words, one.instruction_text) for one in mod_told.described] == [
        (1, "Other work", "Fitted the cooler regulator"),
        (2, "Cleaned", ""),
    ]
    assert mod_told.steps == ()
    assert told.not_covered == "It does not cover mod 1: no step of it is recorded as done."


def test_a_mod_of_which_a_step_was_put_back_says_so(empty: Store) -> None:
    bench = Bench(empty)
    enter(bench)
    brighten(bench)
    bench.do(UndoStep, mod=1, step=2, day="2025-06-01", signer=KEEPER)

    first = sheet_of(bench).in_force[0]

    assert first.state == "in force, partly put back"
    assert [bool(step.put_back) for step in first.steps] == [False, True]


def test_two_trials_between_which_other_mods_changed_say_so(empty: Store) -> None:
    bench = Bench(empty)
    enter(bench)
    bench.do(WriteProcedure, title="Hum", unit="mV", better="lower")
    bench.do(RecordTrial, procedure="hum", day="2025-01-10", readings="5 6 5", signer=KEEPER)
    brighten(bench)
    route_reset(bench)
    bench.do(RecordTrial, procedure="hum", day="2025-07-01", readings="3 3 4", signer=KEEPER)

    trials = {(one.procedure, one.mod): one.words for one in sheet_of(bench).trials}
    of_one = {
        (one.procedure, one.mod): one.words for one in sheet_of(bench, SheetChoice(chosen="yes", mods=["2"])).trials
    }

    together = "What each of these mods did by itself cannot be told from this pair."
    assert trials["Hum", "Mods 1 and 2"].endswith(together)
    assert of_one["Hum", "Mod 2"].endswith("Mod 1 changed between the two as well.")
    assert "changed between" not in trials["Picture level", "Mod 1"]
    assert together not in trials["Picture level", "Mod 1"]


def test_a_procedure_without_a_pair_shows_its_latest_trial_alone(empty: Store) -> None:
    bench = Bench(empty)
    bench.do(EnterMachine, tag=TAG, model="Plover 80")
    bench.do(WriteProcedure, title="Warm-up", unit="s", better="lower")
    for day, readings in (("2025-01-01", "9 9"), ("2025-01-02", "8 8")):
        bench.do(RecordTrial, procedure="warm-up", day=day, readings=readings, signer=KEEPER)

    (alone,) = sheet_of(bench).trials

    assert (alone.mod, alone.before, alone.words) == ("", None, "")
    assert alone.after.day == "2025-01-02"


def test_no_private_field_is_on_the_sheet(sheet: SheetData) -> None:
    words = str(asdict(sheet))

    assert [word for word in PRIVATE_WORDS if word in words] == []


def test_the_digest_stands_short_and_whole(sheet: SheetData) -> None:
    assert sheet.digest == "ab" * 32
    assert sheet.short_digest == "abab abab abab abab"
    assert (sheet.day, sheet.signer) == ("2026-01-02", KEEPER)


def test_no_direction_mark_turns_the_sheets_own_words(awkward: Bench) -> None:
    words = str(asdict(sheet_of(awkward)))

    assert "日本" in words
    assert "\\u202e" not in words
    assert "\u202e" not in words


def test_every_part_of_a_sheet_is_words(awkward: Bench) -> None:
    """Templates print words; a number slips through only where it is counted with. A drawing has its places besides."""

    def plain(value: Any) -> bool:
        if isinstance(value, dict):
            return all(plain(inner) for inner in value.values())
        if isinstance(value, (list, tuple)):
            return all(plain(inner) for inner in value)
        return value is None or isinstance(value, (str, int))

    sheet = sheet_of(awkward)

    assert plain(asdict(replace(sheet, trials=tuple(replace(one, picture=None) for one in sheet.trials))))
    assert [mod.number for mod in sheet.in_force] == [1]
