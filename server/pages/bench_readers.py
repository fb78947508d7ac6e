"""Readers at the bench, without a record: markings, preferred values, date codes. The address holds what is asked."""

import re
from calendar import monthrange
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from fastapi import APIRouter
from starlette.responses import Response

from server.documents.drawing import NO_BREAK
from server.engineering import datecodes, markings, preferred
from server.engineering.errors import EngineeringError
from server.engineering.preferred_pairs import PartKind, Wanted
from server.engineering.quantities import Toleranced, convert, exact, parse, show
from server.pages.bench_sums import HERE, form_of
from server.pages.forms import Form
from server.pages.house import AtHome

router = APIRouter()
Options = list[tuple[str, str]]

KINDS: Options = [("resistor", "resistor"), ("capacitor", "capacitor")]
CODES: Options = [
    ("", "whichever it can be"),
    ("letter code", "a letter code, such as 4k7J"),
    ("digit code", "three or four digits, such as 104K"),
    ("EIA-96", "two digits and a letter by EIA-96, such as 01C"),
]
EXAMPLES = {
    "resistor": ["4k7J", "R47", "4702", "01C", "yellow violet red gold"],
    "capacitor": ["104K", "6p8D", "4n7"],
}
BANDS = tuple(f"band{number}" for number in range(1, 7))
COLOURS: Options = [("", "–"), *((colour, colour) for colour in markings.COLOURS)]
SERIES: Options = [
    (name, f"{name}, ±{tolerance:g} %" if (tolerance := preferred.usual_tolerance(name)) else name)
    for name in preferred.SERIES_NAMES
]
JOINED: Options = [("either", "in series or in parallel"), ("series", "in series"), ("parallel", "in parallel")]
UNITS = {"resistor": "Ω", "capacitor": "F"}
PAIRS_SHOWN = 8
CODE_EXAMPLES = ["8342", "842", "VII 83", "7404"]
ABOUT = re.compile(r"(\d{4})(?:-(\d{2})(?:-(\d{2}))?)?", re.ASCII)


@dataclass(frozen=True, slots=True)
class MarkingView:
    """One reading of a marking: what was understood, its limits, and the bands that spell it."""

    understood: str
    limits: str
    notes: tuple[str, ...]
    bands: str


@dataclass(frozen=True, slots=True)
class MarkingPage:
    """The marking reader: every reading, the likeliest first."""

    form: Form
    bands: tuple[str, ...]
    kinds: Options
    codes: Options
    colours: Options
    examples: dict[str, list[str]]
    readings: list[MarkingView]


@dataclass(frozen=True, slots=True)
class ValueView:
    """A preferred value beside the one that is wanted."""

    words: str
    value: str
    error: str


@dataclass(frozen=True, slots=True)
class PairView:
    """Two preferred values and what they make together."""

    parts: str
    joined: str
    value: str
    error: str
    limits: str


@dataclass(frozen=True, slots=True)
class PreferredPage:
    """The nearest preferred values, and the pairs that come closest."""

    form: Form
    kinds: Options
    series: Options
    joined: Options
    values: list[ValueView]
    pairs: list[PairView]


@dataclass(frozen=True, slots=True)
class DateCodePage:
    """What a date code can mean, the likeliest first; `outside` are readings that the days given rule out."""

    form: Form
    examples: list[str]
    readings: Sequence[datecodes.Reading]
    outside: Sequence[datecodes.Reading]
    warning: str


# ---- Markings ----


@router.get(HERE + "/marking")
def marking_page(house: AtHome) -> Response:
    form = form_of(house, {"text": "", "kind": "resistor", "code": "", **dict.fromkeys(BANDS, "")})
    bands = [colour for band in BANDS if (colour := form.text(band))]
    readings: list[MarkingView] = []
    try:
        if bands:
            form.set("kind", "resistor")
            readings = _marking_views(markings.read_bands(bands))
        elif form.text("text").strip():
            readings = _marking_views(_read(form.text("text"), form.text("kind"), form.text("code")))
    except EngineeringError as fault:
        form.errors[BANDS[0] if bands else fault.field or "text"] = _sentence(fault)
    context = MarkingPage(form, BANDS, KINDS, CODES, COLOURS, EXAMPLES, readings)
    return house.page("bench_sums/marking.html", context, 422 if form.errors else 200)


def _read(text: str, kind: str, code: str) -> markings.Marking:
    """A code if it can be one, else colours in words or a plain value."""
    chosen: markings.MarkingCode | None = None
    match code:
        case "letter code" | "digit code" | "EIA-96":
            chosen = code
    try:
        return markings.read_marking(text, kind, chosen)
    except markings.MarkingError as refusal:
        if chosen or refusal.alternatives or refusal.field:
            raise
        return markings.read_part_value(text, kind)


def _marking_views(marking: markings.Marking) -> list[MarkingView]:
    return [_marking_view(reading) for reading in (marking, *marking.alternatives)]


def _marking_view(marking: markings.Marking) -> MarkingView:
    value = marking.value
    limits = "" if value.is_exact else f"From {_end(value, value.low)} to {_end(value, value.high)}."
    # Bands tell a tolerance, but for the one black band of a link: where none is marked, none spell it.
    spelled = not value.is_exact or value.nominal == 0
    bands = _bands(marking) if spelled and marking.scheme != "colour bands" else ""
    return MarkingView(marking.understood, limits, marking.notes, bands)


