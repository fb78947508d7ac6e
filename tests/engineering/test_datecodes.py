"""Readings of date codes: order, context, look-alikes and refusals."""

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.engineering.datecode_reading import counted_week, iso_week, month
from server.engineering.datecodes import SCHEMES, DateCodeError, decode, type_number
from server.engineering.errors import EngineeringError

_DAYS = st.dates(date(1950, 1, 1), date(2049, 12, 31))
_PRINTED = st.one_of(
    st.from_regex(r"[0-9]{3,4}[A-Z]?", fullmatch=True),
    st.from_regex(r"[IVX]{1,4}[ ./-][0-9]{2}", fullmatch=True),
    st.from_regex(r"[A-Z][1-9OND]", fullmatch=True),
    st.text(max_size=6),
)


def test_year_and_week_come_before_year_and_month() -> None:
    """`8209` is week 9 of 1982 rather than September: year-week is what most chips carry."""
    schemes = [reading.scheme for reading in decode("8209")]

    assert schemes == ["yyww_iso", "yyww_count", "yymm"]


def test_a_reading_from_the_age_of_the_machines_comes_before_one_from_long_after() -> None:
    """Where the context leaves two centuries open, both week rules of 1983 come before those of 2083."""
    readings = decode("8342", date(1980, 1, 1), date(2090, 12, 31))

    assert [reading.earliest.year for reading in readings] == [1983, 1983, 2083, 2083]


def test_a_year_alone_comes_before_a_week_and_year() -> None:
    """`1979` is a year before it is week 19 of 1979."""
    schemes = [reading.scheme for reading in decode("1979")]

    assert schemes == ["yyyy", "wwyy_iso", "wwyy_count"]


def test_both_week_rules_say_in_words_which_they_are() -> None:
    """Readings of one code differ in their reasons, not only in their days."""
    iso, counted = decode("8342")

    assert iso.why == "week 42 of 1983, year before week, in ISO weeks, Monday to Sunday"
    assert counted.why == "week 42 of 1983, year before week, in weeks counted from 1 January"


def test_a_one_digit_year_starts_with_the_seventies() -> None:
    """Without context the decades are 1970s, 1980s, 1960s, 1990s."""
    years = [reading.earliest.year for reading in decode("832")][::2]

    assert years == [1978, 1988, 1968, 1998]


def test_context_narrows_a_one_digit_year_to_its_decade() -> None:
    """A machine of 1981 that came out in 1976 leaves 1978 for the digit 8."""
    readings = decode("832", date(1976, 1, 1), date(1984, 12, 31))

    assert {reading.earliest.year for reading in readings} == {1978}


def test_a_reading_that_reaches_into_the_context_is_kept_whole() -> None:
    """ISO week 1 of 1980 starts on 31 December 1979, and the code's days are not clipped to the context."""
    readings = decode("8001", not_after=date(1979, 12, 31))

    assert [(r.scheme, r.earliest, r.latest) for r in readings] == [("yyww_iso", date(1979, 12, 31), date(1980, 1, 6))]


def test_an_open_context_does_not_bring_in_another_century() -> None:
    """A 1978 code on a part that cannot be older than 1980 has no reading; 2078 is no reading of it."""
    assert decode("7830", not_before=date(1980, 1, 1)) == []


def test_context_can_move_the_century() -> None:
    """`4530` is 2045 by default and 1945 where the context says so."""
    usual = decode("4530", schemes=["yyww_iso"])
    wartime = decode("4530", not_after=date(1950, 1, 1), schemes=["yyww_iso"])

    assert {reading.earliest.year for reading in usual} == {2045}
    assert {reading.earliest.year for reading in wartime} == {1945}


def test_a_context_that_ends_before_it_begins_is_refused() -> None:
    """The refusal carries both days."""
    with pytest.raises(DateCodeError, match="wrong way round") as refusal:
        decode("8342", date(1985, 1, 1), date(1980, 1, 1))

    assert refusal.value.value == (date(1985, 1, 1), date(1980, 1, 1))
    assert isinstance(refusal.value, EngineeringError)


def test_an_unknown_scheme_is_refused() -> None:
    """A misspelt scheme would otherwise look like a code without readings."""
    with pytest.raises(DateCodeError, match="yyyw"):
        decode("8342", schemes=["yyyw"])


