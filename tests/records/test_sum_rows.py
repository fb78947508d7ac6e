"""A sum as it is typed: whatever will not do is told beside its field, and nothing is stored."""

from typing import Any

import pytest

from server.records.commands.calculations import AttachCalculation, ReviseCalculation
from tests.records.conftest import Bench
from tests.records.indicator import AT_MOST, CURRENT, DROP, READER, SUPPLY, at, lamp

REFUSED: list[tuple[dict[str, Any], str]] = [
    ({"title": ""}, "title"),
    ({"lines": []}, "lines.0.expression"),
    ({"lines": [CURRENT | {"expression": "(V - Vf / R"}]}, "lines.0.expression"),
    ({"lines": [CURRENT | {"expression": "__import__('os')"}]}, "lines.0.expression"),
    ({"lines": [CURRENT | {"expression": "V.real"}]}, "lines.0.expression"),
    ({"lines": [CURRENT, {"name": "J", "expression": ""}]}, "lines.1.expression"),
    ({"lines": [CURRENT, {"name": "J", "expression": "I + nothing"}]}, "lines.1.expression"),
    ({"lines": [CURRENT, {"name": "J", "expression": "K"}, {"name": "K", "expression": "J"}]}, "lines.1.expression"),
    ({"lines": [CURRENT, {"name": "J", "expression": "I + V"}]}, "lines.1.expression"),
    ({"lines": [CURRENT, {"name": "J", "expression": "V / (R - R)"}]}, "lines.1.expression"),
    ({"lines": [CURRENT | {"unit": "furlong"}]}, "lines.0.unit"),
    ({"lines": [CURRENT | {"unit": "V"}]}, "lines.0.unit"),
    ({"lines": [CURRENT, CURRENT]}, "lines.1.name"),
    ({"lines": [CURRENT | {"name": "1st"}], "limits": []}, "lines.0.name"),
    ({"lines": [CURRENT | {"name": "sqrt"}], "limits": []}, "lines.0.name"),
    ({"lines": [CURRENT | {"name": "V"}], "limits": []}, "lines.0.name"),
    ({"inputs": [SUPPLY | {"text": "five volts"}, DROP, at("R2")]}, "inputs.0.text"),
    ({"inputs": [SUPPLY | {"text": ""}, DROP, at("R2")]}, "inputs.0.text"),
    ({"inputs": [SUPPLY | {"unit": "A"}, DROP, at("R2")]}, "inputs.0.text"),
    ({"inputs": [SUPPLY | {"unit": "furlong"}, DROP, at("R2")]}, "inputs.0.unit"),
    ({"inputs": [SUPPLY, DROP, at("R2"), SUPPLY]}, "inputs.3.name"),
    ({"inputs": [SUPPLY, DROP, at("R2", when_empty="none")]}, "inputs.2.when_empty"),
    ({"inputs": [SUPPLY, DROP, at("")]}, "inputs.2.designator"),
    ({"inputs": [SUPPLY, DROP, at("R99")]}, "inputs.2.designator"),
    ({"inputs": [SUPPLY, DROP, at("R2") | {"board": "drive"}]}, "inputs.2.board"),
    ({"inputs": [SUPPLY, DROP, {"name": "R", "source": "trial"}]}, "inputs.2.trial"),
    ({"inputs": [SUPPLY, DROP, {"name": "R", "source": "trial", "trial": "7"}]}, "inputs.2.trial"),
    ({"inputs": [SUPPLY, DROP, {"name": "R", "source": "line"}]}, "inputs.2.other_line"),
    ({"inputs": [SUPPLY, DROP, at("R2"), READER | {"other_calculation": "7"}]}, "inputs.3.other_calculation"),
    ({"inputs": [SUPPLY, DROP, at("R2") | {"source": "hearsay"}]}, "inputs.2.source"),
    ({"limits": [AT_MOST | {"line": "J"}]}, "limits.0.line"),
    ({"limits": [AT_MOST | {"value": "much"}]}, "limits.0.value"),
    ({"limits": [AT_MOST | {"value": "12 V"}]}, "limits.0.value"),
    ({"limits": [AT_MOST | {"kind": "between"}]}, "limits.0.value"),
    ({"limits": [AT_MOST | {"kind": "about"}]}, "limits.0.kind"),
    ({"inputs": [SUPPLY | {"name": f"V{number}"} for number in range(41)]}, "inputs.0.name"),
    ({"assumptions": [{"sentence": ""}]}, "assumptions.0.sentence"),
]


@pytest.mark.parametrize("bench", ["sqlite"], indirect=True)
@pytest.mark.parametrize(("changed", "field"), REFUSED)
def test_a_fault_is_told_beside_its_field(bench: Bench, changed: dict[str, Any], field: str) -> None:
    """When a sum is attached, and when it is revised; nothing is stored."""
    bench.plan()
    bench.do(AttachCalculation, **lamp())
    attached = bench.refuse(AttachCalculation, **lamp(**changed))
    revised = bench.refuse(ReviseCalculation, calculation=1, opened_version=1, **lamp(**changed))

    assert field in attached
    assert attached == revised
    assert all(attached.values())


def test_unknown_names_are_found_while_a_part_is_missing(bench: Bench) -> None:
    """Nothing can be evaluated yet, and the sum would be stored broken."""
    bench.plan(state="considered")
    broken = CURRENT | {"expression": "(V - Vf) / resistance"}

    messages = bench.refuse(AttachCalculation, **lamp(inputs=[SUPPLY, DROP, at("U7")], lines=[broken]))
    assert list(messages) == ["lines.0.expression"]
    assert bench.do(AttachCalculation, **lamp(inputs=[SUPPLY, DROP, at("U7")])).seq
