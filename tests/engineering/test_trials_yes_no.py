"""Yes-or-no observations: what is said of them and which counts are refused."""

import pytest

from server.engineering.trials import ReadingsError, compare_yes_no


def test_a_fault_gone_is_told_with_its_counts_and_p() -> None:
    """8 in 10 before, none in 10 after (p by Fisher's exact test: 2 · 45 / 125,970)."""
    comparison = compare_yes_no((8, 10), (0, 10))

    assert comparison.verdict == "less often"
    assert pytest.approx(2 * 45 / 125_970) == comparison.p
    assert comparison.sentence == (
        "Less often: yes 0 of 10 times (0 to 28 % at 95 %) after, against 8 of 10 times (49 to 94 % at 95 %) before "
        "(Fisher's exact test, p = 0.00071)."
    )


def test_a_yes_that_became_common_is_more_often() -> None:
    """Whether that is welcome is for the reader to say."""
    comparison = compare_yes_no((1, 20), (19, 20))

    assert comparison.verdict == "more often"
    assert comparison.before.share == 0.05
    assert comparison.after.low < 0.95 < comparison.after.high


def test_a_few_observations_show_no_difference() -> None:
    """Once in three against never in three proves nothing, and the sentence says so."""
    comparison = compare_yes_no((1, 3), (0, 3))

    assert comparison.verdict == "no difference shown"
    assert comparison.p == 1
    assert comparison.sentence.endswith("That does not prove that nothing changed.")


@pytest.mark.parametrize(
    ("before", "after", "field"),
    [
        ((1, 0), (1, 2), "before"),
        ((3, 2), (1, 2), "before"),
        ((1, 2), (-1, 2), "after"),
        ((1, 2), (1.0, 2), "after"),
        ((True, 2), (1, 2), "before"),
        ((1, 2), (1, 1_000_001), "after"),
    ],
)
def test_impossible_counts_are_refused(before: tuple[int, int], after: tuple[int, int], field: str) -> None:
    """Whole numbers, not more yes than occasions, at least one occasion and at most 1,000,000."""
    with pytest.raises(ReadingsError) as refusal:
        compare_yes_no(before, after)

    assert field == refusal.value.field
    assert str(refusal.value).startswith(field.capitalize())
