"""The trials of a sheet: each procedure before and after each mod in force, and what can honestly be said of it.

Many mods can lie between two trials, so that each pair is compared, and drawn, once.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from server.documents.drawing import Picture
from server.documents.sheet_shape import SheetReading, SheetTrial
from server.documents.trial_pictures import trials_picture
from server.records.questions.comparisons import compare_trials
from server.records.questions.sheet import WholeMachine, grouped
from server.records.questions.trials import figures_of
from server.records.tables import Mod, Procedure, Trial

NAMED_MOST = 6  # mods that changed between two trials as well; more of them are only counted
NONE: frozenset[int] = frozenset()


def sheet_trials(
    whole: WholeMachine, mods: Sequence[Mod], told: Sequence[Mod], *, drawn: bool = True
) -> list[SheetTrial]:
    """One line for each pair of trials, with the mods that came between them.

    A procedure that no mod has trials on both sides of shows its latest trial. Of `mods`, all that are in force, those
    are `told` of. What is compared is `drawn` as well.
    """
    shown = {mod.key for mod in told}
    in_force = {trial: frozenset(mods) for trial, mods in whole.mods_at.items()}
    number_of = {mod.key: mod.number for mod in whole.mods}
    of_procedure = _by_procedure(whole.trials)
    lines = []
    for procedure in whole.procedures:
        trials = of_procedure.get(procedure.key, [])
        results = _Results(procedure, in_force, number_of, drawn)
        pairs = [(pair, mod) for mod in mods if (pair := results.pair(trials, mod.key))]
        between = grouped((_keys(pair), (pair, mod)) for pair, mod in pairs if mod.key in shown)
        lines += [results.told([mod for _, mod in some], *some[0][0]) for some in between.values()]
        if trials and not pairs:
            lines.append(SheetTrial(procedure.title, "", None, results.reading(trials[-1]), ""))
    return lines


def _named(numbers: Sequence[int]) -> str:
    """“Mod 3”, “Mods 1 and 3”, “Mods 1, 2 and 3”."""
    *first, last = map(str, numbers)
    return f"Mods {', '.join(first)} and {last}" if first else f"Mod {last}"


def _keys(pair: tuple[Trial, Trial]) -> tuple[int, int]:
    return pair[0].key, pair[1].key


def _by_procedure(trials: Sequence[Trial]) -> dict[int, list[Trial]]:
    return grouped((trial.procedure_id, trial) for trial in sorted(trials, key=lambda trial: (trial.day, trial.number)))


@dataclass(frozen=True, slots=True)
class _Results:
    """What the trials of one procedure say: `in_force` are the mods at each trial, by their keys."""

    procedure: Procedure
    in_force: Mapping[int, frozenset[int]]
    number_of: Mapping[int, int]
    drawn: bool
    readings: dict[int, SheetReading] = field(default_factory=dict)
    compared: dict[tuple[int, int], tuple[str, Picture | None]] = field(default_factory=dict)

    def mods(self, trial: Trial) -> frozenset[int]:
        return self.in_force.get(trial.key, NONE)

    def pair(self, trials: Sequence[Trial], mod: int) -> tuple[Trial, Trial] | None:
        """The last trial before the first one with the mod, and one with it: the latest that differs by it alone.

        Where none does, it is the first.
        """
        first = next((place for place, trial in enumerate(trials) if mod in self.mods(trial)), None)
        if not first:
            return None
        before = trials[first - 1]
        after = [trial for trial in trials[first:] if mod in self.mods(trial)]
        alone = self.mods(before) | {mod}
        return before, next((trial for trial in reversed(after) if self.mods(trial) == alone), after[0])

    def told(self, mods: Sequence[Mod], before: Trial, after: Trial) -> SheetTrial:
        words, picture = self.comparison(before, after)
        named = _named([mod.number for mod in mods])
        return SheetTrial(
            procedure=self.procedure.title,
            mod=named,
            before=self.reading(before),
            after=self.reading(after),
            words=words + self.others(mods, before, after),
            picture=self.picture_of(named, mods[0], picture) if picture else None,
        )

    def comparison(self, before: Trial, after: Trial) -> tuple[str, Picture | None]:
        pair = before.key, after.key
        if pair not in self.compared:
            compared = compare_trials(self.procedure, before, after)
            rows = [("before", before, compared.before), ("after", after, compared.after)]
            self.compared[pair] = (
                compared.sentence,
                trials_picture("result", self.procedure, rows) if self.drawn else None,
            )
        return self.compared[pair]

    def picture_of(self, named: str, mod: Mod, drawn: Picture) -> Picture:
        """Its title says what it shows to those who do not see it."""
        title = f"{self.procedure.title} before and after {named[0].lower()}{named[1:]}. {drawn.description}"
        return replace(drawn, key=f"result-{self.procedure.key}-{mod.number}", title=title)

    def others(self, mods: Sequence[Mod], before: Trial, after: Trial) -> str:
        """Which mods besides these changed between two trials, and that of several none can be told apart."""
        together = "" if len(mods) == 1 else " What each of these mods did by itself cannot be told from this pair."
        changed = (self.mods(after) ^ self.mods(before)) - {mod.key for mod in mods}
        if not changed:
            return together
        numbers = sorted(self.number_of[key] for key in changed)
        named = _named(numbers) if len(numbers) <= NAMED_MOST else f"{len(numbers):,} other mods"
        return f"{together} {named} changed between the two as well."

    def reading(self, trial: Trial) -> SheetReading:
        if trial.key not in self.readings:
            figures = figures_of(trial, self.procedure)
            count = "1 reading" if figures.count == 1 else f"{figures.count:,} readings"
            self.readings[trial.key] = SheetReading(trial.day.isoformat(), str(figures), count)
        return self.readings[trial.key]
