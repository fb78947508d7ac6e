"""A whole list of mods comes in at once, in one entry, by the rules of the ordinary acts, or not at all."""

import csv
import io
from datetime import date
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlmodel import select

from server.documents.lists import as_csv
from server.records import mods_list
from server.records.commands.board_moves import MoveBoard
from server.records.commands.listed_mods import AS_DESCRIBED, AS_LISTED, LIVES, ON_THE_WAY
from server.records.commands.machines import EnterMachine
from server.records.commands.mod_list_checks import Usual
from server.records.commands.mod_lists import ImportMods
from server.records.commands.mods import MOVES, PlanMod, ReviseMod
from server.records.commands.steps import UndoStep
from server.records.errors import Invalid, NotFound
from server.records.list_kinds import MODS
from server.records.list_table import read_table
from server.records.mods_list import ModRow, check_mods, read_mods
from server.records.questions.addresses import find_machine
from server.records.questions.way_back import way_back
from server.records.questions.whole_lists import OF_A_MACHINE
from server.records.tables import Machine, Mod, ModMove, Placement, Step
from server.records.words import Aim, Hazard, ModState
from tests.records import dossiers
from tests.records.conftest import KEEPER, MAIN, TAG, Bench, Copies

DAY = "2025-02-03"
CUT = {"kind": "cut trace", "board": MAIN, "designator": "R2", "pin": "1"}
OUT = {"kind": "take out", "board": MAIN, "designator": "R2"}


def listed(title: str = "Faster clock", state: str = "fitted", **more: Any) -> dict[str, object]:
    return {"title": title, "state": state, "day": DAY, "signer": KEEPER, **more}


def take_in(bench: Bench, *rows: dict[str, object], **more: object) -> None:
    bench.do(ImportMods, rows=list(rows), **more)


def refused(bench: Bench, *rows: dict[str, object], **more: object) -> str:
    return bench.refuse(ImportMods, rows=list(rows), **more)["rows"]


def enter(bench: Bench, text: str, day: str = "", tag: str = TAG) -> int:
    """Enter a whole list as the command line does; how many of its mods were there already."""
    command, there = mods_list.command_for(bench.store, tag, text.encode(), mods_list.usual_of(day, KEEPER))
    if command:
        bench.store.carry_out(command, KEEPER)
    return there


def looked_at(bench: Bench, text: str) -> list[ModRow]:
    with bench.store.reading() as session:
        table = read_table(text, MODS)
        return check_mods(session, find_machine(session, TAG), read_mods(table), Usual(None, KEEPER))


# ---- What comes in ----


def test_a_list_comes_in_with_one_entry(bench: Bench) -> None:
    before = bench.entries()

    take_in(bench, listed("A"), listed("B", "considered"), listed("C", "dropped"))

    assert bench.entries() == before + 1
    assert bench.last_entry().words == "Entered a list of 3 mods, 1 to 3, of TM-03."
    assert [(mod.number, mod.title, mod.state) for mod in bench.rows(Mod)] == [
        (1, "A", "fitted"),
        (2, "B", "considered"),
        (3, "C", "dropped"),
    ]
    assert bench.faults() == []


def test_numbers_go_on_from_those_that_are_there(bench: Bench) -> None:
    bench.plan("First")

    take_in(bench, listed("Second"))

    assert bench.last_entry().words == "Entered a list of one mod, 2, of TM-03."


def test_everything_that_is_said_of_a_mod_is_kept(bench: Bench) -> None:
    said: dict[str, Any] = {
        "purpose": "So\nthat",
        "reasoning": "Because",
        "outcome": "It did",
        "aim": "remedy",
        "hazards": ["static"],
    }
    take_in(bench, listed(**said))

    mod = bench.row(Mod, 1)
    assert {name: getattr(mod, name) for name in said} == said


@pytest.mark.parametrize("state", list(ModState))
def test_a_mod_comes_in_by_the_moves_of_an_ordinary_life(bench: Bench, state: ModState) -> None:
    """Each signed, on the day that the list gives; the earlier ones say that it gives no other."""
    take_in(bench, listed(state=state))

    moves = bench.rows(ModMove)
    assert tuple(move.state for move in moves) == LIVES[state]
    assert {(str(move.day), move.signer) for move in moves} == {(DAY, KEEPER)}
    assert {move.note for move in moves[:-1]} <= {ON_THE_WAY}


