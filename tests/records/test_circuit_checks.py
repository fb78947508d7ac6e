"""What is refused of a circuit before it is solved is told beside the field that it is about, and nowhere else."""

from typing import Any

import pytest

from server.records.commands.circuits import AttachCircuit
from server.records.tables import Calculation
from tests.records.circuit_scene import WINDOW, attach, circuit, place, rows
from tests.records.conftest import Bench

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
     "elements.9.rating", "it must lie between 0 and 1e+09 W"),
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
    ("a length in volts", FALL | {"questions": [WINDOW | {"most": "5 V"}]}, "questions.0.most", "a time (s)"),
    ("an element named as the time constant", FALL | {"elements": rows(fall_tau={"nodes": "rail, 0", "text": "1 kΩ"})},
     "elements.10.name", "fall_tau is what the tau of the fall goes by"),
    ("an element named as the beginning", FALL | {"elements": rows(fall_start={"nodes": "rail, 0", "text": "1 kΩ"})},
     "elements.10.name", "fall_start is what the rail at switch-off goes by"),
]  # fmt: skip


@pytest.mark.parametrize(("changed", "field", "words"), [row[1:] for row in REFUSED], ids=[row[0] for row in REFUSED])
@pytest.mark.parametrize("bench", ["sqlite"], indirect=True)
def test_what_is_refused_is_told_beside_its_field_alone(
    scene: Bench, changed: dict[str, Any], field: str, words: str
) -> None:
    messages = scene.refuse(AttachCircuit, **circuit(**changed))

    assert list(messages) == [field]
    assert words in messages[field]


def test_ends_in_other_units_that_are_in_order_will_do(scene: Bench) -> None:
    """From 0.012 kV down to 500 mV."""
    attach(scene, sweep_low="500 mV", sweep_high="0.012 kV")

    swept = scene.row(Calculation, 1).circuit["sweep"]
    assert (swept["low"], swept["high"]) == (0.5, 12.0)


def test_an_element_may_be_named_as_a_value_of_a_fall_that_is_not_asked_about(scene: Bench) -> None:
    attach(scene, elements=rows(fall_tau={"nodes": "rail, 0", "text": "1 kΩ"}), questions=[])

    assert "fall_tau" in {row["name"] for row in scene.row(Calculation, 1).circuit["elements"]}
