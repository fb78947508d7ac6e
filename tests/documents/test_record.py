"""The record of one machine as JSON."""

import hashlib
import json
import re
from collections.abc import Iterator
from typing import Any

import pytest
from sqlalchemy import event
from sqlmodel import SQLModel

from server.documents import record_mods, record_pictures
from server.documents import record_schema as schema
from server.documents.record import PRIVATE_FIELDS, canonical, digest, machine_record
from server.documents.record_base import Recorded
from server.records import tables
from server.records.commands.board_moves import MoveBoard
from server.records.commands.calculations import AttachCalculation
from server.records.commands.machines import EnterMachine, ReviseMachine
from server.records.commands.mods import PlanMod
from server.records.commands.parts import EnterPart
from server.records.commands.waveforms import RecordWaveform
from server.records.questions.addresses import find_machine
from server.records.store import Store
from server.records.words import Origin, PartKind
from tests.documents.invented import PRIVATE_WORDS, TAG, Bench, enter, tell
from tests.records import conftest, map_scene
from tests.records.captures import capture, ramping

SCHEMA_OF: dict[type[SQLModel], type[Recorded]] = {
    tables.Machine: schema.RecordedMachine,
    tables.Board: schema.RecordedBoard,
    tables.Position: schema.RecordedPosition,
    tables.Part: schema.RecordedPart,
    tables.Placement: schema.RecordedPlacement,
    tables.Storage: schema.RecordedStorage,
    tables.Mod: record_mods.RecordedMod,
    tables.ModMove: record_mods.RecordedMove,
    tables.Step: record_mods.RecordedStep,
    tables.Expectation: record_mods.RecordedExpectation,
    tables.Calculation: record_mods.RecordedCalculation,
    tables.CalculationInput: record_mods.RecordedInput,
    tables.CalculationRun: record_mods.RecordedRun,
    tables.Procedure: schema.RecordedProcedure,
    tables.Trial: schema.RecordedTrial,
    tables.Symptom: schema.RecordedSymptom,
    tables.PossibleCause: schema.RecordedCause,
    tables.Evidence: schema.RecordedEvidence,
    tables.Waveform: schema.RecordedWaveform,
    tables.Photograph: record_pictures.RecordedPhotograph,
    tables.AttachedFile: record_pictures.RecordedFile,
    tables.Design: schema.RecordedDesign,
    tables.BoardStay: schema.RecordedStay,
    tables.Loan: schema.RecordedLoan,
    tables.Net: schema.RecordedNet,
    tables.NetPin: schema.RecordedPin,
    tables.BoardPicture: record_pictures.RecordedBoardPicture,
    tables.MatchPoint: record_pictures.RecordedMatchPoint,
    tables.MapPin: record_pictures.RecordedMapPin,
    tables.SignedSheet: schema.RecordedSheet,
}
# What the record says by other means: by nesting, by order, or by being found again.
SAID_OTHERWISE = {
    "id", "version", "machine_id", "mod_id", "net_id", "calculation_id", "symptom_id", "possible_cause_id", "tag_key",
    "designator_key", "place", "board_picture_id", "elsewhere",
}  # fmt: skip
# A design's words are revised without any of its machines being touched.
LEFT_TO_THE_MOD: dict[type[SQLModel], set[str]] = {tables.Design: {"title", "purpose", "reasoning", "hazards"}}


def record_of(bench: Bench, *, private: bool = False) -> dict[str, Any]:
    with bench.store.reading() as session:
        return machine_record(session, find_machine(session, bench.tag), private=private)


