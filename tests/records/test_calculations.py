"""Sums on real parts: what each case reads, and that what was concluded is kept (rule 3)."""

import pytest

from server.engineering import calculations as engine
from server.engineering.quantities import show
from server.records.commands.calculations import (
    AttachCalculation,
    ReviseCalculation,
    RunCalculation,
    TickAssumption,
)
from server.records.commands.machines import AddPosition, RevisePosition
from server.records.commands.parts import EnterPart, RevisePart
from server.records.commands.steps import FitAnother, ReviseStep
from server.records.commands.trials import RecordTrial, WriteProcedure
from server.records.sums import digest_of, latest_run, read_cases
from server.records.tables import Calculation, CalculationInput, CalculationRun
from server.records.words import Case
from tests.records.conftest import KEEPER, MAIN, Bench
from tests.records.indicator import AT_MOST, CURRENT, DROP, POWER, READER, SUPPLY, at, lamp


def readings(bench: Bench, key: int = 1, name: str = "R") -> list[str]:
    """What an input reads in the three cases: value and origin, or why it has none."""
    with bench.store.reading() as session:
        cases = read_cases(session, session.get_one(Calculation, key))
    found = [cases[case][name] for case in Case]
    return [f"{show(read.value)}, {read.origin}" if read.value else read.problem for read in found]


def verdicts(run: CalculationRun) -> list[str]:
    """The verdict on the first limit in each case, or what is missing."""
    kept = [run.cases[case.value] for case in Case]
    return [engine.from_plain(one["result"]).limits[0].verdict if "result" in one else one["problem"] for one in kept]


def runs(bench: Bench, key: int = 1) -> list[CalculationRun]:
    return [run for run in bench.rows(CalculationRun) if run.calculation_id == key]


def changed_since(bench: Bench, key: int = 1) -> bool:
    """Whether the latest result no longer rests on what the record says."""
    with bench.store.reading() as session:
        calculation = session.get_one(Calculation, key)
        kept = latest_run(session, calculation)
        assert kept is not None
        return kept.digest != digest_of(calculation, read_cases(session, calculation))


# ---- What each case reads ----


def test_stock_planned_and_fitted_read_the_parts_of_the_record(bench: Bench) -> None:
    """The original, what the step plans, and what was really fitted."""
    bench.replace_r2(value="330 Ω ±1 %")
    bench.do(AttachCalculation, **lamp())

    assert readings(bench) == [
        "360 Ω ±5 %, original part at R2",
        "300 Ω ±5 %, planned in step 2",
        "330 Ω ±1 %, fitted by step 2",
    ]
    assert verdicts(runs(bench)[0]) == ["holds", "at risk", "holds"]


def test_before_it_is_fitted_there_is_no_fitted_value(bench: Bench) -> None:
    """Which is a sentence and no fault; stock and plan come out all the same."""
    bench.plan(state="considered")
    bench.step("fit", "R2", planned_value="300 Ω ±5 %")
    bench.do(AttachCalculation, **lamp())

    assert readings(bench)[2] == "The mod has not been fitted yet."
    assert verdicts(runs(bench)[0]) == ["holds", "at risk", "The mod has not been fitted yet."]


def test_a_position_that_the_mod_leaves_alone_reads_what_is_there(bench: Bench) -> None:
    """Planned and fitted alike, once the mod has begun."""
    bench.replace_r2()
    bench.do(AttachCalculation, **lamp(inputs=[SUPPLY, DROP, at("R7")]))

    assert readings(bench) == ["1 kΩ ±5 %, original part at R7", "1 kΩ ±5 %, part at R7", "1 kΩ ±5 %, part at R7"]


def test_stock_is_what_the_literature_says_where_the_first_part_is_no_original(bench: Bench) -> None:
    """And the first part itself, where the literature says nothing."""
    bench.do(EnterPart, board=MAIN, designator="R9", kind="resistor", value="9.1 kΩ", origin="later")
    bench.do(EnterPart, board=MAIN, designator="R10", kind="resistor", value="8.2 kΩ", origin="unknown")
    bench.plan()
    bench.do(AttachCalculation, **lamp(inputs=[SUPPLY, DROP, at("R9")]))
    bench.do(AttachCalculation, **lamp(inputs=[SUPPLY, DROP, at("R10")]))

    assert [readings(bench, key)[0] for key in (1, 2)] == [
        "10 kΩ, service literature for R9",
        "8.2 kΩ, first part at R10",
    ]


