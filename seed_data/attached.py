"""What the demo's keeper kept beside words: photographs, a drawing, a dump of the program. All of it is invented."""

from collections.abc import Iterator
from random import Random

from seed_data.machine_picture import as_it_came
from seed_data.solder_side import after_cut, before_cut
from seed_data.symptoms import Act
from server.records.commands import files, photographs

PROGRAM_BYTES = 2_048  # what a 2716 holds
SEED = 7


DRAWING = """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 360 160" fill="none" stroke="black" font-size="12">
<path d="M20 40H80M20 120H80M80 30v20h24v-20zM80 110v20h24v-20z"/>
<path d="M104 40H330M104 120H330M180 40v36M168 76h24M168 84h24M180 84v36"/>
<path d="M230 28h44v24h-44zM252 52v68"/><text x="150" y="84" stroke="none" fill="black">C3</text>
<text x="236" y="22" stroke="none" fill="black">+5 V regulator</text></svg>
"""


def came_in(machine: str) -> Iterator[Act]:
    """The machine as it stood on the bench on its first day, and what its supply was drawn up as."""
    yield photographs.AddPhotograph, {
        "machine": machine, "on_kind": "machine", "on": "", "caption": "As it came, dusted off",
        "file_name": "on the bench.jpg", "content": as_it_came("2025:03:14 16:20:05"),
    }  # fmt: skip
    yield files.AddFile, {
        "machine": machine, "on_kind": "machine", "on": "", "kind": "schematic",
        "file_name": "supply, drawn by hand.svg", "caption": "The supply, followed with a meter",
        "content": DRAWING.encode(),
    }  # fmt: skip


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
