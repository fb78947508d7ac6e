"""The journal in plain words, of everything or of one machine; and a machine as of any day, or of two side by side."""

from dataclasses import dataclass
from datetime import date
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.responses import Response

from server.pages.forms import Form
from server.pages.house import AtHome, House, PageNumber
from server.pages.machines import address, sections
from server.pages.two_days import day_of, two_days_page
from server.records.errors import NotFound
from server.records.questions.addresses import find_machine
from server.records.questions.journal import Told, told
from server.records.questions.mods import StepLine, standing_on
from server.records.questions.paging import Paged
from server.records.questions.states import Seat, days_of_change, mods_in_force, seats_on
from server.records.questions.stays import tags_of
from server.records.tables import Machine, Mod
from server.records.words import StepKind

router = APIRouter()
NO_DAY = "Write the other day as year-month-day, such as 1981-09-30; it has to be in the calendar."


@dataclass(frozen=True, slots=True)
class JournalPage:
    """Every act on the record, the latest first."""

    entries: Paged[Told]


@dataclass(frozen=True, slots=True)
class HistoryPage:
    """Every act on one machine, the latest first."""

    machine: Machine
    tabs: list[tuple[str, str]]
    entries: Paged[Told]
    today: date


@dataclass(frozen=True, slots=True)
class DayPage:
    """A machine at the end of a day: what sat where, which mods were in force, and what else had been done to it.

    `begun` are steps of mods that were not called fitted that day; `marks_left` those that moved no part: cut traces,
    links, lifted pins, work on the case. `tags` are those of the machines that the mods are numbered in, by key.
    """

    machine: Machine
    tabs: list[tuple[str, str]]
    day: date
    earlier: date | None
    later: date | None
    mods: list[Mod]
    tags: dict[int, str]
    begun: list[StepLine]
    marks_left: list[StepLine]
    seats: Paged[Seat]
    base: str
    form: Form


@router.get("/journal")
def journal_page(house: AtHome, number: PageNumber) -> Response:
    with house.reading() as session:
        return house.page("journal/journal.html", JournalPage(told(session, number)))


@router.get("/machines/{tag}/history")
def history_page(house: AtHome, tag: str, number: PageNumber) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        entries = told(session, number, machine)
    return house.page("journal/history.html", HistoryPage(machine, sections(machine), entries, date.today()))  # noqa: DTZ011


@router.get("/machines/{tag}/on")
def choose_day(house: AtHome, tag: str, day: str = "", against: str = "") -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
    if against and not day:  # one of the two was left empty: its form says so
        day, against = against, " "
    beside = f"?{urlencode({'against': against})}" if against else ""
    return house.go(f"{address(machine)}/on/{_day(day)}{beside}")


@router.get("/machines/{tag}/on/{day}")
def day_page(house: AtHome, tag: str, day: str, number: PageNumber, against: str | None = None) -> Response:
    asked = _day(day)
    if against is None:
        return _day_page(house, tag, asked, number, Form.blank())
    other = day_of(against)
    if other is None:
        form = Form.blank(against=against)
        form.errors["against"] = NO_DAY
        return _day_page(house, tag, asked, number, form, 422)
    return two_days_page(house, tag, asked, other)


def _day_page(house: House, tag: str, asked: date, number: int, form: Form, status: int = 200) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        days = days_of_change(session, machine)
        in_force = list(mods_in_force(session, machine, asked))
        standing = standing_on(session, machine, asked)
        of_mods = {mod.key for mod in in_force}
        context = DayPage(
            machine=machine,
            tabs=sections(machine),
            day=asked,
            earlier=max((found for found in days if found < asked), default=None),
            later=min((found for found in days if found > asked), default=None),
            mods=in_force,
            tags=tags_of(session, in_force),
            begun=[line for line in standing if line.step.mod_id not in of_mods],
            marks_left=[line for line in standing if line.step.kind not in (StepKind.TAKE_OUT, StepKind.FIT)],
            seats=seats_on(session, machine, asked, number),
            base=f"{address(machine)}/on/{asked}",
            form=form,
        )
        return house.page("journal/day.html", context, status)


def _day(text: str) -> date:
    day = day_of(text)
    if day is None:
        raise NotFound("day (they are written like 1981-09-30)", text)
    return day
