"""Whether a signal path works: drivers, listeners and resistors on one net, looked at once for each level it can have.

For each driver that can go either way the net is solved with it high and with it low, the others off; where a driver
cannot be switched off it is taken to agree, and it is said which do, and what the one would reach by itself. Levels
are held against `node_promised` (`contention`), so series resistors, pulls and all inputs' currents count, and nobody
is trusted past a data sheet. A listener's margin is V_IL less the pin's highest voltage, or the pin's lowest voltage
less V_IH, in V, each over its whole supply: a bound, not the best that a shared supply would give. Fan-out is the
plain sum of table currents (`logic.fan_out`), resistors apart.
Raises what `contention` raises.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Literal

from server.engineering.contention import contention
from server.engineering.contention_result import Contention, Range, Reading
from server.engineering.contention_verdicts import read
from server.engineering.logic import FanOut, fan_out
from server.engineering.logic_families import BadPin, BeyondFigures
from server.engineering.logic_pins import Output, Pull, Receiver, leakage
from server.engineering.quantities import figure

_HAIR = 1e-9


@dataclass(frozen=True, slots=True)
class Held:
    """Whether one listener reads the level that is meant, by the data sheets. `margin` in V, None without a figure."""

    listener: str
    margin: float | None
    holds: bool | None
    sentence: str


@dataclass(frozen=True, slots=True)
class SignalState:
    """The net with one driver at one level. `level` is empty where outputs fight: then nothing is meant.

    `agree` are the others that pull the same way, for they cannot rest: the level is theirs as well. `alone` is where
    the net would stand without them, `holds_alone` whether the listeners would then read the level.
    """

    driver: str
    level: Literal["high", "low", ""]
    contention: Contention
    held: tuple[Held, ...]
    agree: tuple[str, ...] = ()
    alone: Range | None = None
    holds_alone: bool | None = None


@dataclass(frozen=True, slots=True)
class SignalPath:
    """The answer: `states` one by one, `loads` by driver, `clash` a pair that can fight, `holds` all in all.

    `holds` is False if any level or load fails or outputs can fight, None if a figure is missing, else True.
    """

    states: tuple[SignalState, ...]
    loads: tuple[tuple[str, FanOut], ...]
    clash: Contention | None
    holds: bool | None
    sentences: tuple[str, ...]


def signal_path(drivers: Sequence[Output], receivers: Sequence[Receiver], pulls: Sequence[Pull] = ()) -> SignalPath:
    """Whether levels and loads hold on a net, and what each listener has to spare.

    A driver's `drive` is `high`, `low` or `off` where that is settled and `either` where it can be both.
    Raises `BadPin` for a net without drivers or listeners, and what `contention` raises.
    """
    if not drivers or not receivers:
        raise BadPin("A signal path has a pin that drives and a pin that listens", field="drivers")
    states = tuple(_state(*case, receivers, pulls) for case in _cases(drivers))
    chips = [receiver.chip for receiver in receivers]
    loads = tuple(
        (driver.name, fan_out(driver.chip, chips, open_collector=driver.role == "open collector")) for driver in drivers
    )
    clash = _clash(drivers, receivers, pulls, states)
    verdicts = [held.holds for state in states for held in state.held] + [load.holds for _, load in loads]
    holds = False if clash or False in verdicts else None if None in verdicts else True
    return SignalPath(states, loads, clash, holds, _words(states, loads, clash, drivers))


def _cases(drivers: Sequence[Output]) -> list[tuple[str, Literal["high", "low", ""], list[Output]]]:
    """Driver, level and what everyone then does."""
    free = [driver for driver in drivers if driver.drive == "either"]
    if not free:
        return [(*_settled(drivers), list(drivers))]
    levels: tuple[Literal["high", "low"], ...] = ("high", "low")
    return [(one.name, level, _with(drivers, one, level)) for one in free for level in levels]


def _settled(drivers: Sequence[Output]) -> tuple[str, Literal["high", "low", ""]]:
    active = [driver for driver in drivers if driver.pulls_to]
    if not active:
        released = [driver for driver in drivers if driver.drive == "high"]
        return (released[0].name, "high") if released else (drivers[0].name, "")
    return active[0].name, "low" if active[0].pulls_to == "ground" else "high"


def _with(drivers: Sequence[Output], one: Output, level: Literal["high", "low"]) -> list[Output]:
    return [
        driver
        if driver.drive != "either"
        else replace(driver, drive=level if driver is one or not _can_rest(driver) else "off")
        for driver in drivers
    ]


def _can_rest(driver: Output) -> bool:
    """Whether it can leave the net alone: an open collector, a pin with a direction, a three-state output."""
    return driver.role != "totem-pole" or leakage(driver) is not None


def _state(
    driver: str,
    level: Literal["high", "low", ""],
    outputs: Sequence[Output],
    receivers: Sequence[Receiver],
    pulls: Sequence[Pull],
) -> SignalState:
    solved = contention(outputs, receivers, pulls)
    if solved.fights or not level:
        return SignalState(driver, "", solved, ())
    agree = _agreeing(driver, level, outputs)
    held = _all_held(" and ".join([driver, *agree]), level, solved, receivers)
    if not agree:
        return SignalState(driver, level, solved, held)
    try:
        alone = contention([output for output in outputs if output.name not in agree], receivers, pulls)
    except BeyondFigures:
        return SignalState(driver, level, solved, held, agree)
    verdicts = [one.holds for one in _all_held(driver, level, alone, receivers)]
    holds = False if False in verdicts else None if None in verdicts else True
    return SignalState(driver, level, solved, held, agree, alone.node_promised, holds)


def _agreeing(driver: str, level: Literal["high", "low"], outputs: Sequence[Output]) -> tuple[str, ...]:
    """The other outputs that pull to the same rail."""
    rail = "ground" if level == "low" else "supply"
    return tuple(output.name for output in outputs if output.name != driver and output.pulls_to == rail)


def _all_held(
    driver: str, level: Literal["high", "low"], solved: Contention, receivers: Sequence[Receiver]
) -> tuple[Held, ...]:
    surely = [read(receiver, solved.node_promised, solved.node_promised) for receiver in receivers]
    return tuple(_held(reading, driver, level) for reading in surely)


def _held(reading: Reading, driver: str, level: Literal["high", "low"]) -> Held:
    need = reading.low_up_to if level == "low" else reading.high_from
    if need is None or reading.at.high is None:
        return Held(reading.name, None, None, f"{reading.name}: no figure for its {level} level.")
    margin = need - reading.at.high if level == "low" else reading.at.low - need
    holds = margin >= -_HAIR
    spare = f"{figure(margin, 'V', 3)} to spare" if holds else f"{figure(-margin, 'V', 3)} short"
    return Held(reading.name, margin, holds, f"{reading.name} gets its {level} level from {driver} with {spare}.")


def _clash(
    drivers: Sequence[Output], receivers: Sequence[Receiver], pulls: Sequence[Pull], states: Sequence[SignalState]
) -> Contention | None:
    """A case in which outputs fight: one that is settled so, or two that can neither rest nor be made to agree."""
    fought = next((state.contention for state in states if state.contention.fights), None)
    restless = [driver for driver in drivers if driver.drive == "either" and not _can_rest(driver)]
    pair = next(combinations(restless, 2), None)
    if fought or not pair:
        return fought
    levels: dict[str, Literal["high", "low"]] = {pair[0].name: "high", pair[1].name: "low"}
    against = [
        replace(driver, drive=levels.get(driver.name, "off")) if driver.drive == "either" else driver
        for driver in drivers
    ]
    return contention(against, receivers, pulls)


def _words(
    states: Sequence[SignalState],
    loads: Sequence[tuple[str, FanOut]],
    clash: Contention | None,
    drivers: Sequence[Output],
) -> tuple[str, ...]:
    said = list(clash.sentences) if clash else []
    active = [driver.name for driver in drivers if driver.drive == "either" and driver.role != "open collector"]
    if len(active) > 1 and not clash:
        said.append(f"{' and '.join(active)} must never drive this net at once.")
    for state in states:
        if state.level:
            others = f", with {' and '.join(state.agree)} {state.level} too," if state.agree else ""
            said.append(
                f"With {state.driver} {state.level}{others} the node stands at {state.contention.node_promised}."
            )
            if state.alone and state.agree:
                said.append(f"By itself {state.driver} would bring it to {state.alone}.")
            said += [held.sentence for held in state.held]
            said += [limit.sentence for limit in state.contention.passed]
    said += [f"{name}: {load.sentence}" for name, load in loads]
    gaps = [gap for state in states for gap in state.contention.no_figures]
    return tuple(dict.fromkeys([*said, *gaps]))
