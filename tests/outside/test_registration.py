"""Two pictures of one board against outside values: `data/registration.json` names the source beside each case.

Maps made and found again, least squares by other routes, leave-one-out errors refitted, refusals; and scikit-image's
estimates (its `transform` module, release 0.26) on random points marked with an error. Its similarity is the least
squares one; its affine and projective estimates minimise an algebraic distance, so ours must never leave more.
"""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from skimage.transform import AffineTransform, ProjectiveTransform, SimilarityTransform

from server.engineering.registration import (
    CollinearPoints,
    Kind,
    RegistrationError,
    TooFewPoints,
    UnreadablePoints,
    fit,
)
from server.engineering.registration_points import Reals

_CASES: dict[str, dict[str, Any]] = {
    case["case_id"]: case
    for case in json.loads(Path(__file__).with_name("data").joinpath("registration.json").read_text("utf-8"))["cases"]
}
_REFUSALS: dict[str, tuple[type[RegistrationError], tuple[int, ...]]] = {
    "refuse_collinear_affine": (CollinearPoints, (1, 2, 3, 4)),
    "refuse_collinear_projective_three": (CollinearPoints, (1, 2, 3)),
    "refuse_too_few_similarity": (TooFewPoints, ()),
    "refuse_nan": (UnreadablePoints, (3,)),
}
_MADE = [name for name, case in _CASES.items() if "max_residual" in case["expected"]]
_NOISY = [name for name in _CASES if name.startswith("noisy_")]
_CHOICES = [name for name in _CASES if name.startswith("choose_model_")]
_ONE_BY_ONE = ["similarity_cannot_mirror", "one_bad_point", "collinear_similarity_is_fine"]


def _points(case: dict[str, Any]) -> tuple[Reals, Reals]:
    given = case["inputs"]
    return np.array(given["from_points"]), np.array(given["to_points"])


def test_every_case_is_used() -> None:
    """So that none of the file is decoration."""
    assert sorted(_CASES) == sorted([*_MADE, *_NOISY, *_CHOICES, *_REFUSALS, *_ONE_BY_ONE])


@pytest.mark.parametrize("name", _MADE)
def test_a_map_that_made_the_points_is_found_again(name: str) -> None:
    """There and back."""
    case = _CASES[name]

    found = fit(*_points(case), case["inputs"]["kind"])

    tolerance = case["tolerance"]["matrix_abs"]
    assert case["expected"]["matrix"] == pytest.approx(found.matrix, abs=tolerance)
    assert case["expected"]["inverse"] == pytest.approx(found.inverse().matrix, abs=tolerance)
    assert case["expected"]["mirrored"] == found.mirrored
    assert case["expected"]["max_residual"] == pytest.approx(
        found.residuals.max(), abs=case["tolerance"]["residual_abs"]
    )


@pytest.mark.parametrize("name", _NOISY)
def test_least_squares_by_other_routes_agree(name: str) -> None:
    """Matrix, residuals and leave-one-out errors of points marked with an error."""
    case = _CASES[name]
    expected, kind = case["expected"], case["inputs"]["kind"]
    rel = case["tolerance"]["projective_rel" if kind == "projective" else "rel"]

    found = fit(*_points(case), kind)

    assert expected["matrix"] == pytest.approx(found.matrix, rel=rel)
    assert expected["residuals"] == pytest.approx(found.residuals, rel=rel)
    assert expected["rms"] == pytest.approx(found.residual_rms, rel=rel)
    assert expected["leave_one_out"] == pytest.approx(found.leave_one_out, rel=rel)


@pytest.mark.parametrize("name", _NOISY)
def test_algebraic_estimates_lie_near_and_leave_more(name: str) -> None:
    """The printed matrices of scikit-image: within a twentieth of a pixel over the points, and never the better."""
    case = _CASES[name]
    first, second = _points(case)
    expected = case["expected"]
    matrix = np.array(expected.get("scikit_image_matrix", expected.get("algebraic_normalised_matrix")))
    found = fit(first, second, case["inputs"]["kind"])

    algebraic = _through(matrix, first)

    rms = float(np.sqrt(np.mean(np.sum((algebraic - second) ** 2, axis=1))))
    assert algebraic == pytest.approx(found.apply(first), abs=0.05)
    assert found.residual_rms <= rms
    assert expected.get("algebraic_rms", rms) == pytest.approx(rms, rel=1e-6)


@pytest.mark.parametrize("name", _CHOICES)
def test_the_simplest_kind_that_is_supported_is_chosen(name: str) -> None:
    """By leave-one-out errors that agree with the refitted ones."""
    case = _CASES[name]
    points = _points(case)

    errors = {kind: fit(*points, kind).leave_one_out_rms for kind in case["expected"]["rms_leave_one_out"]}

    assert case["expected"]["rms_leave_one_out"] == pytest.approx(errors, rel=case["tolerance"]["rel"])
    assert case["expected"]["simplest_supported"] == fit(*points).kind


