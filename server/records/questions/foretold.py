"""What a line of a mod's sum foretells, and how readings lie to it.

It reads kept results only: the latest run, for the machine as fitted or, before that, as planned. It knows sums and
summaries of readings; what that means for an expectation is told by `expectations`.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from sqlmodel import Session, col, select

from server.engineering import calculations as engine
from server.engineering.errors import EngineeringError
from server.engineering.quantities import Toleranced, convert, exact, figure
from server.engineering.trials import Summary
from server.engineering.units import scale
from server.records.questions.sums import latest_runs_where
from server.records.questions.trials import in_print, with_unit
from server.records.tables import Calculation, CalculationRun, Expectation, Mod, Procedure
from server.records.words import Case, ModState, Sense

KeptSum = tuple[Calculation, CalculationRun | None]
EVER_FITTED = (ModState.FITTED, ModState.UNDONE)


@dataclass(frozen=True, slots=True)
class Foretold:
    """One line by the latest kept result; where it has none, `missing` says why in a sentence."""

    called: str
    case: Case
    line: engine.LineResult | None
    missing: str = ""


def latest_of(session: Session, calculations: Collection[int | None]) -> dict[int, KeptSum]:
    """These calculations by key, each with its latest run, in one query."""
    found = latest_runs_where(session, col(Calculation.id).in_(calculations))
    return {calculation.key: (calculation, run) for calculation, run in found}


def foretold(mod: Mod, expectation: Expectation, kept: KeptSum) -> Foretold:
    """What the line says that an expectation is tied to: readings are held against what was really fitted."""
    as_fitted = expectation.sense == Sense.AGREES or mod.state in EVER_FITTED
    return told_by(kept, expectation.line, Case.FITTED if as_fitted else Case.PLANNED)


def told_by(kept: KeptSum, name: str, case: Case) -> Foretold:
    """One line of a kept result in one case."""
    calculation, run = kept
    called = f"{name} of calculation {calculation.number}"
    if name not in {line["name"] for line in calculation.lines}:
        gone = f"Calculation {calculation.number} has no line {name} any more; write the expectation anew."
        return Foretold(called, case, None, gone)
    of_case: Mapping[str, Any] = run.cases[case.value] if run else {"problem": "it was never run"}
    if "result" not in of_case:
        why = f"Calculation {calculation.number} has no result {case.value}: {of_case['problem'].rstrip('.')}."
        return Foretold(called, case, None, why)
    line = next((one for one in engine.from_plain(of_case["result"]).lines if one.name == name), None)
    return Foretold(called, case, line, "" if line else f"{case.value.capitalize()}, {called} comes to nothing.")


def unit_of(kept: KeptSum, name: str) -> str | None:
    """The unit of a line, known once the sum has come to anything in any case."""
    found = (told_by(kept, name, case).line for case in (Case.FITTED, Case.PLANNED, Case.STOCK))
    return next((line.unit for line in found if line), None)


def units_of_lines(session: Session, mod: Mod) -> dict[tuple[int, str], str]:
    """The units of the lines of a mod's calculations, by calculation and line, where they are known; two queries."""
    keys = session.exec(select(Calculation.id).where(Calculation.mod_id == mod.id)).all()
    kept = latest_of(session, keys).values()
    named = [(one, line["name"]) for one in kept for line in one[0].lines]
    return {(one[0].number, name): unit for one, name in named if (unit := unit_of(one, name)) is not None}


def unlike(line_unit: str, procedure: Procedure) -> str:
    """Why readings of a procedure cannot be held against a line; empty where they can."""
    try:
        read, reckoned = scale(procedure.unit), scale(line_unit)
    except EngineeringError as fault:
        return f"The readings cannot be held against a line: {fault}."
    if read.dimension != reckoned.dimension:
        ours, theirs = procedure.unit or "plain numbers", line_unit or "a plain number"
        return f"The readings are in {ours} and the line is in {theirs}: they cannot be held together."
    if read.is_point != reckoned.is_point:
        return "An amount in K cannot be held against a temperature in °C; let both be one or the other."
    return ""


# ---- In words ----


def in_words(told: Foretold) -> str:
    """`as fitted, V_low of calculation 1 comes to 6.52 V, at worst 6.1 V to 6.9 V`; or why there is no such thing."""
    return f"{_opening(told, told.line, None)}." if told.line else told.missing


def beside_bound(told: Foretold, bound: float, unit: str | None = None) -> str:
    """The same against a bound in the line's unit, or in another of its dimension; only the same where it has none."""
    if told.line is None:
        return told.missing
    held = _in_unit(bound, unit, told.line)
    if held is None:
        return in_words(told)
    return f"{_opening(told, told.line, held)}: {_side(told.line, held)}."


def _opening(told: Foretold, line: engine.LineResult, bound: float | None) -> str:
    nominal, low, high = (_figure(end, line.unit, bound) for end in (line.nominal, line.worst_low, line.worst_high))
    worst = "" if line.worst_low == line.worst_high else f", at worst {low} to {high}"
    return f"{told.case.value}, {told.called} comes to {nominal}{worst}"


def _figure(number: float, unit: str, bound: float | None) -> str:
    """Four digits, or as many as tell it from the bound."""
    words = figure(number, unit)
    alike = bound is not None and number != bound and words == figure(bound, unit)
    return figure(number, unit, 12) if alike else words


def _side(line: engine.LineResult, bound: float) -> str:
    at = figure(bound, line.unit, 12)
    if line.worst_high < bound:
        return f"below {at}"
    if line.worst_low > bound:
        return f"above {at}"
    return f"neither wholly below {at} nor wholly above it"


def _in_unit(bound: float, unit: str | None, line: engine.LineResult) -> float | None:
    if unit is None:
        return bound
    try:
        return convert(exact(bound, unit), line.unit).nominal
    except EngineeringError:
        return None


# ---- Readings held against it ----


def agreement(
    summary: Summary, line: engine.LineResult, called: str, unit: str
) -> tuple[Literal["within", "outside", "partly"], str]:
    """Whether the mean's 95 % interval, in a unit of the line's dimension, lies within what the line comes to at worst.

    The sentence goes on from the interval.
    """
    band = convert(Toleranced(line.nominal, line.worst_low, line.worst_high, line.unit), unit)
    against = f"the {_band(band, unit)} that {called} comes to {'' if band.is_exact else 'at worst, '}as fitted"
    if band.low <= summary.interval_low and summary.interval_high <= band.high:
        return "within", f"all of it within {against}"
    if summary.interval_high < band.low:
        return "outside", f"all of it below {against}"
    if summary.interval_low > band.high:
        return "outside", f"all of it above {against}"
    no_room = "; without a tolerance of its own nothing lies wholly within it" if band.is_exact else ""
    return "partly", f"that lies neither wholly within {against}, nor wholly outside{no_room}"


def _band(band: Toleranced, unit: str) -> str:
    if band.is_exact:
        return with_unit(in_print(band.nominal), unit)
    fine = (band.high - band.low) / 20
    return f"{in_print(band.low, fine)} to {with_unit(in_print(band.high, fine), unit)}"
