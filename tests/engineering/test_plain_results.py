"""Results as JSON and back."""

import json
import math
from uuid import UUID, uuid4

import pytest

from server.engineering.calculations import Calculation, Input, Limit, Line, Result, evaluate, from_plain, to_plain
from server.engineering.quantities import parse


def _result(seed: UUID | int = 5) -> Result:
    calculation = Calculation(
        (Input("V", parse("5.00(5) V"), "Supply"), Input("R", parse("460 Ω ±5 %")), Input("Ta", parse("25 °C"))),
        (Line("I", "V / R", "mA", "Current"), Line("P", "V * I"), Line("T", "Ta")),
        (Limit("I", "at_most", parse("10 mA"), "data sheet"), Limit("T", "at_most", "Ta", "itself")),
        seed=seed,
        draws=500,
    )
    return evaluate(calculation)


@pytest.mark.parametrize("seed", [5, -5, uuid4()])
def test_a_result_comes_back_from_json_as_it_was(seed: UUID | int) -> None:
    """Calculation, lines, limits and seed, to the last digit."""
    result = _result(seed)

    text = json.dumps(to_plain(result), allow_nan=False)

    assert result == from_plain(json.loads(text))


def test_a_plain_result_shows_itself_without_being_evaluated() -> None:
    """Every number finite, with its unit, and the inputs it was run with."""
    plain = to_plain(_result())

    assert {"name": "V", "label": "Supply"}.items() <= plain["inputs"][0].items()
    assert plain["inputs"][0]["value"]["unit"] == "V"
    assert all(line["unit"] for line in plain["lines"])
    assert all(math.isfinite(line["worst_high"]) for line in plain["lines"])
    assert plain["limits"][0]["sentence"].startswith("Current is ")


def test_reading_back_does_not_work_out_anything_again() -> None:
    """A kept number stays, even one that the sums would not give."""
    plain = to_plain(_result())
    plain["lines"][0]["nominal"] = 99.0

    assert from_plain(plain).line("I").nominal == 99.0
