"""Decays fitted: time constants within their uncertainty, and what is refused by name because it has none."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.engineering.captures import Reals
from server.engineering.quantities import Toleranced
from server.engineering.waveforms import Capture, DecayError, fit_decay

TAU = 0.5
TIME = np.arange(4_000, dtype=np.float64) / 1_000


def _noise(size: float, seed: int = 1) -> Reals:
    return np.random.default_rng(seed).normal(0, size, TIME.size)


def _rail(start: float = 5.0, end: float = 0.0, tau: float = TAU, held: float = 0.5) -> Reals:
    """Held at `start` until `held`, then decaying towards `end`."""
    return end + (start - end) * np.exp(-np.maximum(TIME - held, 0) / tau)


def _near(value: Toleranced, true: float, factor: float = 4.0) -> bool:
    return abs(value.nominal - true) <= factor * value.uncertainty + 1e-9 * abs(true)


@pytest.mark.parametrize("start", [None, 0.5, 0.9])
@pytest.mark.parametrize(("volts", "end"), [(5.0, 0.0), (12.0, 1.2), (-12.0, 0.0), (0.0, 5.0)])
def test_a_decay_gives_back_its_time_constant(start: float | None, volts: float, end: float) -> None:
    """Falling, negative, towards a value that is not zero, or charging; from the knee on or from a given time."""
    decay = fit_decay(Capture(TIME, _rail(volts, end) + _noise(0.02)), start)

    assert _near(decay.tau, TAU)
    assert decay.tau.uncertainty < 0.01 * TAU
    assert _near(decay.end_volts, end)
    assert _near(decay.start_volts, end + (volts - end) * np.exp(-(decay.start - 0.5) / TAU))
    assert decay.residual == pytest.approx(0.02, rel=0.1)
    assert 0.5 <= decay.start < 0.92
    assert decay.samples == np.count_nonzero(decay.start <= TIME)
    assert (volts == 0.0) == any("charging" in note for note in decay.notes)


def test_the_fitted_curve_can_be_drawn() -> None:
    """`volts_at` is the model over time in s, whatever unit the capture counts in."""
    decay = fit_decay(Capture(TIME * 1e3, _rail() * 1e3, "ms", "mV"), 600.0, 3_000.0)

    assert decay.tau.unit == "s"
    assert decay.volts_at(TIME[700:2000]) == pytest.approx(_rail()[700:2000], rel=1e-6)
    assert (decay.start, decay.end) == pytest.approx((0.6, 3.0))


@pytest.mark.parametrize("step", [0.01, 0.04, 0.2, 0.5])
def test_steps_of_the_converter_are_borne(step: float) -> None:
    """Ten steps over the whole decay are enough, with an uncertainty that grows with them."""
    decay = fit_decay(Capture(TIME, np.round(_rail() / step) * step))

    assert _near(decay.tau, TAU)
    assert decay.tau.uncertainty < 0.3 * TAU * step


RAMP = "straight line, .*constant current"
FASTER = "faster and faster .*constant power"


@pytest.mark.parametrize("noise", [0.0, 0.02, 0.1])
@pytest.mark.parametrize(
    ("volts", "why"),
    [
        (5 - TIME, RAMP),
        (-12 + 2 * TIME, RAMP),
        (np.maximum(5 - 2 * TIME, 0), RAMP),
        (np.clip(5 - 4 * (TIME - 1), 0, 5), RAMP),
        (np.sqrt(np.maximum(25 - 6.2 * TIME, 0)), FASTER),
        (np.sqrt(np.maximum(25 - 12 * np.maximum(TIME - 1, 0), 0)), FASTER),
        (5 - 0.05 * np.exp(TIME), FASTER),
        (5 * np.exp(-TIME / 20), RAMP),
        (np.full(TIME.size, 5.0), "does not decay"),
        (np.where(TIME % 1 < 0.5, 5.0, 0.0), "does not decay|too fast"),
        (5.0 * (TIME < 2), "jumps there faster than the capture follows"),
        (2.5 * np.exp(-TIME / 0.03) + 2.5 * np.exp(-TIME / 0.8), "not one exponential"),
    ],
)
def test_what_is_no_exponential_is_refused_by_name(volts: Reals, why: str, noise: float) -> None:
    """A ramp, a fall that grows faster, a trace that stands or jumps, two time constants in one."""
    capture = Capture(TIME, volts + _noise(noise))

    with pytest.raises(DecayError, match=why):
        fit_decay(capture, 0.0 if why.startswith("not one") else None)


SWINGS = "to and fro|swings back|turns there|swings: it goes slowly|not one exponential|does not decay there"


@pytest.mark.parametrize("noise", [0.0, 0.02])
@pytest.mark.parametrize("cycles", [0.75, 1.1, 1.6, 2.3, 3.9, 12.4, 40.2])
@pytest.mark.parametrize("wave", ["sine", "triangle"])
def test_what_goes_to_and_fro_is_no_ramp(wave: str, cycles: float, noise: float) -> None:
    """Its last swing may be straight; it is still told that it swings, and nothing of a constant current."""
    phase = cycles * TIME / TIME[-1]
    volts = np.sin(2 * np.pi * phase) if wave == "sine" else 2 * np.abs(2 * ((phase + 0.25) % 1) - 1) - 1
    capture = Capture(TIME, 3 * volts + _noise(noise))

    # Of a triangle that has turned once only, the last stretch is a straight line.
    if wave == "sine" or cycles > 1.5:
        for start in (None, 0.0):
            with pytest.raises(DecayError, match=SWINGS):
                fit_decay(capture, start)


def test_samples_are_counted_in_words_that_fit() -> None:
    """One is one."""
    for volts, said in ((5.0 * (TIME < 2), "jumps there"), (_rail(tau=0.002), "there (is 1 sample|are [2-7] samples)")):
        with pytest.raises(DecayError, match=said):
            fit_decay(Capture(TIME, np.array(volts, dtype=np.float64)))


def test_a_hyperbola_is_not_one_exponential() -> None:
    """A fall that slows down without settling is off by more than its noise explains."""
    with pytest.raises(DecayError, match="not one exponential: the best one is off by"):
        fit_decay(Capture(TIME, 5 / (1 + TIME / 0.3) + _noise(0.01)))


def test_a_short_stretch_is_told_so() -> None:
    """Of one time constant the end value is reckoned, and a note says so; of too little, nothing is said."""
    decay = fit_decay(Capture(TIME, _rail(tau=3.0, held=0) + _noise(0.01)), 0.0, 2.9)

    assert _near(decay.tau, 3.0)
    assert any("only 0.97 time constants" in note for note in decay.notes)
    with pytest.raises(DecayError, match="straight line"):
        fit_decay(Capture(TIME, _rail(tau=3.0, held=0)), 0.0, 1.0)


def test_a_slow_ripple_makes_the_time_constant_less_sure() -> None:
    """Residuals that go together count as fewer measurements than there are samples."""
    ripple = 0.03 * np.sin(2 * np.pi * 5 * TIME)

    rippled = fit_decay(Capture(TIME, _rail() + ripple), 0.5)
    noisy = fit_decay(Capture(TIME, _rail() + _noise(0.03 / np.sqrt(2))), 0.5)

    assert rippled.residual == pytest.approx(noisy.residual, rel=0.1)
    assert rippled.tau.uncertainty > 4 * noisy.tau.uncertainty
    assert _near(rippled.tau, TAU)


@pytest.mark.parametrize(
    ("start", "end", "field", "fault"),
    [
        (3.996, None, "start", "too few samples, 4"),
        (9.0, None, "start", "too few samples, 0"),
        (None, -1.0, "end", "too few samples, 0"),
        (2.0, 1.0, "start", "too few samples, 0"),
        (float("nan"), None, "start", "must be a time, not nan"),
        (None, float("inf"), "end", "must be a time, not inf"),
        (0.0, 0.4, "capture", "ends where it began"),
    ],
)
def test_a_stretch_that_holds_no_decay_is_refused(
    start: float | None, end: float | None, field: str, fault: str
) -> None:
    """The end of the stretch that is at fault is named, for a page to set the message beside."""
    with pytest.raises(DecayError, match=fault) as refused:
        fit_decay(Capture(TIME, _rail()), start, end)

    assert field == refused.value.field


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 10**6),
    tau=st.floats(0.1, 1.5),
    start=st.floats(1, 20),
    end=st.floats(-3, 0.5),
    noise=st.floats(0.0001, 0.03),
)
def test_any_decay_is_found_and_turned_or_shifted_it_is_the_same(
    seed: int, tau: float, start: float, end: float, noise: float
) -> None:
    """Within five uncertainties of the truth; upside down, shifted or scaled, the time constant stays."""
    volts = _rail(start, end, tau, 0.3) + _noise(noise * (start - end), seed)

    plain = fit_decay(Capture(TIME, volts), 0.3)
    turned = fit_decay(Capture(TIME, -volts), 0.3)
    moved = fit_decay(Capture(TIME + 7, volts * 3 - 4), 7.2999)

    assert _near(plain.tau, tau, 5)
    assert _near(plain.end_volts, end, 5)
    for other in (turned, moved):
        assert other.tau.nominal == pytest.approx(plain.tau.nominal, rel=1e-4)
        assert other.tau.uncertainty == pytest.approx(plain.tau.uncertainty, rel=1e-2)
    assert turned.end_volts.nominal == pytest.approx(-plain.end_volts.nominal, abs=1e-4)
    assert moved.end_volts.nominal == pytest.approx(3 * plain.end_volts.nominal - 4, abs=1e-3)
