"""A trace in figures: what is measured, what is left out with a reason, and what must not change the figures."""

import contextlib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.engineering.captures import Reals
from server.engineering.quantities import Toleranced, convert, parse, show
from server.engineering.waveforms import Capture, CaptureError, DecayError, Waveform, envelope, fit_decay, measure

MICRO = 1e-6
FIGURES = (
    "low", "high", "steady", "amplitude", "period", "frequency", "duty", "rise", "fall", "overshoot", "undershoot",
)  # fmt: skip


def micros(count: int) -> Reals:
    """Times of samples 1 µs apart, in s."""
    return np.arange(count, dtype=np.float64) * MICRO


def trapezoid(
    time: Reals, *, period: float, width: float, ramp: float, low: float = 0.0, high: float = 5.0, delay: float = 0.0
) -> Reals:
    """A pulse train with straight edges of length `ramp`; `width` is measured at half height."""
    phase = (time - delay) % period
    up = np.clip(phase / ramp, 0, 1)
    down = np.clip((phase - width) / ramp, 0, 1)
    return low + (high - low) * (up - down)


def _pulses(noise: float = 0.0, seed: int = 1, samples: int = 8_000) -> Capture:
    """Eight cycles of 1 ms, 40 % high, edges of 50 µs (40 µs from 10 % to 90 %), 0.2 V to 3.4 V."""
    time = micros(samples)
    volts = trapezoid(time, period=1e-3, width=0.4e-3, ramp=50e-6, low=0.2, high=3.4, delay=130.5e-6)
    return Capture(time, volts + np.random.default_rng(seed).normal(0, noise, samples))


def _of(wave: Waveform, name: str) -> Toleranced:
    value = getattr(wave, name)
    assert isinstance(value, Toleranced), wave.reasons.get(name)
    return value


def _near(value: Toleranced, true: float, factor: float = 3.0) -> bool:
    return abs(value.nominal - true) <= factor * value.uncertainty + 1e-12 * abs(true)


TRUE = {
    "low": 0.2, "high": 3.4, "amplitude": 3.2, "period": 1e-3, "frequency": 1e3, "duty": 40.0, "rise": 40e-6,
    "fall": 40e-6,
}  # fmt: skip


@pytest.mark.parametrize("noise", [0.0, 0.01, 0.05, 0.15])
def test_figures_lie_within_their_uncertainty_of_the_truth(noise: float) -> None:
    """Clean and noisy alike, and the uncertainty is small enough to be of use."""
    wave = measure(_pulses(noise))

    for name, true in TRUE.items():
        value = _of(wave, name)
        assert _near(value, true), (name, show(value))
        # With noise of a twentieth of the amplitude the edges are what suffers.
        assert value.uncertainty <= 0.2 * max(abs(true), 0.2), (name, show(value))
    assert (wave.rises, wave.falls, wave.cycles) == (8, 8, 7)
    assert _of(wave, "period").uncertainty < 1e-6


def test_every_figure_has_a_value_or_a_reason() -> None:
    """Exactly the figures that are None have a sentence, and every value reads back from how it is shown."""
    still = Capture(np.arange(100.0), np.full(100, 3.3))
    noise = Capture(np.arange(1000.0), np.random.default_rng(2).normal(5, 0.1, 1000))
    step = Capture(np.arange(1000.0), np.where(np.arange(1000) > 500, 5.0, 0.0))

    for capture in (still, noise, step, _pulses()):
        wave = measure(capture)
        missing = {name for name in FIGURES if getattr(wave, name) is None}
        assert missing == set(wave.reasons)
        assert all(sentence.endswith(".") for sentence in (*wave.reasons.values(), *wave.notes))
        for name in set(FIGURES) - missing:
            value = _of(wave, name)
            assert _near(convert(parse(show(value)), value.unit), value.nominal, 1.0)


def test_a_figure_can_be_a_calculation_s_input_in_its_unit() -> None:
    """Times come in s, frequencies in Hz, whatever the capture counts in; conversion goes on from there."""
    clean = _pulses()
    capture = Capture(clean.time * 1e3, clean.volts * 1e3, "ms", "mV")

    wave = measure(capture)

    assert (
        _of(wave, "period").unit, _of(wave, "frequency").unit, _of(wave, "high").unit, _of(wave, "duty").unit,
    ) == ("s", "Hz", "V", "%")  # fmt: skip
    assert convert(_of(wave, "period"), "µs").nominal == pytest.approx(1000)
    assert _of(wave, "high").nominal == pytest.approx(3.4, abs=0.02)


