"""What the record keeps of a scope's capture: figures by name, why others are missing, the trace as it is drawn.

It knows the engineering core and plain values, and no row of the record.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from server.engineering.quantities import Toleranced
from server.engineering.waveforms import Capture, Decay, DecayError, envelope, fit_decay, measure

DRAWN_MOST = 600
RUNS_DRAWN = 300
FIT_DRAWN = 80
OF_DECAY = ("tau", "start_volts", "end_volts")
MEASURED = (
    "low", "high", "steady", "amplitude", "period", "frequency", "duty", "rise", "fall", "overshoot", "undershoot",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Captured:
    """The columns of a waveform that come from its file; `drawing` also holds the fitted decay, where there is one.

    Of a trace it has `time` and `volts` of each sample, or, of more than are drawn, `lowest` and `highest` of runs and
    as `time` the bounds of those, one more than they are.
    """

    samples: int
    time_unit: str
    volt_unit: str
    figures: dict[str, dict[str, Any]]
    reasons: dict[str, str]
    notes: list[str]
    drawing: dict[str, list[float]]


def captured(capture: Capture, fit_from: float | None, fit_to: float | None) -> Captured:
    """Measure a capture and fit its decay from `fit_from` to `fit_to`, both in its unit of time.

    A trace without a decay has a reason instead; only a stretch that holds too little raises the `DecayError`.
    """
    seen = measure(capture)
    figures = {name: value for name in MEASURED if (value := getattr(seen, name)) is not None}
    reasons, notes, drawing = dict(seen.reasons), [*capture.notes, *seen.notes], _trace(capture)
    try:
        decay = fit_decay(capture, fit_from, fit_to)
    except DecayError as fault:
        if fault.field in ("start", "end"):
            raise
        reasons |= dict.fromkeys(OF_DECAY, str(fault))
    else:
        figures |= {name: getattr(decay, name) for name in OF_DECAY}
        notes += decay.notes
        drawing |= _fitted(capture, decay)
    plain = {name: _plain(value) for name, value in figures.items()}
    return Captured(capture.time.size, capture.time_unit, capture.volt_unit, plain, reasons, notes, drawing)


def _plain(value: Toleranced) -> dict[str, Any]:
    numbers = {name: float(getattr(value, name)) for name in ("nominal", "low", "high")}
    return numbers | {"unit": value.unit, "spread": value.spread}


def _trace(capture: Capture) -> dict[str, list[float]]:
    """Every sample if they are few; else between which voltages each of equally long runs of them goes."""
    if capture.time.size <= DRAWN_MOST:
        return {"time": capture.time.tolist(), "volts": capture.volts.tolist()}
    runs = envelope(capture, RUNS_DRAWN)
    return {"time": runs.bounds.tolist(), "lowest": runs.low.tolist(), "highest": runs.high.tolist()}


def _fitted(capture: Capture, decay: Decay) -> dict[str, list[float]]:
    """The fitted curve in the capture's units, its samples closer where it bends most."""
    seconds = decay.start + (decay.end - decay.start) * np.linspace(0.0, 1.0, FIT_DRAWN) ** 2
    volts = decay.volts_at(seconds) / capture.in_volts
    return {"fit_time": (seconds / capture.seconds).tolist(), "fit_volts": volts.tolist()}
