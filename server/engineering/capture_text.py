"""A saved capture as numbers: the text that oscilloscopes write, one sample a line.

Columns stand apart by commas, semicolons, tabs or spaces; the decimal sign is a point, or a comma wherever that is not
what parts the columns. Lines before the first sample are skipped and asked for names and units (`capture_headers`).
From the first line that has a number in both columns on, every line must have as many columns as most have, a finite
number in both, and a later time; blank lines are passed over. UTF-8, UTF-16 with its mark, or else Windows-1252.

Raises `CaptureError`, with the line, for anything else: text among the numbers, NaN, ragged lines, time that stands
still or turns back, fewer than 8 or more than 1,000,000 samples, more than 100 MB, numbers beyond 1e60, two decimal
signs, whole numbers between commas that could be halves of numbers, a column that counts samples.

The numbers themselves are read by numpy; only when it refuses are the lines gone through to find the one at fault.
"""

import codecs
import io
import re
from collections.abc import Iterator, Sequence
from itertools import islice

import numpy as np

from server.engineering.capture_headers import Columns, read_headings
from server.engineering.capture_layout import NUMBER, Layout, find_layout, good_lines
from server.engineering.captures import FEWEST_SAMPLES, MOST_SAMPLES, Capture, CaptureError, Reals, first_fault

MOST_BYTES = 100_000_000
MOST_LINES = 2 * MOST_SAMPLES  # every second one may be blank
MOST_HEADER_LINES = 1_000
LONGEST_LINE = 4_000
_NOT_FINITE = re.compile(r"\s*[+-]?(?:nan|inf|infinity)\s*", re.IGNORECASE)
_QUOTED = re.compile(rb'"([^"\n]*)"')
_QUOTED_COMMA = re.compile(rb'"\s*[+-]?\d+,\d[^"\n]*"')
_BLANK = re.compile(rb"\n[ \t]*(?=\n|\Z)")
_SETTINGS_BESIDE = 60
_PEEK = 8_192
_SHOWN = 40


def read_capture(data: bytes | str) -> Capture:
    """The capture in a file's content, in the units that its header names (s and V where it names none).

    Raises `CaptureError` with the line at fault and a sentence; see the module for what is read.
    """
    text = _as_plain_bytes(data)
    layout = find_layout(_sample(text))
    start, header = _header(text, layout)
    body = text[start:]
    columns = read_headings(*_headings(header, body, layout), layout.numeric)
    lines = _LineNumbers(body, len(header))
    _refuse_doubtful(body, layout, columns, lines)
    time, volts = _numbers(body, layout, columns, lines)
    if fault := first_fault(time, volts):
        raise CaptureError(f"{fault[1]}.", line=lines.of_sample(fault[0]))
    _refuse_few(time, lines)
    _refuse_counting(time, volts, layout, columns)
    notes = (*columns.notes, *_uneven(time, columns.time_unit))
    return Capture(time, volts, columns.time_unit, columns.volt_unit, len(header), notes)


def _as_plain_bytes(data: bytes | str) -> bytes:
    """UTF-8 with plain line ends and without quotes."""
    if len(data) > MOST_BYTES:
        raise CaptureError(f"The file is larger than {MOST_BYTES // 1_000_000} MB; save fewer samples.")
    raw = data.encode("utf-8", "replace") if isinstance(data, str) else _recoded(data)
    raw = raw.removeprefix(codecs.BOM_UTF8)
    if b"\0" in raw:
        raise CaptureError("The file is not text; save the capture as comma-separated values.")
    if b"\r" in raw:
        raw = raw.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    if b'"' in raw:
        raw = _unquoted(raw)
    for odd, plain in (("−", b"-"), ("\u00a0", b" ")):
        raw = raw.replace(odd.encode(), plain)
    if not raw.strip():
        raise CaptureError("There are no readings in the file.")
    if raw.count(b"\n") > MOST_LINES:
        raise CaptureError(f"The file has more than {MOST_LINES:,} lines; at most {MOST_SAMPLES:,} samples are read.")
    return raw


def _recoded(data: bytes) -> bytes:
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return data.decode("utf-16", "replace").encode()
    try:
        data.decode()
    except UnicodeDecodeError:
        return data.decode("cp1252", "replace").encode()
    return data


def _unquoted(raw: bytes) -> bytes:
    """Quotes off; where a comma inside them is a decimal sign, semicolons part the columns instead."""
    if not _QUOTED_COMMA.search(raw):
        return raw.replace(b'"', b"")
    pieces = _QUOTED.split(raw)
    pieces[::2] = [outside.replace(b",", b";") for outside in pieces[::2]]
    return b"".join(pieces)


