"""Putting a copy of the record in place: a whole copy (`backups`), or the daily copy of a database.

Nothing of a copy is believed before it is checked: each file against the manifest, the manifest against the database,
the database by itself, the journal's chain, the rules and the rows. All of it happens in a folder beside the place,
which takes its name last, so that the place holds a whole record or nothing. A copy of an older schema stays as it is:
the program carries it over when it first serves it.
"""

import zipfile
import zlib
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import IO, Protocol

from pydantic import ValidationError

from server.records.backups import MANIFEST, MANIFEST_SUM, Listed, Manifest, Plain, file_name, in_folder, sync_all
from server.records.copied import Told, copy_database, faults_of, told_by
from server.records.errors import Damaged, Refused
from server.records.files import PIECE, FileStore, digest_of, folder_beside
from server.records.store import DATABASE, FILES
from server.records.texts import printable
from server.records.work import Heard

MANIFEST_MOST = 256_000_000  # octets: two million files


class Restored(Plain):
    """What was put in place; `faults` are those that the record had when it was copied."""

    made_on: str
    files: int
    entries: int
    faults: list[str]


class Source(Protocol):
    """Where the files of a copy are read, by their names in it."""

    def open(self, name: str) -> IO[bytes]: ...


def restore(copy: Path, place: Path, heard: Heard, *, with_faults: bool = False) -> Restored:
    """Make the record of a copy in a folder that is empty, or not there yet.

    A copy of a record that was faulty is taken only `with_faults`; a copy that was changed, never.
    Raises Refused, Damaged and OSError.
    """
    place = place.resolve()
    if place.exists() and not (place.is_dir() and not any(place.iterdir())):
        raise Refused(f"{place} is not empty. A copy is restored into an empty folder only; nothing was changed.")
    if copy.is_file() and copy.suffix == ".sqlite3":
        return _restore_daily(copy, place, heard, with_faults=with_faults)
    if copy.is_dir():
        return _restore_whole(_Folder(copy), copy.name, place, heard, with_faults=with_faults)
    if not copy.is_file():
        raise Refused(f"There is no copy at {copy}.")
    try:
        archive = zipfile.ZipFile(copy)
    except (zipfile.BadZipFile, NotImplementedError, ValueError) as fault:
        raise Damaged(f"{copy.name} is no zip file, or it was cut short.") from fault
    with closing(archive):
        return _restore_whole(_Zip(archive), copy.name, place, heard, with_faults=with_faults)


def _restore_whole(source: Source, name: str, place: Path, heard: Heard, *, with_faults: bool) -> Restored:
    manifest = _manifest(source, name)
    with folder_beside(place) as beside:
        for number, (path, listed) in enumerate(manifest.files.items()):
            heard(number, len(manifest.files))
            _bring(source, path, listed, beside / path)
        told = told_by(beside / DATABASE)
        _expect_as_told(manifest, told)
        faults = faults_of(beside / DATABASE, beside / FILES)
        _expect_no_faults(faults, with_faults=with_faults)
        sync_all(beside)
    heard(len(manifest.files), len(manifest.files))
    return Restored(made_on=str(manifest.made_on), files=len(manifest.files) - 1, entries=told.seq, faults=faults)


def _restore_daily(copy: Path, place: Path, heard: Heard, *, with_faults: bool) -> Restored:
    """A database alone; its files are where they were, in the files folder beside the folder of the copies."""
    files = FileStore(copy.resolve().parent.parent / FILES)
    with folder_beside(place) as beside:
        copy_database(copy, beside / DATABASE)
        told = told_by(beside / DATABASE)
        for number, digest in enumerate(sorted(told.files)):
            heard(number, len(told.files))
            _bring_kept(files, digest, beside / file_name(digest))
        faults = faults_of(beside / DATABASE, beside / FILES)
        _expect_no_faults(faults, with_faults=with_faults)
        sync_all(beside)
    heard(len(told.files), len(told.files))
    return Restored(made_on=copy.stem.removeprefix("putback-"), files=len(told.files), entries=told.seq, faults=faults)


