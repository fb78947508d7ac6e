"""What photographs and files can be attached to: each kind is found, named and found again, wherever it has gone."""

from typing import Any

import pytest

from server.documents.record import machine_record
from server.records.commands.board_moves import MoveBoard
from server.records.commands.files import AddFile
from server.records.commands.machines import EnterMachine
from server.records.commands.parts import BagPart, EnterPart
from server.records.commands.photographs import AddPhotograph, ReviseCaption
from server.records.commands.steps import CarryOutStep, DropStep, MoveStep
from server.records.commands.symptoms import NoteSymptom
from server.records.commands.trials import RecordTrial, WriteProcedure
from server.records.errors import BoardLeft, NotFound
from server.records.questions.addresses import find_machine
from server.records.questions.attached_files import files_of, files_on_steps
from server.records.questions.photographs import Counted, counted_on_steps, photographs_of
from server.records.questions.subjects import KINDS, Subject, find_subject, subject_of
from server.records.tables import AttachedFile, Mod, Part, Photograph, Step
from tests.records.conftest import KEEPER, MAIN, TAG, Bench
from tests.records.photographs import jpeg

OTHER = "TM-05"
NAMES = {  # what it is called within its machine, in a sentence, and where it stands there
    "machine": ("", "the machine", ""),
    "board": (MAIN, "Main board", "boards/main-board"),
    "position": (f"{MAIN}/U7", "U7 on Main board", "boards/main-board/positions/U7"),
    "part": ("2", "part 2", "/parts/2"),
    "mod": ("1", "mod 1", "mods/1"),
    "step": ("1/3", "step 3 of mod 1", "mods/1"),
    "symptom": ("1", "symptom 1", "symptoms/1"),
    "trial": ("1", "trial 1", "trials/1"),
}
WRONG = {
    "machine": ["1", "TM-03"],
    "board": ["", "no-board", "main-board/U7"],
    "position": ["", MAIN, f"{MAIN}/U99", "no-board/U7", "/U7"],
    "part": ["", "0", "99", "x", "-1", "٣"],
    "mod": ["", "9", "x"],
    "step": ["", "1", "1/9", "9/1", "1/x", "x/1", "1/1/1"],
    "symptom": ["", "9"],
    "trial": ["", "9"],
}


@pytest.fixture
def bench(bench: Bench) -> Bench:
    """One of each kind on TM-03, whose mod 1 is fitted but for a third step, and another machine."""
    bench.plan()
    for kind, place in (("take out", "R2"), ("fit", "R2"), ("clean", "")):
        bench.step(kind, place)
    bench.carry_out(1)
    bench.do(CarryOutStep, mod=1, step=2, day="2025-02-03", value="330 Ω", signer=KEEPER)
    bench.do(NoteSymptom, title="Hum", seen_on="2025-01-10")
    bench.do(WriteProcedure, title="Timing")
    bench.do(RecordTrial, procedure="timing", day="2025-02-04", readings="501 503", signer=KEEPER)
    bench.do(EnterMachine, tag=OTHER, model="Merle 80")
    return bench


def photograph(bench: Bench, kind: str, on: str, orientation: int = 1, **more: object) -> None:
    sent = {"on_kind": kind, "on": on, "file_name": "shot.jpg", "content": jpeg(orientation)}
    bench.do(AddPhotograph, **sent | more)


def file(bench: Bench, kind: str, on: str, content: bytes = b"123456789", **more: object) -> None:
    sent = {"on_kind": kind, "on": on, "file_name": "U7.bin", "kind": "firmware dump", "content": content}
    bench.do(AddFile, **sent | more)


def found(bench: Bench, kind: str, on: str, tag: str = TAG) -> Subject:
    with bench.store.reading() as session:
        return find_subject(session, find_machine(session, tag), kind, on)


def attached(bench: Bench, subject: Subject) -> tuple[list[tuple[str, int]], list[tuple[str, int]]]:
    """The numbers of its photographs and files, each with the machine in which they count."""
    with bench.store.reading() as session:
        photographs, files = photographs_of(session, subject).rows, files_of(session, subject).rows
    return [(one.tag, one.photograph.number) for one in photographs], [(one.tag, one.file.number) for one in files]


def record(bench: Bench, tag: str) -> dict[str, Any]:
    with bench.store.reading() as session:
        return machine_record(session, find_machine(session, tag))


# ---- Every kind ----


