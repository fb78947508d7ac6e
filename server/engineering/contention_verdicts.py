"""What the numbers of a contention mean: who reads what, which handbook figures are passed, what no table says.

Volts and amperes in, verdicts and sentences out. Levels are the strictest over a chip's supply.
"""

from collections.abc import Sequence

from server.engineering.contention_result import Level, PassedLimit, Range, Reading, Reads
from server.engineering.logic_families import Chip, Figure
from server.engineering.logic_pins import Output, Receiver, leakage
from server.engineering.quantities import figure

WARNING = (
    "Outputs that fight are outside every data sheet's promise: no maker says what level, current or life to expect, "
    "and these are ranges from weak to strong samples, not a value to build on. Do not leave it so: "
    "keep one of the outputs off, or put a resistor between them."
)
_STANDING = "Straight lines between the figures of the tables; the supplies and ranges of temperature are the tables'."
_SATURATED = (
    "A bipolar output that is low stays in saturation past its promised current, its voltage growing in proportion: "
    "common practice, no source. Measure the node."
)
_SHORTED = (
    "Short-circuit currents are tested on one output at a time and for a second at most; two at once, or for longer, "
    "can overheat the chip."
)
_INPUTS = "An input gives out no more than the current its table has for 0.4 V, also below that."
_ORDER: tuple[Level, ...] = ("low", "neither", "high")


def read(receiver: Receiver, node: Range, node_promised: Range) -> Reading:
    """What an input reads over the whole of a node's range in V, its current through its series resistor included."""
    chip = receiver.chip
    low, high = low_level(chip), high_level(chip)
    at = _at_pin(receiver, node)
    may = _levels(at, low, high)
    promised = _levels(_at_pin(receiver, node_promised), low, high)
    reads = _verdict(may)
    said = _said(receiver, at, low, high, reads, may)
    if promised != may:
        said += f" By the data sheets alone it may read {_listed(promised)}."
    return Reading(receiver.name, at, low, high, reads, may, _verdict(promised), promised, said)


def low_level(chip: Chip) -> float | None:
    """V_IL in V, the strictest over the supply; None without a figure."""
    ends = (chip.input_low(chip.supply.low), chip.input_low(chip.supply.high))
    return None if ends[0] is None or ends[1] is None else min(ends[0], ends[1])


def high_level(chip: Chip) -> float | None:
    """V_IH in V, the strictest over the supply; None without a figure."""
    ends = (chip.input_high(chip.supply.low), chip.input_high(chip.supply.high))
    return None if ends[0] is None or ends[1] is None else max(ends[0], ends[1])


def passed_limits(output: Output, current: Range) -> tuple[PassedLimit, ...]:
    """The figures that a driving pin's current in A can pass: its promise, and the absolute maximum."""
    if not output.pulls_to:
        return ()
    low = output.pulls_to == "ground"
    points = output.chip.sink_points() if low else output.chip.source_points()
    found: list[PassedLimit] = []
    if points and _past(current, points[-1].amps):
        level = "low level (V_OL)" if low else "high level (V_OH)"
        because = f"the current up to which its {level} is promised"
        found.append(_passed(output, current, "I_OL" if low else "I_OH", points[-1].amps, because, points[-1].figure))
    limit = output.chip.pin_limit()
    if limit and _past(current, limit[0]):
        found.append(_passed(output, current, "I_O max", limit[0], "the absolute maximum of a pin", limit[1]))
    return tuple(found)


def assumptions(outputs: Sequence[Output], receivers: Sequence[Receiver]) -> tuple[str, ...]:
    """What the sum rests on, for this net: each a sentence that a person can go and test or look up."""
    said = [_STANDING]
    if any(output.pulls_to == "ground" and output.chip.is_bipolar for output in outputs):
        said.append(_SATURATED)
    if any(output.pulls_to == "supply" and output.chip.short_circuit() for output in outputs):
        said.append(_SHORTED)
    if any(receiver.chip.is_bipolar for receiver in receivers):
        said.append(_INPUTS)
    return tuple(said)


