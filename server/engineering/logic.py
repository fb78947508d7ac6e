"""Whether one chip can drive another: noise margins and fan-out from the handbook tables, and the way in to the rest.

    margin low  = V_IL - V_OL        fan-out low  = I_OL / |I_IL|
    margin high = V_OH - V_IH        fan-out high = |I_OH| / I_IH        (rounded down; the smaller counts)

Definitions of the trade. Margins in V and currents in A, worst case over the supplies: where driver and receiver have
the same supply they are taken to share it, otherwise each has its own. Levels are those promised at the largest
current of the table, unless a smaller load is given. What a table does not have is None and "no figure" in words.
Source of each figure: `logic_families.csv`. Raises `UnknownKind`, `SupplyOutside`, `BeyondFigures`, `BadPin`.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from server.engineering.contention import contention
from server.engineering.contention_result import (
    Contention,
    OutputState,
    PassedLimit,
    PullState,
    Range,
    Reading,
)
from server.engineering.logic_families import (
    PAST_SUPPLY,
    BadPin,
    BeyondFigures,
    Chip,
    Figure,
    LogicError,
    Point,
    SupplyOutside,
    UnknownKind,
    chip,
    kinds,
)
from server.engineering.logic_pins import Output, Pull, Receiver
from server.engineering.quantities import figure

__all__ = [
    "BadPin",
    "BeyondFigures",
    "Chip",
    "Contention",
    "FanOut",
    "Figure",
    "Inputs",
    "LogicError",
    "Margins",
    "Output",
    "OutputState",
    "PassedLimit",
    "Pull",
    "PullState",
    "Range",
    "Reading",
    "Receiver",
    "SupplyOutside",
    "UnknownKind",
    "chip",
    "contention",
    "fan_out",
    "kinds",
    "margins",
    "most_inputs",
]

# Margins and loads that come out even in the tables' decimals shall not fail for a last binary digit.
_HAIR = 1e-9


@dataclass(frozen=True, slots=True)
class Margins:
    """What noise a line bears, in V: `low` below V_IL and `high` above V_IH; None without a figure.

    `fits` is whether both are at least 0, None where a figure is missing.
    """

    driver: Chip
    receiver: Chip
    low: float | None
    high: float | None
    fits: bool | None
    sentence: str


@dataclass(frozen=True, slots=True)
class Inputs:
    """How many inputs of one kind an output carries, when low and when high; `count` is the smaller."""

    low: int | None
    high: int | None

    @property
    def count(self) -> int | None:
        """None where one of the two has no figure."""
        return None if self.low is None or self.high is None else min(self.low, self.high)


@dataclass(frozen=True, slots=True)
class FanOut:
    """What all inputs on an output draw, against what it promises, in A; None where a table lacks a figure.

    `takes_low` flows into the low output (sum of |I_IL|, promise I_OL), `gives_high` out of the high one (sum of I_IH,
    promise |I_OH|).
    """

    driver: Chip
    receivers: tuple[Chip, ...]
    takes_low: float | None
    promised_low: float | None
    gives_high: float | None
    promised_high: float | None
    holds: bool | None
    sentence: str


def margins(driver: Chip, receiver: Chip, takes_low: float | None = None, gives_high: float | None = None) -> Margins:
    """Noise margins in V between two chips; of an open collector only the low one counts, see `signal_path`.

    `takes_low` and `gives_high` (A) are what really loads the line when low and when high: a table that promises better
    levels at a smaller current is then read there. Raises `BeyondFigures` where the driver's supply is more than half
    a volt above the receiver's.
    """
    if driver.supply.high > receiver.supply.high + PAST_SUPPLY:
        raise BeyondFigures(
            f"A {driver.kind} at up to {figure(driver.supply.high, 'V')} can take an input of {receiver.kind} past "
            f"its supply of {figure(receiver.supply.high, 'V')}: no figure says what it then conducts",
            field="driver",
        )
    sunk, sourced = _promise(driver.sink_points(), takes_low), _promise(driver.source_points(), gives_high)
    pairs = _supplies(driver, receiver)
    low = _least(_minus(receiver.input_low(theirs), sunk.drop if sunk else None) for _, theirs in pairs)
    high = _least(
        _minus(_high_level(sourced, ours) if sourced else None, receiver.input_high(theirs)) for ours, theirs in pairs
    )
    fits = None if low is None or high is None else min(low, high) >= -_HAIR
    return Margins(driver, receiver, low, high, fits, _margin_words(driver, receiver, low, high, fits))


def most_inputs(driver: Chip, receiver: Chip) -> Inputs:
    """How many inputs of the receiver's kind the driver's promised currents carry."""
    sunk, sourced = driver.sink_points(), driver.source_points()
    return Inputs(
        _count(sunk[-1].amps if sunk else None, receiver.input_out()),
        _count(sourced[-1].amps if sourced else None, receiver.input_in()),
    )


def fan_out(driver: Chip, receivers: Sequence[Chip], *, open_collector: bool = False) -> FanOut:
    """Whether the driver's promised currents carry all these inputs together; one entry an input.

    An open collector gives nothing when high, its pull-up does: then only the low side counts here, and `signal_path`
    looks at the other. Raises `BadPin` without an input.
    """
    if not receivers:
        raise BadPin("Fan-out needs an input that listens", field="receivers")
    sunk, sourced = driver.sink_points(), driver.source_points()
    takes, gives = _all(each.input_out() for each in receivers), _all(each.input_in() for each in receivers)
    may_take, may_give = sunk[-1].amps if sunk else None, sourced[-1].amps if sourced else None
    verdicts = [_within(takes, may_take)] + ([] if open_collector else [_within(gives, may_give)])
    holds = False if False in verdicts else None if None in verdicts else True
    said = f"{driver.kind} with {len(receivers)} input{'s' if len(receivers) > 1 else ''}: "
    said += f"{_load(takes, may_take)} when low, "
    said += "the pull-up's matter when high. " if open_collector else f"{_load(gives, may_give)} when high. "
    said += {True: "It carries them.", False: "That is too much for it.", None: "Without the figure this is open."}[
        holds
    ]
    return FanOut(driver, tuple(receivers), takes, may_take, gives, may_give, holds, said)


def _promise(points: Sequence[Point], amps: float | None) -> Point | None:
    """The promise at the largest current of the table, or the best one that covers a load in A."""
    if amps is None:
        return points[-1] if points else None
    covering = [point for point in points if point.amps * (1 + _HAIR) >= amps]
    return min(covering, key=lambda point: point.drop, default=None)


def _high_level(point: Point, supply: float) -> float | None:
    """V_OH in V at a supply: the printed level, carried along with it only where the table says so."""
    row = point.figure
    if row.parameter == "IOH":
        return supply - point.drop
    return row.at(row.least, supply)


def _supplies(driver: Chip, receiver: Chip) -> list[tuple[float, float]]:
    ours, theirs = (driver.supply.low, driver.supply.high), (receiver.supply.low, receiver.supply.high)
    if driver.supply == receiver.supply:
        return list(zip(ours, theirs, strict=True))
    return [(one, other) for one in ours for other in theirs]


def _minus(upper: float | None, lower: float | None) -> float | None:
    return None if upper is None or lower is None else upper - lower


def _least(numbers: Iterable[float | None]) -> float | None:
    found = list(numbers)
    known = [number for number in found if number is not None]
    return min(known) if len(known) == len(found) else None


def _all(amps: Iterable[float | None]) -> float | None:
    """The sum, unless one of them has no figure."""
    found = list(amps)
    known = [each for each in found if each is not None]
    return math.fsum(known) if len(known) == len(found) else None


def _count(promised: float | None, each: float | None) -> int | None:
    return None if promised is None or not each else math.floor(promised / each * (1 + _HAIR))


def _within(load: float | None, promised: float | None) -> bool | None:
    return None if load is None or promised is None else load <= promised * (1 + _HAIR)


def _load(load: float | None, promised: float | None) -> str:
    drawn = "no figure for what they draw" if load is None else f"they draw {figure(load, 'A')}"
    may = "no figure for what it promises" if promised is None else f"{figure(promised, 'A')} promised"
    return f"{drawn} ({may})"


def _margin_words(driver: Chip, receiver: Chip, low: float | None, high: float | None, fits: bool | None) -> str:
    said = f"{driver.kind} into {receiver.kind}: {_margin(low)} when low, {_margin(high)} when high. "
    if fits is None:
        return said + "Without the figure this is open."
    if fits:
        return said + "The levels fit."
    return said + "The levels do not fit: it may work with the samples at hand and fail with others."


def _margin(volts: float | None) -> str:
    if volts is None:
        return "no figure"
    return f"{figure(volts, 'V')} to spare" if volts >= -_HAIR else f"{figure(-volts, 'V')} short"
