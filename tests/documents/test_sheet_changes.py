"""What a sheet's record and its machine's record now differ in, as sentences; nothing where they say the same."""

import copy
import re
from collections.abc import Callable
from typing import Any, get_args

import pytest
from pydantic import BaseModel

from server.documents.record import machine_record
from server.documents.record_base import Recorded
from server.documents.record_names import SECTIONS, WITHIN
from server.documents.record_schema import MachineRecord
from server.documents.sheet_changes import CHANGED_MOST, NAMED_MOST, changes
from server.records.commands.board_moves import MoveBoard
from server.records.commands.machines import AddPosition, EnterMachine, ReviseBoard, RevisePosition
from server.records.commands.mods import PlanMod, ReviseMod
from server.records.commands.parts import EnterPart, ImportParts, KeepAside, RevisePart
from server.records.commands.steps import AddStep, UndoStep
from server.records.commands.symptoms import AddEvidence, SuspectCause
from server.records.commands.trials import RecordTrial, ReviseTrial
from server.records.questions.addresses import find_machine
from server.records.sheet_records import NOT_COMPARED
from server.records.store import Store
from tests.documents.invented import HOSTILE, KEEPER, PRIVATE_WORDS, Bench, tell

Record = dict[str, Any]


def record_of(bench: Bench, *, private: bool = False) -> Record:
    with bench.store.reading() as session:
        return machine_record(session, find_machine(session, bench.tag), private=private)


@pytest.fixture
def bench(empty: Store) -> Bench:
    return tell(empty)


@pytest.fixture
def kept(bench: Bench) -> Record:
    return record_of(bench)


def lists_of(kind: type[BaseModel]) -> dict[str, type[Recorded]]:
    """The keys of a model that hold lists of entries, with what each entry is."""
    held = {name: get_args(field.annotation) for name, field in kind.model_fields.items()}
    return {
        name: inner[0]
        for name, inner in held.items()
        if inner and isinstance(inner[0], type) and issubclass(inner[0], Recorded)
    }


def test_every_kind_of_entry_has_a_name() -> None:
    """One that is added to the record later joins them."""
    sections = lists_of(MachineRecord)
    within = {name for kind in sections.values() for name in lists_of(kind)}
    deeper = {name for kind in sections.values() for inner in lists_of(kind).values() for name in lists_of(inner)}

    assert set(SECTIONS) == sections.keys() - NOT_COMPARED
    assert set(WITHIN) == within | deeper


def test_a_record_says_the_same_as_itself(told: Bench) -> None:
    assert changes(record_of(told), record_of(told)) == []


def test_the_journal_and_signed_sheets_are_not_compared(told: Bench) -> None:
    kept = record_of(told)
    now = copy.deepcopy(kept) | {"journal": {"seq": 999, "hash": "f" * 64}, "signed_sheets": [{"uuid": "x"}]}

    assert changes(kept, now) == []


def plan(bench: Bench) -> None:
    bench.do(PlanMod, title="Another", state="planned", day="2025-06-01", signer=KEEPER)


def fit(bench: Bench) -> None:
    bench.do(EnterPart, board="main-board", designator="R22", kind="resistor", value="1 kΩ", origin="new")


def mark(bench: Bench) -> None:
    bench.do(RevisePart, part=1, kind="resistor", value="390 Ω", origin="original", opened_version=1)


def put_back(bench: Bench) -> None:
    bench.do(UndoStep, mod=1, step=2, day="2025-06-02", signer=KEEPER)


def retell(bench: Bench) -> None:
    bench.do(ReviseMod, mod=4, title="A quieter fan", purpose="x" * 200, opened_version=1)


def call_on(bench: Bench) -> None:
    bench.do(AddStep, mod=4, kind="adjust", board="main-board", designator="R7", instruction="A little")


def read_again(bench: Bench) -> None:
    bench.do(ReviseTrial, trial=1, day="2025-01-10", readings="0.61 0.62", signer=KEEPER, opened_version=1)


