"""Days as people write them in their lists: read where they can be read in one way only."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.records.list_days import MONTHS, day_in


@pytest.mark.parametrize(
    "written",
    [
        "1981-09-05", "1981-9-5", "1981/09/05", "1981.09.05", "1981-09-05T10:30:00", "1981-09-05 10:30", "5.9.1981",
        "05. 09. 1981", "5 September 1981", "5 sep 1981", "5-Sept-1981", "5th Sep. 1981", "September 5, 1981",
        "Sep 5 1981",
    ],
)  # fmt: skip
def test_a_day_is_read_however_it_is_written(written: str) -> None:
    assert day_in(written) == "1981-09-05"


@pytest.mark.parametrize("written", ["25/12/1981", "12/25/1981"])
def test_slashes_are_read_where_only_one_way_gives_a_day(written: str) -> None:
    assert day_in(written) == "1981-12-25"


def test_slashes_that_can_be_read_in_two_ways_are_refused() -> None:
    with pytest.raises(ValueError, match=r"“04/05/1981” can be read in two ways\. Write the day as year-month-day"):
        day_in("04/05/1981")
    assert day_in("05/05/1981") == "1981-05-05"


@pytest.mark.parametrize("written", ["", "soon", "1981", "5.9.81", "45000", "5 Foo 1981", "1981-09"])
def test_what_is_no_day_stays_as_it_is_written(written: str) -> None:
    assert day_in(written) == written


@given(
    st.dates(min_value=date(1900, 1, 1)), st.sampled_from(["{d}.{m}.{y}", "{y}/{m}/{d}", "{d} {n} {y}", "{n} {d}, {y}"])
)
def test_every_day_comes_back(day: date, shape: str) -> None:
    written = shape.format(d=day.day, m=day.month, y=day.year, n=MONTHS[day.month - 1])

    assert date.fromisoformat(day_in(written)) == day
