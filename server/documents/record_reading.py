"""Reading the record of a machine that somebody else's installation wrote: all of it understood, or refused in words.

What a command would never have stored is refused here too: unknown words, texts that cannot be stored, amounts and
formulas that cannot be read, and entries that name others which are not there. Asks this installation's record nothing.
"""

from collections.abc import Iterator
from typing import Any

from pydantic import ValidationError

from server.documents.bag_reader import BadBag
from server.documents.record_mods import RecordedCalculation
from server.documents.record_pictures import RecordedFile, RecordedPhotograph
from server.documents.record_rows import rows_of
from server.documents.record_schema import (
    FORMAT,
    MachineRecord,
    RecordedBoard,
    RecordedDesign,
    RecordedMachine,
    RecordedOther,
    RecordedProcedure,
)
from server.engineering.errors import EngineeringError
from server.engineering.plain_results import from_plain
from server.records.arriving import Arriving, target_of
from server.records.commands.base import PROSE_MOST
from server.records.commands.machines import RESERVED_TAGS, TAG
from server.records.dates import check_made
from server.records.questions.addresses import slug
from server.records.questions.subjects import KINDS
from server.records.sheet_records import FORMAT_BEGINS, BadRecord, read_record
from server.records.texts import normal, printable, unstorable_at
from server.records.words import Case

OTHER_VERSION = (
    f"Its record is of another version ({{}}); this program reads {FORMAT}. Take the newest version of the program, or "
    "ask for a dossier that an older one wrote."
)


def record_from(content: bytes) -> MachineRecord:
    """The record that a dossier brings. Raises BadBag with a sentence that says where it does not hold."""
    try:
        plain = read_record(content)
    except BadRecord as fault:
        raise BadBag(str(fault)) from fault
    told = plain.compared.get("format")
    if told != FORMAT:
        raise BadBag(OTHER_VERSION.format(printable(str(told).removeprefix(FORMAT_BEGINS), 20)))
    try:
        record = MachineRecord.model_validate_json(content)
    except ValidationError as problem:
        raise BadBag(_where(problem)) from problem
    for sentence in _faults(record):
        raise BadBag(f"Its record cannot be taken over: {sentence}")
    return record


def _where(problem: ValidationError) -> str:
    fault = problem.errors()[0]
    place = " → ".join(str(step + 1) if isinstance(step, int) else step.replace("_", " ") for step in fault["loc"])
    unknown = " This program does not know that key." if fault["type"] == "extra_forbidden" else ""
    return f"Its record cannot be taken over: {printable(place, 200)}: {fault['msg']}.{unknown}"


def _faults(record: MachineRecord) -> Iterator[str]:
    yield from _texts(record.model_dump(mode="json", exclude_unset=True), "")
    yield from _names(record)
    rows = rows_of(record)
    yield from _references(record, rows)
    yield from _attached(record, rows)
    for calculation in record.calculations:
        yield from _calculation(calculation)
    for design in record.designs:
        yield from _design(design)


def _texts(value: Any, place: str) -> Iterator[str]:
    """Texts of which every letter can be stored, in their one spelling, and none without end."""
    match value:
        case str():
            if len(value) > PROSE_MOST or unstorable_at(value, "\n\t") is not None or normal(value) != value:
                yield f"{place or 'a text'} holds letters that cannot be stored, or too many of them."
        case dict():
            for name, inner in value.items():
                yield from _texts(name, place)
                yield from _texts(inner, name.replace("_", " "))
        case list():
            for inner in value:
                yield from _texts(inner, place)


def _design(design: RecordedDesign) -> Iterator[str]:
    """Its rows stand at its own roles, and a circuit has the lists of rows that a fitting goes through."""
    circuits = [one["circuit"] for one in design.calculations if one.get("circuit")]
    read = [one for sum_ in design.calculations for one in sum_["inputs"]]
    for circuit in circuits:
        lists = [circuit.get(name) for name in ("elements", "fall", "assumptions")]
        if not all(isinstance(rows, list) and all(isinstance(row, dict) for row in rows) for rows in lists):
            yield f"a circuit of the design “{design.slug}” has no rows that can be read."
            return
        read += [*circuit["elements"], *circuit["fall"]]
    known = {"", *(role["name"] for role in design.roles)}
    named = [one["role"] for one in design.steps] + [one.get("role", "") for one in read]
    if unknown := next((name for name in named if name not in known), None):
        yield f"the design “{design.slug}” has no role “{unknown}”, which one of its rows names."


def _names(record: MachineRecord) -> Iterator[str]:
    """What becomes part of an address, and what is read as a day."""
    machines: list[RecordedMachine | RecordedOther] = [record.machine, *record.other_machines]
    for machine in machines:
        if not TAG.fullmatch(machine.tag) or machine.tag.casefold() in RESERVED_TAGS:
            yield f"“{machine.tag}” can be no machine’s tag."
    tags = [machine.tag.casefold() for machine in machines]
    if len(set(tags)) != len(tags):
        yield "two of its machines have one tag."
    named = [stay.machine for stay in record.board_stays]
    named += [one.machine for one in record.photographs] + [one.machine for one in record.files]
    if unknown := sorted(set(named) - {machine.tag for machine in machines}):
        yield f"it speaks of a machine {unknown[0]} and does not say which that is."
    addressed: list[RecordedBoard | RecordedProcedure | RecordedDesign] = [
        *record.boards,
        *record.procedures,
        *record.designs,
    ]
    for entry in addressed:
        if slug(entry.slug) != entry.slug or not entry.slug:
            yield f"“{entry.slug}” can be no address."
    for made in (record.machine.made, *(board.made for board in record.boards)):
        if problem := check_made(made):
            yield problem


def _references(record: MachineRecord, rows: list[Arriving]) -> Iterator[str]:
    """Each entry stands once, and names only entries of the record, each of its kind."""
    known = {(row.table, row.uuid) for row in rows}
    if len({uuid for _, uuid in known}) != len(rows):
        yield "two of its entries have one UUID."
    for row in rows:
        for column, uuid in row.leads_to.items():
            if uuid is not None and (target_of(row.table, column), uuid) not in known:
                yield f"an entry names {column.removesuffix('_id').replace('_', ' ')} {uuid}, which is not in it."
        for mod in row.mods or ():
            if not any(one.uuid == mod for one in record.mods):
                yield f"a trial names mod {mod}, which is not in it."


def _attached(record: MachineRecord, rows: list[Arriving]) -> Iterator[str]:
    """Photographs and files hang on entries of the record."""
    known = {(row.table, row.uuid) for row in rows}
    hanging: list[RecordedPhotograph | RecordedFile] = [*record.photographs, *record.files]
    for attached in hanging:
        kind = KINDS.get(attached.on_kind)
        if kind is None or (kind.table, attached.on_uuid) not in known:
            yield f"photograph or file {attached.number} hangs on a {attached.on_kind} that is not in it."


def _calculation(calculation: RecordedCalculation) -> Iterator[str]:
    """Results can be read again."""
    for run in calculation.runs:
        if run.cases.keys() != {case.value for case in Case}:
            yield f"run {run.number} of the calculation “{calculation.title}” does not tell of the three cases."
        for kept in run.cases.values():
            if not _readable(kept):
                yield f"run {run.number} of the calculation “{calculation.title}” cannot be read."


def _readable(kept: Any) -> bool:
    match kept:
        case {"inputs": dict(), "problem": str()}:
            return True
        case {"inputs": dict(), "result": dict(result)}:
            try:
                from_plain(result)
            except (EngineeringError, LookupError, TypeError, ValueError, AttributeError):
                return False
            return True
    return False
