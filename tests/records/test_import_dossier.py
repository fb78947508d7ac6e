"""A dossier that is taken in: all of it or nothing, nothing overwritten unseen, and twice the same as once."""

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from uuid import UUID

import pytest
from sqlalchemy import update
from sqlmodel import SQLModel

from server.documents.dossier_import import Choice, take_in
from server.records.arriving import Standing, compare
from server.records.commands.board_moves import MoveBoard
from server.records.commands.dossiers import ChangedSince
from server.records.commands.machines import EnterMachine, ReviseMachine
from server.records.commands.mods import PlanMod
from server.records.commands.parts import EnterPart, RevisePart
from server.records.commands.trials import NoteModsInForce, RecordTrial, WriteProcedure
from server.records.errors import Invalid, KnownByName, Refused
from server.records.questions.addresses import find_machine
from server.records.questions.machines import shelf, tags_of_machines
from server.records.store import Store
from server.records.tables import Board, DossierImport, Machine, Mod, Part, Procedure, Trial
from server.records.work import unheard
from tests.records.conftest import KEEPER, MAIN, TAG, Bench, Copies, behind
from tests.records.dossiers import faults_in, look, read, record_in, take, write
from tests.records.test_checks import prepare

OTHER = "TM-08"


@pytest.fixture
def there(request: pytest.FixtureRequest, copies: Copies) -> Iterator[Store]:
    """Another record, with nothing in it, on the same kind of database."""
    with copies(request.node.callspec.params["bench"], "empty") as store:
        yield store


@pytest.fixture
def full(bench: Bench) -> Bench:
    """The invented machine with mods, sums, trials, a design, a map, and a second machine."""
    prepare(bench)
    bench.do(ReviseMachine, model="Merle 40", price="900 francs", acquired_from="Oda Finn", opened_version=1)
    return bench


def test_a_machine_comes_whole(full: Bench, there: Store, tmp_path: Path) -> None:
    """With who made each entry and when; its record is the same to the byte, with what is private and without."""
    place = write(full.store, TAG, tmp_path / "one.zip")

    done = take(there, place)

    assert done.words.startswith(f"Took in the dossier of 2026-01-02 of {TAG}: ")
    assert faults_in(there) == []
    for private in (True, False):
        assert record_in(full.store, TAG, private=private) == record_in(there, TAG, private=private)
    again = write(there, TAG, tmp_path / "two.zip")
    assert read(place).journal == read(again).journal
    assert read(place).names == read(again).names


def test_without_what_is_private_it_stays_out(full: Bench, there: Store, tmp_path: Path) -> None:
    """It is not told, so it is nothing; and where it is known already it is left as it is."""
    place = write(full.store, TAG, tmp_path / "one.zip", private=False)

    take(there, place)

    with there.reading() as session:
        machine = find_machine(session, TAG)
        assert (machine.price, machine.acquired_from) == ("", "")
    assert record_in(full.store, TAG, private=False) == record_in(there, TAG, private=False)
    assert look(full.store, place).nothing_new


def test_twice_is_as_once(full: Bench, there: Store, tmp_path: Path) -> None:
    place = write(full.store, TAG, tmp_path / "one.zip")
    take(there, place)
    before = Bench(there).entries()

    done = take(there, place)

    assert done.seq is None
    assert before == Bench(there).entries()
    assert look(there, place).nothing_new


def test_it_is_one_act_in_the_journal(full: Bench, there: Store, tmp_path: Path) -> None:
    """Which names every row, and who made it elsewhere."""
    take(there, write(full.store, TAG, tmp_path / "one.zip"))

    entry = Bench(there).last_entry()

    assert entry.seq == 1
    assert entry.act == "import dossier"
    assert {row["after"]["created_by"] for row in entry.change if row["table"] == "part"} == {KEEPER}
    (brought,) = Bench(there).rows(DossierImport)
    assert brought.said_all
    assert there.files.read(brought.sha256) == record_in(there, TAG)


def test_once_something_is_done_here_the_journal_goes_on_here(full: Bench, there: Store, tmp_path: Path) -> None:
    """The record then names our last entry, and the dossier tells both journals, one after the other."""
    place = write(full.store, TAG, tmp_path / "one.zip")
    take(there, place)
    Bench(there).plan("Another")

    later = read(write(there, TAG, tmp_path / "two.zip"))

    acts = [entry["act"] for entry in json.loads(later.journal)]
    assert [entry["act"] for entry in json.loads(read(place).journal)] == acts[:-2]
    assert acts[-2:] == ["import dossier", "plan mod"]
    assert later.record.journal
    assert later.record.journal.seq == 2


def revise(bench: Bench, key: int, **values: object) -> None:
    """Say something else of a part."""
    part = bench.row(Part, key)
    said = {name: getattr(part, name) for name in ("kind", "origin", "value", "type")}
    said["opened_version"] = part.version
    bench.do(RevisePart, part=key, **said | values)


def key_of(bench: Bench, uuid: UUID) -> int:
    part: Part = next(row for row in bench.rows(Part) if row.uuid == uuid)
    return part.key


