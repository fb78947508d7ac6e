"""Readings as they come in for one procedure: typed or pasted at the bench, or sent as numbers by a script.

Figures are kept as they were read, in the procedure's unit; observations, yes or no, as 1 and 0. What cannot be read is
refused beside the field `readings`; so are figures that are finer than the procedure is read to. It knows procedures,
and nothing of who sends readings or where they are stored.
"""

import re
from collections.abc import Sequence
from decimal import Decimal
from typing import Annotated, Any

from pydantic import WithJsonSchema

from server.engineering.errors import EngineeringError, UnknownUnit
from server.engineering.readings import MOST_READINGS, checked
from server.engineering.readings_text import ReadingsTextError
from server.engineering.trials import read_readings
from server.engineering.units import check_unit
from server.records.errors import Invalid
from server.records.questions.trials import in_print, with_unit, yes_or_no
from server.records.tables import Procedure

OBSERVED = {"yes": 1.0, "y": 1.0, "1": 1.0, "no": 0.0, "n": 0.0, "0": 0.0}
NOT_OBSERVED_SHOWN = 24
BETWEEN_SEPARATORS = re.compile(r"[^\s;]+")
ROUNDING = 1e-9
A_NUMBER_FIRST = re.compile(r"[+-]?[0-9.,]*")

# Each one is looked at below, where it is known whether figures or observations are meant.
ITEMS = {"type": "array", "items": {"type": ["number", "boolean"]}, "minItems": 1, "maxItems": MOST_READINGS}
Sent = Annotated[list[Any], WithJsonSchema(ITEMS)]
Given = str | Sent


def readings_of(given: str | Sequence[Any], procedure: Procedure, on_record: Sequence[float] = ()) -> list[float]:
    """The readings in their order; raises Invalid with the first that is none, or is finer than can be read.

    What is `on_record` already, read to what was the resolution then, is not held against today's.
    """
    readings = _read(given, procedure)
    if not yes_or_no(procedure) and readings != list(on_record):
        _check_resolution(given, readings, procedure)
    return readings


def _read(given: str | Sequence[Any], procedure: Procedure) -> list[float]:
    try:
        if isinstance(given, str):
            return _seen_in(given) if yes_or_no(procedure) else read_readings(given)
        return _seen(given) if yes_or_no(procedure) else _figures(given)
    except ReadingsTextError as fault:
        raise Invalid({"readings": _with_the_unit(fault, procedure)}) from None
    except EngineeringError as fault:
        raise Invalid({"readings": str(fault).removeprefix("Readings: ").capitalize()}) from None


def _check_resolution(given: str | Sequence[Any], readings: Sequence[float], procedure: Procedure) -> None:
    """Two readings that a comma runs together look like one that no such instrument shows."""
    place = next((place for place, reading in enumerate(readings) if _is_finer(reading, procedure.resolution)), None)
    if place is None or procedure.resolution is None:
        return
    one = _typed(given)[place] if isinstance(given, str) else str(given[place])
    read_to = with_unit(in_print(procedure.resolution), procedure.unit)
    raise Invalid(
        {
            "readings": f"“{one[:NOT_OBSERVED_SHOWN]}” is finer than the {read_to} that this procedure is read to. "
            "Part readings by spaces, or revise the procedure’s resolution."
        }
    )


def _is_finer(reading: float, resolution: float | None) -> bool:
    """Whether a reading has digits behind the last one of the resolution, beyond what floats round."""
    if resolution is None:
        return False
    last = Decimal(repr(resolution)).normalize().as_tuple().exponent
    rounded = round(reading, -last) if isinstance(last, int) else reading
    return abs(reading - rounded) > ROUNDING * max(abs(reading), resolution)


def _typed(text: str) -> list[str]:
    """The readings of a text that was read, as they were typed."""
    return [word for found in BETWEEN_SEPARATORS.findall(text) if (word := found.removesuffix(","))]


def unit_refused(sent: str, procedure: Procedure) -> str:
    """Why readings in this unit are none of the procedure's; empty where they are, however the unit is spelled."""
    if _spelled(sent) == _spelled(procedure.unit):
        return ""
    theirs, ours = (unit or "plain numbers" for unit in (sent, procedure.unit))
    return (
        f"These readings are said to be in {theirs}, and “{procedure.title}” is read in {ours}. Nothing is converted."
    )


def _spelled(unit: str) -> str:
    try:
        return check_unit(unit)
    except UnknownUnit:
        return " ".join(unit.split())


def _with_the_unit(fault: ReadingsTextError, procedure: Procedure) -> str:
    """A unit that is typed with a number is told which one is meant anyhow."""
    typed = A_NUMBER_FIRST.sub("", fault.text or "", count=1)
    if not typed or not (typed.casefold() == procedure.unit.casefold() or _is_unit(typed)):
        return str(fault)
    meant = f"that of the procedure, {procedure.unit}" if procedure.unit else "none: the procedure reads plain numbers"
    return f"{fault} The unit is {meant}."


def _is_unit(text: str) -> bool:
    try:
        return bool(check_unit(text))
    except UnknownUnit:
        return False


def _seen_in(text: str) -> list[float]:
    """Observations as words."""
    words = text.replace(",", " ").replace(";", " ").casefold().split()
    if not words:
        raise Invalid({"readings": "There is nothing to record yet; write yes or no for each occasion."})
    for place, word in enumerate(words, start=1):
        if word not in OBSERVED:
            raise Invalid({"readings": f"Observation {place}, “{word[:NOT_OBSERVED_SHOWN]}”, is neither yes nor no."})
    _check_count(words)
    return [OBSERVED[word] for word in words]


def _seen(sent: Sequence[Any]) -> list[float]:
    """Observations as true and false."""
    if not sent:
        raise Invalid({"readings": "There are no observations; send true or false for each occasion."})
    for place, one in enumerate(sent, start=1):
        if not isinstance(one, bool):
            raise Invalid({"readings": f"Observation {place}, {_as_sent(one)}, is neither true nor false."})
    _check_count(sent)
    return [float(one) for one in sent]


def _figures(sent: Sequence[Any]) -> list[float]:
    """Figures as numbers; looked at one by one, since an array would take true for 1."""
    _check_count(sent)
    for place, one in enumerate(sent, start=1):
        if isinstance(one, bool) or not isinstance(one, int | float):
            raise Invalid({"readings": f"Reading {place}, {_as_sent(one)}, is not a number."})
    try:
        return [float(one) for one in checked([float(one) for one in sent])]
    except OverflowError:
        raise Invalid({"readings": "A reading is too large a number."}) from None


def _check_count(readings: Sequence[Any]) -> None:
    if len(readings) > MOST_READINGS:
        sentence = f"{len(readings):,} readings are too many; at most {MOST_READINGS:,} can be taken at once."
        raise Invalid({"readings": sentence})


def _as_sent(one: object) -> str:
    """An item as JSON writes it, cut short."""
    if one is None or isinstance(one, bool):
        return {None: "null", True: "true", False: "false"}[one]
    text = str(one)
    return f"“{text[:NOT_OBSERVED_SHOWN]}{'…' if len(text) > NOT_OBSERVED_SHOWN else ''}”"
