"""The sentences of limits: the worked example, each outcome, and numbers that never contradict their verdict."""

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from server.engineering.quantities import parse
from server.engineering.sheet import Histogram, Limit, LineResult
from server.engineering.toleranced import convert
from server.engineering.verdicts import judge, margins


def _line(nominal: float, low: float, high: float, unit: str = "mA", label: str = "Current") -> LineResult:
    return LineResult("I", "V / R", unit, nominal, low, high, low, high, {}, (), Histogram((low, high), (1,)), label)


def _sentence(limit: Limit, line: LineResult) -> str:
    assert not isinstance(limit.value, str)
    against = convert(limit.value, line.unit)
    return judge(limit, line, against, margins(limit.kind, line, against)).sentence


@pytest.mark.parametrize(
    ("limit", "line", "sentence"),
    [
        (
            Limit("I", "at_most", parse("10 mA")),
            _line(10.8696, 10.3, 11.4),
            "Current is 10.87 mA, and at worst 11.4 mA: over the 10 mA allowed",
        ),
        (
            Limit("I", "at_most", parse("10 mA")),
            _line(9.8, 9.3, 10.3),
            "Current is 9.8 mA, but at worst 10.3 mA: over the 10 mA allowed",
        ),
        (
            Limit("I", "at_most", parse("0.01 A")),
            _line(9.0, 8.5, 9.5),
            "Current is 9 mA, and at worst 9.5 mA: within the 10 mA allowed",
        ),
        (
            Limit("I", "at_most", parse("10 mA")),
            _line(10.64, 10.64, 10.64),
            "Current is 10.64 mA: over the 10 mA allowed",
        ),
        (
            Limit("I", "at_least", parse("10 mA")),
            _line(10.5, 9.5, 11.5),
            "Current is 10.5 mA, but at worst 9.5 mA: under the 10 mA needed",
        ),
        (
            Limit("I", "at_least", parse("10 mA")),
            _line(12.0, 11.0, 13.0),
            "Current is 12 mA, and at worst 11 mA: no less than the 10 mA needed",
        ),
        (
            Limit("I", "between", parse("9..11 mA")),
            _line(10.0, 9.5, 10.5),
            "Current is 10 mA, and at worst 9.5 mA to 10.5 mA: within the 9 mA to 11 mA allowed",
        ),
        (
            Limit("I", "between", parse("9..11 mA")),
            _line(12.0, 11.5, 12.5),
            "Current is 12 mA, and at worst 11.5 mA to 12.5 mA: outside the 9 mA to 11 mA allowed",
        ),
        (
            Limit("T", "at_most", parse("60 °C")),
            _line(50.0, 40.0, 62.0, "°C", ""),
            "I is 50 °C, but at worst 62 °C: over the 60 °C allowed",
        ),
    ],
)
def test_a_verdict_is_told_in_plain_words_with_units(limit: Limit, line: LineResult, sentence: str) -> None:
    """One sentence: what it is, at worst, and how that stands to the limit."""
    assert sentence == _sentence(limit, line)


def test_a_value_equal_to_its_limit_is_within_it() -> None:
    """Also by a rounding error of the sum."""
    limit, line = Limit("I", "at_most", parse("10 mA")), _line(10.0, 10.0, 10.0 + 2e-15)

    judged = judge(limit, line, parse("10 mA"), margins("at_most", line, parse("10 mA")))

    assert judged.verdict == "holds"


@given(st.floats(min_value=1e-7, max_value=1e-2))
@example(0.005)
@settings(max_examples=60, deadline=None)
def test_a_value_just_over_its_limit_is_never_shown_as_equal_to_it(excess: float) -> None:
    """As many digits as it takes: `10.00001 mA`, not `10 mA: over the 10 mA allowed`."""
    sentence = _sentence(Limit("I", "at_most", parse("10 mA")), _line(10 + excess, 10 + excess, 10 + excess))

    shown = float(sentence.removeprefix("Current is ").partition(" ")[0])
    assert shown > 10.0
    assert sentence.endswith(": over the 10 mA allowed")


def test_a_margin_is_what_the_worst_case_leaves() -> None:
    """To the nearer end of a band; negative beyond it."""
    line = _line(10.0, 9.5, 10.8)

    assert pytest.approx(tuple(margins("at_most", line, parse("11 mA")))) == (1.0, 0.2)
    assert pytest.approx(tuple(margins("at_least", line, parse("11 mA")))) == (-1.0, -1.5)
    assert pytest.approx(tuple(margins("between", line, parse("9..11 mA")))) == (1.0, 0.2)
