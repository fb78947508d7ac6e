"""Waveforms against definitions worked by hand, and against scipy.signal and scipy.integrate as independent makers.

IEEE Std 181-2011 from memory: state levels are the modes of the two halves of the histogram; transition duration runs
from 10 % to 90 % of the amplitude; duty factor is pulse duration at 50 % over period; overshoot is a share of the
amplitude. Each test says what its expected value is DERIVED from; no figure comes from the program's own output.
"""

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy import integrate, optimize, signal

from server.engineering.captures import Reals
from server.engineering.quantities import Toleranced
from server.engineering.waveforms import Capture, DecayError, Waveform, fit_decay, measure, read_capture

STEP = 0.5e-6
TIME: Reals = np.arange(40_000, dtype=np.float64) * STEP


def _measured(volts: Reals, time: Reals = TIME) -> Waveform:
    return measure(Capture(time, np.asarray(volts, dtype=np.float64)))


def _answer(above: list[float], below: list[float], drive: Reals) -> Reals:
    """What a network with a transfer function `above` over `below`, in powers of s, makes of a held drive."""
    _, volts, _ = signal.lsim((np.array(above), np.array(below)), drive, TIME, None, False)
    return np.asarray(volts, dtype=np.float64)


def _agrees(value: Toleranced | None, true: float, rel: float = 0.0) -> bool:
    """Within three standard uncertainties, and the uncertainty below `rel` of the true value where one is given."""
    assert value is not None
    close = abs(value.nominal - true) <= 3 * value.uncertainty + 1e-9 * abs(true)
    return close and (not rel or value.uncertainty <= rel * abs(true))


@pytest.mark.parametrize("ramp", [20e-6, 50e-6, 200e-6])
def test_a_straight_edge_takes_four_fifths_of_itself_from_10_to_90_percent(ramp: float) -> None:
    """DERIVED from the definition of transition duration: a linear edge of length L takes 0.8 L."""
    phase = (TIME - 0.1e-3) % 2e-3
    volts = 1.0 + 2.0 * (np.clip(phase / ramp, 0, 1) - np.clip((phase - 0.7e-3) / (2 * ramp), 0, 1))

    wave = _measured(volts)

    assert _agrees(wave.rise, 0.8 * ramp, 0.05)
    assert _agrees(wave.fall, 1.6 * ramp, 0.05)
    # Half height is passed half a ramp after each edge begins: 0.7 ms + ramp - ramp/2 of every 2 ms.
    assert _agrees(wave.duty, 100 * (0.7e-3 + ramp / 2) / 2e-3, 0.01)


@pytest.mark.parametrize("tau", [5e-6, 20e-6, 60e-6])
def test_an_rc_edge_takes_2_197_time_constants(tau: float) -> None:
    """DERIVED from v = V (1 - exp(-t/tau)): from 10 % to 90 % is tau ln 9; the network is scipy's `lsim`."""
    drive = 2.5 * (1 + signal.square(2 * np.pi * 500 * (TIME - 0.2e-3), 0.5))
    volts = _answer([1.0], [tau, 1.0], drive)

    wave = _measured(volts)

    assert _agrees(wave.rise, tau * math.log(9), 0.06)
    assert _agrees(wave.fall, tau * math.log(9), 0.06)
    assert _agrees(wave.high, 5.0, 0.01)


@pytest.mark.parametrize("damping", [0.15, 0.3, 0.45, 0.6])
def test_a_ringing_edge_overshoots_by_its_damping(damping: float) -> None:
    """DERIVED from the second-order step response: overshoot exp(-pi z/sqrt(1 - z²)); the network is by `lsim`."""
    pace = 2 * np.pi * 30e3
    drive = 2.5 * (1 + signal.square(2 * np.pi * 500 * (TIME - 0.2e-3), 0.5))
    volts = _answer([pace**2], [1.0, 2 * damping * pace, pace**2], drive)

    wave = _measured(volts)

    expected = 100 * math.exp(-math.pi * damping / math.sqrt(1 - damping**2))
    assert _agrees(wave.overshoot, expected)
    assert _agrees(wave.undershoot, expected)
    assert wave.overshoot is not None
    assert wave.overshoot.uncertainty < 0.5


