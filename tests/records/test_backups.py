"""A whole copy of the record: taken while others write, complete or not there, put in place only when it is whole."""

import hashlib
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import zipfile
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import date
from pathlib import Path

import pytest
from sqlalchemy import text
from sqlmodel import SQLModel

from server.records import migrate
from server.records.backups import MANIFEST, MANIFEST_SUM, Made, make_backup, new_place
from server.records.commands.files import AddFile
from server.records.commands.photographs import AddPhotograph
from server.records.copied import KEPT_FILES, OTHER_DIGESTS, told_by
from server.records.errors import Damaged, RecordError, Refused
from server.records.restoring import restore
from server.records.store import DATABASE, FILES, Store, sqlite_url
from server.records.tables import AttachedFile
from server.records.work import unheard
from tests.records.conftest import Bench, Copies, behind
from tests.records.photographs import written
from tests.records.sheets import sign

DAY = date(2026, 1, 2)
ROOT = Path(__file__).parents[2]


@pytest.fixture
def bench(copies: Copies) -> Iterator[Bench]:
    """A SQLite record with a photograph, two files and a signed sheet."""
    with copies("sqlite", "entered") as store:
        yield with_files(Bench(store))


@pytest.fixture(scope="module")
def a_copy(copies: Copies, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A whole copy of such a record, as a folder, to be copied and spoilt."""
    place = tmp_path_factory.mktemp("whole") / "copy"
    with copies("sqlite", "entered") as store:
        copied(with_files(Bench(store)), place)
    return place


def with_files(bench: Bench) -> Bench:
    add_file(bench, b"a dump")
    add_file(bench, bytes(3_000_000))
    bench.do(AddPhotograph, on_kind="machine", on="", file_name="front.png", content=written("PNG"))
    sign(bench, "2026-01-01")
    bench.store.files.derived("0" * 64, "480.jpg", lambda: b"can be made again")
    return bench


def add_file(bench: Bench, content: bytes) -> None:
    bench.do(AddFile, on_kind="machine", on="", kind="other", file_name="dump.bin", content=content)


def folder_of(bench: Bench) -> Path:
    return Path(str(bench.store.engine.url.database)).parent


def copied(bench: Bench, place: Path) -> Made:
    return make_backup(folder_of(bench) / DATABASE, bench.store.files, place, DAY, unheard)


def put_back(copy: Path, place: Path, *, with_faults: bool = False) -> Bench:
    restore(copy, place, unheard, with_faults=with_faults)
    return served(place)


def served(place: Path) -> Bench:
    store = Store(sqlite_url(place))
    migrate.upgrade(store.engine)
    return Bench(store)


def everything_in(folder: Path) -> dict[str, bytes]:
    return {str(one.relative_to(folder)): one.read_bytes() for one in folder.rglob("*") if one.is_file()}


def rows_of(bench: Bench) -> dict[str, list[object]]:
    with bench.store.reading() as session:
        tables = SQLModel.metadata.sorted_tables
        return {table.name: [tuple(row) for row in session.connection().execute(table.select())] for table in tables}


# ---- What a copy holds ----


@pytest.mark.parametrize("name", ["copy", "copy.zip"])
def test_a_copy_brings_back_every_row_and_every_file(bench: Bench, tmp_path: Path, name: str) -> None:
    """As a folder and as a zip file; of what can be made again nothing goes along."""
    made = copied(bench, tmp_path / name)
    there = put_back(tmp_path / name, tmp_path / "there")

    assert (made.entries, made.faults) == (bench.entries(), [])
    assert rows_of(there) == rows_of(bench)
    assert there.faults() == []
    kept = {path.name for path in bench.store.files.root.glob("??/*")}
    assert kept == {path.name for path in (tmp_path / "there" / FILES).rglob("*") if path.is_file()}
    assert made.files == len(kept)


def test_the_manifest_can_be_checked_by_anyone(bench: Bench, tmp_path: Path) -> None:
    """Each file with its SHA-256, the rows of each table, where the journal ends; and the manifest's own digest."""
    copied(bench, tmp_path / "copy")
    manifest = json.loads((tmp_path / "copy" / MANIFEST).read_bytes())
    found = {
        name: hashlib.sha256(content).hexdigest()
        for name, content in everything_in(tmp_path / "copy").items()
        if not name.startswith(MANIFEST)
    }

    assert {name: one["sha256"] for name, one in manifest["files"].items()} == found
    assert (manifest["journal_seq"], manifest["journal_hash"]) == (bench.entries(), bench.last_entry().hash)
    assert set(manifest["rows"]) == {*SQLModel.metadata.tables, "alembic_version"}
    assert manifest["rows"]["attached_file"] == len(bench.rows(AttachedFile))
    assert manifest["made_on"] == "2026-01-02"
    summed = (tmp_path / "copy" / MANIFEST_SUM).read_text().split()
    assert summed == [hashlib.sha256((tmp_path / "copy" / MANIFEST).read_bytes()).hexdigest(), MANIFEST]


def test_files_are_copies_and_no_links(bench: Bench, tmp_path: Path) -> None:
    """What befalls the record's disk does not befall the copy's."""
    copied(bench, tmp_path / "copy")
    kept = next(bench.store.files.root.glob("??/*"))

    assert not (tmp_path / "copy" / FILES / kept.parent.name / kept.name).samefile(kept)


def test_every_column_of_a_digest_is_known_as_a_kept_files_or_not() -> None:
    """A new table's files must not stay behind."""
    columns = {column.name for table in SQLModel.metadata.tables.values() for column in table.columns}

    assert {name for name in columns if name.endswith("sha256")} == KEPT_FILES | OTHER_DIGESTS


def test_a_copy_is_taken_while_others_write(copies: Copies, tmp_path: Path) -> None:
    """It is the record of one moment, and nobody's write is refused for it."""
    with copies("sqlite", "entered") as store:
        words = [sys.executable, "-m", "tests.records.endless_writer", store.url, str(store.files.root)]
        with subprocess.Popen(words, stdout=subprocess.PIPE, text=True, cwd=ROOT) as writer:
            assert writer.stdout is not None
            first = int(writer.stdout.readline())
            made = [copied(Bench(store), tmp_path / f"{number}.zip") for number in range(3)]
            writer.kill()
            told = [first, *(int(line) for line in writer.stdout.readlines() if line.endswith("\n"))]

        assert first <= made[0].entries < made[1].entries < made[2].entries
        assert told == list(range(first, first + len(told)))
        for number, one in enumerate(made):
            there = put_back(tmp_path / f"{number}.zip", tmp_path / str(number))
            assert (there.entries(), there.faults()) == (one.entries, [])


def test_a_record_of_an_older_version_is_copied_and_served_after_it_is_restored(tmp_path: Path) -> None:
    """A copy is what one wants before the program is renewed; it stays as old as it was."""
    (tmp_path / "old").mkdir()
    with closing(Store(sqlite_url(tmp_path / "old"))) as store:
        migrate.upgrade(store.engine, "0004")
        files = store.files
    make_backup(tmp_path / "old" / DATABASE, files, tmp_path / "copy.zip", DAY, unheard)
    restore(tmp_path / "copy.zip", tmp_path / "there", unheard)

    assert told_by(tmp_path / "there" / DATABASE).schema == "0004"
    assert served(tmp_path / "there").faults() == []


def test_a_name_is_found_that_nothing_has(tmp_path: Path) -> None:
    (tmp_path / "putback-2026-01-02.zip").touch()
    assert new_place(tmp_path, DAY).name == "putback-2026-01-02-2.zip"


# ---- Whole, or not there ----


def fill_disk(_: object) -> None:
    raise OSError(28, "No space left on device")


@pytest.mark.parametrize("name", ["copy", "copy.zip"])
@pytest.mark.parametrize("fails_at", [1, 2])
def test_a_copy_that_cannot_be_finished_is_not_there(
    bench: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, fails_at: int
) -> None:
    """Nor is anything beside its place."""
    calls = iter(range(1, 100))
    synced = os.fsync
    monkeypatch.setattr(os, "fsync", lambda handle: fill_disk(handle) if next(calls) == fails_at else synced(handle))
    with pytest.raises(OSError, match="No space left"):
        copied(bench, tmp_path / name)

    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["copy", "copy.zip"])
