"""Accounts: opened, revised, closed, and given another password.

Which password it is no command tells and no journal keeps: a command brings its hash, which stands apart from the
record.
"""

import re
from typing import Annotated

from pydantic import AfterValidator, Field
from sqlmodel import Session, col, delete, select

from server.records.commands.base import Command, Line, NeededLine, change, expect_version
from server.records.errors import Invalid, NotFound, Refused
from server.records.questions.accounts import find_account, machines_kept
from server.records.questions.addresses import find_machine, tag_key
from server.records.tables import (
    Account,
    AccountMachine,
    AccountSecret,
    ApiToken,
    CodeSecret,
    Machine,
    RecoveryCode,
    SignIn,
)
from server.records.words import Role
from server.records.work import Entry, Work, handles

NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._@-]{0,39}", re.ASCII)
HASH = re.compile(r"\$argon2id\$[!-~]{20,200}", re.ASCII)
NO_KEEPER_LEFT = "Nobody would be left who may keep everything. Make somebody else a keeper first."


def _name(text: str) -> str:
    if not NAME.fullmatch(text):
        raise ValueError("A name to sign in with is up to 40 letters, digits, dots, hyphens, underscores or @.")
    return text


def _hash(text: str) -> str:
    if not HASH.fullmatch(text):
        raise ValueError("A password is kept as its Argon2id hash.")
    return text


Name = Annotated[NeededLine, AfterValidator(_name)]
PasswordHash = Annotated[str, AfterValidator(_hash), Field(repr=False)]


class AccountFields(Command):
    """Who somebody is and what they may do; `machines` are the tags of those that they keep."""

    signs_as: NeededLine
    role: Role = Role.MEMBER
    machines: list[Line] = []


class OpenAccount(AccountFields):
    name: Name
    password_hash: PasswordHash


class ReviseAccount(AccountFields):
    account: Name
    opened_version: int


class CloseAccount(Command):
    """Nobody signs in with it any more, and its tokens end for good; what was written stays signed."""

    account: Name
    opened_version: int


class ReopenAccount(Command):
    account: Name
    opened_version: int


class ChangePassword(Command):
    account: Name
    password_hash: PasswordHash


class AskForCodes(Command):
    """Signing in takes a code of the account's device as well; `recovery` are the digests of what stands in for it."""

    account: Name
    recovery: Annotated[list[str], Field(repr=False)] = []


class StopAskingForCodes(Command):
    account: Name


@handles(OpenAccount)
def open_account(work: Work, command: OpenAccount) -> Entry:
    account = opened(work, command)
    return Entry("open account", account, f"Opened an account for {account.signs_as}: {_told(account, command)}.")


def opened(work: Work, command: OpenAccount) -> Account:
    """A new account with its machines and its password."""
    key = command.name.casefold()
    if work.session.exec(select(Account.id).where(Account.name_key == key)).first() is not None:
        raise Invalid({"name": f"Somebody signs in as {command.name} already. Choose another name."})
    account = work.add(
        Account(
            name=command.name,
            name_key=key,
            signs_as=command.signs_as,
            role=command.role.value,
            password_set_at=work.at,
        )
    )
    _give_machines(work, account, command)
    _set_password(work.session, account, command.password_hash)
    return account


@handles(ReviseAccount)
def revise_account(work: Work, command: ReviseAccount) -> Entry:
    account = find_account(work.session, command.account)
    values = {"signs_as": command.signs_as, "role": command.role.value}
    tags = ", ".join(machine.tag for machine in machines_kept(work.session, account))
    told = values | {"machines": ", ".join(command.machines)}
    expect_version("account", account, command.opened_version, told, {"machines": tags})
    said = [change(account, values)]
    if _give_machines(work, account, command):
        said.append(f"keeps {', '.join(command.machines) or 'no machine of its own'}")
    _expect_a_keeper(work.session)
    return Entry("revise account", account, f"Account of {account.signs_as}: {'; '.join(filter(None, said))}.")


