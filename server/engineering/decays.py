"""A rail that decays, or charges, towards an end value: its time constant by least squares, or why it has none.

    v(t) = end + (start - end) exp(-(t - t0)/tau)

fitted over the samples from `start` to `end` for end, start - end and tau (Levenberg and Marquardt's method, scipy).
With r the n residuals and J the derivatives by the three, their covariance is

    C = inv(J'J) sum r² / (n - 3) * (1 + rho)/(1 - rho)

where rho, the correlation of each residual with the next, not below 0, keeps many samples of one slow disturbance from
passing for as many measurements (`decay_shapes`).

What moves otherwise is refused: a ramp and a fall that goes ever faster by name (`decay_shapes`), a trace that
bends off the best exponential by more than 1.5 % of the change (0.5 % if it goes to and fro, as a sine does), a tau
that is not known to a fifth.

Times are given in the capture's unit, tau comes in s, voltages in V. Raises `DecayError`.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from server.engineering.captures import FEWEST_SAMPLES, Capture, Reals
from server.engineering.decay_shapes import (
    SMOOTHED,
    STILL,
    DecayError,
    inflation,
    middle_and_change,
    refuse_other_shapes,
)
from server.engineering.edges import find_edges
from server.engineering.levels import code_step, find_states, noise_of
from server.engineering.toleranced import Toleranced

# Where a decay is taken to begin without being told: a tenth of it gone, past the knee of whatever held it up.
_BEGUN = 0.9
_MISFIT, _NOTED = 0.015, 0.005
_BEYOND_NOISE = 3.0
_LEAST = 0.001
_LOOSE = 0.2
_GUESSED_FROM = 256
# The fit is looked at over the first 95 % of its fall, in so many equal parts.
_FALL_LOOKED_AT, _PARTS = 0.05, 24


@dataclass(frozen=True, slots=True)
class Decay:
    """A fitted decay. `start_volts` is the fit at `start`, `end_volts` what it goes to, both in V; tau in s.

    `start` and `end` bound the fitted samples, in s; `residual` is the root mean square of what the fit leaves, in V.
    """

    tau: Toleranced
    start_volts: Toleranced
    end_volts: Toleranced
    residual: float
    start: float
    end: float
    samples: int
    notes: tuple[str, ...] = ()

    def volts_at(self, seconds: Reals) -> Reals:
        """The fitted voltages in V at times in s, for drawing."""
        drop = self.start_volts.nominal - self.end_volts.nominal
        return self.end_volts.nominal + drop * np.exp(-(seconds - self.start) / self.tau.nominal)


def fit_decay(capture: Capture, start: float | None = None, end: float | None = None) -> Decay:
    """The time constant of the samples from `start` to `end`, in the capture's unit of time.

    Without `start`, from the last time that a tenth of the change was gone; without `end`, to the end of the capture.
    A trace that charges towards its end value is fitted alike. Raises `DecayError` for fewer than 8 samples, a trace
    that stands still, a ramp, a fall that grows faster, and a curve that is not one exponential.
    """
    time, volts, swings = _window(capture, start, end)
    seconds, values = time * capture.seconds, volts * capture.in_volts
    refuse_other_shapes(seconds, values, swings)
    origin, length = seconds[0], seconds[-1] - seconds[0]
    middle, change = middle_and_change(values)
    x = (seconds - origin) / length
    found, covariance, left = _fit(x, (values - middle) / change)
    rest, drop, shape = (float(part) for part in found)
    u_rest, _, u_shape = np.sqrt(np.diagonal(covariance))
    u_begun = math.sqrt(max(covariance[0, 0] + covariance[1, 1] + 2 * covariance[0, 1], 0.0))
    noise, rounding = noise_of(values) / abs(change), code_step(values) / abs(change) / math.sqrt(12)
    bent = _bent(x, left, shape, noise, rounding)
    rms = float(np.sqrt(np.mean(left**2)))
    _refuse_poor(shape, float(u_shape), bent, _NOTED if swings > 1 else _MISFIT)
    return Decay(
        tau=_standard(shape * length, float(u_shape) * length, "s"),
        start_volts=_standard(middle + change * (rest + drop), abs(change) * u_begun, "V"),
        end_volts=_standard(middle + change * rest, abs(change) * float(u_rest), "V"),
        residual=rms * abs(change),
        start=float(origin),
        end=float(seconds[-1]),
        samples=values.size,
        notes=tuple(_notes(values, shape, drop * change, bent, rms / math.hypot(noise, rounding, _LEAST))),
    )


def _window(capture: Capture, start: float | None, end: float | None) -> tuple[Reals, Reals, int]:
    """Times and volts of the stretch, and how often the trace swings up to its end, from its start if one is given."""
    time, volts = capture.time, capture.volts
    for name, given in (("start", start), ("end", end)):
        if given is not None and not math.isfinite(given):
            raise DecayError(f"The {name} of the fit must be a time, not {given}.", field=name)
    last = time.size if end is None else int(np.searchsorted(time, end, "right"))
    time, volts = time[:last], volts[:last]
    if start is None and time.size >= FEWEST_SAMPLES:
        first = _begun(volts)
    else:
        first = 0 if start is None else int(np.searchsorted(time, start, "left"))
    if start is None and first > 0 and time.size - first < FEWEST_SAMPLES:
        raise DecayError(
            f"The trace is held, or swings back, until {time.size - first} samples before its end, and a fit needs at "
            f"least {FEWEST_SAMPLES}.",
            field="end" if end is not None else "capture",
        )
    if time.size - first < FEWEST_SAMPLES:
        raise DecayError(
            f"The stretch to fit holds too few samples, {max(time.size - first, 0)}; {FEWEST_SAMPLES} are the fewest.",
            field="start" if start is not None else "end" if end is not None else "capture",
        )
    looked_at = 0 if start is None else first
    return time[first:], volts[first:], _swings(time[looked_at:], volts[looked_at:])


def _swings(time: Reals, volts: Reals) -> int:
    """How often it passes from one level to the other."""
    states = find_states(volts)
    return find_edges(time, volts, states.low.value, states.high.value).rises.size if states.are_two else 0


def _begun(volts: Reals) -> int:
    """The last sample at which no more than a tenth of the change to the final value was gone."""
    states = find_states(volts)
    base = _ending(volts)
    away = max(abs(states.low.value - base), abs(states.high.value - base))
    if away <= STILL * states.noise or away == 0:
        raise DecayError("The trace does not decay: it stays where it is, as far as its noise lets see.")
    smooth = np.median(np.lib.stride_tricks.sliding_window_view(volts, SMOOTHED), axis=1)
    held = np.flatnonzero(np.abs(smooth - base) >= _BEGUN * away)
    return int(held[-1]) + SMOOTHED // 2 if held.size else 0


def _ending(volts: Reals) -> float:
    return float(np.median(volts[-max(SMOOTHED, volts.size // 50) :]))


def _fit(x: Reals, y: Reals) -> tuple[Reals, Reals, Reals]:
    """Rest, drop and time constant of y over x from 0 to 1; their covariance; what is left of each y."""
    from scipy.optimize import least_squares

    def residuals(p: Reals) -> Reals:
        return np.asarray(p[0] + p[1] * np.exp(-x / p[2]) - y)

    def derivatives(p: Reals) -> Reals:
        fall = np.exp(-x / p[2])
        return np.stack([np.ones_like(x), fall, p[1] * fall * x / p[2] ** 2], axis=1)

    result = least_squares(residuals, _first_guess(x, y), derivatives, method="lm", x_scale="jac")
    if not result.success or not np.isfinite(result.x).all() or result.x[2] <= 0:
        raise DecayError("No exponential could be fitted to the trace there.")
    left, slopes = result.fun, derivatives(result.x)
    scatter = float(left @ left) / max(x.size - 3, 1) * inflation(left)
    covariance = np.linalg.pinv(slopes.T @ slopes) * scatter
    return np.asarray(result.x), np.asarray(covariance, dtype=np.float64), np.asarray(left)


def _first_guess(x: Reals, y: Reals) -> Reals:
    """The best of a ladder of time constants, rest and drop by a straight-line fit for each."""
    places = np.unique(np.linspace(0, x.size - 1, _GUESSED_FROM).astype(np.intp))
    x, y = x[places], y[places]
    ladder = np.geomspace(0.003, 10.0, 40)
    falls = np.exp(-x / ladder[:, None])
    bent = falls - falls.mean(axis=1, keepdims=True)
    drops = bent @ (y - y.mean()) / (bent**2).sum(axis=1)
    left = ((y - y.mean() - drops[:, None] * bent) ** 2).sum(axis=1)
    best = int(np.argmin(left))
    return np.array([y.mean() - drops[best] * falls[best].mean(), drops[best], ladder[best]])


def _bent(x: Reals, left: Reals, shape: float, noise: float, rounding: float) -> float:
    """The root mean square by which the trace bends off the fit, over equal parts of the fall; 0 where noise may do.

    Noise averages out over a part, what the converter rounds by may not. Twice what both leave is above chance.
    """
    parts = np.unique(np.searchsorted(x, -shape * np.log(np.linspace(1.0, _FALL_LOOKED_AT, _PARTS + 1))))
    parts = parts[parts < x.size]
    sizes = np.diff(parts, append=x.size)
    means = np.add.reduceat(left, parts) / sizes
    seen, chance = float(np.mean(means**2)), float(np.mean(noise**2 / sizes)) + rounding**2
    return math.sqrt(seen - chance) if seen > 2 * chance else 0.0


def _refuse_poor(shape: float, u_shape: float, bent: float, most: float) -> None:
    if bent > most:
        raise DecayError(
            f"The trace is not one exponential: the best one is off by {100 * bent:.2g} % of the change, more than the "
            "noise explains. Give a start and an end between which nothing switches."
        )
    if u_shape > _LOOSE * shape:
        raise DecayError(
            f"The time constant is only known to {100 * u_shape / shape:.0f} %: the stretch is too short, or too "
            "noisy. Capture more of the decay."
        )


def _notes(values: Reals, shape: float, drop: float, bent: float, excess: float) -> Iterator[str]:
    if drop * float(np.sign(values[0] + values[-1])) < 0:
        yield "The trace moves away from zero: this is the time constant of charging."
    if shape > 1:
        yield (
            f"The stretch covers only {1 / shape:.2g} time constants, so the end value is reckoned far beyond what was "
            "seen; capture more of the decay."
        )
    if bent > _NOTED:
        yield f"The trace bends off the fit by {100 * bent:.2g} % of the change; look at the picture."
    if excess > _BEYOND_NOISE:
        yield f"The trace strays {excess:.2g} times as far from the fit as its noise explains; look at the picture."


def _standard(nominal: float, u: float, unit: str) -> Toleranced:
    return Toleranced(nominal, nominal - 2 * u, nominal + 2 * u, unit, "standard")