def test_an_original_without_a_value_falls_back_to_the_literature(bench: Bench) -> None:
    """Its bands may be burnt off."""
    expected = {"kind": "resistor", "mounting": "soldered", "expected_value": "470 Ω"}
    bench.do(AddPosition, board=MAIN, designator="R11", **expected)
    bench.do(EnterPart, board=MAIN, designator="R11", kind="resistor", origin="original", condition="burnt")
    bench.plan()
    bench.do(AttachCalculation, **lamp(inputs=[SUPPLY, DROP, at("R11")]))

    assert readings(bench)[:2] == ["470 Ω, service literature for R11", "R11 holds no part with a value in this case."]


def test_a_value_is_read_as_what_the_part_is(bench: Bench) -> None:
    """The position may have been written down for anything."""
    bench.do(AddPosition, board=MAIN, designator="X1", mounting="soldered")
    bench.do(EnterPart, board=MAIN, designator="X1", kind="resistor", value="4M7", origin="original")
    bench.plan()
    bench.do(AttachCalculation, **lamp(inputs=[SUPPLY, DROP, at("X1")]))

    assert readings(bench)[0] == "4.7 MΩ, original part at X1"


def test_an_empty_position_reads_what_is_said_of_it(bench: Bench) -> None:
    """A resistor that is not there yet is a piece of wire, where the keeper says so."""
    bench.do(AddPosition, board=MAIN, designator="R12", kind="resistor", mounting="soldered")
    bench.plan()
    bench.step("fit", "R12", planned_value="100 Ω")
    total = {"name": "total", "expression": "R + r"}
    inputs = [at("R2"), at("R12", "r", when_empty="0 Ω")]
    bench.do(AttachCalculation, **lamp(inputs=inputs, lines=[total], limits=[]))
    bench.do(AttachCalculation, **lamp(inputs=[at("R2"), at("R12", "r")], lines=[total], limits=[]))

    assert readings(bench, 1, "r")[:2] == ["0 Ω, nothing at R12", "100 Ω, planned in step 1"]
    assert readings(bench, 2, "r")[0] == "R12 holds no part with a value in this case."
    assert runs(bench, 2)[0].cases["stock"]["problem"] == "r: R12 holds no part with a value in this case."


def test_what_is_only_taken_out_leaves_the_position_empty(bench: Bench) -> None:
    """As planned, and as fitted once it was done."""
    bench.plan()
    bench.step("take out", "R2")
    bench.do(AttachCalculation, **lamp(inputs=[SUPPLY, DROP, at("R2", when_empty="1 MΩ")]))
    bench.carry_out(1)

    assert readings(bench) == ["360 Ω ±5 %, original part at R2", "1 MΩ, nothing at R2", "1 MΩ, nothing at R2"]


def test_the_mean_of_a_trial_is_read_with_its_uncertainty(bench: Bench) -> None:
    """As a measured value."""
    bench.plan()
    bench.do(WriteProcedure, title="Rail", unit="V", resolution="0.01", better="higher")
    bench.do(RecordTrial, procedure="rail", day="2025-01-10", readings="5.02 5.04 5.03", signer=KEEPER)
    bench.do(AttachCalculation, **lamp(inputs=[{"name": "V", "source": "trial", "trial": "1"}, DROP, at("R2")]))

    assert readings(bench, 1, "V") == ["5.0300(65) V, mean of trial 1"] * 3


# ---- Results are kept (rule 3) ----


def test_another_part_runs_the_sum_again_beside_the_old_result(bench: Bench) -> None:
    """The verdict changes; the old one stands with the inputs it was concluded from."""
    bench.replace_r2(value="330 Ω ±1 %")
    bench.do(AttachCalculation, **lamp())
    before = runs(bench)[0]
    bench.do(FitAnother, mod=1, step=2, day="2025-02-10", signer=KEEPER, value="220 Ω")

    first, second = runs(bench)
    assert before == first
    assert [verdicts(run)[2] for run in (first, second)] == ["holds", "fails"]
    assert [run.cases["as fitted"]["inputs"]["R"]["value"]["nominal"] for run in (first, second)] == [330.0, 220.0]
    assert (second.number, second.reason) == (2, "a part it reads was changed")
    assert not changed_since(bench)
    assert bench.faults() == []


