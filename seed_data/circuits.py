"""One circuit of the demo: two transistors that mute the sound while the rail falls, and how long a click can last.

The reservoir that mod 1 replaced decides how slowly the rail falls, so the three cases differ. Every fact is invented.
"""

from collections.abc import Iterator

from seed_data.symptoms import Act
from server.records.commands import circuits


def muting(machine: str) -> Iterator[Act]:
    """A calculation of mod 1: T6 mutes the loudspeaker as soon as T7 no longer holds it off."""
    part = {"more": "drop 0.57..0.65 V, at 0.1 mA", "kind": "npn", "text": "120..400"}
    yield circuits.AttachCircuit, {
        "machine": machine, "mod": 1, "title": "Muting while the rail falls",
        "note": "At switch-off the loudspeaker clicks. How long is it muted before the muting itself runs dry?",
        "elements": [
            {"name": "V1", "kind": "source", "nodes": "rail, 0", "text": "11.5 V"},
            {"name": "R41", "nodes": "rail, hold", "text": "15 kΩ ±5 %", "rating": "0.25 W", "basis": "its size"},
            {"name": "R42", "nodes": "hold, 0", "text": "1.8 kΩ ±5 %", "rating": "0.25 W", "basis": "its size"},
            {"name": "T7", "nodes": "drive, hold, 0", **part},
            {"name": "R43", "nodes": "rail, drive", "text": "10 kΩ ±5 %", "rating": "0.25 W", "basis": "its size"},
            {"name": "R44", "nodes": "drive, base", "text": "4.7 kΩ ±5 %", "rating": "0.25 W", "basis": "its size"},
            {"name": "T6", "nodes": "mute, base, 0", **part, "rating": "100 mA", "basis": "data sheet"},
            {"name": "R45", "nodes": "rail, mute", "text": "2.2 kΩ ±5 %", "rating": "0.25 W", "basis": "its size"},
        ],
        "sweep_source": "V1", "sweep_high": "11.5 V", "sweep_low": "0 V", "watch": "drive, mute",
        "questions": [
            {"which": "T6", "how": "conducts", "which_too": "T7", "how_too": "no longer conducts", "most": "60 ms",
             "basis": "a longer silence was taken for a fault"},
        ],
        "fall_kind": "steady current", "fall_start": "11.5 V ± 0.5 V",
        "fall": [
            {"text": "0.9 A ± 0.1 A"},
            {"source": "part", "board": "supply", "designator": "C3"},
        ],
        "assumptions": [
            {"sentence": "The load draws 0.9 A until the rail is down.", "tested": False},
            {"sentence": "No capacitor stands at the base of T6.", "tested": True, "note": "looked at the board"},
        ],
    }  # fmt: skip
