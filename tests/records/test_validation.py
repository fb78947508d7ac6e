"""Whatever is typed into any field of any command is stored and read back as it was, or refused with a sentence.

The fields come from the commands themselves, so one that is added later is tried as well.
"""

import copy
import unicodedata
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any, get_args
from uuid import UUID

import pytest
from sqlalchemy import select
from sqlmodel import Session, SQLModel

from server.records import commands, journal
from server.records.commands.base import LINE_MOST, Command
from server.records.commands.files import AddFile
from server.records.commands.loans import LendPart
from server.records.commands.machines import EnterMachine
from server.records.commands.nets import AddNet
from server.records.commands.parts import BagPart, KeepAside
from server.records.commands.photographs import AddPhotograph
from server.records.commands.steps import CarryOutStep, UndoStep
from server.records.commands.symptoms import AddEvidence, EndSymptom, SuspectCause
from server.records.commands.trials import RecordTrial, WriteProcedure
from server.records.errors import Invalid, RecordError, Stale
from server.records.store import take_turn
from server.records.tables import Evidence, Part
from server.records.work import HANDLERS, Work, plain, unheard
from tests.records import map_scene
from tests.records.blinker import blinker
from tests.records.captures import capture, ramping, record
from tests.records.conftest import KEEPER, KINDS, MAIN, Bench, read
from tests.records.indicator import AT_MOST, DROP, SUPPLY, at, lamp
from tests.records.photographs import jpeg
from tests.records.sheets import drawn_up

AWKWARD = "<script>alert('1')</script> & {{ 7*7 }} %00 \\ \" 🙂 日本 مرحبا \u202eabc\u202c e\N{COMBINING ACUTE ACCENT}"
REFUSED = {
    "NUL": "a\0b",
    "escape": "a\x1b[31mb",
    "next line": "a\x85b",
    "half a character": "a\ud800b",
    "a million characters": "x" * 1_000_000,
}
DAY = "2025-03-02"
SIGNED = {"signer": KEEPER}


def role(designator: str) -> dict[str, str]:
    return {"board": MAIN, "designator": designator, "name": designator}


PINS = [{"designator": "U7", "pin": "2", "role": "input"}, {"designator": "R9", "role": "passive", "other_end": "5 V"}]
TWO_SUMS = lamp(inputs=[at("R2"), SUPPLY, DROP], assumptions=[{"sentence": "It is steady"}], limits=[AT_MOST])

