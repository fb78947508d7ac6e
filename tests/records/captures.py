"""Captures to try the record with: a decaying rail, a clock, and the files that they would come in."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from server.records.commands.waveforms import RecordWaveform
from tests.records.conftest import KEEPER, Bench

Reals = NDArray[np.floating[Any]]
TAU = 0.4
NOISE = 0.03


def as_file(time: Reals, volts: Reals, *header: str) -> bytes:
    rows = [f"{at:.9g},{level:.6g}" for at, level in zip(time.tolist(), volts.tolist(), strict=True)]
    return "\n".join([*(header or ("Time (s),Rail (V)",)), *rows]).encode()


def _noise(samples: int) -> Reals:
    return np.random.default_rng(7).normal(0.0, NOISE, samples)


def falling(tau: float = TAU, samples: int = 2_000) -> bytes:
    """12 V until 0.2 s, then let go; two seconds in all."""
    time = np.arange(samples) * (2.0 / samples)
    return as_file(time, 12.0 * np.exp(-np.maximum(time - 0.2, 0.0) / tau) + _noise(samples))


def clocked(samples: int = 2_000) -> bytes:
    """4 V square, 1 kHz, high for 40 % of it; ten cycles."""
    time = np.arange(samples) * (0.01 / samples)
    return as_file(time, 0.2 + 3.6 * ((time * 1_000 + 0.05) % 1.0 < 0.4) + _noise(samples))


def ramping(samples: int = 400) -> bytes:
    """A straight line down: it has no time constant."""
    time = np.arange(samples) * (1.0 / samples)
    return as_file(time, 10.0 - 8.0 * time + _noise(samples) / 10)


def capture(content: bytes | None = None, **said: Any) -> dict[str, Any]:
    """What `RecordWaveform` takes."""
    given = {"day": "2025-02-05", "title": "Rail at switch-off", "signer": KEEPER, "file_name": "rail.csv"}
    return {**given, "content": falling() if content is None else content, **said}


def reads(figure: str = "tau", waveform: int = 1, name: str = "tau", **more: str) -> dict[str, str]:
    """An input of a calculation that reads a figure."""
    return {"name": name, "source": "waveform", "waveform": str(waveform), "figure": figure, **more}


def sum_of(*inputs: dict[str, str], **more: Any) -> dict[str, Any]:
    """The capacitance that a rail's decay through 100 Ω tells."""
    rows = {
        "inputs": list(inputs) or [reads(), {"name": "R", "text": "100 Ω ±1 %"}],
        "lines": [{"name": "C", "expression": "tau / R", "unit": "µF"}],
        "limits": [{"line": "C", "kind": "at_least", "value": "3500 µF", "basis": "printed"}],
    }
    return {"mod": 1, "title": "Reservoir", **rows, **more}


def record(bench: Bench, content: bytes | None = None, **said: Any) -> None:
    bench.do(RecordWaveform, **capture(content, **said))
