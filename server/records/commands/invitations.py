"""Inviting somebody by a link, which lets whoever opens it make one account of the kind that a keeper chose.

The token in the link never comes here: a command brings its digest, so that the journal lets nobody in.
"""

from typing import Annotated

from pydantic import AfterValidator
from sqlmodel import select

from server.records import clock
from server.records.commands.accounts import Name, OpenAccount, PasswordHash, machines_named, opened
from server.records.commands.base import Command, Line, NeededLine, OptionalDayAhead
from server.records.commands.share_links import digest_of_a_token
from server.records.errors import Invalid, NotFound, Refused
from server.records.questions.accounts import any_account
from server.records.questions.addresses import next_number, storable
from server.records.questions.invitations import invited_by, tags_of
from server.records.tables import Invitation
from server.records.words import Role
from server.records.work import Entry, Work, handles

Digest = Annotated[str, AfterValidator(digest_of_a_token)]


class MakeInvitation(Command):
    """Who will sign as, if that is known, what they may do, and until when the link lets them in."""

    signs_as: Line = ""
    role: Role = Role.MEMBER
    machines: list[Line] = []
    last_day: OptionalDayAhead = None
    digest: Digest


class WithdrawInvitation(Command):
    """Its link lets nobody in from now on."""

    number: int


class AcceptInvitation(Command):
    """Whoever has the link opens their account, once."""

    digest: Digest
    name: Name
    signs_as: NeededLine
    password_hash: PasswordHash


@handles(MakeInvitation)
def make_invitation(work: Work, command: MakeInvitation) -> Entry:
    if not any_account(work.session):
        raise Refused("Open your own account first: the first one is a keeper’s.")
    if command.last_day is None or command.last_day < clock.today():
        raise Invalid({"last_day": f"Say a last day; the first that will do is {clock.today()}."})
    machines = machines_named(work.session, command.role, command.machines)
    invitation = work.add(
        Invitation(
            number=next_number(work.session, Invitation.number),
            digest=command.digest,
            signs_as=command.signs_as,
            role=command.role.value,
            machines=[machine.key for machine in machines],
            last_day=command.last_day,
        )
    )
    kind = ", ".join([invitation.role, *(machine.tag for machine in machines)])
    words = f"Invitation {invitation.number} was made: {kind}, until the end of {invitation.last_day}."
    return Entry("make invitation", invitation, words)


@handles(WithdrawInvitation)
def withdraw_invitation(work: Work, command: WithdrawInvitation) -> Entry:
    query = select(Invitation).where(Invitation.number == storable(command.number))
    invitation = work.session.exec(query).first()
    if invitation is None:
        raise NotFound("invitation", command.number)
    if invitation.used_on or invitation.withdrawn_on:
        ended = f"used on {invitation.used_on}" if invitation.used_on else f"withdrawn on {invitation.withdrawn_on}"
        raise Refused(f"Invitation {invitation.number} was {ended} already.")
    invitation.withdrawn_on = clock.today()
    return Entry("withdraw invitation", invitation, f"Invitation {invitation.number} was withdrawn.")


@handles(AcceptInvitation)
def accept_invitation(work: Work, command: AcceptInvitation) -> Entry:
    invitation = invited_by(work.session, command.digest, clock.today())
    if invitation is None:
        raise Refused("This invitation lets nobody in any more. Ask the keeper who sent it for another one.")
    invitation.used_on = clock.today()
    account = opened(
        work,
        OpenAccount(
            name=command.name,
            signs_as=command.signs_as,
            role=Role(invitation.role),
            machines=tags_of(work.session, invitation),
            password_hash=command.password_hash,
        ),
    )
    words = f"{account.signs_as} opened an account by invitation {invitation.number}: {account.role}."
    return Entry("accept invitation", account, words)
