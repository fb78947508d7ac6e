"""One's own account: who one signs as, the password, and the browsers one is signed in with."""

from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import Response

from server.access.identity import signed_in_as
from server.access.passwords import hashed_twice
from server.access.sign_ins import Browser, SignedIn, begin, browsers_of, expect_password, sign_out
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House
from server.pages.signing_in import keep_cookie
from server.records.commands.accounts import ChangePassword
from server.records.errors import Invalid, NotFound
from server.records.questions.accounts import find_account

router = APIRouter()


@dataclass(frozen=True, slots=True)
class AccountPage:
    """Who one is here."""

    who: SignedIn
    browsers: list[Browser]
    form: Form


@router.get("/account")
def account_page(house: AtHome) -> Response:
    return _page(house, _who(house), Form.blank())


@router.post("/account/password")
def change_own_password(house: AtHome, form: PostedForm) -> Response:
    """The old one is asked for again; every other sign-in ends, and this one goes on with a new cookie."""
    who = _who(house)
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
    token = begin(house.store, account, house.request.headers.get("user-agent", ""))
    return keep_cookie(house, house.go("/account", done), token)


@router.post("/account/sign-ins/{key:int}/end")
def end_sign_in(house: AtHome, key: int) -> Response:
    sign_out(house.store, _who(house), key)
    return house.go("/account")


def _who(house: House) -> SignedIn:
    """Who asks. Raises NotFound where no account is needed."""
    if who := signed_in_as(house.request):
        return who
    raise NotFound("account", "of yours: this record is kept without accounts")


def _page(house: House, who: SignedIn, form: Form, status: int = 200) -> Response:
    with house.reading() as session:
        browsers = browsers_of(session, who)
    return house.page("accounts/account.html", AccountPage(who, browsers, form), status)
