"""Whether a mod did what was expected of it: derived from trials, never typed.

The trial before is the latest one without the mod that precedes the first one with it; every trial with the mod in
force then speaks for itself. Words: met, not met, undecided (the readings leave it open), contradictory (trials with
the mod disagree), not yet tested. Where better was expected and no difference is shown, a mean that is no better at all
does not meet it, and one that is better, but no more than chance can make it, leaves it undecided. A lone reading shows
nothing of the scatter, so it decides about no bound. Readings agree with a line of a sum when the interval of their
mean lies wholly within what the line comes to at worst, as fitted. A sum alone is no test: it is told beside a bound,
and what it foretold is told beside what was read.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from sqlmodel import Session, col, select

from server.engineering.calculations import LineResult
from server.engineering.trials import Comparison, Summary, YesNoComparison, summarise
from server.records.questions.comparisons import compare_trials, judged, leans_better
from server.records.questions.foretold import (
    Foretold,
    KeptSum,
    agreement,
    beside_bound,
    foretold,
    in_words,
    latest_of,
    unlike,
)
from server.records.questions.trials import counts, figures_in, in_print, mods_noted, numbered, with_unit, yes_or_no
from server.records.tables import Calculation, Expectation, Mod, Procedure, Trial
from server.records.words import Sense


class Verdict(StrEnum):
    """What the trials say of an expectation."""

    MET = "met"
    NOT_MET = "not met"
    UNDECIDED = "undecided"
    CONTRADICTORY = "contradictory"
    NOT_TESTED = "not yet tested"


@dataclass(frozen=True, slots=True)
class ExpectationLine:
    """One expectation, what the trials say of it in a word and in a sentence, and the two trials that say so.

    `calculation` is the one whose line it is tied to, `unit` the bound's, and `rule` says in few words what has to come
    true.
    """

    expectation: Expectation
    procedure: Procedure | None
    verdict: Verdict
    sentence: str
    before_trial: Trial | None
    after_trial: Trial | None
    calculation: Calculation | None = None
    unit: str = ""

    @property
    def rule(self) -> str:
        expected = self.expectation
        told = expected.line if self.calculation and not self.procedure else "the readings"
        bound = "" if expected.bound is None else f" {with_unit(in_print(expected.bound), self.unit)}"
        return f"{told}: {expected.sense}{bound}"


@dataclass(frozen=True, slots=True)
class _Run:
    """The trials of one procedure on the mod's machine, told apart by whether the mod was in force."""

    before: Trial | None
    after: list[Trial]
    mods: dict[int, list[Mod]]


NOTED_SHOWN = 60
SEVERAL = 3
BOUNDED = (Sense.BELOW, Sense.ABOVE)
SIGHTED = (Sense.SEEN, Sense.NOT_SEEN)


@dataclass(frozen=True, slots=True)
class _Said:
    """What one trial says of one expectation; the sentence goes on from the trial's name."""

    trial: Trial
    verdict: Verdict
    sentence: str


def verdicts(session: Session, mod: Mod) -> list[ExpectationLine]:
    """Every expectation of a mod with its verdict, in order."""
    return verdicts_of(session, [mod])[mod.key]


def verdicts_of(session: Session, mods: Sequence[Mod]) -> dict[int, list[ExpectationLine]]:
    """Every expectation of these mods with its verdict, by mod; four queries, however many mods, trials and sums."""
    known = {mod.key: mod for mod in mods}
    query = (
        select(Expectation, Procedure)
        .outerjoin(Procedure, col(Procedure.id) == col(Expectation.procedure_id))
        .where(col(Expectation.mod_id).in_(known))
        .order_by(col(Expectation.number))
    )
    rows = session.exec(query).all()
    trials = _trials(session, mods, {procedure.key for _, procedure in rows if procedure})
    noted = mods_noted(session, [trial.key for trial in trials])
    sums = latest_of(session, {expectation.calculation_id for expectation, _ in rows})
    found: dict[int, list[ExpectationLine]] = {key: [] for key in known}
    for expectation, procedure in rows:
        mod, kept = known[expectation.mod_id], sums.get(expectation.calculation_id or 0)
        found[mod.key].append(verdict_on(mod, expectation, procedure, trials, noted, kept))
    return found


