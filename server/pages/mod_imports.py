"""A list of mods onto a machine: pasted or uploaded, its columns matched, looked at mod by mod, and only then stored.

Between the steps the list travels in the page itself (`list_taking`); the server keeps nothing of it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from fastapi import APIRouter
from starlette.responses import Response

from server.pages.forms import Form
from server.pages.house import AtHome, House
from server.pages.jobs import Job, job_address, jobs_of
from server.pages.list_taking import (
    Options,
    PostedList,
    asks_for_columns,
    carried,
    columns_page,
    said_before,
    sheet_options,
    table_of,
)
from server.pages.machines import address, sections
from server.records.commands.listed_mods import ListedMod
from server.records.commands.mod_list_checks import Usual
from server.records.errors import Invalid
from server.records.list_kinds import MODS
from server.records.list_table import Table
from server.records.mods_list import BadLine, ModRow, check_mods, command_of, read_mods, usual_of
from server.records.questions.addresses import find_machine
from server.records.tables import Machine
from server.records.traces import BY_MOUNTING

router = APIRouter()
CARRIED = ("day", "signer", "sheet", "read_as")
GOOD_SHOWN = 20
BAD_SHOWN = 200
THERE_SHOWN = 50
COLUMNS_SHOWN = 20
CELL_SHOWN = 60


@dataclass(frozen=True, slots=True)
class ModImportPage:
    """The form that takes a list of mods; `headings` says what its columns can be called."""

    machine: Machine
    tabs: Options
    headings: Options
    most_mb: int
    form: Form
    action: str
    cancel: str
    carried: Options


@dataclass(frozen=True, slots=True)
class ListedLine:
    """One mod of the list as it was understood: since when it is what it is, and how its steps come in."""

    title: str
    state: str
    day: date | None
    signer: str
    purpose: str
    hazards: str
    steps: int
    recorded: int


@dataclass(frozen=True, slots=True)
class ModLookPage:
    """The list as it was understood, before anything is stored.

    `described` are the mods of which something was done that no step is recorded of, `part_steps` the steps that take a
    part out or fit one, `usual` what counts for mods that do not say it.
    """

    machine: Machine
    tabs: Options
    crumbs: Options
    action: str
    form: Form
    table: Table
    read_as: str
    sheets: Options
    carried: Options
    good: int
    bad: int
    there: int
    first_good: list[ListedLine]
    first_bad: list[BadLine]
    first_there: list[tuple[str, int]]
    described: int
    part_steps: int
    without_day: int
    usual: Usual
    left_out: list[str]
    changed: bool


@dataclass(frozen=True, slots=True)
class Read:
    """A list that could be read, held against its machine."""

    table: Table
    rows: list[ModRow]
    usual: Usual

    @property
    def new(self) -> list[ListedMod]:
        return [row.mod for row in self.rows if row.mod and row.is_new]

    @property
    def bad(self) -> list[BadLine]:
        return [line for row in self.rows for line in row.bad]

    @property
    def there(self) -> list[tuple[str, int]]:
        return [(row.title, row.there) for row in self.rows if row.there is not None]


@router.get("/machines/{tag}/mods/import")
def import_page(house: AtHome, tag: str) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
    return _form(house, machine, Form.blank(signer=machine.keeper or house.settings.keeper))


@router.post("/machines/{tag}/mods/import")
def take_list(house: AtHome, tag: str, form: PostedList) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
    if form.text("do") == "back":
        return _form(house, machine, form)
    try:
        usual = _usual(form)
        table = table_of(house, MODS, form)
        if asks_for_columns(form, table):
            return columns_page(house, form, table, _about(machine, "Its columns"), CARRIED)
        read = _read(house, machine, table, usual)
    except Invalid as problem:
        form.refuse(problem)
        return _form(house, machine, form, 422)
    if form.text("do") != "store":
        return _look(house, machine, form, read, 200 if read.new or read.there else 422)
    if form.text("good") != str(len(read.new)) or not read.new:
        return _look(house, machine, form, read, 409, changed=True)
    return _store(house, machine, read)


def _about(machine: Machine, here: str) -> tuple[Machine, Options, Options, str]:
    """What the pages on the way say around them."""
    base = f"{address(machine)}/mods"
    crumbs = [
        ("/", "Shelf"),
        (address(machine), machine.tag),
        (base, "Mods"),
        (f"{base}/import", "Enter a list of mods"),
    ]
    return machine, sections(machine), [*crumbs, ("", here)], f"{base}/import"


def _usual(form: Form) -> Usual:
    return usual_of(form.text("day"), form.text("signer"))


def _read(house: House, machine: Machine, table: Table, usual: Usual) -> Read:
    rows = read_mods(table)
    with house.reading() as session:
        return Read(table, check_mods(session, machine, rows, usual), usual)


def _store(house: House, machine: Machine, read: Read) -> Response:
    command = command_of(machine, read.new, read.usual, read.table)
    job = Job(
        title=f"Entering a list of mods of {machine.tag}",
        onward=(f"{address(machine)}/mods", f"Look at the mods of {machine.tag}"),
        back=(f"{address(machine)}/mods/import", "Back to the list of mods"),
    )
    store, who = house.store, house.who
    jobs_of(house.request.app).start(job, lambda heard: store.carry_out(command, who, heard).words)
    return house.go(job_address(job))


def _form(house: House, machine: Machine, form: Form, status: int = 200) -> Response:
    base = f"{address(machine)}/mods"
    context = ModImportPage(
        machine=machine,
        tabs=sections(machine),
        headings=[(MODS.words(name), ", ".join(others[:4])) for name, others in MODS.headings.items()],
        most_mb=house.settings.parts_list_most_mb,
        form=form,
        action=f"{base}/import",
        cancel=base,
        carried=said_before(form),
    )
    return house.page("mods/import.html", context, status)


def _look(house: House, machine: Machine, form: Form, read: Read, status: int, changed: bool = False) -> Response:
    _, tabs, crumbs, action = _about(machine, "The mods as understood")
    new, bad, there = read.new, read.bad, read.there
    context = ModLookPage(
        machine=machine,
        tabs=tabs,
        crumbs=crumbs,
        action=action,
        form=form,
        table=read.table,
        read_as=form.text("read_as"),
        sheets=sheet_options(form),
        carried=carried(form, read.table, CARRIED),
        good=len(new),
        bad=len(bad),
        there=len(there),
        first_good=[_line(mod, read.usual) for mod in new[:GOOD_SHOWN]],
        first_bad=bad[:BAD_SHOWN],
        first_there=there[:THERE_SHOWN],
        described=sum(mod.only_described for mod in new),
        part_steps=_count_part_steps(new),
        without_day=sum(mod.day is None for mod in new),
        usual=read.usual,
        left_out=[name[:CELL_SHOWN] for name in read.table.left_out[:COLUMNS_SHOWN]],
        changed=changed,
    )
    return house.page("mods/look.html", context, status)


def _line(mod: ListedMod, usual: Usual) -> ListedLine:
    purpose = " ".join(mod.purpose.split())
    return ListedLine(
        title=mod.title,
        state=mod.state,
        day=mod.day or usual.day,
        signer=mod.signer or usual.signer,
        purpose=purpose if len(purpose) <= CELL_SHOWN else f"{purpose[:CELL_SHOWN]}…",
        hazards=", ".join(mod.hazards),
        steps=len(mod.steps),
        recorded=mod.recorded,
    )


def _count_part_steps(mods: Sequence[ListedMod]) -> int:
    return sum(step.kind in BY_MOUNTING for mod in mods for step in mod.steps)
