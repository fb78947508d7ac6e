"""One trial's readings as a page tells them: in words, in figures and as dots.

It knows trials and procedures that were read already, and no request.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from server.engineering.trials import Summary, compare_yes_no, summarise
from server.pages import pictures
from server.pages.pictures import Picture
from server.pages.procedures import better_words, meaning
from server.records.questions.trials import TrialLine, counts, in_print, with_unit, yes_or_no
from server.records.tables import Procedure, Trial

READINGS_SHOWN = 200
DOTS_DRAWN = 300


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
        picture=picture([(f"trial {line.trial.number}", line.trial, summary)], line.procedure),
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


def picture(rows: Sequence[tuple[str, Trial, Summary]], procedure: Procedure) -> Picture:
    """Every trial's readings as dots; a lone reading has no interval."""
    drawn = [
        pictures.Readings(
            _named(label, trial),
            _drawn(trial.readings),
            summary.mean,
            summary.interval_low if summary.count > 1 else None,
            summary.interval_high if summary.count > 1 else None,
            _mean_at(summary, procedure.unit) if summary.count > 1 else "",
        )
        for label, trial, summary in rows
    ]
    return pictures.dot_view("readings", procedure.title, procedure.unit, drawn)


def _mean_at(summary: Summary, unit: str) -> str:
    """The mean with its interval, in the very digits of the text beside the picture."""
    u = summary.standard_uncertainty
    mean, low, high = (in_print(end, u) for end in (summary.mean, summary.interval_low, summary.interval_high))
    return f"mean {with_unit(f'{mean} ({low} to {high})', unit)}"


def _named(label: str, trial: Trial) -> str:
    """The label, which owns up to it where the picture does not hold every reading."""
    count = len(trial.readings)
    return label if count <= DOTS_DRAWN else f"{label} ({DOTS_DRAWN} of {count:,} drawn)"


def _drawn(readings: Sequence[float]) -> list[float]:
    """All readings, or so many of them, evenly by size with the least and the most, that a picture can hold."""
    if len(readings) <= DOTS_DRAWN:
        return list(readings)
    ordered, last = sorted(readings), len(readings) - 1
    return [ordered[round(place * last / (DOTS_DRAWN - 1))] for place in range(DOTS_DRAWN)]


def undrawn(*trials: Trial) -> str:
    """What the picture leaves out; empty when it shows every reading."""
    if all(len(trial.readings) <= DOTS_DRAWN for trial in trials):
        return ""
    return f"Of more than {DOTS_DRAWN} readings, {DOTS_DRAWN} are drawn, evenly by size. The figures are of all."
