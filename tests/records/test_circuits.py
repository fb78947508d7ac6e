"""Circuits of a mod: drawn up in rows, solved for three cases, run again as parts change, refused beside the row."""

import re
from typing import Any

import pytest

from server.records.commands.calculations import AttachCalculation, ReviseCalculation, RunCalculation
from server.records.commands.circuits import AttachCircuit, ReviseCircuit
from server.records.commands.designs import FitDesign, WriteDesign
from server.records.commands.machines import AddBoard, AddPosition, EnterMachine
from server.records.commands.mods import Expect
from server.records.commands.parts import EnterPart
from server.records.commands.steps import FitAnother
from server.records.errors import NotFound
from server.records.questions.circuits import rows_typed
from server.records.tables import Calculation, CalculationInput, CalculationRun
from server.records.words import Case
from tests.records.circuit_scene import WINDOW, attach, circuit, place, rows
from tests.records.conftest import KEEPER, MAIN, Bench

FALL = {"fall_kind": "time constant", "fall": [{"text": "100 ms"}]}
LINE = 2e-3


@pytest.fixture
def scene(bench: Bench) -> Bench:
    place(bench)
    return bench


def kept(bench: Bench, case: Case = Case.STOCK, run: int = -1) -> dict[str, Any]:
    found: dict[str, Any] = bench.rows(CalculationRun)[run].cases[case.value]
    return found


def line(bench: Bench, name: str, case: Case = Case.STOCK, run: int = -1) -> float:
    lines = {one["name"]: one["nominal"] for one in kept(bench, case, run)["result"]["lines"]}
    return float(lines[name])


def stretches(bench: Bench, case: Case, question: int = 1, run: int = -1) -> list[tuple[float, float]]:
    found = kept(bench, case, run)["circuit"]["answers"][question - 1]["stretches"]
    return [(one["low"][0], one["high"][0]) for one in found]


# ---- Three cases ----


def test_one_transistor_conducts_where_the_other_no_longer_holds_it_off(scene: Bench) -> None:
    """0.6 V of base drop, thresholds of 7.7 V and 1.2 V on a falling 12 V rail: common practice, no source."""
    attach(scene)

    ((low, high),) = stretches(scene, Case.STOCK)
    assert low == pytest.approx(1.2, abs=LINE)
    assert high == pytest.approx(7.7, abs=LINE)
    assert low == line(scene, "Q1_low")
    assert high == line(scene, "Q1_high")


def test_a_zener_in_the_path_of_the_second_base_closes_the_window(scene: Bench) -> None:
    """Of 8.2 V, it raises the second's threshold past the first's: common practice, no source."""
    attach(scene, questions=[WINDOW, {"which": "T1", "how": "conducts"}])

    assert stretches(scene, Case.PLANNED) == []
    assert "D9 is a wire: nothing at D9." in kept(scene)["circuit"]["notes"]
    assert kept(scene, Case.FITTED)["problem"] == "The mod has not been fitted yet."


def test_what_was_fitted_is_solved_beside_the_plan_and_run_again_as_it_changes(scene: Bench) -> None:
    attach(scene)
    scene.carry_out(1, value="4.7 V")
    ((low, high),) = stretches(scene, Case.FITTED)
    scene.do(FitAnother, mod=1, step=1, day="2025-02-05", value="8.2 V", signer=KEEPER)

    assert low == pytest.approx(1.2 + 4.7, abs=0.15)  # at its small current a Zener diode of 4.7 V drops a little less
    assert high == pytest.approx(7.7, abs=LINE)
    assert stretches(scene, Case.FITTED) == []
    assert [run.reason for run in scene.rows(CalculationRun)] == [
        "first run",
        "a part it reads was changed",
        "a part it reads was changed",
    ]
    assert scene.faults() == []


def test_a_window_over_a_fall_is_told_in_time(scene: Bench) -> None:
    """By t = tau ln(V0/V): from 7.7 V to 1.2 V in 100 ms ln(7.7/1.2)."""
    attach(scene, **FALL, questions=[WINDOW | {"most": "100 ms", "basis": "what the screen shows"}])

    (window,) = kept(scene)["circuit"]["answers"][0]["windows"]
    assert window["start"][0] == pytest.approx(0.0444, abs=2e-4)
    assert line(scene, "Q1_lasts") == pytest.approx(0.1859, abs=4e-4)
    assert line(scene, "Q1_lasts", Case.PLANNED) == 0
    verdicts = [
        [one["verdict"] for one in kept(scene, case)["result"]["limits"]] for case in (Case.STOCK, Case.PLANNED)
    ]
    assert verdicts == [["at risk", "fails"], ["holds", "holds"]]
    heat = kept(scene)["result"]["limits"][0]["sentence"]
    found = re.search(r"at its greatest, as V1 is turned down, is ([\d.]+) mW: over .* it passes with the rail", heat)
    assert found
    # T1 is on at 7.7 V at the latest, and begins a little above: more than at 7.7 V, less than at the full rail.
    assert 7.6**2 / 100 < float(found[1]) / 1000 < 12**2 / 100


