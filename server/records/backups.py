"""A whole copy of the record, taken while others write: the database, every file that its rows name, a manifest.

    manifest.json           what is in it, with the SHA-256 of each file; what the record was at that moment
    manifest.json.sha256    the manifest's own, as `sha256sum --check` reads it
    putback.sqlite3         the database
    files/ab/abcd...        each file under its digest

Either a folder or a zip file, and either whole or not there. The database is copied first: files are only ever added,
and each before the row that names it, so that every file of that moment is still there afterwards.
"""

import hashlib
import zipfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import IO, Literal

from pydantic import BaseModel, ConfigDict, Field

from server.records.copied import Told, copy_database, faults_of, told_by
from server.records.errors import Damaged, Refused
from server.records.files import PIECE, FileStore, folder_beside, sync_file, sync_folder, written_beside
from server.records.store import DATABASE, FILES
from server.records.work import Heard

MANIFEST = "manifest.json"
MANIFEST_SUM = "manifest.json.sha256"
SHA256 = r"^[0-9a-f]{64}$"


class Plain(BaseModel):
    """Told as it stands, and nothing more."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Listed(Plain):
    """One file of a copy."""

    sha256: str = Field(pattern=SHA256)
    octets: int = Field(ge=0)


class Manifest(Plain):
    """What a copy holds, and what the record was when it was taken; `faults` were in it already then."""

    kind: Literal["Putback backup"] = "Putback backup"
    layout: Literal[1] = 1
    made_on: date
    program: str
    schema_revision: str
    journal_seq: int
    journal_hash: str
    rows: dict[str, int]
    files: dict[str, Listed]
    faults: list[str] = Field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Made:
    """What was copied; `faults` are the record's own."""

    files: int
    entries: int
    faults: list[str]


Add = Callable[[str, Iterable[bytes]], Listed]


def file_name(digest: str) -> str:
    """Where a kept file lies in a copy, and in a data folder."""
    return f"{FILES}/{digest[:2]}/{digest}"


def new_place(folder: Path, day: date) -> Path:
    """A name for a copy of this day that nothing has yet."""
    names = (f"putback-{day}{suffix}.zip" for suffix in ("", *(f"-{number}" for number in range(2, 1000))))
    return next(folder / name for name in names if not (folder / name).exists())


def make_backup(database: Path, files: FileStore, place: Path, day: date, heard: Heard) -> Made:
    """Copy the record to `place`: into a zip file if it is called so, else into a folder. Nothing is overwritten.

    `heard` is told how many files are in. Raises Refused, Damaged and OSError.
    """
    place = place.resolve()
    if place.exists() and not (place.is_dir() and place.suffix != ".zip" and not any(place.iterdir())):
        raise Refused(f"There is something at {place} already, and a copy overwrites nothing. Name another place.")
    place.parent.mkdir(parents=True, exist_ok=True)
    with TemporaryDirectory(prefix=".putback-", dir=place.parent) as folder:
        copied = Path(folder) / DATABASE
        copy_database(database, copied)
        told, faults = told_by(copied), faults_of(copied, files.root)
        whole = sorted(told.files) if not faults else [one for one in sorted(told.files) if _is_whole(files, one)]
        with _written(place) as add:
            listed = {DATABASE: add(DATABASE, _pieces(copied))}
            for number, digest in enumerate(whole):
                heard(number, len(whole))
                listed[file_name(digest)] = add(file_name(digest), files.pieces(digest))
            _add_manifest(add, _manifest(told, day, listed, faults))
    heard(len(whole), len(whole))
    return Made(len(whole), told.seq, faults)


def program_version() -> str:
    try:
        return version("putback")
    except PackageNotFoundError:  # run from a checkout that was never installed
        return "not installed"


def _manifest(told: Told, day: date, listed: dict[str, Listed], faults: list[str]) -> Manifest:
    return Manifest(
        made_on=day,
        program=program_version(),
        schema_revision=told.schema,
        journal_seq=told.seq,
        journal_hash=told.hash,
        rows=told.rows,
        files=listed,
        faults=faults,
    )


def _add_manifest(add: Add, manifest: Manifest) -> None:
    content = manifest.model_dump_json(indent=1).encode()
    listed = add(MANIFEST, [content])
    add(MANIFEST_SUM, [f"{listed.sha256}  {MANIFEST}\n".encode()])


def _is_whole(files: FileStore, digest: str) -> bool:
    try:
        for _ in files.pieces(digest):
            pass
    except Damaged:
        return False
    return True


def _pieces(place: Path) -> Iterator[bytes]:
    with place.open("rb") as file:
        while piece := file.read(PIECE):
            yield piece


@contextmanager
def _written(place: Path) -> Iterator[Add]:
    """Takes in the files of a copy by their names; the copy is in its place once all are in and on the disk."""
    if place.suffix == ".zip":
        with written_beside(place) as beside:
            with zipfile.ZipFile(beside, "x") as archive:
                yield lambda name, pieces: _filled(archive.open(name, "w", force_zip64=True), pieces)
            sync_file(beside)
        sync_folder(place.parent)
        return
    with folder_beside(place) as beside:
        yield lambda name, pieces: in_folder(beside / name, pieces)
        sync_all(beside)


def sync_all(root: Path) -> None:
    """The names in a folder and in all folders within it are on the disk."""
    for folder in (root, *(one for one in root.rglob("*") if one.is_dir())):
        sync_folder(folder)


def in_folder(place: Path, pieces: Iterable[bytes]) -> Listed:
    """One file of a folder that is being filled, durably."""
    place.parent.mkdir(parents=True, exist_ok=True)
    listed = _filled(place.open("xb"), pieces)
    sync_file(place)
    return listed


def _filled(file: IO[bytes], pieces: Iterable[bytes]) -> Listed:
    running, octets = hashlib.sha256(), 0
    with file:
        for piece in pieces:
            file.write(piece)
            running.update(piece)
            octets += len(piece)
    return Listed(sha256=running.hexdigest(), octets=octets)
