"""Designs: a mod told of roles, fitted elsewhere by one act, and its fittings read back."""

from typing import Any

import pytest
from sqlmodel import select

from server.records.commands.calculations import AttachCalculation, ReviseCalculation
from server.records.commands.designs import FitDesign, ReviseDesign, WriteDesign
from server.records.commands.machines import AddPosition
from server.records.commands.mods import Expect, PlanMod
from server.records.commands.trials import RecordTrial, WriteProcedure
from server.records.errors import NotFound, Stale
from server.records.questions.addresses import find_design, find_machine, find_mod
from server.records.questions.designs import Fitting, Outcome, designs, fittings_of
from server.records.sums import read_cases
from server.records.tables import Calculation, CalculationInput, CalculationRun, Design, Expectation, Mod, Step
from server.records.words import Case
from tests.records.conftest import KEEPER, MAIN, Bench
from tests.records.design_scene import (
    LAMP,
    PLACES,
    SLUG,
    carry_out,
    enter_second,
    fit,
    roles,
    run_on_first,
    write_design,
    write_mod,
)


@pytest.fixture
def lamp(bench: Bench) -> Bench:
    """A mod that was made a design, and a second machine."""
    write_mod(bench)
    write_design(bench)
    enter_second(bench)
    return bench


def design(bench: Bench) -> Design:
    with bench.store.reading() as session:
        return find_design(session, SLUG)


def fittings(bench: Bench) -> list[Fitting]:
    with bench.store.reading() as session:
        return fittings_of(session, find_design(session, SLUG))


def steps_of(bench: Bench, mod: Mod) -> list[tuple[str, str, str, Any]]:
    with bench.store.reading() as session:
        rows = session.exec(select(Step).where(Step.mod_id == mod.id).order_by(Step.number))  # type: ignore[arg-type]
        return [(step.kind, step.role, step.planned_value, step.done_on) for step in rows]


# ---- Written ----


def test_a_design_tells_of_roles_and_not_of_positions(lamp: Bench) -> None:
    """Nothing in its steps and sums names a position of the machine that it came from."""
    written = design(lamp)

    assert [role["name"] for role in written.roles] == ["series resistor", "pull-up"]
    assert [(step["kind"], step["role"]) for step in written.steps] == [
        ("take out", "series resistor"),
        ("fit", "series resistor"),
    ]
    inputs = written.calculations[0]["inputs"]
    assert [given.get("role") for given in inputs] == ["series resistor", "pull-up", None]
    assert "R2" not in str(written.steps) + str(written.calculations)


def test_the_mod_that_it_was_written_from_is_its_first_fitting(lamp: Bench) -> None:
    """So that there is something to hold the next one against."""
    (mod,) = [mod for mod in lamp.rows(Mod) if mod.design_id]

    assert design(lamp).id == mod.design_id
    assert [role for _, role, _, _ in steps_of(lamp, mod)] == ["series resistor", "series resistor"]


def test_what_was_tested_on_one_machine_is_to_be_tested_on_the_next(lamp: Bench) -> None:
    """An assumption goes along, its tick does not."""
    assert (design(lamp).calculations[0]["assumptions"]) == [
        {"sentence": "The lamp drops nothing.", "tested": False, "note": ""}
    ]


def test_what_was_measured_on_one_machine_is_not_known_on_the_next(bench: Bench) -> None:
    """No sum holds there by a value from elsewhere: it has no result until somebody measures."""
    write_mod(bench)
    bench.do(WriteProcedure, title="Supply voltage", unit="V", resolution="0.01", better="higher")
    bench.do(RecordTrial, procedure="supply-voltage", day="2025-01-20", readings="5.01 5.03 5.02", signer=KEEPER)
    rail = {"name": "V", "label": "supply", "unit": "V", "source": "trial", "trial": "2"}
    bench.do(AttachCalculation, mod=1, **LAMP | {"title": "Rail", "inputs": [*LAMP["inputs"][:2], rail]})
    write_design(bench)
    enter_second(bench)

    fit(bench)

    told = {"name": "V", "label": "supply", "unit": "V", "source": "not known yet"}
    assert design(bench).calculations[1]["inputs"][2] == told
    kept = bench.rows(CalculationRun)[-1].cases
    assert kept[Case.STOCK]["problem"] == "V: Not known yet: measure it on this machine, and write it here."


