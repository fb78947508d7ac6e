"""What the demo's keeper kept beside words: a step seen before and after, and a dump of the program. All invented."""

from collections.abc import Iterator
from random import Random

from seed_data.solder_side import after_cut, before_cut
from seed_data.symptoms import Act
from server.records.commands import files, photographs

PROGRAM_BYTES = 2_048  # what a 2716 holds
SEED = 7


def cut_seen(machine: str) -> Iterator[Act]:
    """The trace that mod 4 cuts, from the solder side."""
    for moment, caption, content in (
        ("before", "The trace from pin 26 to its pull-up, whole", before_cut("2025:07:06 10:12:40")),
        ("after", "Cut between the pad and the edge, the button's wires on", after_cut("2025:07:06 11:05:02")),
    ):
        yield photographs.AddPhotograph, {
            "machine": machine, "on_kind": "step", "on": "4/1", "moment": moment, "caption": caption,
            "file_name": f"cut at pin 26 {moment}.jpg", "content": content,
        }  # fmt: skip


def program_dumped(machine: str, place: str) -> Iterator[Act]:
    """The program, read out before anything else was done."""
    yield files.AddFile, {
        "machine": machine, "on_kind": "position", "on": place, "kind": "firmware dump", "file_name": "program.bin",
        "caption": "Read out twice, both times alike", "content": _program(),
    }  # fmt: skip


def _program() -> bytes:
    """Bytes that are no program of any machine, with an unused end as an EPROM has."""
    used = PROGRAM_BYTES * 7 // 8
    return Random(SEED).randbytes(used) + b"\xff" * (PROGRAM_BYTES - used)  # noqa: S311 (a dump is no secret)
