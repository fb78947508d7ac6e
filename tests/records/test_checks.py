"""Whether the record is whole: nothing that the commands do breaks it, and each broken rule is named."""

import errno
import os
from datetime import date, timedelta
from io import BytesIO
from typing import Any
from uuid import UUID

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image
from sqlalchemy import Executable, update
from sqlmodel import SQLModel

from server.records.commands.accounts import (
    AskForCodes,
    ChangePassword,
    CloseAccount,
    OpenAccount,
    ReopenAccount,
    ReviseAccount,
    StopAskingForCodes,
)
from server.records.commands.base import Command
from server.records.commands.board_moves import MoveBoard
from server.records.commands.calculations import AttachCalculation, ReviseCalculation, RunCalculation, TickAssumption
from server.records.commands.circuits import AttachCircuit, ReviseCircuit
from server.records.commands.dating import ChooseReading, OverruleDating
from server.records.commands.designs import FitDesign, ReviseDesign, WriteDesign
from server.records.commands.files import AddFile, DropFile, ReviseFile
from server.records.commands.invitations import AcceptInvitation, MakeInvitation, WithdrawInvitation
from server.records.commands.loans import FindAgain, LendPart, TakeBack
from server.records.commands.machines import AddBoard, AddPosition, EnterMachine, ReviseBoard, RevisePosition
from server.records.commands.mod_lists import ImportMods
from server.records.commands.mods import DropExpectation, Expect, MoveMod, PlanMod, ReviseMod
from server.records.commands.nets import AddNet, DropNet, ReviseNet
from server.records.commands.parts import BagPart, EnterPart, ImportParts, KeepAside, RevisePart
from server.records.commands.photographs import AddPhotograph, DropPhotograph, ReviseCaption
from server.records.commands.share_links import MakeShareLink, WithdrawShareLink
from server.records.commands.sheets import SignSheet
from server.records.commands.steps import (
    AddStep,
    CarryOutStep,
    DropStep,
    FitAnother,
    MoveStep,
    ReviseStep,
    UndoStep,
)
from server.records.commands.symptoms import (
    AddEvidence,
    DropEvidence,
    EndSymptom,
    JudgeCause,
    NoteSymptom,
    ReopenSymptom,
    ReviseSymptom,
    SuspectCause,
)
from server.records.commands.trial_drops import DropTrial
from server.records.commands.trials import NoteModsInForce, RecordTrial, ReviseTrial, WriteProcedure
from server.records.commands.waveforms import RecordWaveform, ReviseWaveform
from server.records.errors import RecordError, Stale
from server.records.words import ModState, Role, StepKind
from tests.records.blinker import ELEMENTS, blinker
from tests.records.conftest import KEEPER, KINDS, MAIN, TAG, Bench, Copies, behind
from tests.records.map_scene import ACTS as MAP_ACTS
from tests.records.map_scene import mapped, photograph
from tests.records.sheets import drawn_up, sign

# ---- Whatever the commands do, the record stays whole ----

PLACES = st.sampled_from(["R9", "R2", "R7", "U7", "C4", "r07", "C5"])
MODS = st.sampled_from([2, 1, 2, 2, 3])
NUMBERS = st.sampled_from([1, 2, 3, 4, 5, 6])
FIRST = st.just(1)
CAPTURE = "\n".join(["s,V", *(f"{n},{5 * 0.9**n:.4f}" for n in range(60))]).encode()
NEXT_DAY = "the day after the last one"
DAYS = st.sampled_from([NEXT_DAY] * 9 + ["2025-02-03"])
VERSIONS = st.just(1)
SECOND = "TM-08"
HASH = f"$argon2id${'x' * 40}"  # of nothing: nobody signs in here


def _png() -> bytes:
    file = BytesIO()
    Image.new("RGB", (8, 6), "white").save(file, "PNG")
    return file.getvalue()