def test_nothing_is_overwritten(bench: Bench, tmp_path: Path, name: str) -> None:
    copied(bench, tmp_path / name)
    before = everything_in(tmp_path)

    with pytest.raises(Refused, match="a copy overwrites nothing"):
        copied(bench, tmp_path / name)
    assert before == everything_in(tmp_path)


def test_an_empty_folder_is_filled(bench: Bench, tmp_path: Path) -> None:
    (tmp_path / "copy").mkdir()
    copied(bench, tmp_path / "copy")
    (tmp_path / "there").mkdir()

    assert put_back(tmp_path / "copy", tmp_path / "there").entries() == bench.entries()


# ---- A record that is not whole ----


def test_a_record_that_is_not_whole_is_copied_as_it_is_and_restored_only_when_that_is_said(
    bench: Bench, tmp_path: Path
) -> None:
    """A failing disk is when a copy is needed most; the damaged file is left out, everything else comes along."""
    damaged = bench.rows(AttachedFile)[0].sha256
    bench.store.files.path(damaged).write_bytes(b"x")
    made = copied(bench, tmp_path / "copy.zip")

    assert len(made.faults) == 1
    with pytest.raises(Damaged, match=r"is not whole, and nothing was restored\..*--with-faults"):
        restore(tmp_path / "copy.zip", tmp_path / "there", unheard)
    assert not (tmp_path / "there").exists()
    there = put_back(tmp_path / "copy.zip", tmp_path / "there", with_faults=True)
    assert len(there.faults()) == 1
    assert rows_of(there) == rows_of(bench)


