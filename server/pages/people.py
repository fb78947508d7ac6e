"""Everybody who has an account: opened, revised, closed, and given another password, by a keeper."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from urllib.parse import quote

from fastapi import APIRouter
from starlette.responses import Response

from server.access.door import door_of
from server.access.passwords import hashed_twice
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House, PageNumber
from server.pages.new_passwords import read_with_password
from server.records import clock
from server.records.commands.accounts import (
    ChangePassword,
    CloseAccount,
    OpenAccount,
    ReopenAccount,
    ReviseAccount,
    StopAskingForCodes,
)
from server.records.errors import Invalid, Refused
from server.records.questions.accounts import Person, find_account, machines_kept, people
from server.records.questions.invitations import open_invitations
from server.records.questions.machines import machines_offered
from server.records.questions.paging import Paged
from server.records.store import Done
from server.records.tables import Account, Invitation
from server.records.words import Role

router = APIRouter()
FIRST_OPENED = "/sign-in?first=yes&to=/people"
FIRST_IS_KEEPER = "The first account is a keeper’s, because somebody has to let the others in."


@dataclass(frozen=True, slots=True)
class PeoplePage:
    """Everybody who has an account; `open_house`: nobody has one yet."""

    people: Paged[Person]
    open_house: bool
    invitations: Sequence[Invitation]


@dataclass(frozen=True, slots=True)
class PersonForm:
    """The form of a new account, or of one that is revised."""

    account: Account | None
    form: Form
    roles: list[tuple[str, str]]
    machines: list[tuple[str, str]]
    action: str
    first: bool


@router.get("/people")
def people_page(house: AtHome, number: PageNumber) -> Response:
    with house.reading() as session:
        found, invitations = people(session, number), open_invitations(session, clock.today())
    return house.page("accounts/people.html", PeoplePage(found, not door_of(house.request).closed, invitations))


@router.get("/people/new")
def new_person(house: AtHome) -> Response:
    role = Role.MEMBER if door_of(house.request).closed else Role.KEEPER
    return _form(house, None, Form.blank(role=role.value))


@router.post("/people/new")
def open_account(house: AtHome, form: PostedForm) -> Response:
    try:
        command = _opening(house, form)
        done = house.store.carry_out(command, house.who)
    except Invalid as problem:
        form.refuse(problem)
        return _form(house, None, form, 422)
    first = not door_of(house.request).closed
    door_of(house.request).look()
    return house.go(FIRST_OPENED if first else "/people", done)


def _opening(house: House, form: Form) -> OpenAccount:
    """The first account has to be a keeper's."""
    command = read_with_password(form, OpenAccount)
    if not door_of(house.request).closed and command.role is not Role.KEEPER:
        raise Refused(FIRST_IS_KEEPER, "role")
    return command


@router.get("/people/{name}")
def person_page(house: AtHome, name: str) -> Response:
    return _stands(house, _account(house, name), Form.blank())


@router.post("/people/{name}")
def revise_account(house: AtHome, name: str, form: PostedForm) -> Response:
    account = _account(house, name)
    return house.write(form, ReviseAccount, _to_people, partial(_form, house, account), account=account.name)


@router.post("/people/{name}/close")
def close_account(house: AtHome, name: str, form: PostedForm) -> Response:
    account = _account(house, name)
    return house.write(form, CloseAccount, _to_people, partial(_stands, house, account), account=account.name)


@router.post("/people/{name}/reopen")
def reopen_account(house: AtHome, name: str, form: PostedForm) -> Response:
    account = _account(house, name)
    return house.write(form, ReopenAccount, _to_people, partial(_stands, house, account), account=account.name)


@router.post("/people/{name}/password")
def give_password(house: AtHome, name: str, form: PostedForm) -> Response:
    account = _account(house, name)
    try:
        password_hash = hashed_twice(form.text("password"), form.text("again"), account.name)
        command = ChangePassword(account=account.name, password_hash=password_hash)
    except Invalid as problem:
        form.refuse(problem)
        return _stands(house, account, form, 422)
    return house.go("/people", house.store.carry_out(command, house.who))


@router.post("/people/{name}/codes/off")
def stop_codes(house: AtHome, name: str) -> Response:
    """For somebody who lost their device."""
    command = StopAskingForCodes(account=_account(house, name).name)
    return house.go("/people", house.store.carry_out(command, house.who))


def _account(house: House, name: str) -> Account:
    with house.reading() as session:
        return find_account(session, name)


def _to_people(_: Done) -> str:
    return "/people"


def _stands(house: House, account: Account, form: Form, status: int = 200) -> Response:
    """The form of an account as it stands, with what was wrong with another act on its page."""
    with house.reading() as session:
        account = find_account(session, account.name)
        tags = [machine.tag for machine in machines_kept(session, account)]
    stored = Form.blank(signs_as=account.signs_as, role=account.role, machines=tags, opened_version=account.version)
    return _form(house, account, stored.with_refusal_of(form), status)


def _form(house: House, account: Account | None, form: Form, status: int = 200) -> Response:
    with house.reading() as session:
        machines = machines_offered(session)
    action = f"/people/{quote(account.name)}" if account else "/people/new"
    first = not door_of(house.request).closed
    roles = [(role.value, words) for role, words in ROLES.items() if role is Role.KEEPER or not first]
    context = PersonForm(account, form, roles, [] if first else machines, action, first)
    return house.page("accounts/person.html", context, status)


ROLES = {
    Role.KEEPER: "keeper: looks after everything, and lets others in",
    Role.KEEPER_OF_MACHINES: "keeper of some machines: writes about these, and reads everything",
    Role.MEMBER: "member who reads: looks at everything, and writes nothing",
}
