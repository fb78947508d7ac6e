"""The smallest circuit to try the record with: one transistor, whose base resistor is at R2."""

from typing import Any

from tests.records.conftest import MAIN

ELEMENTS = [
    {"name": "R1", "nodes": "rail, base", "source": "part", "board": MAIN, "designator": "R2", "when_empty": "10 kΩ",
     "rating": "0.25 W", "basis": "its size"},
    {"name": "V1", "kind": "source", "nodes": "rail, 0", "text": "5 V"},
    {"name": "R3", "nodes": "rail, out", "text": "1 kΩ"},
    {"name": "T1", "kind": "npn", "nodes": "out, base, 0", "text": "100", "more": "drop 0.6 V"},
]  # fmt: skip
ASKED = {
    "which": "T1", "how": "conducts", "value": "1 mA", "which_too": "out", "how_too": "is below", "value_too": "1 V",
    "most": "1 s", "basis": "none",
}  # fmt: skip


def blinker(**changed: Any) -> dict[str, Any]:
    swept = {"sweep_source": "V1", "sweep_low": "0 V", "sweep_high": "5 V", "watch": "out"}
    fall = {"fall_kind": "resistor", "fall_start": "5 V", "fall": [{"text": "1 kΩ"}, {"text": "100 µF"}]}
    assumed = {"assumptions": [{"sentence": "It is at rest."}]}
    return {
        "mod": 1,
        "title": "Blinker",
        "elements": ELEMENTS,
        "questions": [ASKED],
        **swept,
        **fall,
        **assumed,
        **changed,
    }