PICTURE = _png()
VALUES = st.sampled_from(["330 Ω", "1 kΩ ±5 %", "", "4k7 Ω", "no value"])
WORDS = st.sampled_from(["", "a word", "Ω “quoted”"])
STATES = st.sampled_from(["fitted", "undone", "fitted", "undone", *ModState])
READINGS = st.sampled_from(["501 503", "none"])
GOES = st.sampled_from(["bag", "bag", "discarded", "lost", "handed over"])
ORIGINS = st.sampled_from(["original", "new", "unknown"])
CODES = st.sampled_from(["", "8109", "8167"])
CHOSEN = "1981-09-01/1981-09-30"
PART = {
    "kind": st.sampled_from(["resistor", "chip", "other"]),
    "origin": ORIGINS,
    "value": VALUES,
    "type": WORDS,
    "date_code": CODES,
}
STOWED = {"day": DAYS, "becomes": GOES, "bag": st.sampled_from([None, 1, 7])}
FITTED = {"value": VALUES, "bagged_part": st.sampled_from([None, None, 1, 2, 3]), "signer": st.just(KEEPER)}
STEP = {"mod": MODS, "step": NUMBERS}
DONE_STEP = {"mod": st.sampled_from([1, 1, 2]), "step": st.sampled_from([2, 2, 1])}
PLANNED = {
    "kind": st.sampled_from(["take out", "fit", "take out", "fit", *StepKind]),
    "board": st.just(MAIN),
    "designator": PLACES,
    "pin": st.just("3"),
    "planned_value": VALUES,
    "trace_reason": st.sampled_from(["Needed", "Needed", ""]),
}
SUM_INPUTS = [
    {"name": "V", "text": "5 V ±5 %"},
    {"name": "R", "source": "part", "board": MAIN, "designator": "R7", "when_empty": "1 MΩ"},
]
SUM = {
    "title": st.just("Current"),
    "inputs": st.just(SUM_INPUTS),
    "assumptions": st.just([{"sentence": "The supply is steady"}]),
    "lines": st.sampled_from([[{"name": "I", "expression": "V / R"}], [{"name": "I", "expression": "2 * V / R"}]]),
}
NET = {
    "board": st.just(MAIN),
    "name": WORDS,
    "pins": st.lists(
        st.fixed_dictionaries(
            {
                "designator": PLACES,
                "pin": st.sampled_from(["1", "2", "pin 2", ""]),
                "role": st.sampled_from(["input", "totem-pole output", "either way", "passive"]),
                "series": st.sampled_from(["", "", "R9", "R2"]),
                "other_end": st.sampled_from(["", "", "5 V"]),
            }
        ),
        max_size=3,
    ),
}
# Exact, and looked at over half a volt: this test is about the record.
CIRCUIT = {name: st.just(value) for name, value in blinker().items() if name not in ("mod", "elements")}
CIRCUIT |= {
    "elements": st.sampled_from([ELEMENTS, [*ELEMENTS, {"name": "R4", "nodes": "rail, out", "text": "1 kΩ"}]]),
    "sweep_low": st.just("4.5 V"),
}
LISTED_STEP = {
    **{name: PLANNED[name] for name in ("kind", "board", "designator", "pin", "planned_value", "trace_reason")},
    "done_on": st.sampled_from([None, "2025-02-03", "2025-02-05"]),
}
LISTED_MOD = {
    "title": st.sampled_from(["Quieter", "Louder", "Cooler", "Brighter", "Lighter"]),
    "state": STATES,
    "purpose": WORDS,
    "steps": st.lists(st.fixed_dictionaries(LISTED_STEP), max_size=2),
}
ACTS: dict[type[Command], dict[str, st.SearchStrategy[Any]]] = {
    EnterPart: {"board": st.just(MAIN), "designator": PLACES, "fitted_on": st.one_of(st.none(), DAYS), **PART},
    BagPart: {"day": DAYS, "bag": st.sampled_from([None, 3]), **PART},
    RevisePart: {"part": NUMBERS, "opened_version": VERSIONS, **PART},
    ChooseReading: {"part": NUMBERS, "reading": st.sampled_from(["", CHOSEN]), "opened_version": VERSIONS},
    OverruleDating: {
        "part": NUMBERS,
        "dating": st.sampled_from(["counts", "does not count", "as the codes say"]),
        "note": WORDS,
        "opened_version": VERSIONS,
    },
    KeepAside: {"part": NUMBERS, **STOWED},
    LendPart: {"part": NUMBERS, "to_whom": st.just("Ida Quern"), "day": DAYS},
    FindAgain: {"part": NUMBERS, "day": DAYS, "bag": st.sampled_from([None, 3])},
    TakeBack: {"part": NUMBERS, "day": DAYS, "condition": WORDS},
    ImportParts: {
        "board": st.just("supply"),
        "rows": st.lists(st.fixed_dictionaries({"designator": PLACES, "value": VALUES}), max_size=3),
        "matching": st.sampled_from([[], [], [{"heading": "Ref", "field": "designator"}], [{"heading": "Ref"}]]),
    },
    ImportMods: {
        "rows": st.lists(st.fixed_dictionaries(LISTED_MOD), min_size=1, max_size=2),
        "day": DAYS,
        "signer": st.sampled_from([KEEPER, KEEPER, ""]),
        "matching": st.sampled_from([[], [{"heading": "Ref", "field": "title"}]]),
    },
    AddPosition: {"board": st.just(MAIN), "designator": PLACES, "mounting": st.just("wired")},
    RevisePosition: {
        "board": st.just(MAIN),
        "designator": PLACES,
        "mounting": st.just("socketed"),
        "opened_version": VERSIONS,
    },
    ReviseBoard: {
        "board": st.just(MAIN),
        "name": WORDS,
        "kind": st.just("main board"),
        "parent": st.sampled_from(["", "supply", MAIN]),
        "opened_version": VERSIONS,
    },
    MoveBoard: {
        "machine": st.sampled_from([TAG, SECOND]),
        "board": st.sampled_from(["supply", MAIN]),
        "to": st.sampled_from([SECOND, TAG]),
        "day": DAYS,
        "signer": st.just(KEEPER),
    },
    PlanMod: {"title": st.just("Faster"), "state": st.just("planned"), "day": DAYS, "signer": st.just(KEEPER)},
    ReviseMod: {"mod": MODS, "title": WORDS, "opened_version": VERSIONS},
    MoveMod: {"mod": MODS, "state": STATES, "day": DAYS, "signer": st.just(KEEPER)},
    Expect: {"mod": MODS, "sentence": st.just("It is faster")},
    DropExpectation: {"mod": MODS, "number": NUMBERS, "sentence": st.just("It is faster")},
    AddStep: {"mod": MODS, **PLANNED},
    ReviseStep: {**STEP, **PLANNED, "opened_version": VERSIONS},
    MoveStep: {**STEP, "to": NUMBERS},
    DropStep: STEP,
    CarryOutStep: {**STEP, **STOWED, **FITTED},
    FitAnother: {**DONE_STEP, **STOWED, **FITTED},
    UndoStep: {**DONE_STEP, **STOWED, **FITTED},
    AttachCalculation: {"mod": MODS, **SUM},
    ReviseCalculation: {"mod": MODS, "calculation": FIRST, "opened_version": VERSIONS, **SUM},
    RunCalculation: {"mod": MODS, "calculation": FIRST},
    AttachCircuit: {"mod": MODS, **CIRCUIT},
    ReviseCircuit: {"mod": MODS, "calculation": st.sampled_from([1, 2, 3]), "opened_version": VERSIONS, **CIRCUIT},
    WriteProcedure: {"title": st.just("Timing")},
    RecordTrial: {"procedure": st.just("timing"), "day": DAYS, "readings": READINGS, "signer": st.just(KEEPER)},
    DropTrial: {"trial": FIRST, "opened_version": VERSIONS},
    ReviseTrial: {
        "trial": FIRST,
        "day": DAYS,
        "readings": st.just("1 2"),
        "signer": st.just(KEEPER),
        "opened_version": VERSIONS,
    },
    TickAssumption: {
        "mod": MODS,
        "calculation": FIRST,
        "number": NUMBERS,
        "tested": st.booleans(),
        "opened_version": VERSIONS,
    },
    NoteSymptom: {"title": st.just("It hangs"), "seen_on": DAYS},
    ReviseSymptom: {"symptom": FIRST, "title": WORDS, "seen_on": DAYS, "opened_version": VERSIONS},
    EndSymptom: {
        "symptom": FIRST,
        "ended_as": st.sampled_from(["cured", "accepted"]),
        "ended_on": DAYS,
        "mod": st.sampled_from([None, 1]),
        "opened_version": VERSIONS,
    },
    ReopenSymptom: {"symptom": FIRST, "why": st.just("It is back"), "opened_version": VERSIONS},
    SuspectCause: {
        "symptom": FIRST,
        "sentence": st.just("The supply sags"),
        "calculation": st.sampled_from(["", "2/1"]),
    },
    JudgeCause: {
        "symptom": FIRST,
        "cause": NUMBERS,
        "sentence": st.just("The supply sags"),
        "state": st.sampled_from(["open", "ruled out", "confirmed"]),
        "judged_on": DAYS,
        "opened_version": VERSIONS,
    },
    AddEvidence: {
        "symptom": FIRST,
        "cause": NUMBERS,
        "side": st.sampled_from(["for", "against"]),
        "day": DAYS,
        "trial": st.sampled_from([1, None]),
        "note": WORDS,
    },
    DropEvidence: {"symptom": FIRST, "cause": NUMBERS, "evidence": st.just(str(UUID(int=1)))},
    RecordWaveform: {
        "day": DAYS,
        "title": st.just("Rail at switch-off"),
        "signer": WORDS,
        "file_name": st.just("rail.csv"),
        "content": st.sampled_from([CAPTURE, b"no numbers"]),
    },
    ReviseWaveform: {
        "waveform": FIRST,
        "day": DAYS,
        "title": WORDS,
        "signer": WORDS,
        "fit_to": st.sampled_from([None, 5.0, 900.0]),
        "opened_version": VERSIONS,
    },
    AddPhotograph: {
        "on_kind": st.sampled_from(["symptom", "step"]),
        "on": st.sampled_from(["1", "2", "2/1", "2/5"]),
        "moment": st.sampled_from(["", "before"]),
        "file_name": st.just("screen.png"),
        "content": st.just(PICTURE),
    },
    ReviseCaption: {"photograph": FIRST, "caption": WORDS, "opened_version": VERSIONS},
    DropPhotograph: {"photograph": FIRST, "opened_version": VERSIONS},
    AddFile: {
        "on_kind": st.sampled_from(["mod", "step"]),
        "on": st.sampled_from(["1", "2/5"]),
        "kind": st.sampled_from(["firmware dump", "other"]),
        "file_name": st.just("dump.bin"),
        "content": st.sampled_from([b"dump", b""]),
    },
    DropFile: {"file": FIRST, "opened_version": VERSIONS},
    ReviseFile: {"file": FIRST, "kind": st.just("capture"), "caption": WORDS, "opened_version": VERSIONS},
    WriteDesign: {
        "mod": MODS,
        "title": WORDS,
        "roles": st.just([{"board": MAIN, "designator": "R7", "name": "pull-up"}]),
    },
    ReviseDesign: {"design": st.just("another-r2"), "title": WORDS, "opened_version": VERSIONS},
    FitDesign: {
        "design": st.just("another-r2"),
        "places": st.builds(lambda place: [{"role": "R2", "board": MAIN, "designator": place}], PLACES),
        "day": DAYS,
        "signer": WORDS,
    },
    AddNet: NET,
    ReviseNet: {"net": FIRST, "opened_version": VERSIONS, **NET},
    DropNet: {"board": st.just(MAIN), "net": NUMBERS, "opened_version": VERSIONS},
    **MAP_ACTS,
    SignSheet: {"signer": WORDS, "day": DAYS},
    OpenAccount: {
        "name": st.sampled_from(["ada", "ida", "a b"]),
        "signs_as": WORDS,
        "role": st.sampled_from([*Role]),
        "machines": st.sampled_from([[], [TAG], ["none"]]),
        "password_hash": st.just(HASH),
    },
    ReviseAccount: {
        "account": st.sampled_from(["ada", "ida"]),
        "signs_as": WORDS,
        "role": st.sampled_from([*Role]),
        "machines": st.sampled_from([[], [TAG], [SECOND]]),
        "opened_version": VERSIONS,
    },
    CloseAccount: {"account": st.sampled_from(["ada", "ida"]), "opened_version": VERSIONS},
    ReopenAccount: {"account": st.sampled_from(["ada", "ida"]), "opened_version": VERSIONS},
    AskForCodes: {"account": st.sampled_from(["ada", "ida"])},
    StopAskingForCodes: {"account": st.sampled_from(["ada", "ida"])},
    ChangePassword: {"account": st.sampled_from(["ada", "ida"]), "password_hash": st.just(HASH)},
    MakeShareLink: {
        "to_whom": WORDS,
        "lasts": st.sampled_from(["day", "never"]),
        "expires_on": st.sampled_from(["2999-12-31", "2025-03-01", ""]),
        "digest": st.sampled_from([f"{number:064x}" for number in range(5)]),
    },
    WithdrawShareLink: {"number": NUMBERS},
    MakeInvitation: {
        "role": st.sampled_from([*Role]),
        "machines": st.sampled_from([[], [TAG]]),
        "last_day": st.sampled_from(["2999-12-31", "2025-03-01", ""]),
        "digest": st.sampled_from([f"{number:064x}" for number in range(5)]),
    },
    WithdrawInvitation: {"number": NUMBERS},
    AcceptInvitation: {
        "digest": st.sampled_from([f"{number:064x}" for number in range(5)]),
        "name": st.sampled_from(["ada", "ida", "oda"]),
        "signs_as": WORDS,
        "password_hash": st.just(HASH),
    },
    NoteModsInForce: {
        "trial": FIRST,
        "mods": st.lists(NUMBERS, max_size=2),
        "reason": st.sampled_from(["", "Read in the morning"]),
        "opened_with": st.just(""),
    },
}
LIKELY: list[type[Command]] = [CarryOutStep, UndoStep, FitAnother, CarryOutStep, UndoStep, AddStep, MoveMod, KeepAside]
ASKABLE: list[type[Command]] = [*LIKELY, *ACTS]
ASKED = st.sampled_from(ASKABLE).flatmap(lambda kind: st.tuples(st.just(kind), st.fixed_dictionaries(ACTS[kind])))


