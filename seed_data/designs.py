"""A second machine of the demo, and the design that did nothing for the first one and helped here. All invented."""

from collections.abc import Iterator

from seed_data.symptoms import Act
from server.records.commands import designs, machines, mods, parts, steps, trials

SECOND = "MR-11"
DESIGN = "raise-the-corner-of-the-tape-input-filter"
TITLE = "Raise the corner of the tape input filter"


def second_machine(keeper: str) -> Iterator[Act]:
    """A later issue of the same model, with the same complaint."""
    yield machines.EnterMachine, {
        "tag": SECOND, "maker": "Tarnbrook", "model": "Merle 16", "variant": "third issue",
        "serial_number": "T16-019230", "made": "1983", "acquired_on": "2025-10-04",
        "as_found": "Clean, complete, and deaf to tapes: one error after another.",
        "hazards": ["mains inside", "static"], "keeper": keeper,
    }  # fmt: skip
    yield machines.AddBoard, {
        "machine": SECOND, "name": "Main board", "kind": "main board", "part_number": "TB-3312", "revision": "3",
        "hazards": ["static"], "note": "Laid out anew: the tape input sits beside the modulator.",
    }  # fmt: skip
    for designator, kind, part in (
        ("R31", "resistor", {"type": "carbon film", "value": "15 kΩ ±5 %"}),
        ("C22", "capacitor", {"type": "polyester", "value": "4.7 nF ±10 %"}),
        ("U7", "chip", {"type": "LM393", "date_code": "8307", "mounting": "socketed"}),
    ):
        yield parts.EnterPart, {
            "machine": SECOND, "board": "main-board", "designator": designator, "kind": kind, "origin": "original",
            **part,
        }  # fmt: skip


def design_fitted(first: str, mod: int, keeper: str) -> Iterator[Act]:
    """The first machine's mod as a design; fitted on the second, where the filter was the cause."""
    yield designs.WriteDesign, {
        "machine": first, "mod": mod, "title": TITLE, "purpose": "Load tapes without errors.",
        "reasoning": "The input filter must let twice the upper tone of 2 kHz through. On a machine where it turns "
        "down below that, a smaller series resistor raises its corner.",
        "hazards": ["lead and flux fumes"],
        "roles": [
            {"board": "main-board", "designator": "R12", "name": "series resistor"},
            {"board": "main-board", "designator": "C9", "name": "capacitor to ground"},
        ],
    }  # fmt: skip
    yield _trial("2025-10-11", "7 6 9 5 8 7", keeper)
    yield designs.FitDesign, {
        "machine": SECOND, "design": DESIGN, "day": "2025-10-12", "signer": keeper,
        "places": [
            {"role": "series resistor", "board": "main-board", "designator": "R31"},
            {"role": "capacitor to ground", "board": "main-board", "designator": "C22"},
        ],
    }  # fmt: skip
    done = {"machine": SECOND, "mod": 1, "day": "2025-10-12", "signer": keeper}
    yield steps.CarryOutStep, done | {"step": 1, "place": "cabinet 2, tray 5", "condition": "good"}
    yield steps.CarryOutStep, done | {
        "step": 2, "type": "carbon film", "value": "6.8 kΩ ±5 %", "origin": "new", "pedigree": "from the drawer"
    }  # fmt: skip
    yield mods.MoveMod, {"machine": SECOND, "mod": 1, "state": "fitted", "day": "2025-10-12", "signer": keeper}
    yield _trial("2025-10-13", "1 0 2 1 0 1", keeper)


def _trial(day: str, readings: str, keeper: str) -> Act:
    return trials.RecordTrial, {
        "machine": SECOND, "procedure": "errors-while-loading-a-tape", "day": day, "readings": readings,
        "instrument": "the machine's own count", "signer": keeper,
    }  # fmt: skip
