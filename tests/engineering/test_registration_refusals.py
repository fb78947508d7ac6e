"""Two pictures of one board: points that carry no fit, refused by their numbers."""

import pickle

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.engineering.errors import EngineeringError
from server.engineering.registration import (
    CoincidentPoints,
    CollinearPoints,
    HorizonBetween,
    Kind,
    NoMapping,
    RegistrationError,
    TooFewPoints,
    UnpairedPoints,
    UnreadablePoints,
    fit,
)
from server.engineering.registration_points import Reals
from tests.engineering.registration_boards import BOARD, CORNERS, KINDS, noisy

seeds = st.integers(0, 2**32 - 1)


def _corners_and(*points: tuple[float, float]) -> Reals:
    return np.vstack([CORNERS, np.array(points, dtype=np.float64).reshape(-1, 2)])


@pytest.mark.parametrize(
    ("first", "second", "kind", "refusal", "field", "places"),
    [
        (CORNERS, CORNERS[:3], None, UnpairedPoints, "to_points", (4,)),
        (CORNERS[:1], CORNERS, None, UnpairedPoints, "from_points", (2, 3, 4)),
        ([], [], None, TooFewPoints, "points", ()),
        (CORNERS[:1], CORNERS[:1], None, TooFewPoints, "points", ()),
        (CORNERS[:2], CORNERS[:2], "affine", TooFewPoints, "points", ()),
        (CORNERS[:3], CORNERS[:3], "projective", TooFewPoints, "points", ()),
        ([[1, 2], [float("nan"), 3], [5, float("inf")]], CORNERS[:3], None, UnreadablePoints, "from_points", (2, 3)),
        (CORNERS, _corners_and((1e10, 0))[1:], None, UnreadablePoints, "to_points", (4,)),
        ([1, 2, 3], CORNERS[:3], None, UnreadablePoints, "from_points", ()),
        (["a", "b"], CORNERS[:2], None, UnreadablePoints, "from_points", ()),
        ([[1, 2], [3]], CORNERS[:2], None, UnreadablePoints, "from_points", ()),
        (np.random.default_rng(1).uniform(0, 9, (201, 2)),) * 2 + (None, UnreadablePoints, "points", ()),
        (_corners_and((610, 22)), BOARD[:5], None, CoincidentPoints, "from_points", (2, 5)),
        (BOARD[:5], _corners_and((620, 455.0001)), None, CoincidentPoints, "to_points", (3, 5)),
        ([[7, 7]] * 3, CORNERS[:3], None, CoincidentPoints, "from_points", (1, 2, 3)),
        ([[0, 0], [100, 50.5], [200, 100]], CORNERS[:3], "affine", CollinearPoints, "from_points", (1, 2, 3)),
        (CORNERS, [[0, 0], [0, 90], [0, 40], [0, 300]], "affine", CollinearPoints, "to_points", (1, 2, 3, 4)),
        ([[0, 0], [50, 80], [100, 0], [200, 1]], CORNERS, "projective", CollinearPoints, "from_points", (1, 3, 4)),
        (
            BOARD[:5],
            [[0, 0], [9, 9], [5, 5], [1, 1], [5, 90]],
            "projective",
            CollinearPoints,
            "to_points",
            (1, 2, 3, 4),
        ),
        (CORNERS, [[0, 0], [400, 0], [120, 100], [0, 300]], "projective", HorizonBetween, "from_points", None),
    ],
)
def test_points_that_carry_no_fit_are_refused_by_number(
    first: Reals,
    second: Reals,
    kind: Kind | None,
    refusal: type[RegistrationError],
    field: str,
    places: tuple[int, ...] | None,
) -> None:
    """So that a page can set the sentence beside the rows; and the sentence names them too."""
    with pytest.raises(refusal) as caught:
        fit(first, second, kind)

    found = caught.value
    assert isinstance(found, EngineeringError)
    assert field == found.field
    assert places is None or places == found.places
    assert all(str(place) in found.sentence for place in found.places)
    again = pickle.loads(pickle.dumps(found))  # noqa: S301
    assert (str(found), found.places) == (str(again), again.places)


def test_the_horizon_sets_the_fewer_points_apart() -> None:
    """A corner of the board pushed in across the diagonal: no camera sees that, and one corner is behind it."""
    with pytest.raises(HorizonBetween) as caught:
        fit(CORNERS, [[0, 0], [400, 0], [120, 100], [0, 300]], "projective")

    assert len(caught.value.places) == 1
    assert "horizon" in caught.value.sentence


def test_a_point_beyond_the_horizon_of_the_way_back_is_refused() -> None:
    """Points so badly marked that one, in the second picture, lies where no spot of the board is seen."""
    random = np.random.default_rng(608)
    points = random.uniform(0, 600, (7, 2)).round()

    with pytest.raises(HorizonBetween) as caught:
        fit(points, points + random.normal(0, 77, points.shape), "projective")

    assert caught.value.field == "to_points"
    assert caught.value.places == (3,)


def test_pictures_that_do_not_go_together_are_refused() -> None:
    """A mirrored square held to be unmirrored is shrunk to a spot by the fit."""
    square = np.array([[0, 0], [100, 0], [100, 100], [0, 100]])

    with pytest.raises(NoMapping, match="same order"):
        fit(square, square * [-1, 1], "similarity", mirrored=False)


def test_a_word_that_is_no_kind_is_refused() -> None:
    """Beside the field it came from."""
    with pytest.raises(RegistrationError, match="'bent'") as caught:
        fit(CORNERS, CORNERS, "bent")  # type: ignore[arg-type]

    assert caught.value.field == "kind"


@pytest.mark.parametrize("ask", ["apply", "error_at"])
def test_a_spot_that_is_no_pair_of_numbers_is_refused(ask: str) -> None:
    """With its number; no spots at all are no fault."""
    found = fit(BOARD, noisy("affine", 1))

    with pytest.raises(UnreadablePoints) as caught:
        getattr(found, ask)([[1, 2], [np.nan, 2]])

    assert caught.value.places == (2,)
    assert getattr(found, ask)([]).shape[0] == 0


@given(seed=seeds, size=st.floats(0, 300), count=st.integers(2, 9), kind=st.sampled_from([None, *KINDS]))
@settings(max_examples=150)
def test_whatever_the_points_are_there_is_a_finite_fit_or_a_refusal(
    seed: int, size: float, count: int, kind: Kind | None
) -> None:
    """Down to points that have nothing to do with one another."""
    random = np.random.default_rng(seed)
    points = random.uniform(0, 600, (count, 2)).round()
    try:
        found = fit(points, points + random.normal(0, size, points.shape), kind)
    except RegistrationError:
        return

    assert np.isfinite(found.matrix).all()
    assert np.isfinite(found.residuals).all()
    assert np.isfinite(found.inverse().residuals).all()
    assert not np.isnan(found.error_at(points)).any()
