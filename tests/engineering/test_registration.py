"""Two pictures of one board: maps found again, their handedness, the choice of a kind, the horizon."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.engineering.registration import Kind, fit
from server.engineering.registration_points import Reals
from tests.engineering.registration_boards import BOARD, CORNERS, KINDS, noisy, shown_truly, through, turned

ELSEWHERE = np.array([[320.0, 230.0], [-100.0, 40.0], [700.0, 600.0]])

seeds = st.integers(0, 2**32 - 1)


@st.composite
def maps(draw: st.DrawFn, kind: Kind) -> Reals:
    """Any map of a kind that a camera could make of the board: foreshortened to a third, nearer at one side by half."""
    shift = draw(st.floats(-2e3, 2e3)), draw(st.floats(-2e3, 2e3))
    matrix = turned(draw(st.floats(0, 7)), draw(st.floats(0.05, 20)), shift, draw(st.booleans()))
    if kind != "similarity":
        shear = np.array([[1, draw(st.floats(-0.5, 0.5)), 0], [0, draw(st.floats(0.3, 1)), 0], [0, 0, 1]])
        matrix = matrix @ shear
    if kind == "projective":
        tilt = np.eye(3)
        tilt[2, :2] = draw(st.floats(-4e-4, 4e-4)), draw(st.floats(-4e-4, 4e-4))
        matrix = matrix @ tilt
    return np.asarray(matrix / matrix[2, 2])


@pytest.mark.parametrize("kind", KINDS)
@given(data=st.data())
def test_a_map_without_error_is_found_again(kind: Kind, data: st.DataObject) -> None:
    """Matrix, handedness, and nothing left over; and with no kind asked for, none richer than needed is taken."""
    matrix = data.draw(maps(kind))
    shown = through(matrix, BOARD)

    found = fit(BOARD, shown, kind)
    chosen = fit(BOARD, shown)

    extent = np.ptp(shown)
    assert found.matrix == pytest.approx(matrix, rel=1e-6, abs=1e-8 * max(1.0, np.abs(matrix).max()))
    assert found.residuals.max() < 1e-8 * extent
    assert found.leave_one_out is not None
    assert found.leave_one_out.max() < 1e-7 * extent
    assert found.mirrored == (np.linalg.det(matrix) < 0)
    assert found.apply(ELSEWHERE[:1]) == pytest.approx(through(matrix, ELSEWHERE[:1]), abs=1e-7 * extent)
    assert KINDS.index(chosen.kind) <= KINDS.index(kind)
    assert chosen.mirrored == found.mirrored
    assert any("was chosen" in note for note in chosen.notes)


@pytest.mark.parametrize("kind", KINDS)
@given(data=st.data())
@settings(max_examples=40)
def test_the_inverse_undoes_the_map(kind: Kind, data: st.DataObject) -> None:
    """There and back, back and there; and the inverse's inverse is the map itself."""
    matrix = data.draw(maps(kind))
    found = fit(BOARD, through(matrix, BOARD), kind)
    back = found.inverse()

    assert back.apply(found.apply(BOARD)) == pytest.approx(BOARD, abs=1e-5)
    assert found.apply(back.apply(found.to_points)) == pytest.approx(
        found.to_points, abs=1e-6 * np.ptp(found.to_points)
    )
    assert back.inverse().matrix == pytest.approx(found.matrix, rel=1e-6, abs=1e-7 * np.abs(matrix).max())
    assert back.mirrored == found.mirrored


@pytest.mark.parametrize("kind", KINDS)
def test_no_map_near_by_leaves_less(kind: Kind) -> None:
    """The fit is the least squares one: whichever number of its matrix is moved within the kind, more is left."""
    shown = noisy(kind, 3)
    found = fit(BOARD, shown, kind)
    least = np.sum(found.residuals**2)
    moves = {
        "similarity": [[[1, 0, 0], [0, 1, 0]], [[0, -1, 0], [1, 0, 0]], [[0, 0, 1], [0, 0, 0]], [[0, 0, 0], [0, 0, 1]]],
        "affine": np.eye(6).reshape(6, 2, 3),
        "projective": np.eye(8, 9).reshape(8, 3, 3),
    }[kind]

    for move in np.asarray(moves, dtype=np.float64):
        for step in (-1e-6, 1e-6):
            other = found.matrix.copy()
            other[: len(move)] += step * move
            assert np.sum((through(other, BOARD) - shown) ** 2) > least


@given(seed=seeds, mirrored=st.booleans())
def test_three_points_tell_that_the_second_picture_is_mirrored(seed: int, mirrored: bool) -> None:
    """A similarity takes the handedness that fits better, and a sentence says so."""
    shown = through(turned(1.0, 0.7, (300, 20), mirrored), CORNERS[:3])
    shown += np.random.default_rng(seed).normal(0, 2, shown.shape)

    found = fit(CORNERS[:3], shown)

    assert (found.kind, found.mirrored) == ("similarity", mirrored)
    assert any("mirrored, as from its other side" in note for note in found.notes) == mirrored
    assert not any("hardly" in note for note in found.notes)