def test_a_window_that_never_closes_is_beyond_any_limit(scene: Bench) -> None:
    """The rail comes to rest within it."""
    attach(scene, **FALL, questions=[{"which": "c1", "how": "is below", "value": "1 V", "most": "1 s"}])

    fault = kept(scene)["result"]["limits"][1]
    assert fault["verdict"] == "fails"
    assert fault["sentence"] == "How long c1 is below 1 V has no end within what was looked at: over the 1 s allowed"


def test_a_window_within_the_tolerances_alone_puts_its_limit_at_risk(scene: Bench) -> None:
    """At the nominal values it never opens, and a few of the draws have it."""
    scene.do(EnterPart, board=MAIN, designator="D9", kind="diode", origin="new", value="6.4..6.9 V")
    attach(scene, **FALL, questions=[WINDOW | {"most": "1 s"}])

    found = kept(scene)["result"]["limits"][1]
    assert stretches(scene, Case.STOCK) == []
    assert found["verdict"] == "at risk"


def test_heat_is_held_against_a_rating_whatever_its_sign(scene: Bench) -> None:
    """12 V across 100 Ω is 1.44 W, on the planned machine as on the first."""
    heater = {"nodes": "0, rail", "text": "100 Ω", "rating": "1 W, 0.2 A"}
    attach(scene, elements=rows(R20=heater), questions=[])

    limits = {one["line"]: one for one in kept(scene)["result"]["limits"]}
    assert line(scene, "P_R20") == pytest.approx(1.44)
    assert line(scene, "I_R20") == pytest.approx(-0.12)
    assert (limits["P_R20"]["verdict"], limits["I_R20"]["verdict"]) == ("fails", "holds")


# ---- Beside the other calculations ----


def test_another_sum_and_an_expectation_read_its_lines(scene: Bench) -> None:
    attach(scene)
    reads = {"name": "V", "source": "line", "other_calculation": "1", "other_line": "Q1_high"}
    doubled = [{"name": "twice", "expression": "2 * V", "unit": "V"}]
    scene.do(AttachCalculation, mod=1, title="Twice", inputs=[reads], lines=doubled)
    scene.do(Expect, mod=1, sentence="It lets go late", sense="falls below", bound="8", calculation=1, line="Q1_high")

    assert line(scene, "twice") == pytest.approx(15.4, abs=0.01)
    assert kept(scene, Case.PLANNED)["inputs"]["V"]["problem"] == "Calculation 1 has no line Q1_high any more."
    assert scene.faults() == []


def test_the_same_parts_give_the_same_digest_and_another_question_another(scene: Bench) -> None:
    attach(scene)
    scene.do(RunCalculation, mod=1, calculation=1)
    scene.do(ReviseCircuit, calculation=1, opened_version=1, **circuit(questions=[]))
    digests = [run.digest for run in scene.rows(CalculationRun)]

    assert digests[0] == digests[1]
    assert digests[2] not in digests[:2]


def test_saving_a_circuit_as_it_is_changes_nothing(scene: Bench) -> None:
    """Its form is filled with what its command takes."""
    attach(scene, **FALL, assumptions=[{"sentence": "It is at rest."}])
    with scene.store.reading() as session:
        typed = rows_typed(session, session.get_one(Calculation, 1))
    runs, entries = len(scene.rows(CalculationRun)), scene.rows(CalculationInput)
    scene.do(ReviseCircuit, mod=1, calculation=1, opened_version=1, **typed)

    assert runs == len(scene.rows(CalculationRun))
    assert [one.id for one in entries] == [one.id for one in scene.rows(CalculationInput)]
    assert scene.row(Calculation, 1).version == 1


def test_a_design_carries_its_circuits_to_the_next_machine(scene: Bench) -> None:
    """There it reads the parts that sit in the same roles."""
    attach(scene, elements=rows(R13={"source": "part", "board": MAIN, "designator": "R7", "text": ""}))
    roles = [{"board": MAIN, "designator": at, "name": name} for at, name in (("D9", "Zener"), ("R7", "pull-up"))]
    scene.do(WriteDesign, mod=1, title="Blanking", roles=roles)
    scene.do(EnterMachine, tag="TM-04", model="Merle 40")
    scene.do(AddBoard, machine="TM-04", name="Logic", kind="main board")
    part = {"board": "logic", "designator": "R31", "kind": "resistor", "origin": "original", "value": "2 kΩ"}
    scene.do(EnterPart, machine="TM-04", **part)
    scene.do(AddPosition, machine="TM-04", board="logic", designator="D31", kind="diode", mounting="wired")
    places = [{"role": "Zener", "board": "logic", "designator": "D31"},
              {"role": "pull-up", "board": "logic", "designator": "R31"}]  # fmt: skip
    scene.do(FitDesign, machine="TM-04", design="blanking", places=places, day="2025-05-01", signer=KEEPER)

    ((low, _),) = stretches(scene, Case.STOCK)
    assert low == pytest.approx(1.5, abs=LINE)  # 2 kΩ + 1 kΩ over 2 kΩ
    assert scene.row(Calculation, 2).circuit == scene.row(Calculation, 1).circuit
    assert scene.faults() == []


