"""What is refused of a circuit before it is solved is told beside the field that it is about, and nowhere else."""

from typing import Any

import pytest

from server.records.commands.circuits import AttachCircuit
from server.records.commands.parts import EnterPart
from server.records.tables import Calculation
from tests.records.circuit_scene import WINDOW, attach, circuit, place, rows
from tests.records.conftest import MAIN, Bench

FALL = {"fall_kind": "time constant", "fall": [{"text": "100 ms"}]}
LONG = "R" * 41


@pytest.fixture
def scene(bench: Bench) -> Bench:
    place(bench)
    return bench


REFUSED: list[tuple[str, dict[str, Any], str, str]] = [
    ("an element with a long name", {"elements": rows(**{LONG: {"nodes": "rail, 0", "text": "1 kΩ"}})},
     "elements.10.name", "a name has at most 40 letters"),
    ("a node with a long name", {"elements": rows(R16={"nodes": f"rail, {LONG}"})},
     "elements.9.nodes", "a name has at most 40 letters"),
    ("a letter that cannot be seen", {"elements": rows(**{"R\N{ZERO WIDTH SPACE}1": {"nodes": "rail, 0",
     "text": "1 kΩ"}})}, "elements.10.name", "letters that cannot be seen"),
    ("a node that cannot be seen", {"elements": rows(R16={"nodes": "rail, c\N{ZERO WIDTH SPACE}"})},
     "elements.9.nodes", "letters that cannot be seen"),
    ("a rating beyond all bounds", {"elements": rows(R16={"rating": "1e30 W"})},
     "elements.9.rating", "it must lie between 0 W and 1000000 kW"),
    ("an amount beyond all bounds", {"questions": [{"which": "c1", "how": "is above", "value": "1e9 V"}]},
     "questions.0.value", "must lie between"),
    ("a second amount beyond all bounds", {"questions": [WINDOW, WINDOW | {"value_too": "1e9 A"}]},
     "questions.1.value_too", "must lie between"),
    ("an upper end beyond all bounds", {"sweep_high": "200 kV"}, "sweep_high", "must lie between"),
    ("a lower end beyond all bounds", {"sweep_low": "-200 kV"}, "sweep_low", "must lie between"),
    ("an end that is no voltage", {"sweep_high": "5 Ω"}, "sweep_high", "Ω"),
    ("an end with a tolerance", {"sweep_high": "12 V ±5 %"}, "sweep_high", "without a tolerance"),
    ("no end", {"sweep_low": ""}, "sweep_low", "Say how many V."),
    ("a range upside down in other units", {"sweep_low": "13000 mV"}, "sweep_high", "above the lower end"),
    ("one that no question looks at", {"sweep_low": "13000 mV", "questions": []}, "sweep_high", "above the lower end"),
    ("a range of nothing in other units", {"sweep_low": "12000 mV"}, "sweep_high", "above the lower end"),
    ("a length below nothing", FALL | {"questions": [WINDOW | {"most": "-5 s"}]}, "questions.0.most", "above 0"),
    ("a length of nothing", FALL | {"questions": [WINDOW | {"most": "0 s"}]}, "questions.0.most", "above 0"),
    ("a length in volts", FALL | {"questions": [WINDOW | {"most": "5 V"}]}, "questions.0.most",
     "“5 V” is a voltage; a time in s is asked for."),
    ("an element named as the time constant", FALL | {"elements": rows(fall_tau={"nodes": "rail, 0", "text": "1 kΩ"})},
     "elements.10.name", "fall_tau is what the tau of the fall goes by"),
    ("an element named as the beginning", FALL | {"elements": rows(fall_start={"nodes": "rail, 0", "text": "1 kΩ"})},
     "elements.10.name", "fall_start is what the rail at switch-off goes by"),
    ("a node written two ways", {"elements": rows(R16={"nodes": "Rail, c1"})},
     "elements.9.nodes", "rail and Rail would be two nodes: write it one way."),
    ("a node written two ways in one row", {"elements": rows(R17={"nodes": "spare, Spare", "text": "1 kΩ"})},
     "elements.10.nodes", "spare and Spare would be two nodes: write it one way."),
    ("an element written two ways", {"elements": rows(r16={"nodes": "rail, c1", "text": "1 kΩ"})},
     "elements.10.name", "R16 and r16 would be two elements: call one of them something else."),
    ("a current for a resistance", {"elements": rows(R16={"text": "1 A"})},
     "elements.9.text", "“1 A” is a current; a resistance in Ω is asked for."),
    ("a current for an end of the range", {"sweep_high": "1 A"},
     "sweep_high", "“1 A” is a current; a voltage in V is asked for."),
    ("a resistance far too large", {"elements": rows(R16={"text": "5 TΩ"})},
     "elements.9.text", "It is 5 TΩ; it must lie between 1 mΩ and 10 GΩ."),
    ("a tolerance that reaches below nothing", {"elements": rows(R16={"text": "1 kΩ ±150 %"})},
     "elements.9.text",
     "With its tolerance this reaches below zero, to -0.5 kΩ, and a resistance cannot be negative."),
]  # fmt: skip


@pytest.mark.parametrize(("changed", "field", "words"), [row[1:] for row in REFUSED], ids=[row[0] for row in REFUSED])
@pytest.mark.parametrize("bench", ["sqlite"], indirect=True)
def test_what_is_refused_is_told_beside_its_field_alone(
    scene: Bench, changed: dict[str, Any], field: str, words: str
) -> None:
    messages = scene.refuse(AttachCircuit, **circuit(**changed))

    assert list(messages) == [field]
    assert words in messages[field]


@pytest.mark.parametrize("bench", ["sqlite"], indirect=True)
def test_what_is_wrong_with_a_part_is_told_beside_its_position(scene: Bench) -> None:
    """A capacitor is no resistor; a chip has no value, unless it is said what stands where it is empty."""
    scene.do(EnterPart, board=MAIN, designator="C9", kind="capacitor", value="4.7 nF", origin="original")
    part = {"source": "part", "board": MAIN}
    capacitor, chip = ({"R16": part | {"designator": name}} for name in ("C9", "U7"))

    assert scene.refuse(AttachCircuit, **circuit(elements=rows(**capacitor))) == {
        "elements.9.designator": "What is recorded at C9 is 4.7 nF; a resistance in Ω is asked for."
    }
    assert scene.refuse(AttachCircuit, **circuit(elements=rows(**chip))) == {
        "elements.9.designator": "U7 is a place for a chip, and none with a resistance is recorded there. Name another "
        "place, or say what stands there where it is empty."
    }
    assert scene.rows(Calculation) == []
    attach(scene, elements=rows(R16={**chip["R16"], "when_empty": "1 kΩ"}))


def test_ends_in_other_units_that_are_in_order_will_do(scene: Bench) -> None:
    """From 0.012 kV down to 500 mV."""
    attach(scene, sweep_low="500 mV", sweep_high="0.012 kV")

    swept = scene.row(Calculation, 1).circuit["sweep"]
    assert (swept["low"], swept["high"]) == (0.5, 12.0)


def test_an_element_may_be_named_as_a_value_of_a_fall_that_is_not_asked_about(scene: Bench) -> None:
    attach(scene, elements=rows(fall_tau={"nodes": "rail, 0", "text": "1 kΩ"}), questions=[])

    assert "fall_tau" in {row["name"] for row in scene.row(Calculation, 1).circuit["elements"]}
