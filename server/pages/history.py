"""The journal in plain words, for everything and for one machine; and a machine as of any day."""

from dataclasses import dataclass
from datetime import date, timedelta

from fastapi import APIRouter
from starlette.responses import Response

from server.pages.house import AtHome, PageNumber
from server.pages.machines import address, sections
from server.records.errors import NotFound
from server.records.questions.addresses import find_machine
from server.records.questions.journal import Told, told
from server.records.questions.mods import StepLine, standing_on
from server.records.questions.paging import Paged
from server.records.questions.states import Seat, days_of_change, mods_in_force, seats_on
from server.records.tables import Machine, Mod
from server.records.words import StepKind

router = APIRouter()


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
    links, lifted pins, work on the case.
    """

    machine: Machine
    tabs: list[tuple[str, str]]
    day: date
    earlier: date | None
    later: date | None
    mods: list[Mod]
    begun: list[StepLine]
    marks_left: list[StepLine]
    seats: Paged[Seat]
    base: str


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
def choose_day(house: AtHome, tag: str, day: str = "") -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
    return house.go(f"{address(machine)}/on/{_day(day)}")


@router.get("/machines/{tag}/on/{day}")
def day_page(house: AtHome, tag: str, day: str, number: PageNumber) -> Response:
    asked = _day(day)
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
            begun=[line for line in standing if line.step.mod_id not in of_mods],
            marks_left=[line for line in standing if line.step.kind not in (StepKind.TAKE_OUT, StepKind.FIT)],
            seats=seats_on(session, machine, asked, number),
            base=f"{address(machine)}/on/{asked}",
        )
        return house.page("journal/day.html", context)


def _day(text: str) -> date:
    try:
        asked = date.fromisoformat(text)
    except ValueError:
        raise NotFound("day (they are written like 1981-09-30)", text) from None
    return min(asked, date.max - timedelta(days=1))
