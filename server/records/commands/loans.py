"""Lending a part out of its bag, taking it back, and finding one again that was gone.

To whom is private, so no sentence of the journal says it.
"""

from server.records.commands.bag_places import BagNumber, bag_place
from server.records.commands.base import Command, Day, Line, NeededLine, OptionalDayAhead, OptionalInt, Prose
from server.records.commands.parts import last_position, machine_at, origin_of, sentence
from server.records.errors import Invalid, Refused
from server.records.placing import describe, end_loan, expect_loan_seen, lend, open_bag, open_loan, put_in_bag
from server.records.questions.addresses import find_part
from server.records.words import Gone
from server.records.work import Entry, Work, handles


class LendPart(Command):
    """Lend a part that lies in a bag; the bag waits for it."""

    part: int
    to_whom: NeededLine
    day: Day
    due: OptionalDayAhead = None
    signer: Line = ""
    note: Prose = ""


class TakeBack(Command):
    """A part that was lent is in its bag again; in another condition, where one is named.

    `loan` is the key of the loan that the keeper saw.
    """

    part: int
    loan: OptionalInt = None
    day: Day
    condition: Line = ""
    note: Prose = ""


class FindAgain(Command):
    """A part that was lost, or held to be discarded, was found: it lies in a bag from now on."""

    part: int
    day: Day
    bag: BagNumber = None
    place: Line = ""
    condition: Line = ""
    signer: Line = ""
    note: Prose = ""


@handles(LendPart)
def lend_part(work: Work, command: LendPart) -> Entry:
    part = find_part(work.session, command.part)
    if command.due and command.due < command.day:
        raise Invalid({"due": f"It is lent on {command.day}; it cannot be due before."})
    about = {"to_whom": command.to_whom, "due": command.due, "signer": command.signer, "note": command.note}
    bag = lend(work, part, command.day, **about)
    due = f", due back on {command.due}" if command.due else ""
    words = f"Lent {describe(part)} out of bag {bag.bag} on {command.day}{due}."
    return Entry("lend part", part, words, machine_at(work.session, origin_of(work.session, bag)))


@handles(TakeBack)
def take_back(work: Work, command: TakeBack) -> Entry:
    part = find_part(work.session, command.part)
    loan, bag = open_loan(work.session, part), open_bag(work.session, part)
    expect_loan_seen(work.session, part, command.loan)
    if loan is None or bag is None:
        raise Refused("That part is not lent, so it cannot be taken back.")
    end_loan(work, loan, command.day)
    loan.note = "\n\n".join(filter(None, [loan.note, command.note]))
    origin = origin_of(work.session, bag)
    words = f"Took {describe(part)} back into bag {bag.bag} on {command.day}"
    if command.condition and command.condition != bag.condition:
        bag.until = command.day
        work.session.flush()
        put_in_bag(work, part, command.day, bag.bag, bag.place, command.condition, origin)
        words = f"{words}, {command.condition}"
    return Entry("take back", part, f"{words}.", machine_at(work.session, origin))


@handles(FindAgain)
def find_again(work: Work, command: FindAgain) -> Entry:
    part = find_part(work.session, command.part)
    how, gone_on = part.gone, part.gone_on
    if how not in (Gone.LOST, Gone.DISCARDED) or gone_on is None:
        said = "was handed over" if how else "is not gone"
        raise Refused(f"Only a part that was lost or discarded can be found again; that one {said}.")
    if command.day < gone_on:
        raise Invalid({"day": f"It was {how} on {gone_on}; that is later."})
    origin = last_position(work.session, part)
    part.gone, part.gone_on = None, None
    where = bag_place(work, command.bag, command.place)
    bag = put_in_bag(work, part, command.day, command.bag, where, command.condition, origin)
    signed = f", signed {command.signer}" if command.signer else ""
    words = f"Found {describe(part)} again on {command.day}, {how} since {gone_on}; it lies in bag {bag.bag}{signed}"
    return Entry("find again", part, sentence(words, command.note), machine_at(work.session, origin))