def missing_figures(outputs: Sequence[Output], receivers: Sequence[Receiver], *, fights: bool) -> tuple[str, ...]:
    """A sentence for each figure that the sum could have used and no table has; strong ends count in a fight alone."""
    said = [sentence for output in outputs for sentence in _output_gaps(output, fights)]
    said += [
        f"{receiver.name}: no figure for the input current of {receiver.chip.kind}; it is left out."
        for receiver in receivers
        if receiver.chip.input_in() is None or receiver.chip.input_out() is None
    ]
    return tuple(said)


def _output_gaps(output: Output, fights: bool) -> list[str]:
    kind = output.chip.kind
    if not output.pulls_to:
        return [] if leakage(output) else [f"{output.name}: no figure for the leakage of {kind}; it is left out."]
    low = output.pulls_to == "ground"
    word = "low" if low else "high"
    gaps = []
    if not (output.chip.sink_points() if low else output.chip.source_points()):
        gaps.append(
            f"{output.name}: no figure for what a {word} output of {kind} can drive; its weak end counts as nothing."
        )
    known = output.short_circuit or (not low and output.chip.short_circuit())
    if fights and not known:
        gaps.append(
            f"{output.name}: no figure for the most that a {word} output of {kind} can drive; "
            f"its strong end counts as a bare {'ground' if low else 'supply'}."
        )
    return gaps


def _at_pin(receiver: Receiver, node: Range) -> Range:
    high = node.high if node.high is not None else receiver.chip.supply.high
    if not receiver.series:
        return Range(node.low, high, "V")
    ohms = receiver.series.high
    into, out = receiver.chip.input_in() or 0.0, receiver.chip.input_out() or 0.0
    lifted = min(high + out * ohms, max(high, receiver.chip.supply.high))
    return Range(max(node.low - into * ohms, 0.0), lifted, "V")


def _levels(at: Range, low: float | None, high: float | None) -> tuple[Level, ...]:
    """The levels that a range of voltages can be read as; none at all without figures."""
    if low is None or high is None or at.high is None:
        return ()
    true = (at.low <= low, at.low < high and at.high > low, at.high >= high)
    return tuple(level for level, is_so in zip(_ORDER, true, strict=True) if is_so)


def _verdict(levels: tuple[Level, ...]) -> Reads:
    if not levels:
        return "no figure"
    if len(levels) > 1:
        return "depends"
    alone: dict[Level, Reads] = {"low": "always low", "high": "always high", "neither": "undefined"}
    return alone[levels[0]]


def _said(
    receiver: Receiver, at: Range, low: float | None, high: float | None, reads: Reads, may: tuple[Level, ...]
) -> str:
    who = f"{receiver.name} ({receiver.chip.kind})"
    if low is None or high is None:
        return f"{who}: no figure for its input levels."
    levels = f"at {at}, with low up to {figure(low, 'V')} and high from {figure(high, 'V')}"
    if reads == "depends":
        return f"{who} may read {_listed(may)}, {levels}."
    if reads == "undefined":
        return f"{who} reads neither level, {levels}."
    return f"{who} reads {may[0]} at all times, {levels}."


def _listed(words: Sequence[str]) -> str:
    return " or ".join(part for part in (", ".join(words[:-1]), words[-1]) if part)


def _past(current: Range, limit: float) -> bool:
    return current.high is None or current.high > limit * (1 + 1e-9)


def _passed(output: Output, current: Range, name: str, limit: float, because: str, row: Figure) -> PassedLimit:
    surely = current.low > limit
    does = "is past" if surely else "can pass"
    sentence = f"{output.name}: {current} {does} {figure(limit, 'A')} ({name} of {output.chip.kind}), {because}."
    return PassedLimit(output.name, name, limit, current, surely, sentence, row.source, row.status)