@pytest.mark.parametrize(("frequency", "duty"), [(743.0, 0.5), (1_234.5, 0.2), (9_876.0, 0.75), (311.0, 0.05)])
def test_a_square_wave_of_scipy_has_the_frequency_and_duty_it_was_asked_for(frequency: float, duty: float) -> None:
    """`scipy.signal.square` with noise of 2 % of its height."""
    noise = np.random.default_rng(11).normal(0, 0.1, TIME.size)
    wave = _measured(5 * (signal.square(2 * np.pi * frequency * TIME + 0.3, duty) + 1) / 2 + noise)

    assert _agrees(wave.frequency, frequency, 0.002)
    assert _agrees(wave.duty, 100 * duty, 0.02)
    assert _agrees(wave.low, 0.0)
    assert _agrees(wave.high, 5.0, 0.005)


def test_a_sine_keeps_its_frequency_and_edges() -> None:
    """DERIVED from the sine between its peaks: 10 % to 90 % is from -0.8 to 0.8, 2 asin(0.8)/(2 pi) of the period.

    The frequency is also that of the highest line of scipy's periodogram, to a line's width.
    """
    frequency = 1_850.0
    volts = 1.5 * np.sin(2 * np.pi * frequency * TIME)

    wave = _measured(volts)

    lines, power = signal.periodogram(volts, 1 / STEP)
    assert _agrees(wave.frequency, frequency, 1e-3)
    assert wave.frequency is not None
    assert abs(lines[np.argmax(power)] - wave.frequency.nominal) <= lines[1]
    assert _agrees(wave.rise, math.asin(0.8) / (np.pi * frequency), 0.02)
    assert _agrees(wave.high, 1.5, 0.02)


def test_pulse_widths_are_those_that_scipy_finds() -> None:
    """`scipy.signal.find_peaks` and `peak_widths` at half height see the same width and spacing of round pulses."""
    period = 1.7e-3
    phase = (TIME + period / 3) % period - period / 2
    volts = 4 * np.exp(-((phase / 100e-6) ** 8))

    wave = _measured(volts)

    peaks, _ = signal.find_peaks(volts, height=2, distance=1_000)
    widths = signal.peak_widths(volts, peaks, rel_height=0.5)[0] * STEP
    assert len(peaks) in (wave.rises, wave.rises + 1)
    assert _agrees(wave.duty, 100 * float(np.mean(widths)) / period, 0.02)
    assert _agrees(wave.period, period, 1e-3)


def test_a_square_wave_s_levels_are_the_modes_of_its_histogram() -> None:
    """DERIVED from the histogram method: bins of 1/100 of the range, the fullest of each half, to a bin's width."""
    stream = np.random.default_rng(12)
    volts = np.where(signal.square(2 * np.pi * 600 * TIME, 0.3) > 0, 3.6, 0.4) + stream.normal(0, 0.04, TIME.size)

    wave = _measured(volts)

    counts, edges = np.histogram(volts, 100)
    middles = (edges[1:] + edges[:-1]) / 2
    low, high = middles[np.argmax(counts[:50])], middles[50 + np.argmax(counts[50:])]
    width = float(edges[1] - edges[0])
    assert wave.low is not None
    assert wave.high is not None
    assert wave.low.nominal == pytest.approx(low, abs=width)
    assert wave.high.nominal == pytest.approx(high, abs=width)


def test_the_period_s_uncertainty_covers_the_truth_as_often_as_it_claims() -> None:
    """DERIVED from JCGM 100:2008, G.2: some 95 of 100 results lie within two standard uncertainties, or more."""
    stream = np.random.default_rng(13)
    inside = 0
    for _ in range(60):
        jitter = stream.normal(0, 2e-6, 60)
        edges = np.cumsum(np.full(60, 0.5e-3) + jitter)
        volts = np.searchsorted(edges, TIME) % 2 * 5.0 + stream.normal(0, 0.1, TIME.size)
        value = _measured(volts).period
        assert value is not None
        inside += abs(value.nominal - 1e-3) <= 2 * value.uncertainty

    assert inside >= 52