def test_a_trace_that_stands_still_has_its_mean_and_nothing_else() -> None:
    """A steady rail gives its voltage, with noise as uncertainty and not as edges."""
    wave = measure(Capture(np.arange(20_000.0), np.random.default_rng(3).normal(5.02, 0.05, 20_000)))

    assert _near(_of(wave, "steady"), 5.02, 4)
    assert (wave.rises, wave.falls, wave.cycles) == (0, 0, 0)
    assert "stand out of its noise" in wave.reasons["period"]
    assert "does not move" in measure(Capture(np.arange(8.0), np.zeros(8))).reasons["low"]


@pytest.mark.parametrize("spread", [0.18, 0.25, 0.3, 0.5, 1.0, 2.0])
def test_hopping_between_neighbouring_codes_is_no_signal(spread: float) -> None:
    """A quiet rail digitised in steps of 40 mV shows two or a few values; that makes no levels and no edges."""
    volts = np.round(3.3 / 0.04 + np.random.default_rng(4).normal(0, spread, 20_000)) * 0.04
    wave = measure(Capture(micros(volts.size), volts))

    assert wave.low is None
    assert (wave.rises, wave.falls) == (0, 0)


@pytest.mark.parametrize("share", [0.02, 0.05, 0.1])
def test_noise_on_slow_edges_makes_no_further_edges(share: float) -> None:
    """Every edge crosses half height many times when it is slow; it is one edge all the same."""
    time = micros(20_000)
    volts = trapezoid(time, period=4e-3, width=2e-3, ramp=1e-3, delay=0.5e-3)
    noisy = volts + np.random.default_rng(5).normal(0, share * 5, time.size)
    assert np.count_nonzero(np.diff(noisy > 2.5)) > 10

    wave = measure(Capture(time, noisy))

    assert (wave.rises, wave.falls) == (5, 5)
    assert _near(_of(wave, "period"), 4e-3)


def test_a_pulse_that_turns_back_half_way_is_no_edge() -> None:
    """A runt of 60 % counts neither up nor down; a full one of two samples counts as both."""
    clean = _pulses()
    runt, full = clean.volts.copy(), clean.volts.copy()
    quiet = 80  # before the first rise
    runt[quiet : quiet + 20] = 0.2 + 0.6 * 3.2
    full[quiet : quiet + 2] = 3.4

    assert (measure(Capture(clean.time, runt)).rises, measure(Capture(clean.time, runt)).falls) == (8, 8)
    assert (measure(Capture(clean.time, full)).rises, measure(Capture(clean.time, full)).falls) == (9, 9)


def test_edges_faster_than_the_samples_are_only_limited() -> None:
    """No sample lies on the edge, so its duration is between nothing and one step, and a note says why."""
    time = micros(5_000)
    volts = np.where(time % 1e-3 < 0.3e-3, 5.0, 0.0) + np.random.default_rng(6).normal(0, 0.02, time.size)

    wave = measure(Capture(time, volts))

    assert _of(wave, "rise").spread == "limits"
    assert _of(wave, "rise").low == 0.0
    assert _of(wave, "rise").high == pytest.approx(1e-6)
    assert any("faster than the samples" in note for note in wave.notes)


def test_one_edge_gives_no_period() -> None:
    """Levels and the rise are there; what needs a whole cycle says how much is missing."""
    time = micros(1000)
    wave = measure(Capture(time, np.clip((time - 500e-6) / 100e-6, 0, 1) * 5))

    assert _near(_of(wave, "rise"), 80e-6)
    assert "1 edge is seen, and three are needed" in wave.reasons["period"]
    assert "never falls" in wave.reasons["fall"]
    assert (wave.rises, wave.falls, wave.cycles) == (1, 0, 0)


def test_one_cycle_is_as_uncertain_as_its_samples_are_apart() -> None:
    """Without repeats nothing is known of the scatter; two crossings, each within a step, remain."""
    capture = _pulses(samples=1_800)

    wave = measure(capture)

    assert wave.cycles == 1
    assert _of(wave, "period").uncertainty == pytest.approx(MICRO / np.sqrt(6), rel=1e-6)


def test_more_cycles_make_the_period_surer() -> None:
    """Both parts of its uncertainty fall with the number of cycles."""
    few, many = (_of(measure(_pulses(0.05, samples=count)), "period").uncertainty for count in (3_000, 30_000))

    assert many < few / 3


