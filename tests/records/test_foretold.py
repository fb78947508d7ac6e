"""Expectations that are tied to a line of a sum: what it foretold, and whether readings agree with it."""

from typing import Any

import pytest
from sqlalchemy import event

from server.records.commands import calculations, mods, steps, trials
from server.records.errors import Invalid
from server.records.questions.expectations import ExpectationLine, verdicts
from server.records.questions.sheet import whole_machine
from server.records.store import Store
from tests.records import trial_scene as scene
from tests.records.trial_scene import CRASH, KEEPER, TAG, TIMING, do

CURRENT = "lamp-current"
SUPPLY = {"name": "V", "text": "5 V ±5 %"}
AT_R2 = {"name": "R", "source": "part", "board": "main-board", "designator": "R2"}
LAMP = {"name": "I", "expression": "V / R", "unit": "mA", "label": "lamp current"}
FITTED, AFTER, LATER = "2024-03-10", "2024-04-01", "2024-05-01"


@pytest.fixture
def shop(store: Store) -> Store:
    """Mod 1 is fitted with 330 Ω: 5 V ±5 % through it are 15.15 mA, from 4.75/346.5 to 5.25/313.5 at worst."""
    scene.set_up(store)
    scene.write_timing(store)
    scene.write_crash(store)
    do(store, trials.WriteProcedure, title="Lamp current", unit="µA", resolution="10", better="lower")
    scene.fit_resistor(store, 1, FITTED)
    attach(store)
    return store


def attach(store: Store, mod: int = 1, **changed: Any) -> None:
    rows: dict[str, Any] = {"inputs": [SUPPLY, AT_R2], "lines": [LAMP]}
    do(store, calculations.AttachCalculation, machine=TAG, mod=mod, title="Lamp", **rows | changed)


def rewrite(store: Store, **changed: Any) -> None:
    """Give calculation 1 other rows."""
    rows: dict[str, Any] = {"inputs": [SUPPLY, AT_R2], "lines": [LAMP]}
    do(
        store,
        calculations.ReviseCalculation,
        machine=TAG, mod=1, calculation=1, title="Lamp", opened_version=1, **rows | changed,
    )  # fmt: skip


def expect(store: Store, sense: str = "agrees with the calculation", procedure: str = CURRENT, **more: Any) -> None:
    tied = {"calculation": 1, "line": "I"}
    fields = {"machine": TAG, "mod": 1, "sentence": "The lamp draws it", "procedure": procedure, "sense": sense}
    do(store, mods.Expect, **fields | tied | more)


def verdict(store: Store, mod: int = 1) -> ExpectationLine:
    """What is said of the only expectation, on the mod's page and on its sheet alike."""
    with store.reading() as session:
        (line,) = verdicts(session, scene.mod(store, mod))
    with store.reading() as session:
        ((on_sheet,),) = whole_machine(session, scene.machine(store)).verdicts_of.values()
    assert (line.verdict, line.sentence) == (on_sheet.verdict, on_sheet.sentence)
    return line


def refusal(store: Store, **asked: Any) -> dict[str, str]:
    with pytest.raises(Invalid) as refused:
        expect(store, **asked)
    return refused.value.messages


# ---- Readings that agree with a line ----


@pytest.mark.parametrize(
    ("readings", "word", "lies"),
    [
        ("15000 15100 15200 15100", "met", "all of it within the 13710 to 16750 µA that I of calculation 1 comes to"),
        ("12000 12100 12200 12100", "not met", "all of it below the 13710 to 16750 µA"),
        ("18000 18100 18200 18100", "not met", "all of it above the 13710 to 16750 µA"),
        ("13500 13900 13600 13800", "undecided", "neither wholly within the 13710 to 16750 µA"),
        ("10000 15000 20000", "undecided", "nor wholly outside"),
        ("15100", "undecided", "one reading, 15100 µA, does not show how far readings scatter"),
    ],
)
def test_readings_agree_when_all_of_their_interval_lies_within_the_worst_case(
    shop: Store, readings: str, word: str, lies: str
) -> None:
    """As fitted, and in the procedure's unit though the line has another; partly within decides nothing."""
    expect(shop)
    scene.run(shop, AFTER, readings, CURRENT)

    line = verdict(shop)

    assert word == line.verdict
    assert lies in line.sentence
    assert line.calculation
    assert (line.calculation.number, line.rule) == (1, "the readings: agrees with the calculation")


def test_the_worst_case_is_that_of_what_was_really_fitted(shop: Store) -> None:
    """As planned it would be met, and not with the part that another took the place of."""
    expect(shop)
    scene.run(shop, AFTER, "10600 10700 10600", CURRENT)
    do(shop, steps.FitAnother, machine=TAG, mod=1, step=2, day=LATER, signer=KEEPER, value="470 Ω ±5 %")

    assert verdict(shop).verdict == "met"


