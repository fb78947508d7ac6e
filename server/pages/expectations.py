"""What a mod is expected to do: written down, tied to a line of a sum or to a procedure, and taken away again."""

from dataclasses import dataclass

from fastapi import APIRouter
from sqlmodel import col, select
from starlette.responses import Response

from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House
from server.pages.mod_places import found_mod, mod_address
from server.pages.trial_form import read_as
from server.records.commands.mods import DropExpectation, Expect
from server.records.questions.addresses import find_expectation
from server.records.questions.expectations import ExpectationLine, verdicts
from server.records.questions.foretold import units_of_lines
from server.records.questions.sums import LineOffered, lines_offered
from server.records.tables import Machine, Mod, Procedure
from server.records.words import Sense

router = APIRouter()


@dataclass(frozen=True, slots=True)
class ExpectationFormPage:
    """The form that writes down what a mod is expected to do; `lines` are those of its sums, none where it has none."""

    machine: Machine
    mod: Mod
    form: Form
    procedures: list[tuple[str, str]]
    lines: list[tuple[str, str]]
    senses: list[tuple[str, str]]
    action: str
    cancel: str


@dataclass(frozen=True, slots=True)
class DropExpectationPage:
    """Asks whether an expectation is to be taken away, and says what the trials say of it now."""

    machine: Machine
    mod: Mod
    line: ExpectationLine
    action: str
    cancel: str


@router.get("/machines/{tag}/mods/{number}/expectations/new")
def new_expectation(house: AtHome, tag: str, number: int) -> Response:
    with house.reading() as session:
        machine, mod = found_mod(session, tag, number)
    return _expectation_form(house, machine, mod, Form.blank(sense=Sense.BETTER))


@router.post("/machines/{tag}/mods/{number}/expectations/new")
def expect(house: AtHome, tag: str, number: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine, mod = found_mod(session, tag, number)
    calculation, _, line = form.text("line").partition(":")
    return house.write(
        form,
        Expect,
        to=lambda done: mod_address(machine, mod) + "#expectations",  # noqa: ARG005
        again=lambda form, status: _expectation_form(house, machine, mod, form, status),
        machine=machine.tag,
        mod=mod.number,
        calculation=calculation,
        line=line,
    )


@router.get("/machines/{tag}/mods/{number}/expectations/{which}/drop")
def drop_expectation_form(house: AtHome, tag: str, number: int, which: int) -> Response:
    with house.reading() as session:
        machine, mod = found_mod(session, tag, number)
        find_expectation(session, mod, which)
        line = next(one for one in verdicts(session, mod) if one.expectation.number == which)
    base = mod_address(machine, mod)
    context = DropExpectationPage(machine, mod, line, f"{base}/expectations/{which}/drop", f"{base}#expectations")
    return house.page("mods/drop_expectation.html", context)


@router.post("/machines/{tag}/mods/{number}/expectations/{which}/drop")
def drop_expectation(house: AtHome, tag: str, number: int, which: int, form: PostedForm) -> Response:
    command = form.read(DropExpectation, machine=tag, mod=number, number=which)
    done = house.store.carry_out(command, house.who)
    return house.go(f"{mod_address(tag, number)}#expectations", done)


def _expectation_form(house: House, machine: Machine, mod: Mod, form: Form, status: int = 200) -> Response:
    if wrong := form.errors.pop("calculation", ""):  # a calculation and its line are one choice here
        form.errors.setdefault("line", wrong)
    with house.reading() as session:
        found = session.exec(select(Procedure).order_by(col(Procedure.title))).all()
        offered = lines_offered(session, mod, None)
        units = units_of_lines(session, mod)
    procedures = [("", "none yet")] + [(one.slug, f"{one.title} ({read_as(one)})") for one in found]
    lines = [(f"{read.calculation}:{read.line}", _line_words(read, units)) for read in offered]
    senses = [(sense.value, sense.value) for sense in Sense]
    base = mod_address(machine, mod)
    context = ExpectationFormPage(machine, mod, form, procedures, lines, senses, f"{base}/expectations/new", base)
    return house.page("mods/expectation.html", context, status)


def _line_words(read: LineOffered, units: dict[tuple[int, str], str]) -> str:
    unit = units.get((read.calculation, read.line), "")
    return f"Calculation {read.calculation}, {read.line}: {read.label or read.title}{f' ({unit})' if unit else ''}"
