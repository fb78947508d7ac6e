"""Making and withdrawing share links, which open one machine's mod sheet to whoever has them.

The token in a link never comes here: a command brings its digest, so that neither the record nor the journal can open
anything. To whom a link was given is private, so no sentence of the journal says it.
"""

from datetime import date
from typing import Annotated, Literal

from pydantic import AfterValidator

from server.records import clock
from server.records.commands.base import Command, NeededLine, OptionalDayAhead
from server.records.errors import Invalid, Refused
from server.records.questions.addresses import find_machine, find_share_link, next_number
from server.records.questions.share_links import until
from server.records.questions.signed_sheets import DIGITS, HEX
from server.records.tables import ShareLink
from server.records.work import Entry, Work, handles


def digest_of_a_token(text: str) -> str:
    if len(text) != DIGITS or not HEX.fullmatch(text):
        raise ValueError("Send the SHA-256 of the link's token.")
    return text


class ShareLinkFields(Command):
    """Whom a link is for, how long a sheet it opens, and until when; that it has no last day has to be chosen."""

    to_whom: NeededLine
    length: Literal["full", "short"] = "full"
    lasts: Literal["day", "never"] = "day"
    expires_on: OptionalDayAhead = None


class MakeShareLink(ShareLinkFields):
    """A link whose token has this digest."""

    machine: str
    digest: Annotated[str, AfterValidator(digest_of_a_token)]


class WithdrawShareLink(Command):
    """A link opens nothing from now on."""

    machine: str
    number: int


@handles(MakeShareLink)
def make_share_link(work: Work, command: MakeShareLink) -> Entry:
    machine = find_machine(work.session, command.machine)
    link = work.add(
        ShareLink(
            machine_id=machine.key,
            number=next_number(work.session, ShareLink.number, ShareLink.machine_id == machine.id),
            digest=command.digest,
            to_whom=command.to_whom,
            length=command.length,
            made_on=clock.today(),
            expires_on=_last_day(command),
        )
    )
    words = (
        f"A share link was made for {machine.tag}: link {link.number}, its {link.length} mod sheet, open {until(link)}."
    )
    return Entry("make share link", link, words, machine)


@handles(WithdrawShareLink)
def withdraw_share_link(work: Work, command: WithdrawShareLink) -> Entry:
    machine = find_machine(work.session, command.machine)
    link = find_share_link(work.session, machine, command.number)
    if link.withdrawn_on:
        raise Refused(f"Link {link.number} was withdrawn on {link.withdrawn_on} already, by {link.withdrawn_by}.")
    link.withdrawn_on, link.withdrawn_by = clock.today(), work.who
    return Entry("withdraw share link", link, f"Share link {link.number} of {machine.tag} was withdrawn.", machine)


def _last_day(command: MakeShareLink) -> date | None:
    if command.lasts == "never":
        return None
    if command.expires_on is None:
        raise Invalid({"expires_on": "Say until which day it opens the sheet, or choose that it has no last day."})
    if command.expires_on < clock.today():
        raise Invalid({"expires_on": f"{command.expires_on} is over. The first day that will do is {clock.today()}."})
    return command.expires_on