def verdict_on(
    mod: Mod,
    expectation: Expectation,
    procedure: Procedure | None,
    trials: Sequence[Trial],
    mods: dict[int, list[Mod]],
    kept: KeptSum | None,
) -> ExpectationLine:
    """One expectation with its verdict, from trials that were read before and the mods noted with each.

    `kept` is the calculation that it is tied to, with the latest run.
    """
    told = foretold(mod, expectation, kept) if kept else None
    line = _line(expectation, procedure, _run(mod, procedure, trials, mods), told)
    reckoned = told.line.unit if told and told.line else ""
    return replace(
        line, calculation=kept[0] if kept else None, unit=procedure.unit if procedure else expectation.unit or reckoned
    )


def _trials(session: Session, mods: Sequence[Mod], procedures: set[int]) -> Sequence[Trial]:
    machines = {mod.machine_id for mod in mods}
    query = select(Trial).where(col(Trial.machine_id).in_(machines), col(Trial.procedure_id).in_(procedures))
    return session.exec(query.order_by(col(Trial.day), col(Trial.number))).all()


def _run(mod: Mod, procedure: Procedure | None, trials: Sequence[Trial], mods: dict[int, list[Mod]]) -> _Run:
    before: Trial | None = None
    after: list[Trial] = []
    for trial in trials:
        if procedure is None or (trial.machine_id, trial.procedure_id) != (mod.machine_id, procedure.id):
            continue
        if any(noted.id == mod.id for noted in mods[trial.key]):
            after.append(trial)
        elif not after:
            before = trial
    return _Run(before, after, mods)


def _line(expectation: Expectation, procedure: Procedure | None, run: _Run, told: Foretold | None) -> ExpectationLine:
    if procedure is None:
        return ExpectationLine(expectation, None, Verdict.NOT_TESTED, _reckoned(expectation, told), None, None)
    reckoned = f" {_beside(expectation, procedure, told)}" if told else ""
    if missing := _missing(expectation, procedure, run):
        latest = run.after[-1] if run.after else None
        sentence = f"{missing}{reckoned}"
        return ExpectationLine(expectation, procedure, Verdict.NOT_TESTED, sentence, run.before, latest)
    if expectation.sense == Sense.AGREES and not yes_or_no(procedure):
        return _agreement(expectation, procedure, run, told)
    said = [_says(expectation, procedure, run, trial) for trial in run.after]
    verdict, after, sentence = _together(said, run)
    return ExpectationLine(expectation, procedure, verdict, f"{sentence}{reckoned}", run.before, after)


def _reckoned(expectation: Expectation, told: Foretold | None) -> str:
    """What there is to say where no procedure is tied to it."""
    if told is None:
        return "No procedure is tied to it, so no trial can tell."
    if expectation.sense in BOUNDED and expectation.bound is not None:
        return f"Reckoned, not tested: {beside_bound(told, expectation.bound, expectation.unit or None)}"
    return f"No procedure is tied to it, so no trial can tell. Reckoned: {in_words(told)}"


def _beside(expectation: Expectation, procedure: Procedure, told: Foretold) -> str:
    """What the sum foretold, beside what is read."""
    if told.line is None:
        return told.missing
    if expectation.sense in BOUNDED and expectation.bound is not None:
        return f"The sum foretold: {beside_bound(told, expectation.bound, procedure.unit)}"
    return f"The sum foretold: {in_words(told)}"


def _agreement(expectation: Expectation, procedure: Procedure, run: _Run, told: Foretold | None) -> ExpectationLine:
    """Readings held against a line of a sum; nothing is tested where there is no line to hold them against."""
    line = told.line if told else None
    if told is None or line is None or (why := unlike(line.unit, procedure)):
        missing = "No line of a calculation is tied to it." if told is None else told.missing or why
        return ExpectationLine(expectation, procedure, Verdict.NOT_TESTED, missing, run.before, run.after[-1])
    said = [_agrees(procedure, line, told.called, trial) for trial in run.after]
    verdict, after, sentence = _together(said, run)
    return ExpectationLine(expectation, procedure, verdict, sentence, run.before, after)