def test_every_listed_life_is_one_that_a_mod_can_have() -> None:
    assert LIVES.keys() == set(ModState)
    for state, life in LIVES.items():
        assert life[0] in (ModState.CONSIDERED, ModState.PLANNED)
        assert life[-1] is state
        assert all(after in MOVES[before] for before, after in pairwise(life))


def test_day_and_signer_of_the_list_count_where_a_mod_says_none(bench: Bench) -> None:
    rows: list[dict[str, object]] = [{"title": "A", "state": "planned"}, listed("B", "planned", signer="Ida Quern")]
    take_in(bench, *rows, day="2024-12-31", signer="Ada Wren")

    assert [(str(move.day), move.signer) for move in bench.rows(ModMove)] == [
        ("2024-12-31", "Ada Wren"),
        (DAY, "Ida Quern"),
    ]


def test_a_mod_that_is_written_by_hand_and_one_of_a_list_are_journalled_alike(bench: Bench) -> None:
    """The rows that are stored in bulk leave the same in the journal as those stored one by one."""
    bench.do(PlanMod, title="A", purpose="So", state="planned", day=DAY, signer=KEEPER, hazards=["static"])
    bench.step("cut trace", "R2", pin="1")
    by_hand = bench.last_entry().change
    take_in(bench, listed("B", "planned", purpose="So", hazards=["static"], steps=[CUT]))

    of_list = {change["table"]: set(change["after"]) for change in bench.last_entry().change}
    assert of_list["step"] == {name for change in by_hand if change["table"] == "step" for name in change["after"]}
    assert of_list["mod"] == {"id", "machine_id", "number", "title", "purpose", "hazards", "state"}
    assert of_list["mod_move"] == {"id", "mod_id", "state", "day", "signer", "note"}


# ---- Its steps ----


def test_steps_are_described_and_no_part_is_moved(bench: Bench) -> None:
    """A step that takes a part out is not recorded as done from a list: its day stands in its words."""
    before = bench.rows(Placement)

    take_in(bench, listed(steps=[OUT | {"instruction": "Gently", "done_on": "2025-02-01"}]))

    (step,) = bench.rows(Step)
    assert (step.kind, step.position_id, step.done_on) == ("take out", 1, None)
    assert step.instruction == "Gently\n\nIn the list that this comes from it is done on 2025-02-01."
    assert bench.rows(Placement) == before
    assert bench.rows(ModMove)[-1].note == AS_DESCRIBED


def test_a_described_step_can_be_carried_out_afterwards(bench: Bench) -> None:
    """By the ordinary act, with the part and its day; then it is in the way back."""
    take_in(bench, listed(steps=[OUT]))

    bench.carry_out(1, "2025-02-01")

    with bench.store.reading() as session:
        assert len(way_back(session, find_machine(session, TAG)).back) == 1
    assert bench.faults() == []


def test_a_step_that_moves_no_part_is_recorded_on_its_day(bench: Bench) -> None:
    """As if it had been carried out here: it is in the way back, and can be put back."""
    take_in(bench, listed(signer="Ida Quern", steps=[CUT | {"done_on": "2025-02-01"}]))

    (step,) = bench.rows(Step)
    assert (str(step.done_on), step.done_by, step.done_order) == ("2025-02-01", "Ida Quern", 1)
    assert bench.rows(ModMove)[-1].note == AS_LISTED
    with bench.store.reading() as session:
        assert [line.act for line in way_back(session, find_machine(session, TAG)).back] == [
            "bridge the cut: pin 1 at R2 on Main board"
        ]
    bench.do(UndoStep, mod=1, step=1, day="2025-03-01", signer=KEEPER, then_undone=True)
    assert bench.row(Mod, 1).state == "undone"
    assert bench.faults() == []


def test_steps_after_one_that_is_only_described_are_described_too(bench: Bench) -> None:
    """Steps are done in their order."""
    done = {"done_on": "2025-02-01"}
    take_in(bench, listed(steps=[CUT | done, OUT | done, CUT | done | {"pin": "2"}]))

    assert [step.done_on is not None for step in bench.rows(Step)] == [True, False, False]
    assert bench.rows(ModMove)[-1].note == AS_DESCRIBED