def test_trials_that_disagree_about_a_line_are_contradictory(shop: Store) -> None:
    """As they are about anything else."""
    expect(shop)
    scene.run(shop, AFTER, "15000 15100 15200", CURRENT)
    scene.run(shop, LATER, "18000 18100 18200", CURRENT)

    assert verdict(shop).sentence.startswith("Trials with the mod disagree: met by trial 1, not met by trial 2.")


def test_before_a_trial_the_sum_is_told(shop: Store) -> None:
    """What to expect on the meter."""
    expect(shop)

    line = verdict(shop)

    assert line.verdict == "not yet tested"
    assert line.sentence == (
        "No trial of “Lamp current” has been run with the mod in force. "
        "The sum foretold: as fitted, I of calculation 1 comes to 15.15 mA, at worst 13.71 mA to 16.75 mA."
    )


def test_a_line_without_tolerance_can_only_be_missed(shop: Store) -> None:
    """Nothing that scatters lies wholly within one value, and the sentence says so."""
    attach(shop, inputs=[{"name": "V", "text": "5 V"}, {"name": "R", "text": "500 Ω"}])
    expect(shop, calculation=2)
    scene.run(shop, AFTER, "10000 10010 9990", CURRENT)

    line = verdict(shop)

    assert line.verdict == "undecided"
    assert "the 10000 µA that I of calculation 2 comes to as fitted" in line.sentence
    assert "without a tolerance of its own nothing lies wholly within it" in line.sentence


def test_without_a_result_as_fitted_nothing_is_tested(shop: Store) -> None:
    """A part without a value leaves the sum without one, and the sentence names it."""
    expect(shop)
    scene.run(shop, AFTER, "15000 15100 15200", CURRENT)
    do(shop, steps.FitAnother, machine=TAG, mod=1, step=2, day=LATER, signer=KEEPER, type="jumper", value="")

    line = verdict(shop)

    assert line.verdict == "not yet tested"
    assert line.sentence.startswith("Calculation 1 has no result as fitted: R: R2 holds no part with a value")


# ---- Lines and procedures that were changed since ----


def test_a_line_that_was_taken_out_is_named(shop: Store) -> None:
    """Plainly, and without an error."""
    expect(shop)
    scene.run(shop, AFTER, "15000 15100 15200", CURRENT)
    rewrite(shop, lines=[{**LAMP, "name": "I_lamp"}])

    line = verdict(shop)

    assert line.verdict == "not yet tested"
    assert line.sentence == "Calculation 1 has no line I any more; write the expectation anew."


def test_a_line_that_measures_something_else_now_is_named(shop: Store) -> None:
    """It was a current when the expectation was written."""
    expect(shop)
    scene.run(shop, AFTER, "15000 15100 15200", CURRENT)
    rewrite(shop, lines=[{**LAMP, "expression": "V * V / R", "unit": "mW"}])

    line = verdict(shop)

    assert line.verdict == "not yet tested"
    assert line.sentence == "The readings are in µA and the line is in mW: they cannot be held together."


def test_a_procedure_whose_unit_is_unknown_now_is_named(shop: Store) -> None:
    """Its unit was revised to one that the sums do not know."""
    expect(shop)
    do(shop, trials.ReviseProcedure, procedure=CURRENT, title="Lamp current", unit="smoots", opened_version=1)
    scene.run(shop, AFTER, "15000 15100 15200", CURRENT)

    line = verdict(shop)

    assert line.verdict == "not yet tested"
    assert line.sentence.startswith("The readings cannot be held against a line: “smoots” is no unit")


# ---- A bound without a procedure ----


@pytest.mark.parametrize(
    ("sense", "bound", "lies"),
    [
        ("falls below", "17", "below 17 mA"),
        ("falls below", "15", "neither wholly below 15 mA nor wholly above it"),
        ("rises above", "13.7", "above 13.7 mA"),
        ("rises above", "13.709", "neither wholly below 13.709 mA nor wholly above it"),
    ],
)
def test_a_bound_on_a_line_is_reckoned_and_not_tested(shop: Store, sense: str, bound: str, lies: str) -> None:
    """4.75 V over 346.5 Ω are 13.7085 mA, so 13.709 mA lies within: shown to as many digits as tell it from them."""
    expect(shop, sense, procedure="", bound=bound)

    line = verdict(shop)

    assert line.verdict == "not yet tested"
    assert line.sentence.startswith("Reckoned, not tested: as fitted, I of calculation 1 comes to 15.15 mA, at worst ")
    assert line.sentence.endswith(f": {lies}.")
    assert line.rule == f"I: {sense} {bound} mA"