def _missing(expectation: Expectation, procedure: Procedure, run: _Run) -> str:
    """What has to be run first; empty when there is enough to judge by."""
    if not run.after:
        return f"No trial of “{procedure.title}” has been run with the mod in force."
    if expectation.sense == Sense.BETTER and run.before is None:
        return f"No trial of “{procedure.title}” from before the mod is on record to compare with."
    return ""


def _together(said: Sequence[_Said], run: _Run) -> tuple[Verdict, Trial, str]:
    """One verdict out of what each trial says; the latest trial that says so stands for it."""
    votes = Counter(one.verdict for one in said)
    if votes[Verdict.MET] and votes[Verdict.NOT_MET]:
        met, unmet = (_listed(said, verdict) for verdict in (Verdict.MET, Verdict.NOT_MET))
        told = f"Trials with the mod disagree: met by {met}, not met by {unmet}. {_what_differs(said, run)}"
        return Verdict.CONTRADICTORY, said[-1].trial, told
    verdict = next((word for word in (Verdict.MET, Verdict.NOT_MET) if votes[word]), Verdict.UNDECIDED)
    latest = [one for one in said if one.verdict == verdict][-1]
    others = len(said) - votes[verdict]
    left_open = f" {others} more left it open." if others else ""
    return verdict, latest.trial, f"Trial {latest.trial.number}{latest.sentence}{left_open}"


def _what_differs(said: Sequence[_Said], run: _Run) -> str:
    """What those that met it and those that did not have noted differently, and what to do about it."""
    met, unmet = ([one.trial for one in said if one.verdict is word] for word in (Verdict.MET, Verdict.NOT_MET))
    noted: dict[str, Callable[[Trial], str]] = {
        "the days": lambda trial: str(trial.day),
        "the mods in force": lambda trial: numbered(run.mods[trial.key]),
        "the instrument": lambda trial: trial.instrument or "none noted",
        "the conditions": lambda trial: " ".join(trial.conditions.split()) or "none noted",
    }
    differ = []
    for name, tell in noted.items():
        ours, theirs = (list(dict.fromkeys(tell(trial) for trial in side)) for side in (met, unmet))
        if set(ours) != set(theirs):
            differ.append(f"{name} ({_several(ours)} against {_several(theirs)})")
    if not differ:
        return "Nothing noted tells them apart: look at the readings again, or run it once more."
    return f"They differ in {'; '.join(differ)}: look at those again, or run it once more."


def _several(words: Sequence[str]) -> str:
    """A few of them, each cut short."""
    shown = [word if len(word) <= NOTED_SHOWN else word[:NOTED_SHOWN].rstrip() + "…" for word in words[:SEVERAL]]
    return " and ".join([*shown, "others"] if len(words) > SEVERAL else shown)


def _listed(said: Sequence[_Said], verdict: Verdict) -> str:
    numbers = [one.trial.number for one in said if one.verdict == verdict]
    return f"trial{'' if len(numbers) == 1 else 's'} {', '.join(map(str, numbers))}"


def _says(expectation: Expectation, procedure: Procedure, run: _Run, trial: Trial) -> _Said:
    sense = Sense(expectation.sense)
    if sense is Sense.BETTER and run.before:
        return _better(procedure, run, run.before, trial)
    if (sense in SIGHTED) != yes_or_no(procedure):
        kind = "yes or no" if yes_or_no(procedure) else "figures"
        return _Said(trial, Verdict.UNDECIDED, f": “{sense}” cannot be told from readings that are {kind}.")
    if yes_or_no(procedure):
        return _seen(sense, procedure, run, trial)
    return _bound(sense, expectation.bound or 0.0, procedure, trial)


def _better(procedure: Procedure, run: _Run, before: Trial, after: Trial) -> _Said:
    comparison = compare_trials(procedure, before, after)
    unit = f", in {procedure.unit}" if procedure.unit and not yes_or_no(procedure) else ""
    sentence = f", held against trial {before.number}{unit}. {comparison.sentence}{_others(run, before, after)}"
    return _Said(after, _meets_better(procedure, comparison), sentence)


