"""The lines above a capture's numbers: which column is the time, which the voltage, and in what units.

Two kinds of lines count. Right above the numbers, up to two lines of as many cells as the numbers have columns and no
number among them: names (`Time,CH1`), units (`(ms),(V)`) or both (`t/ms`, `Time [µs]`, `Zeit in s`). Anywhere above,
settings that say a unit (`Horizontal Units,s`, `Vertical Units,mV`). Other settings (trigger, model, record length) are
passed over. Without any, the first two columns of numbers are time and volts, in s and V, and notes say so.

It knows words and units, and nothing of the numbers below. Raises `CaptureError` where the lines say that the columns
are not a time and a voltage, or name a unit that is not known here.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import reduce

from server.engineering.captures import CaptureError
from server.engineering.errors import UnknownUnit
from server.engineering.units import check_unit, same_dimension

_TIME_NAME = re.compile(r"(?:time|times|t|zeit|temps|tiempo|tempo|tijd|seconds?|secs?)\b.*", re.IGNORECASE | re.DOTALL)
_COUNT_NAME = re.compile(r"(?:samples?|sequence|index|points?|no|nr|n|#|count)[.:]?", re.IGNORECASE)
_BRACKETED = re.compile(r"[(\[{]\s*([^()\[\]{}]*?)\s*[)\]}]")
_OTHER_QUANTITY = re.compile(r"\b(?:db\w?|decibels?|freq(?:uency)?|phase|current|power)\b", re.IGNORECASE)
# Behind a number it is a value (`CH1 scale 500 mV`), behind a word the unit of the column (`CH1 mV`, `t/ms`).
_AFTER_WORD = re.compile(r"(?:.*[\s_])?[^\W\d_]\w*(?:\s*/\s*|\s+in\s+|[\s_]+)(\S+)")
_NO_UNIT = re.compile(r"(?:\d.*|x\d+|[ad]c|ch(?:annel)?\s*\w?)", re.IGNORECASE)
_IN_FULL = (("milli", "m"), ("micro", "µ"), ("nano", "n"), ("kilo", "k"))
_SETTING = re.compile(r"[\"\s]*([^,;\t:=]*?\bunits?\b[^,;\t:=]*?)[\"\s]*[,;\t:=]\s*\"?([^,;\t\"]+)", re.IGNORECASE)
_ACROSS = re.compile(r"\b(?:horizontal|time|x)\b|timebase", re.IGNORECASE)
_UPRIGHT = re.compile(r"\b(?:vertical|volts?|voltage|y|ch(?:annel)?\s*\w?)\b", re.IGNORECASE)
_SMALL_TIMES = frozenset({"s", "ms", "µs", "ns", "ps"})
_NAME_LINES = 2


@dataclass(frozen=True, slots=True)
class Columns:
    """Where time and volts stand, counted from 0, their units, and what had to be assumed.

    `named` says whether a line above the numbers told which column is the time.
    """

    time: int
    volts: int
    time_unit: str = "s"
    volt_unit: str = "V"
    named: bool = False
    notes: tuple[str, ...] = ()


@dataclass(slots=True)
class _Heading:
    """What is written above one column: its name, and the unit of the line nearest to the numbers."""

    name: str = ""
    unit: str = ""

    @property
    def is_time(self) -> bool:
        return bool(_TIME_NAME.fullmatch(self.name)) or (self.unit != "" and same_dimension(self.unit, "s"))

    @property
    def may_be_volts(self) -> bool:
        return not self.is_time and not _COUNT_NAME.fullmatch(self.name)


def read_headings(header: Sequence[str], rows: Sequence[Sequence[str]], numeric: Sequence[int]) -> Columns:
    """The columns to use: `header` the lines above, `rows` the same in cells, `numeric` the columns with numbers."""
    headings = _headings(rows, max(numeric) + 1)
    settings = dict(_settings(header))
    time = _time_column(headings, numeric)
    volts = _volt_column(headings, numeric, time)
    named = headings[time].is_time
    time_unit = headings[time].unit or settings.get("time", "")
    volt_unit = headings[volts].unit or settings.get("volts", "")
    for place, unit, coherent, name in ((time, time_unit, "s", "time"), (volts, volt_unit, "V", "voltage")):
        _refuse_other(headings[place].name[:40], unit, coherent, place, name)
    notes = _notes(time_unit, volt_unit, time, volts, len(numeric))
    return Columns(time, volts, time_unit or "s", volt_unit or "V", named, tuple(notes))


def _headings(rows: Sequence[Sequence[str]], count: int) -> dict[int, _Heading]:
    found = {place: _Heading() for place in range(count)}
    for row in reversed(rows[-_NAME_LINES:]):  # the nearest line first: what it says goes before what stands above
        if re.search(r"\bunits?\b", row[0], re.IGNORECASE) and not _BRACKETED.search(row[0]):
            break  # a setting, not a name
        for place, cell in enumerate(row[:count]):
            heading = found[place]
            heading.unit = heading.unit or _unit_in(cell)
            heading.name = heading.name or _BRACKETED.sub("", cell).strip()
    return found


def _unit_in(cell: str) -> str:
    """The unit that a heading gives; behind a mere space only a time or a voltage counts: `Channel A` is no current."""
    as_time = bool(_TIME_NAME.fullmatch(cell))
    if bracketed := _BRACKETED.findall(cell):
        said = next((text for text in bracketed if not _NO_UNIT.fullmatch(text)), "")
        return _spelled(said, as_time) if said else ""
    after = _AFTER_WORD.fullmatch(cell)
    for word in (cell, after[1] if after else ""):
        try:
            unit = _spelled(word, as_time)
        except CaptureError:
            continue
        if unit in _SMALL_TIMES or (unit and same_dimension(unit, "V")):
            return unit
    return ""


def _spelled(text: str, as_time: bool) -> str:
    """The unit as it is written here, `S` for seconds and `v` for volts put right. Raises `CaptureError`."""
    fixed = text.replace("S", "s") if as_time else re.sub(r"v$", "V", text)
    word = text.lower() if len(text) > len("mV") else text
    short = reduce(lambda known, full: known.replace(*full), _IN_FULL, word)
    for spelling in (fixed, text, word, short):
        try:
            return check_unit(spelling)
        except UnknownUnit:
            continue
    raise CaptureError(
        f"“{text[:40]}”, written above the numbers as a unit, is not known here; write s, ms, µs or V, mV.", text=text
    )


def _settings(header: Sequence[str]) -> Iterator[tuple[str, str]]:
    for line in header:
        said = _SETTING.match(line)
        if said and _ACROSS.search(said[1]):
            yield "time", _spelled(said[2].strip(), as_time=True)
        elif said and _UPRIGHT.search(said[1]):
            yield "volts", _spelled(said[2].strip(), as_time=False)


def _time_column(headings: dict[int, _Heading], numeric: Sequence[int]) -> int:
    named = [place for place in numeric if headings[place].is_time]
    if named:
        return named[0]
    first = headings[numeric[0]].name
    if _COUNT_NAME.fullmatch(first):
        raise CaptureError(
            f"The first column, “{first[:40]}”, counts samples and is no time; save the capture with its time.",
            text=first,
        )
    return numeric[0]


def _volt_column(headings: dict[int, _Heading], numeric: Sequence[int], time: int) -> int:
    others = [place for place in numeric if place != time]
    likely = [place for place in others if headings[place].may_be_volts]
    in_volts = [place for place in likely if not headings[place].unit or same_dimension(headings[place].unit, "V")]
    return (in_volts or likely or others)[0]


def _refuse_other(heading: str, unit: str, coherent: str, place: int, name: str) -> None:
    if unit and not same_dimension(unit, coherent):
        raise CaptureError(f"Column {place + 1} is in {unit} by its heading, and a {name} is needed there.", text=unit)
    if _OTHER_QUANTITY.search(heading):
        raise CaptureError(
            f"Column {place + 1}, “{heading}”, is no {name}, and a {name} is needed there.", text=heading
        )


def _notes(time_unit: str, volt_unit: str, time: int, volts: int, count: int) -> Iterator[str]:
    if not time_unit:
        yield "No unit of time is named above the numbers; seconds were taken."
    if not volt_unit:
        yield "No unit of voltage is named above the numbers; volts were taken."
    if count > 2:
        yield f"Of {count} columns with numbers, column {time + 1} was read as time and column {volts + 1} as voltage."
