"""Fittings side by side: which facts differ, and which tell apart the fittings that worked."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.records.commands.calculations import ReviseCalculation
from server.records.questions.addresses import find_design
from server.records.questions.designs import Outcome, fittings_of
from server.records.questions.side_by_side import Fact, Group, Mark, Row, mark_of, side_by_side, telling
from server.records.tables import Calculation
from tests.records.conftest import Bench
from tests.records.design_scene import LAMP, SLUG, carry_out, enter_second, fit, run_on_first, write_design, write_mod

WORKED, FAILED, OPEN = Outcome.WORKED, Outcome.DID_NOT_WORK, Outcome.NOT_TOLD
OUTCOMES = st.sampled_from([WORKED, FAILED, OPEN])


def facts(*known: str | None) -> list[Fact]:
    return [Fact(words or "not noted", words) for words in known]


def spans(*ends: tuple[float, float]) -> list[Fact]:
    return [Fact("holds", "holds", span) for span in ends]


@pytest.mark.parametrize(
    ("known", "outcomes", "mark"),
    [
        (("B", "B"), (WORKED, FAILED), Mark.ALIKE),
        (("B", "C"), (WORKED, FAILED), Mark.TELLS_APART),
        (("B", "C", "D"), (WORKED, FAILED, WORKED), Mark.TELLS_APART),
        (("B", "C", "C"), (WORKED, FAILED, WORKED), Mark.DIFFERS),
        (("B", "C"), (WORKED, WORKED), Mark.DIFFERS),
        (("B", "C"), (WORKED, OPEN), Mark.DIFFERS),
        (("B", "C", None), (WORKED, FAILED, FAILED), Mark.DIFFERS),
        (("B", None), (WORKED, FAILED), Mark.ALIKE),
        (("B", "C", None), (WORKED, FAILED, OPEN), Mark.TELLS_APART),
    ],
)
def test_a_fact_tells_apart_what_no_two_share(
    known: tuple[str | None, ...], outcomes: tuple[Outcome, ...], mark: Mark
) -> None:
    """None that worked has it in common with one that did not; what nobody noted tells nothing."""
    assert mark_of(facts(*known), outcomes) is mark


@pytest.mark.parametrize(
    ("ends", "mark"),
    [
        (((7.6, 8.2), (7.0, 7.4)), Mark.TELLS_APART),
        (((7.0, 7.4), (7.6, 8.2)), Mark.TELLS_APART),
        (((7.6, 8.2), (7.0, 7.7)), Mark.ALIKE),
        (((7.6, 8.2), (7.6, 8.2)), Mark.ALIKE),
    ],
)
def test_figures_tell_apart_where_their_intervals_lie_apart(ends: tuple[tuple[float, float], ...], mark: Mark) -> None:
    """Though every limit holds, one kind may lie wholly above the other."""
    assert mark_of(spans(*ends), (WORKED, FAILED)) is mark


@given(st.lists(st.tuples(st.sampled_from(["a", "b", "c", None]), OUTCOMES), max_size=8))
def test_a_fact_that_tells_apart_is_shared_across_by_none(rows: list[tuple[str | None, Outcome]]) -> None:
    """Whatever the fittings: where it is said, it is true; and fittings alike are never marked."""
    mark = mark_of(facts(*(known for known, _ in rows)), [outcome for _, outcome in rows])

    worked, failed = ({known for known, outcome in rows if outcome is wanted} for wanted in (WORKED, FAILED))
    assert (mark is Mark.TELLS_APART) == bool(worked and failed and None not in worked | failed and not worked & failed)
    if len({known for known, _ in rows} - {None}) <= 1:
        assert mark is Mark.ALIKE


@pytest.fixture
def three(bench: Bench) -> Bench:
    """Three fittings: one did not work; one did, on another revision and with another value; one is only planned."""
    write_mod(bench)
    write_design(bench)
    run_on_first(bench, "10 11 10 11")
    for tag in ("TM-04", "TM-05"):
        enter_second(bench, tag)
        fit(bench, tag)
    carry_out(bench, value="390 Ω ±5 %")
    return bench


def groups_of(bench: Bench) -> list[Group]:
    with bench.store.reading() as session:
        design = find_design(session, SLUG)
        return side_by_side(design, fittings_of(session, design))


def row(bench: Bench, label: str) -> Row:
    return next(row for group in groups_of(bench) for row in group.rows if row.label == label)


def words(bench: Bench, label: str) -> list[str]:
    return [fact.words for fact in row(bench, label).facts]


def test_each_role_stands_with_where_it_is_and_what_was_fitted(three: Bench) -> None:
    """The part of the first, of the second, and what is planned for the third."""
    assert words(three, "Series resistor, where") == ["R2 on Main board", "R31 on Logic", "R31 on Logic"]
    assert words(three, "Series resistor") == ["330 Ω ±1 % resistor", "390 Ω ±5 % resistor", "planned: 300 Ω ±5 %"]
    assert row(three, "Series resistor").mark is Mark.TELLS_APART
    assert row(three, "Pull-up").mark is Mark.ALIKE


def test_a_value_written_in_two_ways_is_no_difference(three: Bench) -> None:
    """`1 kΩ ±5 %` here and `1k 5%` there."""
    enter_second(three, "TM-06")
    fit(three, "TM-06")
    carry_out(three, "TM-06", value="0.39k 5%", readings="10 11 10 11")

    assert words(three, "Series resistor")[1::2] == ["390 Ω ±5 % resistor", "0.39k 5% resistor"]
    assert row(three, "Series resistor").mark is Mark.DIFFERS


def test_boards_limits_and_verdicts_stand_beside_the_parts(three: Bench) -> None:
    """What was reckoned as fitted, and what the trials say of it; a revision not noted tells nothing."""
    limit = "Lamp current: lamp current at most 20 mA"

    assert words(three, "Main board: revision") == ["not noted", "B", "B"]
    assert row(three, "Main board: revision").mark is Mark.ALIKE
    assert words(three, limit)[0].startswith("holds: 15.")
    assert words(three, limit)[1].startswith("holds: 12.")
    assert words(three, limit)[2] == "no result"
    assert words(three, "It is brighter") == ["not met", "met", "not yet tested"]
    assert words(three, "It is brighter: readings before and after")[1] == "10.50 ± 0.41 lx → 20.50 ± 0.41 lx"


def test_a_line_shown_in_another_unit_or_called_otherwise_is_no_difference(three: Bench) -> None:
    """Figures are held against each other in one unit, and a sum is itself whatever its title."""
    enter_second(three, "TM-06")
    fit(three, "TM-06")
    carry_out(three, "TM-06", value="330 Ω ±1 %")
    inputs = [
        {"name": "R", "unit": "Ω", "source": "part", "board": "logic", "designator": "R31"},
        {"name": "V", "unit": "V", "text": "5 V ± 0.25 V"},
    ]
    line = LAMP["lines"][0] | {"unit": "A"}
    revised = LAMP | {"title": "Mine", "inputs": inputs, "lines": [line]}
    last = three.rows(Calculation)[-1]
    three.do(ReviseCalculation, machine="TM-06", mod=1, calculation=1, opened_version=last.version, **revised)

    limits = [row for group in groups_of(three) if group.title == "Limits as fitted" for row in group.rows]

    first, here = limits[0].facts[0], limits[0].facts[-1]
    assert [row.label for row in limits] == ["Lamp current: lamp current at most 20 mA"]
    assert "mA" in first.words
    assert here.words.endswith(" A")
    assert first.span == pytest.approx(here.span, rel=0.01)


def test_what_tells_them_apart_is_named(three: Bench) -> None:
    """The current is apart as well as the resistor that sets it."""
    assert telling(groups_of(three)) == ["Made", "Series resistor", "Lamp current: lamp current at most 20 mA"][1:]