def _meets_better(procedure: Procedure, comparison: Comparison | YesNoComparison) -> Verdict:
    match judged(procedure, comparison):
        case "better":
            return Verdict.MET
        case "worse":
            return Verdict.NOT_MET
        case "no difference shown" if not leans_better(procedure, comparison):
            return Verdict.NOT_MET
        case _:
            return Verdict.UNDECIDED


def _others(run: _Run, before: Trial, after: Trial) -> str:
    """Mods beside this one that came or went between two trials: the difference may be theirs."""
    first, second = ({mod.key: mod for mod in run.mods[trial.key]} for trial in (before, after))
    changed = [mod for key, mod in (first | second).items() if (key in first) != (key in second)]
    if len(changed) < 2:
        return ""
    return f" Mods {numbered(changed)} changed between the two, so the difference cannot be put down to this one alone."


AGREEMENT = {"within": Verdict.MET, "outside": Verdict.NOT_MET, "partly": Verdict.UNDECIDED}


def _agrees(procedure: Procedure, line: LineResult, called: str, trial: Trial) -> _Said:
    summary = summarise(trial.readings, procedure.resolution)
    if summary.count == 1:
        return _lone(trial, summary, procedure.unit)
    lies, sentence = agreement(summary, line, called, procedure.unit)
    return _Said(trial, AGREEMENT[lies], f"{_interval(summary, procedure.unit)}: {sentence}.")


def _bound(sense: Sense, bound: float, procedure: Procedure, trial: Trial) -> _Said:
    summary = summarise(trial.readings, procedure.resolution)
    at = with_unit(in_print(bound), procedure.unit)
    side = "below" if sense is Sense.BELOW else "above"
    if summary.count == 1:
        return _lone(trial, summary, procedure.unit)
    told = _interval(summary, procedure.unit)
    if summary.interval_high < bound or summary.interval_low > bound:
        where = "below" if summary.interval_high < bound else "above"
        verdict = Verdict.MET if where == side else Verdict.NOT_MET
        return _Said(trial, verdict, f"{told}: all of it {where} {at}.")
    return _Said(trial, Verdict.UNDECIDED, f"{told}: that does not lie wholly {side} {at}, nor wholly beyond it.")


def _lone(trial: Trial, summary: Summary, unit: str) -> _Said:
    told = f": one reading, {figures_in(summary, unit)}, does not show how far readings scatter."
    return _Said(trial, Verdict.UNDECIDED, told)


def _interval(summary: Summary, unit: str) -> str:
    low, high = (in_print(end, summary.standard_uncertainty) for end in (summary.interval_low, summary.interval_high))
    return f": the mean is {figures_in(summary, unit)}, at 95 % from {low} to {with_unit(high, unit)}"


def _seen(sense: Sense, procedure: Procedure, run: _Run, after: Trial) -> _Said:
    """What was seen, or seen every time, speaks for itself; that it is gone, or commoner, needs a trial from before."""
    yes, total = counts(after)
    told = f": seen {yes:,} of {total:,} times"
    if sense is Sense.NOT_SEEN and yes:
        return _Said(after, Verdict.NOT_MET, f"{told}.")
    if sense is Sense.SEEN and yes in (0, total):
        return _Said(after, Verdict.MET if yes else Verdict.NOT_MET, f"{told}.")
    if run.before is None:
        return _Said(after, Verdict.UNDECIDED, f"{told}; how often it was seen before the mod is not on record.")
    earlier, tries = counts(run.before)
    told = f"{told}, and {earlier:,} of {tries:,} times in trial {run.before.number} before"
    verdict = _told_by_counts(sense, compare_trials(procedure, run.before, after).verdict)
    chance = "; so few occasions can differ so much by chance" if verdict is Verdict.UNDECIDED else ""
    return _Said(after, verdict, f"{told}{chance}.{_others(run, run.before, after)}")


def _told_by_counts(sense: Sense, verdict: str) -> Verdict:
    if verdict == "no difference shown":
        return Verdict.UNDECIDED
    hoped = "less often" if sense is Sense.NOT_SEEN else "more often"
    return Verdict.MET if verdict == hoped else Verdict.NOT_MET
