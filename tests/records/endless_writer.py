"""Writes into a record without end, and prints each entry's number once it was told that it is stored.

`python -m tests.records.endless_writer URL FILES [OCTETS]`, to be killed from outside. With OCTETS no file may grow
beyond so many, as on a disk that is full; the writer then says why it stopped, as it does where nothing can be written.
"""

import itertools
import logging
import os
import resource
import sys
from pathlib import Path

import structlog

from server.records.commands.files import AddFile
from server.records.commands.parts import BagPart, KeepAside
from server.records.errors import Refused
from server.records.store import Done, Store
from tests.records.conftest import Bench


def write(url: str, files: Path) -> None:
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.ERROR))
    bench = Bench(Store(url, files))
    for number in itertools.count(1):
        part = bench.do(BagPart, day="2025-01-10", kind="chip", type="7404", origin="new", note="n" * (number % 3_000))
        told(part)
        told(bench.do(KeepAside, part=part.key, day="2025-01-11", becomes="lost"))
        told(bench.do(AddFile, on_kind="machine", on="", kind="other", file_name="noise", content=os.urandom(9_000)))


def told(done: Done) -> None:
    sys.stdout.write(f"{done.seq}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    address, folder, *octets = sys.argv[1:]
    for most in map(int, octets):
        resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))
    try:
        write(address, Path(folder))
    except Refused as refusal:
        sys.exit(str(refusal))
