"""Half the width of a 95 % interval of a mean, or of a difference of means, from its two kinds of uncertainty.

With a scatter variance A (Type A) of nu degrees of freedom and a rounding variance B (Type B, taken as exactly known):

    half-width² = max(t²(nu) A, t²(nu') (A + B)),    nu' = nu (A + B)² / A²   (Welch-Satterthwaite)

t(nu) is the two-sided 95 % point of Student's t. Rounding raises nu', so that the second alone could come out narrower
than the first, as if adding uncertainty made a mean surer; hence the larger. With B = 0 it is the textbook interval,
with A = 0 the normal one of the rounding alone. Arrays of one shape in, the same shape out; A and B in the square of
the readings' unit, never negative. JCGM 100:2008, G.3 and G.4.1, from memory.
"""

import numpy as np
from numpy.typing import NDArray

CONFIDENCE = 0.95

Reals = NDArray[np.float64]


def half_width_squared(scatter: Reals, freedom: Reals, rounding: Reals) -> Reals:
    """The square of the half-width; degrees of freedom may be infinite, and are not looked at where A is 0."""
    both = scatter + rounding
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        raised = np.where(scatter > 0, freedom * (both / scatter) ** 2, np.inf)
    return np.maximum(_point(freedom) ** 2 * scatter, _point(raised) ** 2 * both)


def _point(freedom: Reals) -> Reals:
    from scipy.special import stdtrit

    return np.asarray(stdtrit(freedom, (1 + CONFIDENCE) / 2))
