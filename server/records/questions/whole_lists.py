"""Lists as they are taken out of the house: every row, with the columns that a person would look for.

The columns of a machine's parts, and of its mods, are called what a list's headings are called, so that each can be
entered again.
Columns of `PRIVATE` come last in their list and are left out unless asked for.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlmodel import Session, col, func, select

from server.records.questions.journal import about
from server.records.questions.machines import HERE
from server.records.tables import (
    AttachedFile,
    Board,
    Design,
    JournalEntry,
    Machine,
    Mod,
    ModMove,
    Net,
    NetPin,
    Part,
    Photograph,
    Placement,
    Position,
    Procedure,
    Step,
    Storage,
    Symptom,
    Trial,
    Waveform,
)

AT_ONCE = 500
Query = Callable[[Machine | None], Any]


@dataclass(frozen=True, slots=True)
class WholeList:
    """A list: what it is called in a sentence, its columns by heading, and how its rows are chosen and ordered.

    One that is `by_board` can be had of one board alone.
    """

    words: str
    columns: dict[str, Any]
    chosen: Query
    private: dict[str, Any] = field(default_factory=dict)
    by_board: bool = False

    def headings(self, *, private: bool) -> list[str]:
        return [*self.columns, *(self.private if private else ())]

    def rows(
        self, session: Session, machine: Machine | None, board: Board | None = None, *, private: bool
    ) -> Iterator[Sequence[Any]]:
        """Every row, of one board if one is given, read a few at a time."""
        shown = [*self.columns.values(), *(self.private.values() if private else ())]
        chosen = self.chosen(machine) if board is None else self.chosen(machine).where(Board.id == board.key)
        query = chosen.with_only_columns(*shown).execution_options(yield_per=AT_ONCE)
        yield from session.connection().execute(query)


def _named(table: Any, *names: str, **others: Any) -> dict[str, Any]:
    """Columns headed by their names in plain words."""
    return {name.replace("_", " "): getattr(table, name) for name in names} | others


def _key(machine: Machine | None) -> int:
    if machine is None:
        raise TypeError("this list is of one machine")
    return machine.key


_BOARD_AND_PLACE = {"board": Board.name, "designator": Position.designator}
_PART = ("kind", "type", "marking", "value", "rating", "maker_mark", "date_code", "origin", "condition", "pedigree")


def _seated(machine: Machine | None) -> Any:
    return (
        select(Part.id)
        .join(Placement, col(Placement.part_id) == col(Part.id))
        .join(Position, col(Position.id) == col(Placement.position_id))
        .join(Board, col(Board.id) == col(Position.board_id))
        .where(Board.machine_id == _key(machine), col(Placement.removed_on).is_(None))
        .order_by(col(Board.name), col(Board.id), col(Position.designator_key))
    )


def _positions(machine: Machine | None) -> Any:
    return (
        select(Position.id)
        .join(Board, col(Board.id) == col(Position.board_id))
        .where(Board.machine_id == _key(machine))
        .order_by(col(Board.name), col(Board.id), col(Position.designator_key))
    )


def _steps(machine: Machine | None) -> Any:
    return (
        select(Step.id)
        .join(Mod, col(Mod.id) == col(Step.mod_id))
        .outerjoin(Position, col(Position.id) == col(Step.position_id))
        .outerjoin(Board, col(Board.id) == col(Position.board_id))
        .where(Mod.machine_id == _key(machine))
        .order_by(col(Mod.number), col(Step.number))
    )


def _trials(machine: Machine | None) -> Any:
    return (
        select(Trial.id)
        .join(Procedure, col(Procedure.id) == col(Trial.procedure_id))
        .where(Trial.machine_id == _key(machine))
        .order_by(col(Trial.number))
    )


def _pins(machine: Machine | None) -> Any:
    return (
        select(NetPin.id)
        .join(Net, col(Net.id) == col(NetPin.net_id))
        .join(Position, col(Position.id) == col(NetPin.position_id))
        .join(Board, col(Board.id) == col(Net.board_id))
        .where(Board.machine_id == _key(machine))
        .order_by(col(Board.name), col(Net.number), col(NetPin.place))
    )


def _numbered(table: Any) -> Query:
    """The rows of a table that are numbered within a machine."""
    return lambda machine: select(table.id).where(table.machine_id == _key(machine)).order_by(table.number)


def _kept_aside(_: Machine | None) -> Any:
    return (
        select(Storage.id)
        .join(Part, col(Part.id) == col(Storage.part_id))
        .outerjoin(Position, col(Position.id) == col(Storage.from_position_id))
        .outerjoin(Board, col(Board.id) == col(Position.board_id))
        .outerjoin(Machine, col(Machine.id) == col(Board.machine_id))
        .where(col(Storage.until).is_(None))
        .order_by(col(Storage.bag), col(Storage.id))
    )


def _latest_move(column: Any) -> Any:
    """What a mod's latest move says: since when it is in its state, and who signed that."""
    latest = select(func.max(ModMove.id)).where(ModMove.mod_id == Mod.id).correlate(Mod).scalar_subquery()
    return select(column).where(col(ModMove.id) == latest).correlate(Mod).scalar_subquery()


