"""Windows over a falling rail: their times, their tolerance, and what is told when there is none."""

import math
from typing import Any

import numpy as np
import pytest

from server.engineering.captures import Capture
from server.engineering.decays import fit_decay
from server.engineering.network import (
    BadElementValue,
    BadSweep,
    Band,
    ExponentialFall,
    Fall,
    Interval,
    ResistorFall,
    SteadyCurrentFall,
    SteadyPowerFall,
    conducting_while_released,
    thresholds,
    windows_over_decay,
)
from server.engineering.quantities import parse
from tests.engineering.network.made import two_transistors


def _interval(
    low: float,
    high: float,
    open_low: bool = False,
    unit: str = "V",
    draws: Any = (),
    open_high: bool = False,
    draws_open: Any = (),
) -> Interval:
    first, last = (Band(end, end, end, end, end, unit) for end in (low, high))
    ends = np.array(draws, dtype=np.float64).reshape(-1, 2)
    unended = np.array(draws_open, dtype=np.bool_).reshape(-1, 2) if len(draws_open) else np.zeros_like(ends, np.bool_)
    return Interval(first, last, open_low, open_high, share=1.0, draws=ends, draws_open=unended)


def test_the_higher_stretch_comes_first() -> None:
    """Each from its upper end to its lower."""
    windows = windows_over_decay([_interval(1.0, 2.0), _interval(5.0, 6.0)], SteadyCurrentFall(10.0, 1e-3, 1e-3))

    times = [end for window in windows for end in (window.start.nominal, window.end.nominal)]
    assert pytest.approx(times) == [4.0, 5.0, 8.0, 9.0]


def test_a_rail_that_starts_inside_starts_the_window_at_once() -> None:
    """0 s."""
    (window,) = windows_over_decay([_interval(5.0, 12.0)], ExponentialFall(10.0, 2.0))

    assert window.start.nominal == 0.0
    assert window.length.nominal == pytest.approx(2.0 * math.log(2))


@pytest.mark.parametrize(
    ("interval", "fall", "sentence"),
    [
        (_interval(5.0, 6.0), ExponentialFall(4.0, 1.0), "starts at 4 V, below the stretch from 5 to 6 V"),
        (_interval(1.0, 2.0), ExponentialFall(5.0, 1.0, rest=2.5), "never falls into the stretch"),
    ],
)
def test_a_window_that_never_comes_is_told(interval: Interval, fall: Fall, sentence: str) -> None:
    """And is not there."""
    windows = windows_over_decay([interval], fall)

    assert windows == []
    assert sentence in windows.notes[0]


def test_a_window_that_is_never_left_has_no_end() -> None:
    """The rail rests inside it."""
    windows = windows_over_decay([_interval(1.0, 3.0)], ExponentialFall(5.0, 1.0, rest=2.0))

    assert windows[0].start.nominal == pytest.approx(math.log(3.0))
    assert windows[0].end.nominal == math.inf
    assert "never left" in windows.notes[0]


def test_a_window_whose_end_was_not_looked_for_lasts_at_least_so_long() -> None:
    """And says so."""
    windows = windows_over_decay([_interval(1.0, 3.0, open_low=True)], SteadyPowerFall(5.0, 1e-3, 1e-3))

    assert windows[0].at_least
    assert windows[0].end.nominal == pytest.approx(12.0)
    assert "may last longer" in windows.notes[0]


def test_the_fall_s_tolerance_reaches_the_times() -> None:
    """470 µF -20/+50 % into 100 Ω: the times go with the capacitance."""
    (window,) = windows_over_decay([_interval(1.0, 6.0)], ResistorFall(12.0, 100.0, parse("470 µF -20/+50 %")))

    expected = 0.047 * math.log(2)
    assert window.start.nominal == pytest.approx(expected)
    assert 0.8 * expected <= window.start.least < 0.81 * expected
    assert 1.49 * expected < window.start.most <= 1.5 * expected


def test_draws_that_lack_the_stretch_lack_the_window() -> None:
    """The share tells how many have it."""
    draws = [(1.0, 2.0), (math.nan, math.nan), (1.5, 2.5), (1.0, 3.0)]

    (window,) = windows_over_decay([_interval(1.0, 2.0, draws=draws)], SteadyCurrentFall(10.0, 1e-3, 1e-3))

    assert window.share == 0.75
    assert pytest.approx([window.start.least, window.start.most]) == [7.0, 8.0]
    assert pytest.approx([window.length.least, window.length.most]) == [1.0, 2.0]


