"""Signing in and out."""

from dataclasses import dataclass
from urllib.parse import urlencode, urlsplit

from fastapi import APIRouter
from starlette.responses import Response

from server.access.codes import expect_code
from server.access.door import cookie_name, door_of
from server.access.identity import signed_in_as
from server.access.sign_ins import HALF_WAY_S, LASTS, begin, half_way_in, prove, sign_out
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House
from server.records.errors import Invalid
from server.records.tables import Account

router = APIRouter()
HALF_WAY = "putback-half-way"


@dataclass(frozen=True, slots=True)
class SignInPage:
    """The form that asks who it is.

    `needed` is false where nobody has an account yet, `first` is true for whoever just opened the first.
    """

    form: Form
    needed: bool
    first: bool


@dataclass(frozen=True, slots=True)
class CodePage:
    """The form that asks for a code of somebody's device."""

    form: Form


@router.get("/sign-in")
def sign_in_page(house: AtHome, to: str = "/") -> Response:
    return _page(house, Form.blank(name="", to=_within(to)))


@router.post("/sign-in")
def sign_somebody_in(house: AtHome, form: PostedForm) -> Response:
    try:
        account = prove(house.store, form.text("name"), form.text("password"))
    except Invalid as problem:
        form.refuse(problem)
        return _page(house, form, 422)
    to = _within(form.text("to"))
    if account.asks_code:
        return _half_way(house, account, to)
    return keep_cookie(house, house.go(to), begin(house.store, account, browser_of(house)))


def _half_way(house: House, account: Account, to: str) -> Response:
    answer = house.go(f"/sign-in/code?{urlencode({'to': to})}")
    answer.set_cookie(
        HALF_WAY,
        door_of(house.request).cookies.half_way(account),
        max_age=HALF_WAY_S,
        path="/sign-in",
        secure=_is_safe(house),
        httponly=True,
        samesite="lax",
    )
    return answer


@router.get("/sign-in/code")
def code_page(house: AtHome, to: str = "/") -> Response:
    if _half_way_in(house) is None:
        return house.go("/sign-in")
    return house.page("accounts/code.html", CodePage(Form.blank(to=_within(to))))


@router.post("/sign-in/code")
def sign_in_by_code(house: AtHome, form: PostedForm) -> Response:
    account = _half_way_in(house)
    if account is None:
        form.errors[""] = "That took too long, or began elsewhere. Begin again with your name and password."
        return _page(house, form, 422)
    try:
        expect_code(house.store, account, form.text("code"))
    except Invalid as problem:
        form.refuse(problem)
        return house.page("accounts/code.html", CodePage(form), 422)
    answer = keep_cookie(house, house.go(_within(form.text("to"))), begin(house.store, account, browser_of(house)))
    answer.delete_cookie(HALF_WAY, path="/sign-in", secure=_is_safe(house), httponly=True, samesite="lax")
    return answer


def _half_way_in(house: House) -> Account | None:
    request = house.request
    return half_way_in(house.store, door_of(request).cookies, request.cookies.get(HALF_WAY, ""))


def browser_of(house: House) -> str:
    return house.request.headers.get("user-agent", "")


@router.post("/sign-out")
def sign_somebody_out(house: AtHome) -> Response:
    if who := signed_in_as(house.request):
        sign_out(house.store, who)
    answer = house.go("/sign-in")
    answer.delete_cookie(cookie_name(house.request), secure=_is_safe(house), httponly=True, samesite="lax")
    return answer


def keep_cookie(house: House, answer: Response, token: str) -> Response:
    """The browser keeps it for this house alone, and no script reads it."""
    answer.set_cookie(
        cookie_name(house.request),
        door_of(house.request).cookies.sealed(token),
        max_age=int(LASTS.total_seconds()),
        secure=_is_safe(house),
        httponly=True,
        samesite="lax",
    )
    return answer


def _is_safe(house: House) -> bool:
    return house.request.url.scheme == "https"


def _within(address: str) -> str:
    """Where to go on to: only within this house, whatever the address says."""
    try:
        parts = urlsplit(address.replace("\\", "/"))
    except ValueError:  # such as half of an address in brackets
        return "/"
    within = not parts.scheme and not parts.netloc and parts.path.startswith("/") and not parts.path.startswith("//")
    if not within or not address.isprintable() or parts.path.startswith("/sign-"):
        return "/"
    return f"{parts.path}?{parts.query}" if parts.query else parts.path


def _page(house: House, form: Form, status: int = 200) -> Response:
    first = house.request.query_params.get("first", "") == "yes"
    context = SignInPage(form, door_of(house.request).closed, first)
    return house.page("accounts/sign_in.html", context, status)