@pytest.mark.parametrize("points", [CORNERS[:2], [[0, 0], [100, 50.2], [200, 100], [300, 150]]])
def test_two_points_or_points_on_a_line_cannot_tell(points: Reals) -> None:
    """Then it is taken unmirrored, unless the keeper knows."""
    shown = through(turned(1.0, 0.7, (300, 20), mirrored=True), np.asarray(points))

    unsure = fit(points, shown)
    told = fit(points, shown, mirrored=True)

    assert unsure.mirrored is None
    assert np.linalg.det(unsure.matrix) > 0
    assert "cannot tell" in unsure.notes[0]
    assert told.mirrored is True
    assert np.linalg.det(told.matrix) < 0
    assert told.residuals == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("mirrored", [False, True])
def test_points_that_contradict_the_handedness_asked_for_say_so(kind: Kind, mirrored: bool) -> None:
    """A similarity keeps to it nevertheless."""
    found = fit(BOARD, through(turned(1.0, 0.7, (300, 20), not mirrored), BOARD), kind, mirrored=mirrored)

    assert found.mirrored == (mirrored if kind == "similarity" else not mirrored)
    assert any(f"if the second picture is {'not ' if mirrored else ''}mirrored" in note for note in found.notes)


def test_points_marked_so_badly_that_either_hand_would_do_say_so() -> None:
    """A narrow triangle whose height is less than its error."""
    found = fit([[0, 0], [400, 0], [200, 20]], [[0, 0], [400, 0], [240, 12]])

    assert any("hardly tell" in note for note in found.notes)


@pytest.mark.parametrize("kind", KINDS)
def test_the_kind_that_the_points_need_is_chosen(kind: Kind) -> None:
    """In nineteen of twenty pictures with an error of a pixel, and its reason is told."""
    chosen = [fit(BOARD, noisy(kind, seed)) for seed in range(60)]

    assert sum(one.kind == kind for one in chosen) >= 57
    assert all("leave-one-out" in one.notes[-1] for one in chosen)


@pytest.mark.parametrize(
    ("points", "richest"), [(2, "similarity"), (3, "similarity"), (4, "affine"), (5, "projective")]
)
def test_a_kind_that_cannot_be_judged_is_not_chosen(points: int, richest: Kind) -> None:
    """Whatever it would fit: one point more than it needs must be left to judge it by."""
    board = np.vstack([CORNERS, [430, 140]])[:points]

    chosen = fit(board, shown_truly("projective" if points > 4 else "affine", board))

    assert chosen.kind == richest
    assert any("a further one" in note for note in chosen.notes) == (points in (3, 4))


def test_a_projective_fit_that_hinges_on_two_points_can_still_be_chosen() -> None:
    """Five of seven points near a diagonal: either of the other two cannot be left out, and the note names them."""
    board = np.vstack([BOARD[:6], [480, 360]])

    chosen = fit(board, noisy("projective", 1, points=board))

    assert chosen.kind == "projective"
    assert any("Points 2 and 4 cannot be checked" in note for note in chosen.notes)


@given(seed=seeds, angle=st.floats(0, 7), scale=st.floats(1e-3, 1e3), both=st.booleans(), kind=st.sampled_from(KINDS))
@settings(max_examples=60)
def test_the_choice_does_not_depend_on_how_the_pictures_lie(
    seed: int, angle: float, scale: float, both: bool, kind: Kind
) -> None:
    """Turned, shifted, enlarged or mirrored pictures: the same kind, and errors that are enlarged with the second."""
    shown = noisy(kind, seed)
    turn = turned(angle, scale, (100, -700), mirrored=both)

    plain = fit(BOARD, shown)
    second = fit(BOARD, through(turn, shown))
    first = fit(through(turn, BOARD), shown)

    assert plain.kind == second.kind == first.kind
    assert plain.leave_one_out is not None
    assert plain.leave_one_out * scale == pytest.approx(second.leave_one_out, rel=1e-4)
    assert plain.leave_one_out == pytest.approx(first.leave_one_out, rel=1e-4)
    assert plain.error_at(BOARD) * scale == pytest.approx(second.error_at(BOARD), rel=1e-4)


def test_beyond_the_horizon_there_is_nothing() -> None:
    """NaN for what the camera had behind it, a number for the rest, whichever side the pictures' origins are on."""
    tilt = np.array([[1, 0, 0], [0, 1, 0], [-1e-3, 0, 1]])
    far = np.array([[2_000.0, 100.0], [900.0, 100.0]])
    found = fit(BOARD, through(tilt, BOARD), "projective")
    moved = fit(BOARD - [1_500, 0], through(tilt, BOARD), "projective")

    for one, spots in ((found, far), (moved, far - [1_500, 0])):
        assert np.isnan(one.apply(spots)).any(axis=1).tolist() == [True, False]
        assert np.isnan(one.error_at(spots)).tolist() == [True, False]


def test_a_pictures_origin_may_lie_beyond_the_horizon() -> None:
    """Then the matrix is not scaled to 1 there, and all else is as ever."""
    board = BOARD + np.array([1_500, 0])
    found = fit(board, through(np.array([[1, 0, 0], [0, 1, 0], [1e-3, 0, -1]]), board))

    assert found.kind == "projective"
    assert found.matrix[2] @ [*board.mean(axis=0), 1] == pytest.approx(1)
    assert found.inverse().apply(found.apply(board)) == pytest.approx(board)
    assert np.isnan(found.apply([[0, 0]])).all()