HASH = f"$argon2id${'x' * 40}"  # of nothing: nobody signs in here
# What each command takes, as it would be carried out on the scene below. Some are tried in two ways.
TYPED: list[tuple[str, dict[str, Any]]] = [
    ("EnterMachine", {"tag": "X-1", "model": "Y"}),
    ("ReviseMachine", {"model": "Y"}),
    ("AddBoard", {"name": "Drive", "kind": "drive"}),
    ("ReviseBoard", {"board": "supply", "name": "Supply", "kind": "supply"}),
    ("MoveBoard", {"board": "supply", "to": "TM-09", "day": DAY, **SIGNED}),
    ("AddPosition", {"board": MAIN, "designator": "Q1", "mounting": "soldered"}),
    ("RevisePosition", {"board": MAIN, "designator": "R9", "mounting": "wired"}),
    ("EnterPart", {"board": MAIN, "designator": "Q1", "kind": "other", "origin": "new"}),
    ("BagPart", {"day": DAY, "kind": "other", "marking": "K2", "origin": "new"}),
    ("RevisePart", {"part": 3, "kind": "chip", "origin": "original"}),
    ("ChooseReading", {"part": 3}),
    ("OverruleDating", {"part": 3, "dating": "does not count", "note": "Its type"}),
    ("KeepAside", {"part": 4, "day": DAY}),
    ("LendPart", {"part": 4, "to_whom": "Ida Quern", "day": DAY}),
    ("TakeBack", {"part": 6, "day": DAY}),
    ("FindAgain", {"part": 7, "day": DAY}),
    (
        "ImportParts",
        {
            "board": "supply",
            "rows": [{"designator": "Q1", "kind": "other", "type": "7414"}],
            "matching": [{"heading": "Ref", "field": "designator"}],
        },
    ),
    (
        "ImportMods",
        {
            "rows": [{"title": "Title", "day": DAY}],
            **SIGNED,
            "matching": [{"heading": "Ref", "field": "title"}],
        },
    ),
    ("PlanMod", {"title": "Title", "day": DAY, **SIGNED}),
    ("ReviseMod", {"mod": 1, "title": "Title"}),
    ("MoveMod", {"mod": 2, "state": "fitted", "day": DAY, **SIGNED}),
    ("WriteDesign", {"mod": 1, "title": "Title", "roles": [role("R2"), role("R9")]}),
    ("ReviseDesign", {"design": "outlet", "title": "Outlet"}),
    (
        "FitDesign",
        {"design": "outlet", "places": [{"role": "R7", "board": MAIN, "designator": "R9"}], "day": DAY, **SIGNED},
    ),
    ("Expect", {"mod": 1, "sentence": "It is faster"}),
    ("DropExpectation", {"mod": 1, "number": 1, "sentence": "It is faster"}),
    ("AddStep", {"mod": 1, "kind": "other", "board": MAIN, "designator": "R9"}),
    ("ReviseStep", {"mod": 1, "step": 3, "kind": "fit", "board": MAIN, "designator": "R9"}),
    ("MoveStep", {"mod": 1, "step": 4, "to": 3}),
    ("DropStep", {"mod": 1, "step": 4}),
    ("CarryOutStep", {"mod": 1, "step": 3, "day": DAY, "value": "1 kΩ", **SIGNED}),
    ("FitAnother", {"mod": 1, "step": 2, "day": DAY, "value": "1 kΩ", **SIGNED}),
    ("UndoStep", {"mod": 2, "step": 1, "day": DAY, "value": "1 kΩ", **SIGNED}),
    ("AttachCalculation", TWO_SUMS),
    ("ReviseCalculation", TWO_SUMS | {"calculation": 1}),
    ("AttachCircuit", blinker()),
    ("ReviseCircuit", blinker() | {"calculation": 2}),
    ("RunCalculation", {"mod": 1, "calculation": 1}),
    ("TickAssumption", {"mod": 1, "calculation": 1, "number": 1}),
    ("WriteProcedure", {"title": "Title"}),
    ("ReviseProcedure", {"procedure": "timing", "title": "Timing"}),
    ("RecordTrial", {"procedure": "timing", "day": DAY, "readings": "1 2", **SIGNED}),
    ("DropTrial", {"trial": 1}),
    ("ReviseTrial", {"trial": 1, "day": DAY, "readings": "1 2", **SIGNED}),
    ("NoteModsInForce", {"trial": 1, "mods": [1], "reason": "It was in already"}),
    ("RecordWaveform", capture(ramping(60), day=DAY)),
    ("ReviseWaveform", {"waveform": 1, "day": DAY, "title": "Rail", **SIGNED}),
    ("NoteSymptom", {"title": "It hangs", "seen_on": DAY}),
    ("ReviseSymptom", {"symptom": 1, "title": "It hangs", "seen_on": DAY}),
    ("EndSymptom", {"symptom": 1, "ended_as": "accepted", "ended_on": DAY}),
    ("ReopenSymptom", {"symptom": 2, "why": "It is back"}),
    ("SuspectCause", {"title": "It hums", "seen_on": DAY, "sentence": "A cause", "calculation": "1/1"}),
    ("JudgeCause", {"symptom": 1, "cause": 1, "sentence": "A cause", "state": "open"}),
    ("AddEvidence", {"symptom": 1, "cause": 1, "side": "for", "day": DAY, "note": "Seen"}),
    ("DropEvidence", {"symptom": 1, "cause": 1}),
    ("AddPhotograph", {"on_kind": "symptom", "on": "2", "file_name": "shot.jpg", "content": jpeg()}),
    ("ReviseCaption", {"photograph": 1}),
    ("AddFile", {"on_kind": "step", "on": "1/2", "kind": "other", "file_name": "dump.bin", "content": b"more"}),
    ("ReviseFile", {"file": 1, "kind": "other"}),
    ("SignSheet", {"day": DAY, **SIGNED}),
    ("MakeShareLink", {"to_whom": "Ida Quern", "lasts": "never", "digest": "1" * 64}),
    ("WithdrawShareLink", {"number": 1}),
    ("MakeInvitation", {"last_day": "2999-12-31", "digest": "2" * 64}),
    ("WithdrawInvitation", {"number": 1}),
    ("AcceptInvitation", {"digest": "0" * 64, "name": "uda", "signs_as": "Uda", "password_hash": HASH}),
    ("OpenAccount", {"name": "oda", "signs_as": "Oda", "password_hash": HASH}),
    ("ReviseAccount", {"account": "ida", "signs_as": "Ida"}),
    ("CloseAccount", {"account": "ida"}),
    ("ReopenAccount", {"account": "ida"}),
    ("ChangePassword", {"account": "ida", "password_hash": HASH}),
    ("AskForCodes", {"account": "ida", "recovery": ["0" * 64]}),
    ("StopAskingForCodes", {"account": "ida"}),
    ("AddNet", {"board": MAIN, "name": "WAIT", "pins": [{"designator": "U7", "pin": "1", "role": "input"}]}),
    ("ReviseNet", {"board": MAIN, "net": 1, "name": "KEY 2", "pins": PINS}),
    ("DropNet", {"board": MAIN, "net": 1}),
    ("DropPhotograph", {"photograph": 1}),
    ("DropFile", {"file": 1}),
    ("AddBoardPicture", {"board": MAIN, "photograph": 4, "kind": "layout"}),
    ("LeavePictureOut", {"board": MAIN, "picture": 3}),
    ("MatchPictures", {"board": MAIN, "picture": 2, "points": map_scene.FRONT[1:]}),
    ("PlacePin", {"board": MAIN, "designator": "R9", "picture": 1, "x": 30, "y": 20}),
    ("TakePinOff", {"board": MAIN, "designator": "R2"}),
    (
        "PointOutPosition",
        {"board": MAIN, "designator": "Q1", "mounting": "soldered", "picture": 1, "x": 30, "y": 20},
    ),
]
UNREAD = {
    *(f"{row}.0.{field}" for row in ("elements", "fall") for field in ("other_line", "figure")),
    *("fall.0.board", "fall.0.designator"),
}
# Fields that the act tried here has no use for, named so that nothing else that is typed is lost in silence.
UNUSED = {
    "CarryOutStep": {"place", "condition"},
    "UndoStep": {"place", "condition"},
    "AttachCalculation": {"inputs.0.other_line", "inputs.0.figure"},
    "ReviseCalculation": {"inputs.0.other_line", "inputs.0.figure"},
    "AttachCircuit": UNREAD,
    "ReviseCircuit": UNREAD,
}


