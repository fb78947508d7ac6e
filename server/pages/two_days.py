"""One machine on two days, side by side: what came between them and what went."""

from dataclasses import dataclass
from datetime import date
from urllib.parse import urlencode

from starlette.responses import Response

from server.pages.forms import Form, number_of
from server.pages.house import House
from server.pages.machines import address, sections
from server.records import clock
from server.records.commands.base import words
from server.records.placing import describe
from server.records.questions.addresses import find_machine
from server.records.questions.hazards import cautions_for
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
    cautions: list[str]
    days: TwoDays
    seats: list[SeatLine]
    said: list[str]
    form: Form
    pages: dict[str, str]


def day_of(text: str) -> date | None:
    """A day as it stands in an address, or none."""
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        return None


def two_days_page(house: House, tag: str, asked: date, other: date) -> Response:
    numbers = PageNumbers(**{name: _page(house, param) for name, param in PAGES.items()})
    with house.reading() as session:
        machine = find_machine(session, tag)
        days = two_days(session, machine, asked, other, numbers)
        warned = cautions_for(session, machine)
    context = TwoDaysPage(
        machine=machine,
        tabs=sections(machine),
        cautions=warned,
        days=days,
        seats=[SeatLine(line, *_told(line.before, line.after)) for line in days.seats.rows],
        said=[*_order(asked, other), *said_of_days(machine, asked, other)],
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


TOLD_APART_BY = ("date_code", "marking", "maker_mark", "rating", "condition", "pedigree")


def _told(before: Part | None, after: Part | None) -> tuple[str, str]:
    """Two parts in few words; those that are called the same are told apart by what differs, or by their numbers."""
    names = [describe(part) if part else "" for part in (before, after)]
    if not before or not after or names[0] != names[1]:
        return names[0], names[1]
    differing = [name for name in TOLD_APART_BY if getattr(before, name) != getattr(after, name)]
    more = [[_said_by(part, name) for name in differing] for part in (before, after)]
    if before.origin != after.origin:
        more = [[f"origin {part.origin}", *said] for part, said in zip((before, after), more, strict=True)]
    if not more[0]:
        more = [[f"part {part.key} of the record"] for part in (before, after)]
    return f"{names[0]}, {', '.join(more[0])}", f"{names[1]}, {', '.join(more[1])}"


def _said_by(part: Part, name: str) -> str:
    text = getattr(part, name)
    return f"{words(name)} {text}" if text else f"no {words(name)} noted"


def _order(asked: date, other: date) -> list[str]:
    """What is to be said of two days before what lies between them."""
    if asked == other:
        return ["Both are the same day, so nothing can differ. Choose another for one of them."]
    if asked > other:
        return ["The later day was named first. Here they stand in the order of time."]
    return []


def said_of_days(machine: Machine, *asked: date) -> list[str]:
    """What is to be said of days of which the record can tell less than it seems: before it came in, and to come."""
    today = clock.today()
    said = []
    came = machine.acquired_on
    if came and any(day < came for day in asked):
        said.append(f"It came in on {came}; what is shown of a day before is what it came with.")
    to_come = sorted({day for day in asked if day > today})
    if to_come:
        said.append(
            f"{' and '.join(map(str, to_come))} {'is' if len(to_come) == 1 else 'are'} still to come: "
            "the record shows it as the machine stands today."
        )
    return said