def test_revising_a_plain_sum_as_a_circuit_finds_none(scene: Bench) -> None:
    sum_of = {"inputs": [{"name": "V", "text": "5 V"}], "lines": [{"name": "W", "expression": "V"}]}
    scene.do(AttachCalculation, mod=1, title="Plain", **sum_of)

    with pytest.raises(NotFound, match="There is no circuit “1”"):
        scene.do(ReviseCircuit, calculation=1, opened_version=1, **circuit())


def test_a_circuit_is_not_revised_as_a_plain_sum(scene: Bench) -> None:
    attach(scene, questions=[])
    sum_of = {"inputs": [{"name": "V", "text": "5 V"}], "lines": [{"name": "W", "expression": "V"}]}
    messages = scene.refuse(ReviseCalculation, mod=1, calculation=1, opened_version=1, title="Plain", **sum_of)

    assert messages == {"": "Calculation 1 is a circuit: revise it as one."}


# ---- What is refused, beside its row ----

PARALLEL = {f"V{n}": {"kind": "source", "nodes": "rail, 0", "text": "5 V"} for n in (2,)}
REFUSED: list[tuple[str, dict[str, Any], str, str]] = [
    ("a floating node", {"elements": rows(C1={"kind": "capacitor", "nodes": "c9, 0", "text": "1 µF"})},
     "elements.10.nodes", "Node “c9” floats"),
    ("a loop of sources", {"elements": rows(**PARALLEL)}, "elements.10.nodes", "“V2” closes a loop of voltage sources"),
    ("no resistance", {"elements": rows(R11={"text": "0 Ω"})}, "elements.1.text", "It is 0 Ω; it must lie between"),
    ("a negative one", {"elements": rows(R11={"text": "-5 Ω"})}, "elements.1.text", "negative"),
    ("volts for ohms", {"elements": rows(R11={"text": "5 V"})}, "elements.1.text",
     "“5 V” is a voltage; a resistance in Ω is asked for."),
    ("an element twice", {"elements": [*rows(), {"name": "R11", "nodes": "rail, 0", "text": "1 Ω"}]},
     "elements.10.name", "There is another R11 in this circuit."),
    ("a name that a value has", {"elements": rows(T1_drop={"nodes": "rail, 0", "text": "1 Ω"})},
     "elements.10.name", "There is another T1_drop"),
    ("too few nodes", {"elements": rows(T1={"nodes": "c1, b1"})}, "elements.8.nodes",
     "Name 3 nodes divided by commas, in this order: collector, base, emitter. There are 2."),
    ("one node at both ends", {"elements": rows(R11={"nodes": "rail, rail"})}, "elements.1.nodes", "all its ends"),
    ("more nodes than are worked out", {"elements": rows(**{f"R{n}": {"nodes": f"rail, n{n}", "text": "1 Ω"}
     for n in range(100, 161)})}, "elements.0.nodes", "at most 60"),
    ("no kind", {"elements": rows(R11={"kind": "thing"})}, "elements.1.kind", "Choose one of the kinds"),
    ("an unknown word", {"elements": rows(T1={"more": "colour red"})}, "elements.8.more", "“colour red” is not"),
    ("a wire for three ends", {"elements": rows(T1={"when_empty": "wire"})}, "elements.8.when_empty", "three ends"),
    ("no rating", {"elements": rows(R11={"rating": "5 kg"})}, "elements.1.rating", "“5 kg” is no rating"),
    ("an unknown source", {"sweep_source": "V9"}, "sweep_source", "There is no element V9."),
    ("no source", {"sweep_source": "R11"}, "sweep_source", "R11 is no source"),
    ("questions without a sweep", {"sweep_source": ""}, "sweep_source", "Say which source is turned down"),
    ("a range upside down", {"sweep_low": "13 V"}, "sweep_high", "It must be above the lower end."),
    ("an unknown element", {"questions": [WINDOW | {"which": "T7"}]}, "questions.0.which", "There is no element T7."),
    ("an unknown node", {"questions": [{"which": "no", "how": "is above", "value": "1 V"}]}, "questions.0.which",
     "There is no node no."),
    ("a node without an amount", {"questions": [{"which": "c1", "how": "is above"}]}, "questions.0.value",
     "Say how many V."),
    ("an unknown node to draw", {"watch": "c1, nowhere"}, "watch", "There is no node nowhere."),
    ("a reference that is no node", {"reference": "earth"}, "reference", "earth"),
    ("a position that is not there", {"elements": rows(D9={"designator": "D77"})}, "elements.4.designator", "D77"),
    ("no time constant", {"fall_kind": "time constant"}, "fall.0.text", "Say how many s."),
    ("a time below nothing", {"fall_kind": "time constant", "fall": [{"text": "0 s"}]}, "fall.0.text", "above 0"),
    ("a length without a fall", {"questions": [WINDOW | {"most": "5 ms"}]}, "questions.0.most", "how the rail falls"),
    ("nothing at all", {"elements": [], "questions": [], "sweep_source": ""}, "elements.0.name", "at least one"),
]  # fmt: skip