def set_up(bench: Bench) -> None:
    """A mod half carried out, one whose part is gone, sums, trials, symptoms, a map; parts bagged, lent and lost."""
    bench.do(BagPart, day="2025-01-10", kind="chip", type="7404", origin="new")
    bench.do(EnterMachine, tag="TM-09", model="Merle 40")
    bench.plan()
    for kind, place in (("take out", "R2"), ("fit", "R2"), ("fit", "R9"), ("adjust", "")):
        bench.step(kind, place)
    bench.carry_out(1)
    bench.do(CarryOutStep, mod=1, step=2, day="2025-02-03", value="330 Ω", **SIGNED)
    bench.plan()
    bench.step("take out", "R7", mod=2)
    bench.carry_out(1, mod=2, becomes="discarded")
    bench.do(KINDS["WriteDesign"], mod=2, title="Outlet", roles=[role("R7")])
    bench.do(KINDS["AttachCalculation"], **TWO_SUMS)
    bench.do(KINDS["AttachCircuit"], **blinker())
    bench.do(KINDS["Expect"], mod=1, sentence="It is faster")
    bench.do(WriteProcedure, title="Timing")
    bench.do(RecordTrial, procedure="timing", day="2025-02-04", readings="501", **SIGNED)
    bench.do(AddNet, board=MAIN, name="KEY 1", pins=PINS)
    map_scene.mapped(bench)
    map_scene.photograph(bench, 4)
    record(bench, ramping(60))
    for title in ("It hangs", "It hums"):
        bench.do(SuspectCause, title=title, seen_on="2025-01-05", sentence="A cause")
    bench.do(EndSymptom, symptom=2, ended_as="accepted", ended_on="2025-02-05", opened_version=1)
    bench.do(AddEvidence, symptom=1, cause=1, side="for", day="2025-02-05", note="Seen")
    bench.do(AddPhotograph, on_kind="symptom", on="1", file_name="shot.jpg", content=jpeg())
    bench.do(AddFile, on_kind="mod", on="1", kind="firmware dump", file_name="dump.bin", content=b"dump")
    bench.do(KINDS["MakeShareLink"], to_whom="Ida Quern", lasts="never", digest="0" * 64)
    for name, does in (("ada", "keeper"), ("ida", "member who reads")):
        bench.do(KINDS["OpenAccount"], name=name, signs_as=name.title(), role=does, password_hash=HASH)
    bench.do(KINDS["MakeInvitation"], last_day="2999-12-31", digest="0" * 64)
    lent = bench.do(BagPart, day="2025-01-10", kind="chip", type="7404", origin="new").key
    bench.do(LendPart, part=lent, to_whom="Ida Quern", day="2025-01-20")
    lost = bench.do(BagPart, day="2025-01-10", kind="chip", type="7404", origin="new").key
    bench.do(KeepAside, part=lost, becomes="lost", day="2025-01-20")


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def scene(request: pytest.FixtureRequest) -> Iterator[Bench]:
    """One record for all of it: what is tried on it is taken back each time."""
    with request.getfixturevalue("copies")(request.param, "entered") as store:
        bench = Bench(store)
        set_up(bench)
        yield bench


