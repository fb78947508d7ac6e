"""One write in progress: the open transaction, who signs it, and every row it has changed so far.

Row changes are collected as the session flushes, so no command can forget one. A handler is found by the
command's type; it returns the `Entry` that the journal keeps.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import Enum
from typing import Any, TypeVar
from uuid import UUID

from sqlalchemy import event, inspect
from sqlmodel import Session, SQLModel

from server.records.files import FileStore
from server.records.tables import Machine
from server.records.tables.base import Kept

Row = TypeVar("Row", bound=Kept)
UNJOURNALLED = {"version", "created_at", "created_by"}


@dataclass(frozen=True, slots=True)
class Entry:
    """What a handler says of its act: the record it concerns and a sentence for people."""

    act: str
    subject: Kept
    words: str
    machine: Machine | None = None


Heard = Callable[[int, int], None]  # how much is done, and of how much


def unheard(done: int, total: int) -> None:
    """Progress that nobody watches."""


@dataclass(slots=True)
class Work:
    """The transaction that one command runs in."""

    session: Session
    who: str
    at: datetime
    progress: Heard
    files: FileStore
    touched_positions: set[int] = field(default_factory=set)
    touched_trials: set[int] = field(default_factory=set)
    touched_waveforms: set[int] = field(default_factory=set)
    touched_mods: set[int] = field(default_factory=set)
    changes: dict[tuple[str, str], dict[str, Any]] = field(default_factory=dict)
    brought: set[UUID] = field(default_factory=set)

    def __post_init__(self) -> None:
        event.listen(self.session, "before_flush", self._sign)
        event.listen(self.session, "after_flush", self._collect)

    def add(self, row: Row) -> Row:
        """Store a new row and give it its key."""
        self.session.add(row)
        self.session.flush()
        return row

    def bring(self, row: Row) -> Row:
        """Store a row that was made elsewhere: who made it and when is said by the row, and by its journal entry."""
        self.brought.add(row.uuid)
        self.session.add(row)
        return row

    def _sign(self, session: Session, *_: object) -> None:
        for row in session.new:
            if isinstance(row, Kept) and row.uuid not in self.brought:
                row.created_by = self.who
                row.created_at = self.at

    def _collect(self, session: Session, *_: object) -> None:
        for row in session.new:
            if isinstance(row, Kept):
                self._note(row, "after", filled(row) | (signed(row) if row.uuid in self.brought else {}))
        for row in session.dirty:
            if isinstance(row, Kept) and (changed := _changed(row)):
                self._note(row, "set", changed)
        for row in session.deleted:
            if isinstance(row, Kept):
                self._note(row, "before", filled(row))

    def _note(self, row: Kept, how: str, columns: dict[str, Any]) -> None:
        key = (str(row.__tablename__), str(row.uuid))
        known = self.changes.setdefault(key, {"table": key[0], "uuid": key[1]})
        if how == "set" and "after" in known:
            known["after"].update({name: pair[1] for name, pair in columns.items()})
            return
        known[how] = _joined(known.get("set", {}), columns) if how == "set" else columns
        if not known[how] or {"after", "before"} <= known.keys():
            del self.changes[key]  # it stands as it stood before this work


def _joined(earlier: dict[str, list[Any]], later: dict[str, list[Any]]) -> dict[str, list[Any]]:
    """Changes after changes of one row, as one; what came back to where it was is no change."""
    pairs = earlier | {name: [earlier.get(name, [old])[0], new] for name, (old, new) in later.items()}
    return {name: pair for name, pair in pairs.items() if pair[0] != pair[1]}


def plain(value: object) -> Any:
    """A column's value as JSON can hold it."""
    match value:
        case Enum():
            return value.value
        case datetime() | date():
            return value.isoformat()
        case UUID():
            return str(value)
        case _:
            return value


def filled(row: SQLModel) -> dict[str, Any]:
    """The columns of a row that hold something, as the journal keeps them."""
    columns = inspect(row).mapper.column_attrs.keys()
    values = {name: plain(getattr(row, name)) for name in columns if name not in UNJOURNALLED | {"uuid"}}
    return {name: value for name, value in values.items() if value not in (None, "", [], {})}


def signed(row: Kept) -> dict[str, Any]:
    """Who made a row, and when."""
    return {"created_by": row.created_by, "created_at": row.created_at.isoformat()}


def _changed(row: SQLModel) -> dict[str, list[Any]]:
    state = inspect(row)
    changed = {}
    for name in set(state.mapper.column_attrs.keys()) - UNJOURNALLED:
        history = state.attrs[name].history
        if history.has_changes():
            old = history.deleted[0] if history.deleted else None
            changed[name] = [plain(old), plain(getattr(row, name))]
    return {name: pair for name, pair in changed.items() if pair[0] != pair[1]}


Handler = Callable[[Work, Any], Entry]
HANDLERS: dict[type, Handler] = {}
CommandType = TypeVar("CommandType")


def handles(
    kind: type[CommandType],
) -> Callable[[Callable[[Work, CommandType], Entry]], Callable[[Work, CommandType], Entry]]:
    """Register the one handler of a command."""

    def register(handler: Callable[[Work, CommandType], Entry]) -> Callable[[Work, CommandType], Entry]:
        if kind in HANDLERS:
            raise ValueError(f"{kind.__name__} has a handler already")
        HANDLERS[kind] = handler
        return handler

    return register
