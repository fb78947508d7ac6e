"""What is said of an amount that was typed where another sort of amount belongs, in words that quote it."""

from server.engineering.errors import EngineeringError, WrongDimension
from server.engineering.units import scale

_LONGEST = 40


def not_taken(fault: EngineeringError, typed: str) -> str:
    """Why a typed amount is not taken: `“1 A” is a current; a resistance in Ω is asked for.`"""
    if isinstance(fault, WrongDimension) and fault.found and fault.expected:
        text = typed if len(typed) <= _LONGEST else f"{typed[:_LONGEST]}…"
        return f"“{text}” is {_sort(fault.found)}; {_sort(fault.expected)} in {fault.expected} is asked for."
    return f"{str(fault).rstrip('.')}."


def _sort(unit: str) -> str:
    """`a current`, without its unit in brackets."""
    return str(scale(unit).dimension).partition(" (")[0]