def _sample(text: bytes) -> list[str]:
    """Some lines from the middle, where a capture is all numbers; all lines if there are few."""
    if len(text) <= 4 * _PEEK:
        return _decoded(text).splitlines()
    middle = len(text) // 2
    return _decoded(text[middle : middle + _PEEK]).splitlines()[1:-1]


def _decoded(text: bytes) -> str:
    return text.decode("utf-8", "replace")


def _header(text: bytes, layout: Layout) -> tuple[int, list[str]]:
    """Where the numbers begin, and the lines before that."""
    header: list[str] = []
    start = 0
    while start < len(text):
        end = text.find(b"\n", start)
        stop = end if end >= 0 else len(text)
        if stop - start > LONGEST_LINE:
            raise CaptureError("there is more than a line of a capture holds.", line=len(header) + 1)
        line = _decoded(text[start:stop])
        if _is_sample(line, layout):
            return start, header
        if end < 0 or len(header) == MOST_HEADER_LINES:
            break
        header.append(line)
        start = end + 1
    raise CaptureError(f"There are no readings in the first {len(header):,} lines.")


def _is_sample(line: str, layout: Layout) -> bool:
    cells = layout.cells(line)
    return all(place < len(cells) and NUMBER.fullmatch(cells[place]) for place in layout.numeric[:2])


def _headings(header: Sequence[str], body: bytes, layout: Layout) -> tuple[list[str], list[list[str]]]:
    """The lines that may tell units, and those right above the numbers that may name the columns."""
    rows: list[list[str]] = []
    for line in reversed([line for line in header if line.strip()]):
        cells = _name_cells(line, layout)
        if len(cells) != layout.count or any(NUMBER.fullmatch(cell) for cell in cells):
            break
        rows.insert(0, cells)
    settings = [line[:300] for line in header]
    if layout.numeric[0] > 0:  # settings may stand in the columns left of the first samples
        settings += [line[:300] for line in islice(_decoded(body[: 4 * _PEEK]).splitlines(), _SETTINGS_BESIDE)]
    return settings, rows


def _name_cells(line: str, layout: Layout) -> list[str]:
    """The cells of a line of names; it may be parted otherwise than the numbers are."""
    bare = re.sub(r"\s+(?=[(\[])", "", line.lstrip("#%; \t"))
    cells: list[str] = []
    for delimiter in (layout.delimiter, ";", "\t", ","):
        cells = [cell.strip() for cell in bare.split(delimiter)]
        while len(cells) > layout.count and not cells[-1]:
            cells.pop()
        if len(cells) == layout.count:
            break
    return cells


class _LineNumbers:
    """Which line of the file a sample stands on; looked up only when something is wrong."""

    def __init__(self, body: bytes, skipped: int) -> None:
        self._body = body
        self._skipped = skipped

    def of_sample(self, place: int) -> int:
        return next(islice(self.samples(), place, None))[0]

    def after_good(self, layout: Layout) -> Iterator[tuple[int, str]]:
        """The lines from the first on that is not plainly good; those before it are not gone through one by one."""
        good = good_lines(layout).match(self._body)
        return self.samples(good.end() if good else 0)

    def samples(self, start: int = 0) -> Iterator[tuple[int, str]]:
        """Number and text of every line from byte `start` that is not blank."""
        first = self._skipped + self._body.count(b"\n", 0, start) + 1
        for number, line in enumerate(io.BytesIO(self._body[start:]), start=first):
            if line.strip(b" \t\n"):
                yield number, _decoded(line[:LONGEST_LINE]).rstrip("\n")

    def last(self) -> int:
        return self._skipped + self._body.rstrip().count(b"\n") + 1


def _refuse_doubtful(body: bytes, layout: Layout, columns: Columns, lines: _LineNumbers) -> None:
    """Refuse numbers between commas that could be the two halves of others."""
    if layout.delimiter == "," and layout.count > 2 and not columns.named and b"." not in body:
        raise CaptureError(
            "the commas may part columns or be decimal signs, as no number has a point; save the capture with "
            "decimal points or with semicolons between columns, or name the columns in the line above the numbers.",
            line=lines.of_sample(0),
        )


def _numbers(body: bytes, layout: Layout, columns: Columns, lines: _LineNumbers) -> tuple[Reals, Reals]:
    plain = _BLANK.sub(b"", body)
    if plain.count(b"\n") >= MOST_SAMPLES:
        raise _one_too_many(lines)
    if layout.comma_decimal:
        if b"." in plain:
            raise _first_bad(layout, columns, lines)
        plain = plain.replace(b",", b".")
    try:
        table = _table(plain, layout, columns)
    except ValueError:
        raise _first_bad(layout, columns, lines) from None
    return np.ascontiguousarray(table[:, 0]), np.ascontiguousarray(table[:, 1])


