"""One trial's readings as a page tells them: in words, in figures and as dots.

It knows trials and procedures that were read already, and no request.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from server.documents.drawing import Picture
from server.documents.trial_pictures import trials_picture, undrawn
from server.engineering.trials import Summary, compare_yes_no, summarise
from server.pages.procedures import meaning
from server.records.questions.trials import TrialLine, better_words, counts, in_print, with_unit, yes_or_no
from server.records.tables import Procedure

READINGS_SHOWN = 200


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading as it is shown: its place, and whether it lies far from the rest."""

    place: int
    words: str
    far: bool


@dataclass(frozen=True, slots=True)
class Told:
    """What one trial's readings say, in words and as a picture; `more` is how many are not among `readings`."""

    summary: str
    facts: list[tuple[str, str]]
    notes: list[str]
    picture: Picture | None
    undrawn: str
    readings: list[Reading]
    more: int


def told(line: TrialLine) -> Told:
    """What a trial's readings say, be they figures or observations."""
    return _told_observations(line) if yes_or_no(line.procedure) else _told_readings(line)


def _told_observations(line: TrialLine) -> Told:
    shown = [Reading(place, "yes" if value else "no", far=False) for place, value in _first(line.trial.readings)]
    return Told(_told_counts(line), [], [], None, "", shown, len(line.trial.readings) - len(shown))


def _told_readings(line: TrialLine) -> Told:
    readings = line.trial.readings
    summary = summarise(readings, line.procedure.resolution)
    outliers = set(summary.outliers)
    shown = [Reading(place, in_print(value), place - 1 in outliers) for place, value in _first(readings)]
    return Told(
        summary=_told_figures(line, summary),
        facts=_facts(summary, line.procedure),
        notes=list(summary.notes),
        picture=trials_picture("readings", line.procedure, [(f"trial {line.trial.number}", line.trial, summary)]),
        undrawn=undrawn(line.trial),
        readings=shown,
        more=len(readings) - len(shown),
    )


def _first(readings: Sequence[float]) -> enumerate[float]:
    return enumerate(readings[:READINGS_SHOWN], start=1)


def _told_counts(line: TrialLine) -> str:
    share = compare_yes_no(counts(line.trial), counts(line.trial)).after
    return (
        f"Yes {share.yes:,} of {share.total:,} times, which is {100 * share.share:.0f} % "
        f"({100 * share.low:.0f} to {100 * share.high:.0f} % at 95 %); {line.procedure.better} is better."
    )


def _told_figures(line: TrialLine, summary: Summary) -> str:
    unit, better = line.procedure.unit, better_words(line.procedure)
    if summary.count == 1:
        return f"One reading, {with_unit(in_print(summary.mean), unit)}; {better}."
    low, high = (in_print(end, summary.standard_uncertainty) for end in (summary.interval_low, summary.interval_high))
    return (
        f"The mean of {summary.count:,} readings is {line.figures}, give or take one standard uncertainty. "
        f"At 95 % it lies from {low} to {with_unit(high, unit)}; {better}."
    )


def _facts(summary: Summary, procedure: Procedure) -> list[tuple[str, str]]:
    unit = procedure.unit
    spread = "one reading has none" if summary.spread is None else in_print(summary.spread, summary.spread)
    return [
        ("Spread (standard deviation)", with_unit(spread, unit if summary.spread is not None else "")),
        ("Median", with_unit(in_print(summary.median), unit)),
        ("Least and most", f"{in_print(summary.minimum)} to {with_unit(in_print(summary.maximum), unit)}"),
        ("Read to", with_unit(in_print(summary.resolution), unit)),
        *meaning(procedure),
    ]
