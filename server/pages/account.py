"""One's own account: who one signs as, the password, and the browsers one is signed in with."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.responses import Response

from server.access.api_tokens import make_token, tokens_of, withdraw_token
from server.access.identity import signed_in_as
from server.access.passwords import hashed_twice
from server.access.sign_ins import Browser, SignedIn, begin, browsers_of, expect_password, sign_out
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House
from server.pages.shown_once import shown_once
from server.pages.signing_in import browser_of, keep_cookie
from server.records import clock
from server.records.commands.accounts import ChangePassword
from server.records.errors import Invalid, NotFound
from server.records.questions.accounts import find_account
from server.records.tables import ApiToken
from server.records.words import Role, Scope

router = APIRouter()
TOKEN_USUAL_DAYS = 90


@dataclass(frozen=True, slots=True)
class AccountPage:
    """Who one is here."""

    who: SignedIn
    browsers: list[Browser]
    form: Form
    tokens: Sequence[ApiToken]
    token_form: Form
    scopes: list[tuple[str, str]]
    fresh: str
    shown: bool
    today: date


@router.get("/account")
def account_page(house: AtHome) -> Response:
    made = house.request.query_params.get("made", "")
    token = shown_once(house.request.app).take(made) if made else None
    return _page(house, who_asks(house), Form.blank(), fresh=token or "", shown=bool(made) and token is None)


@router.post("/account/password")
def change_own_password(house: AtHome, form: PostedForm) -> Response:
    """The old one is asked for again; every other sign-in ends, and this one goes on with a new cookie."""
    who = who_asks(house)
    try:
        expect_password(house.store, who, form.text("old"), "old")
        password_hash = hashed_twice(form.text("password"), form.text("again"), who.name)
        command = ChangePassword(account=who.name, password_hash=password_hash)
    except Invalid as problem:
        form.refuse(problem)
        return _page(house, who, form, 422)
    done = house.store.carry_out(command, house.who)
    with house.reading() as session:
        account = find_account(session, who.name)
    token = begin(house.store, account, browser_of(house))
    return keep_cookie(house, house.go("/account", done), token)


@router.post("/account/sign-ins/{key:int}/end")
def end_sign_in(house: AtHome, key: int) -> Response:
    sign_out(house.store, who_asks(house), key)
    return house.go("/account")


@router.post("/account/tokens")
def make_own_token(house: AtHome, form: PostedForm) -> Response:
    """The token goes no further than the page that shows it."""
    who = who_asks(house)
    try:
        token = make_token(house.store, who, form.text("name"), form.many("scopes"), _day(form.text("last_day")))
    except Invalid as problem:
        form.refuse(problem)
        return _page(house, who, Form.blank(), 422, token_form=form)
    key = shown_once(house.request.app).keep(token)
    return house.go(f"/account?{urlencode({'made': key})}#new")


@router.post("/account/tokens/{key:int}/withdraw")
def withdraw_own_token(house: AtHome, key: int) -> Response:
    withdraw_token(house.store, who_asks(house), key)
    return house.go("/account#tokens")


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise Invalid({"last_day": "Write the day as year-month-day, such as 2026-09-30."}) from None


def who_asks(house: House) -> SignedIn:
    """Who asks. Raises NotFound where no account is needed."""
    if who := signed_in_as(house.request):
        return who
    raise NotFound("account", "of yours: this record is kept without accounts")


def _page(
    house: House,
    who: SignedIn,
    form: Form,
    status: int = 200,
    token_form: Form | None = None,
    fresh: str = "",
    shown: bool = False,
) -> Response:
    today = clock.today()
    with house.reading() as session:
        browsers, tokens = browsers_of(session, who), tokens_of(session, who)
    usual = Form.blank(name="", scopes=[Scope.READ.value], last_day=today + timedelta(TOKEN_USUAL_DAYS))
    token_form = token_form or usual
    token_form.prefix = "token"
    offered = [Scope.READ] if who.role is Role.MEMBER else [*Scope]
    scopes = [(scope.value, SCOPES[scope]) for scope in offered]
    context = AccountPage(who, browsers, form, tokens, token_form, scopes, fresh, shown, today)
    response = house.page("accounts/account.html", context, status)
    response.headers["Cache-Control"] = "no-store"
    return response


SCOPES = {
    Scope.READ: "read: machines and procedures",
    Scope.RECORD_TRIALS: "record trials, on machines that you may write about",
}
