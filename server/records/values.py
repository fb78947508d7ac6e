"""Reading a part's value for the record: what the keeper typed, as the engineering core understands it.

On a resistor or a capacitor a value may be typed, spelled in colours or be the code that is printed on the part; one
that can be read two ways is refused with both. Other kinds of part have plain values.
"""

from functools import lru_cache

from server.engineering.errors import EngineeringError, WrongDimension
from server.engineering.markings import Marking, MarkingError, read_part_value
from server.engineering.quantities import Toleranced, parse, show
from server.records.words import PartKind

MARKED = (PartKind.RESISTOR, PartKind.CAPACITOR)
UNIT_OF_KIND = {PartKind.CRYSTAL: "Hz"}
REMEMBERED = 4096  # a parts list says the same few values again and again


def read_value(text: str, kind: str) -> Toleranced:
    """The value with its tolerance; raises an EngineeringError that names the fault."""
    known = PartKind(kind)
    if known in MARKED:
        return _marking(text, known.value).value
    return parse(text, unit=UNIT_OF_KIND.get(known), kind=known.value)


def understood(text: str, kind: str) -> str:
    """A value in the words in which it was understood: `4.7 kΩ ±5 %, from yellow violet red gold`.

    Where the reading has something to be said against it, a sentence more. Raises as `read_value` does.
    """
    if PartKind(kind) not in MARKED:
        return show(read_value(text, kind))
    marking = _marking(text, kind)
    words = show(marking.value) if marking.scheme == "plain value" else marking.understood
    return f"{words}. {' '.join(marking.notes)}" if marking.notes else words


def check_value(text: str, kind: str) -> str:
    """What is wrong with a value, in a whole sentence; empty when it can be read, or when there is none."""
    if not text:
        return ""
    try:
        read_value(text, kind)
    except EngineeringError as fault:
        return f"{str(fault).rstrip('.')}."
    return ""


@lru_cache(maxsize=REMEMBERED)
def _marking(text: str, kind: str) -> Marking:
    try:
        return read_part_value(text, kind)
    except MarkingError as refusal:
        if not refusal.alternatives:
            _refuse_another_dimension(text, kind)
        raise


def _refuse_another_dimension(text: str, kind: str) -> None:
    """`5 V` on a resistor is a plain value of the wrong sort rather than a code that nobody knows."""
    try:
        parse(text, kind=kind)
    except WrongDimension:
        raise
    except EngineeringError:
        return


NOT_FITTED = "The mod has not been fitted yet."


def why_missing(name: str, problem: str) -> str:
    """Why a sum has no result: which value is missing; of a mod that is not fitted all are, for the one reason."""
    return problem if problem == NOT_FITTED else f"{name}: {problem}"