def test_what_differs_is_shown_and_stays_unless_it_is_taken(full: Bench, there: Store, tmp_path: Path) -> None:
    """Both versions, with who changed it since it came; nothing is overwritten unseen."""
    take(there, write(full.store, TAG, tmp_path / "one.zip"))
    here = Bench(there)
    ours, theirs, both = (full.row(Part, key).uuid for key in (2, 3, 1))
    revise(here, key_of(here, ours), note="Measured here")
    revise(full, key_of(full, theirs), note="Measured there")
    revise(here, key_of(here, both), note="Ours")
    revise(full, key_of(full, both), note="Theirs")
    place = write(full.store, TAG, tmp_path / "two.zip")

    found = look(there, place)
    notes = {
        one.uuid: (one.since, one.only_there, [(f.name, f.here, f.there) for f in one.fields])
        for one in found.different
    }

    assert notes == {
        ours: ("changed here since it came", False, [("note", "Measured here", "")]),
        theirs: ("changed there since it came", True, [("note", "", "Measured there")]),
        both: ("changed here and there since it came", False, [("note", "Ours", "Theirs")]),
    }
    take(there, place, take=[theirs])
    said = {row.uuid: row.note for row in here.rows(Part)}
    assert (said[ours], said[theirs], said[both]) == ("Measured here", "Measured there", "Ours")
    assert faults_in(there) == []
    take(there, place, take=[both])
    assert next(row.note for row in here.rows(Part) if row.uuid == both) == "Theirs"


def test_new_things_join_what_is_here(full: Bench, there: Store, tmp_path: Path) -> None:
    """What was added on both sides since has a number each, and a trial its mods."""
    take(there, write(full.store, TAG, tmp_path / "one.zip"))
    here = Bench(there)
    here.plan("Ours")
    full.plan("Theirs")
    full.do(RecordTrial, procedure="timing", day="2025-02-20", readings="5 6", signer=KEEPER)
    place = write(full.store, TAG, tmp_path / "two.zip")

    found = look(there, place)
    take(there, place)

    assert dict(found.new)["mod"] == 1
    assert found.only_here == ("Mod 3",)
    assert sorted((row.number, row.title) for row in here.rows(Mod))[2:] == [(3, "Ours"), (4, "Theirs")]
    assert len(here.rows(Trial)) == 2
    assert faults_in(there) == []
    assert look(there, place).nothing_new


def test_mods_in_force_at_a_trial_are_taken_when_they_are_chosen(full: Bench, there: Store, tmp_path: Path) -> None:
    take(there, write(full.store, TAG, tmp_path / "one.zip"))
    full.do(NoteModsInForce, trial=1, mods=[], reason="Read before it", opened_with="1")
    place = write(full.store, TAG, tmp_path / "two.zip")
    (trial,) = look(there, place).different

    take(there, place, take=[trial.uuid])

    assert [field.name for field in trial.fields] == ["mods reason", "mods"]
    assert look(there, place).nothing_new


def test_what_was_looked_at_is_what_is_written(full: Bench, there: Store, tmp_path: Path) -> None:
    """Where the record changed since, nothing is written; where something else did, all is."""
    place = write(full.store, TAG, tmp_path / "one.zip")
    take(there, place)
    here = Bench(there)
    revise(full, 2, note="Measured there")
    place = write(full.store, TAG, tmp_path / "two.zip")
    seen = look(there, place)
    here.do(EnterMachine, tag="ZZ-1", model="Other")
    revise(here, key_of(here, full.row(Part, 2).uuid), note="Measured here")
    before = here.entries()

    with pytest.raises(ChangedSince, match="look at the dossier again"):
        take_in(there, place, Choice(seen.seen), KEEPER, unheard)

    assert before == here.entries()


def test_a_tag_that_is_taken_has_to_be_another(full: Bench, there: Store, tmp_path: Path) -> None:
    place = write(full.store, TAG, tmp_path / "one.zip")
    Bench(there).do(EnterMachine, tag=TAG.lower(), model="Other")
    assert look(there, place).tag_taken

    with pytest.raises(Invalid) as refusal:
        take(there, place)
    take(there, place, tag="TM-30")

    assert refusal.value.messages == {"tag": f"Another machine here has the tag {TAG}. Choose another for this one."}
    with there.reading() as session:
        assert tags_of_machines(session, []) == [TAG.lower(), "TM-30"]
    assert look(there, place).nothing_new
    assert faults_in(there) == []


def test_a_name_that_is_taken_gets_a_number(full: Bench, there: Store, tmp_path: Path) -> None:
    """A procedure of the same name is another one, with figures of its own."""
    Bench(there).do(WriteProcedure, title="Timing", unit="s")

    take(there, write(full.store, TAG, tmp_path / "one.zip"))

    assert sorted(row.slug for row in Bench(there).rows(Procedure)) == ["timing", "timing-2"]
    assert faults_in(there) == []


