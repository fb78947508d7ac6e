"""The worst case of a model: how low and how high it goes with every input anywhere within its limits.

The box is spanned by the inputs' lows and highs (nominal -/+ 2u for `standard`). Every corner of it is tried for up
to 12 inputs that vary. The model need not be worst at a corner, so a search goes on from the best corner or the best
draw inside the box: along each input, by steps from the whole width down to 1/4096 of it, and along all of them at
once, for as long as that leads on. The extremes of all draws are joined, also those of a `standard` input beyond 2u.

With more than 12 inputs the search starts from the two corners of all lows and all highs and from the best draw. It
finds the worst corner of a model that only rises or only falls along each input; of others it may find less than the
worst, and says so.

A model is a function from named floats or arrays, SI base units, shape (points,), to one array of that shape. It
knows nothing of lines.
"""

from collections.abc import Callable, Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from server.engineering.propagation import Array, Box

Model = Callable[[Mapping[str, float | Array]], float | Array]

MOST_CORNERED = 12
_STEPS = np.concatenate([sign * 2.0 ** -np.arange(13.0) for sign in (1.0, -1.0)])
_MOST_ROUNDS = 100
_EVEN = 1e-12
_NOTED = 1e-6


class Extremes(NamedTuple):
    """The worst case and how it was found."""

    low: float
    high: float
    inside_beats_corners: bool = False
    all_corners: bool = True
    beyond_limits: bool = False


def worst_case(model: Model, boxes: Mapping[str, Box], drawn: Mapping[str, Array], results: Array) -> Extremes:
    """The extremes of a model over its inputs' limits and draws.

    `boxes` are the inputs that vary, at least one, `drawn` their draws, shape (n,); `results` is the model at the
    draws, shape (n,).
    """
    region = _Region(model, boxes)
    corners = region.corners()
    at_corners = region.at(corners)
    drawn_low, drawn_high = float(results.min()), float(results.max())
    starts = {sign: corners[:, [int(np.argmax(sign * at_corners))]] for sign in (-1.0, 1.0)}
    if drawn_low < at_corners.min() or drawn_high > at_corners.max():
        starts |= _better_draws(starts, region, boxes, drawn, results)
    low, high = (region.climb(starts[sign], sign) for sign in (-1.0, 1.0))
    room = _NOTED * (high - low)
    inside = bool(low < at_corners.min() - room or high > at_corners.max() + room)
    return Extremes(
        low=min(low, drawn_low),
        high=max(high, drawn_high),
        inside_beats_corners=inside and region.is_cornered,
        all_corners=region.is_cornered,
        beyond_limits=drawn_low < low - room or drawn_high > high + room,
    )


class _Region:
    """The box as arrays, and the model over points of it, shape (inputs, points)."""

    def __init__(self, model: Model, boxes: Mapping[str, Box]) -> None:
        self.model = model
        self.names = tuple(boxes)
        self.lows = np.array([[box.low] for box in boxes.values()])
        self.highs = np.array([[box.high] for box in boxes.values()])
        self.moves = np.kron(np.eye(len(boxes)), _STEPS) * (self.highs - self.lows)
        self.is_cornered = len(boxes) <= MOST_CORNERED

    def at(self, points: Array) -> Array:
        values = self.model({name: points[i] for i, name in enumerate(self.names)})
        return np.broadcast_to(np.asarray(values, dtype=np.float64), points.shape[1:])

    def corners(self) -> Array:
        """Every corner, or all lows and all highs where there are too many."""
        count = len(self.names)
        if not self.is_cornered:
            return np.hstack([self.lows, self.highs])
        bits = (np.arange(2**count)[np.newaxis, :] >> np.arange(count)[:, np.newaxis]) & 1
        return np.where(bits == 1, self.highs, self.lows)

    def climb(self, point: Array, sign: float) -> float:
        """The extreme that moves along the inputs, one or all at once, lead to from a point, shape (inputs, 1)."""
        best = sign * float(self.at(point)[0])
        for _ in range(_MOST_ROUNDS):
            trials = np.minimum(np.maximum(point + self.moves, self.lows), self.highs)
            values = sign * self.at(trials)
            together = self.together(point, trials, values, best)
            values, trials = np.append(values, sign * self.at(together)), np.hstack([trials, together])
            chosen = int(np.argmax(values))
            if values[chosen] <= best + _EVEN * abs(best):
                break
            point, best = trials[:, [chosen]], float(values[chosen])
        return sign * best

    def together(self, point: Array, trials: Array, values: Array, best: float) -> Array:
        """The point to which every input's best move leads at once, shape (inputs, 1); those that gain nothing stay."""
        by_input = values.reshape(len(self.names), len(_STEPS))
        places = np.argmax(by_input, axis=1) + np.arange(len(self.names)) * len(_STEPS)
        moved = trials[np.arange(len(self.names)), places]
        gains = by_input.max(axis=1) > best
        return np.where(gains, moved, point[:, 0])[:, np.newaxis]


def _better_draws(
    starts: Mapping[float, Array], region: _Region, boxes: Mapping[str, Box], drawn: Mapping[str, Array], results: Array
) -> dict[float, Array]:
    """The draws within the limits that lie further out than the corners, by sign, shape (inputs, 1) each."""
    outside = _outside(boxes, drawn, len(results))
    found = {}
    for sign, start in starts.items():
        inside = np.where(outside, -np.inf, sign * results)
        best = int(np.argmax(inside))
        if inside[best] > sign * region.at(start)[0]:
            found[sign] = np.array([[drawn[name][best]] for name in boxes])
    return found


def _outside(boxes: Mapping[str, Box], drawn: Mapping[str, Array], count: int) -> NDArray[np.bool_]:
    """Which draws of measured values lie beyond twice their uncertainty."""
    outside = np.zeros(count, dtype=np.bool_)
    for name, box in boxes.items():
        if box.is_normal:
            outside |= (drawn[name] < box.low) | (drawn[name] > box.high)
    return outside
