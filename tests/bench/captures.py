"""A saved capture of a million samples read, against what numpy alone needs to make numbers of the same text.

The floor is `numpy.loadtxt` over the text, told what to expect, and the two questions that any reader must ask: is
every number finite, does time go on. Two layouts: commas, and semicolons with decimal commas, which the floor is
given as points. Also a whole measurement, against what it cannot do without: the distinct values sorted, a histogram,
second differences and a quantile of them, three looks at which samples lie outside the band. Run with
`python -m tests.bench.captures`; the aim is a ratio below 3 each.
"""

import io
from functools import partial

import numpy as np

from server.engineering.captures import Reals
from server.engineering.waveforms import measure, read_capture
from tests.bench.timing import best, told

SAMPLES = 1_000_000
SEED = 1983
ROUNDS = 5
AIM = 3.0


def run() -> list[tuple[str, float, float, float]]:
    """What was timed, our seconds, the floor's seconds of the same run, and the ratio aimed at."""
    points = _text().encode()
    commas = points.replace(b",", b";").replace(b".", b",")
    found = []
    for name, saved, plain, delimiter in (
        ("commas", points, points, ","),
        ("semicolons and decimal commas", commas, commas.replace(b",", b"."), ";"),
    ):
        ours, bare = best(partial(read_capture, saved), partial(_bare, plain, delimiter), rounds=ROUNDS)
        found.append((f"{SAMPLES:,} samples read, {name}", ours, bare, AIM))
    capture = read_capture(points)
    ours, bare = best(lambda: measure(capture), lambda: _needed(capture.volts), rounds=ROUNDS)
    return [*found, (f"{SAMPLES:,} samples measured", ours, bare, AIM)]


def main() -> None:
    """Print each time, its floor and their ratio."""
    for name, ours, floor, aim in run():
        told(name, ours, floor, aim)


def _text() -> str:
    time = np.arange(SAMPLES) * 1e-6 - 0.5
    noise = np.random.default_rng(SEED).normal(0, 0.02, SAMPLES)
    volts = np.where(time * 1e3 % 1 < 0.4, 3.3, 0.1) + noise
    return "Time (s),CH1 (V)\n" + "".join(
        f"{when:.6e},{value:.3f}\n" for when, value in zip(time.tolist(), volts.tolist(), strict=True)
    )


def _bare(text: bytes, delimiter: str) -> Reals:
    table = np.loadtxt(io.BytesIO(text), delimiter=delimiter, skiprows=1)
    if not np.isfinite(table).all() or not (np.diff(table[:, 0]) > 0).all():
        raise ValueError
    return table


def _needed(volts: Reals) -> None:
    np.unique(volts)
    np.histogram(volts, 256)
    np.quantile(np.abs(np.diff(volts, n=2)), 0.25)
    for _ in range(3):
        np.flatnonzero(np.diff(np.flatnonzero((volts > 3.0) | (volts < 0.4))))


if __name__ == "__main__":
    main()
