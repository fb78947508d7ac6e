"""Outputs that meet on one node: where it stands, what flows, what gets hot and who reads what, weak to strong.

All bounds come from corners (`balance`): the node is highest where everything delivers its most and lowest where it
delivers its least; one pin's current is greatest with its own strong sample against the others' hardest pull the
other way, least with its weak sample against their softest. Heat is `contention_heat`.

Two voltages stand beside one another. `node` takes bipolar low outputs to stay in saturation past their promise;
`node_promised` holds no output to more than its data sheet does. Currents and heats cover both.
Volts, amperes, watts, ohms. Assumptions and sources: `logic_pins`, `logic_families`, and in the answer, in words.
Raises `BadPin`, `BeyondFigures`.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from server.engineering.balance import Unbounded, balances, delivered
from server.engineering.contention_heat import output_heat, resistor_heat
from server.engineering.contention_result import Contention, OutputState, PullState, Range
from server.engineering.contention_verdicts import WARNING, assumptions, missing_figures, passed_limits, read
from server.engineering.logic_families import PAST_SUPPLY, BadPin, BeyondFigures
from server.engineering.logic_pins import (
    Bounds,
    Output,
    Pull,
    Receiver,
    leakage,
    output_bounds,
    pull_bounds,
    receiver_bounds,
)
from server.engineering.quantities import figure

MOST_THINGS = 60


@dataclass(frozen=True, slots=True)
class _Net:
    """The bounds of outputs, then pulls, then receivers on the node, which lies from 0 to `top` V."""

    hung: tuple[Bounds, ...]
    top: float

    def node(self) -> Range:
        """Where the node stands, in V, from the lowest to the highest balance."""
        lowest, _ = balances([bounds.least for bounds in self.hung], 0.0, self.top)
        _, highest = balances([bounds.most for bounds in self.hung], 0.0, self.top)
        return Range(lowest, highest, "V")

    def others(self, index: int) -> tuple[Bounds, ...]:
        """What hangs on the node beside one thing."""
        return self.hung[:index] + self.hung[index + 1 :]

    def least_from(self, index: int) -> float | None:
        """The least that one thing can deliver into the node, in A; None where nothing bounds what it takes."""
        try:
            others = [bounds.most for bounds in self.others(index)]
            return delivered(self.hung[index].least, others, 0.0, self.top, most=False)[1]
        except Unbounded:
            return None

    def most_from(self, index: int) -> float | None:
        """The most that one thing can deliver into the node, in A; None where nothing bounds what it gives."""
        try:
            others = [bounds.least for bounds in self.others(index)]
            return delivered(self.hung[index].most, others, 0.0, self.top, most=True)[1]
        except Unbounded:
            return None


def contention(outputs: Sequence[Output], receivers: Sequence[Receiver] = (), pulls: Sequence[Pull] = ()) -> Contention:
    """What happens on a node that outputs and resistors share, from weak to strong samples.

    Each output is high, low or off. Raises `BadPin` for no output, an output left at `either`, a name that comes
    twice and more than 60 things; `BeyondFigures` where the node can pass a pin's supply by more than half a volt.
    """
    _check(outputs, receivers, pulls)
    net = _net(outputs, receivers, pulls, promised=False)
    promised = _net(outputs, receivers, pulls, promised=True)
    node, node_promised = net.node(), promised.node()
    _stay_within(outputs, receivers, node_promised)
    states = tuple(_output_state(output, promised, index) for index, output in enumerate(outputs))
    fights = {"ground", "supply"} <= {output.pulls_to for output in outputs}
    return Contention(
        outputs=tuple(outputs),
        receivers=tuple(receivers),
        pulls=tuple(pulls),
        node=node,
        node_promised=node_promised,
        output_states=states,
        pull_states=tuple(_pull_state(pull, promised, len(outputs) + index) for index, pull in enumerate(pulls)),
        readings=tuple(read(receiver, node, node_promised) for receiver in receivers),
        passed=tuple(
            limit
            for output, state in zip(outputs, states, strict=True)
            for limit in passed_limits(output, state.current)
        ),
        fights=fights,
        held=bool(pulls) or any(output.pulls_to for output in outputs),
        warning=WARNING if fights else "",
        assumptions=assumptions(outputs, receivers),
        no_figures=missing_figures(outputs, receivers, fights=fights),
    )


def _net(outputs: Sequence[Output], receivers: Sequence[Receiver], pulls: Sequence[Pull], *, promised: bool) -> _Net:
    hung = [output_bounds(output, promised=promised) for output in outputs]
    hung += [pull_bounds(pull) for pull in pulls]
    hung += [receiver_bounds(receiver) for receiver in receivers]
    tops = [output.chip.supply.high for output in outputs]
    tops += [receiver.chip.supply.high for receiver in receivers]
    tops += [pull.level.high for pull in pulls]
    return _Net(tuple(hung), max(tops))


def _output_state(output: Output, net: _Net, index: int) -> OutputState:
    if not output.pulls_to:
        leak = max(abs(amps) for amps in leakage(output) or (0.0,))
        return OutputState(output.name, "leaks", Range(0.0, leak, "A"), Range(0.0, leak * net.top, "W"), None)
    least, most = net.least_from(index), net.most_from(index)
    low = output.pulls_to == "ground"
    current = _taken(least, most) if low else Range(max(least or 0.0, 0.0), most, "A")
    others = net.others(index)
    heat = output_heat(output, [bounds.least for bounds in others], [bounds.most for bounds in others], net.top)
    series_heat = resistor_heat(current, output.series) if output.series else None
    return OutputState(output.name, "takes" if low else "gives", current, heat, series_heat)


def _taken(least: float | None, most: float | None) -> Range:
    """What a low output takes, in A, from what it delivers: nothing where others leak the node down to ground."""
    return Range(max(-(most or 0.0), 0.0), None if least is None else max(-least, 0.0), "A")


def _pull_state(pull: Pull, net: _Net, index: int) -> PullState:
    current = Range(net.least_from(index) or 0.0, net.most_from(index), "A")
    return PullState(pull.name, current, resistor_heat(current, pull.ohms))


def _check(outputs: Sequence[Output], receivers: Sequence[Receiver], pulls: Sequence[Pull]) -> None:
    things: list[Output | Receiver | Pull] = [*outputs, *receivers, *pulls]
    names = [thing.name for thing in things]
    if not outputs:
        raise BadPin("A net needs an output to say where it stands", field="outputs")
    if len(names) > MOST_THINGS:
        raise BadPin(f"{len(names)} things hang on this net; sums are made for up to {MOST_THINGS}", field="outputs")
    twice = [name for name, count in Counter(names).items() if count > 1]
    if twice:
        raise BadPin(
            f"{twice[0]} comes twice on this net; give each pin and resistor a name of its own", field=twice[0]
        )
    open_ended = [output.name for output in outputs if output.drive == "either"]
    if open_ended:
        raise BadPin(f"{open_ended[0]}: say whether it is high, low or off", field=open_ended[0])


def _stay_within(outputs: Sequence[Output], receivers: Sequence[Receiver], node: Range) -> None:
    """A pin past its supply conducts through clamps that no table measures. Open collectors go to their test."""
    pins: list[Output | Receiver] = [*outputs, *receivers]
    for pin in pins:
        limit = pin.chip.supply.high + PAST_SUPPLY
        if isinstance(pin, Output) and pin.role == "open collector":
            tested = [row.test_volts for row in pin.chip.figures("ICEX") if row.test_volts is not None]
            limit = max([limit, *tested])
        if node.high is not None and node.high > limit:
            raise BeyondFigures(
                f"The node can rise to {figure(node.high, 'V', 3)}, and {pin.name} ({pin.chip.kind}) has figures up to "
                f"{figure(limit, 'V', 3)} only: what it then conducts is not known",
                field=pin.name,
            )
