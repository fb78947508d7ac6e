"""The balance of a network's junctions, for many states at once: damped Newton, and ways round where it fails.

The linear part of a network is solved once a draw (`ports.py`). What is left are the p junction voltages v of each
state, with K (`keep`), Z (`reach`) and d (`drive`) of shapes (states, p, p), (states, p, p), (states, p):

    K v + Z i(v) = d        Newton's matrix  K + Z diag(di/dv)

- Newton's steps are shortened where a junction would jump into conduction (`Junctions.limited`), and by half after
  12, by three quarters after 30 that did not end.
- A state that does not settle is solved with a conductance across every junction that is taken away in steps; if that
  fails, with all sources turned up from nothing, in steps that adapt; if that fails too, from other starts.
- A balance whose matrix has a negative determinant cannot last: with whatever capacitance, something in it grows
  (M. M. Green, A. N. Willson, IEEE Trans. Circuits Syst. I 39 (1992) 549, from memory). It is left along the direction
  that grows.

Voltages in V, `reach` in Ω. Nothing is raised: what did not settle is told by a mask of shape (states,).
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from server.engineering.network.junctions import Array, Junctions, Places

Mask = NDArray[np.bool_]

_MOST_STEPS = 80
_DAMPED = ((30, 0.25), (12, 0.5))
_CLOSE = 1e-8
_FIRST_POWER, _POWERS = 4.0, 14.0
_SMALLEST_TURN, _MOST_TURNS, _STEPS_A_TURN = 1e-6, 300, 40
_OTHER_STARTS, _CONDUCTING = 32, 1e-3
_MOST_PUSHES, _NO_GROWTH = 16, 1e-11
_KICKS = (0.1, -0.1, 0.4, -0.4, 1.0, -1.0)


@dataclass(frozen=True)
class Balance:
    """The equation above for a stack of states."""

    keep: Array
    reach: Array
    drive: Array
    law: Junctions

    def take(self, places: Places) -> "Balance":
        return Balance(self.keep[places], self.reach[places], self.drive[places], self.law.take(places))

    def at(self, volts: Array) -> tuple[Array, Array]:
        """What is left of the equation, (states, p), and Newton's matrix, (states, p, p)."""
        current, slope = self.law.currents(volts)
        left = self.keep @ volts[:, :, None] + self.reach @ current[:, :, None]
        return left[:, :, 0] - self.drive, self.keep + self.reach * slope[:, None, :]


_WayRound = Callable[[Balance, Array], tuple[Array, Mask]]


def settle(problem: Balance, start: Array) -> tuple[Array, Mask, Mask]:
    """Junction voltages, whether each state settled, and whether it had to be pushed off a balance that cannot last."""
    volts, settled = newton(problem, start)
    for way_round in (_by_conductances, _by_sources, _by_other_starts):
        _retry(problem, volts, settled, way_round, start)
    pushed = settled & unlasting(problem, volts)
    if pushed.any():
        places = np.flatnonzero(pushed)
        volts[places], settled[places] = _pushed_off(problem.take(places), volts[places])
    return volts, settled, pushed


def closing_step(problem: Balance, volts: Array) -> tuple[Array, Array]:
    """Settled voltages after one more of Newton's steps, with the currents on its tangent.

    Together they fulfil the equation to the last digit, as the law's own currents at these voltages, where a junction
    is steep, do not.
    """
    if not volts.shape[1]:
        return volts, volts
    current, slope = problem.law.currents(volts)
    left, matrix = problem.at(volts)
    step = solved(matrix, left)
    return volts - step, current - slope * step


def newton(problem: Balance, start: Array, most: int = _MOST_STEPS) -> tuple[Array, Mask]:
    """Junction voltages by Newton's steps alone, and which states they settled for."""
    found, settled = start.copy(), np.ones(len(start), dtype=np.bool_)
    if start.shape[1] == 0:
        return found, settled
    settled[:] = False
    places, volts = np.arange(len(start)), start
    for count in range(most):
        left, matrix = problem.at(volts)
        step = solved(matrix, left)
        done = (np.abs(step) <= _CLOSE * (1 + np.abs(volts))).all(axis=1)
        step[~done] *= next((damped for after, damped in _DAMPED if count >= after), 1.0)
        volts = problem.law.limited(volts - step, volts)
        if done.any():
            found[places[done]], settled[places[done]] = volts[done], True
            going = np.flatnonzero(~done)
            if not going.size:
                break
            places, volts, problem = places[going], volts[going], problem.take(going)
    else:
        found[places] = volts
    return found, settled


def solved(matrix: Array, side: Array) -> Array:
    """The solution of each system, or the smallest that comes closest where one of them has none."""
    try:
        found = np.asarray(np.linalg.solve(matrix, side[:, :, None])[:, :, 0], dtype=np.float64)
    except np.linalg.LinAlgError:
        found = np.asarray((np.linalg.pinv(matrix) @ side[:, :, None])[:, :, 0], dtype=np.float64)
    return found if np.isfinite(found).all() else np.nan_to_num(found, nan=0.0, posinf=1.0, neginf=-1.0)