def test_what_was_done_is_numbered_in_the_order_of_its_days(bench: Bench) -> None:
    """Whatever the order of the list: so what lies on what is as it was at the bench."""
    take_in(
        bench,
        listed("Later", steps=[CUT | {"done_on": "2025-02-02"}]),
        listed("Earlier", steps=[CUT | {"done_on": "2025-01-02"}]),
    )

    with bench.store.reading() as session:
        back = way_back(session, find_machine(session, TAG)).back
    assert [line.step.mod for line in back] == [1, 2]
    assert bench.faults() == []


@pytest.mark.parametrize("state", ["undone", "dropped"])
def test_steps_of_what_is_over_are_described(bench: Bench, state: str) -> None:
    take_in(bench, listed(state=state, steps=[CUT | {"done_on": "2025-02-01"}]))

    assert bench.row(Step, 1).done_on is None
    assert bench.faults() == []


def test_a_board_can_be_named_as_people_name_it(bench: Bench) -> None:
    take_in(bench, listed(steps=[CUT | {"board": "MAIN board"}, {"instruction": "Dust it", "board": "Supply"}]))

    assert [step.position_id for step in bench.rows(Step)] == [1, None]


# ---- What will not do ----


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ({"day": None}, "Day: nothing says since when it is fitted."),
        ({"signer": ""}, "Signer: nobody signs that it is fitted."),
        ({"aim": "restore"}, "Purpose: To restore is to bring back what was lost"),
        (
            {"state": "considered", "steps": [CUT | {"done_on": DAY}]},
            "State: a mod that is only considered has no step",
        ),
        (
            {"steps": [CUT | {"done_on": "2025-02-04"}]},
            "Day: its step was done on 2025-02-04; it cannot be fitted before.",
        ),
        ({"steps": [CUT | {"designator": "R99"}]}, "Its step, designator: Main board has no position R99."),
        (
            {"steps": [CUT | {"board": "lid"}]},
            "Its step, board: TM-03 has no board “lid”. Its boards: Main board, Supply.",
        ),
        ({"steps": [CUT | {"board": ""}]}, "Its step, board: Say on which board the position is."),
        ({"steps": [{"kind": "take out"}]}, "Its step, designator: To take out needs a position, such as U7."),
        (
            {"steps": [{"kind": "clean"}]},
            "Its step, trace reason: This stays for good: write why nothing milder will do.",
        ),
        (
            {"steps": [CUT | {"done_on": "2025-02-02"}, CUT | {"pin": "2", "done_on": "2025-02-01"}]},
            "Step 2, done on: The step before was done on 2025-02-02; this one cannot have been done before.",
        ),
    ],
)
def test_a_mod_that_breaks_a_rule_stores_nothing(bench: Bench, row: dict[str, object], said: str) -> None:
    """Neither it nor those beside it."""
    sentence = refused(bench, listed("Good"), listed("Bad") | row)

    assert sentence.startswith("Row 2 (Bad): ")
    assert said in sentence
    assert bench.rows(Mod) == []


def test_a_step_cannot_have_been_done_before_what_lies_below_it(bench: Bench) -> None:
    bench.plan("First")
    bench.step("cut trace", "R2", pin="1")
    bench.carry_out(1, "2025-01-20")

    said = refused(bench, listed(steps=[CUT | {"done_on": "2025-01-10"}]))

    assert "The last act on this part or pin of R2 was on 2025-01-20; this one came after it." in said


def test_a_pin_of_a_part_that_came_later_was_not_lifted_before(bench: Bench) -> None:
    bench.replace_r2(day="2025-02-01")
    lift = {"kind": "lift pin", "board": MAIN, "designator": "R2", "pin": "1", "done_on": "2025-01-10"}

    assert "The last act on this part or pin of R2 was on 2025-02-01" in refused(bench, listed(steps=[lift]))


def test_nothing_was_done_to_what_does_not_sit_there(bench: Bench) -> None:
    bench.plan("First")
    bench.step("take out", "R2")
    bench.carry_out(1, "2025-01-20")
    adjust = {"kind": "adjust", "board": MAIN, "designator": "R2", "done_on": "2025-01-25"}

    assert "Nothing sits at R2 now, so nothing can be done to it." in refused(bench, listed(steps=[adjust]))


