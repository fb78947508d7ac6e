"""Waveforms: a scope's capture with its figures, and the sums that read one of them."""

from dataclasses import asdict
from datetime import date
from typing import Any

import numpy as np
import pytest

from server.engineering.quantities import Toleranced, show
from server.engineering.waveforms import fit_decay, measure, read_capture
from server.records.commands.calculations import AttachCalculation, ReviseCalculation
from server.records.commands.machines import EnterMachine
from server.records.commands.waveforms import RecordWaveform, ReviseWaveform
from server.records.errors import Invalid, Stale
from server.records.questions.addresses import find_machine, find_waveform
from server.records.questions.states import mods_in_force
from server.records.questions.trials import instruments_of
from server.records.questions.waveforms import (
    FIGURES,
    figures_of,
    figures_offered,
    readers_of,
    waveforms_of,
)
from server.records.sums import read_cases
from server.records.tables import Calculation, CalculationRun, Waveform
from server.records.words import Case
from tests.records.captures import TAU, as_file, capture, clocked, falling, ramping, reads, record, sum_of
from tests.records.conftest import KEEPER, TAG, Bench

SAID = {"waveform": 1, "day": "2025-02-05", "title": "Rail at switch-off", "signer": KEEPER}
LINES = falling().decode().splitlines()


def kept(bench: Bench, number: int = 1) -> Waveform:
    with bench.store.reading() as session:
        return find_waveform(session, find_machine(session, TAG), number)


def refused(bench: Bench, lines: list[str], **said: Any) -> dict[str, str]:
    return bench.refuse(RecordWaveform, **capture("\n".join(lines).encode(), **said))


def runs(bench: Bench) -> list[CalculationRun]:
    return bench.rows(CalculationRun)


# ---- Recording ----


def test_the_figures_are_those_of_the_engineering_core(bench: Bench) -> None:
    """Each as a value with its uncertainty, and a sentence under the name of each that the capture does not give."""
    record(bench)

    waveform = kept(bench)
    seen, decay = measure(read_capture(falling())), fit_decay(read_capture(falling()))
    assert seen.high
    assert waveform.figures["high"] == asdict(seen.high)
    assert waveform.figures["tau"] == asdict(decay.tau)
    assert figures_of(waveform)["end_volts"] == decay.end_volts
    assert abs(decay.tau.nominal - TAU) < 4 * decay.tau.uncertainty
    assert waveform.reasons["period"] == seen.reasons["period"]
    assert waveform.figures.keys() | waveform.reasons.keys() == FIGURES.keys()
    assert not waveform.figures.keys() & waveform.reasons.keys()
    assert bench.faults() == []


def test_a_capture_is_read_before_anyone_has_to_wait() -> None:
    """With the command, which needs no store: a fault in the file is told without taking a turn to write."""
    command = RecordWaveform.read(capture() | {"machine": TAG})

    assert command.found.samples == 2_000
    with pytest.raises(Invalid, match="not text"):
        RecordWaveform.read(capture(b"\0") | {"machine": TAG})
    with pytest.raises(Invalid, match="too few samples"):
        RecordWaveform.read(capture(fit_from="9") | {"machine": TAG})


def test_a_waveform_keeps_its_file_and_what_was_said(bench: Bench) -> None:
    """The file byte for byte, under its digest; the drawing in few samples, the fitted decay beside it."""
    record(bench, probed_at="C3", instrument="scope", conditions="21 °C", note="x")

    waveform = kept(bench)
    assert bench.store.files.read(waveform.sha256) == falling()
    assert (waveform.size, waveform.samples, waveform.file_name) == (len(falling()), 2_000, "rail.csv")
    assert (waveform.time_unit, waveform.volt_unit, waveform.day) == ("s", "V", date(2025, 2, 5))
    assert 100 < len(waveform.drawing["lowest"]) == len(waveform.drawing["highest"]) <= 300
    assert len(waveform.drawing["time"]) == len(waveform.drawing["lowest"]) + 1
    assert waveform.drawing["fit_volts"][0] == pytest.approx(figures_of(waveform)["start_volts"].nominal)
    assert bench.last_entry().words == (
        "Waveform 1 of TM-03, Rail at switch-off, on 2025-02-05: 2,000 samples from rail.csv."
    )