def unlasting(problem: Balance, volts: Array) -> Mask:
    """Which balances cannot last. With fewer than two transistors (four junctions) there is only one, which does."""
    if volts.shape[1] < 4:
        return np.zeros(len(volts), dtype=np.bool_)
    sign, _ = np.linalg.slogdet(problem.at(volts)[1])
    return np.asarray(sign < 0)


def left_for_good(problem: Balance, volts: Array) -> tuple[Array, bool]:
    """One state, (1, p), pushed along each direction that grows until none is left, and whether it was.

    A determinant tells an odd number of such directions only, as two latches at once do not have. Where no push leads
    to a state with fewer of them, it is let be.
    """
    moved = False
    if volts.shape[1] < 4:
        return volts, moved
    for _ in range(_MOST_PUSHES):
        directions = _growing(problem, volts)
        pushes = [size * direction for direction in directions for size in _KICKS]
        better = next(
            (found for push in pushes if (found := _fewer(problem, volts + push, len(directions))) is not None), None
        )
        if better is None:
            break
        volts, moved = better, True
    return volts, moved


def _growing(problem: Balance, volts: Array) -> list[Array]:
    """The directions along which one state would leave its balance, each of largest part 1."""
    growth, directions = np.linalg.eig(problem.at(volts)[1][0])
    real = np.abs(growth.imag) <= 1e-9 * np.abs(growth)
    chosen = real & (growth.real < -_NO_GROWTH * np.abs(growth).max())
    return [np.real(direction) / np.abs(direction).max() for direction in directions.T[chosen]]


def _fewer(problem: Balance, start: Array, count: int) -> Array | None:
    """The state that a start leads to, if fewer directions grow there."""
    found, settled = newton(problem, start)
    return found if settled.all() and len(_growing(problem, found)) < count else None


def _retry(problem: Balance, volts: Array, settled: Mask, way: _WayRound, start: Array) -> None:
    """Put the states that a way round settles in their places."""
    places = np.flatnonzero(~settled)
    if places.size:
        found, now = way(problem.take(places), start[places])
        volts[places[now]], settled[places[now]] = found[now], True


def _by_conductances(problem: Balance, start: Array) -> tuple[Array, Mask]:
    """With a conductance across every junction, in units of the one that `keep` was made with, that is taken away."""
    own = np.eye(start.shape[1])

    def bridged(part: Balance, along: Array) -> Balance:
        conductance = np.where(along < 1, 10 ** (_FIRST_POWER - _POWERS * along), 0.0)
        return replace(part, keep=part.keep + conductance[:, None, None] * (own - part.keep))

    return _gradually(problem, bridged)


def _by_sources(problem: Balance, _: Array) -> tuple[Array, Mask]:
    """With every source turned up from nothing."""

    def turned(part: Balance, along: Array) -> Balance:
        return replace(part, drive=part.drive * along[:, None])

    return _gradually(problem, turned)


def _by_other_starts(problem: Balance, start: Array) -> tuple[Array, Mask]:
    """From junctions that conduct or do not by the throw of a coin, the same each time."""
    stream = np.random.default_rng(_OTHER_STARTS)
    conducting = problem.law.width * np.log1p(_CONDUCTING / problem.law.saturation)
    volts, settled = start.copy(), np.zeros(len(start), dtype=np.bool_)
    for _ in range(_OTHER_STARTS):
        places = np.flatnonzero(~settled)
        if not places.size:
            break
        thrown = np.where(stream.random(start.shape[1]) < 0.5, 0.0, conducting[places])
        found, now = newton(problem.take(places), thrown)
        volts[places[now]], settled[places[now]] = found[now], True
    return volts, settled


def _gradually(problem: Balance, changed: Callable[[Balance, Array], Balance]) -> tuple[Array, Mask]:
    """From all voltages at nothing to the problem as it is (along = 1), each state at its own pace."""
    volts = np.zeros_like(problem.drive)
    reached, pace = np.zeros(len(volts)), np.full(len(volts), 0.1)
    for _ in range(_MOST_TURNS):
        places = np.flatnonzero((reached < 1) & (pace > _SMALLEST_TURN))
        if not places.size:
            break
        aim = np.minimum(reached[places] + pace[places], 1.0)
        found, settled = newton(changed(problem.take(places), aim), volts[places], _STEPS_A_TURN)
        good = places[settled]
        volts[good], reached[good] = found[settled], aim[settled]
        pace[places] *= np.where(settled, 2.0, 0.25)
    return volts, reached >= 1


def _pushed_off(problem: Balance, volts: Array) -> tuple[Array, Mask]:
    """Other balances, near those that cannot last, that do."""
    growth, directions = np.linalg.eig(problem.at(volts)[1])
    real = np.where(np.abs(growth.imag) < 1e-9 * np.abs(growth), growth.real, np.inf)
    worst = np.argmin(real, axis=1)
    push = np.real(directions[np.arange(len(volts)), :, worst])
    push = push / np.maximum(np.abs(push).max(axis=1, keepdims=True), 1e-300)
    found, lasting = volts.copy(), np.zeros(len(volts), dtype=np.bool_)
    for size in _KICKS:
        places = np.flatnonzero(~lasting)
        if not places.size:
            break
        part = problem.take(places)
        other, settled = newton(part, volts[places] + size * push[places])
        good = settled & ~unlasting(part, other)
        found[places[good]], lasting[places[good]] = other[good], True
    return found, lasting
