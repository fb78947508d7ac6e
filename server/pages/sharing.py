"""The share links of a machine: making one, which is shown once, looking at those there are, and withdrawing them."""

from dataclasses import dataclass
from datetime import timedelta
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.responses import Response

from server.access.share_links import only_here, shared_path
from server.access.tokens import digest_of_token, new_token
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House, PageNumber
from server.pages.machines import address, sections
from server.pages.shown_once import shown_once
from server.records import clock
from server.records.commands.share_links import MakeShareLink, WithdrawShareLink
from server.records.questions.addresses import find_machine, find_share_link
from server.records.questions.paging import Paged
from server.records.questions.share_links import ShareLine, share_links
from server.records.store import Done
from server.records.tables import Machine

router = APIRouter()
USUAL_DAYS = 30


@dataclass(frozen=True, slots=True)
class SharingPage:
    """The links of one machine, the form that makes one, and what withdrawing was refused for.

    `fresh` is the link that was just made, `shown` whether its one showing is over. `root` is how every link begins,
    `here_only` whether that is an address of this very machine.
    """

    machine: Machine
    tabs: list[tuple[str, str]]
    action: str
    links: Paged[ShareLine]
    form: Form
    refused: Form
    fresh: str
    shown: bool
    root: str
    here_only: bool


@router.get("/machines/{tag}/sharing")
def sharing_page(house: AtHome, tag: str, number: PageNumber) -> Response:
    return _page(house, tag, number, made=house.request.query_params.get("made", ""))


@router.post("/machines/{tag}/sharing")
def make_link(house: AtHome, tag: str, form: PostedForm) -> Response:
    """The token goes no further than the page that shows it: the command has its digest."""
    with house.reading() as session:
        machine = find_machine(session, tag)
    token = new_token()

    def shown_there(_: Done) -> str:
        key = shown_once(house.request.app).keep(token)
        return f"{address(machine)}/sharing?{urlencode({'made': key})}#new"

    return house.write(
        form,
        MakeShareLink,
        to=shown_there,
        again=lambda form, status: _page(house, tag, 1, form, status=status),
        machine=machine.tag,
        digest=digest_of_token(token),
    )


@router.post("/machines/{tag}/sharing/{n:int}/withdraw")
def withdraw_link(house: AtHome, tag: str, n: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        find_share_link(session, machine, n)
    return house.write(
        form,
        WithdrawShareLink,
        to=lambda done: f"{address(machine)}/sharing",  # noqa: ARG005
        again=lambda form, status: _page(house, tag, 1, refused=form, status=status),
        machine=machine.tag,
        number=n,
    )


def _page(
    house: House,
    tag: str,
    number: int,
    form: Form | None = None,
    refused: Form | None = None,
    made: str = "",
    status: int = 200,
) -> Response:
    today = clock.today()
    with house.reading() as session:
        machine = find_machine(session, tag)
        links = share_links(session, machine, number, today)
    token = shown_once(house.request.app).take(made) if made else None
    root = house.settings.public_url or str(house.request.base_url).rstrip("/")
    usual = Form.blank(length="full", lasts="day", expires_on=today + timedelta(USUAL_DAYS))
    context = SharingPage(
        machine=machine,
        tabs=sections(machine),
        action=f"{address(machine)}/sharing",
        links=links,
        form=form or usual,
        refused=refused or Form.blank(),
        fresh=f"{root}{shared_path(token)}" if token else "",
        shown=bool(made) and token is None,
        root=root,
        here_only=only_here(root),
    )
    response = house.page("sharing/sharing.html", context, status)
    response.headers["Cache-Control"] = "no-store"
    return response
