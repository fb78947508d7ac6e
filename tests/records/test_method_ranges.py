"""A sum made from a ready-made method takes no value outside the method's range, wherever the value is from."""

import pytest

from server.engineering.methods import load_methods
from server.engineering.quantities import show
from server.records.commands.calculations import AttachCalculation, ReviseCalculation
from server.records.sums import inputs_asked
from server.records.tables import CalculationRun
from tests.records.conftest import MAIN, Bench

SLUG = "pin_series_resistor"
METHOD = load_methods()[SLUG]


def typed(**other: dict[str, str]) -> dict[str, object]:
    """The method as its form sends it, with some inputs given otherwise."""
    inputs = [
        {"name": given.name, "label": given.label, "unit": given.unit, "text": show(given.usual)}
        | other.get(given.name, {})
        for given in METHOD.inputs
    ]
    lines = [
        {"name": line.name, "expression": line.expression, "unit": line.unit, "label": line.label}
        for line in METHOD.lines
    ]
    limits = [
        {"line": limit.line, "kind": limit.kind, "value": str(limit.value), "basis": limit.basis}
        for limit in METHOD.limits
    ]
    return {
        "mod": 1,
        "title": METHOD.title,
        "method": SLUG,
        "inputs": inputs,
        "lines": lines,
        "limits": limits,
    }


def place(name: str) -> int:
    return [given.name for given in METHOD.inputs].index(name)


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("R", "0 Ω", "It is 0 Ω: at least 1 mΩ is needed."),
        ("V", "-5 V ±1 V", "It is -5 V ±20 %: at least 0 V is needed."),
    ],
)
def test_a_typed_value_outside_the_range_is_told_beside_its_field(
    bench: Bench, name: str, text: str, said: str
) -> None:
    bench.plan()

    refused = bench.refuse(AttachCalculation, **typed(**{name: {"text": text}}))

    assert {f"inputs.{place(name)}.text": said} == refused


def test_the_value_of_an_empty_position_keeps_to_the_range_too(bench: Bench) -> None:
    bench.plan()
    tied = {"source": "part", "board": MAIN, "designator": "R2", "when_empty": "0 Ω"}

    refused = bench.refuse(AttachCalculation, **typed(R=tied))

    assert list(refused) == [f"inputs.{place('R')}.when_empty"]


def test_a_part_outside_the_range_leaves_its_case_without_a_result_that_says_why(bench: Bench) -> None:
    """A link of no ohms planned at R2: stock has its result, as planned has none."""
    bench.plan()
    bench.step("take out", "R2")
    bench.step("fit", "R2", planned_value="0 Ω")

    bench.do(AttachCalculation, **typed(R={"source": "part", "board": MAIN, "designator": "R2"}))

    (run,) = bench.rows(CalculationRun)
    assert "result" in run.cases["stock"]
    assert run.cases["as planned"]["problem"] == "R: Series resistor is 0 Ω: at least 1 mΩ is needed."


def test_a_sum_of_ones_own_has_no_range_but_its_own(bench: Bench) -> None:
    bench.plan()
    given = typed(V={"text": "-5 V"}) | {"method": "", "limits": []}

    bench.do(AttachCalculation, **given)

    assert len(bench.rows(CalculationRun)) == 1
    assert inputs_asked("") == {}
    assert inputs_asked("a_method_that_went") == {}


def test_a_revision_keeps_to_the_range(bench: Bench) -> None:
    bench.plan()
    bench.do(AttachCalculation, **typed())

    refused = bench.refuse(ReviseCalculation, calculation=1, opened_version=1, **typed(R={"text": "0 Ω"}))

    assert list(refused) == [f"inputs.{place('R')}.text"]


def test_what_varies_on_both_sides_is_called_by_its_label(bench: Bench) -> None:
    """A limit that is an input is told by what the input is, not by its letter."""
    bench.plan()

    bench.do(AttachCalculation, **typed(I_rated={"text": "10 mA ±10 %"}))

    (run,) = bench.rows(CalculationRun)
    sentences = [limit["sentence"] for limit in run.cases["stock"]["result"]["limits"]]
    assert "where Rated pin current is 10 mA" in sentences[0]
