"""The best of several rounds, for two pieces of work taken in turn so that a busy moment hits both."""

from collections.abc import Callable
from time import perf_counter

ROUNDS = 15


def best(*works: Callable[[], object], rounds: int = ROUNDS) -> list[float]:
    """Seconds of the fastest round of each."""
    times: list[list[float]] = [[] for _ in works]
    for _ in range(rounds):
        for work, kept in zip(works, times, strict=True):
            started = perf_counter()
            work()
            kept.append(perf_counter() - started)
    return [min(kept) for kept in times]


def told(name: str, ours: float, floor: float, aim: float) -> None:
    """One line: what it took, the floor, the ratio and what is aimed at."""
    print(f"{name}: {ours * 1e3:.1f} ms, floor {floor * 1e3:.1f} ms, ratio {ours / floor:.2f} (aim: at most {aim})")
