"""The laws of junctions: their derivatives, what they are specified by, what is far outside."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.engineering.network.junctions import (
    VOLTS_PER_KELVIN,
    Junctions,
    onset_of,
    saturation_at,
    saturation_of_drop,
)

ROOM = VOLTS_PER_KELVIN * 300.0


def _law(knee: float = 0.05, slope: float = 10.0) -> Junctions:
    """A diode beside a Zener diode of 5.1 V."""
    one = np.ones((1, 1))
    return Junctions(
        saturation=np.full((1, 2), 1e-14),
        width=np.full((1, 2), ROOM),
        zeners=np.array([1]),
        onset=5.1 * one,
        slope=slope * one,
        knee=knee * one,
    )


@settings(max_examples=100, deadline=None)
@given(st.floats(-12.0, 0.9), st.floats(-12.0, 0.9))
def test_the_derivative_is_that_of_the_current(diode: float, zener: float) -> None:
    """By central differences."""
    volts, beside = np.array([[diode, zener]]), 1e-6

    _, slope = _law().currents(volts)

    rise = (_law().currents(volts + beside)[0] - _law().currents(volts - beside)[0]) / (2 * beside)
    assert slope[0].tolist() == pytest.approx(rise[0].tolist(), rel=1e-5, abs=1e-9)


def test_a_diode_has_its_drop_at_its_current() -> None:
    """0.6 V at 1 mA, whatever the emission coefficient."""
    for ideality in (1.0, 1.7):
        saturation = saturation_of_drop(np.array([0.6]), 1e-3, np.array([ideality]))

        assert float(saturation[0]) * np.expm1(0.6 / (ideality * ROOM)) == pytest.approx(1e-3)


def test_a_zener_diode_has_its_voltage_at_its_current() -> None:
    """With a soft knee as with a sharp one."""
    for knee in (1e-5, 0.05, 0.5):
        onset = onset_of(np.array([6.8]), 5e-3, np.array([20.0]), np.array([knee]))
        one = np.ones((1, 1))
        law = Junctions(1e-14 * one, ROOM * one, np.array([0]), onset[:, None], 20.0 * one, knee * one)

        assert law.currents(np.array([[-6.8]]))[0][0, 0] == pytest.approx(-5e-3, rel=1e-9)


def test_a_saturation_current_stays_itself_at_300_kelvin_and_grows_with_heat() -> None:
    """Silicon's doubles in some 5 K; common practice, no source: every 5 to 10 K."""
    one = np.ones(1)

    at = [float(saturation_at(1e-14 * one, one, 1.11, kelvin * one)[0]) for kelvin in (300.0, 305.0)]

    assert at[0] == pytest.approx(1e-14)
    assert 1.8 < at[1] / at[0] < 2.3


def test_far_outside_all_reason_nothing_overflows() -> None:
    """The warnings of numpy are errors here."""
    current, slope = _law(knee=1e-5).currents(np.array([[1e5, -1e5], [-1e5, 1e5]]))

    assert np.isfinite(current).all()
    assert np.isfinite(slope).all()


def test_a_step_into_conduction_is_shortened_and_one_out_of_it_is_not() -> None:
    """From nothing to 5 V it goes to below 1 V."""
    law, off = _law(), np.zeros((1, 2))

    into, out = law.limited(off + 5.0, off), law.limited(off - 5.0, off + 0.6)

    assert (into < 1.0).all()
    assert (out == -5.0).all()
