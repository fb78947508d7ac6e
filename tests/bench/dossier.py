"""A dossier of 500 kept files, a gigabyte in all, against what zip and the digests of the same files need.

The floor is `zip` without compression, `sha256sum` and `sha512sum` over the kept files, one after the other, each a
program of its own. Ours reads the record, makes the sheet and writes the bag in a process of its own, whose greatest
memory is told beside. Run with `python -m tests.bench dossier`; aims: at most twice the floor, below 300 MB.
"""

import os
import resource
import shutil
import subprocess
import sys
import tempfile
from contextlib import closing
from datetime import date
from pathlib import Path

from server.app import configure_logs
from server.documents.dossier import Asked, write_dossier
from server.records import migrate
from server.records.commands.files import AddFile
from server.records.commands.machines import EnterMachine
from server.records.store import Store, sqlite_url
from server.settings import Settings
from tests.bench.timing import best, told

FILES, SIZE = 500, 2_000_000
AIM, MEMORY_AIM = 2.0, 300
ROUNDS = 2
TAG, KEEPER = "TM-03", "Keeper"


def main() -> None:
    """Print the time, its floor, their ratio, and the memory."""
    if shutil.which("zip") is None:
        print("no zip here to be measured against")
        return
    with tempfile.TemporaryDirectory() as folder:
        record, out = Path(folder, "record"), Path(folder, "out")
        record.mkdir()
        out.mkdir()
        _fill(record)
        memory: list[int] = []
        ours, floor = best(
            lambda: memory.append(_in_a_process(record, out)), lambda: _floor(record, out), rounds=ROUNDS
        )
        told(f"a dossier of {FILES} files, {FILES * SIZE / 1e9:g} GB", ours, floor, AIM)
        print(f"its greatest memory: {max(memory)} MB (aim: below {MEMORY_AIM} MB)")


def _fill(folder: Path) -> None:
    with closing(_opened(folder)) as store:
        migrate.upgrade(store.engine)
        store.carry_out(EnterMachine.read({"tag": TAG, "model": "Tern"}), KEEPER)
        for number in range(FILES):
            asked = {"machine": TAG, "on_kind": "machine", "on": "", "kind": "other", "file_name": f"{number}.bin"}
            store.carry_out(AddFile.read({**asked, "content": os.urandom(SIZE)}), KEEPER)


def _opened(folder: Path) -> Store:
    configure_logs(Settings(log_level="error"))
    return Store(sqlite_url(folder))


def _in_a_process(record: Path, out: Path) -> int:
    """The greatest memory that it took, in MB."""
    said = subprocess.run(
        [sys.executable, "-m", "tests.bench.dossier", str(record), str(out)], check=True, capture_output=True, text=True
    )
    return int(said.stdout)


def _write(record: Path, out: Path) -> None:
    with closing(_opened(record)) as store:
        write_dossier(store, Asked(TAG, date(2026, 1, 2), KEEPER), out / "dossier.zip", lambda done, total: None)  # noqa: ARG005
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)


def _floor(record: Path, out: Path) -> None:
    files = sorted(str(place) for place in (record / "files").rglob("*") if place.is_file())
    packed = out / "floor.zip"
    packed.unlink(missing_ok=True)
    for words in (["zip", "-0", "-q", str(packed)], ["sha256sum"], ["sha512sum"]):
        subprocess.run([*words, *files], check=True, stdout=subprocess.DEVNULL)


if __name__ == "__main__":
    _write(Path(sys.argv[1]), Path(sys.argv[2]))
