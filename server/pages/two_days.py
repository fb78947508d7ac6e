"""One machine on two days, side by side: what came between them and what went."""

from dataclasses import dataclass
from datetime import date, timedelta
from urllib.parse import urlencode

from starlette.responses import Response

from server.pages.forms import Form, number_of
from server.pages.house import House
from server.pages.machines import address, sections
from server.records.placing import describe
from server.records.questions.addresses import find_machine
from server.records.questions.states import SeatChange
from server.records.questions.two_days import PageNumbers, TwoDays, two_days
from server.records.tables import Machine, Part


@dataclass(frozen=True, slots=True)
class SeatLine:
    """One position that holds another part, in words."""

    change: SeatChange
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class TwoDaysPage:
    """A machine at the end of two days. `said` are words about the days themselves; `form` chooses others.

    `pages` are the addresses of the three lists, each up to its page's number.
    """

    machine: Machine
    tabs: list[tuple[str, str]]
    days: TwoDays
    seats: list[SeatLine]
    said: list[str]
    form: Form
    pages: dict[str, str]


def day_of(text: str) -> date | None:
    """A day as it stands in an address, or none; the very last is not taken, for nothing comes after it."""
    try:
        return min(date.fromisoformat(text.strip()), date.max - timedelta(days=1))
    except ValueError:
        return None


def two_days_page(house: House, tag: str, asked: date, other: date) -> Response:
    numbers = PageNumbers(**{name: _page(house, param) for name, param in PAGES.items()})
    with house.reading() as session:
        machine = find_machine(session, tag)
        days = two_days(session, machine, asked, other, numbers)
    context = TwoDaysPage(
        machine=machine,
        tabs=sections(machine),
        days=days,
        seats=[SeatLine(line, _told(line.before), _told(line.after)) for line in days.seats.rows],
        said=list(_said(asked, other)),
        form=Form.blank(day=days.earlier, against=days.later),
        pages=_addresses(machine, days),
    )
    return house.page("journal/two_days.html", context)


PAGES = {"seats": "page", "mods": "mods", "steps": "steps"}


def _page(house: House, name: str) -> int:
    return max(1, number_of(house.request.query_params.get(name, "")) or 1)


def _addresses(machine: Machine, days: TwoDays) -> dict[str, str]:
    """Each keeps the pages at which the other lists stand, and comes back to its own."""
    stand = {"seats": days.seats.number, "mods": days.mods.number, "steps": days.steps.number}
    base = f"{address(machine)}/on/{days.earlier}?against={days.later}"
    return {
        name: f"{base}&{urlencode({PAGES[other]: stand[other] for other in PAGES if other != name})}&{PAGES[name]}="
        for name in PAGES
    }


def _told(part: Part | None) -> str:
    return describe(part) if part else ""


def _said(asked: date, other: date) -> list[str]:
    """What is to be said of the days before what lies between them."""
    today = date.today()  # noqa: DTZ011 (the keeper's own calendar day)
    said = []
    if asked == other:
        said.append("Both are the same day, so nothing can differ. Choose another for one of them.")
    if asked > other:
        said.append("The later day was named first. Here they stand in the order of time.")
    to_come = sorted({day for day in (asked, other) if day > today})
    if to_come:
        said.append(
            f"{' and '.join(map(str, to_come))} {'is' if len(to_come) == 1 else 'are'} still to come: "
            "the record shows it as the machine stands today."
        )
    return said
