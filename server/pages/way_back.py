"""The way back of some mods, or of the whole machine: in order, with what each step needs, carried out one by one."""

from dataclasses import dataclass
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from sqlmodel import Session, col, select
from starlette.responses import Response

from server.pages.forms import Form, number_of
from server.pages.house import AtHome
from server.pages.machines import address, sections
from server.records.questions.addresses import find_machine, find_mod
from server.records.questions.hazards import cautions_for
from server.records.questions.way_back import WayBack, way_back
from server.records.tables import Machine, Mod, Step

router = APIRouter()


@dataclass(frozen=True, slots=True)
class WayBackPage:
    """The ordered steps that return the machine, or undo the mods that were `asked` for.

    `form` chooses among `mods`, those of which any step stands; `next_address` is the form that puts back the first.
    """

    machine: Machine
    tabs: list[tuple[str, str]]
    asked: list[Mod]
    mods: list[tuple[str, str]]
    form: Form
    way: WayBack
    cautions: list[str]
    next_address: str


def way_back_address(machine: Machine, mods: str) -> str:
    """The page for these mods, `1,3`; for the whole machine, where there are none."""
    numbers = [("mod", number) for number in mods.split(",") if number_of(number) is not None]
    return f"{address(machine)}/way-back{'?' if numbers else ''}{urlencode(numbers)}"


@router.get("/machines/{tag}/way-back")
def way_back_page(house: AtHome, request: Request, tag: str) -> Response:
    numbers = {number for text in request.query_params.getlist("mod") if (number := number_of(text)) is not None}
    with house.reading() as session:
        machine = find_machine(session, tag)
        asked = [find_mod(session, machine, number) for number in sorted(numbers)]
        way = way_back(session, machine, asked)
        standing = _standing(session, machine)
        context = WayBackPage(
            machine=machine,
            tabs=sections(machine),
            asked=asked,
            mods=[(str(mod.number), f"{mod.number} {mod.title}") for mod in standing],
            form=Form.blank(mod=[mod.number for mod in asked]),
            way=way,
            cautions=cautions_for(session, machine, asked[0] if len(asked) == 1 else None),
            next_address=_next_address(machine, asked, way),
        )
    return house.page("mods/way_back.html", context)


def _standing(session: Session, machine: Machine) -> list[Mod]:
    """The mods of which any step is done and not put back."""
    done = select(Step.mod_id).where(col(Step.done_on).is_not(None), col(Step.undone_on).is_(None))
    query = select(Mod).where(Mod.machine_id == machine.id, col(Mod.id).in_(done)).order_by(col(Mod.number))
    return list(session.exec(query))


def _next_address(machine: Machine, asked: list[Mod], way: WayBack) -> str:
    if not way.back or way.circle:
        return ""
    first = way.back[0]
    onward = urlencode({"back": ",".join(str(mod.number) for mod in asked) or "all"})
    return f"{address(machine)}/mods/{first.mod.number}/steps/{first.line.step.number}/undo?{onward}"