def test_a_journal_that_was_tampered_with_before_the_copy_is_told(bench: Bench, tmp_path: Path) -> None:
    behind(bench.store, text("UPDATE journal SET words = 'Nothing.' WHERE seq = 3"))
    copied(bench, tmp_path / "copy.zip")

    with pytest.raises(Damaged, match="Journal entry 3 was changed after it was written"):
        restore(tmp_path / "copy.zip", tmp_path / "there", unheard)


def test_a_database_that_is_damaged_is_not_copied(bench: Bench, tmp_path: Path) -> None:
    copied(bench, tmp_path / "copy")
    spoilt = tmp_path / "copy" / DATABASE
    spoilt.write_bytes(spoilt.read_bytes()[:9000])

    with pytest.raises(Damaged):
        make_backup(spoilt, bench.store.files, tmp_path / "next.zip", DAY, unheard)
    assert [one.name for one in tmp_path.iterdir()] == ["copy"]


# ---- A copy that is not whole ----


def a_file(copy: Path) -> Path:
    return max((copy / FILES).rglob("*"), key=lambda one: one.stat().st_size if one.is_file() else -1)


def flip(place: Path) -> None:
    content = bytearray(place.read_bytes())
    content[len(content) // 2] ^= 1
    place.write_bytes(content)


def sum_again(copy: Path, manifest: dict[str, object]) -> None:
    """As somebody who knows how would."""
    content = json.dumps(manifest).encode()
    (copy / MANIFEST).write_bytes(content)
    (copy / MANIFEST_SUM).write_text(f"{hashlib.sha256(content).hexdigest()}  {MANIFEST}\n")


def forge(copy: Path, act: Callable[[sqlite3.Connection], object]) -> None:
    """Change the database and bring the manifest into line with it."""
    with closing(sqlite3.connect(copy / DATABASE)) as connection, connection:
        act(connection)
    manifest = json.loads((copy / MANIFEST).read_bytes())
    content = (copy / DATABASE).read_bytes()
    manifest["files"][DATABASE] = {"sha256": hashlib.sha256(content).hexdigest(), "octets": len(content)}
    sum_again(copy, manifest)


def change_row(copy: Path) -> None:
    forge(copy, lambda connection: connection.execute("UPDATE machine SET model = 'Merle 99'"))


def drop_row(copy: Path) -> None:
    forge(copy, lambda connection: connection.execute("DELETE FROM photograph"))


def make_newer(copy: Path) -> None:
    forge(copy, lambda connection: connection.execute("UPDATE alembic_version SET version_num = '9999'"))
    manifest = json.loads((copy / MANIFEST).read_bytes())
    sum_again(copy, manifest | {"schema_revision": "9999"})


def name_outside(copy: Path) -> None:
    manifest = json.loads((copy / MANIFEST).read_bytes())
    manifest["files"]["../outside"] = manifest["files"][DATABASE]
    sum_again(copy, manifest)


def forget_file(copy: Path) -> None:
    manifest = json.loads((copy / MANIFEST).read_bytes())
    del manifest["files"][str(a_file(copy).relative_to(copy))]
    sum_again(copy, manifest)


SPOILT: dict[str, tuple[Callable[[Path], object], str]] = {
    "a file changed": (lambda copy: flip(a_file(copy)), r"files/../\w+ is not as it was copied"),
    "a file longer": (lambda copy: a_file(copy).write_bytes(bytes(3_000_001)), "is not as it was copied"),
    "a file gone": (lambda copy: a_file(copy).unlink(), r"not complete: files/../\w+ is missing"),
    "the database changed": (lambda copy: flip(copy / DATABASE), "putback.sqlite3 is not as it was copied"),
    "the database gone": (lambda copy: (copy / DATABASE).unlink(), "putback.sqlite3 is missing"),
    "the manifest changed": (lambda copy: flip(copy / MANIFEST), "manifest.json does not hold what was written"),
    "the manifest's sum gone": (lambda copy: (copy / MANIFEST_SUM).unlink(), "manifest.json does not hold"),
    "the manifest gone": (lambda copy: (copy / MANIFEST).unlink(), "is no copy that `putback backup` made"),
    "a place outside": (name_outside, "manifest.json does not hold"),
    "a file left out of all": (forget_file, r"not complete: file \w+ is missing"),
    "a row changed by one who knows how": (change_row, "differs from what the journal says of it: model"),
    "a row removed by one who knows how": (drop_row, "how many rows it has differs"),
    "a newer record": (make_newer, "written by a newer version of Putback"),
}


@pytest.mark.parametrize("kind", SPOILT)
@pytest.mark.parametrize("zipped", [False, True], ids=["folder", "zip"])
def test_a_copy_that_is_not_whole_is_refused(a_copy: Path, tmp_path: Path, kind: str, zipped: bool) -> None:
    """Before anything is put in place, and in words that say what it is."""
    spoil, sentence = SPOILT[kind]
    copy = Path(shutil.copytree(a_copy, tmp_path / "copy"))
    spoil(copy)
    if zipped:
        shutil.make_archive(str(copy), "zip", copy)
        shutil.rmtree(copy)
        copy = tmp_path / "copy.zip"

    with pytest.raises(RecordError, match=sentence):
        restore(copy, tmp_path / "there", unheard, with_faults=kind != "a row changed by one who knows how")
    assert [one.name for one in tmp_path.iterdir()] == [copy.name]


@pytest.mark.parametrize("part", [0.1, 0.5, 0.999])
def test_a_zip_file_that_was_cut_short_or_damaged_is_refused(a_copy: Path, tmp_path: Path, part: float) -> None:
    shutil.make_archive(str(tmp_path / "copy"), "zip", a_copy)
    content = (tmp_path / "copy.zip").read_bytes()
    cut = int(len(content) * part)
    (tmp_path / "cut.zip").write_bytes(content[:cut])
    (tmp_path / "noise.zip").write_bytes(content[:cut] + b"\x01\xfe" * 50 + content[cut + 100 :])

    for name in ("cut.zip", "noise.zip"):
        with pytest.raises(RecordError):
            restore(tmp_path / name, tmp_path / "there", unheard)
        assert not (tmp_path / "there").exists()


def test_what_is_no_copy_is_refused(bench: Bench, tmp_path: Path) -> None:
    """A folder of something else, a zip file of something else, nothing at all, and the record's own folder."""
    with zipfile.ZipFile(tmp_path / "other.zip", "w") as archive:
        archive.writestr("letter.txt", "Dear Ida")
    (tmp_path / "letter.txt").write_text("Dear Ida")

    for copy in (tmp_path, tmp_path / "other.zip", tmp_path / "letter.txt", tmp_path / "none", folder_of(bench)):
        with pytest.raises(RecordError):
            restore(copy, tmp_path / "there", unheard)
        assert not (tmp_path / "there").exists()


def test_a_folder_that_holds_something_is_left_alone(bench: Bench, tmp_path: Path) -> None:
    copied(bench, tmp_path / "copy.zip")
    before = everything_in(folder_of(bench))

    with pytest.raises(Refused, match="is not empty"):
        restore(tmp_path / "copy.zip", folder_of(bench), unheard)
    assert before == everything_in(folder_of(bench))
