"""The linear part of a network, solved once for every draw, and the whole state got back from the junctions.

With the matrix A and right side s of `equations.py`, one source at u, and a conductance g0 put across every junction
so that the rest is solvable by itself (taken off again on the right side, hence exact):

    (A + C' g0 C) x = s + u s1 - B i(v) + C' g0 v,      v = C x

    K = 1 - C (A + C' g0 C)^-1 C' g0        Z = C (A + C' g0 C)^-1 B        d = C (A + C' g0 C)^-1 (s + u s1)

so that a sweep of a thousand draws costs one inversion a draw of the whole network, and small systems of as many
unknowns as there are junctions after that (`balance.py`). g0 = 0.1 mS lies between the conductances of what blocks and
what conducts: rounding costs the most where they are furthest from it, and Kirchhoff's law is checked on the result.

A state is accepted only if the currents at each node, reckoned element by element from the voltages found, add up to
less than 1 nA, or less than 1e-9 of the largest current. Raises NotSettled.
"""

from dataclasses import dataclass

import numpy as np

from server.engineering.network.balance import Balance, closing_step, left_for_good, settle, solved
from server.engineering.network.equations import LEAK, Equations
from server.engineering.network.errors import NotSettled
from server.engineering.network.junctions import Array, Places, Rows
from server.engineering.network.networks import quoted

_ACROSS = 1e-4
_RESIDUAL_AMPERES, _RESIDUAL_SHARE = 1e-9, 1e-9
_MOST_POLISHED = 4
_SPARE_VOLTS = 100.0


@dataclass(frozen=True)
class Flows:
    """Currents in A of many states: (states, arms), (states, sources), (states, drives), (states, junctions).

    `across` are the junctions' voltages in V; the currents of the junctions are without the leak beside them.
    """

    arms: Array
    held: Array
    drives: Array
    junctions: Array
    across: Array