def test_every_kind_is_tried() -> None:
    assert NAMES.keys() == WRONG.keys() == KINDS.keys()


@pytest.mark.parametrize("kind", NAMES)
def test_every_kind_of_record_finds_its_way_back(bench: Bench, kind: str) -> None:
    """From the name that people use to the record, to what hangs on it, and to the same name."""
    on, words, place = NAMES[kind]
    photograph(bench, kind, on)
    file(bench, kind, on)

    there = found(bench, kind, on)
    with bench.store.reading() as session:
        back = [subject_of(session, row.on_kind, row.on_uuid) for row in bench.rows(Photograph)]
        back += [subject_of(session, row.on_kind, row.on_uuid) for row in bench.rows(AttachedFile)]
    assert back == [there, there]
    assert (there.on, str(there), there.place, there.machine.tag) == (on, words, place, TAG)
    assert there.of == (TAG if kind == "machine" else f"{words} of {TAG}")
    assert attached(bench, there) == ([(TAG, 1)], [(TAG, 1)])
    assert bench.last_entry().words == f"Added file 1 of {TAG}, to {words}: firmware dump “U7.bin”, CRC-32 cbf43926."
    assert bench.faults() == []


@pytest.mark.parametrize(("kind", "on"), [(kind, on) for kind, names in WRONG.items() for on in names])
def test_what_is_not_there_is_not_found(bench: Bench, kind: str, on: str) -> None:
    before = bench.entries()
    for add in (photograph, file):
        with pytest.raises(NotFound):
            add(bench, kind, on)
    assert before == bench.entries()


def test_what_hangs_on_one_record_hangs_on_no_other(bench: Bench) -> None:
    """The record of the machine names each once, and the entry that it is attached to."""
    for number, (kind, (on, *_)) in enumerate(NAMES.items(), 1):
        photograph(bench, kind, on, orientation=number)
        file(bench, kind, on, content=bytes([number]))

    told = record(bench, TAG)

    uuids = [str(found(bench, kind, on).row.uuid) for kind, (on, *_) in NAMES.items()]
    for name in ("photographs", "files"):
        assert [(one["machine"], one["number"]) for one in told[name]] == [(TAG, n) for n in range(1, 9)]
        assert [one["on_uuid"] for one in told[name]] == uuids
    for number, (kind, (on, *_)) in enumerate(NAMES.items(), 1):
        assert attached(bench, found(bench, kind, on)) == ([(TAG, number)], [(TAG, number)])


# ---- Before and after ----


def test_a_photograph_of_a_step_is_said_to_be_before_or_after_it(bench: Bench) -> None:
    for orientation, moment in enumerate(("before", "after", "after", ""), 1):
        photograph(bench, "step", "1/2", orientation, moment=moment)
    file(bench, "step", "1/2")

    with bench.store.reading() as session:
        steps = {step.number: step.uuid for step in bench.rows(Step)}
        assert counted_on_steps(session, steps.values()) == {steps[2]: Counted(4, 1, 2)}
        assert files_on_steps(session, steps.values()) == {steps[2]: 1}
    assert [one["moment"] for one in record(bench, TAG)["photographs"]] == ["before", "after", "after", ""]


def test_the_journal_says_when_it_was_taken(bench: Bench) -> None:
    photograph(bench, "step", "1/2", moment="before", caption="R2")
    assert bench.last_entry().words == f"Added photograph 1 of {TAG}, to step 2 of mod 1, before it: “R2”."

    bench.do(ReviseCaption, photograph=1, caption="R2", taken_on="2025-03-14", moment="after", opened_version=1)
    assert bench.last_entry().words == f"Photograph 1 of {TAG}: moment from “before” to “after”."


@pytest.mark.parametrize("kind", [kind for kind in NAMES if kind != "step"])
def test_nothing_else_has_a_before_and_an_after(bench: Bench, kind: str) -> None:
    sent = {"on_kind": kind, "on": NAMES[kind][0], "file_name": "shot.jpg", "content": jpeg()}

    refused = bench.refuse(AddPhotograph, **sent, moment="before")
    assert refused == {"moment": "Only a photograph of a step is taken before it or after it."}
    bench.do(AddPhotograph, **sent)
    assert bench.refuse(ReviseCaption, photograph=1, moment="after", opened_version=1) == refused


