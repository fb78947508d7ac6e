"""Uploaded files: kept whole under their digests, or not at all."""

import hashlib
import os
import shutil
from pathlib import Path

import pytest

from server.records.errors import Damaged, Refused
from server.records.files import DERIVED, FileStore

CONTENT = b"time,volts\n0,5\n"


@pytest.fixture
def files(tmp_path: Path) -> FileStore:
    return FileStore(tmp_path / "files")


def everything_in(files: FileStore) -> list[Path]:
    return [path for path in files.root.rglob("*") if path.is_file()]


def test_a_file_lies_under_the_digest_of_what_it_holds(files: FileStore) -> None:
    """Anyone can check it with a common tool."""
    digest = files.keep(CONTENT)

    assert hashlib.sha256(CONTENT).hexdigest() == digest
    assert [files.path(digest)] == everything_in(files)
    assert files.read(digest) == CONTENT


def test_the_same_content_is_kept_once(files: FileStore) -> None:
    """Two records may name one file."""
    written = files.path(files.keep(CONTENT)).stat().st_ino

    assert files.path(files.keep(CONTENT)).stat().st_ino == written
    assert len(everything_in(files)) == 1


@pytest.mark.parametrize("damaged", [CONTENT[:4], b"x" * len(CONTENT)], ids=["cut short", "as long as before"])
def test_a_damaged_file_is_written_anew(files: FileStore, damaged: bytes) -> None:
    """What a full disk cut short or a bad one altered does not stand in for the whole file."""
    digest = files.keep(CONTENT)
    files.path(digest).write_bytes(damaged)

    files.keep(CONTENT)

    assert files.read(digest) == CONTENT


def test_a_file_that_was_changed_is_damage(files: FileStore) -> None:
    """What is read is what was stored, or it is said that it is not."""
    digest = files.keep(CONTENT)
    files.path(digest).write_bytes(b"x" * len(CONTENT))

    with pytest.raises(Damaged, match="no longer holds what was stored"):
        files.read(digest)


def test_a_file_that_is_gone_is_damage(files: FileStore) -> None:
    """Its row stays and is told apart from a row that never was."""
    with pytest.raises(Damaged, match="cannot be read"):
        files.read("0" * 64)


def test_a_large_file_is_read_in_pieces(files: FileStore) -> None:
    """No piece is much larger than a megabyte."""
    digest = files.keep(bytes(3_000_001))

    pieces = [len(piece) for piece in files.pieces(digest)]

    assert sum(pieces) == 3_000_001
    assert max(pieces) <= 1 << 20


def test_damage_is_found_at_the_last_piece(files: FileStore) -> None:
    """Or at the first, where there is none."""
    digest = files.keep(CONTENT)
    files.path(digest).write_bytes(b"x" * len(CONTENT))

    with pytest.raises(Damaged, match="no longer holds what was stored"):
        list(files.pieces(digest))
    with pytest.raises(Damaged, match="cannot be read"):
        list(files.pieces("0" * 64))


def test_a_write_that_fails_leaves_nothing_behind(files: FileStore, monkeypatch: pytest.MonkeyPatch) -> None:
    """A full disk is told in a sentence, and no half of a file stays."""

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)

    with pytest.raises(Refused, match=r"could not be kept \(No space left on device\)"):
        files.keep(CONTENT)
    assert everything_in(files) == []


# ---- What is made of a kept file ----


def test_what_is_made_of_a_file_is_made_once_and_again_when_it_is_missing(files: FileStore) -> None:
    """The folder of what was made may be emptied at any time."""
    digest, made = files.keep(CONTENT), list[int]()

    def make() -> bytes:
        made.append(len(made) + 1)
        return b"smaller"

    assert [files.derived(digest, "480.jpg", make) for _ in range(3)] == [b"smaller"] * 3
    shutil.rmtree(files.root / DERIVED)

    assert files.derived(digest, "480.jpg", make) == b"smaller"
    assert made == [1, 2]
    assert files.derived(digest, "1600.jpg", lambda: b"larger") == b"larger"
    assert files.read(digest) == CONTENT


def test_a_full_disk_hinders_nothing_that_can_be_made_again(files: FileStore, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is made each time it is asked for, and no half of it stays."""
    digest = files.keep(CONTENT)

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)

    assert files.derived(digest, "480.jpg", lambda: b"smaller") == b"smaller"
    assert everything_in(files) == [files.path(digest)]
