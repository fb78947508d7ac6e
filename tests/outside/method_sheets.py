"""What the outside checks of time, clocks, parts, wire, batteries and video share; it holds no check of its own."""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from server.engineering.calculations import Result, evaluate
from server.engineering.methods import FOLDER, Method, load_method
from server.engineering.quantities import exact, parse

CASES: dict[str, dict[str, Any]] = {
    case["case_id"]: case
    for case in json.loads(Path(__file__).with_name("data").joinpath("methods_b.json").read_text("utf-8"))["cases"]
}


def named(start: str) -> list[str]:
    """The cases whose name starts so; it is an error if there are none."""
    found = [name for name in CASES if name.startswith(start)]
    assert found, start
    return found


def method(slug: str) -> Method:
    return load_method(FOLDER / f"{slug}.toml")


def worked(slug: str, **values: float | str) -> Result:
    """The method at its usual values but for those given: a number is in the input's own unit, without a tolerance."""
    ready = method(slug)
    units = {given.name: given.unit for given in ready.inputs}
    taken = {
        name: parse(value, units[name]) if isinstance(value, str) else exact(value, units[name])
        for name, value in values.items()
    }
    return evaluate(ready.calculation(ready.usual_values() | taken, draws=1000))


def verdict(result: Result, line: str) -> str:
    """The verdict of the first limit on a line."""
    return next(limit.verdict for limit in result.limits if limit.limit.line == line)


def until_zero(rates: Sequence[float], slope: float, start: Sequence[float]) -> tuple[float, float]:
    """Integrate dy_i/dt = rate_i + slope y_0 until y_0 is zero: the time, and the last of y then."""

    def reached(_: float, y: NDArray[np.float64]) -> float:
        return float(y[0])

    reached.terminal = True  # type: ignore[attr-defined]
    found = solve_ivp(
        lambda _, y: np.asarray(rates) + slope * y[0], (0.0, 100.0), start, events=reached, rtol=1e-11, atol=1e-12
    )
    assert found.t_events is not None
    assert found.y_events is not None
    return float(found.t_events[0][0]), float(found.y_events[0][0][-1])
