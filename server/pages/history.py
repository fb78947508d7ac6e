"""The journal in plain words, of everything or of one machine; and a machine as of any day, or of two side by side."""

from dataclasses import dataclass
from datetime import date
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.responses import Response

from server.pages.forms import Form
from server.pages.house import AtHome, House, PageNumber
from server.pages.machines import address, sections
from server.pages.two_days import day_of, said_of_days, two_days_page
from server.records import clock
from server.records.errors import NotFound
from server.records.questions.addresses import find_machine
from server.records.questions.dossiers import earlier, last_import
from server.records.questions.hazards import cautions_for
from server.records.questions.journal import Told, told
from server.records.questions.paging import Paged
from server.records.questions.stacking import DoneStep, standing_on
from server.records.questions.states import Seat, days_of_change, mods_in_force, seats_on
from server.records.questions.stays import tags_of
from server.records.tables import DossierImport, Machine, Mod
from server.records.traces import BY_MOUNTING

router = APIRouter()
NO_DAY = "Write it as year-month-day, such as 1981-09-30; it has to be in the calendar."
NO_DAY_YET = "Choose a day: either one alone, or two to set side by side."


@dataclass(frozen=True, slots=True)
class JournalPage:
    """Every act on the record, the latest first."""

    entries: Paged[Told]


@dataclass(frozen=True, slots=True)
class HistoryPage:
    """Every act on one machine, the latest first."""

    machine: Machine
    tabs: list[tuple[str, str]]
    cautions: list[str]
    entries: Paged[Told]
    today: date
    came: DossierImport | None


@dataclass(frozen=True, slots=True)
class EarlierPage:
    """Every act on a machine in the record that it came from, the latest first."""

    machine: Machine
    tabs: list[tuple[str, str]]
    cautions: list[str]
    came: DossierImport
    entries: Paged[Told]


@dataclass(frozen=True, slots=True)
class DayPage:
    """A machine at the end of a day: what sat where, which mods were in force, and what else had been done to it.

    `begun` are steps of mods that were not called fitted that day; `marks_left` those that moved no part: cut traces,
    links, lifted pins, work on the case. `tags` are those of the machines that the mods are numbered in, by key;
    `said` are words about the day itself.
    """

    machine: Machine
    tabs: list[tuple[str, str]]
    cautions: list[str]
    day: date
    said: list[str]
    earlier: date | None
    later: date | None
    mods: list[Mod]
    tags: dict[int, str]
    begun: list[DoneStep]
    marks_left: list[DoneStep]
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
        warned = cautions_for(session, machine)
        came = last_import(session, machine)
    context = HistoryPage(machine, sections(machine), warned, entries, clock.today(), came)
    return house.page("journal/history.html", context)


@router.get("/machines/{tag}/history/earlier")
def earlier_page(house: AtHome, tag: str, number: PageNumber) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        came = last_import(session, machine)
        warned = cautions_for(session, machine)
    if came is None:
        raise NotFound("earlier history of", machine.tag)
    entries = earlier(house.store.files, came, number)
    return house.page("journal/earlier.html", EarlierPage(machine, sections(machine), warned, came, entries))


@router.get("/machines/{tag}/on")
def choose_day(house: AtHome, tag: str, day: str = "", against: str = "") -> Response:
    """On to the day, or the two, that were chosen in a form; what will not do comes back in the form of a day."""
    with house.reading() as session:
        machine = find_machine(session, tag)
    asked, other = day_of(day), day_of(against)
    if asked is None:
        form = Form.blank(day=day, against=against)
        form.errors["day"] = NO_DAY if day.strip() or against.strip() else NO_DAY_YET
        return _day_page(house, tag, other or clock.today(), 1, form, 422)
    beside = f"?{urlencode({'against': against})}" if against.strip() else ""
    return house.go(f"{address(machine)}/on/{asked}{beside}")


@router.get("/machines/{tag}/on/{day}")
def day_page(house: AtHome, tag: str, day: str, number: PageNumber, against: str | None = None) -> Response:
    asked = day_of(day)
    if asked is None:
        raise NotFound("day in the calendar (they are written like 1981-09-30)", day)
    if against is None:
        return _day_page(house, tag, asked, number, Form.blank(day=asked))
    other = day_of(against)
    if other is None:
        form = Form.blank(day=asked, against=against)
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
            cautions=cautions_for(session, machine),
            day=asked,
            said=said_of_days(machine, asked),
            earlier=max((found for found in days if found < asked), default=None),
            later=min((found for found in days if found > asked), default=None),
            mods=in_force,
            tags=tags_of(session, in_force),
            begun=[step for step in standing if step.mod_id not in of_mods],
            marks_left=[step for step in standing if step.kind not in BY_MOUNTING],
            seats=seats_on(session, machine, asked, number),
            base=f"{address(machine)}/on/{asked}",
            form=form,
        )
        return house.page("journal/day.html", context, status)
