"""Who has an account, and what each may keep."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from sqlmodel import Session, col, select

from server.records.errors import NotFound
from server.records.questions.paging import Paged, paged
from server.records.tables import Account, AccountMachine, Machine
from server.records.texts import sought


@dataclass(frozen=True, slots=True)
class Person:
    """An account with the tags of the machines that it keeps."""

    account: Account
    tags: list[str]


def any_account(session: Session) -> bool:
    """Whether anybody has an account: without one, whoever reaches this machine's own address keeps everything."""
    return session.exec(select(Account.id).limit(1)).first() is not None


def find_account(session: Session, name: str) -> Account:
    account = session.exec(select(Account).where(Account.name_key == sought(name.strip()).casefold())).first()
    if account is None:
        raise NotFound("account", name)
    return account


def machines_kept(session: Session, account: Account) -> Sequence[Machine]:
    """The machines that an account keeps beside those that its role gives it."""
    query = select(Machine).join(AccountMachine, col(AccountMachine.machine_id) == col(Machine.id))
    return session.exec(query.where(AccountMachine.account_id == account.id).order_by(col(Machine.tag_key))).all()


def people(session: Session, number: int = 1, most: int = 50) -> Paged[Person]:
    """Everybody who has an account, by name."""
    found = paged(session, select(Account).order_by(col(Account.name_key)), number, most)
    rows: Sequence[Account] = found.rows
    tags = defaultdict[int, list[str]](list)
    query = (
        select(AccountMachine.account_id, Machine.tag)
        .join(Machine, col(Machine.id) == col(AccountMachine.machine_id))
        .where(col(AccountMachine.account_id).in_([row.key for row in rows]))
        .order_by(col(Machine.tag_key))
    )
    for key, tag in session.exec(query):
        tags[key].append(tag)
    return Paged([Person(row, tags[row.key]) for row in rows], found.number, found.last, found.total)
