"""What a calculation is made of and what comes of it: plain frozen values, no arithmetic.

Results are in the line's own unit. `calculations.py` fills them in, `plain_results.py` carries them through JSON.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal
from uuid import UUID

from server.engineering.toleranced import Toleranced

Kind = Literal["at_least", "at_most", "between"]
Verdict = Literal["holds", "at risk", "fails"]

DRAWS = 100_000


@dataclass(frozen=True, slots=True)
class Input:
    """A named value that lines may use; `label` is what a sentence calls it."""

    name: str
    value: Toleranced
    label: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """`name = expression`, shown in `unit`; without a unit, in the SI unit of what it comes to."""

    name: str
    expression: str
    unit: str = ""
    label: str = ""


@dataclass(frozen=True, slots=True)
class Limit:
    """What a line must keep to, and on what ground (`basis`).

    `at_least` and `at_most` hold the line against the value's nominal, `between` against its low and high. The value
    may also be the name of an input or of another line (for `between`, of an input): both then vary together, and the
    worst case is that of their difference.
    """

    line: str
    kind: Kind
    value: Toleranced | str
    basis: str = ""


@dataclass(frozen=True, slots=True)
class Calculation:
    """Inputs, lines in any order, limits on lines, and the seed that fixes the draws."""

    inputs: tuple[Input, ...]
    lines: tuple[Line, ...]
    limits: tuple[Limit, ...] = ()
    seed: UUID | int = 0
    draws: int = DRAWS


@dataclass(frozen=True, slots=True)
class Histogram:
    """How the draws fall: `counts` between neighbouring `edges`; one bin of no width where nothing varies."""

    edges: tuple[float, ...]
    counts: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class LineResult:
    """What a line comes to, all in `unit`.

    `worst_low` and `worst_high` are the worst case, `interval_low` and `interval_high` the 95 % interval, `shares`
    the part of the variance that each input brings (0 to 1, by input name), `mean` and `uncertainty` those of the
    draws.
    """

    name: str
    expression: str
    unit: str
    nominal: float
    worst_low: float
    worst_high: float
    interval_low: float
    interval_high: float
    shares: Mapping[str, float] = field(hash=False)
    notes: tuple[str, ...]
    histogram: Histogram
    label: str = ""
    mean: float = 0.0
    uncertainty: float = 0.0


@dataclass(frozen=True, slots=True)
class LimitResult:
    """A verdict with its sentence, and what the line was held `against`, in the line's unit.

    `margin` is what the worst case leaves; negative, what it is beyond by.
    """

    limit: Limit
    verdict: Verdict
    sentence: str
    margin: float
    against: Toleranced


@dataclass(frozen=True, slots=True)
class Result:
    """What a calculation came to, beside the calculation itself."""

    calculation: Calculation
    lines: tuple[LineResult, ...]
    limits: tuple[LimitResult, ...]

    def line(self, name: str) -> LineResult:
        """The line of that name; KeyError if there is none."""
        for line in self.lines:
            if line.name == name:
                return line
        raise KeyError(name)
