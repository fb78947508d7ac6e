"""What lies in numbered bags, over all machines; and putting a spare straight into one."""

from dataclasses import dataclass
from datetime import date

from fastapi import APIRouter, Request
from starlette.responses import Response

from server.pages.boards import PART_KINDS, Options
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House, PageNumber
from server.pages.parts import ORIGINS, part_address
from server.records.commands.parts import BagPart
from server.records.placing import BAG_MOST
from server.records.questions.bags import Aside, Which, in_bag, kept
from server.records.questions.paging import Paged
from server.records.words import Origin, PartKind

router = APIRouter()


@dataclass(frozen=True, slots=True)
class KeptAsidePage:
    """What lies in bags now; `bag` is the one that was asked for."""

    bags: Paged[Aside]
    bag: int | None
    form: Form


@dataclass(frozen=True, slots=True)
class BagFormPage:
    """The form that puts a part straight into a bag."""

    form: Form
    kinds: Options
    origins: Options


@router.get("/kept-aside")
def kept_aside_page(house: AtHome, request: Request, number: PageNumber) -> Response:
    asked = request.query_params.get("bag", "").strip()
    form = Form.blank(bag=asked)
    bag = int(asked) if asked.isascii() and asked.isdigit() and len(asked) < 10 else None
    if asked and (bag is None or not 1 <= bag <= BAG_MOST):
        form.errors["bag"] = f"A bag has a number from 1 to {BAG_MOST:,}."
        bag = None
    with house.reading() as session:
        bags = kept(session, Which.ASIDE, number) if bag is None else in_bag(session, bag, number)
    return house.page("kept_aside/kept_aside.html", KeptAsidePage(bags, bag, form), 422 if form.errors else 200)


@router.get("/kept-aside/new")
def new_spare(house: AtHome) -> Response:
    today = date.today()  # noqa: DTZ011 (the keeper's own calendar day)
    form = Form.blank(kind=PartKind.CHIP.value, origin=Origin.PERIOD.value, day=today)
    return _bag_form(house, form)


@router.post("/kept-aside/new")
def bag_spare(house: AtHome, form: PostedForm) -> Response:
    return house.write(
        form,
        BagPart,
        to=lambda done: part_address(done.key),
        again=lambda form, status: _bag_form(house, form, status),
    )


def _bag_form(house: House, form: Form, status: int = 200) -> Response:
    return house.page("kept_aside/new.html", BagFormPage(form, PART_KINDS, ORIGINS), status)
