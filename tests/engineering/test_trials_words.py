"""What a comparison says: no more digits than the uncertainty lets stand, and each shape of answer in words."""

import pytest

from server.engineering.comparison_words import chance, percent, shown
from server.engineering.trials import compare


@pytest.mark.parametrize(
    ("value", "uncertainty", "expected"),
    [
        (707.3333, 1.69, "707.3"),
        (707.3333, 0.29, "707.33"),
        (12345.0, 520.0, "12340"),
        (-0.0001, 0.2, "0.00"),
        (1459.0, None, "1459"),
        (1 / 3, None, "0.3333333333"),
        (2e30, 1.0, "2e+30"),
    ],
)
def test_a_figure_has_the_digits_its_uncertainty_lets_stand(
    value: float, uncertainty: float | None, expected: str
) -> None:
    """To the second significant digit of the uncertainty; as it was read without one."""
    assert expected == shown(value, uncertainty)


@pytest.mark.parametrize(
    ("value", "expected"), [(51.519, "51.5 %"), (106.27, "106 %"), (99.97, "100 %"), (0.1234, "0.123 %")]
)
def test_percents_have_three_digits(value: float, expected: str) -> None:
    """Enough to tell two mods apart, not enough to boast."""
    assert expected == percent(value)


@pytest.mark.parametrize(("p", "expected"), [(0.0351, "= 0.035"), (1.0, "= 1"), (4.9e-6, "below 0.0001")])
def test_a_very_small_p_is_bounded(p: float, expected: str) -> None:
    """Its digits depend on a tail that nobody has seen."""
    assert expected == chance(p)


def test_farther_from_the_target_is_told_as_such() -> None:
    """Worse by nearness."""
    comparison = compare([5.05, 5.06, 5.04], [5.3, 5.31, 5.29], "nearest", 0.01, target=5.0)

    assert comparison.sentence.startswith("Worse: 0.3000 from the target of 5 on average after, against 0.0500 before")
    assert "6 times farther off" in comparison.sentence


def test_without_scatter_or_resolution_the_sentence_asks_for_them() -> None:
    """It gives the ratio and no bounds."""
    comparison = compare([1459 / 60] * 3, [707 / 60] * 3, "lower")

    assert comparison.sentence.startswith("Cannot say, with neither scatter nor resolution known: ")
    assert "(ratio 2.06)" in comparison.sentence
    assert "at 95 %" not in comparison.sentence


@pytest.mark.parametrize(
    ("value", "uncertainty", "told"),
    [
        (12.345, 0.0999, "12.35"),
        (12.345, 0.0994, "12.345"),
        (12.345, 0.1, "12.35"),
        (12.345, 9.96, "12"),
        (0.0, 0.5, "0.00"),
    ],
)
def test_a_figure_is_told_to_two_digits_of_its_uncertainty(value: float, uncertainty: float, told: str) -> None:
    """As the uncertainty is rounded: 0.0999 is told as 0.10, and so are its figures."""
    assert shown(value, uncertainty) == told
