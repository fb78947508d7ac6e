"""How long a comparison of 100,000 readings a side takes, against the bare numpy and scipy work in the same run.

The floor does what any such comparison must: lists to arrays, means, spreads, medians, quartiles and extremes of both
sides, Kendall's tau of both against their order, Welch's t test and one point of Student's t. Run with
`python -m tests.bench.comparisons`; the aim is a ratio below 3.
"""

from collections.abc import Callable
from functools import partial
from time import perf_counter

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from server.engineering.trials import compare

READINGS = 100_000
ROUNDS = 7
SEED = 1979


def main() -> None:
    """Print the best time of each and their ratio, for readings as typed and for readings with every digit."""
    draw = np.random.default_rng(SEED)
    before, after = draw.normal(24.3, 0.4, READINGS), draw.normal(11.8, 0.2, READINGS)
    for name, decimals in (("two decimals", 2), ("every digit", None)):
        first, second = (_typed(side, decimals) for side in (before, after))
        floor = _best(partial(_bare, first, second))
        ours = _best(partial(compare, first, second, "lower"))
        print(f"{READINGS:,} a side, {name}: {ours * 1e3:.1f} ms, bare {floor * 1e3:.1f} ms, ratio {ours / floor:.2f}")


def _typed(side: NDArray[np.float64], decimals: int | None) -> list[float]:
    values: list[float] = (side if decimals is None else side.round(decimals)).tolist()
    return values


def _bare(before: list[float], after: list[float]) -> None:
    sides = np.asarray(before), np.asarray(after)
    for side in sides:
        side.mean(), side.std(ddof=1), side.min(), side.max()
        np.median(side), np.quantile(side, [0.25, 0.75])
        stats.kendalltau(np.arange(side.size), side, method="asymptotic")
    stats.ttest_ind(*sides, equal_var=False)
    stats.t.ppf(0.975, 2 * READINGS)


def _best(work: Callable[[], object]) -> float:
    times = []
    for _ in range(ROUNDS):
        start = perf_counter()
        work()
        times.append(perf_counter() - start)
    return min(times)


if __name__ == "__main__":
    main()
