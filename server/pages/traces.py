"""One waveform as a page tells it: its figures in words and short units, and its trace as a picture.

It knows waveforms that were read already, and no request.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from server.documents.drawing import NO_BREAK, Picture
from server.engineering.quantities import Toleranced, convert, figure, show
from server.pages.trace_picture import Band, LevelLine, Trace, trace_view
from server.records.questions.trials import in_print, with_unit
from server.records.questions.waveforms import FIGURES, figures_of
from server.records.tables import Waveform

LEVELS = ("high", "low", "steady")
TELLING = ("period", "duty", "tau", "steady", "amplitude")
TOLD_SHORT = 2


@dataclass(frozen=True, slots=True)
class Amount:
    """A figure in a unit in which it is short: `43.2`, give `0.2` (one standard uncertainty), unit `ms`."""

    figure: str
    give: str
    unit: str

    def __str__(self) -> str:
        return with_unit(" ± ".join(filter(None, [self.figure, self.give])), self.unit)


@dataclass(frozen=True, slots=True)
class FigureLine:
    """A figure that the waveform gives, or several that it does not give for one reason."""

    words: str
    amount: Amount | None
    reason: str


def amount_of(value: Toleranced) -> Amount:
    """A figure with its uncertainty; one that is only limited says so."""
    u = value.uncertainty
    size = max(abs(value.nominal), u)
    unit = figure(size, value.unit).rpartition(" ")[2] if size else value.unit
    if value.spread == "limits":
        number = figure(value.high, value.unit) if value.low == 0 else show(value)
        return Amount(f"at most {number}" if value.low == 0 else number, "", "")
    short = convert(value, unit)
    if not u:
        return Amount(in_print(short.nominal), "", unit)
    number = in_print(short.nominal, short.uncertainty)
    number = number if number.strip("−0.") else number.lstrip("−")  # nothing is not less than nothing
    return Amount(number, in_print(short.uncertainty, short.uncertainty), unit)


def lines_of(waveform: Waveform) -> list[FigureLine]:
    """Every figure in its order; those that are missing for one reason stand together, after the others."""
    found = figures_of(waveform)
    given = [FigureLine(_words(waveform, name), amount_of(value), "") for name, value in found.items()]
    missing: dict[str, list[str]] = {}
    for name, words in FIGURES.items():
        if name in waveform.reasons:
            missing.setdefault(waveform.reasons[name], []).append(words)
    return given + [FigureLine(", ".join(words), None, reason) for reason, words in missing.items()]


def _words(waveform: Waveform, name: str) -> str:
    return FIGURES[name] + (_fit_began(waveform) if name == "start_volts" else "")


def _fit_began(waveform: Waveform) -> str:
    """When: a rail that was held up first had another voltage before."""
    times = waveform.drawing.get("fit_time")
    return f" ({figure(times[0], waveform.time_unit).replace('-', '−')})" if times else ""


def in_short(waveform: Waveform) -> list[tuple[str, Amount]]:
    """The figures that tell most of a waveform, for a list."""
    found = figures_of(waveform)
    return [(FIGURES[name], amount_of(found[name])) for name in TELLING if name in found][:TOLD_SHORT]


def summary_of(waveform: Waveform) -> str:
    """What was captured, in a sentence; its figures stand with the picture."""
    return f"{waveform.samples:,} samples{f', probed at {waveform.probed_at}' if waveform.probed_at else ''}."


def stretch_of(waveform: Waveform) -> str:
    """Over which times the decay was fitted, and who chose them."""
    times = waveform.drawing.get("fit_time")
    if not times:
        return "none"
    first, last = (figure(time, waveform.time_unit).replace("-", "−") for time in (times[0], times[-1]))
    chosen = "as given" if waveform.fit_from is not None or waveform.fit_to is not None else "as the fit found it"
    return f"from {first} to {last}, {chosen}"


def picture_of(waveform: Waveform) -> Picture:
    """The trace with its levels and its fitted decay, in units in which the figures are short."""
    drawn = waveform.drawing
    time_scale, time_unit = _short(drawn["time"], waveform.time_unit)
    seen = drawn["volts"] if "volts" in drawn else [*drawn["lowest"], *drawn["highest"]]
    volt_scale, volt_unit = _short(seen, waveform.volt_unit)

    def times(name: str) -> list[float]:
        return [time * time_scale for time in drawn[name]]

    def volts(name: str) -> list[float]:
        return [level * volt_scale for level in drawn[name]]

    found = figures_of(waveform)
    levels = [LevelLine(FIGURES[name], convert(found[name], volt_unit).nominal) for name in LEVELS if name in found]
    fitted = Trace(times("fit_time"), volts("fit_volts")) if "fit_time" in drawn else None
    if "volts" in drawn:
        trace: Trace | Band = Trace(times("time"), volts("volts"))
    else:
        trace = Band(times("time"), volts("lowest"), volts("highest"))
    return trace_view("trace", (time_unit, volt_unit), trace, levels, fitted, [*_told(waveform), *_thinned(waveform)])


def _short(values: Sequence[float], unit: str) -> tuple[float, str]:
    """By what to multiply values so that they are short, and the unit that they then have."""
    size = max(map(abs, values))
    short = figure(size, unit).rpartition(" ")[2] if size else unit
    return convert(Toleranced(1.0, 1.0, 1.0, unit), short).nominal, short


def _thinned(waveform: Waveform) -> list[str]:
    runs = len(waveform.drawing.get("lowest", ()))
    if not runs:
        return []
    return [
        f"It is drawn in {runs} columns, each from the lowest to the highest of some {waveform.samples / runs:,.0f} "
        "samples; what is faster than that fills a band."
    ]


def _told(waveform: Waveform) -> list[str]:
    """The figures that the picture shows, in sentences; a figure never parts from its unit."""
    found = {name: str(amount_of(value)).replace(" ", NO_BREAK) for name, value in figures_of(waveform).items()}
    said = []
    if "steady" in found:
        said.append(f"It stays at {found['steady']}.")
    if "low" in found and "high" in found:
        said.append(f"Its levels are {found['low']} and {found['high']}.")
    if "period" in found:
        said.append(f"It repeats after {found['period']}, and is high for {found['duty']} of that.")
    if "tau" in found:
        began = _fit_began(waveform).strip().replace(" ", NO_BREAK)
        said.append(
            f"The fitted decay has a time constant of {found['tau']}. The fit begins at {found['start_volts']} "
            f"{began} and goes towards {found['end_volts']}."
        )
    return said
