"""The files folder: whatever was uploaded, each file under the SHA-256 of what it holds.

A file is whole on the disk before the row that names it is written, so that a row never names a missing one; what a
failed write leaves behind is named by no row and does no harm. What can be made of a kept file at any time lies in a
folder of its own, `derived`, which may be emptied. Knows nothing of what a file means.
"""

import hashlib
import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from uuid import uuid4

from server.records.errors import Damaged, Refused

DERIVED = "derived"
PIECE = 1 << 20


def digest_of(content: bytes) -> str:
    """The name of a file that holds this: SHA-256 in hexadecimal."""
    return hashlib.sha256(content).hexdigest()


class FileStore:
    """One folder of files, in subfolders by the first two digits of their digests."""

    def __init__(self, root: Path) -> None:
        self.root = root

    def keep(self, content: bytes) -> str:
        """Store the content, durably, and give its digest; a whole copy that is there already is left as it is."""
        digest = digest_of(content)
        with suppress(Damaged):
            self.read(digest)
            return digest
        try:
            _write_whole(self.path(digest), content)
        except OSError as fault:
            raise Refused(f"The file could not be kept ({fault.strerror}). Nothing was changed.") from fault
        return digest

    def path(self, digest: str) -> Path:
        """Where a file lies, or would."""
        return self.root / digest[:2] / digest

    def read(self, digest: str) -> bytes:
        """A kept file; one that is gone or holds something else is damage."""
        try:
            content = self.path(digest).read_bytes()
        except OSError as fault:
            raise Damaged(f"File {digest} cannot be read ({fault.strerror}).") from fault
        if digest_of(content) != digest:
            raise Damaged(f"File {digest} no longer holds what was stored in it.")
        return content

    def pieces(self, digest: str) -> Iterator[bytes]:
        """A kept file in pieces, however large; raises Damaged, at the last piece if it holds something else."""
        running = hashlib.sha256()
        try:
            with self.path(digest).open("rb") as file:
                while piece := file.read(PIECE):
                    running.update(piece)
                    yield piece
        except OSError as fault:
            raise Damaged(f"File {digest} cannot be read ({fault.strerror}).") from fault
        if running.hexdigest() != digest:
            raise Damaged(f"File {digest} no longer holds what was stored in it.")

    def derived(self, digest: str, name: str, make: Callable[[], bytes]) -> bytes:
        """What is made of a kept file under a name of its own: made once, and again when it is missing."""
        place = self.root / DERIVED / digest[:2] / f"{digest}-{name}"
        with suppress(OSError):
            return place.read_bytes()
        content = make()
        with suppress(OSError):  # on a full disk it is made each time
            _write_whole(place, content)
        return content


def _write_whole(place: Path, content: bytes) -> None:
    """All of the file or none of it, whatever happens meanwhile: written beside its place, synced, then moved there."""
    with written_beside(place) as beside, beside.open("xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    sync_folder(place.parent)


@contextmanager
def written_beside(place: Path) -> Iterator[Path]:
    """Where a file is written before it takes its place, which it does once it is whole."""
    place.parent.mkdir(parents=True, exist_ok=True)
    beside = place.with_name(f".{place.name}.{uuid4().hex}")
    try:
        yield beside
        beside.replace(place)
    finally:
        beside.unlink(missing_ok=True)


@contextmanager
def folder_beside(place: Path) -> Iterator[Path]:
    """The same for a whole folder; what stands in its place must be nothing, or an empty folder."""
    place.parent.mkdir(parents=True, exist_ok=True)
    beside = place.with_name(f".{place.name}.{uuid4().hex}")
    beside.mkdir()
    try:
        yield beside
        with suppress(FileNotFoundError):
            place.rmdir()
        beside.rename(place)
    finally:
        shutil.rmtree(beside, ignore_errors=True)
    sync_folder(place.parent)


def sync_file(place: Path) -> None:
    """What was written into a file is on the disk."""
    with place.open("rb+") as file:
        os.fsync(file.fileno())


def sync_folder(folder: Path) -> None:
    """The name of a file is durable once its folder is."""
    if os.name != "posix":  # elsewhere a folder cannot be opened
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