@pytest.mark.parametrize("act", ["part", "position", "carried out", "put back"])
def test_whatever_changes_a_part_runs_the_sum_again_in_the_same_entry(bench: Bench, act: str) -> None:
    """One act, one entry, and the new result in it."""
    bench.plan()
    bench.step("take out", "R2")
    bench.do(AttachCalculation, **lamp(inputs=[SUPPLY, DROP, at("R2", when_empty="1 MΩ")]))
    if act == "part":
        bench.do(RevisePart, part=1, kind="resistor", origin="original", value="390 Ω", opened_version=1)
    elif act == "position":
        bench.do(RevisePart, part=1, kind="resistor", origin="later", value="360 Ω ±5 %", opened_version=1)
        expected = {"kind": "resistor", "mounting": "soldered", "expected_value": "470 Ω"}
        bench.do(RevisePosition, board=MAIN, designator="R2", opened_version=1, **expected)
    else:
        bench.carry_out(1)
    if act == "put back":
        bench.undo(1)

    tables = [change["table"] for change in bench.last_entry().change]
    assert len(runs(bench)) >= 2 or act == "put back"
    assert ("calculation_run" in tables) or act == "put back"
    assert not changed_since(bench)


def test_another_plan_runs_the_sum_again(bench: Bench) -> None:
    """What is planned is one of its cases."""
    bench.plan()
    bench.step("fit", "R2", planned_value="300 Ω ±5 %")
    bench.do(AttachCalculation, **lamp())
    planned = {"mod": 1, "step": 1, "kind": "fit", "board": MAIN, "designator": "R2", "opened_version": 1}
    bench.do(ReviseStep, planned_value="200 Ω ±5 %", **planned)

    assert [verdicts(run)[1] for run in runs(bench)] == ["at risk", "fails"]
    assert not changed_since(bench)


def test_a_result_whose_inputs_have_changed_is_marked(bench: Bench) -> None:
    """Until it is run again: nothing that was concluded changes by itself when the other sum is revised."""
    bench.plan()
    bench.do(AttachCalculation, **lamp())
    bench.do(AttachCalculation, **lamp(title="Power", inputs=[READER, at("R2")], lines=[POWER], limits=[]))
    bench.do(ReviseCalculation, calculation=1, opened_version=1, **lamp(inputs=[SUPPLY, DROP, at("R7")]))
    marked = changed_since(bench, 2)
    bench.do(RunCalculation, mod=1, calculation=2)

    assert (marked, changed_since(bench, 2)) == (True, False)
    assert [run.reason for run in runs(bench, 2)] == ["first run", "run again"]


def test_the_same_values_make_the_same_digest(bench: Bench) -> None:
    """However they are typed, and wherever they come from."""
    bench.plan()
    bench.do(AttachCalculation, **lamp())
    bench.do(AttachCalculation, **lamp(inputs=[SUPPLY | {"text": "5V ± 5%"}, DROP, at("R2")]))
    bench.do(AttachCalculation, **lamp(inputs=[SUPPLY, DROP | {"text": "1.8..2.3 V"}, at("R2")]))

    one, other, third = (run.digest for run in bench.rows(CalculationRun))
    assert one == other != third
    assert not changed_since(bench)


def test_a_ticked_assumption_leaves_the_result(bench: Bench) -> None:
    """It says what was tested, not what the sum comes to."""
    bench.plan()
    bench.do(AttachCalculation, **lamp(assumptions=[{"sentence": "The supply is steady"}]))
    bench.do(TickAssumption, mod=1, calculation=1, number=1, tested=True, opened_version=1)

    assert bench.row(Calculation, 1).assumptions[0]["tested"] is True
    assert (len(runs(bench)), changed_since(bench)) == (1, False)


# ---- Sums that read each other ----


