"""Which untested assumption comes first where a mod failed although its sums hold."""

import re
from collections.abc import Sequence

import pytest
from sqlalchemy import event
from sqlmodel import col, select

from server.engineering import calculations as engine
from server.records.commands.calculations import AttachCalculation, TickAssumption
from server.records.commands.symptoms import JudgeCause, NoteSymptom, SuspectCause
from server.records.questions.addresses import find_machine, find_mod
from server.records.questions.assumptions import Held, Untested, closeness, untested
from server.records.sums import latest_run
from server.records.tables import Calculation
from server.records.words import Case
from tests.records.conftest import MAIN, TAG, Bench


@pytest.mark.parametrize(
    ("sentence", "name", "label", "designator", "close"),
    [
        ("The supply keeps V_peak under load.", "V_peak", "", "", 1),
        ("The supply keeps v_peak under load.", "V_peak", "", "", 0),  # another name
        ("C9 has its marked capacitance.", "C", "capacitor to ground", "C9", 1),
        ("C90 has its marked capacitance.", "C", "capacitor to ground", "C9", 0),
        ("The load current is steady.", "I_load", "load current", "", 1),
        ("The loads are steady.", "I_load", "Load current", "", 1 / 2),  # one word of two, plural or not
        ("The capacitor is sound.", "C", "capacitor to ground", "", 1 / 2),  # “to” says nothing
        ("It reads within 0.1 V of the rail.", "V", "", "", 0),  # a unit is no input
        ("It stays at 25 °C in there.", "C", "", "", 0),
        ("It stays under 9 V, and V stays put.", "V", "", "", 1),
        ("A loose lead.", "A", "", "", 0),  # an article
        ("I have seen it.", "I", "", "", 0),
        ("The tape head's angle is right.", "R", "series resistor", "R12", 0),
        ("Anything.", "x", "", "", 0),
    ],
)
def test_a_sentence_is_about_what_it_names_or_repeats(
    sentence: str, name: str, label: str, designator: str, close: float
) -> None:
    assert close == closeness(sentence, name, label, designator)


def attach(bench: Bench, *assumptions: str, tested: Sequence[str] = (), limit: str = "I") -> None:
    """A current through R2: the supply brings a fifth of its variance, the resistor four fifths."""
    bench.do(
        AttachCalculation,
        mod=1,
        title="Current",
        inputs=[
            {"name": "U", "label": "supply", "unit": "V", "text": "5 V ±5 %"},
            {"name": "R", "label": "series resistor", "unit": "Ω", "source": "part", "board": MAIN, "designator": "R2"},
        ],
        lines=[
            {"name": "I", "expression": "U / R", "unit": "mA", "label": "pin current"},
            {"name": "U2", "expression": "2 * U", "unit": "V"},
        ],
        limits=[{"line": limit, "kind": "at_most", "value": "100 mA" if limit == "I" else "20 V"}],
        assumptions=[{"sentence": one, "tested": one in tested} for one in assumptions],
    )


def plan(bench: Bench) -> None:
    """A mod that fits 1 kΩ ±10 % at R2."""
    bench.plan()
    bench.step("take out", "R2")
    bench.step("fit", "R2", planned_value="1 kΩ ±10 %")


def ranked(bench: Bench) -> list[Untested]:
    with bench.store.reading() as session:
        mod = find_mod(session, find_machine(session, TAG), 1)
        held = []
        for calculation in session.exec(select(Calculation).order_by(col(Calculation.number))):
            run = latest_run(session, calculation)
            assert run
            result = engine.from_plain(run.cases[Case.PLANNED]["result"])
            held.append(Held(calculation, result.lines, result.limits))
        return untested(session, mod, held)


