"""A mod that lights a lamp, made a design, and fitted on further machines, for tests of designs."""

from typing import Any

from server.records.commands.calculations import AttachCalculation
from server.records.commands.designs import FitDesign, WriteDesign
from server.records.commands.machines import AddBoard, EnterMachine
from server.records.commands.mods import Expect, MoveMod
from server.records.commands.parts import EnterPart
from server.records.commands.steps import CarryOutStep
from server.records.commands.trials import RecordTrial, WriteProcedure
from tests.records.conftest import KEEPER, MAIN, TAG, Bench

ROLES = {"R2": "series resistor", "R7": "pull-up"}
SLUG = "lamp"
LAMP: dict[str, Any] = {
    "title": "Lamp current",
    "inputs": [
        {"name": "R", "label": "series resistor", "unit": "Ω", "source": "part", "board": MAIN, "designator": "R2"},
        {"name": "P", "unit": "Ω", "source": "part", "board": MAIN, "designator": "R7"},
        {"name": "V", "label": "supply", "unit": "V", "text": "5 V ± 0.25 V"},
    ],
    "lines": [{"name": "I", "expression": "V / R", "unit": "mA", "label": "lamp current"}],
    "limits": [{"line": "I", "kind": "at_most", "value": "20 mA", "basis": "the lamp"}],
    "assumptions": [{"sentence": "The lamp drops nothing.", "tested": True, "note": "measured"}],
}


def write_mod(bench: Bench) -> None:
    """Mod 1 of the machine: R2 is replaced; a sum reads R2 and R7; brightness is expected to rise."""
    bench.do(WriteProcedure, title="Brightness", unit="lx", resolution="1", better="higher")
    bench.do(RecordTrial, procedure="brightness", day="2025-01-20", readings="10 11 10 11", signer=KEEPER)
    bench.replace_r2()
    bench.do(AttachCalculation, mod=1, **LAMP)
    bench.do(Expect, mod=1, sentence="It is brighter", procedure="brightness", sense="better than before")


def roles(**names: str) -> list[dict[str, str]]:
    return [{"board": MAIN, "designator": designator, "name": name} for designator, name in (names or ROLES).items()]


def write_design(bench: Bench, **more: object) -> None:
    asked = {"mod": 1, "title": "Lamp", "purpose": "More light", "hazards": ["static"], "roles": roles()}
    bench.do(WriteDesign, **asked | more)


def enter_second(bench: Bench, tag: str = "TM-04", revision: str = "B", resistor: str = "470 Ω ±5 %") -> None:
    """Another machine, whose parts have other designators."""
    bench.do(EnterMachine, tag=tag, maker="Tarn & Fell", model="Merle 40")
    bench.do(AddBoard, machine=tag, name="Logic", kind="main board", revision=revision)
    for designator, value in (("R31", resistor), ("R32", "1 kΩ ±5 %")):
        part = {"designator": designator, "kind": "resistor", "value": value, "origin": "original"}
        bench.do(EnterPart, machine=tag, board="logic", **part)


PLACES = [
    {"role": "series resistor", "board": "logic", "designator": "R31"},
    {"role": "pull-up", "board": "logic", "designator": "R32"},
]


def fit(bench: Bench, tag: str = "TM-04", **more: object) -> None:
    asked = {"machine": tag, "design": SLUG, "places": PLACES, "day": "2025-05-01", "signer": KEEPER}
    bench.do(FitDesign, **asked | more)


def carry_out(bench: Bench, tag: str = "TM-04", value: str = "330 Ω ±5 %", readings: str = "20 21 20 21") -> None:
    """Trial before, both steps, fitted, trial after."""
    trial = {"machine": tag, "procedure": "brightness", "signer": KEEPER}
    bench.do(RecordTrial, day="2025-05-01", readings="10 11 10 11", **trial)
    act = {"machine": tag, "mod": 1, "day": "2025-05-02", "signer": KEEPER}
    bench.do(CarryOutStep, step=1, **act)
    bench.do(CarryOutStep, step=2, value=value, **act)
    bench.do(MoveMod, machine=tag, mod=1, state="fitted", day="2025-05-02", signer=KEEPER)
    bench.do(RecordTrial, day="2025-05-03", readings=readings, **trial)


def run_on_first(bench: Bench, readings: str) -> None:
    bench.do(RecordTrial, machine=TAG, procedure="brightness", day="2025-02-10", readings=readings, signer=KEEPER)
