"""Expectations get their verdict from trials: met, not met, undecided, contradictory, not yet tested."""

from typing import Any

import pytest
from sqlmodel import Session, select

from server.records.commands import mods, trials
from server.records.errors import Invalid
from server.records.questions.expectations import ExpectationLine, verdicts
from server.records.store import Store
from server.records.tables import Expectation
from tests.records import trial_scene as scene
from tests.records.trial_scene import CRASH, TAG, TIMING, do

SLOW = "500 503 498 501 502"
FAST = "400 403 398 401 402"
FITTED = "2024-03-10"
BEFORE, AFTER, LATER = "2024-03-01", "2024-04-01", "2024-05-01"


@pytest.fixture
def shop(store: Store) -> Store:
    """Mod 1 is fitted on 10 March 2024."""
    scene.set_up(store)
    scene.write_timing(store)
    scene.write_crash(store)
    scene.fit_mod(store, 1, FITTED)
    return store


def expect(store: Store, sense: str = "better than before", procedure: str = TIMING, **more: Any) -> None:
    fields = {"machine": TAG, "mod": 1, "sentence": "It counts faster", "procedure": procedure, "sense": sense}
    do(store, mods.Expect, **fields | more)


def verdict(store: Store) -> ExpectationLine:
    """What is said of the only expectation of mod 1."""
    with store.reading() as session:
        (line,) = verdicts(session, scene.mod(store, 1))
    return line


def numbers(line: ExpectationLine) -> tuple[int | None, int | None]:
    before, after = line.before_trial, line.after_trial
    return before.number if before else None, after.number if after else None


# ---- Not yet tested ----


def test_without_a_procedure_no_trial_can_tell(shop: Store) -> None:
    """A sentence alone is a hope."""
    expect(shop, procedure="")

    line = verdict(shop)

    assert (line.verdict, line.procedure) == ("not yet tested", None)
    assert line.sentence == "No procedure is tied to it, so no trial can tell."


def test_without_a_trial_with_the_mod_it_is_not_tested(shop: Store) -> None:
    """Trials from before say nothing of after."""
    expect(shop)
    scene.run(shop, BEFORE, SLOW)

    line = verdict(shop)

    assert (line.verdict, numbers(line)) == ("not yet tested", (1, None))
    assert line.sentence == "No trial of “Time to count to a thousand” has been run with the mod in force."


def test_better_than_before_needs_a_before(shop: Store) -> None:
    """What was not read before the mod cannot be read any more."""
    expect(shop)
    scene.run(shop, AFTER, FAST)

    line = verdict(shop)

    assert (line.verdict, numbers(line)) == ("not yet tested", (None, 1))
    assert "from before the mod" in line.sentence


def test_trials_of_another_procedure_say_nothing(shop: Store) -> None:
    """Each expectation looks at its own procedure."""
    expect(shop)
    scene.run(shop, BEFORE, "no no", CRASH)
    scene.run(shop, AFTER, "no no", CRASH)

    assert verdict(shop).verdict == "not yet tested"


# ---- Better than before ----


@pytest.mark.parametrize(
    ("after", "word"),
    [
        (FAST, "met"),
        ("600 603 598 601 602", "not met"),
        (SLOW, "not met"),
        ("503 505 498 501 504", "not met"),
        ("497 505 496 502 499", "undecided"),
    ],
    ids=["faster", "slower", "alike", "no better", "better by chance"],
)
def test_better_is_what_the_readings_show(shop: Store, after: str, word: str) -> None:
    """No better at all does not meet it; better, but not more than chance can make it, leaves it open."""
    expect(shop)
    scene.run(shop, BEFORE, SLOW)
    scene.run(shop, AFTER, after)

    line = verdict(shop)

    assert (line.verdict, numbers(line)) == (word, (1, 2))


def test_the_sentence_has_both_trials_the_unit_and_how_sure(shop: Store) -> None:
    """One sentence that a buyer can read, with figures that have their unit."""
    expect(shop)
    scene.run(shop, BEFORE, SLOW)
    scene.run(shop, AFTER, FAST)

    sentence = verdict(shop).sentence

    assert sentence.startswith("Trial 2, held against trial 1, in ms. Better: 400.8")
    assert "25 % faster, which is 20 % less time" in sentence


def test_one_reading_a_side_decides_nothing(shop: Store) -> None:
    """Nothing is known of how readings scatter."""
    expect(shop)
    scene.run(shop, BEFORE, "500")
    scene.run(shop, AFTER, "400")

    assert verdict(shop).verdict == "undecided"


def test_the_latest_trial_before_the_first_with_the_mod_is_held_against(shop: Store) -> None:
    """Not an older one, and not one after the mod was undone."""
    expect(shop)
    scene.run(shop, "2024-01-01", FAST)
    scene.run(shop, BEFORE, SLOW)
    scene.run(shop, AFTER, FAST)
    scene.undo_mod(shop, 1, LATER)
    scene.run(shop, "2024-06-01", FAST)

    line = verdict(shop)

    assert (line.verdict, numbers(line)) == ("met", (2, 3))


def test_readings_of_the_fitting_day_count_as_they_are_noted(shop: Store) -> None:
    """Read in the morning, fitted in the afternoon, read again in the evening."""
    expect(shop)
    scene.run(shop, FITTED, SLOW)
    scene.run(shop, FITTED, FAST)
    do(shop, trials.NoteModsInForce, machine=TAG, trial=1, mods=[], reason="Before it was fitted", opened_with="1")

    line = verdict(shop)

    assert (line.verdict, numbers(line)) == ("met", (1, 2))