def _bands(marking: markings.Marking) -> str:
    """The bands that spell a resistance, as few as will do."""
    if marking.value.unit != "Ω":
        return ""
    for count in (1, 4, 5):
        try:
            return " ".join(markings.bands_for(marking.value, count))
        except EngineeringError:
            continue
    return ""


def _end(value: Toleranced, end: float) -> str:
    return show(exact(end, value.unit), 6)


# ---- Preferred values ----


@router.get(HERE + "/preferred")
def preferred_page(house: AtHome) -> Response:
    form = form_of(house, {"value": "", "kind": "resistor", "series": "E24", "joined": "either"})
    values: list[ValueView] = []
    pairs: list[PairView] = []
    if form.text("value").strip():
        try:
            wanted = _wanted(form.text("value"), form.text("kind"))
            values = _nearest_values(wanted, form.text("series"))
            pairs = _best_pairs(wanted, form)
        except EngineeringError as fault:
            form.errors["value"] = _sentence(fault)
    context = PreferredPage(form, KINDS, SERIES, JOINED, values, pairs)
    return house.page("bench_sums/preferred.html", context, 422 if form.errors else 200)


def _wanted(text: str, kind: str) -> Toleranced:
    """The nominal value wanted, in ohm or farad."""
    unit = UNITS.get(kind, "Ω")
    read = parse(text, unit, kind if kind in UNITS else "resistor")
    return exact(read.nominal, read.unit)


def _nearest_values(wanted: Toleranced, series: str) -> list[ValueView]:
    ways: list[tuple[preferred.Nearness, str]] = [
        ("ratio", "Nearest"),
        ("at_most", "Next below"),
        ("at_least", "Next above"),
    ]
    found = {words: preferred.nearest(wanted.nominal, series, how) for how, words in ways}
    return [
        ValueView(words, show(exact(value, wanted.unit)), _percent(100 * (value / wanted.nominal - 1)))
        for words, value in found.items()
    ]


def _best_pairs(wanted: Toleranced, form: Form) -> list[PairView]:
    kind: PartKind = "capacitor" if form.text("kind") == "capacitor" else "resistor"
    joined: Wanted = "either"
    match form.text("joined"):
        case "series" | "parallel" as chosen:
            joined = chosen
    target = convert(wanted, UNITS[kind]).nominal
    found = preferred.combine(target, form.text("series"), 2, joined, kind=kind, best=PAIRS_SHOWN)
    return [_pair_view(pair, UNITS[kind]) for pair in found]


def _pair_view(pair: preferred.Combination, unit: str) -> PairView:
    parts = " and ".join(show(exact(part, unit)) for part in pair.parts).replace(" ", NO_BREAK)
    limits = "not told by the series"
    if pair.low is not None and pair.high is not None:
        limits = f"{show(exact(pair.low, unit), 4)} to {show(exact(pair.high, unit), 4)}"
    return PairView(parts, f"in {pair.joined}", show(exact(pair.value, unit), 6), _percent(pair.error_percent), limits)


def _percent(error: float) -> str:
    """How far off, with its sign: `+1.2 %`; `exact` where it is none."""
    if abs(error) < 1e-9:
        return "exact"
    return f"{error:+.2g} %".replace("-", "−")


# ---- Date codes ----


@router.get(HERE + "/date-code")
def date_code_page(house: AtHome) -> Response:
    form = form_of(house, {"text": "", "not_before": "", "not_after": "", "letters": ""})
    first = _day(form, "not_before", last=False)
    last = _day(form, "not_after", last=True)
    schemes = datecodes.SCHEMES if form.text("letters") else None
    readings: Sequence[datecodes.Reading] = ()
    outside: Sequence[datecodes.Reading] = ()
    text = form.text("text").strip()
    if text and not form.errors:
        try:
            readings = datecodes.decode(text, first, last, schemes=schemes)
            outside = [] if readings else datecodes.decode(text, schemes=schemes)
        except EngineeringError as fault:
            form.errors[fault.field or "text"] = _sentence(fault)
    if text and not form.errors and not readings and not outside:
        form.errors["text"] = f"“{text[:40]}” has no reading as a date code. Look for another marking on the part."
    warning = next((reading.type_number for reading in (*readings, *outside) if reading.type_number), "")
    context = DateCodePage(form, CODE_EXAMPLES, readings, outside, warning)
    return house.page("bench_sums/date_code.html", context, 422 if form.errors else 200)


def _day(form: Form, name: str, last: bool) -> date | None:
    """The first or last day of a year, month or day; a message beside the field where it is none."""
    text = form.text(name).strip()
    if not text:
        return None
    if match := ABOUT.fullmatch(text):
        year, month, day = int(match[1]), int(match[2] or (12 if last else 1)), match[3]
        try:
            return date(year, month, int(day) if day else monthrange(year, month)[1] if last else 1)
        except ValueError:  # no such month or day
            pass
    form.errors[name] = "Write a year, a month or a day: 1981, 1981-03 or 1981-03-14."
    return None


def _sentence(fault: EngineeringError) -> str:
    return f"{fault.sentence.rstrip('.')}."
