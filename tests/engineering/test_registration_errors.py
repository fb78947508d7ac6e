"""Two pictures of one board: leave-one-out errors by definition, and circles that hold what they say."""

import numpy as np
import pytest

from server.engineering.registration import Kind, fit
from tests.engineering.registration_boards import BOARD, CORNERS, KINDS, noisy, shown_truly


@pytest.mark.parametrize("kind", KINDS)
def test_an_inverse_has_its_errors_in_the_first_picture(kind: Kind) -> None:
    """Residual, leave-one-out error and radius there, by their definitions."""
    shown = noisy(kind, 4)
    found = fit(BOARD, shown, kind)
    back = found.inverse()
    without = fit(np.delete(BOARD, 2, axis=0), np.delete(shown, 2, axis=0), kind).inverse()

    assert np.hypot(*(back.apply(shown) - BOARD).T) == pytest.approx(back.residuals)
    assert back.leave_one_out is not None
    assert np.hypot(*(without.apply(shown[2:3]) - BOARD[2:3]).T) == pytest.approx(back.leave_one_out[2:3])
    assert back.inverse().error_at(BOARD) == pytest.approx(found.error_at(BOARD))
    if kind == "similarity":
        scale = np.sqrt(np.linalg.det(found.matrix))
        assert found.error_at(BOARD) / scale == pytest.approx(back.error_at(found.apply(BOARD)))


@pytest.mark.parametrize("kind", KINDS)
def test_the_leave_one_out_error_is_that_of_a_fit_to_the_others(kind: Kind) -> None:
    """Point by point, with its root mean square; never less than the point's residual."""
    shown = noisy(kind, 1)
    found = fit(BOARD, shown, kind)

    expected = [
        float(np.hypot(*(fit(np.delete(BOARD, i, 0), np.delete(shown, i, 0), kind).apply([p])[0] - shown[i])))
        for i, p in enumerate(BOARD)
    ]

    assert found.leave_one_out == pytest.approx(expected)
    assert found.leave_one_out_rms == pytest.approx(np.sqrt(np.mean(np.square(expected))))
    assert np.all(expected > found.residuals)


def test_leaving_one_out_of_an_affine_fit_divides_its_residual_by_one_less_its_leverage() -> None:
    """The identity of ordinary least squares, with the leverage worked out from the points alone."""
    found = fit(BOARD, noisy("affine", 2), "affine")
    whole = np.column_stack([BOARD, np.ones(len(BOARD))])
    leverage = np.diagonal(whole @ np.linalg.inv(whole.T @ whole) @ whole.T)

    assert found.residuals / (1 - leverage) == pytest.approx(found.leave_one_out)


def test_leave_one_out_errors_are_none_or_nan_where_there_are_none() -> None:
    """None with no points to spare; NaN for the point whose leaving puts the others on a line, and a note of it."""
    spare = fit(CORNERS[:3], shown_truly("affine", CORNERS[:3]), "affine")
    held_by_one = np.array([[0, 0], [200, 0], [500, 0], [100, 300]], dtype=np.float64)
    needed = fit(held_by_one, shown_truly("affine", held_by_one), "affine")

    assert spare.leave_one_out is None
    assert spare.leave_one_out_rms is None
    assert needed.leave_one_out is not None
    assert np.isnan(needed.leave_one_out).tolist() == [False, False, False, True]
    assert needed.leave_one_out_rms == pytest.approx(0, abs=1e-9)
    assert "Point 4 cannot be checked" in needed.notes[0]
    assert np.isfinite(needed.error_at(held_by_one)).all()


