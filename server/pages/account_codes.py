"""Codes of a device beside one's own password: set up, proved by a first code, and switched off again."""

from dataclasses import dataclass
from urllib.parse import urlencode

from fastapi import APIRouter
from markupsafe import Markup
from starlette.responses import Response

from server.access.codes import (
    address_for_device,
    begin_codes,
    digest_of_code,
    expect_code,
    new_recovery_codes,
    recovery_codes_left,
    replace_recovery_codes,
    secret_of,
)
from server.access.sign_ins import SignedIn, begin, expect_password
from server.documents.codes import qr_code
from server.pages.account import who_asks
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House
from server.pages.shown_once import shown_once
from server.pages.signing_in import browser_of, keep_cookie
from server.records.commands.accounts import AskForCodes, StopAskingForCodes
from server.records.errors import Invalid
from server.records.questions.accounts import find_account
from server.records.tables import Account

router = APIRouter()
HERE = "/account/codes"


@dataclass(frozen=True, slots=True)
class CodesPage:
    """Whether codes are asked for; the secret and its picture while a device is set up; codes that are shown once."""

    asked: bool
    secret: str
    picture: Markup
    form: Form
    left: int
    fresh: list[str]


@router.get(HERE)
def codes_page(house: AtHome) -> Response:
    made = house.request.query_params.get("made", "")
    fresh = (shown_once(house.request.app).take(made) or "").split() if made else []
    return _page(house, Form.blank(), fresh=fresh)


@router.post(f"{HERE}/begin")
def begin_own_codes(house: AtHome) -> Response:
    who = who_asks(house)
    if not _account(house, who).asks_code:
        begin_codes(house.store, who)
    return house.go(HERE)


@router.post(HERE)
def ask_for_own_codes(house: AtHome, form: PostedForm) -> Response:
    """A first code proves that the device has the secret; every other browser signs in again."""
    account = _account(house, who_asks(house))
    if account.asks_code:
        return house.go(HERE)
    try:
        expect_code(house.store, account, form.text("code"), recovery=False)
    except Invalid as problem:
        form.refuse(problem)
        return _page(house, form, 422)
    codes = new_recovery_codes()
    command = AskForCodes(account=account.name, recovery=[digest_of_code(code) for code in codes])
    house.store.carry_out(command, house.who)
    key = shown_once(house.request.app).keep(" ".join(codes))
    token = begin(house.store, account, browser_of(house))
    return keep_cookie(house, house.go(f"{HERE}?{urlencode({'made': key})}"), token)


@router.post(f"{HERE}/recovery")
def make_recovery_codes(house: AtHome, form: PostedForm) -> Response:
    who = who_asks(house)
    try:
        expect_password(house.store, who, form.text("old"), "old")
    except Invalid as problem:
        form.refuse(problem)
        return _page(house, form, 422)
    codes = replace_recovery_codes(house.store, who.account) if _account(house, who).asks_code else []
    return house.go(f"{HERE}?{urlencode({'made': shown_once(house.request.app).keep(' '.join(codes))})}")


@router.post(f"{HERE}/off")
def stop_own_codes(house: AtHome, form: PostedForm) -> Response:
    who = who_asks(house)
    try:
        expect_password(house.store, who, form.text("off"), "off")
    except Invalid as problem:
        form.refuse(problem)
        return _page(house, form, 422)
    return house.go(HERE, house.store.carry_out(StopAskingForCodes(account=who.name), house.who))


def _account(house: House, who: SignedIn) -> Account:
    with house.reading() as session:
        return find_account(session, who.name)


def _page(house: House, form: Form, status: int = 200, fresh: list[str] | None = None) -> Response:
    account = _account(house, who_asks(house))
    secret = "" if account.asks_code else secret_of(house.store, account.key)
    picture = Markup(qr_code(address_for_device(secret, account.name))[0]) if secret else Markup()  # noqa: S704
    left = recovery_codes_left(house.store, account.key) if account.asks_code else 0
    groups = " ".join(secret[place : place + 4] for place in range(0, len(secret), 4))
    response = house.page(
        "accounts/codes.html", CodesPage(account.asks_code, groups, picture, form, left, fresh or []), status
    )
    response.headers["Cache-Control"] = "no-store"
    return response