def test_a_text_that_names_a_position_names_its_role_and_then_the_position_there(bench: Bench) -> None:
    """A caution about R2 is one about R31 on the machine where R31 is meant."""
    write_mod(bench)
    bench.plan()
    bench.step("take out", "R2", 2, instruction="Wait, and measure across R2 before touching R7, not R20.")
    bench.step("adjust", "R7", 2)
    bench.do(Expect, mod=2, sentence="R2 stays cool")

    write_design(bench, mod=2, reasoning="R2 sets the current.")
    enter_second(bench)
    fit(bench)

    told = "Wait, and measure across ⟨series resistor⟩ before touching ⟨pull-up⟩, not R20."
    here = [step for step in bench.rows(Step) if step.kind == "take out"][-1]
    assert design(bench).steps[0]["instruction"] == told
    assert here.instruction == "Wait, and measure across R31 before touching R32, not R20."
    assert design(bench).reasoning == "⟨series resistor⟩ sets the current."
    assert bench.rows(Mod)[-1].reasoning == "R31 sets the current."
    assert bench.rows(Expectation)[-1].sentence == "R31 stays cool"


def test_the_fittings_sums_keep_their_place_in_the_design(lamp: Bench) -> None:
    """However a keeper calls them later, and what they read keeps its role."""
    fit(lamp)
    inputs = [
        {"name": "R", "unit": "Ω", "source": "part", "board": "logic", "designator": "R31"},
        {"name": "V", "unit": "V", "text": "5 V"},
    ]
    typed = LAMP | {"title": "Mine", "inputs": inputs}
    version = lamp.rows(Calculation)[-1].version
    lamp.do(ReviseCalculation, machine="TM-04", mod=1, calculation=1, opened_version=version, **typed)

    assert [row.design_number for row in lamp.rows(Calculation)] == [1, 1]
    assert [(row.name, row.role) for row in lamp.rows(CalculationInput)][-2:] == [("R", "series resistor"), ("V", "")]


def test_a_sum_that_reads_another_comes_after_it(lamp: Bench) -> None:
    """However they were numbered: fitted elsewhere, the one that is read has to be there first."""
    heat = {
        "title": "Heat",
        "inputs": [{"name": "I", "unit": "mA", "source": "line", "other_calculation": "2", "other_line": "I"}],
        "lines": [{"name": "P", "expression": "I * 5", "unit": "mA"}],
    }
    lamp.do(PlanMod, machine="TM-04", title="Second", state="planned", day="2025-03-01", signer=KEEPER)
    lamp.step("adjust", mod=1, machine="TM-04", instruction="Turn it.")
    typed = LAMP | {"inputs": [{"name": "V", "unit": "V", "text": "5 V"}, {"name": "R", "unit": "Ω", "text": "300 Ω"}]}
    for title in ("Heat", "Current"):
        lamp.do(AttachCalculation, machine="TM-04", mod=1, **typed | {"title": title})
    first = next(row for row in lamp.rows(Calculation) if row.title == "Heat")
    lamp.do(ReviseCalculation, machine="TM-04", mod=1, calculation=1, opened_version=first.version, **heat)

    lamp.do(WriteDesign, machine="TM-04", mod=1, title="Two sums")

    with lamp.store.reading() as session:
        written = find_design(session, "two-sums").calculations
    assert [row["title"] for row in written] == ["Current", "Heat"]
    assert written[1]["inputs"][0]["other_calculation"] == 1


