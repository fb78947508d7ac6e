"""What time it is, asked here and nowhere else: whoever tests what a day changes sets this one clock."""

from datetime import UTC, date, datetime


def now() -> datetime:
    """This moment in UTC."""
    return datetime.now(UTC)


def today() -> date:
    """The keeper's own calendar day: the day where this program runs, not the day in Greenwich."""
    return date.today()  # noqa: DTZ011