def test_cycles_that_are_not_alike_are_noted() -> None:
    """The mean of a sweep's periods is given, with a note that it is only a mean."""
    time = micros(20_000)
    sweep = Capture(time, np.where(np.sin(2 * np.pi * (500 * time + 25_000 * time**2)) > 0, 5.0, 0.0))

    assert any("cycles are not alike" in note for note in measure(sweep).notes)
    assert not any("cycles are not alike" in note for note in measure(_pulses(0.05)).notes)


def test_a_triangle_has_no_flat_levels_and_says_so() -> None:
    """Its extremes stand in for levels, and nothing can go beyond them."""
    time = micros(10_000)
    wave = measure(Capture(time, np.abs(time * 1e3 % 2 - 1) * 4))

    assert _near(_of(wave, "high"), 4)
    assert _near(_of(wave, "rise"), 0.8e-3)
    assert "no flat high level" in wave.reasons["overshoot"]
    assert sum("no flat" in note for note in wave.notes) == 2


def test_two_values_alone_are_the_levels() -> None:
    """A logic probe's zeros and ones are taken as they stand, down to two samples a level."""
    wave = measure(Capture(0.1 * np.arange(16.0), np.array([0.0, 0.0, 1.0, 1.0] * 4)))

    assert (_of(wave, "low").nominal, _of(wave, "high").nominal) == (0.0, 1.0)
    assert _near(_of(wave, "period"), 0.4)
    assert any("one single value" in note for note in wave.notes)


def test_what_goes_beyond_a_level_counts_once_it_stands_out() -> None:
    """A fifth beyond after each rise is an overshoot; the same height within the noise is none."""
    clean = _pulses()
    beyond = clean.volts + np.where((clean.time - 180.5e-6) % 1e-3 < 30e-6, 0.64, 0.0)

    quiet = measure(Capture(clean.time, beyond))
    loud = measure(Capture(clean.time, beyond + np.random.default_rng(7).normal(0, 0.2, beyond.size)))

    assert _near(_of(quiet, "overshoot"), 20.0)
    assert quiet.undershoot is None
    assert "stands out of the noise" in loud.reasons["overshoot"]


_SEEDS = st.integers(0, 10**6)


@settings(max_examples=30, deadline=None)
@given(seed=_SEEDS, volts=st.integers(-30, 30), time=st.integers(-30, 30))
def test_other_scales_scale_the_figures(seed: int, volts: int, time: int) -> None:
    """A trace times a power of two, over times times another, has its figures times the same, to the last bit."""
    capture = _pulses(0.05, seed)

    plain = measure(capture)
    scaled = measure(Capture(capture.time * 2.0**time, capture.volts * 2.0**volts))

    for name, factor in (("low", volts), ("high", volts), ("amplitude", volts), ("period", time), ("rise", time)):
        assert _of(scaled, name).nominal == _of(plain, name).nominal * 2.0**factor
        assert _of(scaled, name).uncertainty == pytest.approx(_of(plain, name).uncertainty * 2.0**factor)
    assert _of(scaled, "duty").nominal == _of(plain, "duty").nominal


@settings(max_examples=30, deadline=None)
@given(seed=_SEEDS, volts=st.floats(-50, 50), time=st.floats(-1, 1))
def test_shifting_a_trace_shifts_its_levels_and_nothing_else(seed: int, volts: float, time: float) -> None:
    """Within the uncertainties, for a shift moves samples over the edges of the histogram's bins."""
    capture = _pulses(0.05, seed)

    plain, shifted = measure(capture), measure(Capture(capture.time + time, capture.volts + volts))

    for name, by in (("low", volts), ("high", volts), ("amplitude", 0), ("period", 0), ("duty", 0), ("rise", 0)):
        assert _near(_of(shifted, name), _of(plain, name).nominal + by, 1.0), name
    assert (plain.rises, plain.falls) == (shifted.rises, shifted.falls)


@settings(max_examples=30, deadline=None)
@given(seed=_SEEDS)
def test_a_trace_upside_down_swaps_rise_and_fall(seed: int) -> None:
    """Levels change places and sign, the time high becomes the time low."""
    capture = _pulses(0.05, seed)

    plain, turned = measure(capture), measure(Capture(capture.time, -capture.volts))

    for name, other in (("low", "high"), ("high", "low")):
        assert _near(_of(turned, name), -_of(plain, other).nominal, 1.0)
    for name, other in (("rise", "fall"), ("fall", "rise"), ("amplitude", "amplitude")):
        assert _near(_of(turned, name), _of(plain, other).nominal, 1.0), name
    # Cycles go from rise to rise in one and from fall to fall in the other.
    assert _near(_of(turned, "period"), _of(plain, "period").nominal)
    assert _near(_of(turned, "duty"), 100 - _of(plain, "duty").nominal)
    assert (plain.falls, plain.rises) == (turned.rises, turned.falls)