# ---- Trying ----


def rows_of(kind: type[Command], name: str) -> type[Command] | None:
    """The command that describes a row of a field that is a list of rows."""
    asked = kind.model_fields[name].annotation
    inner = get_args(asked)[0] if get_args(asked) else None
    return inner if isinstance(inner, type) and issubclass(inner, Command) else None


def fields_of(kind: type[Command]) -> list[str]:
    """Every field that can be typed into, the rows' fields as `rows.0.name`."""
    found: list[str] = []
    for name in kind.model_fields:
        row = rows_of(kind, name)
        found += [f"{name}.0.{inner}" for inner in row.model_fields] if row else [name]
    return found


def typed_with(kind: type[Command], typed: dict[str, Any], field: str, text: str) -> dict[str, Any]:
    """What is typed, with this text in one field."""
    changed = copy.deepcopy(typed)
    name, _, inner = field.partition(".0.")
    if inner:
        changed.setdefault(name, [{}])[0][inner] = text
    else:
        listed = kind.model_fields[name].annotation
        changed[name] = [text] if getattr(listed, "__origin__", None) is list else text
    return changed


def tried(bench: Bench, kind: type[Command], typed: dict[str, Any], expected: str) -> str:
    """Carry a command out, look for the text in what it stored, and take it all back; `refused`, `stored` or `lost`."""
    try:
        command = read(kind, typed)
        with Session(bench.store.engine.execution_options(putback_writes=True)) as session:
            take_turn(session.connection())
            work = Work(session, KEEPER, datetime.now(UTC), unheard, bench.store.files)
            said = HANDLERS[kind](work, command)
            commands.follow_up(work)
            session.flush()
            if work.changes:
                journal.append(work, said)
                session.flush()
            return "stored" if expected in said.words or found_in(session, work, expected) else "lost"
    except Stale as stale:  # look again, and go on from what is seen
        return tried(bench, kind, typed | {"opened_version": stale.current_version}, expected)
    except RecordError as refusal:
        check_sentences(refusal)
        if "opened_version" not in typed and "opened_version" in getattr(refusal, "messages", {}):
            return tried(bench, kind, typed | {"opened_version": 1}, expected)
        return "refused"


def check_sentences(refusal: RecordError) -> None:
    """Each can be printed, and has an end."""
    said = list(refusal.messages.values()) if isinstance(refusal, Invalid) else [str(refusal)]
    for sentence in said:
        assert sentence
        assert len(sentence.encode()) < 1_000
        assert not any(unicodedata.category(character) == "Cc" for character in sentence)