def test_another_mod_between_the_two_is_named(shop: Store) -> None:
    """The difference may be its doing."""
    scene.fit_mod(shop, 2, "2024-03-20", "A second trimmer")
    expect(shop)
    scene.run(shop, BEFORE, SLOW)
    scene.run(shop, AFTER, FAST)

    assert "Mods 1, 2 changed between the two" in verdict(shop).sentence


def test_trials_that_disagree_are_contradictory(shop: Store) -> None:
    """Better in April and worse in May is no verdict."""
    expect(shop)
    scene.run(shop, BEFORE, SLOW)
    scene.run(shop, AFTER, FAST)
    scene.run(shop, LATER, "600 603 598 601 602")

    line = verdict(shop)

    assert (line.verdict, numbers(line)) == ("contradictory", (1, 3))
    assert line.sentence == (
        "Trials with the mod disagree: met by trial 2, not met by trial 3. They differ in the days "
        f"({AFTER} against {LATER}): look at those again, or run it once more."
    )


def test_a_trial_that_leaves_it_open_does_not_outweigh_one_that_tells(shop: Store) -> None:
    """The telling trial is named, the other counted."""
    expect(shop)
    scene.run(shop, BEFORE, SLOW)
    scene.run(shop, AFTER, FAST)
    scene.run(shop, LATER, "497 505 496 502 499")

    line = verdict(shop)

    assert (line.verdict, numbers(line)) == ("met", (1, 2))
    assert line.sentence.endswith("1 more left it open.")


# ---- Bounds ----


@pytest.mark.parametrize(
    ("sense", "bound", "word"),
    [
        ("falls below", "410", "met"),
        ("falls below", "401", "undecided"),
        ("falls below", "390", "not met"),
        ("rises above", "390", "met"),
        ("rises above", "401", "undecided"),
        ("rises above", "410", "not met"),
    ],
)
def test_a_bound_is_met_when_the_whole_interval_is_on_its_side(shop: Store, sense: str, bound: str, word: str) -> None:
    """An interval that holds the bound decides nothing; no trial from before is needed."""
    expect(shop, sense, bound=bound)
    scene.run(shop, AFTER, FAST)

    line = verdict(shop)

    assert (line.verdict, numbers(line)) == (word, (None, 1))
    assert f"{bound} ms" in line.sentence


def test_one_reading_decides_about_no_bound(shop: Store) -> None:
    """However far from it that reading lies."""
    expect(shop, "falls below", bound="1000")
    scene.run(shop, AFTER, "400")

    line = verdict(shop)

    assert line.verdict == "undecided"
    assert "does not show how far readings scatter" in line.sentence


# ---- Seen and no longer seen ----


@pytest.mark.parametrize(
    ("sense", "before", "after", "word"),
    [
        ("no longer seen", "yes " * 8, "no " * 8, "met"),
        ("no longer seen", "yes no no", "no " * 3, "undecided"),
        ("no longer seen", "", "no " * 8, "undecided"),
        ("no longer seen", "yes " * 8, "no " * 7 + "yes", "not met"),
        ("seen", "", "yes yes yes", "met"),
        ("seen", "", "no no no", "not met"),
        ("seen", "no " * 8, "yes " * 7 + "no", "met"),
        ("seen", "yes " * 8, "no " * 7 + "yes", "not met"),
        ("seen", "no yes", "yes no", "undecided"),
        ("better than before", "yes " * 8, "no " * 8, "met"),
        ("better than before", "no " * 8, "yes " * 8, "not met"),
        ("better than before", "yes no", "no no", "undecided"),
    ],
)
def test_what_is_seen_is_judged_by_counts(shop: Store, sense: str, before: str, after: str, word: str) -> None:
    """Gone needs as many tries as its rareness asks for; one sighting is enough to say that it is still there."""
    expect(shop, sense, CRASH)
    if before:
        scene.run(shop, BEFORE, before, CRASH)
    scene.run(shop, AFTER, after, CRASH)

    assert verdict(shop).verdict == word


@pytest.mark.parametrize(("sense", "procedure"), [("seen", TIMING), ("falls below", CRASH)])
def test_a_sense_that_the_readings_cannot_have_leaves_it_undecided(shop: Store, sense: str, procedure: str) -> None:
    """Milliseconds are not seen, and yes does not fall below anything; it is refused now, and may stand from before."""
    with pytest.raises(Invalid) as refused:
        expect(shop, sense, procedure, bound="1")
    assert list(refused.value.messages) == ["sense"]
    expect(shop, procedure=procedure, bound="1")
    with Session(shop.engine) as session:
        session.exec(select(Expectation)).one().sense = sense
        session.commit()
    scene.run(shop, AFTER, "1 1", procedure)

    line = verdict(shop)

    assert line.verdict == "undecided"
    assert f"“{sense}” cannot be told from readings" in line.sentence


def test_expectations_are_told_in_order(shop: Store) -> None:
    """Each with its own verdict."""
    expect(shop, "falls below", bound="450")
    expect(shop, "no longer seen", CRASH)
    scene.run(shop, AFTER, FAST)
    scene.run(shop, AFTER, "yes no", CRASH)

    with shop.reading() as session:
        lines = verdicts(session, scene.mod(shop, 1))

    assert [(line.expectation.number, line.verdict) for line in lines] == [(1, "met"), (2, "not met")]