@pytest.mark.parametrize("kind", KINDS)
def test_the_circle_holds_a_further_mark_as_often_as_it_says(kind: Kind) -> None:
    """At least 95 % inside the points and far outside, forwards and back; and not so large that it says nothing."""
    random = np.random.default_rng(20)
    points, spots = BOARD[:6], np.array([[320.0, 230.0], [900.0, 700.0]])
    rounds, held, held_back = 600, np.zeros(2), np.zeros(2)

    for _ in range(rounds):
        shown = shown_truly(kind, points) + random.normal(0, 1.5, points.shape)
        marks = shown_truly(kind, spots) + random.normal(0, 1.5, spots.shape)
        found = fit(points, shown, kind)
        back = found.inverse()
        held += np.hypot(*(found.apply(spots) - marks).T) <= found.error_at(spots)
        held_back += np.hypot(*(back.apply(marks) - spots).T) <= back.error_at(marks)

    # Four standard deviations of the count below 95 %.
    least = 0.95 - 4 * np.sqrt(0.95 * 0.05 / rounds)
    assert np.all(held / rounds >= least)
    assert np.all(held_back / rounds >= least)
    assert np.all(held / rounds < 0.995)


@pytest.mark.parametrize(
    ("kind", "size"), [("similarity", 1.0), ("affine", 1.0), ("affine", 20.0), ("projective", 1.0)]
)
def test_the_circle_among_the_points_bears_that_the_kind_was_chosen(kind: Kind, size: float) -> None:
    """Also with marks so bad that the true kind is not: nine of ten at the least, as the module's figures say."""
    random = np.random.default_rng(21)
    spot, rounds, held = np.array([[400.0, 300.0]]), 300, 0

    for _ in range(rounds):
        found = fit(BOARD[:6], shown_truly(kind, BOARD[:6]) + random.normal(0, size, (6, 2)))
        mark = shown_truly(kind, spot) + random.normal(0, size, (1, 2))
        held += bool(np.hypot(*(found.apply(spot) - mark)[0]) <= found.error_at(spot)[0])

    assert held / rounds >= 0.9


@pytest.mark.parametrize("kind", KINDS)
def test_the_circle_grows_away_from_the_points(kind: Kind) -> None:
    """Steadily along a line out of them, by ever more for the linear kinds; and with the marks' error."""
    found, worse = (fit(BOARD, noisy(kind, 5, size), kind) for size in (1.0, 3.0))
    outwards = np.array([[x, 240.0] for x in range(430, 1_400, 100)], dtype=np.float64)

    growth = np.diff(found.error_at(outwards))

    assert np.all(growth > 0)
    assert np.all(found.error_at(outwards) < worse.error_at(outwards))
    if kind != "projective":
        assert np.all(np.diff(growth) > 0)


def test_the_circle_of_a_linear_fit_is_the_one_of_the_textbook() -> None:
    """Radius² = 2 F(0.95; 2, nu) s² (1 + leverage of the spot), here with a residual s² above that left one out."""
    from scipy.stats import f

    for seed in range(40):
        found = fit(BOARD, noisy("affine", seed), "affine")
        whole = np.column_stack([BOARD, np.ones(len(BOARD))])
        spot = np.array([700.0, 100.0, 1.0])
        inverse = np.linalg.inv(whole.T @ whole)
        kept = 1 - np.diagonal(whole @ inverse @ whole.T)
        assert found.leave_one_out is not None
        residual = np.sum(found.residuals**2) / 8
        left_out = np.sum(found.leave_one_out**2) / np.sum(2 / kept)

        expected = np.sqrt(2 * f.ppf(0.95, 2, 8) * max(residual, left_out) * (1 + spot @ inverse @ spot))

        assert expected == pytest.approx(found.error_at([spot[:2]])[0])


def test_a_fit_that_used_up_its_points_bounds_nothing() -> None:
    """Two for a similarity, three, four: an infinite radius, not one of zero."""
    for kind, points in zip(KINDS, (2, 3, 4), strict=True):
        found = fit(CORNERS[:points], noisy(kind, 1, points=CORNERS[:points]), kind)

        assert found.residuals == pytest.approx(0, abs=1e-9)
        assert np.isinf(found.error_at(BOARD)).all()
        assert np.isinf(found.inverse().error_at(found.apply(BOARD))).all()
