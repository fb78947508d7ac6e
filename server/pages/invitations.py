"""Inviting somebody by a link that is shown once, withdrawing it, and the page that the link opens."""

from dataclasses import dataclass
from datetime import timedelta
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.responses import Response

from server.access.share_links import invitation_path, only_here
from server.access.sign_ins import begin
from server.access.tokens import TOKEN, digest_of_token, new_token
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House
from server.pages.new_passwords import read_with_password
from server.pages.people import ROLES
from server.pages.problems import ProblemPage
from server.pages.shown_once import shown_once
from server.pages.signing_in import browser_of, keep_cookie
from server.records import clock
from server.records.commands.invitations import AcceptInvitation, MakeInvitation, WithdrawInvitation
from server.records.errors import Invalid
from server.records.questions.accounts import find_account
from server.records.questions.invitations import invited_by
from server.records.questions.machines import machines_offered
from server.records.store import Done
from server.records.tables import Invitation
from server.records.words import Role

router = APIRouter()
USUAL_DAYS = 7
OVER = ProblemPage(
    "This invitation lets nobody in",
    "It may have been used or withdrawn, its last day may be over, or a part of the link got lost on the way. "
    "Ask the keeper who sent it to you for another one.",
    [("/sign-in", "Sign in with an account that you have")],
)


@dataclass(frozen=True, slots=True)
class InvitingPage:
    """The form of an invitation; `fresh` is the link that was just made, `shown` whether its one showing is over."""

    form: Form
    roles: list[tuple[str, str]]
    machines: list[tuple[str, str]]
    fresh: str
    shown: bool
    here_only: bool


@dataclass(frozen=True, slots=True)
class InvitedPage:
    """What whoever was invited fills in."""

    form: Form
    action: str
    role: str
    last_day: str


@router.get("/invitations")
def inviting_page(house: AtHome) -> Response:
    usual = Form.blank(role=Role.MEMBER.value, last_day=clock.today() + timedelta(USUAL_DAYS))
    return _page(house, usual, made=house.request.query_params.get("made", ""))


@router.post("/invitations")
def make_invitation(house: AtHome, form: PostedForm) -> Response:
    """The token goes no further than the page that shows it: the command has its digest."""
    token = new_token()

    def shown_there(_: Done) -> str:
        return f"/invitations?{urlencode({'made': shown_once(house.request.app).keep(token)})}#new"

    return house.write(
        form,
        MakeInvitation,
        shown_there,
        lambda form, status: _page(house, form, status),
        digest=digest_of_token(token),
    )


@router.post("/invitations/{n:int}/withdraw")
def withdraw_invitation(house: AtHome, n: int) -> Response:
    return house.go("/people", house.store.carry_out(WithdrawInvitation(number=n), house.who))


@router.get("/invitation/{token}")
def invited_page(house: AtHome, token: str) -> Response:
    invitation = _opened(house, token)
    if invitation is None:
        return _private(house.page("problem.html", OVER, 404))
    return _invited(house, token, invitation, Form.blank(name="", signs_as=invitation.signs_as))


@router.post("/invitation/{token}")
def accept_invitation(house: AtHome, token: str, form: PostedForm) -> Response:
    """Whoever was invited is signed in at once."""
    invitation = _opened(house, token)
    if invitation is None:
        return _private(house.page("problem.html", OVER, 404))
    try:
        command = read_with_password(form, AcceptInvitation, digest=digest_of_token(token))
        done = house.store.carry_out(command, command.signs_as)
    except Invalid as problem:
        form.refuse(problem)
        return _invited(house, token, invitation, form, 422)
    with house.reading() as session:
        account = find_account(session, command.name)
    return keep_cookie(house, house.go("/", done), begin(house.store, account, browser_of(house)))


def _opened(house: House, token: str) -> Invitation | None:
    if not TOKEN.fullmatch(token):
        return None
    with house.reading() as session:
        return invited_by(session, digest_of_token(token), clock.today())


def _invited(house: House, token: str, invitation: Invitation, form: Form, status: int = 200) -> Response:
    role = ROLES[Role(invitation.role)]
    context = InvitedPage(form, invitation_path(token), role, invitation.last_day.isoformat())
    return _private(house.page("accounts/invited.html", context, status))


def _page(house: House, form: Form, status: int = 200, made: str = "") -> Response:
    with house.reading() as session:
        machines = machines_offered(session)
    token = shown_once(house.request.app).take(made) if made else None
    root = house.settings.public_url or str(house.request.base_url).rstrip("/")
    fresh = f"{root}{invitation_path(token)}" if token else ""
    roles = [(role.value, words) for role, words in ROLES.items()]
    context = InvitingPage(form, roles, machines, fresh, bool(made) and token is None, only_here(root))
    return _private(house.page("accounts/inviting.html", context, status))


def _private(answer: Response) -> Response:
    """The address of such a page is a secret, or it shows one."""
    answer.headers["Cache-Control"] = "no-store"
    return answer
