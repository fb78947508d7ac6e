"""A capture: what an oscilloscope saw, as two columns of numbers, and the fewest of them that still draw it.

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
    """A capture that cannot be used; `line` of the file, counted from 1, is where (None: the capture as a whole)."""

    def __init__(self, sentence: str, *, line: int | None = None, text: str | None = None) -> None:
        super().__init__(f"Line {line}: {sentence}" if line else sentence, field="capture", text=text)
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
        refuse_size(self.time, self.volts)
        if fault := first_fault(self.time, self.volts):
            raise CaptureError(f"Sample {fault[0] + 1}: {fault[1]}.")

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


def refuse_size(time: Reals, volts: Reals) -> None:
    """Refuse columns of unequal length, too few samples and too many."""
    if time.ndim != 1 or time.shape != volts.shape:
        raise CaptureError("A capture needs as many voltages as times, in one plain column each.")
    if time.size < FEWEST_SAMPLES:
        raise CaptureError(f"{time.size} samples are too few; a capture needs at least {FEWEST_SAMPLES}.")
    if time.size > MOST_SAMPLES:
        raise CaptureError(f"{time.size:,} samples are too many; at most {MOST_SAMPLES:,} are read.")


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
        fault = f"the time does not go on, it comes after {time[place - 1]:g} as {time[place]:g}"
    return [(place, fault)]


def thin(capture: Capture, most: int = 600) -> Capture:
    """The capture in at most `most` (8 or more) of its samples, for drawing: the same shape at that width.

    The first and the last sample stay, and of each of equally long runs between them the lowest and the highest, so no
    spike is lost. Figures belong to the whole capture, never to this. Raises `CaptureError` for `most` below 8.
    """
    if most < FEWEST_SAMPLES:
        raise CaptureError(f"A drawing needs at least {FEWEST_SAMPLES} samples, not {most}.")
    if capture.time.size <= most:
        return capture
    kept = _extremes(capture.volts, (most - 2) // 2)
    return Capture(
        capture.time[kept],
        capture.volts[kept],
        capture.time_unit,
        capture.volt_unit,
        capture.skipped_lines,
        capture.notes,
    )


def _extremes(volts: Reals, runs: int) -> NDArray[np.intp]:
    """Places of the two ends, and of the lowest and highest of each run."""
    length = -(-volts.size // runs)
    rows = -(-volts.size // length)
    filled = np.pad(volts, (0, rows * length - volts.size), mode="edge").reshape(rows, length)
    starts = np.arange(rows) * length
    found = np.concatenate([starts + filled.argmin(axis=1), starts + filled.argmax(axis=1), [0, volts.size - 1]])
    kept = np.unique(np.minimum(found, volts.size - 1))
    # Where extremes coincide, others fill the drawing up to the fewest that a capture has.
    spare = np.setdiff1d(np.linspace(0, volts.size - 1, FEWEST_SAMPLES).astype(np.intp), kept)
    return np.union1d(kept, spare[: max(FEWEST_SAMPLES - kept.size, 0)])
