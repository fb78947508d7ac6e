"""A sum to try the record with: the current through an indicator, whose resistor is at R2, against its rating."""

from typing import Any

from tests.records.conftest import MAIN

SUPPLY = {"name": "V", "text": "5 V ±5 %"}
DROP = {"name": "Vf", "text": "1.8..2.2 V"}
CURRENT = {"name": "I", "expression": "(V - Vf) / R", "unit": "mA", "label": "Current"}
AT_MOST = {"line": "I", "kind": "at_most", "value": "12 mA", "basis": "rating of the indicator"}


def at(designator: str, name: str = "R", **more: str) -> dict[str, str]:
    return {"name": name, "source": "part", "board": MAIN, "designator": designator, **more}


def lamp(**changed: Any) -> dict[str, Any]:
    """The current through an indicator, whose resistor is at R2."""
    rows = {"inputs": [SUPPLY, DROP, at("R2")], "lines": [CURRENT], "limits": [AT_MOST]}
    return {"mod": 1, "title": "Indicator", **rows, **changed}


READER = {"name": "I1", "source": "line", "other_calculation": "1", "other_line": "I"}
POWER = {"name": "P", "expression": "I1 ** 2 * R", "unit": "mW"}