def test_only_the_schemes_asked_for_are_read() -> None:
    """A maker known to print year and month is read so."""
    readings = decode("8209", schemes=["yymm"])

    assert [reading.why for reading in readings] == ["September 1982, year before month"]


@pytest.mark.parametrize("text", ["VII83", "vii 83", "83 VII", "VII.83", "83-VII"])
def test_a_roman_month_is_read_on_either_side_of_its_year(text: str) -> None:
    """The numeral cannot be taken for a year, so its side does not matter."""
    readings = decode(text)

    assert [(r.earliest, r.latest) for r in readings] == [(date(1983, 7, 1), date(1983, 7, 31))]


@pytest.mark.parametrize(
    "text", ["V83", "83V", "X80", "D8342", "8342AB", "8 342", "８３４２", "83", "83.4", "VIIII 83"]
)
def test_what_could_be_anything_has_no_reading(text: str) -> None:
    """A letter run together with a year, a prefix of a type number, foreign digits: an empty list and no guess."""
    assert decode(text) == []


@pytest.mark.parametrize("text", ["7432", "7432N", "8049", "2114L", "6502", "6821", "741", "4011", "2716", "5404"])
def test_a_type_number_with_its_suffix_is_flagged(text: str) -> None:
    """A package letter after a type number looks like a lot letter after a date."""
    readings = decode(text)

    assert all("type number" in (reading.type_number or "") for reading in readings)
    assert type_number(text[:4].rstrip("NL")) is not None


@pytest.mark.parametrize("text", ["8342", "7901", "8632", "832", "VII 83"])
def test_a_plain_date_is_not_flagged(text: str) -> None:
    """The warning means something only if it is not on everything."""
    assert [reading.type_number for reading in decode(text)] == [None] * len(decode(text))


@settings(max_examples=100, deadline=None)
@given(_PRINTED, _DAYS, _DAYS)
def test_readings_touch_the_context(text: str, one: date, other: date) -> None:
    """Whatever is printed, a reading has its days in order and shares at least one with the context."""
    first, last = min(one, other), max(one, other)

    readings = decode(text, first, last, schemes=SCHEMES)

    assert all(reading.earliest <= reading.latest for reading in readings)
    assert all(reading.earliest <= last and reading.latest >= first for reading in readings)


@settings(max_examples=100, deadline=None)
@given(_PRINTED)
def test_context_only_ever_removes_readings_of_the_usual_years(text: str) -> None:
    """Inside 1960 to 1999 a narrower context gives a subset of what no context gives, in the same order."""
    freely = decode(text)

    narrowed = decode(text, date(1970, 1, 1), date(1989, 12, 31))

    assert narrowed == [reading for reading in freely if reading in narrowed]


@settings(max_examples=100, deadline=None)
@given(_DAYS)
def test_a_day_is_inside_the_reading_of_its_own_code(day: date) -> None:
    """The code a maker would print for a day reads back to a span that holds that day."""
    iso_year, week, _ = day.isocalendar()
    counted = (day.timetuple().tm_yday - 1) // 7 + 1

    by_iso = decode(f"{iso_year % 100:02}{week:02}", schemes=["yyww_iso"])
    by_count = decode(f"{counted:02}{day.year % 100:02}", schemes=["wwyy_count"])

    in_iso_range = 1950 <= iso_year <= 2049
    assert not in_iso_range or any(r.earliest <= day <= r.latest for r in by_iso)
    assert any(r.earliest <= day <= r.latest for r in by_count)


@settings(max_examples=50, deadline=None)
@given(st.integers(1950, 2049))
def test_counted_weeks_cover_a_year_without_gap(year: int) -> None:
    """53 counted weeks, the last a stub, add up to the days of the year."""
    weeks = [counted_week(year, number) for number in range(1, 54)]

    days = sum((last - first).days + 1 for first, last in filter(None, weeks))
    assert days == (date(year, 12, 31) - date(year, 1, 1)).days + 1


@pytest.mark.parametrize(("year", "number"), [(1980, 0), (1980, 54), (1980, -1)])
def test_weeks_and_months_that_do_not_exist_have_no_days(year: int, number: int) -> None:
    """Absent, and not an error: the caller simply has one reading fewer."""
    assert iso_week(year, number) is None
    assert counted_week(year, number) is None
    assert month(year, number) is None
