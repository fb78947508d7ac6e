"""Who may come in."""

import sys
from contextlib import closing
from typing import Annotated

import typer

from server.app import configure_logs, open_record
from server.cli.common import Data, Refusal, app, console, expect_record, plainly, settings_of
from server.records.commands.accounts import ChangePassword, OpenAccount, StopAskingForCodes
from server.records.questions.accounts import any_account, people
from server.records.words import Role

user = typer.Typer(no_args_is_help=True, help="Let people in, and see who they are.")
app.add_typer(user, name="user")


@user.command("add")
def add_user(
    name: Annotated[str, typer.Argument(help="Name to sign in with.")],
    signs_as: Annotated[str, typer.Option(help="What stands beside what they write; otherwise their name.")] = "",
    role: Annotated[Role, typer.Option(help="What they may do.")] = Role.KEEPER,
    machine: Annotated[list[str] | None, typer.Option(help="Tag of a machine that they keep; may be repeated.")] = None,
    data: Data = None,
) -> None:
    """Open an account; the password is asked for, or read from standard input."""
    from server.access.passwords import hashed

    with plainly(), closing(open_record(settings := settings_of(data=data))) as store:
        configure_logs(settings)
        with store.reading() as session:
            first = not any_account(session)
        if first and role is not Role.KEEPER:
            raise Refusal("The first account is a keeper’s, because somebody has to let the others in.")
        typed = {"name": name, "signs_as": signs_as or name, "role": role, "machines": machine or []}
        command = OpenAccount.read({**typed, "password_hash": hashed(_password(), name)})
        console.print(store.carry_out(command, settings.keeper).words, markup=False, highlight=False, soft_wrap=True)
        if first:
            console.print("From now on everybody has to sign in, at a server that is running too.", highlight=False)


@user.command("password")
def set_password(name: Annotated[str, typer.Argument(help="Name that they sign in with.")], data: Data = None) -> None:
    """Give somebody another password; it is asked for, or read from standard input."""
    from server.access.passwords import hashed

    with plainly():
        settings = settings_of(data=data)
        expect_record(settings)
        configure_logs(settings)
        with closing(open_record(settings)) as store:
            command = ChangePassword.read({"account": name, "password_hash": hashed(_password(), name)})
            console.print(store.carry_out(command, settings.keeper).words, highlight=False, soft_wrap=True)


@user.command("codes-off")
def codes_off(name: Annotated[str, typer.Argument(help="Name that they sign in with.")], data: Data = None) -> None:
    """Let somebody who lost their device sign in by the password alone."""
    with plainly():
        settings = settings_of(data=data)
        expect_record(settings)
        configure_logs(settings)
        with closing(open_record(settings)) as store:
            done = store.carry_out(StopAskingForCodes.read({"account": name}), settings.keeper)
            console.print(done.words, markup=False, highlight=False, soft_wrap=True)


@user.command("list")
def list_users(data: Data = None) -> None:
    """Everybody who has an account, and what they may do."""
    with plainly():
        settings = settings_of(data=data)
        expect_record(settings)
        with closing(open_record(settings)) as store, store.reading() as session:
            found = people(session, 1, 10_000).rows
    for one in found:
        does = "closed" if one.account.closed else ", ".join([one.account.role, *one.tags])
        console.print(
            f"{one.account.name}: {one.account.signs_as}, {does}", markup=False, highlight=False, soft_wrap=True
        )
    if not found:
        console.print("Nobody has an account. Open the first with: putback user add NAME", highlight=False)


def _password() -> str:
    """Typed twice on a terminal, where nobody sees it; else the first line that is sent."""
    if sys.stdin.isatty():
        return str(typer.prompt("Password", hide_input=True, confirmation_prompt=True))
    return sys.stdin.readline().rstrip("\r\n")