def test_a_trace_without_a_decay_says_why(bench: Bench) -> None:
    """A ramp has no time constant, whatever could be fitted to it; nor does a level that stays."""
    record(bench, ramping())
    record(bench, as_file(np.arange(50) / 50, np.full(50, 5.0)))

    ramp, flat = kept(bench, 1), kept(bench, 2)
    assert "straight line" in ramp.reasons["tau"]
    assert ramp.reasons["tau"] == ramp.reasons["end_volts"]
    assert figures_of(flat)["steady"].nominal == 5.0
    assert "fit_time" not in flat.drawing
    assert bench.faults() == []


def test_figures_are_in_base_units_whatever_the_file_counts_in(bench: Bench) -> None:
    """And the stretch of the fit is in the file's own."""
    rows = [line.split(",") for line in LINES[1:]]
    scaled = [f"{1e3 * float(at):.6f},{1e3 * float(level):.3f}" for at, level in rows]
    record(bench, "\n".join(["Time (ms),Rail (mV)", *scaled]).encode(), fit_from="600", fit_to="1800")

    waveform = kept(bench)
    tau = figures_of(waveform)["tau"]
    assert (waveform.time_unit, waveform.volt_unit, tau.unit) == ("ms", "mV", "s")
    assert abs(tau.nominal - TAU) < 4 * tau.uncertainty
    assert waveform.drawing["fit_time"][0] == pytest.approx(600.0)
    assert waveform.drawing["fit_time"][-1] == pytest.approx(1800.0)


def test_lines_above_the_numbers_are_passed_over(bench: Bench) -> None:
    """They may say anything."""
    record(bench, "\n".join(["Channel A", "10:1; 21 °C", "", *LINES]).encode())

    assert figures_of(kept(bench))["tau"] == fit_decay(read_capture(falling())).tau


def test_each_machine_counts_its_own(bench: Bench) -> None:
    """As with trials."""
    bench.do(EnterMachine, tag="X-9", model="Y")
    record(bench)
    record(bench, clocked())
    record(bench, machine="X-9")

    assert [(row.machine_id, row.number) for row in bench.rows(Waveform)] == [(1, 1), (1, 2), (2, 1)]


# ---- What is no capture ----


def test_ragged_lines_are_named(bench: Bench) -> None:
    """By their place in the file, beside the field that takes it."""
    assert refused(bench, [*LINES[:40], "0.1,2,3", *LINES[40:]]) == {
        "capture": "In line 41, there are 3 columns where the others have 2."
    }


def test_time_that_turns_back_is_refused(bench: Bench) -> None:
    """No figure could be trusted."""
    said = refused(bench, [*LINES[:40], LINES[10], *LINES[41:]])["capture"]

    assert said.startswith("In line 41, the time goes back, from 0.0")


def test_what_is_not_a_number_is_refused(bench: Bench) -> None:
    """NaN too, which many a program writes for a sample it missed."""
    assert refused(bench, [*LINES[:40], "0.039,NaN", *LINES[41:]]) == {
        "capture": "In line 41, the voltage, nan, is not a finite number."
    }
    assert "“oops” is not a number" in refused(bench, [*LINES[:40], "0.039,oops", *LINES[41:]])["capture"]


