"""A machine's record as rows that arrive: the way back from what `record.py` writes.

Every entry is one row; what stands within it are rows that lead to it. A field that names another entry fills the
column of that name with `_id` behind it, so that only what differs from that is said here. Writes nothing.
"""

from collections.abc import Iterator, Mapping
from enum import Enum
from typing import Any
from uuid import UUID

from pydantic import BaseModel

from server.documents.record_base import Recorded, Told
from server.documents.record_schema import (
    MachineRecord,
    RecordedDesign,
    RecordedLoan,
    RecordedMachine,
    RecordedOther,
    RecordedPosition,
    RecordedTrial,
)
from server.records.arriving import Arriving
from server.records.questions.addresses import designator_key, tag_key
from server.records.tables import (
    AttachedFile,
    Board,
    BoardPicture,
    BoardStay,
    Calculation,
    CalculationInput,
    CalculationRun,
    Design,
    Evidence,
    Expectation,
    Loan,
    Machine,
    MapPin,
    MatchPoint,
    Mod,
    ModMove,
    Net,
    NetPin,
    Part,
    Photograph,
    Placement,
    Position,
    PossibleCause,
    Procedure,
    SignedSheet,
    Step,
    Storage,
    Symptom,
    Trial,
    Waveform,
)
from server.records.tables.base import Kept

TABLES: Mapping[str, type[Kept]] = {
    "other_machines": Machine,
    "boards": Board,
    "board_stays": BoardStay,
    "positions": Position,
    "parts": Part,
    "placements": Placement,
    "storages": Storage,
    "loans": Loan,
    "mods": Mod,
    "moves": ModMove,
    "steps": Step,
    "expectations": Expectation,
    "calculations": Calculation,
    "inputs": CalculationInput,
    "runs": CalculationRun,
    "nets": Net,
    "pins": NetPin,
    "board_pictures": BoardPicture,
    "points": MatchPoint,
    "map_pins": MapPin,
    "procedures": Procedure,
    "trials": Trial,
    "waveforms": Waveform,
    "symptoms": Symptom,
    "causes": PossibleCause,
    "evidence": Evidence,
    "photographs": Photograph,
    "files": AttachedFile,
    "designs": Design,
    "signed_sheets": SignedSheet,
}
OWN = frozenset({Board, Mod, Trial, Waveform, Symptom, SignedSheet})  # those that are the machine's itself
# What a keeper of another machine may revise is not in a record; a design comes with the words of its first fitting.
WORDS_OF_A_DESIGN = ("title", "purpose", "reasoning", "hazards")


def rows_of(record: MachineRecord) -> list[Arriving]:
    """Every row that the record tells of, its machine first."""
    return list(_Rows(record).all())


class _Rows:
    def __init__(self, record: MachineRecord) -> None:
        self._record = record
        self._machine = record.machine.uuid
        self._by_tag = {record.machine.tag: self._machine} | {one.tag: one.uuid for one in record.other_machines}

    def all(self) -> Iterator[Arriving]:
        machine = self._record.machine
        yield Arriving(Machine, machine.uuid, _told(machine) | _derived(machine))
        for name in MachineRecord.model_fields:
            if name in TABLES:
                for entry in getattr(self._record, name):
                    yield from self._entry(TABLES[name], entry, {})

    def _entry(self, table: type[Kept], entry: Recorded, owner: Mapping[str, UUID], **more: Any) -> Iterator[Arriving]:
        columns, leads_to, within = dict(more), dict[str, UUID | None](owner), list[tuple[str, list[Recorded]]]()
        for name, value in _told(entry).items():
            if name in TABLES and name not in table.model_fields and table is not Trial:
                within.append((name, value))
            elif f"{name}_id" in table.model_fields:
                leads_to[f"{name}_id"] = self._by_tag[value] if isinstance(value, str) else value
            elif name in table.model_fields:
                columns[name] = value
        if table in OWN:
            leads_to["machine_id"] = self._machine
        mods = frozenset(entry.mods) if isinstance(entry, RecordedTrial) else None
        yield Arriving(table, entry.uuid, columns | _derived(entry), leads_to, mods, self._at_first(entry))
        for name, entries in within:
            of = {f"{table.__tablename__}_id": entry.uuid}
            for place, inner in enumerate(entries):
                placed = {"place": place} if "place" in TABLES[name].model_fields else {}
                yield from self._entry(TABLES[name], inner, of, **placed)

    def _at_first(self, entry: Recorded) -> dict[str, Any]:
        """What a row needs where it is new and no record tells."""
        if isinstance(entry, RecordedLoan):
            return {"to_whom": ""}
        if isinstance(entry, RecordedOther):
            return {"model": ""}
        if isinstance(entry, RecordedDesign):
            fitting = next((mod for mod in self._record.mods if mod.design == entry.uuid), None)
            told = _told(fitting) if fitting else {"title": entry.slug, "hazards": []}
            roles = [role | {"board": "", "designator": ""} for role in entry.roles]
            return {name: told[name] for name in WORDS_OF_A_DESIGN if name in told} | {"roles": roles}
        return {}


def _derived(entry: Recorded) -> dict[str, Any]:
    """Columns that a record does not tell because they follow from others."""
    if isinstance(entry, RecordedPosition):
        return {"designator_key": designator_key(entry.designator)}
    if isinstance(entry, RecordedOther | RecordedMachine):
        return {"tag_key": tag_key(entry.tag)}
    return {}


def _told(entry: BaseModel) -> dict[str, Any]:
    """The fields that are in the record; what is private often is not. Words are texts, as tables hold them."""
    told = (name for name in type(entry).model_fields if name in entry.model_fields_set and name != "uuid")
    return {name: _plain(getattr(entry, name)) for name in told}


def _plain(value: Any) -> Any:
    match value:
        case Enum():
            return value.value
        case list():
            return [_plain(one) for one in value]
        case Told():
            return value.model_dump(mode="json", exclude_unset=True)
    return value
