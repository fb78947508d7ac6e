"""Reading a part's value for the record: what the keeper typed, as the engineering core understands it."""

from server.engineering.errors import EngineeringError
from server.engineering.quantities import Toleranced, parse
from server.records.words import PartKind

UNIT_OF_KIND = {PartKind.RESISTOR: "Ω", PartKind.CAPACITOR: "F", PartKind.CRYSTAL: "Hz"}


def read_value(text: str, kind: str) -> Toleranced:
    """The value with its tolerance; raises an EngineeringError that names the fault."""
    known = PartKind(kind)
    return parse(text, unit=UNIT_OF_KIND.get(known), kind=known.value)


def check_value(text: str, kind: str) -> str:
    """What is wrong with a value; empty when it can be read, or when there is none."""
    if not text:
        return ""
    try:
        read_value(text, kind)
    except EngineeringError as fault:
        return str(fault)
    return ""
