"""The trials of a sheet: each procedure before and after each mod in force, and what can honestly be said of it."""

from collections.abc import Sequence
from dataclasses import replace

from server.documents.drawing import Picture
from server.documents.sheet_shape import SheetReading, SheetTrial
from server.documents.trial_pictures import trials_picture
from server.engineering.trials import Comparison, YesNoComparison
from server.records.questions.comparisons import compare_trials
from server.records.questions.sheet import WholeMachine
from server.records.questions.trials import figures_of
from server.records.tables import Mod, Procedure, Trial


def sheet_trials(
    whole: WholeMachine, mods: Sequence[Mod], told: Sequence[Mod], *, drawn: bool = True
) -> list[SheetTrial]:
    """One line a procedure and mod; a procedure that no mod has trials on both sides of shows its latest trial.

    Of `mods`, all that are in force, those are `told` of. What is compared is `drawn` as well.
    """
    lines = []
    for procedure in whole.procedures:
        trials = sorted(
            (trial for trial in whole.trials if trial.procedure_id == procedure.id),
            key=lambda trial: (trial.day, trial.number),
        )
        pairs = [(mod, pair) for mod in mods if (pair := _pair(whole, trials, mod.key))]
        lines += [_compared(whole, procedure, mod, *pair, drawn=drawn) for mod, pair in pairs if mod in told]
        if trials and not pairs:
            lines.append(SheetTrial(procedure.title, "", None, _reading(trials[-1], procedure), ""))
    return lines


def _pair(whole: WholeMachine, trials: Sequence[Trial], mod: int) -> tuple[Trial, Trial] | None:
    """The last trial before the first one with the mod, and the latest with it; best one that differs by it alone."""
    first = next((place for place, trial in enumerate(trials) if mod in _mods(whole, trial)), None)
    if not first:
        return None
    before = trials[first - 1]
    after = [trial for trial in trials[first:] if mod in _mods(whole, trial)]
    alone = [trial for trial in after if _mods(whole, trial) ^ _mods(whole, before) == {mod}]
    return before, alone[-1] if alone else after[0]


def _mods(whole: WholeMachine, trial: Trial) -> set[int]:
    return set(whole.mods_at.get(trial.key, []))


def _compared(
    whole: WholeMachine, procedure: Procedure, mod: Mod, before: Trial, after: Trial, *, drawn: bool
) -> SheetTrial:
    comparison = compare_trials(procedure, before, after)
    changed = (_mods(whole, after) ^ _mods(whole, before)) - {mod.key}
    numbers = [str(other.number) for other in whole.mods if other.key in changed]
    others = f" Mod {' and '.join(numbers)} changed between the two as well." if numbers else ""
    return SheetTrial(
        procedure=procedure.title,
        mod=f"Mod {mod.number}",
        before=_reading(before, procedure),
        after=_reading(after, procedure),
        words=comparison.sentence + others,
        picture=_drawn(procedure, mod, before, after, comparison) if drawn else None,
    )


def _drawn(
    procedure: Procedure, mod: Mod, before: Trial, after: Trial, comparison: Comparison | YesNoComparison
) -> Picture:
    """Both trials in one drawing, whose title says what it shows to those who do not see it."""
    rows = [("before", before, comparison.before), ("after", after, comparison.after)]
    drawn = trials_picture(f"result-{procedure.key}-{mod.number}", procedure, rows)
    return replace(drawn, title=f"{procedure.title} before and after mod {mod.number}. {drawn.description}")


def _reading(trial: Trial, procedure: Procedure) -> SheetReading:
    figures = figures_of(trial, procedure)
    count = "1 reading" if figures.count == 1 else f"{figures.count:,} readings"
    return SheetReading(trial.day.isoformat(), str(figures), count)
