"""A million draws through a five-line calculation, against the same arithmetic as bare numpy expressions.

Also one whole evaluation (100,000 draws, four inputs, three lines: draws, worst cases, intervals, shares) against the
drawing and sorting that it cannot do without, and hostile expressions, which must be refused at once. Run with
`python -m tests.bench.formulas`; aims: a ratio below 2.5 for the lines, 25 ms for the evaluation, 50 ms a refusal.
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from server.engineering.calculations import Calculation, Input, Limit, Line, evaluate
from server.engineering.errors import FormulaError
from server.engineering.formulas import compile_line
from server.engineering.quantities import parse
from tests.bench.timing import best, told

DRAWS = 1_000_000
SEED = 1981
LINES = {
    "I": "V / (R1 + R2)",
    "Vout": "V * parallel(R2, RL) / (R1 + parallel(R2, RL))",
    "P": "Vout**2 / RL + I**2 * R1",
    "t": "(R1 + R2) * C * ln(V / (V - Vout))",
    "f": "1 / (2 * pi * sqrt(R1 * R2) * C)",
}
HOSTILE = ("9**9**9", "-" * 499 + "1", "(" * 250 + "1" + ")" * 250, "a" * 100_000, "x" + "**2" * 160, "9" * 499)

Arrays = Mapping[str, NDArray[np.float64]]


def run() -> list[tuple[str, float, float, float]]:
    """What was timed, our seconds, the floor's seconds of the same run, and the ratio aimed at."""
    drawn, calculation = _drawn(), _calculation()
    ours, bare = best(lambda: _ours(drawn), lambda: _bare(drawn), rounds=7)
    whole, needed = best(lambda: evaluate(calculation), _drawn_and_sorted)
    (refused,) = best(_refuse_all)
    return [
        ("1,000,000 draws through five lines", ours, bare, 2.5),
        ("one evaluation of 100,000 draws", whole, needed, 0.025 / needed),
        ("a hostile expression refused, against 50 ms", refused / len(HOSTILE), 0.05, 1.0),
    ]


def main() -> None:
    """Print each time, its floor and their ratio."""
    for name, ours, floor, aim in run():
        told(name, ours, floor, round(aim, 2))


def _drawn() -> dict[str, NDArray[np.float64]]:
    stream = np.random.default_rng(SEED)
    middles = {"V": 5.0, "R1": 1e3, "R2": 2.2e3, "RL": 1e5, "C": 1e-7}
    return {name: middle * stream.uniform(0.95, 1.05, DRAWS) for name, middle in middles.items()}


def _ours(drawn: Arrays) -> dict[str, NDArray[np.float64]]:
    known = dict(drawn)
    for name, expression in LINES.items():
        known[name] = np.asarray(compile_line(expression)(known))
    return known


def _bare(drawn: Arrays) -> list[NDArray[np.float64]]:
    v, r1, r2, rl, c = (drawn[name] for name in ("V", "R1", "R2", "RL", "C"))
    current = v / (r1 + r2)
    out = v * (r2 * rl / (r2 + rl)) / (r1 + r2 * rl / (r2 + rl))
    power = out**2 / rl + current**2 * r1
    time = (r1 + r2) * c * np.log(v / (v - out))
    corner = 1 / (2 * np.pi * np.sqrt(r1 * r2) * c)
    return [current, out, power, time, corner]


def _calculation() -> Calculation:
    values = {"V": "5 V ±5 %", "R": "460 Ω ±5 %", "C": "100 nF -20/+80 %", "Rp": "10.0(1) kΩ"}
    inputs = tuple(Input(name, parse(text)) for name, text in values.items())
    lines = (Line("I", "V / R", "mA"), Line("tau", "parallel(R, Rp) * C", "µs"), Line("P", "V**2 / R", "mW"))
    return Calculation(inputs, lines, (Limit("I", "at_most", parse("10 mA")),), seed=SEED)


def _drawn_and_sorted() -> None:
    stream = np.random.default_rng(SEED)
    drawn = [*(stream.random(100_000) for _ in range(3)), stream.standard_normal(100_000)]
    for results in (drawn[0] / drawn[1], drawn[2] * drawn[3], drawn[0] ** 2 / drawn[1]):
        np.sort(results)


def _refuse_all() -> None:
    compile_line.cache_clear()
    for text in HOSTILE:
        try:
            compile_line(text)
        except FormulaError:
            continue
        raise AssertionError(f"let through: {text[:40]}")


if __name__ == "__main__":
    main()
