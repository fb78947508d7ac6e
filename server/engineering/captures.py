"""A capture: what an oscilloscope saw, as two columns of numbers, and what of them is drawn.

`time` and `volts` are float arrays of one shape (n,), 8 <= n <= 1,000,000, in `time_unit` and `volt_unit` (a time and
a voltage, as `units.txt` spells them). Both are finite and at most 1e60 in size, what is below 1e-60 counts as 0, and
`time` strictly increases; its steps need not be even. Anything else is refused by `CaptureError`, so whoever is given a
`Capture` need not ask again. The arrays cannot be written to.

It knows nothing of files (`capture_text` reads those) nor of what the trace shows.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.engineering.errors import EngineeringError
from server.engineering.readings import LARGEST, SMALLEST
from server.engineering.units import check_unit, same_dimension, scale

FEWEST_SAMPLES = 8
MOST_SAMPLES = 1_000_000

Reals = NDArray[np.float64]


class CaptureError(EngineeringError):
    """A capture that cannot be used; `line` of the file, counted from 1, is where (None: the capture as a whole).

    With a line, the sentence goes on from “In line 4, ”.
    """

    def __init__(self, sentence: str, *, line: int | None = None, text: str | None = None) -> None:
        super().__init__(f"In line {line}, {sentence}" if line else sentence, field="capture", text=text)
        self.line = line


@dataclass(frozen=True, slots=True, eq=False)
class Capture:
    """Voltages over time. `skipped_lines` stood before the numbers; `notes` say what was taken for granted.

    Raises `CaptureError` for what the module forbids, `UnknownUnit` for a unit that is not in the list.
    """

    time: Reals
    volts: Reals
    time_unit: str = "s"
    volt_unit: str = "V"
    skipped_lines: int = 0
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for name, dimension in (("time_unit", "s"), ("volt_unit", "V")):
            unit = check_unit(getattr(self, name))
            if not same_dimension(unit, dimension):
                raise CaptureError(f"A capture is of volts over time; {unit} is not counted in {dimension}.", text=unit)
            object.__setattr__(self, name, unit)
        for name in ("time", "volts"):
            column = np.array(getattr(self, name), dtype=np.float64)
            column[np.abs(column) < SMALLEST] = 0.0
            column.flags.writeable = False
            object.__setattr__(self, name, column)
        refuse_shape(self.time, self.volts)
        if fault := first_fault(self.time, self.volts):
            raise CaptureError(f"In sample {fault[0] + 1}, {fault[1]}.")
        refuse_few(self.time)

    @property
    def seconds(self) -> float:
        """What one `time_unit` is in seconds."""
        return scale(self.time_unit).factor

    @property
    def in_volts(self) -> float:
        """What one `volt_unit` is in volts."""
        return scale(self.volt_unit).factor

    @property
    def step(self) -> float:
        """The usual time from one sample to the next, in `time_unit`: the median."""
        return float(np.median(np.diff(self.time)))


def refuse_shape(time: Reals, volts: Reals) -> None:
    """Refuse columns of unequal length, and too many samples."""
    if time.ndim != 1 or time.shape != volts.shape:
        raise CaptureError("A capture needs as many voltages as times, in one plain column each.")
    if time.size > MOST_SAMPLES:
        raise CaptureError(f"{time.size:,} samples are too many; at most {MOST_SAMPLES:,} are read.")


def refuse_few(time: Reals) -> None:
    """Refuse too few samples: asked last, for a fault among the few is what a person would mend first."""
    if time.size < FEWEST_SAMPLES:
        samples = "1 sample is" if time.size == 1 else f"{time.size} samples are"
        raise CaptureError(f"{samples} too few; a capture needs at least {FEWEST_SAMPLES}.")


def first_fault(time: Reals, volts: Reals) -> tuple[int, str] | None:
    """The first sample that cannot be used, counted from 0, and what is wrong with it; None if all can.

    Of one sample the number is blamed before the order: beside NaN nothing is in order.
    """
    faults = [*_number_faults("time", time), *_number_faults("voltage", volts), *_order_faults(time)]
    return min(faults, key=lambda fault: fault[0]) if faults else None


def _number_faults(name: str, column: Reals) -> list[tuple[int, str]]:
    good = np.abs(column) <= LARGEST  # False for NaN
    if good.all():
        return []
    place = int(np.argmin(good))
    fault = "is larger than 1e60" if np.isfinite(column[place]) else "is not a finite number"
    return [(place, f"the {name}, {column[place]:g}, {fault}")]


def _order_faults(time: Reals) -> list[tuple[int, str]]:
    forward = time[1:] > time[:-1]
    if forward.all():
        return []
    place = int(np.argmin(forward)) + 1
    if time[place] == time[place - 1]:
        fault = f"the time stands still at {time[place]:g}; save the capture with more digits of its time"
    else:
        fault = f"the time goes back, from {time[place - 1]:g} to {time[place]:g}"
    return [(place, fault)]


@dataclass(frozen=True, slots=True, eq=False)
class Envelope:
    """Between which voltages a trace went in each of n runs; `bounds` are the n + 1 times at which they begin and end.

    Each run takes in the first sample of the next, so that neighbours touch.
    """

    bounds: Reals
    low: Reals
    high: Reals
    samples_a_run: int


def envelope(capture: Capture, most: int = 300) -> Envelope:
    """The lowest and the highest voltage of each of at most `most` runs of equally many samples, for drawing.

    Nothing is left out of it, neither spikes nor what repeats faster than a drawing can show; the last run may be
    shorter. In the capture's units. Raises `CaptureError` for `most` below 1.
    """
    if most < 1:
        raise CaptureError(f"A drawing needs at least one run of samples, not {most}.")
    length = -(-(capture.time.size - 1) // most)
    starts = np.arange(0, capture.time.size - 1, length)
    low, high = np.minimum.reduceat(capture.volts, starts), np.maximum.reduceat(capture.volts, starts)
    following = capture.volts[starts[1:]]
    low[:-1], high[:-1] = np.minimum(low[:-1], following), np.maximum(high[:-1], following)
    return Envelope(np.append(capture.time[starts], capture.time[-1]), low, high, length)