def test_nothing_and_no_file_are_told_apart(bench: Bench) -> None:
    """From one another, and from what is no text."""
    assert bench.refuse(RecordWaveform, **capture(b"", file_name="")) == {
        "capture": "Choose the file that the scope saved."
    }
    assert bench.refuse(RecordWaveform, **capture(b""))["capture"].startswith("rail.csv is empty.")
    assert bench.refuse(RecordWaveform, **capture(b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR")) == {
        "capture": "The file is not text; save the capture as comma-separated values."
    }
    assert not bench.store.files.root.exists() or not list(bench.store.files.root.rglob("*"))


@pytest.mark.parametrize("name", ["../../etc/passwd", "C:\\scope\\a.csv", "a/b"])
def test_a_file_name_with_folders_is_refused(bench: Bench, name: str) -> None:
    """It is only a name, and nothing is ever stored under it."""
    assert "without the folders" in bench.refuse(RecordWaveform, **capture(file_name=name))["file_name"]


def test_a_million_samples_are_taken_and_one_more_is_not(bench: Bench) -> None:
    """The measure of the engineering core; the figures are of all of them."""
    rows = falling(samples=1_000_000)
    record(bench, rows)

    assert kept(bench).samples == 1_000_000
    assert len(kept(bench).drawing["lowest"]) <= 300
    tau = figures_of(kept(bench))["tau"]
    assert abs(tau.nominal - TAU) < 4 * tau.uncertainty
    assert bench.refuse(RecordWaveform, **capture(rows + b"\n3,0")) == {
        "capture": "In line 1000002, there is one sample too many; at most 1,000,000 are read. "
        "Save a shorter capture or fewer samples."
    }


@pytest.mark.parametrize(
    ("stretch", "field"),
    [({"fit_from": "1.999"}, "fit_from"), ({"fit_to": "0.001"}, "fit_to"), ({"fit_from": "9"}, "fit_from")],
)
def test_a_stretch_that_holds_too_little_is_told_beside_it(bench: Bench, stretch: dict[str, Any], field: str) -> None:
    """Where the keeper gave it."""
    said = bench.refuse(RecordWaveform, **capture(**stretch))

    assert set(said) == {field}
    assert "too few samples" in said[field]


@pytest.mark.parametrize("typed", ["NaN", "inf", "x"])
def test_a_stretch_is_of_numbers(bench: Bench, typed: str) -> None:
    """Of finite ones."""
    assert bench.refuse(RecordWaveform, **capture(fit_from=typed))["fit_from"].startswith("Write a")


# ---- Revising ----


def test_revised_words_leave_the_figures_as_they_were(bench: Bench) -> None:
    """And do not even open the file."""
    record(bench)
    before = kept(bench)
    bench.store.files.path(before.sha256).unlink()
    bench.do(ReviseWaveform, **SAID | {"title": "Main rail"}, opened_version=1)

    after = kept(bench)
    assert (after.title, after.figures, after.drawing) == ("Main rail", before.figures, before.drawing)
    assert bench.last_entry().words == "Waveform 1 of TM-03: title from “Rail at switch-off” to “Main rail”."


def test_another_stretch_gives_another_fit(bench: Bench) -> None:
    """From the kept file; the journal says what came of it."""
    record(bench)
    bench.do(ReviseWaveform, **SAID, fit_from="0.5", fit_to="1,5", opened_version=1)

    waveform = kept(bench)
    tau = fit_decay(read_capture(falling()), 0.5, 1.5).tau
    assert figures_of(waveform)["tau"] == tau
    assert (waveform.fit_from, waveform.fit_to, waveform.version) == (0.5, 1.5, 2)
    assert bench.last_entry().words == (
        f"Waveform 1 of TM-03: decay fitted from 0.5 s to 1.5 s, time constant {show(tau)}."
    )
    assert bench.faults() == []


def test_nothing_revised_is_no_entry(bench: Bench) -> None:
    """As everywhere."""
    record(bench)
    before = bench.entries()

    assert bench.do(ReviseWaveform, **SAID, opened_version=1).seq is None
    assert before == bench.entries()


def test_a_stale_form_shows_both_versions(bench: Bench) -> None:
    """Rule 7."""
    record(bench)
    bench.do(ReviseWaveform, **SAID | {"title": "Theirs"}, opened_version=1)

    with pytest.raises(Stale) as stale:
        bench.do(ReviseWaveform, **SAID | {"title": "Mine"}, opened_version=1)
    assert [(row.field, row.yours, row.theirs) for row in stale.value.rows if row.differs] == [
        ("title", "Mine", "Theirs")
    ]


def test_a_file_that_is_damaged_is_named_and_not_fitted_anew(bench: Bench) -> None:
    """By the check, and to whoever wants another fit of it; what was read from it stays."""
    record(bench)
    bench.store.files.path(kept(bench).sha256).write_bytes(falling(0.1))

    said = bench.refuse(ReviseWaveform, **SAID, fit_from="0.5", opened_version=1)
    assert "rail.csv cannot be read any more" in said[""]
    assert [fault.partition(":")[0] for fault in bench.faults()] == ["rail.csv"]
    assert "no longer holds what was stored" in bench.faults()[0]


# ---- Lists ----


def test_the_list_is_paged_and_reads_no_drawing(bench: Bench) -> None:
    """The latest day first."""
    for day in ("2025-02-05", "2025-02-07", "2025-02-06"):
        record(bench, ramping(), day=day, instrument=f"scope of {day}")

    with bench.store.reading() as session:
        machine = find_machine(session, TAG)
        first, second = (waveforms_of(session, machine, page, most=2) for page in (1, 2))
        instruments = instruments_of(session, machine, Waveform)

    assert [row.number for row in first.rows] == [2, 3]
    assert [row.number for row in second.rows] == [1]
    assert (first.last, first.total) == (2, 3)
    assert all("drawing" not in row.__dict__ for row in (*first.rows, *second.rows))
    assert list(instruments) == [f"scope of 2025-02-0{day}" for day in (5, 6, 7)]


def test_only_figures_that_a_capture_gives_are_offered(bench: Bench) -> None:
    """To a calculation's input, with their values."""
    record(bench)
    record(bench, clocked())

    with bench.store.reading() as session:
        offered = figures_offered(session, find_machine(session, TAG))

    of = {number: {one.figure: one.value for one in offered if one.waveform == number} for number in (1, 2)}
    assert of == {number: figures_of(kept(bench, number)) for number in (1, 2)}
    assert "period" not in of[1]
    assert of[2]["duty"].nominal == pytest.approx(40.0, abs=0.5)


def test_the_mods_in_force_are_those_of_its_day(bench: Bench) -> None:
    """Derived, and not stored: a mod whose days are put right counts from then on."""
    bench.replace_r2(day="2025-02-03")
    record(bench, day="2025-02-02")
    record(bench, day="2025-02-03")

    with bench.store.reading() as session:
        machine = find_machine(session, TAG)
        found = [[mod.number for mod in mods_in_force(session, machine, kept(bench, n).day)] for n in (1, 2)]
    assert found == [[], [1]]


# ---- Sums ----


def test_a_tied_input_is_the_figure_with_its_uncertainty(bench: Bench) -> None:
    """In every case alike, and it says where it is from."""
    bench.plan()
    record(bench)
    bench.do(AttachCalculation, **sum_of())

    with bench.store.reading() as session:
        cases = read_cases(session, session.get_one(Calculation, 1))
    tau = Toleranced(**kept(bench).figures["tau"])
    assert {(read["tau"].value, read["tau"].origin) for read in cases.values()} == {
        (tau, "time constant of waveform 1")
    }
    assert tau.spread == "standard"
    assert runs(bench)[0].cases["stock"]["inputs"]["tau"]["value"] == kept(bench).figures["tau"]
    line = runs(bench)[0].cases["as planned"]["result"]["lines"][0]
    assert line["nominal"] == pytest.approx(1e4 * tau.nominal)  # µF through 100 Ω
    with bench.store.reading() as session:
        told = readers_of(session, session.get_one(Waveform, 1))
    assert [(one.mod, one.calculation, one.input, one.figure) for one in told] == [(1, 1, "tau", "tau")]


def test_another_fit_runs_the_sums_again_and_keeps_the_old_result(bench: Bench) -> None:
    """Rule 3: those that read this waveform, and those that read them; no others."""
    bench.plan()
    record(bench)
    record(bench)
    bench.do(AttachCalculation, **sum_of())
    bench.do(AttachCalculation, **sum_of(reads(waveform=2), {"name": "R", "text": "100 Ω"}))
    line = {"name": "C1", "source": "line", "other_calculation": "1", "other_line": "C"}
    energy = [{"name": "E", "expression": "C1 * U ** 2 / 2", "unit": "J"}]
    bench.do(AttachCalculation, **sum_of(line, {"name": "U", "text": "12 V"}, lines=energy, limits=[]))
    first = runs(bench)[0].cases
    bench.do(ReviseWaveform, **SAID, fit_from="0.5", opened_version=1)

    found = [(run.calculation_id, run.number, run.reason) for run in runs(bench)]
    assert found == [
        (1, 1, "first run"),
        (2, 1, "first run"),
        (3, 1, "first run"),
        (1, 2, "a waveform it reads was changed"),
        (3, 2, "a sum it reads was changed"),
    ]
    assert runs(bench)[0].cases == first
    assert runs(bench)[3].cases["stock"]["inputs"]["tau"]["value"] == kept(bench).figures["tau"]
    assert bench.faults() == []


def test_words_alone_run_no_sum(bench: Bench) -> None:
    """Nothing that it rests on has changed."""
    bench.plan()
    record(bench)
    bench.do(AttachCalculation, **sum_of())
    bench.do(ReviseWaveform, **SAID, note="seen twice", opened_version=1)

    assert len(runs(bench)) == 1


def test_a_figure_that_is_no_longer_given_is_missing_from_the_sum(bench: Bench) -> None:
    """It says so with the reason, and keeps what was concluded before."""
    bench.plan()
    record(bench)
    bench.do(AttachCalculation, **sum_of())
    bench.do(ReviseWaveform, **SAID, fit_from="0.3", fit_to="0.33", opened_version=1)

    reason = kept(bench).reasons["tau"]
    assert "straight line" in reason
    problem = f"tau: Waveform 1 gives no time constant: {reason}"
    assert [runs(bench)[1].cases[case.value]["problem"] for case in Case] == [problem] * 3
    assert "result" in runs(bench)[0].cases["stock"]


@pytest.mark.parametrize(
    ("tied", "field", "said"),
    [
        (reads(waveform=7), "waveform", "There is no waveform “7”."),
        (reads("period"), "figure", "Waveform 1 gives no period: No whole cycle"),
        (reads("drawing"), "figure", "Waveform 1 gives no drawing."),
        (reads(""), "figure", "Say which figure of which waveform is read."),
        (reads() | {"waveform": ""}, "figure", "Say which figure of which waveform is read."),
        (reads("high", unit="s"), "figure", "The high level is in V, and s is expected here."),
    ],
)
def test_a_tie_to_nothing_is_told_beside_its_field(bench: Bench, tied: dict[str, str], field: str, said: str) -> None:
    """Before anything is stored."""
    bench.plan()
    record(bench)

    messages = bench.refuse(AttachCalculation, **sum_of(tied, {"name": "R", "text": "100 Ω"}))
    assert list(messages) == [f"inputs.0.{field}"]
    assert messages[f"inputs.0.{field}"].startswith(said)


def test_a_figure_of_another_machine_cannot_be_read(bench: Bench) -> None:
    """A machine's sums rest on what was seen on it."""
    bench.plan()
    bench.do(EnterMachine, tag="X-9", model="Y")
    record(bench, machine="X-9")

    assert bench.refuse(AttachCalculation, **sum_of()) == {"inputs.0.waveform": "There is no waveform “1”."}


def test_a_sum_revised_as_it_stands_is_no_change(bench: Bench) -> None:
    """The tie is read back as it was typed."""
    bench.plan()
    record(bench)
    bench.do(AttachCalculation, **sum_of())
    before = bench.entries()
    bench.do(ReviseCalculation, **sum_of(calculation=1), opened_version=1)

    assert (before, 1) == (bench.entries(), len(runs(bench)))


def test_what_another_source_does_not_need_is_left_out(bench: Bench) -> None:
    """A typed value has no waveform."""
    bench.plan()
    record(bench)
    bench.do(AttachCalculation, **sum_of(reads() | {"source": "typed", "text": "1 s"}, {"name": "R", "text": "1 Ω"}))

    with bench.store.reading() as session:
        assert readers_of(session, session.get_one(Waveform, 1)) == []
