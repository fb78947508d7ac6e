"""A blanking circuit to try the record with: two transistors on a falling rail, a place for a Zener diode between.

T2 holds T1 off while the rail is up. It lets go where its divider gives it 0.6 V, at 7.7 V; T1, whose divider halves
the rail, conducts down to 1.2 V (common practice, no source: 0.6 V of base drop). In the place for the Zener diode
there is a wire at first.
"""

from typing import Any

from server.records.commands.circuits import AttachCircuit
from server.records.commands.machines import AddPosition
from tests.records.conftest import MAIN, Bench

DROP = "drop 0.6 V, at 0.1 mA"
WINDOW = {"which": "T1", "how": "conducts", "which_too": "T2", "how_too": "no longer conducts"}
EXACT = {
    "V1": {"kind": "source", "nodes": "rail, 0", "text": "12 V"},
    "R11": {"nodes": "rail, b2", "text": "1183 Ω"},
    "R12": {"nodes": "b2, 0", "text": "100 Ω"},
    "T2": {"kind": "npn", "nodes": "c2, b2, 0", "text": "200", "more": DROP},
    "D9": {"kind": "zener", "nodes": "top, rail", "board": MAIN, "designator": "D9", "source": "part",
           "when_empty": "wire", "more": "slope 1 Ω"},
    "R13": {"nodes": "top, c2", "text": "1 kΩ"},
    "R14": {"nodes": "c2, b1", "text": "1 kΩ"},
    "R15": {"nodes": "b1, 0", "text": "2 kΩ"},
    "T1": {"kind": "npn", "nodes": "c1, b1, 0", "text": "200", "more": DROP},
    "R16": {"nodes": "rail, c1", "text": "100 Ω", "rating": "0.25 W", "basis": "carbon film at 70 °C"},
}  # fmt: skip


def rows(**changed: dict[str, str] | None) -> list[dict[str, str]]:
    """The elements, some with other columns, some left out."""
    named = {name: {"name": name} | row for name, row in EXACT.items()}
    for name, row in changed.items():
        named[name] = named.get(name, {"name": name}) | (row or {})
    return [row for name, row in named.items() if changed.get(name, {}) is not None]


def circuit(**changed: Any) -> dict[str, Any]:
    """The circuit, swept down from 12 V, with its window asked for."""
    swept = {"sweep_source": "V1", "sweep_low": "0 V", "sweep_high": "12 V"}
    return {"mod": 1, "title": "Blanking", "elements": rows(), **swept, "questions": [WINDOW], **changed}


def place(bench: Bench) -> None:
    """The position of the Zener diode, empty, and a mod that fits it."""
    bench.do(AddPosition, board=MAIN, designator="D9", kind="diode", mounting="wired")
    bench.plan("No flash at switch-off")
    bench.step("fit", "D9", planned_value="8.2 V")


def attach(bench: Bench, **changed: Any) -> None:
    bench.do(AttachCircuit, **circuit(**changed))
