"""Saved captures as text: every layout that is read, the units it is read in, and what is refused with its line."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.engineering.captures import MOST_SAMPLES
from server.engineering.waveforms import Capture, CaptureError, read_capture

ROWS = tuple((f"{step / 1000:.3f}", f"{step % 4 / 2}") for step in range(10))
POINTS = "".join(f"{time},{volts}\n" for time, volts in ROWS)
COMMAS = POINTS.replace(",", ";").replace(".", ",")


def _rows(text: str) -> list[tuple[float, float]]:
    capture = read_capture(text)
    return list(zip(capture.time.tolist(), capture.volts.tolist(), strict=True))


@pytest.mark.parametrize(
    "text",
    [
        POINTS,
        POINTS.rstrip("\n"),
        POINTS.replace("\n", "\r\n"),
        POINTS.replace("\n", "\r"),
        POINTS.replace("\n", "\n\n"),
        POINTS.replace("\n", "\n  \t\n"),
        POINTS.replace("\n", ",\n"),
        POINTS.replace("\n", ",\n").removesuffix(",\n"),
        POINTS + "\n\n  \n",
        POINTS.replace(",", ", "),
        POINTS.replace(",", " ; "),
        POINTS.replace(",", "\t"),
        POINTS.replace(",", "   "),
        COMMAS,
        COMMAS.replace(";", "\t"),
        COMMAS.replace(";", " "),
        "".join(f'"{time}","{volts}"\n' for time, volts in ROWS),
        "".join(f'"{time}","{volts}"\n' for time, volts in ROWS).replace(".", ","),
        "".join(f'"{time}";"{volts}"\n' for time, volts in ROWS).replace(".", ","),
        "\ufeff" + POINTS,
        POINTS.replace("0.001", "+1.0E-3").replace("0.002", "2e-03").replace("0.5", ".5"),
    ],
)
def test_a_capture_is_read_however_its_columns_stand_apart(text: str) -> None:
    """Commas, semicolons, tabs, spaces; point or comma; quotes, blank lines, any line end, a delimiter at the end."""
    expected = [(float(time), float(volts)) for time, volts in ROWS]

    assert expected == _rows(text)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_bytes_are_read_in_the_encodings_that_instruments_write(encoding: str) -> None:
    """The µ of a header survives, with or without a mark at the beginning."""
    capture = read_capture(f"Zeit (µs);Spannung (mV)\n{COMMAS}".encode(encoding))

    assert (capture.time_unit, capture.volt_unit) == ("µs", "mV")
    assert capture.time.size == 10


@pytest.mark.parametrize(
    ("header", "units"),
    [
        ("Time (s),Volts (V)", ("s", "V")),
        ("t/ms,u/mV", ("ms", "mV")),
        ("Time [us],Channel A [V]", ("µs", "V")),
        ("Time,CH1\n(ms),(V)", ("ms", "V")),
        ("x-axis,1\nsecond,Volt", ("s", "V")),
        ("Source,CH1\nSecond,Volt", ("s", "V")),
        ("time in ns,CH1 V", ("ns", "V")),
        ("Time(S),Volt(mV)", ("s", "mV")),
        ("Time (mSec),Volts (mVolts)", ("ms", "mV")),
        ("Time (milliseconds),Volts (millivolts)", ("ms", "mV")),
        ("# Time (ms), CH1 (V)", ("ms", "V")),
        ("Horizontal Units,ms\nVertical Units,mV\nTrigger Level,1.5", ("ms", "mV")),
        ("Time unit: us\nVolt unit: mV", ("µs", "mV")),
        ("Time (ms),CH1 (mV)\n\n", ("ms", "mV")),
        ("Time (h),CH1 (V)", ("h", "V")),
        ("Time (ms);CH1 (mV)", ("ms", "mV")),
        ("Time (ms)\tCH1 (mV)", ("ms", "mV")),
        ("Time [ms] saved,CH1 [mV] @ 10x", ("ms", "mV")),
        ("Time (ms),CH1 (DC) (mV)", ("ms", "mV")),
        ("Time (ms),CH1 (DC)", ("ms", "V")),
        ("CH1 scale,500 mV\nTime base,2", ("s", "V")),
        ("Saved,2031-05-06 10:11:12\nModel,QX-2\nRecord length,10", ("s", "V")),
    ],
)
def test_units_are_taken_from_the_lines_above_the_numbers(header: str, units: tuple[str, str]) -> None:
    """Names and units right above, or settings anywhere above; a setting's value is not a column's unit."""
    capture = read_capture(f"{header}\n{POINTS}")

    assert units == (capture.time_unit, capture.volt_unit)
    assert header.count("\n") + 1 == capture.skipped_lines
    assert capture.time.size == 10


def test_assumed_units_are_noted() -> None:
    """Seconds and volts are taken where nothing is said, and the notes say so."""
    capture = read_capture(POINTS)

    assert [note.split("unit of ")[1].split(" ")[0] for note in capture.notes] == ["time", "voltage"]
    assert read_capture("Time (s),CH1 (V)\n" + POINTS).notes == ()


@pytest.mark.parametrize(
    ("header", "order"),
    [
        ("Time (s),CH1 (V),CH2 (V)", "{time},{volts},9"),
        ("CH1 (V),Time (s),CH2 (V)", "{volts},{time},9"),
        ("Sample,Time (s),CH1 (V)", "{n},{time},{volts}"),
        ("No.,Time (s),Current (A),CH1 (V)", "{n},{time},9,{volts}"),
        ("Time (s),Marker,CH1 (V)", "{time},x,{volts}"),
        ("Time (s) CH1 (V) CH2 (V)", "{time} {volts} 9"),
        ("", "{time},{volts},9,9"),
    ],
)
def test_columns_are_chosen_by_their_headings(header: str, order: str) -> None:
    """The first two columns with numbers, unless the headings name others; a column of counts is passed over."""
    body = "".join(order.format(n=n, time=row[0], volts=row[1]) + "\n" for n, row in enumerate(ROWS))

    assert [(float(time), float(volts)) for time, volts in ROWS] == _rows(f"{header}\n{body}")


def test_settings_may_stand_left_of_the_first_samples() -> None:
    """Columns that hold settings in a few lines and nothing after are passed over, and their units honoured."""
    left = ["Record Length,10,", "Horizontal Units,ms,", "Vertical Units,mV,", *[",,"] * 7]
    body = "".join(f"{settings},{time},{volts}\n" for settings, (time, volts) in zip(left, ROWS, strict=True))

    capture = read_capture(body)

    assert [float(time) for time, _ in ROWS] == capture.time.tolist()
    assert (capture.time_unit, capture.volt_unit, capture.skipped_lines) == ("ms", "mV", 0)


@pytest.mark.parametrize(
    ("tail", "line", "fault"),
    [
        ("overload,1\n", 11, "“overload” is not a number, where the time"),
        ("1,---\n", 11, "“---” is not a number, where the voltage"),
        ("1,nan\n", 11, "the voltage, nan, is not a finite number"),
        ("NaN,1\n", 11, "the time, nan, is not a finite number"),
        ("1,-inf\n", 11, "not a finite number"),
        ("1,1e999\n", 11, "not a finite number"),
        ("1,1e99\n", 11, "larger than 1e60"),
        ("1\n", 11, "there is 1 column where the others have 2"),
        ("1,2,3\n", 11, "there are 3 columns where the others have 2"),
        ("1,\n", 11, "there is no voltage"),
        (",1\n", 11, "where the time should stand|there is no time"),
        ("1;2\n", 11, "there is 1 column"),
        ("1,2 V\n", 11, "“2 V” is not a number"),
        ("1_0,2\n", 11, "“1_0” is not a number"),
        ("0x10,2\n", 11, "is not a number"),
        ("٣,2\n", 11, "is not a number"),
        ("0.009,1\n", 11, "the time stands still at 0.009"),
        ("\n\n0.002,1\n", 13, "the time goes back, from 0.009 to 0.002"),
        ("Time,CH1\n" + POINTS, 11, "“Time” is not a number"),
        ("1,1\n" * 3 + "x,1\n", 14, "“x” is not a number"),
    ],
)
def test_the_first_line_that_cannot_be_read_is_named(tail: str, line: int, fault: str) -> None:
    """Text among the numbers, NaN, ragged lines and time that does not go on are refused with their line."""
    with pytest.raises(CaptureError, match=fault) as refused:
        read_capture(POINTS + tail)

    assert line == refused.value.line
    assert str(refused.value).startswith(f"In line {line}, ")


@pytest.mark.parametrize(
    ("content", "fault"),
    [
        ("", "no readings"),
        (" \n\n", "no readings"),
        (b"", "no readings"),
        ("Time (s),CH1 (V)\n", "no readings"),
        ("only text\n" * 20, "no readings"),
        ("1\n2\n3\n4\n5\n6\n7\n8\n9\n", "no line has two columns"),
        ("00:00:01,5\n00:00:02,5\n", "not as on a clock"),
        (b"\x89PNG\r\n\x1a\n\0\0\0", "not text"),
        (POINTS[:30], "at least 8"),
        ("0,1\n", "the file ends after 1 sample; a capture needs at least 8"),
        ("0,1\n1,2\n2,3\n1.5,2\n3,3\n4,4\n", "In line 4, the time goes back, from 2 to 1.5"),
        ("0,1\n1,2\n2,nan\n", "In line 3, the voltage, nan, is not a finite number"),
        ("0,1\n1,2\n2,1e70\n", "In line 3, the voltage, 1e\\+70, is larger than 1e60"),
        ("x" * 5_000 + "\n" + POINTS, "more than a line of a capture holds"),
        (POINTS.replace("0.004,0.0", "0.004,,"), "In line 5, there is no voltage"),
        (COMMAS.replace("0,005", "0.005"), "In line 6, “0.005” does not have a comma"),
        (COMMAS.replace("0,004;0,0", "0,004;1.234,5"), "In line 5, “1.234,5” is not a number"),
        (POINTS.replace(",", ";").replace("0.005", "0,005"), "decimal sign"),
        (POINTS.replace("0.004,0.0", '0.004,"1,5"'), "decimal sign"),
        ("".join(f"{n},5,{n},1\n" for n in range(10)), "the commas may part columns or be decimal signs"),
        ("".join(f"{n},{n},5\n" for n in range(10)), "the commas may part columns or be decimal signs"),
        ("".join(f"{n},{n / 2},{n % 2}\n" for n in range(10)), "seems to count samples"),
        ("Sequence,Volt\n" + POINTS, "counts samples"),
        ("Time (s),Current (A)\n" + POINTS, "Column 2 is in A"),
        ("Voltage (V),Frequency (Hz)\n" + POINTS, "Column 1 is in V"),
        ("Frequency,Amplitude\n" + POINTS, "Column 1, “Frequency”, is no time"),
        ("Time (s),Level dBV\n" + POINTS, "Column 2, “Level dBV”, is no voltage"),
        ("Time (parsecs),CH1 (V)\n" + POINTS, "“parsecs”, written above the numbers as a unit"),
        ("\n" * (2 * MOST_SAMPLES + 1) + POINTS, "2,000,000 lines"),
        ("text\n" * 1_001 + POINTS, "no readings in the first 1,000 lines"),
    ],
)
def test_what_is_no_capture_is_refused_in_words(content: str | bytes, fault: str) -> None:
    """Nothing to read, something else than text, numbers that could mean two things, columns of other quantities."""
    with pytest.raises(CaptureError, match=fault):
        read_capture(content)


def test_a_million_samples_are_read_and_one_more_is_refused() -> None:
    """The limit is on samples, not on the blank lines among them, and the sample past it is named by its line."""
    body = "".join(f"{n},1\n" for n in range(MOST_SAMPLES))

    assert read_capture(f"Time (s),CH1 (V)\n\n{body}\n").time.size == MOST_SAMPLES
    with pytest.raises(CaptureError, match="In line 1000003, there is one sample too many; at most 1,000,000"):
        read_capture(f"Time (s),CH1 (V)\n\n{body}{MOST_SAMPLES},1\n")


@pytest.mark.parametrize("delimiter", [",", ";", "\t", " "])
def test_a_fault_far_down_is_found_as_surely_as_one_at_the_top(delimiter: str) -> None:
    """Good lines are passed over as a whole, blank ones counted, and the first bad one named."""
    body = "".join(f"{n}.5{delimiter}-1e-3\n" for n in range(50_000)) + "\n"

    with pytest.raises(CaptureError, match="In line 50003, “OL” is not a number, where the voltage should stand"):
        read_capture(f"Time{delimiter}CH1\n{body}50000{delimiter}OL\n50001{delimiter}x\n")


def test_a_gap_in_the_samples_is_noted() -> None:
    """Uneven steps are read, and a note says where nothing was seen."""
    rows = [*range(10), *range(20, 30)]

    capture = read_capture("Time (ms),CH1 (V)\n" + "".join(f"{n},{n % 2}\n" for n in rows))

    assert capture.time.size == 20
    assert any("usual step is 1 ms, but 11 ms pass after 9 ms" in note for note in capture.notes)


_STEPS = st.integers(1, 10**6)
_VOLTS = st.integers(-(10**6), 10**6)


@settings(max_examples=60, deadline=None)
@given(
    rows=st.lists(st.tuples(_STEPS, _VOLTS), min_size=8, max_size=40),
    style=st.sampled_from([(",", "."), (";", "."), (";", ","), ("\t", ","), ("\t", "."), (" ", "."), (" ", ",")]),
    end=st.sampled_from(["\n", "\r\n"]),
)
def test_what_is_written_is_read(rows: list[tuple[int, int]], style: tuple[str, str], end: str) -> None:
    """Any increasing times and any voltages come back, in every layout."""
    delimiter, decimal = style
    time = np.cumsum([step for step, _ in rows]) / 1000
    volts = np.array([volt for _, volt in rows]) / 1000
    cells = ([f"{value:.3f}".replace(".", decimal) for value in pair] for pair in zip(time, volts, strict=True))
    text = f"Time (s){delimiter}CH1 (V){end}" + end.join(delimiter.join(pair) for pair in cells)

    capture = read_capture(text.encode())

    assert [float(f"{value:.3f}") for value in time] == capture.time.tolist()
    assert [float(f"{value:.3f}") for value in volts] == capture.volts.tolist()


@settings(max_examples=80, deadline=None)
@given(st.one_of(st.binary(max_size=300), st.text(alphabet="0123456789.,;\t \n-+eEnaN\"'x()µVs", max_size=300)))
def test_any_content_is_read_or_refused_with_a_sentence(content: bytes | str) -> None:
    """Nothing but a capture or a refusal comes of any bytes."""
    sentence, sizes = ".", (8,)
    try:
        sizes = read_capture(content).time.shape
    except CaptureError as refused:
        sentence = str(refused)

    assert sentence.endswith(".")
    assert sizes[0] >= 8


def test_a_capture_made_of_arrays_is_held_to_the_same_rules() -> None:
    """Whoever is given a capture need not look again; its arrays cannot be written to."""
    time, volts = np.arange(8.0), np.ones(8)
    faulty: list[tuple[np.ndarray, np.ndarray, str]] = [
        (time, np.full(8, np.nan), "In sample 1, the voltage, nan"),
        (time[::-1], volts, "In sample 2, the time goes back"),
        (np.where(time == 3, np.inf, time), volts, "In sample 4, the time, inf"),
        (time, volts[:7], "as many voltages as times"),
        (time[:7], volts[:7], "7 samples are too few"),
        (time[:1], volts[:1], "1 sample is too few"),
        (time[:3][::-1], volts[:3], "In sample 2, the time goes back, from 2 to 1"),
        (np.arange(1_000_001.0), np.ones(1_000_001), "too many"),
    ]

    for times, voltages, fault in faulty:
        with pytest.raises(CaptureError, match=fault):
            Capture(times, voltages)
    with pytest.raises(CaptureError, match="V is not counted in s"):
        Capture(time, volts, "V", "V")
    with pytest.raises(ValueError, match="read-only"):
        Capture(time, volts).volts[0] = 5.0