def test_an_unmirrored_similarity_of_a_mirrored_picture_says_so() -> None:
    """Held to be unmirrored it is the closed form's, with its large residuals; left free it is mirrored and exact."""
    case = _CASES["similarity_cannot_mirror"]
    points, expected = _points(case), case["expected"]

    held = fit(*points, "similarity", mirrored=False)
    free = fit(*points, "similarity")
    affine = fit(*points, "affine")

    assert expected["matrix"] == pytest.approx(held.matrix, rel=case["tolerance"]["rel"])
    assert expected["rms"] == pytest.approx(held.residual_rms, rel=case["tolerance"]["rel"])
    assert held.mirrored is False
    assert any("fit better if the second picture is mirrored" in note for note in held.notes)
    assert expected["affine_mirrored"] == affine.mirrored == free.mirrored
    assert expected["affine_max_residual"] == pytest.approx(affine.residuals.max(), abs=1e-9)
    assert free.residuals.max() < 1e-9


def test_a_misplaced_point_stands_out() -> None:
    """Left out, the others are exact, so that its error is the whole of its displacement."""
    case = _CASES["one_bad_point"]
    expected, rel = case["expected"], case["tolerance"]["rel"]

    found = fit(*_points(case), case["inputs"]["kind"])

    assert found.leave_one_out is not None
    assert expected["worst_index"] == int(np.argmax(found.leave_one_out))
    assert expected["leave_one_out"] == pytest.approx(found.leave_one_out, rel=rel)
    assert expected["leave_one_out_at_3"] == pytest.approx(found.leave_one_out[3], rel=rel)
    assert np.hypot(25, 18) == pytest.approx(found.leave_one_out[3], rel=rel)


@pytest.mark.parametrize("name", _REFUSALS)
def test_points_that_carry_no_fit_are_refused(name: str) -> None:
    """With the numbers of those at fault."""
    case = _CASES[name]
    first = np.array(case["inputs"]["from_points"], dtype=np.float64)
    refusal, places = _REFUSALS[name]
    assert case["inputs"]["to_points"] == "the same points shifted by (5, 5)"
    assert case["expected"]["must"].startswith("refuse")

    with pytest.raises(refusal) as caught:
        fit(first, first + 5, case["inputs"]["kind"])

    assert places == caught.value.places


def test_points_on_a_line_carry_a_similarity() -> None:
    """It needs no more than two distinct ones, though they cannot tell whether it is mirrored."""
    case = _CASES["collinear_similarity_is_fine"]

    found = fit(*_points(case), case["inputs"]["kind"])

    assert case["expected"]["must"].startswith("accept")
    assert case["expected"]["matrix"] == pytest.approx(found.matrix, abs=case["tolerance"]["matrix_abs"])
    assert found.mirrored is None


@pytest.mark.parametrize("count", [5, 8, 20])
@pytest.mark.parametrize("kind", ["similarity", "affine", "projective"])
def test_scikit_image_finds_the_same_map(kind: Kind, count: int) -> None:
    """On 20 boards each, marked to 0.5 px: its similarity all but exactly, its other two never leaving less."""
    random = np.random.default_rng(count)
    for _ in range(20):
        first, second = _marked(random, kind, count)
        found = fit(first, second, kind)

        theirs = _scikit_image(kind, first, second)

        apart = np.hypot(*(_through(theirs, first) - found.apply(first)).T).max()
        left = float(np.sqrt(np.mean(np.sum((_through(theirs, first) - second) ** 2, axis=1))))
        assert found.residual_rms <= left * (1 + 1e-9)
        assert apart < (1e-6 if kind == "similarity" else 0.25)


def test_scikit_image_finds_the_same_mirrored_map() -> None:
    """Given the first picture turned about, as it knows no mirrored similarity."""
    random = np.random.default_rng(3)
    first, second = _marked(random, "similarity", 8)
    theirs = _scikit_image("similarity", first, second)

    found = fit(first * [-1, 1], second, "similarity")

    assert found.mirrored is True
    assert theirs @ np.diag([-1, 1, 1]) == pytest.approx(found.matrix, rel=1e-9)


def _marked(random: np.random.Generator, kind: Kind, count: int) -> tuple[Reals, Reals]:
    """Points spread over a picture, and where a random map of the kind shows them, to half a pixel."""
    first = random.uniform((0, 0), (640, 480), (count, 2))
    angle, scale = random.uniform(0, 7), random.uniform(0.5, 2)
    matrix = np.eye(3)
    matrix[:2, :2] = scale * np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    matrix[:2, 2] = random.uniform(-500, 500, 2)
    if kind != "similarity":
        matrix[:2, :2] += random.uniform(-0.2, 0.2, (2, 2))
    if kind == "projective":
        matrix[2, :2] = random.uniform(-3e-4, 3e-4, 2)
    return first, _through(matrix, first) + random.normal(0, 0.5, first.shape)


def _scikit_image(kind: Kind, first: Reals, second: Reals) -> Reals:
    transforms: dict[Kind, Any] = {
        "similarity": SimilarityTransform,
        "affine": AffineTransform,
        "projective": ProjectiveTransform,
    }
    estimated = transforms[kind].from_estimate(first, second)
    assert estimated
    return np.asarray(estimated.params, dtype=np.float64)


def _through(matrix: Reals, points: Reals) -> Reals:
    whole = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return np.asarray(whole[:, :2] / whole[:, 2:])
