"""Whether a trace that has no two levels stays at one voltage, so that its mean tells where.

It does if it moves by no more than 5 % of its mean, or else if what it does is noise: its range is no more than noise
of a million samples would span, as much of it changes from sample to sample as over many, no one frequency holds most
of it, and it shows enough codes to be told from logic levels. The last three ask, of the deviations x from the mean,

    sum (x[i] - x[i-1])² / (2 sum x²) > 1/4         the ratio of J. von Neumann (1941), near 1 for white noise
    largest two lines side by side of the periodogram < 1/2 of all        as R. A. Fisher (1929) asks of the largest

both from memory. Any finite array of shape (n,), n >= 8, in any unit. Nothing is raised.
"""

import numpy as np

from server.engineering.captures import Reals
from server.engineering.levels import States

_LITTLE = 0.05
# Extremes of a million samples of white noise lie some ten apart.
_WIDEST = 12.0
_FEWEST_CODES = 5
_ROUGH = 0.25
_ONE_TONE = 0.5


def is_steady(volts: Reals, states: States) -> bool:
    """Whether the mean of a trace tells where it stays."""
    mean = float(volts.mean())
    spanned = float(volts.max()) - float(volts.min())
    if spanned <= _LITTLE * abs(mean):
        return True
    if states.values < _FEWEST_CODES or spanned > _WIDEST * states.noise:
        return False
    return _is_noise((volts - mean) / spanned)


def _is_noise(deviations: Reals) -> bool:
    if np.sum(np.diff(deviations) ** 2) <= _ROUGH * 2 * np.sum(deviations**2):
        return False
    lines = np.abs(np.fft.rfft(deviations)[1:]) ** 2
    return bool((lines[1:] + lines[:-1]).max() < _ONE_TONE * lines.sum())
