"""Ticking an assumption: one entry, the sum and its results untouched, and nobody's tick written over unseen."""

import pytest

from server.records.commands.calculations import AttachCalculation, RunCalculation, TickAssumption
from server.records.errors import NotFound, Stale
from server.records.tables import Calculation, CalculationRun
from tests.records.conftest import Bench

SENTENCES = ("The supply is steady.", "The lamp draws what its data sheet says.")


@pytest.fixture
def attached(bench: Bench) -> Bench:
    """A mod with one sum that assumes two things."""
    bench.plan()
    bench.do(
        AttachCalculation,
        mod=1,
        title="Lamp current",
        inputs=[{"name": "V", "text": "5 V ±5 %"}, {"name": "R", "text": "470 Ω ±5 %"}],
        lines=[{"name": "I", "expression": "V / R", "unit": "mA"}],
        limits=[{"line": "I", "kind": "at_most", "value": "15 mA"}],
        assumptions=[{"sentence": sentence} for sentence in SENTENCES],
    )
    return bench


def tick(bench: Bench, number: int = 2, version: int = 1, **more: object) -> None:
    bench.do(TickAssumption, mod=1, calculation=1, number=number, opened_version=version, **more)


def test_a_tick_is_kept_with_its_note_in_one_entry(attached: Bench) -> None:
    before = attached.entries()

    tick(attached, tested=True, note="  meter: 19.8 mA  ")

    (calculation,) = attached.rows(Calculation)
    assert calculation.assumptions == [
        {"sentence": SENTENCES[0], "tested": False, "note": ""},
        {"sentence": SENTENCES[1], "tested": True, "note": "meter: 19.8 mA"},
    ]
    assert attached.entries() == before + 1
    assert "calculation 1, assumption 2: tested (meter: 19.8 mA)." in attached.last_entry().words
    assert attached.faults() == []


def test_a_tick_changes_neither_a_result_nor_what_it_rests_on(attached: Bench) -> None:
    """The digest is of lines, limits and inputs: what is known of an assumption makes no result old."""
    (first,) = attached.rows(CalculationRun)

    tick(attached, tested=True, note="seen")
    attached.do(RunCalculation, mod=1, calculation=1)

    kept, again = attached.rows(CalculationRun)
    assert (first.digest, first.cases) == (kept.digest, kept.cases)
    assert kept.digest == again.digest


def test_a_tick_can_be_taken_back(attached: Bench) -> None:
    tick(attached, tested=True, note="seen")

    tick(attached, version=2, tested=False, note="the meter was wrong")

    (calculation,) = attached.rows(Calculation)
    assert calculation.assumptions[1] == {"sentence": SENTENCES[1], "tested": False, "note": "the meter was wrong"}
    assert "assumption 2: not tested (the meter was wrong)." in attached.last_entry().words


def test_a_tick_that_changes_nothing_leaves_no_entry(attached: Bench) -> None:
    before = attached.entries()

    tick(attached, tested=False)

    assert before == attached.entries()


def test_the_second_of_two_keepers_sees_both_ticks(attached: Bench) -> None:
    """Rule 7: what the first said of the assumption stands beside what the second says."""
    tick(attached, tested=True, note="on the scope")

    with pytest.raises(Stale) as stale:
        tick(attached, version=1, tested=False, note="never looked")

    assert stale.value.current_version == 2
    assert [(row.field, row.yours, row.theirs) for row in stale.value.rows] == [
        ("tested", "", "yes"),
        ("note", "never looked", "on the scope"),
    ]


@pytest.mark.parametrize("number", [0, 3, -1])
def test_an_assumption_that_is_not_there_is_not_ticked(attached: Bench, number: int) -> None:
    with pytest.raises(NotFound, match="assumption"):
        tick(attached, number, tested=True)


def test_a_note_has_an_end(attached: Bench) -> None:
    ticked = {"mod": 1, "calculation": 1, "number": 1, "opened_version": 1, "tested": True}

    refused = attached.refuse(TickAssumption, **ticked, note="x" * 301)

    assert list(refused) == ["note"]