def test_another_word_for_the_moment_is_refused(bench: Bench) -> None:
    sent = {"on_kind": "step", "on": "1/2", "file_name": "shot.jpg", "content": jpeg(), "moment": "while"}

    assert "Choose one of the words offered" in bench.refuse(AddPhotograph, **sent)["moment"]


# ---- What changes its name, its number or its machine ----


def test_a_step_that_is_moved_keeps_what_hangs_on_it(bench: Bench) -> None:
    """It is found under its new number."""
    bench.step("clean")
    photograph(bench, "step", "1/4", moment="before")
    bench.do(MoveStep, mod=1, step=4, to=3, opened_version=1)

    assert attached(bench, found(bench, "step", "1/3")) == ([(TAG, 1)], [])
    assert attached(bench, found(bench, "step", "1/4")) == ([], [])


def test_what_hung_on_a_step_that_is_taken_off_the_plan_hangs_on_the_mod(bench: Bench) -> None:
    photograph(bench, "step", "1/3", moment="before")
    file(bench, "step", "1/3")

    bench.do(DropStep, mod=1, step=3, opened_version=1)

    assert attached(bench, found(bench, "mod", "1")) == ([(TAG, 1)], [(TAG, 1)])
    (row,) = bench.rows(Photograph)
    assert (row.on_uuid, row.moment) == (bench.row(Mod, 1).uuid, "")
    assert bench.last_entry().words.endswith("What was attached to it is attached to the mod now.")
    assert bench.faults() == []


def test_a_board_that_moves_takes_its_photographs_and_files_along(bench: Bench) -> None:
    """They keep their numbers, and so do those of its positions and parts; what is added there counts there."""
    bench.carry_out(3)
    bench.move("fitted", "2025-02-05")
    places = {"board": "supply", "position": "supply/C1", "part": "5"}
    bench.do(EnterPart, board="supply", designator="C1", kind="capacitor", value="10 µF", origin="original")
    assert bench.row(Part, 5).kind == "capacitor"
    for number, (kind, on) in enumerate(places.items(), 1):
        photograph(bench, kind, on, number)
        file(bench, kind, on, bytes([number]))
    photograph(bench, "machine", "", 5)

    bench.do(MoveBoard, board="supply", to=OTHER, day="2025-05-01", signer=KEEPER)
    photograph(bench, "board", "supply", 6, machine=OTHER)

    assert attached(bench, found(bench, "board", "supply", OTHER)) == ([(TAG, 1), (OTHER, 1)], [(TAG, 1)])
    for number, kind in ((2, "position"), (3, "part")):
        there = found(bench, kind, places[kind], OTHER)
        assert (there.machine.tag, attached(bench, there)) == (OTHER, ([(TAG, number)], [(TAG, number)]))
    with pytest.raises(BoardLeft):
        found(bench, "board", "supply")
    assert found(bench, "part", "5").machine.tag == OTHER
    with pytest.raises(NotFound):
        photograph(bench, "part", "5", 7)
    old, new = record(bench, TAG), record(bench, OTHER)
    assert [(one["machine"], one["number"]) for one in old["photographs"]] == [(TAG, 4)]
    assert [(one["machine"], one["number"]) for one in new["photographs"]] == [(TAG, 1), (TAG, 2), (TAG, 3), (OTHER, 1)]
    assert [(one["machine"], one["number"]) for one in new["files"]] == [(TAG, 1), (TAG, 2), (TAG, 3)]
    own = {one["uuid"] for name in ("boards", "positions", "parts") for one in new[name]}
    assert {one["on_uuid"] for one in (*new["photographs"], *new["files"])} == own
    sent = {"machine": OTHER, "on_kind": "board", "on": "supply", "file_name": "again.jpg", "content": jpeg(1)}
    assert bench.refuse(AddPhotograph, **sent) == {"content": f"This file is photograph 1 of {TAG} already."}
    assert bench.faults() == []


def test_a_part_in_a_bag_belongs_where_it_sat_last(bench: Bench) -> None:
    """The original of R2 lies in a bag since step 1; one that was never in a machine has nowhere to count."""
    photograph(bench, "part", "1")
    assert attached(bench, found(bench, "part", "1")) == ([(TAG, 1)], [])

    spare = bench.do(BagPart, day="2025-01-10", kind="chip", type="7404", origin="new").key
    with pytest.raises(NotFound, match="There is no part in any machine that is called"):
        photograph(bench, "part", str(spare))
