"""The DC cases of `data/dc_circuits.json`, each with its source beside it, and elements as their books take them."""

import json
from pathlib import Path
from typing import Any

from server.engineering.network import NPN, Element, Network, OperatingPoint, Value, Zener

CASES: dict[str, dict[str, Any]] = {
    case["case_id"]: case
    for case in json.loads(Path(__file__).with_name("data").joinpath("dc_circuits.json").read_text("utf-8"))["cases"]
}
VOLTS = 1e-6
AMPERES = 1e-6


def case(name: str) -> tuple[Any, Any]:
    return CASES[name]["inputs"], CASES[name]["expected"]


def named(prefix: str, given: str = "") -> list[str]:
    """The cases whose names begin so; of these, where it says so, those that give a certain value."""
    found = [name for name in CASES if name.startswith(prefix) and (not given or given in CASES[name]["inputs"])]
    assert found, (prefix, given)
    return found


def zener(cathode: str, anode: str, volts: Value, at: float) -> Zener:
    """So steep and so sharp that it is the ideal one of the cases."""
    return Zener("Z", anode, cathode, volts, at=at, slope=1e-3, knee=1e-5)


def npn(name: str, collector: str, base: str, emitter: str) -> NPN:
    return NPN(name, collector, base, emitter, gain=100, reverse_gain=1, saturation=1e-14)


def network(*elements: Element) -> Network:
    return Network(elements)


def amperes(point: OperatingPoint, name: str) -> float:
    return point.elements[name].current.nominal
