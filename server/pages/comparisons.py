"""Two trials of one machine side by side: what can be said of the difference, and what else changed between them."""

from dataclasses import dataclass
from typing import NamedTuple

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.documents.drawing import Picture
from server.documents.trial_pictures import trials_picture, undrawn
from server.engineering.comparison_words import chance, percent
from server.engineering.trials import Comparison, Summary, YesNoComparison
from server.engineering.yes_no import Share
from server.pages.forms import Form
from server.pages.house import AtHome, PageNumber
from server.pages.machines import address, sections
from server.pages.procedures import meaning
from server.records.errors import Invalid, NotFound
from server.records.placing import describe
from server.records.questions.addresses import find_machine, find_trial
from server.records.questions.comparisons import compare_trials
from server.records.questions.hazards import cautions_for
from server.records.questions.paging import Paged
from server.records.questions.states import SeatChange, differences, mods_in_force
from server.records.questions.trials import (
    TrialLine,
    TrialName,
    better_words,
    figures_in,
    in_print,
    line_of,
    trial_names,
    with_unit,
)
from server.records.tables import Machine, Mod

router = APIRouter()


class Row(NamedTuple):
    """One line of the table: the same thing before and after."""

    label: str
    before: str
    after: str


class Replaced(NamedTuple):
    """One position that holds another part, and both parts in words; empty where there is none."""

    change: SeatChange
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class Held:
    """Two trials held against each other; `better` says which way is better.

    `came` and `went` are the mods in force at one trial only, `parts` the positions that hold another part; `reasons`
    tell why other mods are noted with a trial than the days give.
    """

    before: TrialLine
    after: TrialLine
    better: str
    sentence: str
    notes: list[str]
    picture: Picture
    undrawn: str
    rows: list[Row]
    facts: list[tuple[str, str]]
    came: list[Mod]
    went: list[Mod]
    parts: Paged[Replaced]
    warnings: list[str]
    reasons: list[str]


@dataclass(frozen=True, slots=True)
class ComparePage:
    """The choice of two trials and, once both are known and of one procedure, what they say.

    `alike` are the trials that the first one can be held against: all of them until it is chosen.
    """

    machine: Machine
    tabs: list[tuple[str, str]]
    cautions: list[str]
    form: Form
    trials: list[tuple[str, str]]
    alike: list[tuple[str, str]]
    held: Held | None
    address: str


@router.get("/machines/{tag}/compare")
def compare_page(
    house: AtHome, tag: str, number: PageNumber, before: str = "", after: str = "", choosing: str = ""
) -> Response:
    form = Form.blank(before=before.strip(), after=after.strip())
    with house.reading() as session:
        machine = find_machine(session, tag)
        try:
            held = None if choosing else _held(session, machine, form, number)
        except Invalid as problem:
            held = None
            form.refuse(problem)
        names = trial_names(session, machine)
        context = ComparePage(
            machine=machine,
            tabs=sections(machine),
            cautions=cautions_for(session, machine),
            form=form,
            trials=_offered(names),
            alike=_offered(_alike(names, form.text("before"))),
            held=held,
            address=f"{address(machine)}/compare",
        )
    return house.page("trials/compare.html", context, 422 if form.errors else 200)


def _held(session: Session, machine: Machine, form: Form, number: int) -> Held | None:
    """The comparison that is asked for; none while a trial is still to be chosen."""
    if not (form.text("before") or form.text("after")):
        return None
    before, after = (_chosen(session, machine, form, side) for side in ("before", "after"))
    _check_alike(before, after)
    parts = differences(session, machine, before.trial.day, after.trial.day, number)
    came, went = _only_in(after, before), _only_in(before, after)
    comparison = compare_trials(before.procedure, before.trial, after.trial)
    return Held(
        before=before,
        after=after,
        better=better_words(before.procedure),
        sentence=comparison.sentence,
        notes=list(comparison.notes) if isinstance(comparison, Comparison) else [],
        picture=_picture(before, after, comparison),
        undrawn=undrawn(before.trial, after.trial),
        rows=_rows(comparison, before.procedure.unit),
        facts=[*meaning(before.procedure), *_facts(comparison)],
        came=came,
        went=went,
        parts=_in_words(parts),
        warnings=_warnings(before, after, [*came, *went], parts, _left_out(session, machine, before, after)),
        reasons=[
            f"With trial {line.trial.number} other mods are noted than the days of their moves give, because: "
            f"{line.trial.mods_reason.rstrip('.')}."
            for line in (before, after)
            if line.trial.mods_reason
        ],
    )


