"""The fittings of one design side by side, a row a fact, and which facts tell apart those that worked.

A fact tells them apart where no fitting that worked shares it with one that did not, and none of these is without it; a
figure, where the 95 % intervals of the one kind lie wholly above those of the other. That is no proof of a cause. It
knows fittings that were read already and asks the database nothing.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import product

from server.engineering import calculations as engine
from server.engineering.errors import EngineeringError
from server.engineering.quantities import Toleranced, convert, show
from server.records.placing import describe
from server.records.questions.designs import Fitting, Outcome, Seat
from server.records.questions.expectations import ExpectationLine
from server.records.questions.trials import figures_of, in_print, with_unit
from server.records.tables import Design, Part
from server.records.values import read_value

UNKNOWN = "not noted"
LimitKey = tuple[int, int, int]


class Mark(StrEnum):
    """What a row shows of the fittings."""

    ALIKE = ""
    DIFFERS = "differs"
    TELLS_APART = "tells them apart"


@dataclass(frozen=True, slots=True)
class Fact:
    """One cell: what is known of one fitting, in words. `known` is none where nothing is; `span` is of a figure."""

    words: str
    known: str | None
    span: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Row:
    """One fact over all fittings."""

    label: str
    facts: Sequence[Fact]
    mark: Mark


@dataclass(frozen=True, slots=True)
class Group:
    """Rows about one thing."""

    title: str
    rows: list[Row]


def side_by_side(design: Design, fittings: Sequence[Fitting]) -> list[Group]:
    """Machines, boards, parts, limits and what was expected, over the fittings; rows that say nothing are left out."""
    groups = [
        ("The machine", _machine_rows(fittings)),
        ("Boards", _board_rows(design, fittings)),
        ("Parts as fitted", _part_rows(design, fittings)),
        ("Limits as fitted", _limit_rows(fittings)),
        ("Expectations", _expectation_rows(fittings)),
    ]
    return [Group(title, found) for title, rows in groups if (found := list(rows))]


def telling(groups: Sequence[Group]) -> list[str]:
    """The labels of the rows that tell apart the fittings that worked."""
    return [row.label for group in groups for row in group.rows if row.mark is Mark.TELLS_APART]


def mark_of(facts: Sequence[Fact], outcomes: Sequence[Outcome]) -> Mark:
    """What one row shows, seeing how each fitting turned out."""
    worked, failed = (
        [fact for fact, outcome in zip(facts, outcomes, strict=True) if outcome is wanted]
        for wanted in (Outcome.WORKED, Outcome.DID_NOT_WORK)
    )
    if worked and failed and (_share_nothing(worked, failed) or _lie_apart(worked, failed)):
        return Mark.TELLS_APART
    return Mark.DIFFERS if len({fact.known for fact in facts if fact.known is not None}) > 1 else Mark.ALIKE


def _share_nothing(worked: Sequence[Fact], failed: Sequence[Fact]) -> bool:
    known = [{fact.known for fact in facts} for facts in (worked, failed)]
    return None not in known[0] | known[1] and not known[0] & known[1]


def _lie_apart(worked: Sequence[Fact], failed: Sequence[Fact]) -> bool:
    spans = [[fact.span for fact in facts if fact.span] for facts in (worked, failed)]
    if len(spans[0]) < len(worked) or len(spans[1]) < len(failed):
        return False
    pairs = list(product(*spans))
    return all(one[1] < other[0] for one, other in pairs) or all(one[0] > other[1] for one, other in pairs)


def _row(label: str, facts: Sequence[Fact], fittings: Sequence[Fitting]) -> Iterator[Row]:
    """The row, where any fitting has something to say in it."""
    if any(fact.known is not None for fact in facts):
        yield Row(label, facts, mark_of(facts, [fitting.outcome for fitting in fittings]))


def _noted(words: str) -> Fact:
    return Fact(words or UNKNOWN, words or None)


def _machine_rows(fittings: Sequence[Fitting]) -> Iterator[Row]:
    machines = [fitting.machine for fitting in fittings]
    named = [" ".join(filter(None, [one.maker, one.model, one.variant])) for one in machines]
    yield from _row("Model", [_noted(words) for words in named], fittings)
    yield from _row("Made", [_noted(one.made) for one in machines], fittings)


def _board_rows(design: Design, fittings: Sequence[Fitting]) -> Iterator[Row]:
    for kind in dict.fromkeys(role["board_kind"] for role in design.roles):
        names = [role["name"] for role in design.roles if role["board_kind"] == kind]
        for label, column in (("revision", "revision"), ("part number", "part_number"), ("made", "made")):
            facts = [_of_boards(fitting, names, column) for fitting in fittings]
            yield from _row(f"{kind[0].upper()}{kind[1:]}: {label}", facts, fittings)


def _of_boards(fitting: Fitting, roles: Sequence[str], column: str) -> Fact:
    """What the boards that hold these roles say in one column; usually it is one board."""
    boards = {fitting.seats[role].board.key: fitting.seats[role].board for role in roles if role in fitting.seats}
    return _noted(", ".join(filter(None, (str(getattr(board, column)) for board in boards.values()))))


def _part_rows(design: Design, fittings: Sequence[Fitting]) -> Iterator[Row]:
    aspects: list[tuple[str, Callable[[Seat], Fact]]] = [
        ("", _part),
        (", origin", lambda seat: _noted(seat.part.origin if seat.part and seat.part.origin != "unknown" else "")),
        (", maker and rating", lambda seat: _noted(_made_by(seat))),
        (", date code", lambda seat: _noted(seat.part.date_code if seat.part else "")),
    ]
    for role in (row["name"] for row in design.roles):
        yield from _positions(role, fittings)
        for aspect, tell in aspects:
            facts = [tell(found) if (found := fitting.seats.get(role)) else _noted("") for fitting in fittings]
            yield from _row(f"{role[0].upper()}{role[1:]}{aspect}", facts, fittings)


def _positions(role: str, fittings: Sequence[Fitting]) -> Iterator[Row]:
    """Where the role is. Names of positions are each machine's own, so they are told and never compared."""
    seats = [fitting.seats.get(role) for fitting in fittings]
    facts = [Fact(f"{seat.position.designator} on {seat.board.name}" if seat else UNKNOWN, "") for seat in seats]
    yield Row(f"{role[0].upper()}{role[1:]}, where", facts, Mark.ALIKE)


