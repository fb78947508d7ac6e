"""Where parts are: putting one at a position, taking it out, into a bag, lending it, or away for good.

Every command moves parts through these acts, so rule 1 (a part is in one place, a position holds one part) and the
order of days are checked here and nowhere else. A part that is lent is still its bag's, which waits for it.
"""

from datetime import date
from typing import Any

from sqlmodel import Session, col, func, select

from server.records.errors import Invalid, Refused
from server.records.questions.addresses import next_number
from server.records.questions.boards import emptied_by
from server.records.tables import Board, Loan, Part, Placement, Position, Step, Storage
from server.records.words import Gone
from server.records.work import Work

BAG_MOST = 999_999


def occupant(session: Session, position: Position) -> Placement | None:
    """The open placement at a position."""
    query = select(Placement).where(Placement.position_id == position.id, col(Placement.removed_on).is_(None))
    return session.exec(query).first()


def open_placement(session: Session, part: Part) -> Placement | None:
    query = select(Placement).where(Placement.part_id == part.id, col(Placement.removed_on).is_(None))
    return session.exec(query).first()


def open_bag(session: Session, part: Part) -> Storage | None:
    return session.exec(select(Storage).where(Storage.part_id == part.id, col(Storage.until).is_(None))).first()


def last_loan(session: Session, part: Part) -> Loan | None:
    """The latest loan of a part; without a last day, the part is still lent."""
    query = select(Loan).where(Loan.part_id == part.id).order_by(col(Loan.since).desc(), col(Loan.id).desc()).limit(1)
    return session.exec(query).first()


def open_loan(session: Session, part: Part) -> Loan | None:
    loan = last_loan(session, part)
    return loan if loan and loan.until is None else None


def next_bag(session: Session) -> int:
    """The first number above all that were ever used: a bag's number is never given twice by itself."""
    return next_number(session, Storage.bag)


def describe(part: Part) -> str:
    """A part in few words: “330 Ω resistor”, “74LS00 chip”."""
    return described(part.kind, part.type, part.value)


def described(kind: str, type_name: str, value: str) -> str:
    name = " ".join(filter(None, [type_name, value]))
    return f"{name} {kind}" if name else f"{kind} without a type"


def place(
    work: Work, part: Part, position: Position, day: date | None, step: Step | None = None, signer: str = ""
) -> Placement:
    """Put a part at an empty position. A part that lies in a bag leaves it."""
    session = work.session
    if there := occupant(session, position):
        held = session.get_one(Part, there.part_id)
        raise Refused(f"{position.designator} already holds a {describe(held)}. Take it out first.", "designator")
    if elsewhere := open_placement(session, part):
        other = session.get_one(Position, elsewhere.position_id)
        raise Refused(f"That part sits at {other.designator}. A part is in one place only.", "part")
    if part.gone:
        raise Refused(f"That part is {part.gone}; it cannot be fitted.", "part")
    if step is None:
        _expect_not_emptied_by_a_step(session, position)
    _check_day_at_position(session, position, day)
    _leave_bag(work, part, day)
    work.touched_positions.add(position.key)
    return work.add(
        Placement(
            part_id=part.key,
            position_id=position.key,
            fitted_on=day,
            fitted_by_step_id=step.key if step else None,
            signer=signer,
        )
    )


def _expect_not_emptied_by_a_step(session: Session, position: Position) -> None:
    """What a mod emptied is filled by a mod: else the part that came out could not return."""
    if emptied := emptied_by(session, position):
        raise Refused(
            f"Mod {emptied.mod} of {emptied.machine} took out what sat at {position.designator} (step {emptied.step}). "
            "Write what sits there now as a step of a mod, so that the way back stays known.",
            "designator",
        )


def take_out(work: Work, position: Position, day: date, step: Step | None = None) -> Part:
    """Close the open placement at a position and give the part, which now must go somewhere."""
    there = occupant(work.session, position)
    if there is None:
        raise Refused(f"Nothing is recorded at {position.designator}, so nothing can be taken out.", "designator")
    if there.fitted_on and day < there.fitted_on:
        raise Refused(f"The part at {position.designator} was fitted on {there.fitted_on}; that is later.", "day")
    there.removed_on = day
    there.removed_by_step_id = step.key if step else None
    work.touched_positions.add(position.key)
    work.session.flush()
    return work.session.get_one(Part, there.part_id)