def test_before_it_is_fitted_the_plan_is_reckoned(shop: Store) -> None:
    """And not the machine as it still is."""
    do(shop, mods.PlanMod, machine=TAG, title="Brighter", day=AFTER, state="planned", signer=KEEPER)
    place = {"board": "main-board", "designator": "R2"}
    do(shop, steps.AddStep, machine=TAG, mod=2, kind="fit", planned_value="250 Ω ±1 %", **place)
    attach(shop, mod=2)
    expect(shop, "falls below", mod=2, procedure="", bound="25")

    assert "as planned, I of calculation 1 comes to 20 mA" in verdict(shop, mod=2).sentence


def test_a_bound_on_a_line_that_is_gone_is_told_without_an_error(shop: Store) -> None:
    """The bound stays, and nothing is reckoned."""
    expect(shop, "falls below", procedure="", bound="17")
    rewrite(shop, lines=[{**LAMP, "name": "I_lamp"}])

    line = verdict(shop)

    assert line.verdict == "not yet tested"
    assert line.sentence.endswith("Calculation 1 has no line I any more; write the expectation anew.")


# ---- A bound with both ----


def test_the_trial_decides_and_the_sum_is_told_beside_it(shop: Store) -> None:
    """Foretold to be met, and read to be otherwise; the bound is in the procedure's unit."""
    expect(shop, "falls below", bound="17000")
    scene.run(shop, AFTER, "18000 18100 18200", CURRENT)

    line = verdict(shop)

    assert line.verdict == "not met"
    assert "all of it above 17000 µA." in line.sentence
    assert line.sentence.endswith(
        "The sum foretold: as fitted, I of calculation 1 comes to 15.15 mA, at worst 13.71 mA to 16.75 mA: below 17 mA."
    )
    assert line.rule == "the readings: falls below 17000 µA"


def test_a_sum_of_something_else_is_told_without_the_bound(shop: Store) -> None:
    """Milliseconds are not held against milliamperes."""
    expect(shop, "falls below", procedure=TIMING, bound="450")
    scene.run(shop, AFTER, "400 401 402")

    line = verdict(shop)

    assert line.verdict == "met"
    assert line.sentence.endswith("comes to 15.15 mA, at worst 13.71 mA to 16.75 mA.")


# ---- What can be expected at all ----


@pytest.mark.parametrize(
    ("asked", "field", "sentence"),
    [
        ({"procedure": ""}, "procedure", "Choose the procedure whose readings are held against the line."),
        ({"procedure": CRASH}, "procedure", "Yes or no agrees with no figure."),
        ({"calculation": None, "line": ""}, "line", "Choose the line that the readings are held against."),
        (
            {"procedure": TIMING},
            "line",
            "The readings are in ms and the line is in mA: they cannot be held together.",
        ),
        ({"calculation": 9}, "line", "There is no calculation “9”."),
        ({"line": "J"}, "line", "Calculation 1 has no line “J”."),
        ({"line": ""}, "line", "Choose a line of one of the mod's calculations."),
        ({"calculation": None}, "line", "Choose a line of one of the mod's calculations."),
    ],
)
def test_what_cannot_agree_is_refused_beside_its_field(
    shop: Store, asked: dict[str, Any], field: str, sentence: str
) -> None:
    """Before it is written down."""
    messages = refusal(shop, **asked)

    assert [field] == list(messages)
    assert messages[field].startswith(sentence)


def test_an_amount_of_temperature_is_no_temperature(shop: Store) -> None:
    """A rise of 20 K is not 20 °C, though both are temperatures."""
    do(shop, trials.WriteProcedure, title="Heat", unit="°C")
    attach(shop, inputs=[{"name": "P", "text": "1 W"}, {"name": "Rth", "text": "20 K/W"}],
           lines=[{"name": "dT", "expression": "P * Rth", "unit": "K"}])  # fmt: skip

    messages = refusal(shop, procedure="heat", calculation=2, line="dT")

    assert messages == {
        "line": "An amount in K cannot be held against a temperature in °C; let both be one or the other."
    }


def test_more_expectations_and_sums_take_no_more_queries(shop: Store) -> None:
    """Four of them, with one expectation and with seven."""
    expect(shop)
    scene.run(shop, AFTER, "15000 15100 15200", CURRENT)
    few = queries(shop)
    for number in range(2, 8):
        attach(shop)
        expect(shop, calculation=number)
        scene.run(shop, AFTER, "15000 15100 15200", CURRENT)

    assert few == queries(shop) == 4


def queries(store: Store) -> int:
    mod = scene.mod(store, 1)
    run: list[str] = []
    with store.reading() as session:
        session.connection()
        event.listen(store.engine, "before_cursor_execute", note := lambda *details: run.append(details[2]))
        verdicts(session, mod)
    event.remove(store.engine, "before_cursor_execute", note)
    return len(run)
