"""Values as typed against hand-worked readings: `data/quantity_forms.json` names the source beside each case.

The concise notation's cases are in `data/uncertainty.json` (GUM 7.2.2).
"""

import json
from pathlib import Path
from typing import Any

import pytest

from server.engineering.errors import QuantityError
from server.engineering.quantities import convert, parse

_DATA = Path(__file__).with_name("data")
_FORMS = json.loads(_DATA.joinpath("quantity_forms.json").read_text("utf-8"))["cases"]
_CONCISE = [
    case
    for case in json.loads(_DATA.joinpath("uncertainty.json").read_text("utf-8"))["cases"]
    if case["case_id"].startswith("concise_")
]
# What a case calls a quantity or leaves open, as this program asks for it.
_UNITS = {"resistance": "Ω"}
_KINDS = {"capacitor": "capacitor"}


@pytest.mark.parametrize("case", [c for c in _FORMS if "nominal" in c["expected"]], ids=lambda c: c["case_id"])
def test_a_value_reads_as_worked_by_hand(case: dict[str, Any]) -> None:
    """Nominal, low and high in the SI unit, to one part in 10^12."""
    expected = case["expected"]

    value = convert(parse(case["inputs"]["text"]), expected["si_unit"])

    assert (float(expected["nominal"]), float(expected["low"]), float(expected["high"])) == pytest.approx(
        (value.nominal, value.low, value.high), rel=case["tolerance"]["rel"]
    )


@pytest.mark.parametrize("case", [c for c in _FORMS if "must" in c["expected"]], ids=lambda c: c["case_id"])
def test_a_text_that_must_be_refused_is_refused_with_its_place(case: dict[str, Any]) -> None:
    """Each refusal carries the text and a position in it."""
    asked = case["inputs"].get("kind", "")

    with pytest.raises(QuantityError) as refusal:
        parse(case["inputs"]["text"], unit=_UNITS.get(asked), kind=_KINDS.get(asked))

    assert case["inputs"]["text"] == refusal.value.text
    assert 0 <= (refusal.value.position or 0) <= len(case["inputs"]["text"])


@pytest.mark.parametrize("case", _CONCISE, ids=lambda c: c["case_id"])
def test_digits_in_brackets_are_a_standard_uncertainty_in_the_last_places(case: dict[str, Any]) -> None:
    """JCGM 100 7.2.2, notation 2; low and high lie twice that away."""
    expected = case["expected"]

    value = parse(case["inputs"]["text"])

    assert value.spread == "standard"
    assert float(expected["nominal"]) == pytest.approx(value.nominal, rel=case["tolerance"]["rel"])
    assert float(expected["u"]) == pytest.approx(value.uncertainty, rel=1e-9)
    assert 2 * float(expected["u"]) == pytest.approx(value.high - value.nominal, rel=1e-9)
