"""Photographs on the record: added to what they show, each under its digest, and what is said of them revised."""

import shutil
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import date

import pytest
from sqlalchemy import event, text

from server.records.commands.machines import EnterMachine
from server.records.commands.maps import AddBoardPicture, LeavePictureOut
from server.records.commands.photographs import AddPhotograph, DropPhotograph, ReviseCaption
from server.records.commands.symptoms import NoteSymptom
from server.records.errors import Damaged, NotFound, Stale
from server.records.files import DERIVED
from server.records.pictures import SCREEN, SMALL, take_in
from server.records.questions.addresses import find_machine
from server.records.questions.photographs import any_of_file, photographs_of, view_of
from server.records.questions.subjects import Subject, find_subject
from server.records.store import open_engine, take_turn
from server.records.tables import Photograph, Symptom
from tests.records.conftest import MAIN, TAG, Bench
from tests.records.photographs import ALL_KINDS, SECRETS, heic, jpeg, png

HUM = {"title": "Hum", "seen_on": "2025-01-10"}


@pytest.fixture(autouse=True)
def symptoms(bench: Bench) -> None:
    for title in ("Hum", "Stripes"):
        bench.do(NoteSymptom, **HUM | {"title": title})


def add(bench: Bench, on: str = "1", content: bytes = b"", **more: object) -> None:
    typed = {"on_kind": "symptom", "on": on, "file_name": "shot.jpg", "content": content or jpeg(), **more}
    bench.do(AddPhotograph, **typed)


def symptom(bench: Bench, on: str = "1") -> Subject:
    with bench.store.reading() as session:
        return find_subject(session, find_machine(session, TAG), "symptom", on)


# ---- Adding ----


@pytest.mark.parametrize("kind", ALL_KINDS)
def test_a_photograph_is_kept_with_what_it_says(bench: Bench, kind: str) -> None:
    """Under the digest of the kept file; that of the file as it came is noted beside it."""
    sent = ALL_KINDS[kind](6)

    add(bench, content=sent, caption="Stripes", file_name="IMG 1.heic")

    picture, (row,) = take_in(sent), bench.rows(Photograph)
    told = {name: getattr(row, name) for name in ("number", "on_kind", "caption", "taken_on", "file_name")}
    assert told == {
        "number": 1,
        "on_kind": "symptom",
        "caption": "Stripes",
        "taken_on": date(2025, 3, 14),
        "file_name": "IMG 1.heic",
    }
    assert (row.width, row.height, row.media_type) == (80, 120, picture.media_type)
    assert row.on_uuid == bench.row(Symptom, 1).uuid
    assert (row.sent_sha256, row.size) == (picture.sent_sha256, len(picture.kept))
    assert picture.kept == bench.store.files.read(row.sha256)
    assert bench.last_entry().words == f"Added photograph 1 of {TAG}, to symptom 1: “Stripes”."
    assert bench.faults() == []


def test_nothing_of_the_files_folder_tells_the_place(bench: Bench) -> None:
    """Not the kept file, and none of its views."""
    add(bench)

    held = b"".join(path.read_bytes() for path in bench.store.files.root.rglob("*") if path.is_file())

    assert [secret for secret in SECRETS if secret in held] == []


def test_photographs_of_a_machine_count_from_one(bench: Bench) -> None:
    """Whatever they show; each machine has its own."""
    bench.do(EnterMachine, tag="OT-1", model="Other")
    bench.do(NoteSymptom, machine="OT-1", **HUM)
    for on, orientation in (("1", 1), ("2", 3), ("1", 6)):
        add(bench, on, jpeg(orientation))
    add(bench, machine="OT-1")

    with bench.store.reading() as session:
        machine = find_machine(session, TAG)
        shown = [find_subject(session, machine, "symptom", on) for on in ("1", "2")]
        found = {one.on: [row.photograph.number for row in photographs_of(session, one).rows] for one in shown}
    assert found == {"1": [1, 3], "2": [2]}
    assert [row.number for row in bench.rows(Photograph)] == [1, 2, 3, 1]


def test_a_record_without_photographs_has_none(bench: Bench) -> None:
    with bench.store.reading() as session:
        found = photographs_of(session, symptom(bench))
    assert (list(found.rows), found.last, found.total) == ([], 1, 0)


