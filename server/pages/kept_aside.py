"""What lies in numbered bags, over all machines; one bag; and putting a spare straight into one.

What is done with a part in a bag has pages of its own in `bag_acts`.
"""

from dataclasses import dataclass
from datetime import date

from fastapi import APIRouter, Request
from starlette.responses import Response

from server.pages.boards import PART_KINDS, Options
from server.pages.forms import Form, PostedForm, number_of
from server.pages.house import AtHome, House, PageNumber
from server.pages.parts import ORIGINS, part_address
from server.records import clock
from server.records.commands.parts import BagPart
from server.records.errors import NotFound
from server.records.placing import BAG_MOST
from server.records.questions.bags import (
    Aside,
    BagStay,
    GonePart,
    Which,
    asked_bag,
    bag_known,
    gone,
    in_bag,
    kept,
    overdue,
    stays_in_bag,
)
from server.records.questions.paging import Paged
from server.records.words import Origin, PartKind

router = APIRouter()
OVERDUE_SHOWN = 5


@dataclass(frozen=True, slots=True)
class KeptAsidePage:
    """Parts kept aside, narrowed to `which`; `late` are the loans that should have come back."""

    found: Paged[Aside] | Paged[GonePart]
    which: str
    here: str
    ways: Options
    late: Paged[Aside]
    today: date
    form: Form


@dataclass(frozen=True, slots=True)
class BagPage:
    """One bag: what lies in it now, what may be done with it, and all that ever lay in it."""

    bag: int
    held: Paged[Aside]
    stays: Paged[BagStay]
    machines: list[str]
    today: date


@dataclass(frozen=True, slots=True)
class BagFormPage:
    """The form that puts a part straight into a bag."""

    form: Form
    kinds: Options
    origins: Options


def bag_address(bag: int) -> str:
    return f"/kept-aside/{bag}"


def _way(which: Which) -> str:
    return "/kept-aside" if which is Which.ASIDE else f"/kept-aside?show={which.replace(' ', '-')}"


WAYS = [(_way(which), which.capitalize()) for which in Which]
ASKED = {which.replace(" ", "-"): which for which in Which}


@router.get("/kept-aside")
def kept_aside_page(house: AtHome, request: Request, number: PageNumber) -> Response:
    asked = request.query_params.get("bag", "").strip()
    form = Form.blank(bag=asked)
    which = ASKED.get(request.query_params.get("show", ""), Which.ASIDE)
    with house.reading() as session:
        if asked:
            bag = asked_bag(asked)
            if bag is not None and bag_known(session, bag):
                return house.go(bag_address(bag))
            form.errors["bag"] = f"No bag has the number {bag}." if bag else _no_number()
        found = gone(session, number) if which is Which.GONE else kept(session, which, number)
        late = overdue(session, clock.today(), OVERDUE_SHOWN)
    context = KeptAsidePage(found, which.value, _way(which), WAYS, late, clock.today(), form)
    return house.page("kept_aside/kept_aside.html", context, 422 if form.errors else 200)


@router.get("/kept-aside/new")
def new_spare(house: AtHome, request: Request) -> Response:
    bag = asked_bag(request.query_params.get("bag", ""))
    form = Form.blank(kind=PartKind.CHIP.value, origin=Origin.PERIOD.value, day=clock.today(), bag=bag)
    return _bag_form(house, form)


@router.post("/kept-aside/new")
def bag_spare(house: AtHome, form: PostedForm) -> Response:
    return house.write(
        form,
        BagPart,
        to=lambda done: part_address(done.key),
        again=lambda form, status: _bag_form(house, form, status),
    )


@router.get("/kept-aside/{bag:int}")
def bag_page(house: AtHome, request: Request, bag: int, number: PageNumber) -> Response:
    with house.reading() as session:
        if asked_bag(str(bag)) is None or not bag_known(session, bag):
            raise NotFound("bag", bag)
        held = in_bag(session, bag, number)
        stays = stays_in_bag(session, bag, number_of(request.query_params.get("earlier", "")) or 1)
    machines = sorted({line.seat.machine.tag for line in held.rows if line.seat})
    return house.page("kept_aside/bag.html", BagPage(bag, held, stays, machines, clock.today()))


def _no_number() -> str:
    return f"A bag has a number from 1 to {BAG_MOST:,}."


def _bag_form(house: House, form: Form, status: int = 200) -> Response:
    return house.page("kept_aside/new.html", BagFormPage(form, PART_KINDS, ORIGINS), status)