def _bring_kept(files: FileStore, digest: str, place: Path) -> None:
    """A file that is damaged is left out; the faults of what was restored tell of it."""
    try:
        in_folder(place, files.pieces(digest))
    except Damaged:
        place.unlink(missing_ok=True)


def _manifest(source: Source, name: str) -> Manifest:
    """What the copy says that it holds. Raises Refused for what is no copy, Damaged for a manifest that was changed."""
    try:
        with source.open(MANIFEST) as file:
            content = file.read(MANIFEST_MOST)
    except (KeyError, FileNotFoundError, NotADirectoryError) as fault:
        raise Refused(f"{printable(name, 100)} is no copy that `putback backup` made: it has no {MANIFEST}.") from fault
    except (zipfile.BadZipFile, zlib.error, EOFError) as fault:
        raise Damaged(f"The copy is damaged: its {MANIFEST} cannot be read.") from fault
    try:
        with source.open(MANIFEST_SUM) as file:
            told = file.read(64).decode("ascii", "replace")
        whole = told == digest_of(content)
        manifest = Manifest.model_validate_json(content)
    except (KeyError, OSError, ValidationError, zipfile.BadZipFile, zlib.error, EOFError):
        raise Damaged(f"The copy is damaged: its {MANIFEST} does not hold what was written into it.") from None
    named = {path for path, listed in manifest.files.items() if path in (DATABASE, file_name(listed.sha256))}
    if not whole or DATABASE not in named or named != set(manifest.files):
        raise Damaged(f"The copy is damaged: its {MANIFEST} does not hold what was written into it.")
    return manifest


def _bring(source: Source, path: str, listed: Listed, place: Path) -> None:
    try:
        with source.open(path) as file:
            brought = in_folder(place, _pieces(file, listed.octets))
    except (KeyError, FileNotFoundError) as fault:
        raise Damaged(f"The copy is not complete: {path} is missing. Nothing was restored.") from fault
    except (zipfile.BadZipFile, zlib.error, EOFError) as fault:
        raise Damaged(f"The copy is damaged: {path} cannot be read. Nothing was restored.") from fault
    if brought != listed:
        raise Damaged(f"The copy is damaged: {path} is not as it was copied. Nothing was restored.")


def _pieces(file: IO[bytes], octets: int) -> Iterator[bytes]:
    """What a file holds, and no more than one octet more than it should."""
    left = octets + 1
    while left and (piece := file.read(min(PIECE, left))):
        left -= len(piece)
        yield piece


def _expect_as_told(manifest: Manifest, told: Told) -> None:
    """The manifest speaks of this database, and every file that this names was copied, or was missing already."""
    pairs: dict[str, tuple[object, object]] = {
        "its schema": (manifest.schema_revision, told.schema),
        "where its journal ends": ((manifest.journal_seq, manifest.journal_hash), (told.seq, told.hash)),
        "how many rows it has": (manifest.rows, told.rows),
    }
    for what, (listed, found) in pairs.items():
        if listed != found:
            raise Damaged(f"The manifest is another copy's: {what} differs. Nothing was restored.")
    missing = [digest for digest in sorted(told.files) if file_name(digest) not in manifest.files]
    if missing and not manifest.faults:
        raise Damaged(f"The copy is not complete: file {missing[0]} is missing. Nothing was restored.")


def _expect_no_faults(faults: list[str], *, with_faults: bool) -> None:
    """Every octet is as it was copied, so these the record had already; its keeper has to know of them."""
    if faults and not with_faults:
        raise Damaged(
            f"The record in this copy is not whole, and nothing was restored. {_first(faults)} "
            "To restore it as it was copied, add --with-faults."
        )


def _first(faults: list[str]) -> str:
    return faults[0] if len(faults) == 1 else f"{faults[0]} And {len(faults) - 1:,} more."


class _Folder:
    def __init__(self, root: Path) -> None:
        self._root = root

    def open(self, name: str) -> IO[bytes]:
        return (self._root / name).open("rb")


class _Zip:
    def __init__(self, archive: zipfile.ZipFile) -> None:
        self._archive = archive

    def open(self, name: str) -> IO[bytes]:
        return self._archive.open(name)