@pytest.mark.parametrize(("changed", "field", "words"), [row[1:] for row in REFUSED], ids=[row[0] for row in REFUSED])
def test_what_is_refused_is_told_beside_its_row(scene: Bench, changed: dict[str, Any], field: str, words: str) -> None:
    messages = scene.refuse(AttachCircuit, **circuit(**changed))

    assert field in messages
    assert words in messages[field]


def test_a_node_where_only_one_element_ends_is_told_of(scene: Bench) -> None:
    """A slip of the pen in a node's name makes a node of its own."""
    attach(scene, elements=rows(R20={"nodes": "rail, sevred", "text": "1 kΩ"}))

    assert "Only one element ends at node “sevred”: no current flows there." in kept(scene)["circuit"]["notes"]


@pytest.mark.parametrize("name", ["<b>R1</b>", "R'; DROP TABLE part; --", "日本", "R" * 40])
def test_any_name_that_can_be_printed_will_do(scene: Bench, name: str) -> None:
    attach(scene, elements=[*rows(), {"name": name, "nodes": f"rail, {name}", "text": "1 kΩ"}], questions=[])

    assert line(scene, f"V_{name}") == pytest.approx(12)


# ---- What is asked about what is not there, and what is no resistance ----


def test_a_question_about_a_part_that_is_not_there_yet_leaves_the_rest_of_the_case(scene: Bench) -> None:
    """In the stock machine there is no Zener diode; its voltages and pictures are still told."""
    diode = rows(D9={"nodes": "rail, top", "when_empty": "nothing"}, RL={"nodes": "rail, top", "text": "10 kΩ"})
    attach(scene, elements=diode, questions=[{"which": "D9", "how": "conducts"}, WINDOW])

    first, second = kept(scene)["circuit"]["answers"]
    assert "There is no element “D9”" in first["missing"]
    assert first["stretches"] == []
    assert second["missing"] == ""
    assert line(scene, "V_c1") == pytest.approx(12.0, abs=0.1)


def test_a_recorded_link_of_no_resistance_is_a_wire(scene: Bench) -> None:
    """As it is on a net; typed, no resistance is a slip of the pen and is refused."""
    scene.do(EnterPart, board=MAIN, designator="R9", kind="resistor", value="0 Ω", origin="original")
    link = {"nodes": "c1, far", "board": MAIN, "designator": "R9", "source": "part"}
    attach(scene, elements=rows(R9=link, RL={"nodes": "far, 0", "text": "10 kΩ"}))

    assert line(scene, "V_far") == pytest.approx(line(scene, "V_c1"), abs=1e-5)
    assert "R9 is a wire: of no resistance, original part at R9." in kept(scene)["circuit"]["notes"]


def test_a_rail_that_starts_above_what_was_asked_for_is_looked_at_from_there(scene: Bench) -> None:
    """From 12 V in 100 ms: T2 lets go at 7.7 V, above the 5 V from which the keeper wanted to look."""
    attach(scene, **FALL | {"sweep_high": "5 V", "fall_start": "12 V"}, questions=[WINDOW])

    assert line(scene, "Q1_lasts") == pytest.approx(0.1859, abs=4e-4)


def test_each_part_of_a_question_is_told_by_itself(scene: Bench) -> None:
    """T1 conducts as soon as its base gets there; which of the two decides is seen side by side."""
    attach(scene)

    answer = kept(scene)["circuit"]["answers"][0]
    alone = [[(one["low"][0], one["high"][0]) for one in part] for part in answer["parts"]]
    both = [(one["low"][0], one["high"][0]) for one in answer["stretches"]]
    assert both == [(pytest.approx(1.2, abs=0.05), pytest.approx(7.7, abs=0.05))]
    assert alone[0][0][0] == both[0][0]
    assert alone[1] == [(0.0, both[0][1])]