_ENTRY = _named(JournalEntry, "seq", "at", "who", "act", "words", "hash")

OF_A_MACHINE: dict[str, WholeList] = {
    "parts": WholeList(
        "parts",
        _BOARD_AND_PLACE
        | _named(Part, *_PART)
        | _named(Position, "mounting", "expected_type", "expected_value")
        | _named(Part, "note"),
        _seated,
        by_board=True,
    ),
    "positions": WholeList(
        "positions",
        _BOARD_AND_PLACE | _named(Position, "kind", "expected_type", "expected_value", "mounting", "pins", "note"),
        _positions,
    ),
    "symptoms": WholeList(
        "symptoms",
        _named(Symptom, "number", "title", "seen_on", "bring_about", "ended_as", "ended_on", "ended_note", "note"),
        _numbered(Symptom),
    ),
    "mods": WholeList(
        "mods",
        _named(Mod, "number", "title", "state")
        | {"day": _latest_move(ModMove.day), "signer": _latest_move(ModMove.signer)}
        | _named(Mod, "aim", "hazards", "purpose", "reasoning", "outcome"),
        _numbered(Mod),
    ),
    "steps": WholeList(
        "steps of mods",
        {"mod": Mod.number, "step": Step.number, "kind": Step.kind}
        | _BOARD_AND_PLACE
        | _named(Step, "pin", "planned_type", "planned_value", "instruction", "done_on", "done_by", "undone_on"),
        _steps,
    ),
    "trials": WholeList(
        "trials",
        {"number": Trial.number, "day": Trial.day, "procedure": Procedure.title}
        | _named(Trial, "readings")
        | {"unit": Procedure.unit}
        | _named(Trial, "conditions", "instrument", "signer", "note"),
        _trials,
    ),
    "waveforms": WholeList(
        "waveforms",
        _named(Waveform, "number", "day", "title", "probed_at", "instrument", "conditions", "signer", "note", "sha256"),
        _numbered(Waveform),
    ),
    "nets": WholeList(
        "nets and their pins",
        {"board": Board.name, "net": Net.number, "name": Net.name, "sheet": Net.sheet}
        | {"designator": Position.designator}
        | _named(NetPin, "pin", "role", "family", "drives", "other_end", "seen_at"),
        _pins,
    ),
    "photographs": WholeList(
        "photographs",
        _named(Photograph, "number", "on_kind", "moment", "caption", "taken_on", "file_name", "size", "sha256"),
        _numbered(Photograph),
    ),
    "files": WholeList(
        "files",
        _named(AttachedFile, "number", "on_kind", "kind", "caption", "file_name", "size", "sha256", "crc32", "sha1"),
        _numbered(AttachedFile),
    ),
    "history": WholeList(
        "journal entries",
        _ENTRY,
        lambda machine: select(JournalEntry.seq).where(_about(machine)).order_by(col(JournalEntry.seq)),
    ),
}
OF_ALL: dict[str, WholeList] = {
    "machines": WholeList(
        "machines",
        _named(Machine, "tag", "maker", "model", "variant", "serial_number", "made", "hazards", "acquired_on", "keeper")
        | _named(Machine, "handed_over_on", "handed_over_to"),
        lambda _: select(Machine.id).where(HERE).order_by(col(Machine.tag_key)),
        private=_named(Machine, "acquired_from", "price"),
    ),
    "kept-aside": WholeList(
        "parts kept aside",
        _named(Storage, "bag", "since")
        | _named(Part, *_PART)
        | {"from machine": Machine.tag, "from board": Board.name, "from designator": Position.designator}
        | {"condition when bagged": Storage.condition},
        _kept_aside,
        private=_named(Storage, "place"),
    ),
    "designs": WholeList(
        "designs",
        _named(Design, "slug", "title", "purpose", "reasoning"),
        lambda _: select(Design.id).order_by(col(Design.slug)),
    ),
    "procedures": WholeList(
        "procedures",
        _named(Procedure, "slug", "title", "how", "unit", "unit_meaning", "resolution", "better", "target"),
        lambda _: select(Procedure.id).order_by(col(Procedure.slug)),
    ),
    "journal": WholeList("journal entries", _ENTRY, lambda _: select(JournalEntry.seq).order_by(col(JournalEntry.seq))),
}


def _about(machine: Machine | None) -> Any:
    if machine is None:
        raise TypeError("this list is of one machine")
    return about(machine)