def test_a_line_of_another_sum_is_read_at_its_worst(bench: Bench) -> None:
    """And it runs after that one when a part changes, whichever was written first."""
    bench.replace_r2()
    resistance = {"title": "Power", "inputs": [at("R2")], "lines": [{"name": "P", "expression": "R"}], "limits": []}
    power = {"inputs": [READER | {"other_calculation": "2"}, at("R2")], "lines": [POWER], "limits": []}
    bench.do(AttachCalculation, **lamp(**resistance))
    bench.do(AttachCalculation, **lamp())
    bench.do(ReviseCalculation, calculation=1, opened_version=1, **lamp(**power))
    bench.do(FitAnother, mod=1, step=2, day="2025-02-10", signer=KEEPER, value="220 Ω")

    read = runs(bench, 1)[-1].cases["as fitted"]["inputs"]["I1"]
    worst = [read["value"][end] for end in ("nominal", "low", "high")]
    assert worst == pytest.approx([3.0 / 220 * 1e3, 2.55 / 220 * 1e3, 3.45 / 220 * 1e3])
    assert (read["value"]["unit"], read["origin"]) == ("mA", "line I of calculation 2")
    assert not changed_since(bench, 1)
    assert bench.faults() == []


def test_two_sums_never_wait_for_each_other(bench: Bench) -> None:
    """Nor one for itself."""
    bench.plan()
    bench.do(AttachCalculation, **lamp())
    bench.do(AttachCalculation, **lamp(title="Power", inputs=[READER, at("R2")], lines=[POWER], limits=[]))
    for number in ("1", "2"):
        circle = lamp(inputs=[SUPPLY, DROP, at("R2"), READER | {"other_calculation": number, "other_line": "I"}])
        messages = bench.refuse(ReviseCalculation, calculation=1, opened_version=1, **circle)
        assert list(messages) == ["inputs.3.other_calculation"]
        assert "wait for each other" in messages["inputs.3.other_calculation"]


def test_a_result_that_the_other_does_not_have_is_told(bench: Bench) -> None:
    """In the cases where it is missing."""
    bench.plan()
    bench.do(AttachCalculation, **lamp())
    bench.do(AttachCalculation, **lamp(title="Power", inputs=[READER, at("R2")], lines=[POWER], limits=[]))

    assert readings(bench, 2, "I1")[2] == "Calculation 1 has no result in this case."


def test_a_sum_that_fails_in_one_case_is_kept_with_the_reason(bench: Bench) -> None:
    """A division by zero before the resistor was there is no reason against what it comes to with it."""
    bench.do(AddPosition, board=MAIN, designator="R12", kind="resistor", mounting="soldered")
    bench.plan()
    bench.step("fit", "R12", planned_value="300 Ω")
    bench.do(AttachCalculation, **lamp(inputs=[SUPPLY, DROP, at("R12", when_empty="0 Ω")]))

    found = verdicts(runs(bench)[0])
    assert "zero" in found[0]
    assert found[1] == "holds"


def test_a_limit_may_be_another_line_or_an_input(bench: Bench) -> None:
    """Both then vary together."""
    bench.plan()
    rating = {"name": "Imax", "text": "10 mA ±10 %"}
    half = {"name": "half", "expression": "I / 2"}
    limits = [AT_MOST | {"value": "Imax"}, {"line": "half", "kind": "at_most", "value": "I"}]
    bench.do(AttachCalculation, **lamp(inputs=[SUPPLY, DROP, at("R2"), rating], lines=[CURRENT, half], limits=limits))

    result = engine.from_plain(runs(bench)[0].cases["stock"]["result"])
    assert [limit.verdict for limit in result.limits] == ["at risk", "holds"]


# ---- Revising ----


def test_a_sum_saved_as_it_stands_is_no_event(bench: Bench) -> None:
    """Whatever was left in the fields that its inputs do not use."""
    bench.plan()
    bench.do(AttachCalculation, **lamp(inputs=[SUPPLY | {"board": MAIN}, DROP, at("R2")]))

    again = lamp(inputs=[SUPPLY | {"board": "supply", "other_line": "I"}, DROP, at("R2")])
    assert bench.do(ReviseCalculation, calculation=1, opened_version=1, **again).seq is None


def test_a_revision_of_its_inputs_alone_is_a_new_version(bench: Bench) -> None:
    """Or somebody else's form would save over it unseen."""
    bench.plan()
    bench.do(AttachCalculation, **lamp())
    bench.do(ReviseCalculation, calculation=1, opened_version=1, **lamp(inputs=[SUPPLY, DROP, at("R7")]))

    assert bench.row(Calculation, 1).version == 2
    assert [entry.position_id for entry in bench.rows(CalculationInput)] == [None, None, 2]
    assert [run.reason for run in runs(bench)] == ["first run", "revised"]
    assert bench.faults() == []