def test_an_assumption_takes_the_share_of_the_input_that_it_concerns(bench: Bench) -> None:
    """Tolerances of 5 % and 10 % bring 25 and 100 parts to the variance of a quotient: a fifth and four fifths.

    What concerns no input comes after, as it was written; what was tested does not come at all.
    """
    plan(bench)
    sentences = ["Nothing else feeds the pin.", "The supply is steady.", "The pin is sound.", "R2 is what it says."]
    attach(bench, *sentences, "The resistor stays cool.", tested=["The resistor stays cool."])

    found = ranked(bench)

    assert [one.sentence for one in found] == [sentences[3], sentences[1], sentences[0], sentences[2]]
    assert [(one.input, one.line, one.number) for one in found] == [
        ("R", "pin current", 4),
        ("U", "pin current", 2),
        ("", "", 1),
        ("", "", 3),
    ]
    assert [one.share for one in found] == pytest.approx([0.8, 0.2, 0, 0], abs=0.02)


def test_a_share_is_told_with_its_line(bench: Bench) -> None:
    """In whole percent; the draws differ a little from sum to sum."""
    plan(bench)
    attach(bench, "The supply is steady.", "Nothing else feeds the pin.")

    first, second = ranked(bench)

    assert re.fullmatch("U brings (19|20|21)\N{NO-BREAK SPACE}% of the variance of “pin current”", first.weight)
    assert second.weight == ""


def test_only_lines_with_a_limit_count(bench: Bench) -> None:
    """The resistor brings nothing to twice the supply; the supply brings all of it."""
    plan(bench)
    attach(bench, "R2 is what it says.", "The supply is steady.", limit="U2")

    found = ranked(bench)

    assert [one.input for one in found] == ["U", "R"]
    assert [one.share for one in found] == pytest.approx([1, 0], abs=0.001)
    assert found[1].weight.startswith("R brings less than 1")


def test_assumptions_of_every_calculation_are_ranked_together(bench: Bench) -> None:
    plan(bench)
    attach(bench, "Nothing else feeds the pin.", "The supply is steady.")
    attach(bench, "R2 is what it says.", "The pin is sound.")

    found = [(one.calculation.number, one.number) for one in ranked(bench)]

    assert found == [(2, 1), (1, 2), (1, 1), (2, 2)]


def test_a_tick_takes_an_assumption_off(bench: Bench) -> None:
    plan(bench)
    attach(bench, "Nothing else feeds the pin.", "The supply is steady.")

    bench.do(TickAssumption, mod=1, calculation=1, number=2, tested=True, opened_version=1)

    assert [one.sentence for one in ranked(bench)] == ["Nothing else feeds the pin."]


def test_causes_opened_from_an_assumption_stand_beside_it(bench: Bench) -> None:
    """Whatever the keeper called the cause."""
    plan(bench)
    attach(bench, "The supply is steady.", "The pin is sound.")
    bench.do(NoteSymptom, title="Hum", seen_on="2025-01-10")
    opened = {"symptom": 1, "calculation": "1/1", "assumption": "The supply is steady."}
    bench.do(SuspectCause, **opened, sentence="The supply sags")
    bench.do(JudgeCause, symptom=1, cause=1, opened_version=1, sentence="The supply sags", state="ruled out",
             judged_on="2025-02-01", why="On the scope.")  # fmt: skip

    first, second = ranked(bench)

    assert [(one.symptom, one.number, one.state) for one in first.causes] == [(1, 1, "ruled out")]
    assert second.causes == []


def test_many_calculations_take_no_more_queries_than_one(bench: Bench) -> None:
    """Two, for inputs and for causes, beside the reading of the sums."""
    plan(bench)
    attach(bench, "The supply is steady.")
    attach(bench, "The pin is sound.")
    run: list[str] = []

    with bench.store.reading() as session:
        mod = find_mod(session, find_machine(session, TAG), 1)
        held = [Held(calculation, (), ()) for calculation in session.exec(select(Calculation))]
        event.listen(bench.store.engine, "before_cursor_execute", lambda *told: run.append(told[2]))
        found = untested(session, mod, held)

    assert (len(found), len(run)) == (2, 2)
