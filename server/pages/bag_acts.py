"""What is done with a part that lies in a bag: lending it, taking it back, moving it, letting it go; or finding it."""

from dataclasses import dataclass
from datetime import date

from fastapi import APIRouter, Request
from starlette.responses import Response

from server.pages.boards import Options
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House
from server.pages.kept_aside import bag_address
from server.pages.parts import PartNumber, part_address
from server.records import clock
from server.records.commands.base import Command
from server.records.commands.loans import FindAgain, LendPart, TakeBack
from server.records.commands.parts import KeepAside
from server.records.placing import describe, open_bag, open_loan
from server.records.questions.addresses import find_part
from server.records.questions.bags import in_bag_since
from server.records.tables import Loan, Part, Storage
from server.records.words import Gone

router = APIRouter()
BECOMES = [
    ("bag", "It stays kept aside, in the bag and place below"),
    ("discarded", "It was discarded"),
    ("lost", "It is lost"),
    ("handed over", "It was handed over"),
]
WHILE_LENT = BECOMES[2:]
KINDS: dict[str, tuple[type[Command], str]] = {
    "lend": (LendPart, "Lend the {}"),
    "take-back": (TakeBack, "Take the {} back"),
    "keep-aside": (KeepAside, "Move the {}, or let it go"),
    "find-again": (FindAgain, "The {} was found again"),
}


@dataclass(frozen=True, slots=True)
class BagActPage:
    """The form of one act on a part; `loan` is open while it is lent. `can` is whether it can be done now.

    `since` is the day on which it went into its bag.
    """

    part: Part
    name: str
    can: bool
    bag: Storage | None
    since: date | None
    loan: Loan | None
    act: str
    heading: str
    form: Form
    becomes: Options
    action: str
    cancel: str


@router.get("/parts/{number}/lend")
def lending(house: AtHome, number: PartNumber) -> Response:
    return _act_page(house, number, "lend", Form.blank(day=clock.today(), signer=house.who))


@router.post("/parts/{number}/lend")
def lend(house: AtHome, number: PartNumber, form: PostedForm) -> Response:
    return _write(house, number, "lend", form)


@router.get("/parts/{number}/take-back")
def taking_back(house: AtHome, number: PartNumber) -> Response:
    with house.reading() as session:
        loan = open_loan(session, find_part(session, number))
    return _act_page(house, number, "take-back", Form.blank(day=clock.today(), loan=loan.key if loan else 0))


@router.post("/parts/{number}/take-back")
def take_back(house: AtHome, number: PartNumber, form: PostedForm) -> Response:
    return _write(house, number, "take-back", form)


@router.get("/parts/{number}/keep-aside")
def keeping_aside(house: AtHome, number: PartNumber, request: Request) -> Response:
    with house.reading() as session:
        part = find_part(session, number)
        bag, loan = open_bag(session, part), open_loan(session, part)
    offered = [word for word, _ in (WHILE_LENT if loan else BECOMES)]
    asked = request.query_params.get("becomes", "")
    becomes = asked if asked in offered else offered[0]
    lies = {"bag": bag.bag, "from_bag": bag.bag, "condition": bag.condition} if bag else {}
    return _act_page(
        house,
        number,
        "keep-aside",
        Form.blank(becomes=becomes, day=clock.today(), loan=loan.key if loan else 0, **lies),
    )


@router.post("/parts/{number}/keep-aside")
def keep_aside(house: AtHome, number: PartNumber, form: PostedForm) -> Response:
    return _write(house, number, "keep-aside", form)


@router.get("/parts/{number}/find-again")
def finding_again(house: AtHome, number: PartNumber) -> Response:
    return _act_page(house, number, "find-again", Form.blank(day=clock.today(), signer=house.who))


@router.post("/parts/{number}/find-again")
def find_again(house: AtHome, number: PartNumber, form: PostedForm) -> Response:
    return _write(house, number, "find-again", form)


def _write(house: House, number: int, act: str, form: Form) -> Response:
    """Carry the act out, and go on to the bag: the one where it lies now, or the one that it left."""
    with house.reading() as session:
        part = find_part(session, number)
        left = open_bag(session, part)
    kind, _ = KINDS[act]
    return house.write(
        form,
        kind,
        to=lambda done: _where_it_lies(house, done.key, left),
        again=lambda form, status: _act_page(house, number, act, form, status),
        part=part.key,
    )


def _where_it_lies(house: House, part: int, left: Storage | None) -> str:
    with house.reading() as session:
        bag = open_bag(session, find_part(session, part)) or left
    return bag_address(bag.bag) if bag else part_address(part)


def _act_page(house: House, number: int, act: str, form: Form, status: int = 200) -> Response:
    with house.reading() as session:
        part = find_part(session, number)
        bag, loan = open_bag(session, part), open_loan(session, part)
        since = in_bag_since(session, bag) if bag else None
    name = describe(part)
    _, heading = KINDS[act]
    context = BagActPage(
        part=part,
        name=name,
        can=part.gone in (Gone.LOST, Gone.DISCARDED) if act == "find-again" else bag is not None,
        bag=bag,
        since=since,
        loan=loan,
        act=act,
        heading=heading.format(name),
        form=form,
        becomes=WHILE_LENT if loan else BECOMES,
        action=f"{part_address(part)}/{act}",
        cancel=bag_address(bag.bag) if bag else part_address(part),
    )
    return house.page("kept_aside/act.html", context, status)
