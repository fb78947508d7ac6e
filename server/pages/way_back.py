"""The way back of some mods, or of the whole machine: in order, with what each step needs, carried out one by one."""

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from sqlalchemy import ColumnElement, or_
from sqlmodel import Session, col, select
from starlette.responses import Response

from server.pages.forms import Form, number_of
from server.pages.house import AtHome
from server.pages.machines import address, sections
from server.records.errors import NotFound
from server.records.questions.addresses import KEY_MOST, find_machine, tag_key
from server.records.questions.hazards import cautions_for
from server.records.questions.stays import boards_left, homes_of, mod_here, tags_of
from server.records.questions.way_back import BackLine, WayBack, way_back
from server.records.tables import Machine, Mod, Step
from server.records.words import ModState

router = APIRouter()
STEPS_MOST = 100  # those after it are seen as these are put back


@dataclass(frozen=True, slots=True)
class Named:
    """A mod as it is asked for and called here: `2`, or `TM-03/2` where it came with a board of TM-03."""

    mod: Mod
    of: str

    @property
    def key(self) -> str:
        return f"{self.of}/{self.mod.number}" if self.of else str(self.mod.number)

    @property
    def words(self) -> str:
        return f"{self.mod.number} of {self.of}" if self.of else str(self.mod.number)


@dataclass(frozen=True, slots=True)
class WayBackPage:
    """The ordered steps that return the machine, or undo the mods that were `asked` for; `back` the first of them.

    `form` chooses among `mods`, those of which any step stands; `next_address` is the form that puts back the first.
    `gone` are those asked for whose board is in another machine: (mod, that machine's tag, address of its way back).
    `away` are the boards that the whole way back leaves out, being in other machines: (name, tag, address).
    `untold` are mods called fitted of which not every step is recorded as done.
    """

    machine: Machine
    tabs: list[tuple[str, str]]
    asked: list[Named]
    mods: list[tuple[str, str]]
    form: Form
    way: WayBack
    back: list[BackLine]
    cautions: list[str]
    next_address: str
    gone: list[tuple[Named, str, str]]
    away: list[tuple[str, str, str]]
    untold: list[tuple[Named, str]]


def way_back_address(machine: Machine | str, mods: str) -> str:
    """The page for these mods, `1,TM-03/3`; for the whole machine, where there are none.

    The mods can stand behind the tag of the machine whose way back it is, `TM-05:TM-03/3`, where that is another.
    """
    tag, colon, rest = mods.partition(":")
    asked = [("mod", key) for key in (rest if colon else mods).split(",") if _number_in(key) is not None]
    return f"{address(tag if colon else machine)}/way-back{'?' if asked else ''}{urlencode(asked)}"


@router.get("/machines/{tag}/way-back")
def way_back_page(house: AtHome, request: Request, tag: str) -> Response:
    keys = dict.fromkeys(key for key in request.query_params.getlist("mod") if _number_in(key) is not None)
    with house.reading() as session:
        machine = find_machine(session, tag)
        asked = _named(session, machine, sorted(keys, key=lambda key: (_number_in(key) or 0, key)))
        way = way_back(session, machine, [one.mod for one in asked])
        standing = _standing(session, machine)
        left = [] if asked else boards_left(session, machine)
        lie_in = homes_of(session, [one.mod for one in asked])
        homes = [(one, lie_in[one.mod.key]) for one in asked]
        context = WayBackPage(
            machine=machine,
            tabs=sections(machine),
            asked=asked,
            mods=[(one.key, f"{one.words} {one.mod.title}") for one in standing],
            form=Form.blank(mod=[one.key for one in asked]),
            way=way,
            back=way.back[:STEPS_MOST],
            cautions=cautions_for(session, machine, asked[0].mod if len(asked) == 1 else None),
            next_address=_next_address(machine, asked, way),
            gone=[(one, home.tag, _there(machine, one, home)) for one, home in homes if home.id != machine.id],
            untold=[
                (one, f"{address(one.of or machine)}/mods/{one.mod.number}")
                for one in _untold(session, machine)
                if not asked or one.key in keys
            ],
            away=[(one.board.name, one.machine.tag, way_back_address(one.machine, "")) for one in left],
        )
    return house.page("mods/way_back.html", context)


def _number_in(key: str) -> int | None:
    number = number_of(key.rpartition("/")[2])
    return number if number is not None and number <= KEY_MOST else None


def _named(session: Session, machine: Machine, keys: Sequence[str]) -> list[Named]:
    """The mods that are asked for, in two questions however many they are."""
    sought = {
        key: (tag_key(tag) if (tag := key.rpartition("/")[0]) else machine.tag_key, _number_in(key)) for key in keys
    }
    tags, numbers = {tag for tag, _ in sought.values()}, {number for _, number in sought.values()}
    query = (
        select(Machine, Mod)
        .join(Mod, col(Mod.machine_id) == col(Machine.id))
        .where(col(Machine.tag_key).in_(tags), col(Mod.number).in_(numbers))
    )
    found = {(of.tag_key, mod.number): (of, mod) for of, mod in session.exec(query)}
    named = []
    for key, which in sought.items():
        if which not in found:
            raise NotFound("modification", key)
        of, mod = found[which]
        named.append(Named(mod, "" if of.id == machine.id else of.tag))
    return named


def _there(machine: Machine, one: Named, home: Machine) -> str:
    """The way back of a mod in the machine that its board is in."""
    of = one.of or machine.tag
    return way_back_address(home, str(one.mod.number) if of == home.tag else f"{of}/{one.mod.number}")


def _standing(session: Session, machine: Machine) -> list[Named]:
    """The mods that work on the machine and of which any step is done and not put back."""
    done = select(Step.mod_id).where(col(Step.done_on).is_not(None), col(Step.undone_on).is_(None))
    return _here(session, machine, col(Mod.id).in_(done))


def _untold(session: Session, machine: Machine) -> list[Named]:
    """The mods that are called fitted, and of which some step, or all of them, is not recorded as done."""
    waiting = select(Step.mod_id).where(col(Step.done_on).is_(None))
    without = col(Mod.id).not_in(select(Step.mod_id))
    return _here(session, machine, Mod.state == ModState.FITTED, or_(col(Mod.id).in_(waiting), without))


def _here(session: Session, machine: Machine, *conditions: ColumnElement[bool] | bool) -> list[Named]:
    query = select(Mod).where(mod_here(machine), *conditions).order_by(col(Mod.number), col(Mod.id))
    mods = session.exec(query).all()
    tags = tags_of(session, mods)
    return [Named(mod, "" if mod.machine_id == machine.id else tags[mod.machine_id]) for mod in mods]


def _next_address(machine: Machine, asked: list[Named], way: WayBack) -> str:
    if not way.back or way.circle:
        return ""
    first = way.back[0]
    back = ",".join(one.key for one in asked) or "all"
    onward = urlencode({"back": f"{machine.tag}:{back}" if first.of else back})
    return f"{address(first.of or machine)}/mods/{first.step.mod}/steps/{first.step.number}/undo?{onward}"
