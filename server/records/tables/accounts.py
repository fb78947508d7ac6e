"""Accounts: who may come in, as whom they sign, and what they may do. What proves who they are stands apart.

Passwords, sign-ins and failed attempts are no part of the record: they are never written into the journal, which keeps
everything for ever, and no check holds them against it.
"""

from datetime import date, datetime

from sqlalchemy import JSON, Column, UniqueConstraint
from sqlmodel import Field, SQLModel

from server.records.tables.base import Kept, UtcDateTime


class Account(Kept, table=True):
    """A person who can sign in. `name` is what they type, `signs_as` what stands beside what they write."""

    name: str = Field(max_length=40)
    name_key: str = Field(max_length=40, unique=True)
    signs_as: str
    role: str
    closed: bool = False
    password_set_at: datetime = Field(sa_type=UtcDateTime)
    asks_code: bool = False


class AccountMachine(Kept, table=True):
    """A machine that an account keeps, where its role is to keep some machines."""

    __tablename__ = "account_machine"
    __table_args__ = (UniqueConstraint("account_id", "machine_id"),)

    account_id: int = Field(foreign_key="account.id", index=True)
    machine_id: int = Field(foreign_key="machine.id", index=True)


class Invitation(Kept, table=True):
    """A link that lets one person open an account, once. `digest` is the SHA-256 of its token.

    `machines` are the keys of those that the account will keep. It lets somebody in on `last_day` too.
    """

    number: int = Field(unique=True)
    digest: str = Field(max_length=64, unique=True)
    signs_as: str = ""
    role: str
    machines: list[int] = Field(default_factory=list, sa_column=Column(JSON, nullable=False))
    last_day: date
    withdrawn_on: date | None = None
    used_on: date | None = None


class AccountSecret(SQLModel, table=True):
    """An account's password, as an Argon2id hash."""

    __tablename__ = "account_secret"

    account_id: int = Field(foreign_key="account.id", primary_key=True)
    password_hash: str


class CodeSecret(SQLModel, table=True):
    """What an account's device makes codes from, in Base32, and the last step of time whose code was taken."""

    __tablename__ = "code_secret"

    account_id: int = Field(foreign_key="account.id", primary_key=True)
    secret: str
    last_step: int = 0


class RecoveryCode(SQLModel, table=True):
    """A code that stands in for the device once. `digest` is its SHA-256."""

    __tablename__ = "recovery_code"

    id: int | None = Field(default=None, primary_key=True)
    account_id: int = Field(foreign_key="account.id", index=True)
    digest: str = Field(max_length=64)


class SignIn(SQLModel, table=True):
    """One browser that somebody signed in with, until it ends. `digest` is the SHA-256 of the token in its cookie."""

    __tablename__ = "sign_in"

    id: int | None = Field(default=None, primary_key=True)
    account_id: int = Field(foreign_key="account.id", index=True)
    digest: str = Field(max_length=64, unique=True)
    browser: str = ""
    begun_at: datetime = Field(sa_type=UtcDateTime)
    seen_at: datetime = Field(sa_type=UtcDateTime)
    ends_at: datetime = Field(sa_type=UtcDateTime)


class ApiToken(SQLModel, table=True):
    """A token by which somebody's programs use the record in their name. `digest` is its SHA-256.

    `scopes` are the words of what it may do, with commas between. On `last_day` it still works.
    """

    __tablename__ = "api_token"

    id: int | None = Field(default=None, primary_key=True)
    account_id: int = Field(foreign_key="account.id", index=True)
    name: str
    digest: str = Field(max_length=64, unique=True)
    scopes: str
    made_at: datetime = Field(sa_type=UtcDateTime)
    last_day: date
    used_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class FailedAttempt(SQLModel, table=True):
    """How often signing in failed under a name since it last worked, and until when it is not tried again."""

    __tablename__ = "failed_attempt"

    name_key: str = Field(max_length=64, primary_key=True)
    count: int = 0
    last_at: datetime = Field(sa_type=UtcDateTime)
