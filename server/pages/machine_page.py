"""Each machine's own page."""

from dataclasses import dataclass
from datetime import date

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.pages.files import Attached, attached_to
from server.pages.house import AtHome, PageNumber
from server.pages.machines import sections
from server.records import clock
from server.records.cautions import cautions
from server.records.questions.addresses import find_machine
from server.records.questions.journal import Run, latest, runs
from server.records.questions.machines import BagLine, BoardLine, ModLine, bags_of, boards_of, mods_of
from server.records.questions.paging import Paged
from server.records.questions.stays import LeftBoard, MovedMod, boards_left, mods_that_came, mods_that_left
from server.records.questions.symptoms import SymptomLine, latest_symptoms
from server.records.tables import Machine

router = APIRouter()
RECENT = 8
LOOKED_THROUGH = 60  # the last entries, of which long rows of one act are folded
BAGS_SHOWN = 20
SYMPTOMS_SHOWN = 20


@dataclass(frozen=True, slots=True)
class MachinePage:
    """One machine: what it is, its boards, symptoms, mods, what lies aside, and what was last done."""

    machine: Machine
    tabs: list[tuple[str, str]]
    cautions: list[str]
    boards: list[BoardLine]
    boards_left: list[LeftBoard]
    mods_came: list[MovedMod]
    mods_left: list[MovedMod]
    symptoms: list[SymptomLine]
    mods: Paged[ModLine]
    bags: list[BagLine]
    recent: list[Run]
    today: date
    attached: Attached | None


@router.get("/machines/{tag}")
def machine_page(house: AtHome, tag: str, number: PageNumber) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        return house.page("machines/machine.html", machine_context(session, machine, number))


def machine_context(session: Session, machine: Machine, number: int) -> MachinePage:
    """Everything the machine's page shows; a fixed number of queries."""
    boards = boards_of(session, machine)
    return MachinePage(
        machine=machine,
        tabs=sections(machine),
        cautions=cautions(machine.hazards, *(line.board.hazards for line in boards)),
        boards=boards,
        boards_left=boards_left(session, machine),
        mods_came=mods_that_came(session, machine),
        mods_left=mods_that_left(session, machine),
        symptoms=latest_symptoms(session, machine, SYMPTOMS_SHOWN + 1),
        mods=mods_of(session, machine, number),
        bags=bags_of(session, machine, BAGS_SHOWN + 1),
        recent=runs(latest(session, machine, LOOKED_THROUGH))[:RECENT],
        today=clock.today(),
        attached=attached_to(session, "machine", machine),
    )