def prepare(bench: Bench) -> None:
    """A mod that is fitted, one whose steps wait to be done, a sum, a procedure, a trial, a map, another machine."""
    bench.do(EnterMachine, tag=SECOND, model="Merle 80")
    bench.replace_r2()
    bench.plan()
    for kind, place in (("take out", "R7"), ("fit", "R7"), ("lift pin", "U7"), ("take out", "U7"), ("clean", "")):
        bench.step(kind, place, mod=2, pin="3")
    named = [{"board": MAIN, "designator": "R2", "name": "R2"}]
    bench.do(WriteDesign, mod=1, title="Another R2", roles=named)
    bench.do(SuspectCause, title="It hangs", seen_on="2025-02-01", sentence="The supply sags")
    bench.do(WriteProcedure, title="Timing")
    bench.do(RecordTrial, procedure="timing", day="2025-02-04", readings="501 503", signer=KEEPER)
    lines = [{"name": "I", "expression": "V / R"}]
    bench.do(AttachCalculation, mod=2, title="Current", inputs=SUM_INPUTS, lines=lines)
    mapped(bench)
    photograph(bench, 4)


def ask(bench: Bench, kind: type[Command], typed: dict[str, Any]) -> None:
    """Carry out one command; refused or not, the journal grows by one entry at most, and never for a refusal."""
    before = bench.entries()
    if kind is SignSheet:
        typed = typed | drawn_up(bench)
    try:
        done = bench.do(kind, **typed)
    except RecordError as problem:
        refusal = problem
    else:
        assert bench.entries() == before + (done.seq is not None)
        return
    assert str(refusal)
    assert before == bench.entries()
    if isinstance(refusal, Stale) and typed.get("opened_version") == 1:  # look again, and save over what is seen
        ask(bench, kind, typed | {"opened_version": refusal.current_version})