def every(value: Any) -> Iterator[tuple[str, Any]]:
    """Each key with its value, however deep."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield key, inner
            yield from every(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from every(inner)


@pytest.mark.parametrize("table", SCHEMA_OF, ids=lambda table: table.__name__)
def test_every_column_is_in_the_record_or_left_out_on_purpose(table: type[SQLModel]) -> None:
    columns = {name.removesuffix("_id") if name.endswith("_id") else name for name in table.model_fields}
    known = {name.removesuffix("_id") for name in SAID_OTHERWISE}

    forgotten = columns - SCHEMA_OF[table].model_fields.keys() - known - LEFT_TO_THE_MOD.get(table, set())

    assert forgotten == set()


def test_every_record_table_has_its_place_in_the_schema() -> None:
    beside = {tables.JournalEntry, tables.TrialMod, tables.DossierImport, tables.ShareLink, tables.ColumnMatching}
    people = {tables.Account, tables.AccountMachine, tables.AccountSecret, tables.SignIn, tables.FailedAttempt}
    access = {tables.ApiToken, tables.CodeSecret, tables.Invitation, tables.RecoveryCode}
    mapped = set(SCHEMA_OF) | beside | people | access

    assert mapped == {getattr(tables, name) for name in tables.__all__}


def test_the_record_tells_the_whole_story(told: Bench) -> None:
    record = record_of(told)

    assert record["format"] == "putback-record/1"
    assert record["machine"]["tag"] == TAG
    assert [board["slug"] for board in record["boards"]] == ["main-board", "supply"]
    assert [(mod["state"], len(mod["steps"])) for mod in record["mods"]] == [
        ("fitted", 2),
        ("fitted", 4),
        ("undone", 2),
        ("considered", 0),
    ]
    assert [move["state"] for move in record["mods"][2]["moves"]] == ["planned", "fitted", "undone"]
    assert [(symptom["ended_as"], len(symptom["causes"])) for symptom in record["symptoms"]] == [("cured", 1), ("", 2)]
    assert record["symptoms"][0]["ended_by_mod"] == record["mods"][0]["uuid"]
    assert record["symptoms"][0]["causes"][0]["evidence"][0]["trial"] == record["trials"][2]["uuid"]
    assert record["symptoms"][1]["causes"][0]["calculation"] == record["calculations"][0]["uuid"]
    assert sorted(record["calculations"][0]["runs"][-1]["cases"]) == ["as fitted", "as planned", "stock"]
    assert [trial["readings"] for trial in record["trials"] if trial["readings"][0] not in (0.0, 1.0)] == [
        [0.61, 0.62, 0.60, 0.61],
        [0.68, 0.69, 0.68, 0.70],
    ]


def test_the_record_names_nothing_by_integer_key(told: Bench) -> None:
    keys = {key for key, _ in every(record_of(told))}

    assert {key for key in keys if key == "id" or key.endswith("_id")} == set()


def test_every_reference_leads_to_an_entry_of_the_same_record(told: Bench) -> None:
    record = record_of(told)
    own = {value for key, value in every(record) if key == "uuid"}

    shaped = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
    references = {
        value
        for key, value in every(record)
        if key not in ("uuid", "seed") and isinstance(value, str) and shaped.fullmatch(value)
    }

    assert len(references) > 10
    assert references <= own


def test_a_waveform_that_a_sum_reads_is_in_the_record(empty: Store) -> None:
    bench = Bench(empty)
    bench.do(EnterMachine, tag=TAG, model="Plover 80")
    bench.do(PlanMod, title="More reservoir", state="planned", day="2025-02-01", signer="Ada Wren")
    bench.do(RecordWaveform, **capture(ramping(20)))
    tied = {"name": "U", "source": "waveform", "waveform": "1", "figure": "high"}
    bench.do(AttachCalculation, mod=1, title="Half", inputs=[tied], lines=[{"name": "h", "expression": "U / 2"}])

    record = record_of(bench)
    waveform, read = record["waveforms"][0], record["calculations"][0]["inputs"][0]
    assert (read["waveform"], read["figure"]) == (waveform["uuid"], "high")
    assert record["calculations"][0]["runs"][0]["cases"]["stock"]["inputs"]["U"]["value"] == waveform["figures"]["high"]
    assert hashlib.sha256(ramping(20)).hexdigest() == waveform["sha256"]
    assert schema.MachineRecord.model_validate(record).model_dump(mode="json", exclude_unset=True) == record


def test_a_map_is_in_the_record_by_what_it_shows(empty: Store) -> None:
    """Its pictures lead to photographs and boards, its pins to positions and pictures."""
    bench = conftest.Bench(empty)
    conftest.enter(bench)
    map_scene.mapped(bench)

    with empty.reading() as session:
        record: dict[str, Any] = machine_record(session, find_machine(session, conftest.TAG))
    pictures, pins = record["board_pictures"], record["map_pins"]
    photographs = [photograph["uuid"] for photograph in record["photographs"]]
    assert [picture["photograph"] for picture in pictures] == photographs
    assert {picture["board"] for picture in pictures} == {record["boards"][0]["uuid"]}
    assert [(one["number"], one["kind"], one["is_reference"], len(one["points"])) for one in pictures] == [
        (1, "layout", True, 0),
        (2, "photograph", False, 4),
        (3, "photograph", False, 4),
    ]
    assert [pictures[1]["points"][1][name] for name in map_scene.FRONT[1]] == list(map_scene.FRONT[1].values())
    designators = {position["uuid"]: position["designator"] for position in record["positions"]}
    assert [(designators[pin["position"]], pin["x"], pin["y"]) for pin in pins] == [("R2", 30, 20), ("R7", 40, 30)]
    assert [pin["board_picture"] for pin in pins] == [pictures[0]["uuid"], pictures[1]["uuid"]]
    assert schema.MachineRecord.model_validate(record).model_dump(mode="json", exclude_unset=True) == record


def test_a_map_goes_with_its_board_into_another_record(empty: Store) -> None:
    """Whole, with the photographs that it is made of."""
    bench = conftest.Bench(empty)
    conftest.enter(bench)
    map_scene.mapped(bench)
    bench.do(EnterMachine, tag="TM-09", model="Merle 40")
    bench.do(MoveBoard, board=conftest.MAIN, to="TM-09", day="2025-03-01", signer="Ada Wren")

    with empty.reading() as session:
        left: dict[str, Any] = machine_record(session, find_machine(session, conftest.TAG))
        there: dict[str, Any] = machine_record(session, find_machine(session, "TM-09"))
    assert (left["board_pictures"], left["map_pins"]) == ([], [])
    own = {value for key, value in every(there) if key == "uuid"}
    named = [picture[name] for picture in there["board_pictures"] for name in ("board", "photograph")]
    named += [pin[name] for pin in there["map_pins"] for name in ("position", "board_picture")]
    assert len(named) == 10
    assert set(named) <= own


def test_private_fields_are_left_out_unless_asked_for(told: Bench) -> None:
    public, private = canonical(record_of(told)).decode(), canonical(record_of(told, private=True)).decode()

    assert [word in public for word in PRIVATE_WORDS] == [False] * 3
    assert [word in private for word in PRIVATE_WORDS] == [True] * 3


def test_the_public_record_does_not_even_name_a_private_field(told: Bench) -> None:
    record = record_of(told)

    assert not {"acquired_from", "price"} & record["machine"].keys()
    assert all("place" not in storage for storage in record["storages"])
    assert {"acquired_from", "price", "place", "to_whom", "note"} == set().union(*PRIVATE_FIELDS.values())


def test_the_record_follows_its_schema(told: Bench) -> None:
    record = record_of(told)

    assert schema.MachineRecord.model_validate(record).model_dump(mode="json", exclude_unset=True) == record


def test_the_same_record_gives_the_same_bytes(told: Bench) -> None:
    first, second = canonical(record_of(told)), canonical(record_of(told))

    assert first == second
    assert json.loads(first) == record_of(told)
    assert len(digest(first)) == 64


def test_a_change_to_the_machine_changes_the_digest(empty: Store) -> None:
    bench = Bench(empty)
    bench.do(EnterMachine, tag=TAG, model="Plover 80")
    before = digest(canonical(record_of(bench)))

    bench.do(ReviseMachine, machine=TAG, opened_version=1, model="Plover 81")

    assert before != digest(canonical(record_of(bench)))


def test_work_on_another_machine_leaves_the_digest_alone(empty: Store) -> None:
    bench = Bench(empty)
    bench.do(EnterMachine, tag=TAG, model="Plover 80")
    before = digest(canonical(record_of(bench)))

    bench.do(EnterMachine, tag="PL-02", model="Plover 80")

    assert before == digest(canonical(record_of(bench)))


def test_the_journal_head_is_the_last_entry_about_the_machine(empty: Store) -> None:
    bench = Bench(empty)
    bench.do(EnterMachine, tag=TAG, model="Plover 80")
    bench.do(EnterMachine, tag="PL-02", model="Plover 80")

    head = record_of(bench)["journal"]

    assert head["seq"] == 1
    assert len(head["hash"]) == 64


def test_a_part_that_moved_on_to_another_machine_stays_in_the_history(empty: Store) -> None:
    bench = tell(empty)
    other = Bench(empty, "PL-02")
    enter(other)
    with empty.reading() as session:
        spare = next(row for row in record_of(bench)["storages"] if row["until"] is None)
        number = next(part.key for part in whole_parts(session, bench.tag) if str(part.uuid) == spare["part"])
    move_into(other, number)

    ours, theirs = record_of(bench), record_of(other)

    assert spare["part"] in {part["uuid"] for part in ours["parts"]} & {part["uuid"] for part in theirs["parts"]}
    assert [row["from_position"] for row in theirs["storages"] if row["part"] == spare["part"]] == [None]


def whole_parts(session: Any, tag: str) -> Any:
    from server.records.questions.sheet import whole_machine

    return whole_machine(session, find_machine(session, tag)).parts


def move_into(bench: Bench, bagged_part: int) -> None:
    """Fit a part from a bag at R7 of the machine, by a mod of its own."""
    from server.records.commands.mods import PlanMod
    from server.records.commands.steps import AddStep

    bench.do(PlanMod, title="Swap", state="planned", day="2025-06-01", signer="A")
    bench.do(AddStep, mod=1, kind="take out", board="main-board", designator="R7")
    bench.do(AddStep, mod=1, kind="fit", board="main-board", designator="R7", planned_value="360 Ω")
    bench.carry_out(1, 1, "2025-06-02")
    bench.carry_out(1, 2, "2025-06-02", bagged_part=bagged_part)


def test_reading_a_machine_takes_as_many_queries_for_many_parts_as_for_few(empty: Store) -> None:
    bench = Bench(empty)
    enter(bench)
    few = queries_of(bench)
    for number in range(20):
        bench.do(EnterPart, board="main-board", designator=f"R{100 + number}", kind=PartKind.RESISTOR, value="1 kΩ",
                 origin=Origin.ORIGINAL)  # fmt: skip

    assert few == queries_of(bench)
    assert few < 45


def queries_of(bench: Bench) -> int:
    seen: list[str] = []

    def note(*args: Any) -> None:
        seen.append(args[2])

    event.listen(bench.store.engine, "before_cursor_execute", note)
    try:
        record_of(bench)
    finally:
        event.remove(bench.store.engine, "before_cursor_execute", note)
    return len(seen)


def test_the_record_reads_alike_on_both_databases(store: Store) -> None:
    bench = tell(store)

    record = record_of(bench)

    assert [position["designator"] for position in record["positions"]] == ["C3", "R7", "R8", "U4", "U9", "X1"]
    assert digest(canonical(record)) == digest(canonical(record_of(bench)))
