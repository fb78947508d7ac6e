"""Signing in and out."""

from dataclasses import dataclass
from urllib.parse import urlsplit

from fastapi import APIRouter
from starlette.responses import Response

from server.access.door import cookie_name, door_of
from server.access.identity import signed_in_as
from server.access.sign_ins import LASTS, sign_in, sign_out
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House
from server.records.errors import Invalid

router = APIRouter()


@dataclass(frozen=True, slots=True)
class SignInPage:
    """The form that asks who it is.

    `needed` is false where nobody has an account yet, `first` is true for whoever just opened the first.
    """

    form: Form
    needed: bool
    first: bool


@router.get("/sign-in")
def sign_in_page(house: AtHome, to: str = "/") -> Response:
    return _page(house, Form.blank(name="", to=_within(to)))


@router.post("/sign-in")
def sign_somebody_in(house: AtHome, form: PostedForm) -> Response:
    browser = house.request.headers.get("user-agent", "")
    try:
        token = sign_in(house.store, form.text("name"), form.text("password"), browser)
    except Invalid as problem:
        form.refuse(problem)
        return _page(house, form, 422)
    return keep_cookie(house, house.go(_within(form.text("to"))), token)


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
