"""Writes into a record without end, and prints each entry's number once it was told that it is stored.

`python -m tests.records.endless_writer URL`, to be killed from outside.
"""

import itertools
import logging
import sys
from pathlib import Path

import structlog

from server.records.commands.parts import BagPart, KeepAside
from server.records.store import Done, Store
from tests.records.conftest import Bench


def write(url: str) -> None:
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.ERROR))
    bench = Bench(Store(url, Path()))
    for number in itertools.count(1):
        part = bench.do(BagPart, day="2025-01-10", kind="chip", type="7404", origin="new", note="n" * (number % 3_000))
        told(part)
        told(bench.do(KeepAside, part=part.key, day="2025-01-11", becomes="lost"))


def told(done: Done) -> None:
    sys.stdout.write(f"{done.seq}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    write(sys.argv[1])