@pytest.mark.parametrize(
    ("names", "field", "sentence"),
    [
        ({"R2": "series resistor", "R7": ""}, "roles.1.name", "Say what R7 is called in the design."),
        ({"R2": "resistor", "R7": "Resistor"}, "roles.1.name", "Another position is called “Resistor” already."),
    ],
)
def test_every_position_needs_a_role_of_its_own(bench: Bench, names: dict[str, str], field: str, sentence: str) -> None:
    """Two parts under one name could not be told apart on the next machine."""
    write_mod(bench)

    said = bench.refuse(WriteDesign, mod=1, title="Lamp", roles=roles(**names))

    assert {field: sentence} == said


def test_a_mod_is_a_fitting_of_one_design(lamp: Bench) -> None:
    """Writing it down twice would split its fittings."""
    said = lamp.refuse(WriteDesign, mod=1, title="Again", roles=roles())

    assert said == {"": "This mod is a fitting of the design “Lamp” already."}


def test_a_mod_without_steps_is_no_design(bench: Bench) -> None:
    """There would be nothing to fit."""
    bench.plan()

    said = bench.refuse(WriteDesign, mod=1, title="Nothing")

    assert said == {"": "A design needs at least one step. Write the mod’s steps first."}


def test_words_are_revised_and_the_plan_stays(lamp: Bench) -> None:
    """All fittings are held against one plan."""
    before = design(lamp)

    lamp.do(ReviseDesign, design=SLUG, opened_version=before.version, title="Lamp, brighter", purpose="Light")

    after = design(lamp)
    assert (after.title, after.purpose) == ("Lamp, brighter", "Light")
    assert (before.steps, before.calculations) == (after.steps, after.calculations)


def test_a_design_revised_meanwhile_is_not_overwritten(lamp: Bench) -> None:
    """Rule 7."""
    opened = design(lamp).version
    lamp.do(ReviseDesign, design=SLUG, opened_version=opened, title="Theirs")

    with pytest.raises(Stale):
        lamp.do(ReviseDesign, design=SLUG, opened_version=opened, title="Mine")


# ---- Fitted ----


def test_a_fitting_is_a_mod_with_steps_sums_and_expectations_at_this_machines_positions(lamp: Bench) -> None:
    """All of it by one act, with one entry in the journal."""
    entries = lamp.entries()

    fit(lamp)

    assert entries + 1 == lamp.entries()
    with lamp.store.reading() as session:
        mod = find_mod(session, find_machine(session, "TM-04"), 1)
        calculation = session.exec(select(Calculation).where(Calculation.mod_id == mod.id)).one()
        expectation = session.exec(select(Expectation).where(Expectation.mod_id == mod.id)).one()
        stock = read_cases(session, calculation)[Case.STOCK]
    assert (mod.title, mod.state, mod.hazards) == ("Lamp", "planned", ["static"])
    assert steps_of(lamp, mod) == [
        ("take out", "series resistor", "", None),
        ("fit", "series resistor", "300 Ω ±5 %", None),
    ]
    value = stock["R"].value
    assert value is not None
    assert (value.nominal, stock["R"].origin) == (470.0, "original part at R31")
    assert (expectation.sentence, expectation.sense) == ("It is brighter", "better than before")
    assert lamp.faults() == []


@pytest.mark.parametrize(
    ("places", "said"),
    [
        (PLACES[:1], {"places.1.designator": "Say where the pull-up is on TM-04."}),
        (
            [PLACES[0], PLACES[0] | {"role": "pull-up"}],
            {"places.1.designator": "R31 is the series resistor already."},
        ),
        (
            [PLACES[0], PLACES[1] | {"designator": "R99"}],
            {"places.1.designator": "There is no position “R99”. Enter it among the board’s positions first."},
        ),
        (
            [PLACES[0], PLACES[1] | {"board": "tail"}],
            {"places.1.board": "There is no board “tail”. Enter it among the board’s positions first."},
        ),
    ],
)
def test_every_role_needs_a_position_of_its_own(
    lamp: Bench, places: list[dict[str, str]], said: dict[str, str]
) -> None:
    """Each fault stands beside its field, and nothing of the fitting is left on record."""
    asked = {"machine": "TM-04", "design": SLUG, "day": "2025-05-01", "signer": KEEPER}

    assert said == lamp.refuse(FitDesign, places=places, **asked)
    assert [mod.number for mod in lamp.rows(Mod)] == [1]