def move_main_board(bench: Bench) -> None:
    """With mod 1, that is fitted; mod 2 is given up before."""
    bench.move("dropped", "2025-04-01", 2)
    bench.do(MoveBoard, board=MAIN, to=OTHER, day="2025-05-01", signer=KEEPER)


def test_a_board_that_came_from_another_machine_names_it(full: Bench, there: Store, tmp_path: Path) -> None:
    """That machine is known by its name alone, and on no shelf, until its own dossier comes."""
    move_main_board(full)

    take(there, write(full.store, OTHER, tmp_path / "other.zip"))

    assert record_in(full.store, OTHER) == record_in(there, OTHER)
    assert faults_in(there) == []
    with there.reading() as session:
        assert [line.machine.tag for line in shelf(session, 1).rows] == [OTHER]
        with pytest.raises(KnownByName, match=f"{TAG} is known here by its name alone"):
            find_machine(session, TAG)
    place = write(full.store, TAG, tmp_path / "own.zip")
    assert look(there, place).is_new
    take(there, place)
    assert record_in(full.store, TAG) == record_in(there, TAG)
    assert record_in(full.store, OTHER) == record_in(there, OTHER)
    assert faults_in(there) == []
    assert look(full.store, write(there, OTHER, tmp_path / "back.zip")).nothing_new


def test_a_machine_known_by_name_gives_way_to_one_that_has_its_tag(full: Bench, there: Store, tmp_path: Path) -> None:
    move_main_board(full)
    Bench(there).do(EnterMachine, tag=TAG, model="Other")

    take(there, write(full.store, OTHER, tmp_path / "other.zip"))

    assert sorted((row.tag, row.elsewhere) for row in Bench(there).rows(Machine)) == [
        (TAG, False),
        (f"{TAG}-2", True),
        (OTHER, False),
    ]


def test_a_board_that_is_in_another_machine_here_is_left_there(full: Bench, there: Store, tmp_path: Path) -> None:
    """Two records cannot both be right about where it is; nothing is written."""
    place = write(full.store, TAG, tmp_path / "one.zip")
    take(there, place)
    here = Bench(there)
    here.do(EnterMachine, tag=OTHER, model="Other")
    here.do(MoveBoard, board="supply", to=OTHER, day="2025-05-01", signer=KEEPER)
    full.plan("Later")
    before = here.entries()

    with pytest.raises(Refused, match="A board of the dossier is here already, with another machine"):
        take(there, write(full.store, TAG, tmp_path / "two.zip"))

    assert before == here.entries()


def test_what_would_break_a_rule_is_not_taken_in(full: Bench, there: Store, tmp_path: Path) -> None:
    """The same position was filled on both sides since: one part at a time, so nothing is written."""
    take(there, write(full.store, TAG, tmp_path / "one.zip"))
    for bench in (Bench(there), full):
        bench.do(
            EnterPart, board=MAIN, designator="R9", kind="resistor", value="10 kΩ", origin="new", fitted_on="2025-04-01"
        )
    before = Bench(there).entries()

    with pytest.raises(Refused) as refusal:
        take(there, write(full.store, TAG, tmp_path / "two.zip"))

    assert "where only one can be" in str(refusal.value)
    assert before == Bench(there).entries()
    assert faults_in(there) == []


def test_rows_are_held_against_each_other_by_uuid(full: Bench, there: Store, tmp_path: Path) -> None:
    """A row of another kind with the same UUID is another row."""
    place = write(full.store, TAG, tmp_path / "one.zip")
    take(there, place)
    rows = read(place).rows
    board = next(row for row in rows if row.table is Board)

    with there.reading() as session:
        found = compare(session, [replace(board, columns={**board.columns, "name": "Another"})])
        other = compare(session, [replace(board, table=Machine, leads_to={})])

    assert [(one.column, one.there) for one in found.held[0].differences] == [("name", "Another")]
    assert other.held[0].standing is Standing.NEW


def test_a_rule_that_would_be_broken_is_told(full: Bench, there: Store, tmp_path: Path) -> None:
    """A mod is in the state of its latest move: who takes the move in, and not the state, hears of it."""
    take(there, write(full.store, TAG, tmp_path / "one.zip"))
    full.move("dropped", "2025-04-01", 2)
    place = write(full.store, TAG, tmp_path / "two.zip")
    before = Bench(there).entries()
    (mod,) = look(there, place).different

    with pytest.raises(Refused, match="does not go together with this record: Mod 2 is planned"):
        take(there, place)

    assert before == Bench(there).entries()
    assert take(there, place, take=[mod.uuid]).seq
    assert faults_in(there) == []


def test_a_fault_of_before_stops_no_dossier(full: Bench, there: Store, tmp_path: Path) -> None:
    """What is wrong here already is not the dossier's doing."""
    Bench(there).do(EnterMachine, tag="ZZ-1", model="Other")
    Bench(there).do(PlanMod, machine="ZZ-1", title="Faster", state="planned", day="2025-02-01", signer=KEEPER)
    behind(there, update(SQLModel.metadata.tables["mod"]).values(state="fitted"))

    done = take(there, write(full.store, TAG, tmp_path / "one.zip"))

    assert done.seq
