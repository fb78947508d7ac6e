"""What comes out where outputs meet: ranges from weak to strong samples, verdicts, and the sentences they make.

It knows values and words and computes nothing. Volts, amperes and watts; a bound of None has no figure behind it.
"""

from dataclasses import dataclass
from typing import Literal

from server.engineering.logic_pins import Output, Pull, Receiver
from server.engineering.quantities import figure

Reads = Literal["always low", "always high", "undefined", "depends", "no figure"]
Level = Literal["low", "neither", "high"]


@dataclass(frozen=True, slots=True)
class Range:
    """From the least to the most, in `unit` (V, A or W); `high` is None where no figure bounds it."""

    low: float
    high: float | None
    unit: str

    def __str__(self) -> str:
        """With three digits, for reading; the bounds themselves are kept as they came out."""
        least = _shown(self.low, self.unit)
        if self.high is None:
            return f"{least} or more (no figure for the most)"
        most = _shown(self.high, self.unit)
        return least if least == most else f"{least} to {most}"


@dataclass(frozen=True, slots=True)
class OutputState:
    """What one output bears: its current in A without sign, its heat in W, and its series resistor's if it has one."""

    name: str
    direction: Literal["gives", "takes", "leaks"]
    current: Range
    heat: Range
    series_heat: Range | None


@dataclass(frozen=True, slots=True)
class PullState:
    """A pull resistor: its current in A, counted into the node and negative out of it, and its heat in W."""

    name: str
    current: Range
    heat: Range

    @property
    def direction(self) -> str:
        """Which way its current flows, in words."""
        if self.current.high is not None and self.current.high <= 0 and self.current.low < 0:
            return "takes from the net"
        return "feeds the net" if self.current.low >= 0 else "feeds the net or takes from it"

    @property
    def flow(self) -> str:
        """Its current without a sign; both where it can flow either way."""
        low, high = self.current.low, self.current.high
        if low >= 0:
            return str(self.current)
        if high is not None and high <= 0:
            return str(Range(0.0 - high, 0.0 - low, self.current.unit))
        fed = "any amount (no figure for the most)" if high is None else f"up to {_shown(high, self.current.unit)}"
        return f"feeds {fed}, takes up to {_shown(0.0 - low, self.current.unit)}"


@dataclass(frozen=True, slots=True)
class Reading:
    """What one input makes of the node.

    `at` is the voltage at its pin; `low_up_to` and `high_from` its levels in V, None without a figure. `reads` and
    `may_read` are over the whole of `at`; `promised` and `promised_may_read` are the same over what the data sheets
    alone allow.
    """

    name: str
    at: Range
    low_up_to: float | None
    high_from: float | None
    reads: Reads
    may_read: tuple[Level, ...]
    promised: Reads
    promised_may_read: tuple[Level, ...]
    sentence: str


@dataclass(frozen=True, slots=True)
class PassedLimit:
    """A handbook figure in A that a pin's current can pass, or passes in every sample (`surely`)."""

    name: str
    figure: str
    limit: float
    current: Range
    surely: bool
    sentence: str
    source: str
    status: str


@dataclass(frozen=True, slots=True)
class Contention:
    """The answer, its inputs beside it.

    `node` takes bipolar low outputs to stay in saturation past their promise, `node_promised` does not. Currents and
    heats cover both. `fights`: one output pulls up while another pulls down; `warning` then says what that means.
    `held`: something other than leakage sets the node. `no_figures` says what the tables do not have.
    """

    outputs: tuple[Output, ...]
    receivers: tuple[Receiver, ...]
    pulls: tuple[Pull, ...]
    node: Range
    node_promised: Range
    output_states: tuple[OutputState, ...]
    pull_states: tuple[PullState, ...]
    readings: tuple[Reading, ...]
    passed: tuple[PassedLimit, ...]
    fights: bool
    held: bool
    warning: str
    assumptions: tuple[str, ...]
    no_figures: tuple[str, ...]

    @property
    def sentences(self) -> tuple[str, ...]:
        """The answer in words, the warning first; the assumptions stand apart."""
        said = [self.warning] if self.warning else []
        said.append(f"The node stands at {self.node}.")
        if not self.held:
            said.append("Nothing holds the node: where it stands is up to leakage.")
        if self.node_promised != self.node:
            said.append(f"By what the data sheets promise alone it could stand at {self.node_promised}.")
        said += [
            f"{state.name} {state.direction} {state.current} and turns {state.heat} into heat."
            for state in self.output_states
        ]
        said += [f"{state.name} turns {state.heat} into heat." for state in self.pull_states]
        said += [reading.sentence for reading in self.readings]
        said += [limit.sentence for limit in self.passed]
        return (*said, *self.no_figures)


def _shown(number: float, unit: str) -> str:
    return figure(number, unit, 3)