def _offered(names: list[TrialName]) -> list[tuple[str, str]]:
    return [(str(name.number), f"{name.title}, {name.day}, trial {name.number}") for name in names]


def _alike(names: list[TrialName], before: str) -> list[TrialName]:
    """Those of the same procedure as the first; all of them while it is none that is offered."""
    first = next((name for name in names if str(name.number) == before), None)
    return [name for name in names if name.procedure == first.procedure and name != first] if first else names


def _chosen(session: Session, machine: Machine, form: Form, side: str) -> TrialLine:
    asked = form.text(side)
    if not (asked.isascii() and asked.isdigit() and len(asked) < 10):
        raise Invalid({side: "Choose a trial."})
    try:
        return line_of(session, machine, find_trial(session, machine, int(asked)))
    except NotFound as missing:
        raise Invalid({side: str(missing)}) from None


def _check_alike(before: TrialLine, after: TrialLine) -> None:
    if before.trial.id == after.trial.id:
        raise Invalid({"after": "Both are the same trial. Choose two different ones."})
    if before.procedure.id != after.procedure.id:
        one, other = (f"trial {line.trial.number} of “{line.procedure.title}”" for line in (before, after))
        raise Invalid({"after": f"Only trials of the same procedure can be compared, and these are {one} and {other}."})


def _only_in(one: TrialLine, other: TrialLine) -> list[Mod]:
    known = {mod.id for mod in other.mods}
    return [mod for mod in one.mods if mod.id not in known]


def _left_out(session: Session, machine: Machine, *lines: TrialLine) -> list[Mod]:
    """Mods that a reason says of a trial against what the days of their moves give."""
    told = []
    for line in lines:
        if line.trial.mods_reason:
            noted, by_day = {mod.id for mod in line.mods}, mods_in_force(session, machine, line.trial.day)
            told += [mod for mod in by_day if mod.id not in noted and mod.machine_id == machine.id]
    return told


def _warnings(
    before: TrialLine, after: TrialLine, mods: list[Mod], parts: Paged[SeatChange], left_out: list[Mod]
) -> list[str]:
    """What keeps the difference from being put down to one thing."""
    said = []
    if (after.trial.day, after.trial.number) < (before.trial.day, before.trial.number):
        said.append("The trial chosen as before was run later than the one chosen as after.")
    if len(mods) > 1:
        said.append(
            f"More than one mod changed between these trials ({', '.join(str(mod.number) for mod in mods)}), so the "
            "difference cannot be put down to one of them. A trial between the two would tell them apart."
        )
    known = {mod.id for mod in [*mods, *left_out]}
    if acted := {row.mod.number for row in parts.rows if row.mod and row.mod.id in {mod.id for mod in left_out}}:
        said.append(
            f"Parts changed by mod {', '.join(map(str, sorted(acted)))}, which is not noted with each of these trials "
            "though its days say so; the reason stands below."
        )
    if any(change.mod is None or change.mod.id not in known for change in parts.rows):
        said.append("Parts changed that no mod listed here accounts for; they may have their share in the difference.")
    if before.trial.instrument != after.trial.instrument:
        names = " and ".join(trial.instrument or "none noted" for trial in (before.trial, after.trial))
        said.append(f"The instruments differ: {names}.")
    return said


def _in_words(parts: Paged[SeatChange]) -> Paged[Replaced]:
    rows = [Replaced(row, *(describe(part) if part else "" for part in (row.before, row.after))) for row in parts.rows]
    return Paged(rows, parts.number, parts.last, parts.total)


def _picture(before: TrialLine, after: TrialLine, comparison: Comparison | YesNoComparison) -> Picture:
    rows = [
        (f"before, trial {before.trial.number}", before.trial, comparison.before),
        (f"after, trial {after.trial.number}", after.trial, comparison.after),
    ]
    return trials_picture("readings", before.procedure, rows)


