"""Two people at one record: the second is shown both versions, and nothing is overwritten unseen (rule 7)."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from sqlmodel import select

from server.records import journal
from server.records.commands.accounts import OpenAccount, ReviseAccount
from server.records.commands.base import Command
from server.records.commands.calculations import AttachCalculation, ReviseCalculation
from server.records.commands.circuits import AttachCircuit, ReviseCircuit
from server.records.commands.designs import ReviseDesign, WriteDesign
from server.records.commands.files import AddFile, ReviseFile
from server.records.commands.machines import ReviseBoard, ReviseMachine, RevisePosition
from server.records.commands.maps import MatchPictures, PlacePin
from server.records.commands.mods import ReviseMod
from server.records.commands.nets import AddNet, ReviseNet
from server.records.commands.parts import EnterPart, RevisePart
from server.records.commands.photographs import AddPhotograph, ReviseCaption
from server.records.commands.steps import ReviseStep
from server.records.commands.symptoms import EndSymptom, JudgeCause, ReviseSymptom, SuspectCause
from server.records.commands.trials import RecordTrial, ReviseProcedure, ReviseTrial, WriteProcedure
from server.records.commands.waveforms import ReviseWaveform
from server.records.errors import RecordError, Stale
from server.records.store import Store
from server.records.tables import JournalEntry, Machine, Placement
from tests.records import map_scene
from tests.records.blinker import blinker
from tests.records.captures import record
from tests.records.conftest import KEEPER, KINDS, MAIN, TAG, Bench, read
from tests.records.indicator import DROP, SUPPLY, at, lamp
from tests.records.photographs import jpeg

NET = {"board": MAIN, "pins": [{"designator": "U7", "pin": "1", "role": "input"}]}
TRIAL = {"day": "2025-02-04", "readings": "501 503", "signer": KEEPER}


@pytest.fixture
def busy(bench: Bench) -> Bench:
    """One of everything that can be revised."""
    bench.plan("Faster clock")
    bench.step("take out", "R2")
    bench.do(AttachCalculation, **lamp())
    bench.do(WriteProcedure, title="Timing")
    bench.do(RecordTrial, procedure="timing", **TRIAL)
    bench.do(WriteProcedure, title="Not run yet")
    bench.do(SuspectCause, title="It hangs at times", seen_on="2025-01-05", sentence="The supply sags")
    record(bench)
    bench.do(AddPhotograph, on_kind="symptom", on="1", file_name="hang.jpg", content=jpeg())
    bench.do(AddFile, on_kind="symptom", on="1", kind="other", file_name="hang.bin", content=b"hang")
    bench.do(AttachCircuit, **blinker())
    for name, role in (("ada", "keeper"), ("ida", "member who reads")):
        bench.do(OpenAccount, name=name, signs_as=name, role=role, password_hash=f"$argon2id${'x' * 40}")
    bench.plan("Slower clock")
    bench.step("take out", "R7", 2)
    bench.do(WriteDesign, mod=2, title="Clock", roles=[{"board": MAIN, "designator": "R7", "name": "R7"}])
    bench.do(AddNet, name="KEY 1", **NET)
    for number in (2, 3):
        map_scene.add(bench, number)
    map_scene.pin(bench, "R2", 30, 20)
    return bench


# A command that revises, what both fill in, what each of the two changes, and the fields in which they then differ.
REVISIONS: list[tuple[type[Command], dict[str, Any], dict[str, Any], dict[str, Any], dict[str, tuple[str, str]]]] = [
    (
        ReviseMachine,
        {"maker": "Tarn & Fell"},
        {"model": "Merle 41", "hazards": ["static", "battery"]},
        {"model": "Merle 42", "hazards": ["mains inside"], "acquired_on": "2025-01-04"},
        {
            "model": ("Merle 42", "Merle 41"),
            "hazards": ("mains inside", "static, battery"),
            "acquired on": ("2025-01-04", ""),
        },
    ),
    (
        ReviseBoard,
        {"board": MAIN, "kind": "main board"},
        {"name": "Mother board", "parent": "supply"},
        {"name": "Main board"},
        {"name": ("Main board", "Mother board"), "parent": ("", "supply")},
    ),
    (
        RevisePosition,
        {"board": MAIN, "designator": "R2", "kind": "resistor"},
        {"mounting": "wired"},
        {"mounting": "soldered", "pins": "2"},
        {"mounting": ("soldered", "wired"), "pins": ("2", "")},
    ),
    (
        RevisePart,
        {"part": 1, "kind": "resistor"},
        {"origin": "period"},
        {"origin": "original", "note": "Bands\nfaded"},
        {"origin": ("original", "period"), "note": ("Bands\nfaded", "")},
    ),
    (ReviseMod, {"mod": 1}, {"title": "Faster"}, {"title": "Slower"}, {"title": ("Slower", "Faster")}),
    (
        ReviseStep,
        {"mod": 1, "step": 1, "kind": "take out", "board": MAIN},
        {"designator": "R7"},
        {"designator": "U7", "instruction": "Gently"},
        {"designator": ("U7", "R7"), "instruction": ("Gently", "")},
    ),
    (
        ReviseCalculation,
        {"calculation": 1},
        lamp(inputs=[SUPPLY, DROP, at("R7")]),
        lamp(title="Lamp"),
        {
            "title": ("Lamp", "Indicator"),
            "inputs": (
                "V · typed · 5 V ±5 %; Vf · typed · 1.8..2.2 V; R · part · main-board · R2",
                "V · typed · 5 V ±5 %; Vf · typed · 1.8..2.2 V; R · part · main-board · R7",
            ),
        },
    ),
    (
        ReviseCircuit,
        {"calculation": 2},
        blinker(reference="base"),
        blinker(title="Lamp"),
        {"title": ("Lamp", "Blinker"), "reference": ("0", "base")},
    ),
    (
        ReviseSymptom,
        {"symptom": 1, "seen_on": "2025-01-05"},
        {"title": "It hangs"},
        {"title": "It stops", "note": "When warm"},
        {"title": ("It stops", "It hangs"), "note": ("When warm", "")},
    ),
    (
        EndSymptom,
        {"symptom": 1, "ended_on": "2025-02-05"},
        {"ended_as": "cured", "mod": None},
        {"ended_as": "accepted", "ended_note": "It is old."},
        {"ended as": ("accepted", "cured"), "ended note": ("It is old.", "")},
    ),
    (
        JudgeCause,
        {"symptom": 1, "cause": 1, "sentence": "The supply sags", "judged_on": "2025-02-05"},
        {"state": "confirmed", "why": "Seen"},
        {"state": "ruled out", "why": "Measured"},
        {"state": ("ruled out", "confirmed"), "why": ("Measured", "Seen")},
    ),
    (
        ReviseProcedure,
        {"procedure": "not-run-yet", "title": "Timing"},
        {"unit": "ms", "resolution": "1"},
        {"unit": "s"},
        {"unit": ("s", "ms"), "resolution": ("", "1.0")},
    ),
    (
        ReviseTrial,
        {"trial": 1, **TRIAL},
        {"readings": "502"},
        {"note": "Warm"},
        {"readings": ("501.0, 503.0", "502.0"), "note": ("Warm", "")},
    ),
    (
        ReviseWaveform,
        {"waveform": 1, "day": "2025-02-05", "signer": KEEPER},
        {"title": "Rail"},
        {"title": "Reset", "note": "Warm"},
        {"title": ("Reset", "Rail"), "note": ("Warm", "")},
    ),
    (
        ReviseCaption,
        {"photograph": 1},
        {"caption": "Hanging", "taken_on": "2025-01-05"},
        {"caption": "Stopped", "taken_on": ""},
        {"caption": ("Stopped", "Hanging"), "taken on": ("", "2025-01-05")},
    ),
    (
        ReviseFile,
        {"file": 1},
        {"kind": "capture", "caption": "Hanging"},
        {"kind": "other", "caption": "Stopped"},
        {"kind": ("other", "capture"), "caption": ("Stopped", "Hanging")},
    ),
    (
        ReviseNet,
        {"net": 1},
        {"name": "KEY 2", "board": MAIN, "pins": [{"designator": "U7", "pin": "2", "role": "input"}]},
        {"name": "KEY 3", "sheet": "2", **NET},
        {
            "name": ("KEY 3", "KEY 2"),
            "sheet": ("2", ""),
            "pins": ("U7 · 1 · input", "U7 · 2 · input"),
        },
    ),
    (
        MatchPictures,
        {"board": MAIN, "picture": 2},
        {"points": map_scene.FRONT[1:]},
        {"points": map_scene.BACK[1:], "match_kind": "affine"},
        {
            "match kind": ("affine", ""),
            "points": (
                "110 · 10 · 10 · 10; 110 · 70 · 10 · 70; 10 · 70 · 110 · 70",
                "110 · 10 · 75 · 15; 110 · 70 · 75 · 45; 10 · 70 · 25 · 45",
            ),
        },
    ),
    (
        PlacePin,
        {"board": MAIN, "designator": "R2"},
        {"picture": 1, "x": 40, "y": 25},
        {"picture": 2, "x": 50, "y": 25},
        {"picture": ("2", "1"), "x": ("50.0", "40.0")},
    ),
    (
        ReviseAccount,
        {"account": "ida"},
        {"signs_as": "Ida", "role": "keeper of some machines", "machines": [TAG]},
        {"signs_as": "Ida Quern"},
        {
            "signs as": ("Ida Quern", "Ida"),
            "role": ("member who reads", "keeper of some machines"),
            "machines": ("", TAG),
        },
    ),
    (ReviseDesign, {"design": "clock"}, {"title": "Fast"}, {"title": "Slow"}, {"title": ("Slow", "Fast")}),
]
NAMES = [revision[0].__name__ for revision in REVISIONS]


@pytest.mark.parametrize(("kind", "both", "first", "second", "differing"), REVISIONS, ids=NAMES)
def test_the_second_is_shown_both_versions(
    busy: Bench,
    kind: type[Command],
    both: dict[str, Any],
    first: dict[str, Any],
    second: dict[str, Any],
    differing: dict[str, tuple[str, str]],
) -> None:
    """Field by field, theirs as it now stands; and saves over it only after that."""
    busy.do(kind, opened_version=1, **both | first)
    entries = busy.entries()
    with pytest.raises(Stale) as stale:
        busy.do(kind, opened_version=1, **both | second)

    shown = {row.field: (row.yours, row.theirs) for row in stale.value.rows if row.differs}
    assert differing == shown
    assert entries == busy.entries()
    assert busy.do(kind, opened_version=stale.value.current_version, **both | second).seq
    assert busy.faults() == []


@pytest.mark.parametrize("version", ["0", "2", "-1", "99999999999999999999"])
def test_a_version_that_never_was_is_stale_too(busy: Bench, version: str) -> None:
    """Nothing is saved on a guess."""
    with pytest.raises(Stale):
        busy.do(ReviseMachine, model="Merle 41", opened_version=version)


def test_every_command_that_revises_is_shown_above() -> None:
    """One that is added later joins them, and carries the version that its form was opened on."""
    revising = {name for name in KINDS if name.startswith("Revise")}

    assert revising <= set(NAMES)
    assert all(KINDS[name].model_fields["opened_version"].is_required() for name in revising)


# ---- At the same moment ----


def at_once(store: Store, commands: list[Command]) -> list[Exception | None]:
    """Carry out commands in threads of two servers over one record; what each was refused with."""
    other = Store(store.url, store.files.root)

    def carry_out(numbered: tuple[int, Command]) -> Exception | None:
        number, command = numbered
        try:
            (other if number % 2 else store).carry_out(command, f"Keeper {number}")
        except RecordError as refusal:
            return refusal
        return None

    with ThreadPoolExecutor(len(commands)) as pool:
        answers = list(pool.map(carry_out, enumerate(commands)))
    other.close()
    return answers


def part_at(designator: str) -> Command:
    return read(EnterPart, {"board": MAIN, "designator": designator, "kind": "chip", "origin": "new"})


def whole(bench: Bench) -> Callable[[int], bool]:
    """Whether the journal has exactly so many entries, without a gap, and the record has no fault."""

    def has(entries: int) -> bool:
        with bench.store.reading() as session:
            seqs = sorted(session.exec(select(JournalEntry.seq)))
            return seqs == list(range(1, entries + 1)) and not list(journal.broken_links(session))

    return has


def test_writers_of_different_things_all_land(bench: Bench) -> None:
    """Each in its turn: every part is there, every entry follows from the one before."""
    before = bench.entries()
    answers = at_once(bench.store, [part_at(f"U{number}") for number in range(20, 28)])

    assert answers == [None] * 8
    assert whole(bench)(before + 8)
    assert len(bench.rows(Placement)) == 3 + 8
    assert bench.faults() == []


def test_writers_of_the_same_position_do_not_both_land(bench: Bench) -> None:
    """One part sits there; the others are told so."""
    before = bench.entries()
    answers = at_once(bench.store, [part_at("U20") for _ in range(4)])

    refused = [answer for answer in answers if answer]
    assert len(refused) == 3
    assert all("U20 already holds a chip" in str(answer) for answer in refused)
    assert whole(bench)(before + 1)
    assert bench.faults() == []


def test_writers_of_the_same_form_do_not_both_land(bench: Bench) -> None:
    """One version is saved; the others are shown it."""
    before = bench.entries()
    forms = [read(ReviseMachine, {"model": f"Merle {number}", "opened_version": 1}) for number in range(4)]
    answers = at_once(bench.store, forms)

    stale = [answer for answer in answers if isinstance(answer, Stale)]
    saved = answers.index(None)
    assert (len(stale), bench.row(Machine, 1).model) == (3, f"Merle {saved}")
    assert all(row.theirs == f"Merle {saved}" for answer in stale for row in answer.rows if row.field == "model")
    assert whole(bench)(before + 1)