def _refuse_few(time: Reals, lines: _LineNumbers) -> None:
    if time.size < FEWEST_SAMPLES:
        samples = "1 sample" if time.size == 1 else f"{time.size} samples"
        raise CaptureError(
            f"the file ends after {samples}; a capture needs at least {FEWEST_SAMPLES}.", line=lines.last()
        )


def _table(body: bytes, layout: Layout, columns: Columns) -> Reals:
    """Times and voltages side by side; a plain ValueError if any line is not like the others."""
    wanted = [columns.time, columns.volts]
    if layout.delimiter is None and layout.count == len(layout.numeric):
        # Asked for every column, numpy itself refuses lines of another length, where no delimiter can be counted.
        table = np.loadtxt(io.BytesIO(body), comments=None, ndmin=2)
        return np.asarray(table[:, wanted], dtype=np.float64)
    if layout.delimiter is not None and _is_ragged(body, layout.delimiter, layout.count):
        raise ValueError
    return np.loadtxt(io.BytesIO(body), delimiter=layout.delimiter, comments=None, usecols=wanted, ndmin=2)


def _one_too_many(lines: _LineNumbers) -> CaptureError:
    return CaptureError(
        f"there is one sample too many; at most {MOST_SAMPLES:,} are read. Save a shorter capture or fewer samples.",
        line=lines.of_sample(MOST_SAMPLES),
    )


def _is_ragged(body: bytes, delimiter: str, count: int) -> bool:
    """Whether any line has more or fewer than `count` columns; a delimiter at its very end parts nothing."""
    text = np.frombuffer(body, np.uint8)
    ends = np.append(np.flatnonzero(text == ord("\n")), text.size)
    marks = np.flatnonzero(text == ord(delimiter))
    counts = np.diff(np.searchsorted(marks, ends), prepend=0)
    closed = text[ends - 1] == ord(delimiter)
    return not bool(((counts == count - 1) | (closed & (counts == count))).all())


def _first_bad(layout: Layout, columns: Columns, lines: _LineNumbers) -> CaptureError:
    """What is wrong with the first line that is not like the others."""
    for number, line in lines.after_good(layout):
        if fault := _fault_in(layout.cells(line), layout, columns):
            return CaptureError(f"{fault}.", line=number, text=line[:_SHOWN])
    return CaptureError("The file cannot be read as columns of numbers.")


def _fault_in(cells: Sequence[str], layout: Layout, columns: Columns) -> str:
    if len(cells) != layout.count:
        columns_here = "is 1 column" if len(cells) == 1 else f"are {len(cells)} columns"
        return f"there {columns_here} where the others have {layout.count}"
    for place, name in ((columns.time, "time"), (columns.volts, "voltage")):
        cell = cells[place].strip()
        if not cell:
            return f"there is no {name}"
        if not NUMBER.fullmatch(cell):
            return f"“{cell[:_SHOWN]}” is not a number, where the {name} should stand"
        if _NOT_FINITE.fullmatch(cell):
            return f"the {name}, {cell}, is not a finite number"
    return _other_sign([cells[place] for place in layout.numeric], layout)


def _other_sign(cells: Sequence[str], layout: Layout) -> str:
    other, usual = (".", "comma") if layout.comma_decimal else (",", "point")
    for cell in cells:
        if other in cell:
            return f"“{cell.strip()[:_SHOWN]}” does not have a {usual} as its decimal sign, as other numbers have"
    return ""


def _refuse_counting(time: Reals, volts: Reals, layout: Layout, columns: Columns) -> None:
    """Refuse a first column that counts samples with the time beside it, as nothing above the numbers says so."""
    if columns.named or len(layout.numeric) < 3 or not np.array_equal(np.diff(time), np.ones(time.size - 1)):
        return
    if (volts[1:] > volts[:-1]).all():
        raise CaptureError(
            "The first column seems to count samples and the second to be the time; "
            "name the columns in a line above the numbers."
        )


def _uneven(time: Reals, unit: str) -> Iterator[str]:
    steps = np.diff(time)
    usual = float(np.median(steps))
    longest = int(np.argmax(steps))
    if steps[longest] > 2.5 * usual:
        yield (
            f"The samples are not evenly spaced: the usual step is {usual:.4g} {unit}, but {steps[longest]:.4g} {unit} "
            f"pass after {time[longest]:.6g} {unit}. What happened in between is not seen."
        )