def _rows(comparison: Comparison | YesNoComparison, unit: str) -> list[Row]:
    if isinstance(comparison, YesNoComparison):
        first, second = _counted(comparison.before), _counted(comparison.after)
    else:
        first, second = _summed(comparison.before, unit), _summed(comparison.after, unit)
    rows = [Row(label, first[label], second[label]) for label in first]
    if isinstance(comparison, Comparison) and comparison.distance_before is not None:
        off = [
            with_unit(f"{distance:.3g}", unit) for distance in (comparison.distance_before, comparison.distance_after)
        ]
        rows.insert(2, Row("Mean distance from the target", *off))
    return rows


def _summed(summary: Summary, unit: str) -> dict[str, str]:
    u, spread = summary.standard_uncertainty, summary.spread
    low, high = (in_print(end, u) for end in (summary.interval_low, summary.interval_high))
    alone = summary.count == 1
    return {
        "Readings": f"{summary.count:,}",
        "Mean ± standard uncertainty": str(figures_in(summary, unit)),
        "Mean at 95 %": "not known from one reading" if alone else f"{low} to {with_unit(high, unit)}",
        "Spread (standard deviation)": "–" if spread is None else with_unit(in_print(spread, spread), unit),
        "Least and most": f"{in_print(summary.minimum)} to {with_unit(in_print(summary.maximum), unit)}",
    }


def _counted(share: Share) -> dict[str, str]:
    return {
        "Yes": f"{share.yes:,} of {share.total:,} times",
        "Share": f"{100 * share.share:.0f} %",
        "Share at 95 %": f"{100 * share.low:.0f} to {100 * share.high:.0f} %",
    }


def _facts(comparison: Comparison | YesNoComparison) -> list[tuple[str, str]]:
    if isinstance(comparison, YesNoComparison):
        return [("Fisher's exact test", f"p {chance(comparison.p)}")]
    return [*_ratio(comparison), *_percents(comparison), ("Welch's t test", _welch(comparison))]


def _ratio(comparison: Comparison) -> list[tuple[str, str]]:
    if comparison.ratio is None:
        return []
    return [("Ratio (above 1 is better)", f"{_fine(comparison, comparison.ratio)} ({_bounds(comparison)})")]


def _fine(comparison: Comparison, ratio: float) -> str:
    """A ratio as fine as two digits of half its interval."""
    if comparison.ratio_low is None or comparison.ratio_high is None:
        return f"{ratio:.3g}"
    return in_print(ratio, (comparison.ratio_high - comparison.ratio_low) / 2)


def _bounds(comparison: Comparison) -> str:
    low, high, gap = comparison.ratio_low, comparison.ratio_high, comparison.ratio_gap
    sure = "as far as the resolution allows" if comparison.verdict == "cannot say" else "at 95 %"
    if gap is not None:
        return f"anything but {gap[0]:.3g} to {gap[1]:.3g} {sure}"
    if low is not None and high is not None:
        return f"{_fine(comparison, low)} to {_fine(comparison, high)} {sure}"
    if low is not None or high is not None:
        return f"at least {low:.3g} {sure}" if low is not None else f"at most {high:.3g} {sure}"
    return "between no bounds that the readings give"


def _percents(comparison: Comparison) -> list[tuple[str, str]]:
    faster, less = comparison.percent_faster, comparison.percent_less_time
    if faster is None or less is None:
        return []
    return [
        ("Speed", f"{percent(abs(faster))} {'faster' if faster >= 0 else 'slower'}"),
        ("Time taken", f"{percent(abs(less))} {'less' if less >= 0 else 'more'} time"),
    ]


def _welch(comparison: Comparison) -> str:
    t, freedom, p = comparison.welch_t, comparison.degrees_of_freedom, comparison.p
    if t is None or freedom is None or p is None:
        return "none: it takes two readings a side, and some scatter"
    return f"t = {t:.3g} with {freedom:.3g} degrees of freedom, p {chance(p)}".replace("-", "−")