def test_the_photographs_of_a_record_come_page_by_page(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """In the order in which they were added; beyond the last page is the last."""
    monkeypatch.setattr("server.records.questions.photographs.ON_A_PAGE", 2)
    for orientation in range(1, 6):
        add(bench, content=jpeg(orientation))

    with bench.store.reading() as session:
        pages = [photographs_of(session, symptom(bench), page) for page in (1, 2, 3, 9)]
    assert [[row.photograph.number for row in page.rows] for page in pages] == [[1, 2], [3, 4], [5], [5]]
    assert {(page.last, page.total) for page in pages} == {(3, 5)}


def test_photographs_are_found_by_the_kind_of_what_they_show(bench: Bench) -> None:
    """And not by its number in the database's own words alone."""
    add(bench)
    with bench.store.engine.begin() as connection:
        connection.execute(text("UPDATE photograph SET on_kind = 'lamp'"))

    with bench.store.reading() as session:
        assert photographs_of(session, symptom(bench)).total == 0
    add(bench)
    assert len(bench.rows(Photograph)) == 2


def test_a_name_says_nothing_of_what_a_file_is(bench: Bench) -> None:
    """A JPEG that is called a PNG is a JPEG."""
    add(bench, file_name="shot.png")

    assert bench.rows(Photograph)[0].media_type == "image/jpeg"


def test_what_is_no_photograph_is_refused_with_the_reason(bench: Bench) -> None:
    """Nothing is left behind in the files folder."""
    refused = bench.refuse(
        AddPhotograph, on_kind="symptom", on="1", file_name="evil.jpg", content=b"<svg><script/></svg>"
    )

    assert "JPEG, PNG, WebP and HEIC files are taken" in refused["content"]
    assert [path for path in bench.store.files.root.rglob("*") if path.is_file()] == []


def test_a_file_is_needed(bench: Bench) -> None:
    typed = {"on_kind": "symptom", "on": "1", "file_name": "shot.jpg"}

    assert bench.refuse(AddPhotograph, **typed, content="text")["content"] == "Send the photograph's file."
    assert "content" in bench.refuse(AddPhotograph, **typed)


def test_the_same_file_is_added_to_a_record_once(bench: Bench) -> None:
    """Sent again it is the same photograph; another record may show it too."""
    add(bench, content=heic())

    typed = {"on_kind": "symptom", "file_name": "again.heic", "content": heic()}
    assert bench.refuse(AddPhotograph, **typed, on="1") == {"content": "This file is photograph 1 already."}
    bench.do(AddPhotograph, **typed, on="2")
    assert len({row.sha256 for row in bench.rows(Photograph)}) == 1
    assert bench.faults() == []


def test_adding_reads_none_of_the_photographs_that_are_there(bench: Bench) -> None:
    """Whether a file is known already is one question, however many there are."""
    for orientation in range(1, 4):
        add(bench, content=jpeg(orientation))
    loaded: list[object] = []
    event.listen(Photograph, "load", note := lambda row, _: loaded.append(row))

    add(bench, content=jpeg(4))

    event.remove(Photograph, "load", note)
    assert loaded == []


def test_the_file_is_on_the_disk_before_the_record_is_locked(bench: Bench) -> None:
    """However long the disk takes, nobody's write waits for it: here another write has the lock meanwhile."""
    command = AddPhotograph.read(
        {"machine": TAG, "on_kind": "symptom", "on": "1", "file_name": "1.jpg", "content": jpeg()}
    )
    files, digest = bench.store.files, command.content.sha256
    views = [files.root / DERIVED / digest[:2] / f"{digest}-{most}.jpg" for most in (SMALL, SCREEN)]

    another = open_engine(bench.store.url).execution_options(putback_writes=True)
    with another.connect() as other, ThreadPoolExecutor(1) as thread:
        other.begin()
        take_turn(other)
        adding = thread.submit(bench.store.carry_out, command, "Test keeper")
        waited_until = time.monotonic() + 20
        while not views[0].is_file() and time.monotonic() < waited_until:
            time.sleep(0.01)
        there = [path.is_file() for path in (files.path(digest), *views)]
        waits = not adding.done()
        other.rollback()
        adding.result()
    another.dispose()

    assert (there[:2], waits) == ([True, True], True)
    assert bench.rows(Photograph)[0].sha256 == digest


@pytest.mark.parametrize(
    ("kind", "on"),
    [("symptom", "9"), ("symptom", "x"), ("symptom", "-1"), ("symptom", "٣"), ("symptom", "1" * 40), ("lamp", "1")],
)
def test_what_is_not_there_has_no_photographs(bench: Bench, kind: str, on: str) -> None:
    before = bench.entries()

    with pytest.raises(NotFound):
        add(bench, on, on_kind=kind)
    assert before == bench.entries()


# ---- Revising ----

REVISED = {"photograph": 1, "caption": "Stripes, cold", "taken_on": "2025-03-15"}


def test_a_caption_and_a_day_are_revised(bench: Bench) -> None:
    """The photograph itself stays as it is."""
    add(bench)
    kept = bench.rows(Photograph)[0].sha256

    bench.do(ReviseCaption, **REVISED, opened_version=1)

    (row,) = bench.rows(Photograph)
    assert (row.caption, row.taken_on, row.sha256, row.version) == ("Stripes, cold", date(2025, 3, 15), kept, 2)
    assert bench.last_entry().words == (
        f"Photograph 1 of {TAG}: caption “Stripes, cold” noted; taken on from “2025-03-14” to “2025-03-15”."
    )


def test_a_caption_that_somebody_else_revised_is_stale(bench: Bench) -> None:
    add(bench)
    bench.do(ReviseCaption, **REVISED, opened_version=1)

    with pytest.raises(Stale) as refusal:
        bench.do(ReviseCaption, photograph=1, caption="Mine", taken_on="", opened_version=1)
    assert [(row.field, row.yours, row.theirs) for row in refusal.value.rows] == [
        ("caption", "Mine", "Stripes, cold"),
        ("taken on", "", "2025-03-15"),
    ]


def test_a_photograph_was_not_taken_in_days_to_come(bench: Bench) -> None:
    add(bench)

    refused = bench.refuse(ReviseCaption, photograph=1, taken_on="9999-01-01", opened_version=1)

    assert "still to come" in refused["taken_on"]


def test_a_photograph_that_is_not_there_is_not_found(bench: Bench) -> None:
    with pytest.raises(NotFound):
        bench.do(ReviseCaption, **REVISED, opened_version=1)


# ---- Files and views ----


def test_only_the_digest_of_a_photograph_is_found(bench: Bench) -> None:
    """Not that of any other file in the folder."""
    add(bench)
    other = bench.store.files.keep(png())

    with bench.store.reading() as session:
        assert any_of_file(session, bench.rows(Photograph)[0].sha256).number == 1
        with pytest.raises(NotFound):
            any_of_file(session, other)


def test_views_are_made_when_a_photograph_is_added_and_again_when_they_are_gone(bench: Bench) -> None:
    """They are in no row, so the record is whole without them."""
    add(bench, content=jpeg(6))
    digest, files = bench.rows(Photograph)[0].sha256, bench.store.files
    views = {most: view_of(files, digest, most) for most in (SMALL, SCREEN)}
    made = sorted(path.name for path in (files.root / DERIVED).rglob("*") if path.is_file())

    shutil.rmtree(files.root / DERIVED)

    assert made == sorted(f"{digest}-{most}.jpg" for most in (SMALL, SCREEN))
    assert bench.faults() == []
    assert views == {most: view_of(files, digest, most) for most in (SMALL, SCREEN)}
    assert views == take_in(jpeg(6)).views


def test_views_of_a_damaged_file_are_not_made(bench: Bench) -> None:
    add(bench)
    digest, files = bench.rows(Photograph)[0].sha256, bench.store.files
    shutil.rmtree(files.root / DERIVED)
    files.path(digest).write_bytes(b"something else")

    with pytest.raises(Damaged):
        view_of(files, digest, SMALL)
    assert len(bench.faults()) == 1
    svg = files.keep(b"<svg/>")
    with pytest.raises(Damaged, match="can no longer be decoded"):
        view_of(files, svg, SMALL)


# ---- Taking off ----


def test_a_photograph_is_taken_off_and_its_number_stays_its_own(bench: Bench) -> None:
    """And may be added again."""
    add(bench)
    with pytest.raises(Stale):
        bench.do(DropPhotograph, photograph=1, opened_version=2)
    bench.do(DropPhotograph, photograph=1, opened_version=1)

    assert bench.rows(Photograph) == []
    assert bench.last_entry().words == f"Photograph 1 of {TAG} was taken off the record."
    assert bench.faults() == []
    add(bench)
    assert [row.number for row in bench.rows(Photograph)] == [2]


def test_a_photograph_that_a_map_rests_on_stays(bench: Bench) -> None:
    """Until it is left out of the map."""
    bench.do(AddPhotograph, on_kind="board", on=MAIN, file_name="a.png", content=png())
    bench.do(AddBoardPicture, board=MAIN, photograph=1, kind="photograph")

    assert "on the map of a board" in bench.refuse(DropPhotograph, photograph=1, opened_version=1)[""]

    bench.do(LeavePictureOut, board=MAIN, picture=1, opened_version=1)
    bench.do(DropPhotograph, photograph=1, opened_version=1)
    assert bench.rows(Photograph) == []
