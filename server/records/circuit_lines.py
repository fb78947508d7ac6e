"""What a circuit comes to, by name and in words: its lines, its limits, its questions, and how its rail can fall.

Plain values of a calculation's `circuit`; nothing is solved here.
"""

from collections.abc import Mapping, Sequence
from typing import Any, Literal

from server.records.circuit_kinds import ratings_of

CONDUCTS, RELEASED, ABOVE, BELOW = "conducts", "no longer conducts", "is above", "is below"
CONDUCTING = "0.1 mA"
FALLS: dict[str, tuple[str, ...]] = {
    "time constant": ("tau",),
    "resistor": ("resistance", "capacitance"),
    "steady current": ("current", "capacitance"),
    "steady power": ("power", "capacitance"),
}
FALL_UNITS = {"start": "V", "tau": "s", "resistance": "Ω", "current": "A", "power": "W", "capacitance": "F"}


# What an element can be rated for, and the letter of the line that tells it.
RATINGS: dict[Literal["power", "current", "volts"], str] = {"power": "P", "current": "I", "volts": "U"}


def lines_declared(circuit: Mapping[str, Any]) -> list[dict[str, str]]:
    """The lines that a circuit comes to, as a calculation names them."""
    nodes = dict.fromkeys(node for row in circuit["elements"] for node in row["nodes"])
    nodes.pop(circuit["reference"], None)
    lines = [_declared(f"V_{node}", "V", f"Voltage at {node}") for node in nodes]
    for row in circuit["elements"]:
        name, stands = row["name"], ratings_of(row["rating"])
        lines.append(_declared(f"I_{name}", "A", f"Current of {name}"))
        lines.append(_declared(f"P_{name}", "W", f"Heat in {name}"))
        if "volts" in stands:
            lines.append(_declared(f"U_{name}", "V", f"Voltage across {name}"))
    for number, question in enumerate(circuit["questions"], start=1):
        asked = in_words(question["parts"])
        lines.append(_declared(f"Q{number}_low", "V", f"Lowest rail at which {asked}"))
        lines.append(_declared(f"Q{number}_high", "V", f"Highest rail at which {asked}"))
        if circuit["fall"]:
            lines.append(_declared(f"Q{number}_lasts", "s", f"How long {asked}"))
    return lines


def limits_declared(circuit: Mapping[str, Any]) -> list[dict[str, str]]:
    """The limits that ratings and questions set."""
    limits = [
        _limit(f"{letter}_{row['name']}", stands[quantity], row["basis"] or f"rating of {row['name']}")
        for row in circuit["elements"]
        for stands in (ratings_of(row["rating"]),)
        for quantity, letter in RATINGS.items()
        if quantity in stands
    ]
    for number, question in enumerate(circuit["questions"], start=1):
        if question["most"]:
            limits.append(_limit(f"Q{number}_lasts", question["most"], question["basis"]))
    return limits


def in_words(parts: Sequence[Mapping[str, str]]) -> str:
    """`T1 conducts while T2 no longer holds it off`, with the amount where it is not the usual one."""
    words = [_part_in_words(part, usual=CONDUCTING) for part in parts]
    if [part["how"] for part in parts] == [CONDUCTS, RELEASED]:
        words[1] = words[1].replace(RELEASED, "no longer holds it off", 1)
    return " while ".join(words)


def part_in_words(part: Mapping[str, str]) -> str:
    """`T1 conducts (more than 0.1 mA)`: with the amount, whatever it is."""
    return _part_in_words(part, usual="")


def _part_in_words(part: Mapping[str, str], usual: str) -> str:
    if part["how"] in (ABOVE, BELOW):
        return f"{part['which']} {part['how']} {part['value']}"
    side = "more" if part["how"] == CONDUCTS else "less"
    amount = "" if part["value"] == usual else f" ({side} than {part['value']})"
    return f"{part['which']} {part['how']}{amount}"


def _declared(name: str, unit: str, label: str) -> dict[str, str]:
    return {"name": name, "expression": "", "unit": unit, "label": label}


def _limit(line: str, amount: str, basis: str) -> dict[str, str]:
    return {"line": line, "kind": "at_most", "value": amount, "basis": basis}