def test_a_part_of_a_design_that_cannot_stand_here_is_named(lamp: Bench) -> None:
    """What one of its steps plans does not fit the position: the whole fitting is refused, and the step is named."""
    lamp.do(AddPosition, machine="TM-04", board="logic", designator="C1", kind="capacitor", mounting="soldered")
    places = [PLACES[0] | {"designator": "C1"}, PLACES[1]]

    said = lamp.refuse(FitDesign, machine="TM-04", design=SLUG, places=places, day="2025-05-01", signer=KEEPER)

    assert said[""].startswith("Step 2 cannot be fitted here: ")
    assert [mod.number for mod in lamp.rows(Mod)] == [1]


def test_a_design_that_is_not_there_is_not_found(lamp: Bench) -> None:
    """Its address names it."""
    with pytest.raises(NotFound, match="no design “other”"):
        lamp.do(FitDesign, machine="TM-04", design="other", day="2025-05-01", signer=KEEPER)


# ---- Read back ----


def test_fittings_say_what_was_really_fitted(lamp: Bench) -> None:
    """Where each role is, and the part in it: fitted by a step, or there all along."""
    fit(lamp)
    carry_out(lamp, value="390 Ω ±5 %")

    first, second = fittings(lamp)

    seats = {role: (seat.position.designator, seat.part and seat.part.value) for role, seat in second.seats.items()}
    assert seats == {"series resistor": ("R31", "390 Ω ±5 %"), "pull-up": ("R32", "1 kΩ ±5 %")}
    first_part = first.seats["series resistor"].part
    assert first_part is not None
    assert first_part.value == "330 Ω ±1 %"


def test_a_planned_fitting_says_what_is_planned(lamp: Bench) -> None:
    """Nothing has been fitted there yet."""
    fit(lamp)

    seat = fittings(lamp)[1].seats["series resistor"]

    assert (seat.part, seat.planned) == (None, "300 Ω ±5 %")


def test_how_a_fitting_turned_out_is_derived_from_its_trials(lamp: Bench) -> None:
    """It worked, it did not, or nobody can tell yet."""
    fit(lamp)
    enter_second(lamp, "TM-05")
    fit(lamp, "TM-05")
    run_on_first(lamp, "10 11 10 11")
    carry_out(lamp)

    assert [one.outcome for one in fittings(lamp)] == [Outcome.DID_NOT_WORK, Outcome.WORKED, Outcome.NOT_TOLD]


def test_what_is_not_met_outweighs_trials_that_disagree(lamp: Bench) -> None:
    """And trials that disagree are a word of their own, not silence."""
    run_on_first(lamp, "20 21 20 21")
    run_on_first(lamp, "10 11 10 11")
    assert [one.outcome for one in fittings(lamp)] == [Outcome.CONTRADICTORY]

    lamp.do(Expect, mod=1, sentence="It is dark", procedure="brightness", sense="falls below", bound="5")

    assert [one.outcome for one in fittings(lamp)] == [Outcome.DID_NOT_WORK]


def test_an_expectation_left_open_does_not_undo_one_that_is_met(lamp: Bench) -> None:
    """What nobody has tested says nothing against a fitting."""
    lamp.do(Expect, mod=1, sentence="It stays cool")
    run_on_first(lamp, "20 21 20 21")

    assert [one.outcome for one in fittings(lamp)] == [Outcome.WORKED]


def test_designs_are_listed_with_their_fittings(lamp: Bench) -> None:
    """Each with how many there are."""
    fit(lamp)

    with lamp.store.reading() as session:
        lines = designs(session, 1).rows

    assert [(line.design.title, line.fittings) for line in lines] == [("Lamp", 2)]
    assert design(lamp).roles[0]["board"] == MAIN