def test_a_step_was_not_done_before_its_board_came(bench: Bench) -> None:
    bench.do(EnterMachine, tag="TM-08", model="Merle 80")
    bench.do(MoveBoard, board=MAIN, to="TM-08", day="2025-01-20", signer=KEEPER)

    said = refused(bench, listed(steps=[CUT | {"done_on": "2025-01-10"}]), machine="TM-08")

    assert "Main board came to this machine on 2025-01-20; this cannot have been done before." in said


@pytest.mark.parametrize("rows", [0, 20_001])
def test_a_list_has_some_mods_and_not_too_many(rows: int) -> None:
    with pytest.raises(Invalid) as problem:
        ImportMods.read({"machine": TAG, "rows": [listed()] * rows})
    assert "rows" in problem.value.messages


def test_a_list_for_a_machine_that_is_not_there_is_not_found(bench: Bench) -> None:
    with pytest.raises(NotFound):
        enter(bench, "title\nA\n", tag="XX-99")


# ---- Again ----

LIST = (
    "No,Title,State,Day,By,Purpose,Hazards,Board,Ref,Act,Pin,Done on\n"
    "1,Faster clock,fitted,2025-02-03,Ida,So that,static,Main board,R2,cut trace,1,2025-02-01\n"
    "1,,,,,,,Main board,R2,take out,,2025-02-01\n"
    "2,New fuse,idea,2025-02-03,,,,,,,,\n"
)


def test_a_list_that_is_entered_again_adds_nothing(bench: Bench) -> None:
    assert enter(bench, LIST) == 0
    before = bench.entries()

    assert enter(bench, LIST) == 2
    assert [row.there for row in looked_at(bench, LIST)] == [1, 2]
    assert bench.entries() == before


def test_a_list_that_has_grown_adds_what_is_new(bench: Bench) -> None:
    enter(bench, LIST)

    assert enter(bench, LIST + "3,Louder,planned,2025-02-03,,,,,,,,\n") == 2
    assert [mod.title for mod in bench.rows(Mod)] == ["Faster clock", "New fuse", "Louder"]


def test_a_mod_is_there_already_though_the_record_has_gone_on(bench: Bench) -> None:
    """What the list does not say can be anything: a step that was carried out since, an outcome that was written."""
    enter(bench, LIST)
    bench.carry_out(2, "2025-02-01")
    bench.do(ReviseMod, mod=2, title="New fuse", outcome="Never blown", opened_version=1)

    assert enter(bench, LIST) == 2


@pytest.mark.parametrize(
    ("was", "becomes", "differs"),
    [
        ("So that", "Otherwise", "purpose"),
        ("fitted,2025-02-03", "planned,2025-02-03", "state"),
        ("fitted,2025-02-03", "fitted,2025-02-05", "day"),
        ("Ida", "Ada", "signer"),
        ("static", "battery", "hazards"),
        ("cut trace,1", "cut trace,2", "steps"),
    ],
)
def test_a_list_changes_no_mod_that_is_there(bench: Bench, was: str, becomes: str, differs: str) -> None:
    enter(bench, LIST)

    (bad,) = [line for row in looked_at(bench, LIST.replace(was, becomes)) for line in row.bad]
    assert bad.reason.startswith(
        f"Mod 1 is called so already, and differs in: {differs}. A list adds mods and changes none"
    )
    with pytest.raises(Invalid):
        enter(bench, LIST.replace(was, becomes))


def test_the_command_refuses_what_is_there_already(bench: Bench) -> None:
    """Where somebody else was quicker."""
    take_in(bench, listed())

    assert "Mod 1 says the same already." in refused(bench, listed())


def test_a_file_with_bad_lines_names_them(bench: Bench) -> None:
    with pytest.raises(Invalid) as problem:
        enter(
            bench,
            "title,state,day\nGood,planned,2025-02-03\nBad,gone,\n" + "".join(f"M{n},planned,\n" for n in range(30)),
        )

    lines = problem.value.messages["text"].splitlines()
    assert lines[0].startswith("Line 3 (Bad): State: “gone” is none of")
    assert lines[1] == "Line 4 (M0): Day: nothing says since when it is planned."
    assert lines[-1] == "And 11 more."
    assert bench.rows(Mod) == []