def _part(seat: Seat) -> Fact:
    if seat.part:
        return Fact(describe(seat.part), f"{seat.part.type.casefold()} {_value(seat.part)}".strip() or None)
    return Fact(f"planned: {seat.planned}", None) if seat.planned else Fact("empty", "empty")


def _value(part: Part) -> str:
    """A value however it was written: `6k8 5%` and `6.8 kΩ ±5 %` are one."""
    try:
        return show(read_value(part.value, part.kind))
    except EngineeringError:
        return part.value


def _made_by(seat: Seat) -> str:
    return ", ".join(filter(None, [seat.part.maker_mark, seat.part.rating])) if seat.part else ""


def _limit_rows(fittings: Sequence[Fitting]) -> Iterator[Row]:
    """A row a limit. Limits are one where they are the same one of the design's sum, whatever each keeper calls it."""
    judged = [dict(_judged(fitting)) for fitting in fittings]
    labels = {key: label for of_one in reversed(judged) for key, (label, _, _) in of_one.items()}
    for key in dict.fromkeys(key for of_one in judged for key in of_one):
        unit = next(of_one[key][2].unit for of_one in judged if key in of_one)
        facts = [
            _figure(of_one[key][1], of_one[key][2], unit) if key in of_one else Fact("no result", None)
            for of_one in judged
        ]
        yield from _row(labels[key], facts, fittings)


def _judged(fitting: Fitting) -> Iterator[tuple[LimitKey, tuple[str, engine.LimitResult, engine.LineResult]]]:
    for calculation, result in fitting.sums:
        # A sum that is not of the design is the fitting's own.
        key = (calculation.design_number or 0, 0 if calculation.design_number else calculation.key)
        for place, judged in enumerate(result.limits if result else ()):
            line = next((one for one in result.lines if one.name == judged.limit.line), None) if result else None
            if line:
                label = f"{calculation.title}: {line.label or line.name} {_held_to(judged.limit)}"
                yield (*key, place), (label, judged, line)


def _held_to(limit: engine.Limit) -> str:
    value = limit.value if isinstance(limit.value, str) else show(limit.value)
    return f"{limit.kind.replace('_', ' ')} {value}"


def _figure(judged: engine.LimitResult, line: engine.LineResult, unit: str) -> Fact:
    """What a line comes to, told in its own unit; to be compared in the one that the first fitting has."""
    low, high = in_print(line.interval_low, line.uncertainty), in_print(line.interval_high, line.uncertainty)
    nominal = in_print(line.nominal, line.uncertainty)
    range_told = "" if line.interval_low == line.interval_high else f" ({low} to {high})"
    return Fact(with_unit(f"{judged.verdict}: {nominal}{range_told}", line.unit), judged.verdict, _span(line, unit))


def _span(line: engine.LineResult, unit: str) -> tuple[float, float] | None:
    interval = Toleranced(line.interval_low, line.interval_low, line.interval_high, line.unit)
    try:
        same = convert(interval, unit)
    except EngineeringError:
        return None
    return same.low, same.high


def _expectation_rows(fittings: Sequence[Fitting]) -> Iterator[Row]:
    """What the trials say, told and never compared: it is what the other rows are held against."""
    told = [{line.expectation.sentence: line for line in fitting.expectations} for fitting in fittings]
    for sentence in dict.fromkeys(sentence for of_one in told for sentence in of_one):
        facts = [_verdict(of_one[sentence]) if sentence in of_one else Fact("not expected", None) for of_one in told]
        yield Row(sentence, facts, Mark.ALIKE)
        readings = [_readings(of_one.get(sentence)) for of_one in told]
        if any(fact.known for fact in readings):
            yield Row(f"{sentence}: readings before and after", readings, Mark.ALIKE)


def _verdict(line: ExpectationLine) -> Fact:
    return Fact(line.verdict.value, line.verdict.value)


def _readings(line: ExpectationLine | None) -> Fact:
    if line is None or line.procedure is None or line.after_trial is None:
        return Fact("none", None)
    procedure = line.procedure
    trials = [trial for trial in (line.before_trial, line.after_trial) if trial]
    figures = " → ".join(str(figures_of(trial, procedure)) for trial in trials)
    return Fact(figures if line.before_trial else f"after: {figures}", figures)
