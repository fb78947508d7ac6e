"""What has changed between the record that a mod sheet bears and the same machine's record now, in words.

Entries are known again by their UUIDs. What both versions of the program call nothing (an empty text, no list, a key
that one of them does not have) is alike. The journal and the signed sheets are not compared (records/sheet_records.py);
neither is anything private, which a sheet never bears.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from server.documents.record import PRIVATE_FIELDS
from server.documents.record_names import SECTIONS, WITHIN, Entry, Names, entries_of, names_in
from server.documents.record_schema import RecordedLoan, RecordedMachine, RecordedStorage
from server.records.commands.base import shown, words
from server.records.sheet_records import NOT_COMPARED
from server.records.texts import printable

NAMED_MOST = 6
CHANGED_MOST = 20
VALUE_MOST = 80
NOTHING: tuple[object, ...] = (None, "", [], {})
PRIVATE: Mapping[str, frozenset[str]] = {
    "machine": PRIVATE_FIELDS[RecordedMachine],
    "storages": PRIVATE_FIELDS[RecordedStorage],
    "loans": PRIVATE_FIELDS[RecordedLoan],
}
SPOKEN = {
    "board_stays": ("stay of a board", "stays of boards"),
    "placements": ("stay of a part", "stays of parts"),
    "storages": ("bagging", "baggings"),
    "map_pins": ("map pin", "map pins"),
    "board_pictures": ("map picture", "map pictures"),
    "evidence": ("piece of evidence", "pieces of evidence"),
    "causes": ("possible cause", "possible causes"),
}


@dataclass(slots=True)
class _Held:
    """Two records, held against each other: the names of their entries, the sheet's and those of today."""

    then: Names
    now: Names

    def name(self, uuid: str) -> str:
        return self.now.get(uuid) or self.then.get(uuid) or uuid


def changes(kept: Mapping[str, Any], now: Mapping[str, Any]) -> list[str]:
    """A sentence for each thing that is not as the kept record says; none where both say the same."""
    held = _Held(names_in(kept), names_in(now))
    then, today = (_public("machine", record.get("machine")) for record in (kept, now))
    said = list(_fields("The machine", then, today, held))
    for section in _sections(kept, now):
        said += _list(section, "", _entries(kept, section), _entries(now, section), held)
    if not said and _compared(kept) != _compared(now):
        said.append("The same entries stand in another order.")
    return [printable(sentence, 1_000) for sentence in said]


def _sections(kept: Mapping[str, Any], now: Mapping[str, Any]) -> Sequence[str]:
    """The lists of both, the known ones in the order of names, then those of another version of the program."""
    unknown = sorted((kept.keys() | now.keys()) - SECTIONS.keys() - NOT_COMPARED - {"machine", "format"})
    return [*SECTIONS, *unknown]


def _public(section: str, entry: Any) -> Entry:
    hidden = PRIVATE.get(section, frozenset())
    return {name: value for name, value in entry.items() if name not in hidden} if isinstance(entry, dict) else {}


def _entries(record: Mapping[str, Any], section: str) -> list[Entry]:
    return [_public(section, entry) for entry in entries_of(record, section)]


def _compared(record: Mapping[str, Any]) -> dict[str, Any]:
    """All lists that are compared, in their order, without what is nothing."""
    return {section: found for section in _sections(record, {}) if (found := _filled(_entries(record, section)))}


def _filled(value: Any) -> Any:
    match value:
        case Mapping():
            return {name: filled for name, inner in value.items() if (filled := _filled(inner)) not in NOTHING}
        case list():
            return [_filled(inner) for inner in value]
    return value


def _list(kind: str, within: str, then: Sequence[Entry], now: Sequence[Entry], held: _Held) -> Iterator[str]:
    """What came into a list, what went out of it, and what is another."""
    before, after = ({str(entry["uuid"]): entry for entry in entries} for entries in (then, now))
    yield from _count(kind, within, [after[one] for one in after if one not in before], held.now, "added")
    yield from _count(kind, within, [before[one] for one in before if one not in after], held.then, "taken away")
    changed = 0
    for uuid in (one for one in after if one in before):
        name = _called(kind, within, before[uuid], held.then)
        said = list(_fields(name, before[uuid], after[uuid], held))
        changed += bool(said)
        if changed <= CHANGED_MOST:
            yield from said
    if changed > CHANGED_MOST:
        yield f"{within}{', ' if within else ''}{changed - CHANGED_MOST:,} more {_spoken(kind, 2)} changed."


def _count(kind: str, within: str, entries: Sequence[Entry], names: Names, how: str) -> Iterator[str]:
    if len(entries) > NAMED_MOST:
        counted = f"{len(entries):,} {_spoken(kind, 2)} were {how}."
        yield f"{within}: {counted}" if within else counted
        return
    for entry in entries:
        yield f"{_called(kind, within, entry, names)} was {how}."


def _called(kind: str, within: str, entry: Entry, names: Names) -> str:
    if within:
        return f"{within}, {WITHIN[kind](entry, names) if kind in WITHIN else words(kind)}"
    return names.get(str(entry["uuid"])) or f"An entry of “{words(kind)}”"


def _spoken(kind: str, many: int) -> str:
    one, several = SPOKEN.get(kind, (words(kind).removesuffix("s"), words(kind)))
    return one if many == 1 else several


def _fields(name: str, then: Entry, now: Entry, held: _Held) -> Iterator[str]:
    """The differences of one entry, field by field, and of what stands within it."""
    said, lists = [], []
    for key in sorted(then.keys() | now.keys()):
        before, after = then.get(key), now.get(key)
        if before == after or (before in NOTHING and after in NOTHING):
            continue
        if _of_entries(before) and _of_entries(after):
            lists.append((key, before or [], after or []))
        else:
            said.append(f"{words(key)} {_from_to(before, after, held)}")
    if said:
        yield f"{name}: {'; '.join(said)}."
    for key, before, after in lists:
        yield from _list(key, name, before, after, held)


def _of_entries(value: Any) -> bool:
    """Whether it is a list of entries that are known again by their UUIDs; an empty one may be."""
    return value in NOTHING or (
        isinstance(value, list) and all(isinstance(one, dict) and "uuid" in one for one in value)
    )


def _from_to(before: Any, after: Any, held: _Held) -> str:
    if not (_plain(before) and _plain(after)):
        return "changed"
    first, second = _said(before, held), _said(after, held)
    if max(len(first), len(second)) > VALUE_MOST:
        return "was rewritten"
    return f"from {f'“{first}”' if first else 'nothing'} to {f'“{second}”' if second else 'nothing'}"


def _plain(value: Any) -> bool:
    """Whether a line can hold it."""
    return not isinstance(value, (dict, list)) or all(isinstance(one, (str, int, float)) for one in value)


def _said(value: Any, held: _Held) -> str:
    """A value as people read it; a reference by what it leads to."""
    if isinstance(value, str):
        return held.name(value) if value in held.now or value in held.then else value
    if isinstance(value, (list, dict)):
        return ", ".join(_said(one, held) for one in value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return shown(value)