def doubt(bench: Bench) -> None:
    bench.do(SuspectCause, symptom=2, sentence="Dust")
    bench.do(AddEvidence, symptom=2, cause=3, side="for", day="2025-06-01", note="Seen")


def witness(bench: Bench) -> None:
    bench.do(AddEvidence, symptom=2, cause=2, side="for", day="2025-06-01", note="Seen")


def rename(bench: Bench) -> None:
    bench.do(ReviseBoard, board="supply", name="Power supply", kind="supply", parent="", part_number="SP-2",
             opened_version=1)  # fmt: skip


def mount(bench: Bench) -> None:
    bench.do(RevisePosition, board="main-board", designator="R8", kind="resistor", mounting="wired", pins="2",
             opened_version=1)  # fmt: skip


CHANGES: list[tuple[Callable[[Bench], None], list[str]]] = [
    (plan, ["Mod 5 was added."]),
    (
        fit,
        [
            "Position R22 on Main board was added.",
            "Part R22 on Main board (1 kΩ resistor) was added.",
            "Stay of 1 kΩ resistor at R22 on Main board was added.",
        ],
    ),
    (mark, ["Part R7 on Main board (360 Ω ±5 % resistor): value from “360 Ω ±5 %” to “390 Ω”."]),
    (retell, ["Mod 4: purpose was rewritten."]),
    (call_on, ["Mod 4, step 1 was added."]),
    (read_again, ["Trial 1: readings from “0.61, 0.62, 0.6, 0.61” to “0.61, 0.62”."]),
    (doubt, ["Symptom 2, possible cause 3 was added."]),
    (witness, ["Symptom 2, possible cause 2, evidence of 2025-06-01 was added."]),
    (rename, ["Board Supply: name from “Supply” to “Power supply”; parent from “Board Main board” to nothing."]),
    (mount, ["Position R8 on Main board: mounting from “soldered” to “wired”; pins from nothing to “2”."]),
]


@pytest.mark.parametrize(("act", "sentences"), CHANGES, ids=[act.__name__ for act, _ in CHANGES])
def test_each_change_is_a_sentence(
    bench: Bench, kept: Record, act: Callable[[Bench], None], sentences: list[str]
) -> None:
    act(bench)

    assert changes(kept, record_of(bench)) == sentences


def test_a_step_that_was_put_back_tells_of_all_that_moved(bench: Bench, kept: Record) -> None:
    put_back(bench)
    said = changes(kept, record_of(bench))

    assert any(one.startswith("Mod 1, step 2: ") and "undone on from nothing to “2025-06-02”" in one for one in said)
    assert any(re.fullmatch(r"Mod 1, calculation 1, run \d was added\.", one) for one in said)
    stay = next(one for one in said if one.startswith("Stay of 330 Ω ±1 % resistor at R7 on Main board: "))
    assert "removed on from nothing to “2025-06-02”" in stay


def test_what_is_taken_away_is_said_too(told: Bench) -> None:
    kept = record_of(told)
    now = copy.deepcopy(kept)
    del now["trials"][0]
    now["mods"][0]["expectations"] = []

    assert changes(kept, now) == ["Mod 1, expectation 1 was taken away.", "Trial 1 was taken away."]


def test_many_are_counted(bench: Bench, kept: Record) -> None:
    """As many as a person reads are named; then the rest by their number."""
    rows = [{"designator": f"C{number}", "kind": "capacitor", "value": "100 nF"} for number in range(100, 131)]
    bench.do(ImportParts, board="main-board", rows=rows)
    said = changes(kept, record_of(bench))
    entered = record_of(bench)
    for position in entered["positions"]:
        position["note"] = "seen"

    assert said == ["31 positions were added.", "31 parts were added.", "31 stays of parts were added."]
    noted = changes(record_of(bench), entered)
    assert len(noted) == CHANGED_MOST + 1
    assert noted[-1] == f"{len(entered['positions']) - CHANGED_MOST} more positions changed."


def test_so_many_are_still_named(bench: Bench, kept: Record) -> None:
    for number in range(NAMED_MOST):
        bench.do(AddPosition, board="main-board", designator=f"C{50 + number}", mounting="soldered")

    assert len(changes(kept, record_of(bench))) == NAMED_MOST