def test_a_list_that_was_stopped_leaves_nothing(bench: Bench) -> None:
    class Halt(Exception):
        pass

    def stopping(done: int, total: int) -> None:  # noqa: ARG001
        if done:
            raise Halt

    command = ImportMods.read({"machine": TAG, "rows": [listed(f"M{n}") for n in range(600)]})
    with pytest.raises(Halt):
        bench.store.carry_out(command, KEEPER, stopping)

    assert bench.rows(Mod) == []
    assert bench.faults() == []


# ---- Out and in ----


def test_mods_of_a_list_go_along_in_a_dossier(bench: Bench, copies: Copies, tmp_path: Path) -> None:
    """Though not all that was done for them is recorded: another record holds them as they are, to the byte."""
    take_in(bench, *[listed(f"Mod {state}", state, steps=[CUT | {"pin": state}]) for state in ModState])
    take_in(bench, listed("Bare"), listed("Done", steps=[CUT | {"pin": "9", "done_on": "2025-02-01"}]))
    place = dossiers.write(bench.store, TAG, tmp_path / "dossier.zip")

    with copies("sqlite", "empty") as other:
        dossiers.take(other, place)

        assert dossiers.record_in(other, TAG) == dossiers.record_in(bench.store, TAG)
        assert dossiers.faults_in(other) == []


def exported(bench: Bench, tag: str = TAG) -> str:
    """The list of mods as it leaves the house."""
    wanted = OF_A_MACHINE["mods"]
    with bench.store.reading() as session:
        rows = wanted.rows(session, find_machine(session, tag), private=False)
        return b"".join(as_csv(wanted.headings(private=False), rows)).decode()


def without_numbers(text: str) -> list[list[str]]:
    return [row[1:] for row in csv.reader(io.StringIO(text.removeprefix("\ufeff"), newline=""))]


def test_the_exported_list_is_there_already_and_comes_in_elsewhere(bench: Bench) -> None:
    """In every state, with all that its columns hold."""
    rows = [listed(f"Mod {state}", state, purpose="- dashed\n= formula") for state in ModState]
    take_in(bench, *rows, listed("'=x", aim="remedy", hazards=["static", "battery"], outcome="+5 V"))
    bench.do(EnterMachine, tag="TM-08", model="Merle 80")
    taken = exported(bench)

    assert enter(bench, taken) == 6
    assert enter(bench, taken, tag="TM-08") == 0
    assert without_numbers(exported(bench, "TM-08")) == without_numbers(taken)
    assert bench.faults() == []


TEXT = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=30)
PROSE = st.text(
    st.one_of(st.characters(exclude_categories=["Cs", "Cc"]), st.sampled_from("\n\t'=+-@,;\"")), max_size=40
)
ANY_MOD = st.fixed_dictionaries(
    {
        "title": st.one_of(TEXT, st.sampled_from(["=1+1", "'-x", "a, b", "Title", "sep=;"])).filter(str.strip),
        "state": st.sampled_from(list(ModState)),
        "signer": TEXT.filter(str.strip),
        "day": st.dates(min_value=date(1970, 1, 1), max_value=date(2025, 1, 1)),
        "aim": st.sampled_from(["", *(aim.value for aim in Aim if aim is not Aim.RESTORE)]),
        "hazards": st.lists(st.sampled_from(list(Hazard)), unique=True, max_size=3),
        "purpose": PROSE,
        "reasoning": PROSE,
        "outcome": PROSE,
    }
)


@pytest.mark.parametrize("kind", ["sqlite"])
def test_whatever_a_mod_says_survives_the_way_out_and_in(copies: Copies, kind: str) -> None:
    """Entered again it is there already; on another machine it is the same."""

    @settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
    @given(st.lists(ANY_MOD, min_size=1, max_size=4))
    def run(mods: list[dict[str, Any]]) -> None:
        with copies(kind, "entered") as store:
            bench = Bench(store)
            bench.do(EnterMachine, tag="TM-08", model="Merle 80")
            take_in(bench, *mods)
            taken = exported(bench)

            assert enter(bench, taken) == len(mods)
            assert enter(bench, taken, tag="TM-08") == 0
            assert without_numbers(exported(bench, "TM-08")) == without_numbers(taken)
            with bench.store.reading() as session:
                there = session.exec(select(Mod).join(Machine).where(Machine.tag == "TM-08")).all()
            assert len(there) == len(mods)

    run()