def test_an_rc_discharge_by_an_ode_solver_has_its_time_constant() -> None:
    """DERIVED from C dv/dt = -(v - v0)/R, integrated by scipy's `solve_ivp`: 4700 µF into 220 Ω towards 0.6 V."""
    time: Reals = np.linspace(0, 5, 3_000)
    solved = integrate.solve_ivp(
        lambda _, v: -(v - 0.6) / (220 * 4700e-6), (0, 5), [12.0], t_eval=time, rtol=1e-9, atol=1e-9
    )

    decay = fit_decay(Capture(time, solved.y[0] + np.random.default_rng(14).normal(0, 0.02, time.size)), 0.0)

    assert _agrees(decay.tau, 220 * 4700e-6, 0.003)
    assert _agrees(decay.end_volts, 0.6, 0.01)
    assert _agrees(decay.start_volts, 12.0, 0.001)


@pytest.mark.parametrize(
    ("amperes", "sentence"),
    [
        (lambda _volts: 0.02, "straight line, -4.26 V/s, .*constant current"),
        (lambda volts: 0.1 / max(volts, 0.05), "faster and faster .*constant power"),
    ],
)
def test_other_loads_on_a_capacitor_are_told_from_a_resistor(amperes: Callable[[float], float], sentence: str) -> None:
    """DERIVED from C dv/dt = -I, integrated by `solve_ivp`: 20 mA or 100 mW out of 4700 µF at 5 V, down to 0.5 V."""
    time: Reals = np.linspace(0, 1.0, 2_000)
    solved = integrate.solve_ivp(lambda _, v: [-amperes(v[0]) / 4700e-6], (0, 1.0), [5.0], t_eval=time, max_step=1e-3)
    volts = solved.y[0]
    kept = int(np.argmax(volts < 0.8)) or volts.size

    with pytest.raises(DecayError, match=sentence):
        fit_decay(Capture(time[:kept], volts[:kept] + np.random.default_rng(15).normal(0, 0.01, kept)))


def test_the_fit_and_its_uncertainty_are_those_of_scipy_s_curve_fit() -> None:
    """Under white noise the covariance is that of `scipy.optimize.curve_fit`, which finds its derivatives itself."""
    time: Reals = np.linspace(0, 2, 2_000)
    volts = 1 + 4 * np.exp(-time / 0.4) + np.random.default_rng(16).normal(0, 0.05, time.size)

    def model(t: Reals, end: float, drop: float, tau: float) -> Reals:
        return np.asarray(end + drop * np.exp(-t / tau))

    decay = fit_decay(Capture(time, volts), 0.0)

    found, covariance = optimize.curve_fit(model, time, volts, p0=(0, 5, 0.5))
    spread = np.sqrt(np.diagonal(covariance))
    assert decay.tau.nominal == pytest.approx(found[2], rel=1e-6)
    assert decay.end_volts.nominal == pytest.approx(found[0], rel=1e-6)
    # The correlation of neighbouring residuals, some 1/sqrt(n) by chance, may widen ours by a few percent.
    assert decay.tau.uncertainty == pytest.approx(spread[2], rel=0.05)
    assert decay.end_volts.uncertainty == pytest.approx(spread[0], rel=0.05)


def test_a_saved_capture_gives_the_figures_of_the_trace_it_was_made_of() -> None:
    """From signal to text to figures: five digits of time in ms, three of voltage in mV, semicolons, decimal commas."""
    volts = 3.3 * (signal.square(2 * np.pi * 880 * TIME + 1, 0.35) + 1) / 2
    rows = (f"{t * 1e3:.5f};{v * 1e3:.3f}".replace(".", ",") for t, v in zip(TIME, volts, strict=True))
    saved = "Aufzeichnung;1\nZeit (ms);Kanal 1 (mV)\n" + "\n".join(rows)

    wave = measure(read_capture(saved.encode("cp1252")))

    assert _agrees(wave.frequency, 880.0, 1e-3)
    assert _agrees(wave.duty, 35.0, 0.01)
    assert wave.high is not None
    assert wave.high.nominal == pytest.approx(3.3)