def put_in_bag(
    work: Work, part: Part, day: date, bag: int | None, place_name: str, condition: str, origin: Position | None
) -> Storage:
    """Keep a part aside in a numbered bag; the number is given by itself unless one is named."""
    number = bag if bag is not None else next_bag(work.session)
    if not 1 <= number <= BAG_MOST:
        raise Invalid({"bag": f"A bag has a number from 1 to {BAG_MOST:,}."})
    return work.add(
        Storage(
            part_id=part.key,
            from_position_id=origin.key if origin else None,
            bag=number,
            place=place_name,
            since=day,
            condition=condition,
        )
    )


def lend(work: Work, part: Part, day: date, **about: Any) -> Storage:
    """Lend a part out of its bag, and give the bag, which waits for it."""
    bag = open_bag(work.session, part)
    if bag is None:
        raise Refused("Only a part that lies in a bag can be lent. Take it out by a step of a mod first.")
    if day < bag.since:
        raise Refused(f"It went into bag {bag.bag} on {bag.since}; that is later.", "day")
    expect_at_hand(work.session, part, day)
    work.add(Loan(part_id=part.key, since=day, **about))
    return bag


def expect_loan_seen(session: Session, part: Part, seen: int | None) -> None:
    """Refuse an act whose keeper saw the part lent otherwise than it is now; 0 is not lent, none was not said."""
    loan = open_loan(session, part)
    if seen is None or seen == (loan.key if loan else 0):
        return
    now = f"it is lent since {loan.since}" if loan else "it is not lent any more"
    raise Refused(f"Someone else acted on the {describe(part)} meanwhile: {now}. Look again before you go on.")


def end_loan(work: Work, loan: Loan, day: date) -> None:
    """The loan is over: the part came back, or never will."""
    if day < loan.since:
        raise Refused(f"It was lent on {loan.since}; that is later.", "day")
    loan.until = day
    work.session.flush()


def expect_at_hand(session: Session, part: Part, day: date) -> None:
    """Refuse what cannot be done with a part that is lent, or on a day before it came back."""
    loan = last_loan(session, part)
    if loan is None:
        return
    if loan.until is None:
        raise Refused(f"The {describe(part)} is lent since {loan.since}, and its bag waits for it. Take it back first.")
    if day < loan.until:
        raise Refused(f"The {describe(part)} was lent until {loan.until}; that is later.", "day")


def let_go(work: Work, part: Part, day: date, how: Gone) -> None:
    """The part is discarded, lost or handed over: it is in no place of ours any more. The last two end a loan."""
    loan = open_loan(work.session, part)
    if loan and how is not Gone.DISCARDED:
        end_loan(work, loan, day)
    _leave_bag(work, part, day)
    part.gone, part.gone_on = how.value, day
    work.session.add(part)


def _leave_bag(work: Work, part: Part, day: date | None) -> None:
    bag = open_bag(work.session, part)
    if bag is None:
        return
    if day is None:
        raise Refused("A part that lies in a bag is fitted on a day: name it.", "day")
    if day < bag.since:
        raise Refused(f"That part went into bag {bag.bag} on {bag.since}; it cannot leave it before.", "day")
    expect_at_hand(work.session, part, day)
    bag.until = day
    work.session.flush()


def _check_day_at_position(session: Session, position: Position, day: date | None) -> None:
    latest = session.exec(select(func.max(Placement.removed_on)).where(Placement.position_id == position.id)).one()
    if latest is None:
        return
    if day is None:
        raise Refused(f"{position.designator} has held another part before: name the day this one was fitted.", "day")
    if day < latest:
        raise Refused(f"{position.designator} was emptied on {latest}; a part cannot have been fitted before.", "day")


def where_is(session: Session, part: Part) -> str:
    """Where a part is now, in words."""
    if placement := open_placement(session, part):
        position = session.get_one(Position, placement.position_id)
        return f"at {position.designator} on {session.get_one(Board, position.board_id).name}"
    if bag := open_bag(session, part):
        loan = open_loan(session, part)
        return f"lent out of bag {bag.bag} since {loan.since}" if loan else f"in bag {bag.bag}"
    return part.gone or "nowhere that is recorded"