def test_nothing_private_is_told(bench: Bench) -> None:
    """Though one of the two has it, as the record of a dossier may."""
    private, public = record_of(bench, private=True), record_of(bench)

    assert changes(private, public) == changes(public, private) == []
    later = copy.deepcopy(private)
    later["machine"] |= {"price": "other", "acquired_from": "other"}
    for storage in later["storages"]:
        storage["place"] = "other"
    assert changes(private, later) == []
    assert PRIVATE_WORDS[1] not in " ".join(changes(private, later))


def test_a_record_of_an_older_program_is_read_as_far_as_it_goes(told: Bench) -> None:
    """A list that it did not have is empty; a key that it did not know held nothing."""
    now = record_of(told)
    kept = copy.deepcopy(now)
    for section in ("nets", "map_pins", "board_pictures", "loans", "files"):
        del kept[section]
    for part in kept["parts"]:
        del part["dating"], part["dating_note"]

    assert changes(kept, now) == []
    del kept["symptoms"]
    assert changes(kept, now) == ["Symptom 1 was added.", "Symptom 2 was added."]


def test_a_record_of_a_newer_program_is_told_of_too(told: Bench) -> None:
    now = record_of(told)
    kept = copy.deepcopy(now) | {"casings": [{"uuid": "1", "colour": "sand"}]}
    kept["machine"]["colour"] = "sand"

    assert changes(kept, now) == [
        "The machine: colour from “sand” to nothing.",
        "An entry of “casings” was taken away.",
    ]


def test_another_order_is_said(told: Bench) -> None:
    """The same entries, which the digest tells apart all the same."""
    kept = record_of(told)
    now = copy.deepcopy(kept)
    now["mods"][0]["moves"].reverse()

    assert changes(kept, now) == ["The same entries stand in another order."]


def test_a_board_that_left_takes_its_positions_along(bench: Bench, kept: Record) -> None:
    bench.do(EnterMachine, tag="PL-02", model="Plover 80")
    bench.do(MoveBoard, board="supply", to="PL-02", day="2025-06-03", signer=KEEPER)

    assert changes(kept, record_of(bench)) == ["Board Supply was taken away."]


def test_a_part_that_left_its_bag_is_told(bench: Bench, kept: Record) -> None:
    bag = kept["storages"][0]
    bench.do(KeepAside, part=1, becomes="lost", day="2025-06-01")
    said = changes(kept, record_of(bench))

    what = "R7 on Main board (360 Ω ±5 % resistor)"
    assert f"Part {what}: gone from nothing to “lost”; gone on from nothing to “2025-06-01”." in said
    assert any(one.startswith(f"Bag {bag['bag']} with {what}: until from nothing to ") for one in said)


def test_hostile_text_stays_text_and_has_an_end(empty: Store) -> None:
    bench = tell(empty)
    kept = record_of(bench)
    now = copy.deepcopy(kept)
    for part in now["parts"]:
        part |= {"type": HOSTILE, "value": "W" * 5_000, "kind": "\0\x1b[31m"}
    now["parts"].append(copy.deepcopy(now["parts"][0]) | {"uuid": "new", "type": "W" * 5_000})
    for odd in (
        {"machine": None, "parts": None, "mods": 7, "trials": [7, {}, {"uuid": None}]},
        {"machine": [], "placements": [{"uuid": "a", "part": ["b"], "position": {}}], "moves": {}},
        {},
    ):
        assert all(len(sentence) <= 1_001 for sentence in [*changes(kept, odd), *changes(odd, now)])
    said = changes(kept, now)
    assert all("\0" not in one and "\x1b" not in one and len(one) <= 1_001 for one in said)


def test_a_trial_that_was_added_is_named_by_its_number(bench: Bench, kept: Record) -> None:
    bench.do(RecordTrial, procedure="picture-level", day="2025-06-04", readings="0.7", signer=KEEPER)

    assert changes(kept, record_of(bench)) == ["Trial 5 was added."]