class Ports:
    """A network reduced to its junctions, with one source free to be set."""

    def __init__(self, equations: Equations, source: str | None = None) -> None:
        self.source = source
        rows = equations.rows
        self.equations = equations.with_source(source, np.zeros(rows)) if source is not None else equations
        one = equations.with_source(source, np.ones(rows)) if source is not None else equations
        fixed = self.equations.right_side()
        taps, nodes, count = equations.taps, equations.node_count, len(equations.taps)
        matrix = equations.matrix()
        matrix[:, :nodes, :nodes] += _ACROSS * taps.T @ taps
        sides = np.zeros((rows, matrix.shape[1], 2 * count + 2))
        sides[:, :nodes, :count] = equations.takes
        sides[:, :nodes, count : 2 * count] = _ACROSS * taps.T
        sides[:, :, -2], sides[:, :, -1] = fixed, one.right_side() - fixed
        self._matrix = matrix
        self._ohms, self._reach = _reach(self.equations)
        try:
            found: Array = np.asarray(np.linalg.solve(matrix, sides), dtype=np.float64)
        except np.linalg.LinAlgError as error:
            raise NotSettled("The network's equations have no single solution") from error
        by_current, by_volts = found[:, :, :count], found[:, :, count : 2 * count]
        self.by_junctions = np.concatenate([by_volts, -by_current], axis=2)
        self.fixed, self.per_unit = np.asarray(found[:, :, -2]), np.asarray(found[:, :, -1])
        self.keep = np.eye(count) - taps @ by_volts[:, :nodes]
        self.reach = taps @ by_current[:, :nodes]
        self.open, self.open_per_unit = _times(taps, self.fixed[:, :nodes]), _times(taps, self.per_unit[:, :nodes])

    @property
    def rows(self) -> int:
        return self.equations.rows

    @property
    def junction_count(self) -> int:
        return len(self.equations.taps)

    def solve(self, rows: Rows, values: Array, start: Array) -> tuple[Array, Array, bool]:
        """Junction voltages (states, p) and unknowns (states, n + m) of draws `rows` at source values (states,).

        Also whether any state had to be pushed off a balance that cannot last. Raises NotSettled.
        """
        problem = self.problem(rows, values)
        volts, settled, pushed = settle(problem, start)
        if not settled.all():
            self._refuse(problem, volts, int(np.flatnonzero(~settled)[0]), values)
        volts, current = closing_step(problem, volts)
        unknowns = self.fixed[rows] + values[:, None] * self.per_unit[rows] + self._through(rows, volts, current)
        unknowns = self._polished(rows, values, unknowns)
        self._check(rows, values, unknowns)
        return volts, unknowns, bool(pushed.any())

    def begin(self, value: float) -> tuple[Array, bool]:
        """Junction voltages (1, p) of the nominal values, from nothing, and whether a choice of states was made."""
        nominal, at = np.zeros(1, dtype=np.intp), np.array([value])
        volts, _, pushed = self.solve(nominal, at, np.zeros((1, self.junction_count)))
        volts, moved = left_for_good(self.problem(nominal, at), volts)
        return volts, pushed or moved

    def problem(self, rows: Rows, values: Array) -> Balance:
        drive = self.open[rows] + values[:, None] * self.open_per_unit[rows]
        return Balance(self.keep[rows], self.reach[rows], drive, self.equations.junctions.take(rows))

    def slopes(self, rows: Rows, values: Array, volts: Array) -> Array:
        """How fast the unknowns move with the source, along the states' tangent: per V or per A of it."""
        if not self.junction_count:
            return np.asarray(self.per_unit[rows], dtype=np.float64)
        problem = self.problem(rows, values)
        moved = solved(problem.at(volts)[1], self.open_per_unit[rows])
        _, conductance = problem.law.currents(volts)
        return np.asarray(self.per_unit[rows] + self._through(rows, moved, conductance * moved))

    def _through(self, rows: Rows, volts: Array, current: Array) -> Array:
        """What the junctions bring to the unknowns."""
        both = np.concatenate([volts, current], axis=1)
        return _times(self.by_junctions[rows], both)

    def flows(self, rows: Rows, values: Array, unknowns: Array) -> Flows:
        """Every element's current, from the voltages at its ends."""
        made, nodes = self.equations, self.equations.node_count
        volts = unknowns[:, :nodes]
        emf = _with(made.emf[rows], made.places.arms.get(self.source or ""), values)
        drives = _with(made.amperes[rows], made.places.drives.get(self.source or ""), values)
        across = _times(made.taps, volts)
        arms = made.conductance[rows] * (_times(made.ties, volts) - emf)
        return Flows(arms, unknowns[:, nodes:], drives, made.junctions.take(rows).currents(across)[0], across)

    def _polished(self, rows: Rows, values: Array, unknowns: Array) -> Array:
        """The unknowns; those that rounding left outside Kirchhoff's law, brought in by Newton's steps on the whole."""
        for _ in range(_MOST_POLISHED):
            left, worst = self._worst(rows, values, unknowns)
            rough = np.flatnonzero(~(worst <= 0.5))
            if not rough.size:
                break
            numbers = np.arange(self.rows)[rows][rough]
            unknowns[rough] -= self._correction(numbers, values[rough], unknowns[rough], left[rough])
        return unknowns

    def _correction(self, rows: Places, values: Array, unknowns: Array, left: Array) -> Array:
        """Newton's step of the whole network for the current that is left at its nodes."""
        nodes = self.equations.node_count
        side = np.zeros_like(unknowns)
        side[:, :nodes] = left
        plain = solved(self._matrix[rows], side)
        if not self.junction_count:
            return plain
        problem = self.problem(rows, values)
        volts = _times(self.equations.taps, unknowns[:, :nodes])
        moved = solved(problem.at(volts)[1], _times(self.equations.taps, plain[:, :nodes]))
        _, conductance = problem.law.currents(volts)
        return np.asarray(plain + self._through(rows, moved, conductance * moved))

    def _worst(self, rows: Rows, values: Array, unknowns: Array) -> tuple[Array, Array]:
        """What is left at each node, (states, n), and the worst of it in parts of what may be left, (states,)."""
        left, largest = self._residual(rows, values, unknowns)
        return left, np.abs(left).max(axis=1) / np.maximum(_RESIDUAL_AMPERES, _RESIDUAL_SHARE * largest)

    def _check(self, rows: Rows, values: Array, unknowns: Array) -> None:
        """Kirchhoff's current law at every node of every state, and no voltage that only leaks could hold back."""
        self._check_held(rows, values, unknowns[:, : self.equations.node_count])
        left, worst = self._worst(rows, values, unknowns)
        if not (worst <= 1).all():
            state = int(np.argmax(np.where(np.isnan(worst), np.inf, worst)))
            place = int(np.argmax(np.nan_to_num(np.abs(left[state]), nan=np.inf)))
            raise NotSettled(
                f"The currents at {self._node(place)} do not add up to nothing: {left[state, place]:.2g} A is left"
                f"{self._at(values[state])}",
                node=self._node_name(place),
            )

    def _check_held(self, rows: Rows, values: Array, volts: Array) -> None:
        own = self.equations.places.drives
        reach = self._reach[rows] + np.abs(values) * (self._ohms[rows] if self.source in own else 1.0)
        beyond = np.abs(volts) - reach[:, None]
        if beyond.max(initial=0.0) > 0:
            state, place = np.unravel_index(int(np.argmax(beyond)), volts.shape)
            raise NotSettled(
                f"Nothing holds {self._node(int(place))}: it would go to {volts[state, place]:.2g} V"
                f"{self._at(values[state])}. Is a current driven into a junction that blocks it?",
                node=self._node_name(int(place)),
            )

    def _residual(self, rows: Rows, values: Array, unknowns: Array) -> tuple[Array, Array]:
        """The current that is left at each node (states, n), and the largest of all currents (states,)."""
        made, flows = self.equations, self.flows(rows, values, unknowns)
        left = _times(made.ties.T, flows.arms) + _times(made.held.T, flows.held)
        left += _times(made.driven.T, flows.drives) + _times(made.takes[rows], flows.junctions)
        parts = (flows.arms, flows.held, flows.drives, flows.junctions)
        largest = np.max([np.abs(part).max(axis=1, initial=0.0) for part in parts], axis=0)
        return left, largest

    def _refuse(self, problem: Balance, volts: Array, state: int, values: Array) -> None:
        one = problem.take(np.array([state]))
        volts = volts[[state]]
        starts = {place: name for name, place in self.equations.places.junctions.items()}
        unlimited = one.law.unlimited(volts)[0]
        left = np.where(unlimited.any(), unlimited, np.nan_to_num(np.abs(one.at(volts)[0][0]), nan=np.inf))
        name = next(starts[place] for place in range(int(np.argmax(left)), -1, -1) if place in starts)
        if unlimited.any():
            raise NotSettled(
                f"Nothing limits the current through {quoted(name)}{self._at(values[state])}: there is no resistance "
                "between it and a source that would drive it past a thousand amperes",
                element=name,
            )
        raise NotSettled(
            f"No balance was found in which the currents add up{self._at(values[state])}; it fails at {quoted(name)}",
            element=name,
        )

    def _at(self, value: float) -> str:
        return f" with {quoted(self.source)} at {value:.4g}" if self.source is not None else ""

    def _node_name(self, place: int) -> str:
        return next(name for name, at in self.equations.places.nodes.items() if at == place).lstrip("\0")

    def _node(self, place: int) -> str:
        inside = place >= sum(not name.startswith("\0") for name in self.equations.places.nodes)
        return f"a node inside {quoted(self._node_name(place))}" if inside else f"node {quoted(self._node_name(place))}"


def _with(held: Array, column: int | None, values: Array) -> Array:
    """The same with one column set to these values."""
    if column is None:
        return held
    changed = held.copy()
    changed[:, column] = values
    return changed


def _times(matrix: Array, states: Array) -> Array:
    """A matrix, or one for each state, times each state.

    As a stack of small products: one large one would wake threads that cost more than they do.
    """
    return np.asarray((matrix @ states[:, :, None])[:, :, 0])


def _reach(equations: Equations) -> tuple[Array, Array]:
    """All resistances in a row in Ω, and a voltage in V that no node can pass unless only leaks hold it; (rows,) each.

    Every source in a row, every Zener diode, every driven current through every resistance, and a hundred volts.
    """
    passing = equations.conductance > 2 * LEAK
    ohms = np.where(passing, 1 / equations.conductance, 0.0).sum(axis=1)
    parts = (equations.volts, equations.emf, equations.junctions.onset)
    volts = sum(np.abs(part).sum(axis=1) for part in parts) + np.abs(equations.amperes).sum(axis=1) * ohms
    return ohms, np.asarray(volts + _SPARE_VOLTS)