def found_in(session: Session, work: Work, expected: str) -> bool:
    """Whether a row that was written holds the text, and the database gives it back as it was written."""
    for changed in work.changes.values():
        columns = changed.get("after") or {name: pair[1] for name, pair in changed.get("set", {}).items()}
        for name, value in columns.items():
            if holds(value, expected):
                table = SQLModel.metadata.tables[changed["table"]]
                back = (
                    session.connection()
                    .scalars(select(table.c[name]).where(table.c.uuid == UUID(changed["uuid"])))
                    .one()
                )
                assert value == plain(back)
                return True
    return False


def holds(value: object, expected: str) -> bool:
    if isinstance(value, dict):
        return any(holds(inner, expected) for inner in value.values())
    if isinstance(value, list):
        return any(holds(inner, expected) for inner in value)
    return value == expected


# ---- The rule ----


def test_every_command_is_tried() -> None:
    """One that is added later joins them. What a dossier brings is typed by nobody."""
    assert KINDS.keys() - {"ImportDossier"} == {name for name, _ in TYPED}


@pytest.mark.parametrize(("name", "typed"), TYPED, ids=[name for name, _ in TYPED])
def test_whatever_is_typed_is_stored_or_refused(scene: Bench, name: str, typed: dict[str, Any]) -> None:
    """Markup, marks of other tongues, pictures and directions are stored as they are, in their normal form (NFC)."""
    kind = KINDS[name]
    expected = unicodedata.normalize("NFC", AWKWARD)
    answers = {
        field: tried(scene, kind, typed_with(kind, whole(scene, name, typed), field, AWKWARD), expected)
        for field in fields_of(kind)
    }

    lost = {field for field, answer in answers.items() if answer == "lost"}
    assert lost == UNUSED.get(name, set())


@pytest.mark.parametrize(("name", "typed"), TYPED, ids=[name for name, _ in TYPED])
def test_what_no_record_can_hold_is_refused(scene: Bench, name: str, typed: dict[str, Any]) -> None:
    """In every field, with a sentence that can itself be printed."""
    kind = KINDS[name]
    answers = {
        (field, said): tried(scene, kind, typed_with(kind, whole(scene, name, typed), field, text), text)
        for field in fields_of(kind)
        for said, text in REFUSED.items()
    }

    assert [asked for asked, answer in answers.items() if answer != "refused"] == []


def whole(bench: Bench, name: str, typed: dict[str, Any]) -> dict[str, Any]:
    """What is typed, with what only the record knows."""
    match name:
        case "DropEvidence":
            return typed | {"evidence": str(bench.rows(Evidence)[0].uuid)}
        case "SignSheet":
            return typed | drawn_up(bench)
    return typed


def test_nothing_of_it_was_kept(scene: Bench) -> None:
    """Each try was taken back, so each began from the same record."""
    assert scene.faults() == []
    assert len(scene.rows(Part)) == 7


@pytest.mark.parametrize("length", [LINE_MOST, LINE_MOST + 1])
def test_a_line_is_as_long_as_it_looks(scene: Bench, length: int) -> None:
    """Counted in its normal form: an accent typed apart does not count twice."""
    text = "e\N{COMBINING ACUTE ACCENT}" * length
    expected = unicodedata.normalize("NFC", text)
    answer = tried(scene, KINDS["EnterMachine"], {"tag": "X-1", "model": text}, expected)

    assert answer == ("stored" if length == LINE_MOST else "refused")


def test_prose_keeps_its_lines_and_a_line_has_none(scene: Bench) -> None:
    """However the browser ends them."""
    machine = {"tag": "X-1", "model": "Y"}

    kept = tried(scene, KINDS["EnterMachine"], machine | {"provenance": " one\r\ntwo\rthree\t. "}, "one\ntwo\nthree\t.")
    broken = tried(scene, KINDS["EnterMachine"], machine | {"maker": "one\ntwo"}, "one\ntwo")
    assert (kept, broken) == ("stored", "refused")


def test_undo_keeps_where_a_fitted_part_goes(scene: Bench) -> None:
    """The fields that have no use where a part goes in."""
    undo = {"mod": 1, "step": 2, "day": DAY, **SIGNED}

    for field in ("place", "condition"):
        assert tried(scene, UndoStep, undo | {field: "drawer 7"}, "drawer 7") == "stored"
