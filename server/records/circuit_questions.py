"""What the questions of a circuit come to in one case: where each condition holds along the source, and for how long.

Plain values go in and come out; solving is the engineering core's. A question about what is not there in a case is
answered so, and takes nothing else of that case with it.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any
from uuid import UUID

from server.engineering import calculations as engine
from server.engineering import network as net
from server.engineering.quantities import Toleranced, figure, parse
from server.engineering.verdicts import judge, margins
from server.records.circuit_lines import ABOVE, CONDUCTS, RELEASED, in_words
from server.records.circuit_results import DRAWS, ENDS, held_against, line_of, named, plain_band

Swept = tuple[str, float, float]


@dataclass(frozen=True)
class Answer:
    """Where the condition holds along the swept source, and for how long as it falls.

    `found` is none where the question is about what is not there in this case; `missing` then says what.
    """

    number: int
    label: str
    found: net.Thresholds | None
    windows: net.Windows | None
    missing: str = ""

    @property
    def lasts(self) -> str:
        return f"Q{self.number}_lasts"

    @property
    def lines(self) -> list[engine.LineResult]:
        """The ends of the stretches, lowest and highest, and the length of all windows together, where it has one."""
        lines = []
        if self.found:
            lines.append(line_of(f"Q{self.number}_low", self.found[0].low))
            lines.append(line_of(f"Q{self.number}_high", self.found[-1].high))
        if self.windows is not None and math.isfinite(self.length.most):
            lines.append(line_of(self.lasts, self.length))
        return lines

    @property
    def length(self) -> net.Band:
        """All windows together; nothing where there is none. Infinite where one does not end within the range."""
        lengths = [math.inf if one.at_least else one.length for one in self.windows or ()]
        bands = [one for one in lengths if isinstance(one, net.Band)]
        if len(bands) < len(lengths):
            return net.Band(math.inf, math.inf, math.inf, math.inf, math.inf, "s")
        total = {end: math.fsum(getattr(one, end) for one in bands) for end in ENDS}
        return net.Band(**total, unit="s")

    @property
    def sometimes(self) -> bool:
        """Whether the condition holds over more stretches within the tolerances than at the nominal values."""
        return self.found is not None and self.found.share_with_more > 0

    def judged(self, limit: engine.Limit) -> engine.LimitResult | None:
        """The verdict on the length; one that has no end within the range is beyond any limit."""
        if self.found is None:
            return None
        against, length = held_against(limit, "s"), self.length
        if not math.isfinite(length.most):
            return self._without_end(limit, against)
        line = named(line_of(self.lasts, length), self.label)
        judged = judge(limit, line, against, margins("at_most", line, against))
        if judged.verdict == "holds" and self.sometimes:
            words = f"{judged.sentence}, but within the tolerances it comes about more often than that"
            return engine.LimitResult(limit, "at risk", words, judged.margin, against)
        return judged

    def _without_end(self, limit: engine.Limit, against: Toleranced) -> engine.LimitResult:
        allowed, nominal = figure(against.nominal, "s"), self.length.nominal
        if math.isfinite(nominal) and nominal <= against.nominal:
            words = (
                f"{self.label} is {figure(nominal, 's')}, but within the tolerances it can have no end within what was "
                f"looked at: over the {allowed} allowed"
            )
            return engine.LimitResult(limit, "at risk", words, -against.nominal, against)
        words = f"{self.label} has no end within what was looked at: over the {allowed} allowed"
        return engine.LimitResult(limit, "fails", words, -against.nominal, against)

    @property
    def plain(self) -> dict[str, Any]:
        found = self.found if self.found is not None else net.Thresholds()
        return {
            "missing": self.missing,
            "stretches": _plain_stretches(found),
            "parts": [_plain_stretches(part) for part in found.parts],
            "windows": [
                {
                    "start": plain_band(one.start),
                    "end": plain_band(one.end),
                    "length": plain_band(one.length),
                    "share": one.share,
                    "at_least": one.at_least,
                }
                for one in self.windows or ()
            ],
            "timed": self.windows is not None,
            "notes": [*found.notes, *(self.windows.notes if self.windows else ())],
        }


def answers(
    circuit: Mapping[str, Any], network: net.Network, swept: Swept, fall: net.Fall | None, seed: UUID
) -> list[Answer]:
    """What every question comes to. Raises an EngineeringError that names the element or the node."""
    found = []
    for number, condition in enumerate(conditions_of(circuit), start=1):
        label = f"How long {in_words(circuit['questions'][number - 1]['parts'])}"
        try:
            intervals = _where(network, swept, condition, seed)
        except (net.UnknownElement, net.UnknownNode) as fault:
            found.append(Answer(number, label, None, None, f"Nothing to say in this case. {fault}."))
            continue
        windows = net.windows_over_decay(intervals, fall, draws=DRAWS, seed=seed) if fall else None
        found.append(Answer(number, label, intervals, windows))
    return found


@lru_cache(maxsize=256)
def _where(network: net.Network, swept: Swept, condition: net.AnyCondition, seed: UUID) -> net.Thresholds:
    """Remembered: the cases of a circuit are often alike, and a run follows its check."""
    return net.thresholds(network, *swept, condition, draws=DRAWS, seed=seed)


def conditions_of(circuit: Mapping[str, Any]) -> list[net.AnyCondition]:
    """What each question asks, as the engineering core takes it."""
    return [net.all_of(*(_condition(part) for part in question["parts"])) for question in circuit["questions"]]


def _condition(part: Mapping[str, str]) -> net.Condition:
    how = part["how"]
    conducts = how in (CONDUCTS, RELEASED)
    watched = net.current(part["which"]) if conducts else net.voltage(part["which"])
    amount = parse(part["value"], unit="A" if conducts else "V")
    return watched.above(amount) if how in (CONDUCTS, ABOVE) else watched.below(amount)


def _plain_stretches(found: Sequence[net.Interval]) -> list[dict[str, Any]]:
    return [
        {
            "low": plain_band(one.low),
            "high": plain_band(one.high),
            "open_low": one.open_low,
            "open_high": one.open_high,
            "share": one.share,
        }
        for one in found
    ]
