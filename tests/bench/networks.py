"""A thousand draws times two hundred points of a two-transistor network with twelve nodes, against bare numpy.

The floor is what `numpy.linalg.solve` needs for 200,000 systems of that network's size, once; Newton's method needs
several of them a state. Beside it, one `scipy.optimize.root` call a point on the same equations written out as a
function, timed for a few points and reckoned up. Then a table of cost against nodes, points and draws. Run with
`python -m tests.bench networks`; aims: at most 12 times the floor, and at least 30 times faster than scipy.
"""

from functools import partial
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import root

from server.engineering.network import (
    NPN,
    Element,
    Network,
    Resistor,
    VoltageSource,
    conducting_while_released,
    sweep,
    thresholds,
)
from server.engineering.network.assembly import assemble
from server.engineering.network.drawn_values import DrawnValues
from server.engineering.quantities import parse
from tests.bench.timing import best, told

DRAWS, POINTS, NODES = 1_000, 200, 12
FLOOR_AIM, SCIPY_AIM = 12.0, 30.0
_SCIPY_POINTS = 40
Array = NDArray[np.float64]


def main() -> None:
    """Print each time, its floor and their ratio; then the table."""
    network, rails = two_transistors(NODES), np.linspace(12.0, 0.0, POINTS)
    ours, floor = best(lambda: sweep(network, "V", rails, draws=DRAWS), lambda: _bare(network), rounds=3)
    told(f"{DRAWS:,} draws times {POINTS} points of {NODES} nodes", ours, floor, FLOOR_AIM)
    (a_point,) = best(lambda: _by_scipy(network), rounds=3)
    states = (DRAWS + 1) * POINTS
    by_scipy = a_point / _SCIPY_POINTS * states
    times = f"{by_scipy / ours:.0f} times ours (aim: at least {SCIPY_AIM:.0f})"
    print(f"the same by one scipy.optimize.root a point: {by_scipy:.1f} s, {times}")
    (ends,) = best(lambda: thresholds(network, "V", 0.0, 12.0, conducting_while_released("Q2", "Q1")), rounds=1)
    print(f"thresholds of two conditions over {DRAWS:,} draws: {ends:.2f} s")
    _table()


def two_transistors(nodes: int) -> Network:
    """One transistor that holds another off, each resistor but the loads as a row of parts with a tolerance."""
    spare = nodes - 5
    upper = _row("R1", "rail", "b1", "9.1 kΩ ±5 %", spare // 2)
    feed = _row("R4", "c1", "b2", "10 kΩ ±5 %", spare - spare // 2)
    parts: tuple[Element, ...] = (
        VoltageSource("V", "rail", "0", 12.0),
        Resistor("R2", "b1", "0", parse("1 kΩ ±5 %")),
        NPN("Q1", "c1", "b1", "0", gain=parse("100..300"), drop=parse("0.60 V ±0.03 V")),
        Resistor("R3", "rail", "c1", parse("10 kΩ ±5 %")),
        NPN("Q2", "c2", "b2", "0", gain=parse("100..300"), drop=parse("0.60 V ±0.03 V")),
        Resistor("R5", "rail", "c2", parse("1 kΩ ±5 %")),
    )
    return Network((*parts, *upper, *feed))


def _row(name: str, first: str, last: str, value: str, inner: int) -> list[Element]:
    """Resistors in series between two nodes, with so many nodes between them."""
    ends = [first, *(f"{name}.{place}" for place in range(inner)), last]
    whole = parse(value)
    share = parse(f"{whole.nominal / (inner + 1):.6g} {whole.unit} ±5 %")
    return [Resistor(f"{name}.{k}", a, b, share) for k, (a, b) in enumerate(pairwise(ends))]


def _bare(network: Network) -> Array:
    """As many systems of that size as there are states, in portions that suit the cache."""
    size = len(network.nodes) + 1
    stream = np.random.default_rng(1)
    matrices = stream.random((DRAWS, size, size)) + size * np.eye(size)
    sides = stream.random((DRAWS, size, 1))
    for _ in range(POINTS):
        found = np.linalg.solve(matrices, sides)
    return np.asarray(found)


def _by_scipy(network: Network) -> None:
    """Some points, each by one call from the point before, on the nominal equations."""
    made = assemble(network, DrawnValues(network, 0, 0))
    matrix, fixed, nodes = made.matrix()[0], made.right_side()[0], made.node_count
    law = made.junctions

    def left(x: Array) -> Array:
        current, _ = law.currents((made.taps @ x[:nodes])[None])
        out = matrix @ x - fixed
        out[:nodes] += made.takes[0] @ current[0]
        return np.asarray(out)

    x = np.zeros(len(fixed))
    for rail in np.linspace(0.5, 1.5, _SCIPY_POINTS):
        fixed[-1] = rail
        x = root(left, x, method="hybr").x


def _table() -> None:
    print("nodes  points  draws     ms   µs a state")
    for nodes, points, draws in (
        (12, 200, 0),
        (12, 200, 100),
        (12, 200, 1_000),
        (12, 50, 1_000),
        (12, 1, 1_000),
        (6, 200, 1_000),
        (24, 200, 1_000),
        (48, 200, 1_000),
    ):
        network, rails = two_transistors(nodes), np.linspace(12.0, 0.0, points)
        (took,) = best(partial(sweep, network, "V", rails, draws=draws), rounds=2)
        print(f"{nodes:5} {points:7} {draws:6} {took * 1e3:7.1f} {took / points / (draws + 1) * 1e6:9.2f}")


if __name__ == "__main__":
    main()
