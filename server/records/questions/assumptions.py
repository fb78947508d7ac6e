"""What a mod's sums take for granted and nobody has tested, in the order in which it is worth testing.

Shares of the variance belong to inputs, assumptions are sentences. `RULE` says how one comes to the other; it stands
on the page too.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from sqlmodel import Session, col, select

from server.engineering.calculations import LimitResult, LineResult
from server.records.tables import Calculation, CalculationInput, Mod, Position, PossibleCause, Symptom

RULE = (
    "In this order: an assumption goes with the input that it names, by its name or the position it is read at, or "
    "whose label it repeats best and at least by half; it takes the greatest share that this input brings to the "
    "variance of a line with a limit, as fitted. The others follow as they were written."
)
LEAST_REPEATED = 0.5
FIGURE = re.compile(r"(?<!\w)\d[\d.,]*\s?[%°µΩ\w/]*")
WORD = re.compile(r"[^\W\d_]+")
LITTLE_WORDS = WORD.findall(
    "a after an and as at before between by for from in into is it its of on or over per than that the this to under "
    "which with"
)
LETTERS_THAT_ARE_WORDS = ("A", "I", "a")


@dataclass(frozen=True, slots=True)
class Held:
    """One calculation of a mod with what it came to as fitted."""

    calculation: Calculation
    lines: Sequence[LineResult]
    limits: Sequence[LimitResult]

    def share(self, name: str) -> tuple[float, str]:
        """The greatest share of an input in a line that has a limit (in any line where none has), and that line."""
        limited = {limit.limit.line for limit in self.limits}
        lines = [line for line in self.lines if line.name in limited] or self.lines
        return max(((line.shares.get(name, 0.0), line.label or line.name) for line in lines), default=(0.0, ""))


@dataclass(frozen=True, slots=True)
class Suspected:
    """A possible cause that was opened from an assumption."""

    symptom: int
    number: int
    state: str


@dataclass(frozen=True, slots=True)
class Untested:
    """An assumption that was not tested: where it stands, what it concerns, and the causes opened from it.

    `number` is its place in the calculation. Without an input that it concerns, `share` is zero and `input` empty.
    """

    calculation: Calculation
    number: int
    sentence: str
    input: str
    share: float
    line: str
    causes: list[Suspected]

    @property
    def weight(self) -> str:
        """`C brings 79 % of the variance of “corner frequency”`; empty where it concerns no input."""
        if not self.input:
            return ""
        percent = "less than 1" if self.share < 0.005 else f"{100 * self.share:.0f}"
        return f"{self.input} brings {percent}\N{NO-BREAK SPACE}% of the variance of “{self.line}”"


def untested(session: Session, mod: Mod, sums: Sequence[Held]) -> list[Untested]:
    """The untested assumptions of all a mod's calculations, ranked by `RULE`; two queries, however many."""
    inputs = _inputs(session, mod)
    causes = _causes(session, mod)
    found = [
        _weighed(held, number, row["sentence"], inputs.get(held.calculation.key, []), causes)
        for held in sums
        for number, row in enumerate(held.calculation.assumptions, start=1)
        if not row["tested"]
    ]
    return sorted(found, key=lambda one: (not one.input, -one.share))  # what ties stays as it was written


def closeness(sentence: str, name: str, label: str, designator: str = "") -> float:
    """How much a sentence is about an input: 1 if it names it, else the part of the label's words that it repeats."""
    bare = FIGURE.sub(" ", sentence)  # a unit is no input: “0.1 V” does not name V
    named = name not in LETTERS_THAT_ARE_WORDS and _stands_in(name, bare)
    if named or (designator and _stands_in(designator, sentence)):
        return 1.0
    wanted = _words(label)
    return len(wanted & _words(sentence)) / len(wanted) if wanted else 0.0


Given = tuple[CalculationInput, str]


def _weighed(
    held: Held, number: int, sentence: str, inputs: Sequence[Given], causes: dict[tuple[int, str], list[Suspected]]
) -> Untested:
    close = {entry.name: closeness(sentence, entry.name, entry.label, place) for entry, place in inputs}
    closest = max([LEAST_REPEATED, *close.values()])
    shares = [(held.share(name), name) for name in close if close[name] == closest]
    (share, line), name = max(shares, key=lambda one: one[0][0], default=((0.0, ""), ""))
    opened = causes.get((held.calculation.key, sentence), [])
    return Untested(held.calculation, number, sentence, name, share, line, opened)


def _stands_in(name: str, sentence: str) -> bool:
    return re.search(rf"(?<![\w°µ]){re.escape(name)}(?!\w)", sentence) is not None


def _words(text: str) -> set[str]:
    """The words that say something, in the singular."""
    words = {word.casefold() for word in WORD.findall(text)} - {*LITTLE_WORDS}
    return {word.removesuffix("s") if len(word) > 3 else word for word in words if len(word) > 1}


def _inputs(session: Session, mod: Mod) -> dict[int, list[Given]]:
    query = (
        select(CalculationInput, Position.designator)
        .join(Calculation, col(Calculation.id) == col(CalculationInput.calculation_id))
        .outerjoin(Position, col(Position.id) == col(CalculationInput.position_id))
        .where(Calculation.mod_id == mod.id)
        .order_by(col(CalculationInput.place))
    )
    found: dict[int, list[Given]] = {}
    for entry, designator in session.exec(query):
        found.setdefault(entry.calculation_id, []).append((entry, designator or ""))
    return found


def _causes(session: Session, mod: Mod) -> dict[tuple[int, str], list[Suspected]]:
    query = (
        select(PossibleCause, Symptom.number)
        .join(Symptom, col(Symptom.id) == col(PossibleCause.symptom_id))
        .join(Calculation, col(Calculation.id) == col(PossibleCause.calculation_id))
        .where(Calculation.mod_id == mod.id)
        .order_by(col(Symptom.number), col(PossibleCause.number))
    )
    found: dict[tuple[int, str], list[Suspected]] = {}
    for cause, symptom in session.exec(query):
        key = (cause.calculation_id or 0, cause.assumption)
        found.setdefault(key, []).append(Suspected(symptom, cause.number, cause.state))
    return found
