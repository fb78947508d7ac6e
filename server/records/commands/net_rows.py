"""The pins of a net as they are typed, row by row, and what can be said of each without asking the record.

Each fault is told beside its field: `pins.0.designator`, `pins.2.other_end`.
"""

from typing import Literal

from server.engineering import logic
from server.engineering.errors import EngineeringError
from server.records.commands.base import Command, Line, NeededLine, Prose
from server.records.errors import Invalid
from server.records.questions.addresses import designator_key
from server.records.questions.stacking import pins_in
from server.records.signal_parts import END_MOST, read_end
from server.records.words import PinRole

PINS_MOST = 40
OUTPUTS = (PinRole.TOTEM_POLE, PinRole.OPEN_COLLECTOR, PinRole.EITHER_WAY)


class PinFields(Command):
    """One pin of a net."""

    designator: NeededLine
    pin: Line = ""
    role: PinRole
    family: Line = ""
    drives: Literal["", "low", "high"] = ""
    series: Line = ""
    other_end: Line = ""
    seen_at: Line = ""


class NetFields(Command):
    """What is written down of a net."""

    name: NeededLine
    sheet: Line = ""
    note: Prose = ""
    pins: list[PinFields] = []


def faults_of(command: NetFields) -> dict[str, str]:
    """What can be said of each field without the record. Raises Invalid where there are too many to look at."""
    faults: dict[str, str] = {}
    if not command.pins:
        faults["pins.0.designator"] = "A net has at least one pin: say at which position, such as U7."
    if len(command.pins) > PINS_MOST:
        count = len(command.pins)
        faults["pins.0.designator"] = f"There are {count} pins; at most {PINS_MOST} fit on one net."
        raise Invalid(faults)
    seen: dict[tuple[str, str], int] = {}
    for number, row in enumerate(command.pins):
        faults |= {f"pins.{number}.{column}": said for column, said in _faults_of(row).items()}
        first = seen.setdefault((designator_key(row.designator), pins_in(row.pin)[0]), number)
        if first != number:
            which = f"{row.designator} pin {row.pin}" if row.pin else row.designator
            faults.setdefault(f"pins.{number}.pin", f"{which} is on this net already, as pin row {first + 1}.")
    return faults


def _faults_of(row: PinFields) -> dict[str, str]:
    faults = {}
    if len(pins_in(row.pin)) > 1:
        faults["pin"] = "Name one pin; each has a row of its own."
    elif not row.pin and row.role is not PinRole.PASSIVE:
        faults["pin"] = "Say which pin, by its number or its name."
    if row.family and row.family not in logic.kinds():
        faults["family"] = f"There is no family “{row.family}” in the tables; they have {', '.join(logic.kinds())}."
    if row.drives and row.role not in OUTPUTS:
        faults["drives"] = "Only an output is at a level by itself; leave this open."
    return faults | (_faults_of_passive(row) if row.role is PinRole.PASSIVE else _faults_of_end(row))


def _faults_of_end(row: PinFields) -> dict[str, str]:
    if not row.other_end:
        return {}
    return {"other_end": "Only a passive part has a far end here; call the pin passive, or leave this empty."}


def _faults_of_passive(row: PinFields) -> dict[str, str]:
    faults = {}
    if row.family:
        faults["family"] = "A passive part has no logic family; leave this open."
    if row.series:
        faults["series"] = "A passive part is itself the resistor; leave this empty."
    if not row.other_end:
        faults["other_end"] = "Say to which level its far end goes, such as 5 V or 0 V."
    elif said := end_fault(row.other_end):
        faults["other_end"] = said
    return faults


def end_fault(text: str) -> str:
    """What is wrong with a level as typed; empty when sums can be made with it."""
    try:
        level = read_end(text)
    except EngineeringError as fault:
        return f"{fault}."
    if level.low < 0 or level.high > END_MOST:
        return f"Sums are made for levels from 0 V to {END_MOST:g} V."
    return ""
