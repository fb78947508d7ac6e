"""Whether a stretch of a trace decays at all, or goes in a straight line, or ever faster.

The part between 10 % and 90 % of the change is fitted with a parabola. Its sag, by how much the middle hangs below the
chord towards the end value in shares of the part's change, is about tanh(w/4)/2 for an exponential over w time
constants. A straight line (a constant current) has none, and one that bends the other way (a constant power, drawn
from a capacitor) has less than none. Both are said only of what goes one way: a trace that turns, that passed between
two levels before, or that bends both ways (by the third Legendre polynomial of what the parabola leaves) swings, and
is told so. Times in s, voltages in V, arrays of shape (n,), n >= 8. Raises `DecayError`.

Uncertainties allow for residuals that go together: with rho the correlation of each with the next, n of them count as
n (1 - rho)/(1 + rho) (G. V. Bayley, J. M. Hammersley, J. R. Statist. Soc. Suppl. 8 (1946), from memory).
"""

import math

import numpy as np

from server.engineering.captures import FEWEST_SAMPLES, Reals
from server.engineering.errors import EngineeringError
from server.engineering.levels import noise_of
from server.engineering.showing import figure

SMOOTHED = 5
# A change must be this many noises large to be one.
STILL = 8.0
_STRETCH = (0.1, 0.9)
_QUIET = 0.02
# A chord sagging by less than this belongs to less than 0.4 time constants, which no fit tells from a line.
_STRAIGHT = 0.05
# So much of the change may be overshoot or a knee; from so many swings on, a trace goes to and fro.
_TURNED, _REPEATED = 0.25, 2
# A straight line bends both ways by less than this share of its change.
_CROOKED = 0.0025
_MOST_CORRELATED = 0.999


class DecayError(EngineeringError):
    """A stretch with no time constant; `field` is start, end or capture."""

    def __init__(self, sentence: str, *, field: str = "capture") -> None:
        super().__init__(sentence, field=field)


def refuse_other_shapes(seconds: Reals, values: Reals, swings: int) -> None:
    """Refuse what stands still, turns, goes in a straight line, or ever faster.

    `swings` counts how often the trace passes between two levels, in the stretch and before it.
    """
    middle, change = middle_and_change(values)
    noise = noise_of(values)
    if abs(change) <= STILL * noise / math.sqrt(SMOOTHED) or change == 0:
        raise DecayError(
            "The trace does not decay there: it ends where it began, as far as its noise lets see, or it jumps there "
            "faster than the capture follows."
        )
    if _turns(values, noise):
        raise DecayError(
            "The trace turns there: it goes both up and down, and a decay goes one way. Give a start and an end "
            "between which it only falls, or only rises."
        )
    inside = _stretch(0.5 - (values - middle) / change, noise / abs(change))
    if inside.stop - inside.start < FEWEST_SAMPLES:
        count = inside.stop - inside.start
        samples = "there is 1 sample" if count == 1 else f"there are {count} samples"
        raise DecayError(
            f"The change is too fast for the capture: from 10 % to 90 % of it {samples}. Capture it with a faster time "
            "base."
        )
    sag, u_sag, slope, crooked = _sag(seconds[inside], values[inside])
    if swings >= _REPEATED and sag <= max(_STRAIGHT, 2 * u_sag):
        raise DecayError(
            f"The trace goes to and fro, {swings} times from one level to the other, and its last swing does not "
            "settle as a decay does. To look at one swing alone, give its start and its end."
        )
    if abs(sag) <= _STRAIGHT and crooked:
        raise DecayError(
            "The trace swings: it goes slowly, then fast, then slowly again. A decay is fastest at its beginning, "
            "and a straight line is as fast everywhere."
        )
    if abs(sag) <= _STRAIGHT:
        raise DecayError(
            f"The trace goes in a straight line, {figure(slope, 'V/s', 3)}, as a capacitor does that a constant "
            "current charges or drains. A straight line has no time constant; if it is the beginning of a slow decay, "
            "capture more of it."
        )
    if abs(sag) <= 2 * u_sag:
        raise DecayError("The trace is too noisy to tell a decay from a straight line; capture more of it.")
    if sag < 0:
        raise DecayError(
            "The trace goes faster and faster instead of settling, as a rail does that feeds a constant power "
            "(a switching regulator). It has no time constant."
        )


def _turns(values: Reals, noise: float) -> bool:
    """Whether it goes further than between its ends, by more than a part of that and its noise."""
    ends = np.concatenate([values[:SMOOTHED], values[-SMOOTHED:]])
    return bool(np.ptp(values) > (1 + _TURNED) * np.ptp(ends) + 2 * STILL * noise)


def _stretch(gone: Reals, noise: float) -> slice:
    """From the last sample with a tenth of the change gone to the first after it with nine tenths gone.

    Running means over as many samples as bring the noise down to 2 % of the change are looked at.
    """
    width = min(math.ceil((noise / _QUIET) ** 2), gone.size // FEWEST_SAMPLES)
    if width > 1:
        gone = np.convolve(np.pad(gone, (width // 2, (width - 1) // 2), "edge"), np.full(width, 1 / width), "valid")
    late = np.flatnonzero(gone >= _STRETCH[1])
    stop = int(late[0]) + 1 if late.size else gone.size
    early = np.flatnonzero(gone[:stop] <= _STRETCH[0])
    return slice(int(early[-1]) if early.size else 0, stop)


def _sag(seconds: Reals, values: Reals) -> tuple[float, float, float, bool]:
    """How far the middle hangs towards the end value, in shares of the change; its uncertainty; the slope in V/s.

    And whether the stretch bends both ways, as a swing does: by its third Legendre polynomial.
    """
    across = 2 * (seconds - seconds[0]) / (seconds[-1] - seconds[0]) - 1
    table = np.stack([np.ones_like(across), across, across**2], axis=1)
    found, *_ = np.linalg.lstsq(table, values, rcond=None)
    left = values - table @ found
    spread = math.sqrt(float(left @ left) / max(values.size - 3, 1) * inflation(left))
    u = spread * math.sqrt(float(np.linalg.inv(table.T @ table)[2, 2]))
    change = -2 * found[1]
    slope = 2 * found[1] / (seconds[-1] - seconds[0])
    third = (5 * across**3 - 3 * across) / 2
    weight = float(third @ third)
    both_ways = float(third @ left) / weight
    others = left - both_ways * third
    u_both = math.sqrt(float(others @ others) / max(values.size - 4, 1) * inflation(others) / weight)
    crooked = abs(both_ways) > max(math.sqrt(7) * _CROOKED * abs(change), 2 * u_both)
    return float(found[2] / change), float(u / abs(change)), float(slope), bool(crooked)


def middle_and_change(values: Reals) -> tuple[float, float]:
    """Where the stretch lies and by how much it changes, signed as start less end."""
    few = max(min(SMOOTHED, values.size // 8), 1)
    first, last = float(np.median(values[:few])), float(np.median(values[-few:]))
    return (first + last) / 2, first - last


def inflation(left: Reals) -> float:
    """(1 + rho)/(1 - rho), with rho the correlation of neighbouring residuals."""
    total = float(left @ left)
    rho = float(left[1:] @ left[:-1]) / total if total > 0 else 0.0
    rho = min(max(rho, 0.0), _MOST_CORRELATED)
    return (1 + rho) / (1 - rho)
