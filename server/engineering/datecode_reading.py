"""What a date code can mean: the days it spans, and the calendar rules that give them.

    ISO week n of a year       Monday to Sunday, week 1 holds the year's first Thursday; 52 or 53 weeks
    counted week n of a year   starts on 1 January + 7(n - 1); week 53 is the stub of one or two days

Makers used either week rule and said which nowhere, so both are kept apart. All days are `datetime.date`, both ends
included. A span that does not exist is None, never an error. Source: ISO 8601-1:2019 for its weeks; the counted
week is common practice, no source.
"""

from calendar import monthrange
from dataclasses import dataclass
from datetime import date, timedelta

from server.engineering.errors import EngineeringError

Span = tuple[date, date]

_MONTH_NAMES = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


class DateCodeError(EngineeringError):
    """A question about date codes that cannot be answered; carries the value at fault as `value`."""

    def __init__(self, sentence: str, value: object, *, field: str | None = None) -> None:
        super().__init__(sentence, field=field)
        self.value = value


@dataclass(frozen=True)
class Reading:
    """One thing that a date code can mean.

    `earliest` and `latest` are the first and last day that it allows; `scheme` names the way of reading
    (`yyww_iso`, `wwyy_count`, ...); `why` says it in words. `type_number` is a warning where the same digits are
    also a chip's type number, otherwise None.
    """

    earliest: date
    latest: date
    scheme: str
    why: str
    type_number: str | None = None


def iso_week(year: int, week: int) -> Span | None:
    """Monday and Sunday of a week by ISO 8601; None if that year has no such week."""
    try:
        monday = date.fromisocalendar(year, week, 1)
    except ValueError:
        return None
    return monday, monday + timedelta(days=6)


def counted_week(year: int, week: int) -> Span | None:
    """First and last day of a week counted from 1 January; the 53rd stops on 31 December. None if there is none."""
    if not 1 <= week <= 53:
        return None
    first = date(year, 1, 1) + timedelta(days=7 * (week - 1))
    return first, min(first + timedelta(days=6), date(year, 12, 31))


def month(year: int, number: int) -> Span | None:
    """First and last day of a month, 1 to 12; None for another number."""
    if not 1 <= number <= 12:
        return None
    return date(year, number, 1), date(year, number, monthrange(year, number)[1])


def whole_year(year: int) -> Span:
    """1 January and 31 December."""
    return date(year, 1, 1), date(year, 12, 31)


def month_name(number: int) -> str:
    """The English name of a month, whatever language the machine is set to."""
    return _MONTH_NAMES[number - 1]
