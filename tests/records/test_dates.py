"""Days that are only known roughly: what they allow, and that none of them upsets the record."""

from datetime import date

import pytest

from server.records.dates import FIRST_DAY, LAST_DAY, check_made, made_span


@pytest.mark.parametrize(
    ("text", "first", "last"),
    [
        # ISO 8601-2:2019, EDTF levels 0 and 1; the days by the calendar.
        ("1985-04-12", date(1985, 4, 12), date(1985, 4, 12)),
        ("1980-02", date(1980, 2, 1), date(1980, 2, 29)),
        ("1981", date(1981, 1, 1), date(1981, 12, 31)),
        ("198X", date(1980, 1, 1), date(1989, 12, 31)),
        ("1979/1981", date(1979, 1, 1), date(1981, 12, 31)),
        ("1985/..", date(1985, 1, 1), LAST_DAY),
        ("1985/", date(1985, 1, 1), LAST_DAY),
        ("../1985", FIRST_DAY, date(1985, 12, 31)),
        ("/1985", FIRST_DAY, date(1985, 12, 31)),
    ],
)
def test_a_date_allows_the_days_that_it_names(text: str, first: date, last: date) -> None:
    """Its first and its last; an end that is open or not known allows everything."""
    assert (first, last) == made_span(text)


def test_about_a_year_takes_in_the_years_beside_it() -> None:
    """How wide about is, the standard leaves open: a year either way is a choice."""
    assert (date(1980, 1, 1), date(1982, 12, 31)) == made_span("1981~")


@pytest.mark.parametrize("text", ["", "long ago", "1979-02-29", "1985/1981", "1952-23~/1953", "/..", "../", "-1984-1X"])
def test_what_tells_no_days_allows_none(text: str) -> None:
    """Neither refused with a fault of the program, nor taken for some day."""
    assert made_span(text) is None


@pytest.mark.parametrize("text", ["/..", "../", "-1984-1X", "long ago"])
def test_what_cannot_be_read_is_answered_in_words(text: str) -> None:
    """Forms of the standard that its reader stumbles over as well."""
    assert check_made(text).startswith("Write it as a year")


@pytest.mark.parametrize("text", ["-0009", "Y170000002", "XXXX"])
def test_days_stay_within_what_can_be_reckoned_with(text: str) -> None:
    """A year before the calendar's or far ahead is moved to its end."""
    span = made_span(text)

    assert span
    assert FIRST_DAY <= span[0] <= span[1] <= LAST_DAY