@pytest.mark.parametrize(("kind", "runs"), [("sqlite", 10), ("postgresql", 3)])
def test_every_run_of_commands_leaves_the_record_whole(copies: Copies, kind: str, runs: int) -> None:
    """The journal replayed gives the tables, and every rule holds, whatever was asked in whatever order."""

    @settings(max_examples=runs, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
    @given(st.lists(ASKED, min_size=20, max_size=30))
    def run(asked: list[tuple[type[Command], dict[str, Any]]]) -> None:
        with copies(kind, "entered") as store:
            bench = Bench(store)
            prepare(bench)
            for number, (command, typed) in enumerate(asked):
                day = str(date(2025, 3, 1) + timedelta(number))
                ask(bench, command, {name: day if value == NEXT_DAY else value for name, value in typed.items()})
            assert bench.faults() == []

    run()


def test_every_command_is_asked_for_above() -> None:
    """A command that is added later joins the run. What it comes to is taken into another record elsewhere."""
    once = {"EnterMachine", "ReviseMachine", "AddBoard", "ReviseProcedure", "ImportDossier"}
    assert KINDS.keys() - once == {kind.__name__ for kind in ACTS}


# ---- Each broken rule is named ----


def table(name: str, key: int, **values: object) -> Executable:
    """A change to one row of a table."""
    changed = SQLModel.metadata.tables[name]
    return update(changed).where(changed.c.id == key).values(values)


NO_FILE = os.strerror(errno.ENOENT)
BROKEN = [
    ("placement", 2, {"removed_on": date(2025, 1, 1)}, "Part 2 is in no place that is recorded."),
    ("part", 2, {"gone": "lost"}, "Part 2 is gone and yet somewhere."),
    ("storage", 1, {"until": date(2025, 2, 1)}, "A part left bag 1 before it went in."),
    ("storage", 1, {"part_id": 2}, "Part 2 is at a position and in a bag at once."),
    ("placement", 4, {"fitted_on": date(2025, 1, 1)}, "Position R2 (number 1) held two parts at once."),
    ("placement", 1, {"fitted_on": date(2025, 3, 1)}, "Placement 1 ended on 2025-02-03, before it began."),
    ("storage", 2, {"until": date(2025, 3, 1)}, "Part 5 is lent, and lies in no bag that waits for it."),
    ("loan", 1, {"until": date(2025, 1, 1)}, "A loan of part 5 ended, or was due, before it began on 2025-01-20."),
    ("loan", 2, {"due": date(2025, 1, 1)}, "A loan of part 5 ended, or was due, before it began on 2025-02-01."),
    ("loan", 1, {"until": date(2025, 2, 2)}, "Part 5 was lent twice at once, from 2025-02-01."),
    ("loan", 1, {"since": date(2025, 1, 9)}, "Part 5 was lent on 2025-01-09 and lay in no bag meanwhile."),
    ("mod", 1, {"state": "planned"}, "Mod 1 is planned, and its latest move says fitted."),
    ("mod_move", 2, {"mod_id": 2}, "Mod 1 is fitted, and its latest move says planned."),
    ("step", 1, {"position_id": 5}, "Step 1 is at a position of another machine."),
    ("net_pin", 1, {"position_id": 5}, "Pin 1 of net 1 is at a position of another board."),
    ("net_pin", 1, {"series_position_id": 5}, "Pin 1 of net 1 is at a position of another board."),
    ("map_pin", 1, {"position_id": 5}, "Map pin 1 is on a picture of another board."),
    ("board_picture", 1, {"board_id": 2}, "Board picture 1 is a photograph of something else than its board."),
    ("photograph", 2, {"on_kind": "symptom"}, "Board picture 2 is a photograph of something else than its board."),
    ("board_picture", 1, {"is_reference": False}, "The map of board 1 has no reference pictures."),
    ("board_picture", 2, {"is_reference": True}, "The map of board 1 has 2 reference pictures."),
    ("match_point", 1, {"board_picture_id": 1}, "Board picture 1 is the reference, and matched to itself."),
    ("signed_sheet", 1, {"machine_id": 2}, "Mod sheet 1 of TM-04 bears the record of another machine."),
    ("signed_sheet", 1, {"sha256": "0" * 64}, f"Mod sheet 1 of TM-03: File {'0' * 64} cannot be read ({NO_FILE})."),
    ("signed_sheet", 1, {"pdf_sha256": "0" * 64}, f"Mod sheet 1 of TM-03: File {'0' * 64} cannot be read ({NO_FILE})."),
]


@pytest.fixture
def eventful(bench: Bench) -> Bench:
    """A mod fitted at R2, another planned, a net, a map, a machine with one position, a lent spare, a signed sheet."""
    bench.replace_r2()
    bench.plan()
    pin = {"designator": "R2", "role": "passive", "other_end": "5 V"}
    bench.do(AddNet, board=MAIN, name="HOLD", pins=[pin])
    mapped(bench)
    bench.do(EnterMachine, tag="TM-04", model="Merle 80")
    bench.do(AddBoard, machine="TM-04", name="Main board", kind="main board")
    bench.do(AddPosition, machine="TM-04", board=MAIN, designator="R1", mounting="soldered")
    spare = bench.do(BagPart, day="2025-01-10", kind="chip", type="7404", origin="new").key
    bench.do(LendPart, part=spare, to_whom="Ida Quern", day="2025-01-20")
    bench.do(TakeBack, part=spare, day="2025-01-25")
    bench.do(LendPart, part=spare, to_whom="Ida Quern", day="2025-02-01")
    sign(bench, "2025-02-05")
    rows = [{"designator": "Q1", "type": "x"}]
    bench.do(ImportParts, board="supply", rows=rows, matching=[{"heading": "Ref", "field": "designator"}])
    return bench


@pytest.mark.parametrize(("name", "key", "values", "sentence"), BROKEN)
def test_a_broken_rule_is_named(eventful: Bench, name: str, key: int, values: dict[str, Any], sentence: str) -> None:
    """Beside the row that the journal knows otherwise."""
    behind(eventful.store, table(name, key, **values))

    assert sentence in eventful.faults()


def test_a_whole_record_has_no_faults(eventful: Bench) -> None:
    """So that each of the faults above comes from what was broken."""
    assert eventful.faults() == []


@pytest.mark.parametrize("bench", ["sqlite"], indirect=True)
def test_a_row_that_points_nowhere_is_named(eventful: Bench) -> None:
    """SQLite holds foreign keys only for those who ask it to."""
    behind(eventful.store, table("placement", 1, position_id=99))

    assert "A row of placement points to a record that is not there." in eventful.faults()
