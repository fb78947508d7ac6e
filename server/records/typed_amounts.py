"""One number that a keeper types, with its unit or without: a bound, a resolution, a target.

It comes out in the unit that it is asked in. It knows units, and nothing of procedures, lines and fields.
"""

import math
import re
from typing import Annotated

from pydantic import BeforeValidator

from server.engineering.errors import EngineeringError, UnknownUnit
from server.engineering.quantities import convert, exact
from server.engineering.units import check_unit, scale

NUMBER_FIRST = re.compile(r"([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d{1,4})?)\s*(\D.*)?", re.ASCII)
MINUS = str.maketrans("−－﹣", "---")
SHOWN = 40
DIGITS = 12


def _typed(value: object) -> object:
    return (value.strip() or None) if isinstance(value, str) else value


Amount = Annotated[float | str | None, BeforeValidator(_typed)]


class NoAmount(ValueError):
    """What was typed is no number in the unit that is asked; the sentence says why."""


def amount_in(typed: float | str | None, unit: str | None) -> float | None:
    """The number in `unit`, none where nothing was typed. Raises NoAmount.

    An empty unit asks for a plain number; where it is None, nobody knows it yet, and the number stands alone.
    """
    if typed is None or isinstance(typed, int | float):
        return typed
    found = NUMBER_FIRST.fullmatch(typed.translate(MINUS))
    if not found:
        raise NoAmount(f"“{typed[:SHOWN]}” is not a number. {_asked(unit)}")
    number, own = float(found[1].replace(",", ".")), (found[2] or "").strip()
    if not math.isfinite(number):
        raise NoAmount("That is too large a number. Write a finite number.")
    if not own or (unit is not None and _alike(own, unit)):
        return number
    if unit is None:
        raise NoAmount(f"Nobody knows yet in which unit this is, so {own[:SHOWN]} cannot be read. {_asked(unit)}")
    return _converted(number, own, unit)


def _converted(number: float, own: str, unit: str) -> float:
    theirs, ours = own[:SHOWN], unit or "plain numbers"
    try:
        if scale(own).dimension != scale(unit).dimension or scale(own).is_point != scale(unit).is_point:
            raise NoAmount(f"{theirs} and {ours} do not measure the same. {_asked(unit)}")
        return float(f"{convert(exact(number, own), unit).nominal:.{DIGITS}g}")
    except EngineeringError:
        raise NoAmount(f"This is in {theirs}, and {ours} is asked. {_asked(unit)}") from None


def _asked(unit: str | None) -> str:
    return f"Write a number in {unit}." if unit else "Write a number without a unit."


def _alike(one: str, other: str) -> bool:
    """The same unit, however it is spelled; of what is counted, one or several."""
    return _spelled(one) == _spelled(other)


def _spelled(unit: str) -> str:
    try:
        return check_unit(unit)
    except UnknownUnit:
        return " ".join(unit.casefold().split()).removesuffix("s")
