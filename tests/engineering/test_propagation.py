"""Draws, what they cover, and whose spread it is."""

from uuid import UUID

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from server.engineering.propagation import Array, Bands, box, draw, interval, shares, summarise
from server.engineering.quantities import Toleranced, exact, parse

SEED = UUID("6b1f2f0e-9a43-4c55-8a51-0d1f4a2b7c90")
COUNT = 50_000


def _draw(text: str, name: str = "x", seed: UUID | int = SEED) -> Array:
    return draw(name, box(parse(text)), COUNT, seed)


def test_a_value_goes_into_base_units_with_its_limits() -> None:
    """Points on the Celsius scale with their offset."""
    assert pytest.approx(tuple(box(parse("2.2 kΩ ±5 %")))) == (2200.0, 2090.0, 2310.0, False)
    assert pytest.approx(tuple(box(parse("25 °C ± 5 °C")))) == (298.15, 293.15, 303.15, False)


def test_limits_are_drawn_evenly_and_never_left() -> None:
    """Mean and standard deviation of a rectangle, also a lopsided one (JCGM 101 6.4.2)."""
    drawn = _draw("100 nF -20/+50 %")

    assert 80e-9 <= drawn.min() <= drawn.max() <= 150e-9
    assert pytest.approx(drawn.mean(), rel=0.005) == 115e-9
    assert 70e-9 / np.sqrt(12) == pytest.approx(drawn.std(), rel=0.01)


def test_a_measured_value_is_drawn_as_normal() -> None:
    """Mean, standard deviation, and the part beyond two of them (JCGM 101 6.4.7)."""
    drawn = _draw("6.81(3) V")

    assert 6.81 == pytest.approx(drawn.mean(), abs=0.001)  # noqa: SIM300
    assert pytest.approx(drawn.std(), rel=0.01) == 0.03
    assert pytest.approx(np.mean(np.abs(drawn - 6.81) > 0.06), abs=0.005) == 0.0455


def test_the_same_seed_and_name_give_the_same_luck() -> None:
    """Also with another value: two cases then differ by their values alone."""
    first, again, wider = _draw("1 V ±5 %"), _draw("1 V ±5 %"), _draw("1 V ±10 %")

    assert np.array_equal(first, again)
    assert (2 * (first - 1)) == pytest.approx(wider - 1, abs=1e-12)


def test_another_name_or_seed_gives_other_luck() -> None:
    """Inputs are independent of one another."""
    x, y, later = _draw("1 V ±5 %"), _draw("1 V ±5 %", name="y"), _draw("1 V ±5 %", seed=7)

    assert abs(np.corrcoef(x, y)[0, 1]) < 0.02
    assert abs(np.corrcoef(x, later)[0, 1]) < 0.02


def test_a_symmetric_interval_leaves_out_as_much_on_either_side() -> None:
    """95 % of a rectangle from 0 to 1."""
    assert pytest.approx(interval(np.linspace(0, 1, 100_001)), abs=1e-4) == (0.025, 0.975)


def test_the_shortest_interval_leans_to_where_the_draws_are_dense() -> None:
    """Of an exponential distribution it begins at zero and ends at -ln 0.05."""
    draws = -np.log1p(-np.linspace(0, 1, 100_000, endpoint=False))

    low, high = interval(draws, kind="shortest")

    assert pytest.approx(low, abs=1e-3) == 0.0
    assert -np.log(0.05) == pytest.approx(high, rel=1e-3)


@given(st.lists(st.floats(min_value=-1e6, max_value=1e6), min_size=2, max_size=200))
@example([0.0, 9.194365084345107e-308])
@settings(max_examples=60, deadline=None)
def test_a_summary_contains_its_draws(values: list[float]) -> None:
    """The interval lies within the histogram, which counts every draw once; the mean and spread are numpy's."""
    draws = np.array(values)

    summary = summarise(draws)

    assert draws.min() <= summary.low <= summary.high <= draws.max()
    assert (draws.min(), draws.max()) == (summary.edges[0], summary.edges[-1])
    assert len(values) == sum(summary.counts)
    assert draws.mean() == pytest.approx(summary.mean, abs=1e-6)
    assert draws.std() == pytest.approx(summary.uncertainty, abs=1e-3)


def test_a_spread_far_from_zero_is_not_lost_in_rounding() -> None:
    """A microvolt of spread on a kilovolt."""
    draws = 1e3 + 1e-6 * np.random.default_rng(1).standard_normal(COUNT)

    assert draws.std() == pytest.approx(summarise(draws).uncertainty, rel=1e-6)


def _shares(expression_draws: Array, drawn: dict[str, tuple[str, Array]]) -> dict[str, float]:
    bands = {name: Bands(values, box(parse(text))) for name, (text, values) in drawn.items()}
    return shares(expression_draws, bands)


def test_shares_of_a_sum_are_those_of_its_variances() -> None:
    """Widths 1, 2 and 3: 1, 4 and 9 parts in 14."""
    drawn = {name: (text, _draw(text, name)) for name, text in {"a": "0..1", "b": "0..2", "c": "0..3"}.items()}

    found = _shares(sum((values for _, values in drawn.values()), np.zeros(COUNT)), drawn)

    assert pytest.approx(list(found.values()), abs=0.02) == [1 / 14, 4 / 14, 9 / 14]


def test_an_input_that_bends_the_line_has_its_share_where_the_slope_is_zero() -> None:
    """x² about x = 0 beside 0.1 y: a slope would call x harmless."""
    drawn = {"x": ("-1..1", _draw("-1..1", "x")), "y": ("-1..1", _draw("-1..1", "y"))}

    found = _shares(drawn["x"][1] ** 2 + 0.1 * drawn["y"][1], drawn)

    variance_x, variance_y = 4 / 45, 0.01 / 3
    assert variance_x / (variance_x + variance_y) == pytest.approx(found["x"], abs=0.02)


def test_inputs_that_act_only_together_have_no_share_alone() -> None:
    """A product about zero: knowing one of them takes nothing away on average."""
    drawn = {"x": ("-1..1", _draw("-1..1", "x")), "y": ("0.0(5)", _draw("0.0(5)", "y"))}

    found = _shares(drawn["x"][1] * drawn["y"][1], drawn)

    assert pytest.approx(list(found.values()), abs=0.02) == [0.0, 0.0]


def test_nothing_has_a_share_of_no_spread() -> None:
    """And an only input has all of it."""
    drawn = {"x": ("0..1", _draw("0..1", "x"))}

    assert _shares(np.full(COUNT, 5.0), drawn) == {"x": 0.0}
    assert _shares(drawn["x"][1], drawn) == {"x": 1.0}


def test_an_exact_value_does_not_vary() -> None:
    """It needs no draws."""
    assert not box(exact(5.0, "V")).varies
    assert box(Toleranced(5.0, 5.0, 5.1, "V")).varies