@handles(CloseAccount)
def close_account(work: Work, command: CloseAccount) -> Entry:
    account = find_account(work.session, command.account)
    expect_version("account", account, command.opened_version, {})
    account.closed = True
    work.session.exec(delete(ApiToken).where(col(ApiToken.account_id) == account.key))
    work.session.flush()
    _expect_a_keeper(work.session)
    return Entry("close account", account, f"Closed the account of {account.signs_as}.")


@handles(ReopenAccount)
def reopen_account(work: Work, command: ReopenAccount) -> Entry:
    account = find_account(work.session, command.account)
    expect_version("account", account, command.opened_version, {})
    account.closed = False
    return Entry("reopen account", account, f"Opened the account of {account.signs_as} again.")


@handles(AskForCodes)
def ask_for_codes(work: Work, command: AskForCodes) -> Entry:
    """Whoever is signed in signs in again, with a code."""
    account = find_account(work.session, command.account)
    if work.session.get(CodeSecret, account.key) is None:
        raise Refused("No device makes codes for this account yet.")
    if account.asks_code:
        raise Refused("A code is asked for already.")
    account.asks_code = True
    work.session.exec(delete(SignIn).where(col(SignIn.account_id) == account.key))
    work.session.exec(delete(RecoveryCode).where(col(RecoveryCode.account_id) == account.key))
    work.session.add_all(RecoveryCode(account_id=account.key, digest=digest) for digest in command.recovery)
    return Entry("ask for codes", account, f"{account.signs_as} signs in with a code as well as the password.")


@handles(StopAskingForCodes)
def stop_asking_for_codes(work: Work, command: StopAskingForCodes) -> Entry:
    account = find_account(work.session, command.account)
    account.asks_code = False
    for table in (CodeSecret, RecoveryCode):
        work.session.exec(delete(table).where(col(table.account_id) == account.key))
    return Entry("stop asking for codes", account, f"{account.signs_as} signs in with the password alone.")


@handles(ChangePassword)
def change_password(work: Work, command: ChangePassword) -> Entry:
    account = find_account(work.session, command.account)
    account.password_set_at = work.at
    _set_password(work.session, account, command.password_hash)
    return Entry("change password", account, f"{account.signs_as} has another password.")


def _set_password(session: Session, account: Account, password_hash: str) -> None:
    secret = session.get(AccountSecret, account.key) or AccountSecret(account_id=account.key, password_hash="")
    secret.password_hash = password_hash
    session.add(secret)


def _give_machines(work: Work, account: Account, command: AccountFields) -> bool:
    """Make the machines that somebody keeps those that are named; whether anything changed."""
    wanted = {machine.key: machine for machine in machines_named(work.session, command.role, command.machines)}
    query = select(AccountMachine).where(AccountMachine.account_id == account.id)
    kept = {row.machine_id: row for row in work.session.exec(query)}
    for key in kept.keys() - wanted.keys():
        work.session.delete(kept[key])
    for key in sorted(wanted.keys() - kept.keys()):
        work.session.add(AccountMachine(account_id=account.key, machine_id=key))
    work.session.flush()
    return kept.keys() != wanted.keys()


def machines_named(session: Session, role: Role, tags: list[str]) -> list[Machine]:
    """The machines of those tags, for a role that keeps some."""
    if tags and role is not Role.KEEPER_OF_MACHINES:
        raise Invalid({"machines": f"A {role.value} is given no machines. Choose “{Role.KEEPER_OF_MACHINES.value}”."})
    try:
        return [find_machine(session, tag) for tag in dict.fromkeys(map(tag_key, tags))]
    except NotFound as missing:
        raise Invalid({"machines": str(missing)}) from None


def _expect_a_keeper(session: Session) -> None:
    """Somebody has to be able to let others in."""
    keepers = select(Account.id).where(Account.role == Role.KEEPER.value, col(Account.closed).is_(False))
    if session.exec(keepers).first() is None:
        raise Refused(NO_KEEPER_LEFT)


def _told(account: Account, command: AccountFields) -> str:
    return f"{account.role}, {', '.join(command.machines)}" if command.machines else account.role