def test_each_draw_of_the_network_goes_with_one_of_the_fall() -> None:
    """So a length is never shorter than the shortest that both could give."""
    found = thresholds(
        two_transistors(parse("10 kΩ ±5 %")), "V", 0.0, 12.0, conducting_while_released("Q2", "Q1"), draws=200
    )

    (window,) = windows_over_decay(found, ResistorFall(parse("12 V ±2 %"), 100.0, parse("470 µF ±20 %")))

    assert window.start.least < window.start.low < window.start.nominal < window.start.high < window.start.most
    assert window.length.nominal == pytest.approx(window.end.nominal - window.start.nominal)


def test_a_fall_can_be_one_that_was_captured() -> None:
    """Fitted from a trace of 12 V with a time constant of 47 ms."""
    time = np.linspace(0, 0.3, 2_000)
    noise = np.random.default_rng(5).normal(0, 0.01, time.size)
    decay = fit_decay(Capture(time, 12.0 * np.exp(-time / 0.047) + noise), 0.0)

    (window,) = windows_over_decay([_interval(1.2, 7.7)], decay)

    assert window.start.nominal == pytest.approx(0.047 * math.log(12 / 7.7), rel=0.01)
    assert window.end.nominal == pytest.approx(0.047 * math.log(10), rel=0.01)
    assert window.end.least < window.end.most


@pytest.mark.parametrize(
    "fall",
    [
        ExponentialFall(12.0, 0.0),
        ExponentialFall(math.nan, 1.0),
        ResistorFall(12.0, -100.0, 1e-3),
        SteadyCurrentFall(12.0, 1e-3, 0.0),
        SteadyPowerFall(12.0, parse("1 V"), 1.0),
    ],
)
def test_a_fall_that_is_none_is_refused(fall: Fall) -> None:
    """Nothing falls in no time."""
    with pytest.raises(BadElementValue, match="of the fall"):
        windows_over_decay([_interval(1.0, 2.0)], fall)


def test_intervals_that_are_no_rail_s_are_refused() -> None:
    """Amperes, or draws that do not belong together."""
    with pytest.raises(BadSweep, match="of a current"):
        windows_over_decay([_interval(1.0, 2.0, unit="A")], ExponentialFall(5.0, 1.0))
    with pytest.raises(BadSweep, match="belong together"):
        windows_over_decay([_interval(1.0, 2.0), _interval(3.0, 4.0, draws=[(3.0, 4.0)])], ExponentialFall(5.0, 1.0))


def test_a_window_that_may_have_begun_above_what_was_looked_at_lasts_at_least_so_long() -> None:
    """The rail starts at 12 V, and only 5 V and less was looked at: ln(12/5) s is when it is seen to hold, not when it
    begins."""
    (window,) = found = windows_over_decay([_interval(1.0, 5.0, open_high=True)], ExponentialFall(12.0, 1.0))

    assert window.at_least
    assert window.start.nominal == pytest.approx(math.log(12 / 5))
    assert "may begin earlier" in found.notes[0]


def test_a_rail_that_starts_where_the_looking_did_has_its_whole_window() -> None:
    """Nothing lies above."""
    (window,) = windows_over_decay([_interval(1.0, 5.0, open_high=True)], ExponentialFall(5.0, 1.0))

    assert not window.at_least


@pytest.mark.parametrize("side", [0, 1])
def test_draws_that_go_on_beyond_what_was_looked_at_have_no_end(side: int) -> None:
    """One of four draws is cut off: its length is not the cut one."""
    unended = np.zeros((4, 2), dtype=np.bool_)
    unended[2, side] = True
    interval = _interval(2.0, 4.0, draws=[[2.0, 4.0]] * 4, draws_open=unended)
    (window,) = found = windows_over_decay([interval], ExponentialFall(8.0, 1.0))

    assert not window.at_least
    assert window.length.nominal == pytest.approx(math.log(2))
    assert window.length.most == math.inf
    assert "In 25 % of the draws it goes on beyond" in found.notes[0]


@pytest.mark.parametrize(
    "fall",
    [
        ExponentialFall(-12.0, 1.0),
        ExponentialFall(5.0, 1.0, rest=8.0),
        ResistorFall(parse("5 V ±10 %"), 100.0, 1e-3, rest=4.6),
        SteadyCurrentFall(0.0, 1e-3, 1e-3),
        SteadyPowerFall(-1.0, 1e-3, 1e-3),
    ],
)
def test_a_rail_that_does_not_fall_is_refused(fall: Fall) -> None:
    """A negative one, or one that rises: no time is told of it."""
    with pytest.raises(BadElementValue, match="does not fall"):
        windows_over_decay([_interval(1.0, 2.0)], fall)