@settings(max_examples=40, deadline=None)
@given(
    seed=_SEEDS,
    noise=st.floats(0, 0.06),
    period=st.floats(100e-6, 900e-6),
    duty=st.floats(0.15, 0.85),
    low=st.floats(-10, 10),
    height=st.floats(0.01, 20),
)
def test_any_pulse_train_is_measured_within_its_uncertainty(
    seed: int, noise: float, period: float, duty: float, low: float, height: float
) -> None:
    """Whatever its frequency, duty, levels and noise up to a seventeenth of its height."""
    stream = np.random.default_rng(seed)
    time = micros(6_000)
    volts = trapezoid(
        time, period=period, width=duty * period, ramp=0.05 * period, low=low, high=low + height, delay=20.3e-6
    )
    wave = measure(Capture(time, volts + stream.normal(0, noise * height, time.size)))

    true = {"low": low, "high": low + height, "period": period, "duty": 100 * duty, "frequency": 1 / period}
    for name, value in true.items():
        assert _near(_of(wave, name), value, 5.0), (name, show(_of(wave, name)), value)


@settings(max_examples=50, deadline=None)
@given(seed=_SEEDS, samples=st.integers(8, 5_000), most=st.integers(1, 700))
def test_every_sample_and_every_line_between_two_lies_within_the_envelope(seed: int, samples: int, most: int) -> None:
    """In at most so many runs, each as narrow as its samples, and the first of the next, allow."""
    stream = np.random.default_rng(seed)
    capture = Capture(np.cumsum(stream.uniform(0.5, 1.5, samples)), stream.normal(0, 1, samples), "ms", "mV")

    runs = envelope(capture, most)

    assert runs.low.size == runs.high.size == runs.bounds.size - 1 <= most
    assert (runs.bounds[0], runs.bounds[-1]) == (capture.time[0], capture.time[-1])
    for start, end, low, high in zip(runs.bounds[:-1], runs.bounds[1:], runs.low, runs.high, strict=True):
        inside = capture.volts[(capture.time >= start) & (capture.time <= end)]
        assert (low, high) == (inside.min(), inside.max())
        assert inside.size <= runs.samples_a_run + 1


@pytest.mark.parametrize("period", [333.0, 500.0, 1_000.3, 3_334.0])
def test_a_wave_faster_than_the_drawing_is_an_even_band(period: float) -> None:
    """Whatever its period is to the length of a run: no pattern that the trace has not."""
    time = np.arange(1_000_000.0)
    runs = envelope(Capture(time, np.where(time % period < period / 2, 5.0, 0.0)), 300)

    assert set(runs.low[:-1]) == {0.0}
    assert set(runs.high[:-1]) == {5.0}


def test_a_drawing_of_no_runs_is_refused() -> None:
    """It would show nothing."""
    with pytest.raises(CaptureError, match="at least one run of samples, not 0"):
        envelope(_pulses(), 0)


_ANY_VOLTS = st.one_of(
    st.lists(st.floats(-1e60, 1e60), min_size=8, max_size=40),
    st.lists(st.integers(-3, 3).map(float), min_size=8, max_size=60),
    st.lists(st.sampled_from([5.0, 5.0 + 1e-15, 5.000000001, 0.0, 1e-300]), min_size=8, max_size=60),
)


@settings(max_examples=100, deadline=None)
@given(volts=_ANY_VOLTS, tick=st.sampled_from([1e-59, 1e-9, 1.0, 1e50]))
def test_any_capture_is_measured_and_any_decay_fitted_or_refused(volts: list[float], tick: float) -> None:
    """Nothing else than figures, reasons and refusals comes of any trace, and no warning."""
    capture = Capture(tick * np.arange(1.0, len(volts) + 1), np.array(volts))

    wave = measure(capture)

    assert {name for name in FIGURES if getattr(wave, name) is None} == set(wave.reasons)
    for start in (None, float(capture.time[0])):
        with contextlib.suppress(DecayError):
            assert fit_decay(capture, start).tau.nominal > 0
